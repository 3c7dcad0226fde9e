"""What becomes of a form that was sent: its key is named once, a repeat is seen, signing in leads back to it."""

from __future__ import annotations

import re
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit
from uuid import uuid4

import pytest
from django.urls import reverse

from workshop.acting import SENT_AGAIN_WITHIN
from workshop.forms.house import PersonForm
from workshop.models import Submission, TorqueTool

URL = "/tools/add/"
TOOL = {
    "label": "TW-9", "name": "Click wrench", "kind": "setting", "iso_class": "II-A", "unit": "N.m",
    "scale_low": "40", "scale_high": "200", "serial": "",
}  # fmt: skip


def send(client, key=None, **changes):
    return client.post(URL, {**TOOL, **changes, "key": str(key or uuid4())})


def named(client, url="/tools/") -> list[str]:
    return re.findall(r'<meta name="saved-key" content="([^"]+)"', client.get(url).text)


@pytest.fixture
def signed_in(client, lead):
    client.force_login(lead)
    return client


def test_the_next_page_names_what_was_saved_and_only_that_one(signed_in):
    key = uuid4()
    assert send(signed_in, key).status_code == 302
    assert named(signed_in) == [str(key)]
    assert named(signed_in) == []


def test_what_was_refused_is_not_named(signed_in):
    assert send(signed_in, scale_high="10").status_code == 422
    assert named(signed_in) == []


def test_a_part_of_a_page_takes_no_key_away(signed_in):
    key = uuid4()
    send(signed_in, key)
    assert signed_in.get(reverse("jobs:floor-rows"), headers={"HX-Request": "true"}).status_code == 200
    assert named(signed_in) == [str(key)]


def test_the_same_key_with_other_content_comes_back_with_a_fresh_one(signed_in):
    key = uuid4()
    send(signed_in, key)
    answer = send(signed_in, key, label="TW-10", name="Another one")
    assert answer.status_code == 422
    assert "was sent already, with other content" in answer.text
    fresh = answer.context["form"]["key"].value()
    assert fresh != str(key)
    assert str(key) in answer.text, "the first is named as saved"
    assert send(signed_in, fresh, label="TW-10", name="Another one").status_code == 302
    assert set(TorqueTool.objects.values_list("label", flat=True)) == {"TW-9", "TW-10"}


@pytest.fixture
def drop(signed_in):
    """Sends the same complaint about a tool again and again: the act itself refuses nothing about it."""
    url = reverse("workshop:tool-add")
    assert url == URL

    def again(key=None, **changes):
        TorqueTool.objects.filter(label="TW-9").update(label=f"was-{uuid4().hex[:12]}")
        return send(signed_in, key, **changes)

    return again


def test_the_same_content_again_soon_is_asked_about_once(drop):
    assert drop().status_code == 302
    key = uuid4()
    asked = drop(key)
    assert asked.status_code == 422
    assert "The very same was sent at " in asked.text
    assert TorqueTool.objects.count() == 1
    # The form carries the answer itself: sent once more, it is meant.
    again = asked.context["form"]["again"].value()
    assert again == str(key)
    assert drop(key, again="yes").status_code == 422, "only this form's own answer counts"
    assert drop(key, again=again).status_code == 302
    assert TorqueTool.objects.count() == 2


def test_after_a_while_the_same_content_is_no_repeat(drop):
    assert drop().status_code == 302
    for row in Submission.objects.all():
        row.received_at -= SENT_AGAIN_WITHIN + timedelta(minutes=1)
        row.save(update_fields=["received_at"])
    assert drop().status_code == 302


def test_somebody_else_may_write_the_same(drop, client, shop_owner):
    assert drop().status_code == 302
    client.force_login(shop_owner)
    assert drop().status_code == 302


@pytest.mark.parametrize(
    ("referer", "back"),
    [
        ("http://testserver/tools/?from=floor", "/tools/?from=floor"),
        ("http://elsewhere.example/tools/", URL),
        ("http://testserver//elsewhere.example/", "//elsewhere.example/"),
        ("http://testserver/sign-in/?next=/", URL),
        ("", URL),
    ],
)
def test_signed_out_meanwhile_one_comes_back_to_the_page_of_the_form(client, db, referer, back):
    answer = client.post(URL, TOOL, headers={"Referer": referer})
    assert answer.status_code == 302
    assert parse_qs(urlsplit(answer.url).query)["next"] == [back]


def test_the_door_leads_to_no_other_host(client, technician):
    from tests.people import PASSWORD

    data = {"username": technician.sign_in_name, "password": PASSWORD, "next": "//elsewhere.example/"}
    assert client.post(reverse("workshop:login"), data).url == "/"


def test_a_tablet_s_keyboard_is_told_what_a_field_is():
    form = PersonForm()
    name, sign_in = (form.fields[field].widget.attrs for field in ("name", "sign_in_name"))
    assert (name["autocapitalize"], name["autocomplete"], name["enterkeyhint"]) == ("words", "off", "next")
    assert (sign_in["autocapitalize"], sign_in["spellcheck"]) == ("none", "false")
    from vehicles.forms.vehicle import VehicleForm

    vin = VehicleForm().fields["number"].widget.attrs
    assert (vin["spellcheck"], vin["autocapitalize"]) == ("false", "characters")
