"""The history of a car in one stream, newest first: each subject hangs its sources here, also those of the rooms above.

A page of the stream is found by a cursor (moment, source, record) and not by counting: what is written meanwhile moves
nothing, and a page costs each source one query (or a fixed number) whatever the length of the history.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time
from itertools import groupby
from typing import Any
from uuid import UUID

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from vehicles.folding import folded, too_long_to_search
from vehicles.models import Attachment, Vehicle

PER_PAGE = 40
# A day of one job with many entries is shown by kind, and more than a few of a kind are folded.
MANY, FEW = 10, 3


@dataclass(frozen=True)
class Entry:
    """One thing that happened. `job`: the visit it belongs to. `figure` is read from a metre away."""

    at: datetime
    pk: UUID
    title: str
    text: str = ""
    url: str = ""
    by: str = ""
    job: Any = None
    severity: str = ""
    figure: str = ""
    link: tuple[str, str] | None = None  # address and words of a paper that belongs to it
    photo: Attachment | None = None
    checked: bool = False  # crossed by the witness mark
    kind: str = ""
    source: str = ""

    @property
    def key(self) -> tuple[datetime, str, str]:
        """The order of the stream: two entries never share it."""
        return self.at, self.source, self.pk.hex

    @property
    def day(self) -> date:
        return timezone.localtime(self.at).date()

    def has(self, words: Iterable[str]) -> bool:
        told = folded(" ".join((self.title, self.text, self.by, self.figure, str(self.job or ""))))
        return all(word in told for word in words)


@dataclass(frozen=True)
class Cursor:
    """Where a page ended: the next one begins after this entry."""

    at: datetime
    source: str
    pk: str

    @classmethod
    def of(cls, entry: Entry) -> Cursor:
        return cls(*entry.key)

    @classmethod
    def read(cls, text: str) -> Cursor | None:
        """None for what is no cursor: the stream then begins at its head."""
        try:
            micros, source, pk = text.split("~")
            return cls(datetime.fromtimestamp(int(micros) // 10**6, UTC).replace(microsecond=int(micros) % 10**6),
                       source, UUID(pk).hex)  # fmt: skip
        except (ValueError, OverflowError, OSError):
            return None

    def __str__(self) -> str:
        seconds = int(self.at.replace(microsecond=0).timestamp())
        return f"{seconds * 10**6 + self.at.microsecond}~{self.source}~{self.pk}"


@dataclass(frozen=True)
class Window:
    """The part of the stream that is asked for. `most` None: all of it, to be searched for words."""

    before: Cursor | None = None
    since: datetime | None = None
    until: datetime | None = None
    most: int | None = PER_PAGE
    source: str = ""
    narrow: tuple[tuple[str, Any], ...] = ()

    def few(self, rows: QuerySet) -> QuerySet:
        """All rows of a source that has but a few, as far as they answer to what is asked."""
        return rows.filter(**dict(self.narrow))

    def rows(self, rows: QuerySet, moment: str = "made_at") -> list:
        """The newest rows of this window by the column `moment`: one query, besides the rows' own prefetches."""
        rows = self.few(rows)
        if self.since is not None:
            rows = rows.filter(**{f"{moment}__gte": self.since})
        if self.until is not None:
            rows = rows.filter(**{f"{moment}__lt": self.until})
        if self.before is not None:
            at = self.before.at
            earlier = Q(**{f"{moment}__lt": at})
            if self.source < self.before.source:
                earlier = Q(**{f"{moment}__lte": at})
            elif self.source == self.before.source:
                earlier |= Q(**{moment: at, "pk__lt": UUID(self.before.pk)})
            rows = rows.filter(earlier)
        rows = rows.order_by(F(moment).desc(), "-pk")
        return list(rows if self.most is None else rows[: self.most])

    def holds(self, entry: Entry) -> bool:
        return (
            (self.since is None or entry.at >= self.since)
            and (self.until is None or entry.at < self.until)
            and (self.before is None or entry.key < (self.before.at, self.before.source, self.before.pk))
        )


