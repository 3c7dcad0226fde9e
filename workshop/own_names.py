"""Under which names and addresses this server is reached in the shop's own network, found without other programs."""

from __future__ import annotations

import array
import contextlib
import ipaddress
import re
import socket
import struct
import sys
from dataclasses import dataclass, field
from pathlib import Path

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

# RFC 1918 (private), RFC 3927 and RFC 4291 (link-local, loopback), RFC 4193 (unique local).
PRIVATE_NETWORKS: tuple[Network, ...] = tuple(
    ipaddress.ip_network(text)
    for text in (
        "10.0.0.0/8",
        "172.16.0.0/12",
        "192.168.0.0/16",
        "169.254.0.0/16",
        "127.0.0.0/8",
        "fc00::/7",
        "fe80::/10",
        "::1/128",
    )
)
# RFC 6762 (local), RFC 8375 (home.arpa), RFC 6761 (localhost); internal is set aside by ICANN for private use, and
# lan is what many routers hand out.
PRIVATE_DOMAINS = ("local", "lan", "home.arpa", "internal", "localhost")

LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
MDNS_SOCKETS = (Path("/run/avahi-daemon/socket"), Path("/var/run/avahi-daemon/socket"))


@dataclass(frozen=True)
class Names:
    """What the certificate speaks for: the first of each list is the one to show people."""

    names: tuple[str, ...] = ()
    addresses: tuple[Address, ...] = ()
    asked: frozenset[str] = field(default=frozenset(), compare=False)  # given by hand, so not to be left out

    def hosts(self) -> tuple[str, ...]:
        """As they stand in a URL and in a Host header: IPv6 in brackets."""
        return (*self.names, *map(in_url, self.addresses))


def read_given(texts: list[str]) -> Names:
    """Names and addresses typed by whoever starts the server. ValueError with a sentence for one that is neither."""
    names, addresses = [], []
    for text in texts:
        one = text.strip().rstrip(".").lower()
        try:
            addresses.append(ipaddress.ip_address(one.strip("[]")))
            continue
        except ValueError:
            pass
        with contextlib.suppress(UnicodeError):
            one = one.encode("idna").decode("ascii")
        labels = one.split(".")
        if len(one) > 253 or not all(LABEL.fullmatch(label) for label in labels) or labels[-1].isdigit():
            raise ValueError(
                f"{text!r} is neither a host name nor an address, such as shop.lan or 192.168.1.20."
            )
        if may_be_top_level(one):
            raise ValueError(
                f"{text!r} alone could also be the ending of every address under .{one} in the wide network: "
                f"give it with a domain, such as {one}.lan."
            )
        names.append(one)
    return Names(tuple(names), tuple(addresses), frozenset([*names, *map(str, addresses)]))


def may_be_top_level(name: str) -> bool:
    """Whether a name without a dot could be a top-level domain (.shop, .repair are).

    A constraint on it would let the authority speak for all of that domain. RFC 1123, 2.1: the highest-level
    label is alphabetic, so one with a digit or a hyphen (but for xn--) is none.
    """
    return "." not in name and name != "localhost" and (name.isalpha() or name.startswith("xn--"))


def find(given: Names | None = None) -> Names:
    """The server's names and addresses as they are now, those given first."""
    given = given or Names()
    host = socket.gethostname().lower().rstrip(".")
    first = host.split(".")[0]
    names = list(given.names)
    if LABEL.fullmatch(first) and first != "localhost":
        names.append(f"{first}.local")
        if all(LABEL.fullmatch(label) for label in host.split(".")) and not may_be_top_level(host):
            names.append(host)
        names += [f"{first}.{domain}" for domain in ("lan", "home.arpa", "internal")]
    names.append("localhost")
    addresses = [*given.addresses, *addresses_of_this_machine()]
    return Names(tuple(dict.fromkeys(names)), tuple(dict.fromkeys(addresses)), given.asked)


def addresses_of_this_machine() -> list[Address]:
    """Every private address of every interface, the one that leads out first, loopback last.

    Public addresses are left out: whoever wants to be reached there names them. So are IPv6 link-local ones, since a
    browser has no way to say on which interface they are meant (RFC 6874 is implemented by none).
    """
    found = [*_outward(), *_interfaces_ipv4(), *_interfaces_ipv6()]
    found = [one for one in found if is_private(one) and not (one.version == 6 and one.is_link_local)]
    outside = [one for one in dict.fromkeys(found) if not one.is_loopback]
    return [*outside, ipaddress.ip_address("127.0.0.1"), ipaddress.ip_address("::1")]


def is_private(address: Address) -> bool:
    return any(address in network for network in PRIVATE_NETWORKS if network.version == address.version)


def answers_to_local_name() -> bool:
    """Whether a responder for .local names (RFC 6762) seems to run here: without one host.local leads nowhere."""
    return sys.platform == "darwin" or any(path.exists() for path in MDNS_SOCKETS)


def in_url(host: str | Address) -> str:
    """A host as it stands in a URL: IPv6 in brackets."""
    text = str(host)
    return f"[{text}]" if ":" in text else text


def answering(found: Names, bound: str) -> Names:
    """Those of the addresses at which a server listening on `bound` answers, and those given by hand."""
    only = ipaddress.ip_address(bound)

    def answers(one: Address) -> bool:
        if str(one) in found.asked:
            return True
        # All of IPv6 (::) takes IPv4 along, where the system is set as usual.
        return (only.version == 6 or one.version == 4) if only.is_unspecified else one == only

    return Names(found.names, tuple(one for one in found.addresses if answers(one)), found.asked)


def best_host(found: Names) -> str:
    """The one to print on codes, as in a URL: what was given, host.local where that is answered, else an address.

    Where nothing leads in from the shop's network it is localhost.
    """
    given = [host for host in found.hosts() if host.strip("[]") in found.asked]
    if given:
        return given[0]
    # IPv4 first: people read it out and type it.
    outside = sorted((one for one in found.addresses if not one.is_loopback), key=lambda one: one.version)
    local = next((name for name in found.names if name.endswith(".local")), None)
    if local and outside and answers_to_local_name():
        return local
    return in_url(outside[0]) if outside else "localhost"


def _outward() -> list[Address]:
    """The address that packets to elsewhere would carry. Connecting a UDP socket sends nothing."""
    found = []
    # Documentation addresses (RFC 5737, RFC 3849): any that is not ours takes the default route.
    for family, elsewhere in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((elsewhere, 9))
            found.append(ipaddress.ip_address(probe.getsockname()[0]))
    return found


def _interfaces_ipv4() -> list[Address]:
    """SIOCGIFCONF lists all IPv4 addresses, further ones of one interface too (Linux, netdevice(7))."""
    if not sys.platform.startswith("linux"):
        return []
    import fcntl

    siocgifconf, entry, room = 0x8912, 40 if struct.calcsize("P") == 8 else 32, 256
    table = array.array("B", bytes(entry * room))
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asked = struct.pack("iP", len(table), table.buffer_info()[0])
        length = struct.unpack("iP", fcntl.ioctl(asking, siocgifconf, asked))[0]
        raw = table.tobytes()
        # Each entry: 16 bytes of name, then family, port, address.
        return [ipaddress.ip_address(raw[at + 20 : at + 24]) for at in range(0, length, entry)]
    return []


def _interfaces_ipv6() -> list[Address]:
    """Linux keeps them in one small table; elsewhere only the outward one is known."""
    try:
        lines = Path("/proc/net/if_inet6").read_text(encoding="ascii").splitlines()
    except OSError:
        return []
    return [ipaddress.ip_address(bytes.fromhex(line.split()[0])) for line in lines]
