"""Under which names and addresses the server is reached: those of this machine, and those typed."""

from __future__ import annotations

import socket
from ipaddress import ip_address as IP

import pytest

from workshop import own_names


@pytest.mark.outside("RFC 1123, 2.1: the highest-level component label of a name is alphabetic; from memory")
@pytest.mark.parametrize(
    ("name", "could_be"),
    [
        ("shop", True),
        ("repair", True),
        ("xn--p1ai", True),
        ("bench-2", False),
        ("shop1", False),
        ("shop.lan", False),
    ],
)
def test_a_name_that_could_be_a_top_level_domain_gets_no_authority(name, could_be, published):
    published.same(own_names.may_be_top_level(name), could_be)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("shop", r"could also be the ending of every address under \.shop .* such as shop\.lan"),
        ("two words", "neither a host name nor an address"),
        ("192.168.1", "neither a host name nor an address"),
        ("https://shop.lan", "neither a host name nor an address"),
    ],
)
def test_a_wrong_name_is_refused_in_words(typed, sentence):
    with pytest.raises(ValueError, match=sentence):
        own_names.read_given([typed])


def test_names_of_this_machine(monkeypatch):
    monkeypatch.setattr(socket, "gethostname", lambda: "Bench-2")
    monkeypatch.setattr(own_names, "_outward", lambda: [IP("192.168.1.20"), IP("2001:db8::20")])
    monkeypatch.setattr(
        own_names, "_interfaces_ipv4", lambda: [IP("127.0.0.1"), IP("10.0.0.3"), IP("192.168.1.20")]
    )
    monkeypatch.setattr(own_names, "_interfaces_ipv6", lambda: [IP("::1"), IP("fe80::1"), IP("fd12::5")])
    found = own_names.find()
    assert found.names[:2] == ("bench-2.local", "bench-2")
    outside = (IP("192.168.1.20"), IP("10.0.0.3"), IP("fd12::5"))
    assert found.addresses == (*outside, IP("127.0.0.1"), IP("::1")), (
        "no public one, none without its interface"
    )
    assert found.hosts()[-3:] == ("[fd12::5]", "127.0.0.1", "[::1]")

    monkeypatch.setattr(own_names, "answers_to_local_name", lambda: True)
    assert own_names.best_host(found) == "bench-2.local"
    monkeypatch.setattr(own_names, "answers_to_local_name", lambda: False)
    assert own_names.best_host(found) == "192.168.1.20"
    assert own_names.best_host(own_names.answering(found, "10.0.0.3")) == "10.0.0.3"
    assert own_names.best_host(own_names.answering(found, "127.0.0.1")) == "localhost"
    assert IP("fd12::5") not in own_names.answering(found, "0.0.0.0").addresses
    assert IP("fd12::5") in own_names.answering(found, "::").addresses
    assert own_names.best_host(own_names.find(own_names.read_given(["fd00::9"]))) == "[fd00::9]"

    monkeypatch.setattr(socket, "gethostname", lambda: "shop")
    assert "shop" not in own_names.find().names
    assert "shop.local" in own_names.find().names


def test_this_very_machine_finds_itself():
    found = own_names.find()
    assert found.addresses[-2:] == (IP("127.0.0.1"), IP("::1"))
    assert all(own_names.is_private(one) for one in found.addresses)
    # The kernel's table and its answer to "from where would I send" are two ways to the same addresses.
    private = [one for one in own_names._outward() if own_names.is_private(one) and not one.is_link_local]
    assert set(private) <= set(found.addresses)
