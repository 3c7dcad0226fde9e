"""The history of a car as others than the shop's people read it: an account in plain words, in chapters, newest first.

`context(audience, vehicle, page)` gives everything that `vehicles/_account.html` draws: for the owner's own page, for
a share link, for the preview at the counter. Each room tells its own through doors. A teller answers light chapters:
when, what kind, which record. Only the chapters of the page are then filled, each kind in a fixed number of queries.

What is handed to the template is made of frozen dataclasses of texts, dates and numbers, never of records: from a
record a template would reach whoever had the car before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from math import ceil
from typing import TYPE_CHECKING, Any

from django.utils import timezone

from vehicles.models import Vehicle

if TYPE_CHECKING:
    from vehicles.account_open import Outstanding
    from vehicles.account_parts import Build, CarFacts, Holder
    from vehicles.account_words import Distance
    from vehicles.audience import Audience
    from vehicles.plots import PlotShown

PER_PAGE = 10


@dataclass(frozen=True)
class Chapter:
    """One visit, or one thing that happened: light, as there may be hundreds. `first`: it goes on today."""

    at: datetime
    kind: str
    key: str
    first: bool = False

    @property
    def day(self) -> date:
        return timezone.localdate(self.at)

    @property
    def anchor(self) -> str:
        return f"c-{self.key}"


@dataclass(frozen=True)
class Shown:
    """A chapter with what it tells. `year`: the first of its year on this page; else 0."""

    chapter: Chapter
    template: str
    told: Any
    year: int = 0


@dataclass(frozen=True)
class Word:
    """What must be read before all else, in plain words: `title` is what to do, or what is wrong."""

    title: str
    text: str = ""
    severity: str = ""
    due: str = ""
    said: str = ""


@dataclass(frozen=True)
class Asked:
    """What the workshop asks the reader: an estimate to be answered. `agreed`: what they said yes to before."""

    title: str
    amount: Decimal
    url: str
    agreed: Decimal | None = None


@dataclass(frozen=True)
class Paper:
    """A paper to be opened: a handover sheet, a numbered print. `url` "": this reader can't open it here."""

    title: str
    of: str
    day: date
    url: str


@dataclass(frozen=True)
class Year:
    """Where a year begins: on which page, under which anchor."""

    year: int
    count: int
    page: int


@dataclass(frozen=True)
class Account:
    """All that the template draws. What the audience does not see is empty or None, and was never gathered.

    `whole`: the first page, with everything that stands before the chapters.
    """

    car: CarFacts
    reads_only: bool
    now: bool
    until: date | None
    page: int
    pages: int
    count: int
    years: tuple[Year, ...]
    going_on: tuple[Shown, ...]
    chapters: tuple[Shown, ...]
    first: tuple[Word, ...] = ()
    dangerous: bool = False
    left: tuple[str, ...] = ()
    asked: tuple[Asked, ...] = ()
    outstanding: Outstanding | None = None
    build: Build | None = None
    distance: Distance | None = None
    plots: tuple[PlotShown, ...] = ()
    papers: tuple[Paper, ...] = ()
    holders: tuple[Holder, ...] = ()

    @property
    def whole(self) -> bool:
        return self.page == 1

    @property
    def newer(self) -> int:
        return self.page - 1

    @property
    def older(self) -> int:
        return self.page + 1 if self.page < self.pages else 0

    @property
    def contents(self) -> list[tuple[str, str]]:
        """The parts that are there, each with its anchor."""
        parts = [
            (bool(self.asked), "asked", "The workshop asks you"),
            (self.outstanding is not None, "outstanding", "Outstanding"),
            (bool(self.outstanding and self.outstanding.faults), "faults", "Faults being looked into"),
            (self.build is not None, "build", "What is not factory on it"),
            (True, "done", "What was done"),
            (bool(self.plots), "plots", "Over the years"),
            (bool(self.papers), "papers", "Papers"),
            (True, "car", "What this car is"),
        ]
        return [(slug, title) for there, slug, title in parts if there]


Tell = Callable[["Audience", Vehicle], Iterable[Chapter]]
Fill = Callable[["Audience", Vehicle, list[str]], Mapping[str, Any]]

_tellers: dict[str, tuple[Tell, Fill, str]] = {}
_words: dict[str, Callable[[Audience, Vehicle], Iterable[Word]]] = {}
_leavings: dict[str, Callable[[Audience, Vehicle], str]] = {}
_asked: dict[str, Callable[[Audience, Vehicle], Iterable[Asked]]] = {}
_papers: dict[str, Callable[[Audience, Vehicle], Iterable[Paper]]] = {}


def add_teller(kind: str, tell: Tell, fill: Fill, template: str) -> None:
    """`tell(audience, vehicle)` answers its light chapters; `fill(audience, vehicle, keys)` what those of one page tell.

    Both in a fixed number of queries. `fill` answers by key; a key that it leaves out is not shown. `template` draws
    one, as `told`, with `chapter`, `account` and `shop` besides.
    """
    _tellers[kind] = (tell, fill, template)


