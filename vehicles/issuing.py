"""Numbered prints: what each kind gathers, the data whose hash is printed, and the pages made of it.

A print is gathered and set outside any transaction; `vehicles.acts.issued` then stores it in a short act that sees
whether the records still say the same. Asked for again while they do, the print that was issued is handed out again,
byte for byte. The rooms above add their own kinds and what confirms their own papers.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.models import IssuedPrint, Keeper, PrintKind, Vehicle
from vehicles.models.issued import print_number
from workshop import checks
from workshop.canonical import canonical, plain, sha256
from workshop.models import Shop
from workshop.sheets import Printed, in_groups, print_pdf, qr_svg

FORMAT = 1
SHORT = 4  # groups of four that stand on every page


@dataclass(frozen=True)
class Asked:
    """Which print: its kind, the car, what it is about, and for whom where it names money."""

    kind: str
    vehicle: Vehicle
    about: Any  # the car, the survey or the run
    made_for: Keeper | None = None
    costs_from: date | None = None

    def same(self):
        """Revisions of this very print, the newest first. One query when read."""
        rows = IssuedPrint.objects.filter(
            origin="", kind=self.kind, subject=self.about.pk, made_for=self.made_for
        )
        return rows.order_by("-revision").select_related("text").defer("text__pdf")


@dataclass(frozen=True)
class Gathered:
    """What a print says. `body` is plain data; `counts` is counted in it, for the words on what changed.

    `drawn` is what the template draws beside it (pictures, plots): `seen` says the same as plain data. Drawings may
    show the day on which they were made, so that they make no revision by themselves.
    """

    body: dict[str, Any]
    counts: dict[str, int] = field(default_factory=dict)
    drawn: dict[str, Any] = field(default_factory=dict)
    seen: Any = None

    @property
    def content_hash(self) -> str:
        return sha256(canonical(self.body))


@dataclass(frozen=True)
class Kind:
    """One kind of print. `gather(asked)` reads the records in a fixed number of queries; `about` is the model's name
    in IssuedPrint ("" is the car itself)."""

    kind: PrintKind
    template: str
    gather: Callable[[Asked], Gathered]
    about: str = ""


_kinds: dict[str, Kind] = {}


def add_kind(kind: Kind) -> None:
    _kinds[kind.kind] = kind


def kind_of(kind: str) -> Kind:
    return _kinds[kind]


def blockers() -> list[str]:
    """Why nothing can be issued on this server, each with its mend; empty where it can."""
    found = []
    if not settings.SITE_URL:
        found.append(
            "Nothing can be issued: SITE_URL is not set, so the code on the print would lead nowhere. Whoever runs the "
            "server sets it to the address under which the shop is reached, such as https://shop.example, and starts "
            "the server again. Until then a draft can be printed."
        )
    if problem := checks.pdf_problem():
        found.append(
            f"Nothing can be issued: the PDF library lacks a part of the system ({problem}). {checks.PDF_HINT}. "
            "Until then a draft can be printed."
        )
    return found


def confirm_address(token: str) -> str:
    return f"{settings.SITE_URL}{reverse('vehicles:confirm', args=[token])}"


@dataclass(frozen=True)
class Made:
    """A print with its number, ready to be set and stored."""

    asked: Asked
    gathered: Gathered
    serial: int
    year: int
    revision: int
    token: str
    paper: str
    changes: str
    data: str

    @property
    def data_hash(self) -> str:
        return sha256(self.data)

    def printed(self) -> Printed:
        """Set on its pages: takes from tenths of a second to half a minute. Never inside a transaction."""
        context = context_of(json.loads(self.data), self.gathered, token=self.token, digest=self.data_hash)
        return print_pdf(kind_of(self.asked.kind).template, context, self.paper)


def make(
    asked: Asked, gathered: Gathered, *, at: datetime, token: str, serial: int, year: int, latest
) -> Made:
    """The next print of this subject: with the number of the one before, or with a new one."""
    revision = latest.revision + 1 if latest else 1
    changes = what_changed(latest, gathered) if latest else ""
    shop = Shop.current()
    top = _head(asked, shop, print_number(asked.kind, year, serial), revision, at, changes)
    data = canonical({"sheet": top, "body": gathered.body, "counts": gathered.counts, "drawn": gathered.seen})
    return Made(asked, gathered, serial, year, revision, token, shop.paper, changes, data)


def draft_context(asked: Asked, gathered: Gathered, paper: str = "") -> dict[str, Any]:
    """The context of an unissued look at it: no number, no code, a watermark."""
    shop = Shop.current()
    top = _head(asked, shop, "", 0, timezone.now(), "")
    if paper:
        top["paper"] = paper
    return context_of(plain({"sheet": top, "body": gathered.body}), gathered)


def _head(asked: Asked, shop: Shop, number: str, revision: int, at: datetime, changes: str) -> dict[str, Any]:
    label = PrintKind(asked.kind).label
    return {
        "format": FORMAT,
        "kind": str(asked.kind),
        "title": f"{label} with costs" if asked.made_for else label,
        "number": number,
        "revision": revision,
        "issued": date_format(timezone.localtime(at), "j M Y H:i"),
        "issued_at": at,
        "paper": shop.paper,
        "shop": {"name": shop.name, "address": " · ".join(shop.address.split("\n")), "phone": shop.phone},
        "currency": shop.currency if asked.made_for else "",
        "made_for": asked.made_for.name if asked.made_for else "",
        "costs_from": date_format(asked.costs_from) if asked.costs_from else "",
        "changes": changes,
    }


def context_of(
    data: dict[str, Any], gathered: Gathered, *, token: str = "", digest: str = ""
) -> dict[str, Any]:
    """What a template reads: the data that is hashed, and what only the print has (code, hash, drawings)."""
    head = data["sheet"]
    groups = in_groups(digest) if digest else []
    address = confirm_address(token) if token else ""
    return {
        "sheet": {
            "title": head["title"],
            "number": head["number"],
            "revision": head["revision"] or None,
            "paper": head["paper"],
            "shop": head["shop"]["name"],
            "created": datetime.fromisoformat(str(head["issued_at"])),
            "draft": not digest,
            "footnote": f"SHA-256 {' '.join(groups[:SHORT])} …"
            if groups
            else f"Printed from the record on {head['issued']}",
        },
        "head": head,
        "body": data["body"],
        "drawn": gathered.drawn,
        "digest": groups,
        "address": address,
        "qr": qr_svg(address, f"QR code of the page that confirms this print: {address}") if address else "",
    }


def what_changed(before: IssuedPrint, now: Gathered) -> str:
    """In a few words: "2 visits, 5 parts added". Where the counts are alike, something was said otherwise."""
    if not before.text.data:
        return "the revision before was erased"
    was = json.loads(before.text.data).get("counts", {})
    added, gone = [], []
    for name, count in now.counts.items():
        more = count - was.get(name, 0)
        if more:
            (added if more > 0 else gone).append(_many(abs(more), name))
    said = [f"{', '.join(rows)} {word}" for rows, word in ((added, "added"), (gone, "fewer")) if rows]
    return ("; ".join(said) or "what the records say was put right or added to")[:300]


def _many(count: int, name: str) -> str:
    """`name` is the singular; its plural after a bar where it is no plain s: "entry|entries"."""
    one, _, many = name.partition("|")
    return f"{count} {one if count == 1 else many or f'{one}s'}"


# --- is it genuine? ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Confirmed:
    """What the page of a code says: nothing of the car or of people. `hashes` are (words, groups, erased since).

    `file_hash` is that of the PDF; `erased_what` names what of it was erased, where that is not all.
    """

    title: str
    number: str
    revision: int
    latest: int
    latest_on: datetime
    issued_on: datetime
    pages: int
    hashes: tuple[tuple[str, list[str], bool], ...]
    erased: datetime | None = None
    file_hash: str = ""
    erased_what: str = ""

    @property
    def superseded(self) -> bool:
        return self.latest != self.revision

    @property
    def title_within(self) -> str:
        """Inside a sentence."""
        return f"{self.title[:1].lower()}{self.title[1:]}"


_confirmers: dict[str, Callable[[str], Confirmed | None]] = {}


def add_confirmer(slug: str, confirm: Callable[[str], Confirmed | None]) -> None:
    """`confirm(token)` answers for papers of a room, None for a code that is none of its own; two queries at most."""
    _confirmers[slug] = confirm


def confirmed(token: str) -> Confirmed | None:
    return next((found for confirm in _confirmers.values() if (found := confirm(token)) is not None), None)


def _confirm_print(token: str) -> Confirmed | None:
    row = (
        IssuedPrint.objects.filter(token=token)
        .select_related("text")
        .defer("text__pdf", "text__data")
        .first()
    )
    if row is None:
        return None
    latest = (
        IssuedPrint.objects.filter(
            origin=row.origin, kind=row.kind, subject=row.subject, made_for=row.made_for_id
        )
        .order_by("-revision")
        .only("revision", "made_at")
        .first()
    )
    erased = row.text.erased_at
    return Confirmed(
        row.title,
        row.number,
        row.revision,
        latest.revision,
        latest.made_at,
        row.made_at,
        row.pages,
        (
            ("SHA-256 of its data, printed in full beside its code", in_groups(row.data_hash), bool(erased)),
            ("SHA-256 of the PDF file", in_groups(row.pdf_hash), bool(erased)),
        ),
        erased,
        row.pdf_hash,
    )


add_confirmer("issued", _confirm_print)