@dataclass(frozen=True)
class Source:
    """`gather(vehicle, window)` answers entries, in any order, in a fixed number of queries: through `window.rows`, or all
    there are where a car has but a few, through `window.few`. `name` is unique; several sources may be of one kind.

    `person`, `system` and `severity` are the ways from its rows to who did it, a zone of the car, a severity: by what
    it has no way to, it is not found.
    """

    name: str
    kind: str
    label: str
    gather: Callable[[Vehicle, Window], Iterable[Entry]]
    person: str = ""
    system: str = ""
    severity: str = ""

    def narrowed(self, wanted: dict[str, Any]) -> tuple[tuple[str, Any], ...] | None:
        """Filters of its rows; None where it knows nothing of what is asked."""
        ways = {name: getattr(self, name) for name, value in wanted.items() if value}
        return tuple((way, wanted[name]) for name, way in ways.items()) if all(ways.values()) else None


@dataclass
class Group:
    """What happened on one day, on one job or beside all jobs."""

    day: date
    job: Any
    entries: list[Entry]

    @property
    def photos(self) -> list[Attachment]:
        return [entry.photo for entry in self.entries if entry.photo is not None]

    @property
    def told(self) -> list[Entry]:
        return [entry for entry in self.entries if entry.photo is None]

    @property
    def folded(self) -> list[tuple[str, list[Entry], bool]]:
        """The same by kind, where there are many: nobody reads forty lines of one day one by one.

        Label, entries, and whether these are folded away: a few of a kind are not.
        """
        if len(self.told) <= MANY:
            return []
        order = list(dict.fromkeys(entry.kind for entry in self.told))
        labels = dict(kinds())
        rows = {kind: [entry for entry in self.told if entry.kind == kind] for kind in order}
        return [(labels[kind], found, len(found) > FEW) for kind, found in rows.items()]


@dataclass
class Page:
    groups: list[Group] = field(default_factory=list)
    older: Cursor | None = None
    count: int = 0


_sources: dict[str, Source] = {}


def add_source(source: Source) -> None:
    """Call in an app's `ready()` or beside the views of the subject."""
    _sources[source.name] = source


def kinds() -> list[tuple[str, str]]:
    """Code and label of every kind, in the order in which the rooms added them."""
    return list({source.kind: source.label for source in _sources.values()}.items())


def page(
    vehicle: Vehicle,
    *,
    only: Iterable[str] = (),
    words: str = "",
    since: date | None = None,
    until: date | None = None,
    person: Any = None,
    system: str = "",
    severity: str = "",
    terms: tuple[str, ...] = (),
    before: Cursor | None = None,
    most: int | None = PER_PAGE,
) -> Page:
    """One page of the stream. `only` are kinds; `until` is the first day left out; `most` None is the whole of it.

    `terms` are words and phrases, folded already; `words` as somebody typed them.
    """
    wanted = frozenset(only)
    asked = terms or (() if too_long_to_search(words) else tuple(dict.fromkeys(folded(words).split())))
    narrow = {"person": person, "system": system, "severity": severity}
    window = Window(
        before=before,
        since=_begin(since),
        until=_begin(until),
        most=None if asked or most is None else most + 1,
    )
    found: list[Entry] = []
    for source in _sources.values():
        if wanted and source.kind not in wanted:
            continue
        if (ways := source.narrowed(narrow)) is None:
            continue
        here = replace(window, source=source.name, narrow=ways)
        for told in source.gather(vehicle, here):
            entry = replace(told, kind=source.kind, source=source.name)
            if here.holds(entry) and (not asked or entry.has(asked)):
                found.append(entry)
    found.sort(key=lambda entry: entry.key, reverse=True)
    shown = found if most is None else found[:most]
    return Page(
        groups=_grouped(shown),
        older=Cursor.of(shown[-1]) if len(found) > len(shown) else None,
        count=len(shown),
    )


def _grouped(entries: list[Entry]) -> list[Group]:
    """By day, and within the day by job in the order of its newest entry."""
    groups = []
    for day, rows in groupby(entries, key=lambda entry: entry.day):
        by_job: dict[Any, Group] = {}
        for entry in rows:
            key = getattr(entry.job, "pk", None)
            by_job.setdefault(key, Group(day, entry.job, [])).entries.append(entry)
        groups += by_job.values()
    return groups


def _begin(day: date | None) -> datetime | None:
    return None if day is None else timezone.make_aware(datetime.combine(day, time()))


def at_day(day: date | None, otherwise: datetime) -> datetime:
    """The moment of what is known by its day only; where the day isn't known, when it was written down."""
    return otherwise if day is None else timezone.make_aware(datetime.combine(day, time()))