def add_first_words(slug: str, tell: Callable[[Audience, Vehicle], Iterable[Word]]) -> None:
    """`tell(audience, vehicle)` answers what keeps the car from being used, such as a tag on it."""
    _words[slug] = tell


def add_leaving(slug: str, tell: Callable[[Audience, Vehicle], str]) -> None:
    """`tell(audience, vehicle)` answers how the car last left the workshop, in one sentence; empty where it did not."""
    _leavings[slug] = tell


def add_asked(slug: str, tell: Callable[[Audience, Vehicle], Iterable[Asked]]) -> None:
    """`tell(audience, vehicle)` answers what waits for the owner's answer."""
    _asked[slug] = tell


def add_papers(slug: str, tell: Callable[[Audience, Vehicle], Iterable[Paper]]) -> None:
    """`tell(audience, vehicle)` answers papers, newest first, in a fixed number of queries."""
    _papers[slug] = tell


def context(audience: Audience, vehicle: Vehicle, page: int = 1) -> dict[str, Any]:
    """`{"account": Account}`, for `{% include "vehicles/_account.html" %}`. The same queries for any length of history.

    A page that there is not is the last one.
    """
    return {"account": account(audience, vehicle, page)}


def account(audience: Audience, vehicle: Vehicle, page: int = 1) -> Account:
    chapters = [chapter for tell, _, _ in _tellers.values() for chapter in tell(audience, vehicle)]
    chapters.sort(key=lambda chapter: (chapter.at, chapter.key), reverse=True)
    now = [chapter for chapter in chapters if chapter.first]
    past = [chapter for chapter in chapters if not chapter.first]
    pages = max(ceil(len(past) / PER_PAGE), 1)
    page = min(max(page, 1), pages)
    wanted = past[(page - 1) * PER_PAGE : page * PER_PAGE]
    filled = _filled(audience, vehicle, [*(now if page == 1 else []), *wanted])
    from vehicles.account_parts import car_facts

    whole: dict[str, Any] = _whole(audience, vehicle) if page == 1 else {}
    return Account(
        car=car_facts(audience, vehicle),
        reads_only=audience.reader is None,
        now=audience.now,
        until=audience.until,
        page=page,
        pages=pages,
        count=len(past),
        years=_years(past),
        going_on=_shown(now, filled) if page == 1 else (),
        chapters=_shown(wanted, filled, years=True),
        **whole,
    )


def _whole(audience: Audience, vehicle: Vehicle) -> dict[str, Any]:
    """What stands on the first page before the chapters and after them."""
    from vehicles.account_open import outstanding_of
    from vehicles.account_parts import build_of, holders_of
    from vehicles.account_words import Distances
    from vehicles.plots import plots_of

    open_now = outstanding_of(audience, vehicle)
    dangers = open_now.dangers if open_now else ()
    papers = [one for tell in _papers.values() for one in tell(audience, vehicle)]
    told = [word for tell in _words.values() for word in tell(audience, vehicle)]
    return {
        "first": (*told, *dangers),
        "dangerous": bool(dangers),
        "left": tuple(said for tell in _leavings.values() if (said := tell(audience, vehicle)))
        if dangers
        else (),
        "asked": tuple(one for tell in _asked.values() for one in tell(audience, vehicle)),
        "outstanding": open_now,
        "build": build_of(audience, vehicle),
        "distance": Distances(audience, vehicle).now,
        "plots": tuple(plots_of(vehicle, audience)),
        "papers": tuple(sorted(papers, key=lambda paper: paper.day, reverse=True)),
        "holders": holders_of(audience, vehicle),
    }


def _filled(audience: Audience, vehicle: Vehicle, chapters: list[Chapter]) -> dict[tuple[str, str], Any]:
    filled = {}
    for kind, (_, fill, _) in _tellers.items():
        keys = [chapter.key for chapter in chapters if chapter.kind == kind]
        if keys:
            filled |= {(kind, str(key)): told for key, told in fill(audience, vehicle, keys).items()}
    return filled


def _shown(
    chapters: list[Chapter], filled: Mapping[tuple[str, str], Any], *, years: bool = False
) -> tuple[Shown, ...]:
    shown: list[Shown] = []
    last = 0
    for chapter in chapters:
        told = filled.get((chapter.kind, chapter.key))
        if told is None:
            continue
        year = chapter.day.year if years else 0
        shown.append(Shown(chapter, _tellers[chapter.kind][2], told, year if year != last else 0))
        last = year
    return tuple(shown)


def _years(chapters: list[Chapter]) -> tuple[Year, ...]:
    first: dict[int, int] = {}
    count: dict[int, int] = {}
    for index, chapter in enumerate(chapters):
        year = chapter.day.year
        first.setdefault(year, index)
        count[year] = count.get(year, 0) + 1
    return tuple(Year(year, count[year], index // PER_PAGE + 1) for year, index in first.items())
