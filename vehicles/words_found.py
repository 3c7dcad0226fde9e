"""Searching the words: what was asked, which records answer it, and the words round each hit.

Both databases find the same: texts are folded here, and all that is asked of the database is whether a folded text
holds another one (LIKE, with its wildcards escaped). Measured on 100,000 texts: `tests/benchmarks/words.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db.models import Count, F, Q, QuerySet
from django.utils import timezone

from vehicles.folding import MOST_ASKED, folded, folded_with_places, too_long_to_search
from vehicles.models import Vehicle, Words
from vehicles.timeline import at_day
from workshop.models import Person

LEAST = 2  # letters of a word
PER_PAGE = 25
_AROUND = 70  # letters shown before and after a hit
_EXCERPTS = 3
# A phrase stands between quotes at the edges of words: the inches of 17" are none.
_PHRASE = re.compile(r'(?:^|(?<=\s))["“„”]([^"“”„]+)["“”](?=\s|$)')


def terms_of(text: str) -> tuple[str, ...]:
    """The words and phrases that are asked for, folded. Raises ValidationError with a sentence."""
    if too_long_to_search(text):
        raise ValidationError(f"Give at most {MOST_ASKED} characters to search for.")
    phrases = [folded(phrase) for phrase in _PHRASE.findall(text)]
    words = _PHRASE.sub(" ", text).split()
    terms = []
    for typed, term in [*((word, folded(word)) for word in words), *((phrase, phrase) for phrase in phrases)]:
        if len(term) < LEAST:
            raise ValidationError(
                f"“{typed}” is too short to look for: give at least {LEAST} letters or figures, or put it in quotes "
                "with the word beside it."
            )
        terms.append(term)
    return tuple(dict.fromkeys(terms))


@dataclass(frozen=True)
class Asked:
    """What is looked for. `until` is the last day that counts; what is empty narrows nothing."""

    terms: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    system: str = ""
    severity: str = ""
    since: date | None = None
    until: date | None = None
    person: Person | None = None
    vehicle: Vehicle | None = None

    @property
    def anything(self) -> bool:
        """Whether something is asked at all, beside of which car."""
        rest = (self.kinds, self.system, self.severity, self.since, self.until, self.person)
        return bool(self.terms or any(rest))

    def rows(self, *, but_kinds: bool = False) -> QuerySet[Words]:
        rows = Words.objects.all()
        if self.vehicle is not None:
            rows = rows.filter(vehicle=self.vehicle)
        if self.kinds and not but_kinds:
            rows = rows.filter(kind__in=self.kinds)
        for name in ("system", "severity"):
            if value := getattr(self, name):
                rows = rows.filter(**{name: value})
        if self.person is not None:
            rows = rows.filter(person=self.person)
        if self.since is not None:
            rows = rows.filter(at__gte=at_day(self.since, timezone.now()))
        if self.until is not None:
            rows = rows.filter(at__lt=at_day(self.until + timedelta(days=1), timezone.now()))
        for term in self.terms:
            rows = rows.filter(folded__contains=term)
        return rows


@dataclass(frozen=True)
class Cursor:
    """Where a page ended. Two rows never share it, so what was written at one moment is neither left out nor repeated."""

    at: datetime
    pk: int

    @classmethod
    def read(cls, text: str) -> Cursor | None:
        """None for what is no cursor: the list then begins at its head."""
        try:
            micros, pk = (int(part) for part in text.split("~"))
            at = datetime.fromtimestamp(micros // 10**6, UTC).replace(microsecond=micros % 10**6)
        except (ValueError, OverflowError, OSError):
            return None
        return cls(at, pk) if 0 <= pk < 2**63 else None

    def __str__(self) -> str:
        seconds = int(self.at.replace(microsecond=0).timestamp())
        return f"{seconds * 10**6 + self.at.microsecond}~{self.pk}"

    @property
    def after(self) -> Q:
        return Q(at__lt=self.at) | Q(at=self.at, pk__lt=self.pk)


@dataclass(frozen=True)
class Piece:
    """A stretch of a text: `hit` where it is what was asked for."""

    text: str
    hit: bool = False


@dataclass(frozen=True)
class Hit:
    words: Words
    pieces: list[Piece]


@dataclass
class Page:
    hits: list[Hit] = field(default_factory=list)
    older: Cursor | None = None
    counts: dict[str, int] = field(default_factory=dict)

    @property
    def count(self) -> int:
        return sum(self.counts.values())


def page(asked: Asked, before: Cursor | None = None, most: int = PER_PAGE, *, counted: bool = True) -> Page:
    """The newest that answer, in four queries: which these are, their rows, the plates of their cars, and how many there
    are of each kind.
    """
    rows = asked.rows()
    if before is not None:
        rows = rows.filter(before.after)
    # Their keys first: sorted along with all their texts it takes twice as long.
    newest = list(rows.order_by(F("at").desc(), "-pk").values_list("at", "pk")[: most + 1])
    shown = Words.objects.filter(pk__in=[pk for _, pk in newest[:most]]).order_by(F("at").desc(), "-pk")
    shown = shown.select_related("vehicle", "person").prefetch_related("vehicle__registrations")
    answer = Page([Hit(row, excerpt(row.text, asked.terms)) for row in shown])
    if len(newest) > most:
        answer.older = Cursor(*newest[most - 1])
    if counted:
        counts = asked.rows(but_kinds=True).values_list("kind").annotate(Count("pk")).order_by()
        answer.counts = dict(counts)
    return answer


# --------------------------------------------------------------------------------------------- the words round a hit


def excerpt(text: str, terms: Iterable[str]) -> list[Piece]:
    """The text round what was asked for, in pieces; its beginning where nothing was. Never more than a few lines."""
    hits = _hits(text, tuple(terms))
    windows = _windows(text, hits)
    pieces: list[Piece] = []
    for number, (begin, end) in enumerate(windows):
        if begin > 0 or number:
            pieces.append(Piece("… " if number == 0 else " … "))
        at = begin
        for first, last in hits:
            if begin <= first and last <= end:
                pieces += [Piece(text[at:first]), Piece(text[first:last], hit=True)]
                at = last
        pieces.append(Piece(text[at:end]))
    if windows[-1][1] < len(text):
        pieces.append(Piece(" …"))
    return [piece for piece in pieces if piece.text]


def _hits(text: str, terms: tuple[str, ...]) -> list[tuple[int, int]]:
    """Where in the text what was asked for stands, in order, run together where it overlaps."""
    if not terms:
        return []
    plain, places = folded_with_places(text)
    found = []
    for term in terms:
        at = plain.find(term)
        while at >= 0:
            # To where the next letter begins: an accent that was folded away belongs to its letter.
            found.append((places[at], _end(text, places, at + len(term))))
            at = plain.find(term, at + len(term))
    joined: list[tuple[int, int]] = []
    for begin, end in sorted(found):
        if joined and begin < joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _end(text: str, places: list[int], after: int) -> int:
    """Where the letter before place `after` of the folded text ends: blanks that follow it are not its own."""
    last = places[after - 1]
    end = max(places[after] if after < len(places) else len(text), last + 1)
    return last + max(1, len(text[last:end].rstrip()))


def _windows(text: str, hits: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Stretches to show: round the first hit, and round later ones that stand far from it."""
    if not hits:
        return [(0, _cut_after(text, 2 * _AROUND))]
    windows: list[tuple[int, int]] = []
    for begin, end in hits:
        first, last = _cut_before(text, begin - _AROUND), _cut_after(text, end + _AROUND)
        if windows and first <= windows[-1][1]:
            # A word that stands in every line does not bring the whole text.
            if end <= windows[-1][1]:
                continue
            if last - windows[-1][0] <= 5 * _AROUND:
                windows[-1] = (windows[-1][0], last)
                continue
            first = windows[-1][1]
            if begin < first:
                continue
        if len(windows) == _EXCERPTS:
            break
        windows.append((first, last))
    return windows


def _cut_before(text: str, at: int) -> int:
    """The begin of a word at or after this place, where one begins soon."""
    if at <= 0:
        return 0
    blank = re.search(r"\s", text[at : at + 20])
    return at + blank.end() if blank else at


def _cut_after(text: str, at: int) -> int:
    if at >= len(text):
        return len(text)
    begin = max(at - 20, 0)
    blanks = list(re.finditer(r"\s", text[begin:at]))
    return begin + blanks[-1].start() if blanks else at
