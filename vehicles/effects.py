"""What the non-factory parts of a car change: the effects worked out, with the parts they come from and what is missing.

The page, the panel, the survey report and the print read one `EffectReport`. Nothing here draws: plots stay data
until a template asks for them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

from django.urls import reverse

from vehicles.figures import fitted_on, gathered, sheet_of
from vehicles.models import FittedPart, Vehicle
from workshop.engineering.declare import INFORMS, LOCAL_APPROVAL
from workshop.engineering.effect import (
    CarFigures,
    Figure,
    Missing,
    Part,
    Row,
    Standing,
    Topic,
    change_in_percent,
    effects_of,
)
from workshop.engineering.items import ITEMS, items_at, key_at
from workshop.engineering.units import Amount, show

# What a reader looks for first.
_FIRST = (Standing.OUTSIDE, Standing.NOT_KNOWN, Standing.CHANGED, Standing.INSIDE, Standing.AS_FACTORY)
# What has no limit: a page shows so many of these in each topic, and folds the others.
_PLAIN = (Standing.CHANGED, Standing.AS_FACTORY)
SHOWN_PLAIN = 3
NONE = "–"


@dataclass(frozen=True)
class Named:
    """A part in words, with its page; several of one description (four tyres) are named once, with their places."""

    what: str
    where: str
    url: str
    many: int = 1


@dataclass(frozen=True)
class ShownRow:
    """A row, with the parts that it comes from where they are not simply those of its topic."""

    row: Row
    parts: tuple[Named, ...] = ()

    @property
    def outside(self) -> bool:
        return self.row.standing == Standing.OUTSIDE


@dataclass(frozen=True)
class ShownTopic:
    """A topic, its rows with what is outside its limit first. `missing` are figures that no topic before asked for;
    `asked` the labels of those that one did."""

    topic: Topic
    rows: tuple[ShownRow, ...]
    parts: tuple[Named, ...] = ()
    missing: tuple[Missing, ...] = ()
    asked: tuple[str, ...] = ()

    @property
    def outside(self) -> list[ShownRow]:
        return [row for row in self.rows if row.outside]

    @property
    def first(self) -> list[ShownRow]:
        """The rows that a page shows at once: what has a limit or can't be said yet, and a few of the rest."""
        plain = [row for row in self.rows if row.row.standing in _PLAIN]
        if len(plain) <= SHOWN_PLAIN + 2:
            return list(self.rows)
        return [row for row in self.rows if row.row.standing not in _PLAIN or row in plain[:SHOWN_PLAIN]]

    @property
    def more(self) -> list[ShownRow]:
        """The rows that a page folds away; a print has them all."""
        first = self.first
        return [row for row in self.rows if row not in first]


@dataclass(frozen=True)
class Dimension:
    """One figure of a part beside the factory's: from what the topics are worked out, with where each stands."""

    what: str
    factory: str
    now: str
    change: str
    words: str
    sure: str
    factory_words: str = ""


@dataclass(frozen=True)
class Measured:
    """A part with its dimensions, or several that are alike. `used`: some topic's row comes from it."""

    part: Named
    dimensions: tuple[Dimension, ...]
    used: bool


@dataclass(frozen=True)
class EffectReport:
    """`askable` are non-factory parts without dimensions for which some are kept; `rest` those for which none are."""

    topics: tuple[ShownTopic, ...] = ()
    measured: tuple[Measured, ...] = ()
    askable: tuple[FittedPart, ...] = ()
    rest: tuple[FittedPart, ...] = ()
    disagreeing: tuple[str, ...] = ()
    has_sheet: bool = False
    sentences: tuple[str, ...] = field(default=(INFORMS,))

    @property
    def outside(self) -> list[tuple[ShownTopic, ShownRow]]:
        """What is outside its limit, over all topics: to be read first."""
        return [(topic, row) for topic in self.topics for row in topic.outside]

    @property
    def odd(self) -> int:
        """How many parts are not the factory's."""
        return sum(one.part.many for one in self.measured) + len(self.askable) + len(self.rest)

    @property
    def missing(self) -> list[Missing]:
        return [one for topic in self.topics for one in topic.missing]

    @property
    def sources(self) -> list[str]:
        return list(dict.fromkeys(str(source) for shown in self.topics for source in shown.topic.sources))

    @property
    def counts(self) -> dict[str, int]:
        """How many rows say what, in words, what is to be looked at first."""
        standings = [row.row.standing for topic in self.topics for row in topic.rows]
        return {each.label: standings.count(each) for each in _FIRST if each in standings}


def report_of(vehicle: Vehicle) -> EffectReport:
    """The report of a car. Three queries, whatever is on record."""
    fitted = fitted_on(vehicle)
    return of_figures(
        gathered(vehicle, sheet_of(vehicle), fitted), [part for part in fitted if not part.is_factory]
    )


def of_figures(car: CarFigures, parts: Iterable[FittedPart]) -> EffectReport:
    """The report from what is known of the car and its non-factory parts. No query."""
    # A topic with something outside its limit comes first; the others in their order.
    topics = sorted(worked_out(car), key=lambda topic: not topic.outside)
    parts_by_id = {part.id: part for part in car.parts}
    seen: set[str] = set()
    shown = []
    for topic in topics:
        new = tuple(one for one in topic.missing if one.key not in seen)
        asked = tuple(one.label for one in topic.missing if one.key in seen)
        seen |= {one.key for one in new}
        shown.append(_shown(topic, parts_by_id, new, asked))
    with_figures = [part for part in car.parts if part.figures]
    measured = {part.id for part in with_figures}
    without = [part for part in parts if str(part.pk) not in measured]
    approval = (LOCAL_APPROVAL,) if any(topic.local_approval for topic in topics) else ()
    return EffectReport(
        topics=tuple(shown),
        measured=_measured(with_figures, car, {id for topic in topics for id in _ids(topic)}),
        askable=tuple(part for part in without if items_at(part.place_id)),
        rest=tuple(part for part in without if not items_at(part.place_id)),
        disagreeing=tuple(car.disagreeing),
        has_sheet=bool(car.factory),
        sentences=(INFORMS, *approval),
    )


def worked_out(car: CarFigures) -> tuple[Topic, ...]:
    """What the effects find. The same figures always give the same: so the last few cars are kept in memory."""
    return _worked_out(_Frozen(car))


class _Frozen:
    """A car's figures as a key: alike when all that is written of them is alike."""

    def __init__(self, car: CarFigures) -> None:
        self.car, self.text = car, repr(car)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Frozen) and self.text == other.text

    def __hash__(self) -> int:
        return hash(self.text)


@lru_cache(maxsize=64)
def _worked_out(frozen: _Frozen) -> tuple[Topic, ...]:
    return tuple(effects_of(frozen.car))


def _shown(
    topic: Topic, parts: dict[str, Part], new: tuple[Missing, ...], asked: tuple[str, ...]
) -> ShownTopic:
    every = _ids(topic)
    rows = [
        ShownRow(
            row, named([parts[id] for id in row.parts if id in parts]) if set(row.parts) != set(every) else ()
        )
        for row in sorted(topic.rows, key=lambda row: _FIRST.index(row.standing))
    ]
    return ShownTopic(topic, tuple(rows), named([parts[id] for id in every if id in parts]), new, asked)


def _ids(topic: Topic) -> list[str]:
    """The ids of the parts of all its rows, each once."""
    return list(dict.fromkeys(id for row in topic.rows for id in row.parts))


def named(parts: Iterable[Part]) -> tuple[Named, ...]:
    """Parts in words; those of one description together, with the page of the first."""
    alike: dict[str, list[Part]] = {}
    for part in parts:
        alike.setdefault(part.what, []).append(part)
    return tuple(
        Named(
            what,
            "; ".join(part.where for part in several),
            reverse("vehicles:part", args=[several[0].id]),
            len(several),
        )
        for what, several in alike.items()
    )


def _measured(parts: Iterable[Part], car: CarFigures, used: set[str]) -> tuple[Measured, ...]:
    alike: dict[tuple[str, tuple[Dimension, ...], bool], list[Part]] = {}
    for part in parts:
        alike.setdefault((part.what, _dimensions(part, car), part.id in used), []).append(part)
    return tuple(
        Measured(named(several)[0], dimensions, of_use) for (_, dimensions, of_use), several in alike.items()
    )


def _dimensions(part: Part, car: CarFigures) -> tuple[Dimension, ...]:
    found = []
    for code, figure in part.figures.items():
        key = key_at(code, part.place, part.position)
        factory = car.factory.get(key) if key else None
        found.append(
            Dimension(
                what=ITEMS[code].name,
                factory=in_words(code, factory) if factory else NONE,
                now=in_words(code, figure),
                change=change(factory, figure) if factory else NONE,
                # Its own name stands above it already.
                words=_sentence(figure.words.removeprefix(f"{part.what}: ")),
                sure=figure.sure,
                factory_words=factory.words if factory else "",
            )
        )
    return tuple(found)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def in_words(code: str, figure: Figure) -> str:
    """A figure as it is shown: a choice by its label."""
    return dict(ITEMS[code].choices).get(figure.shown, figure.shown)


def change(factory: Figure, now: Figure) -> str:
    """ "+6 mm, +20.0 %", "none", "another". A percentage stands only between two numbers above zero."""
    if not (isinstance(factory.value, Amount) and isinstance(now.value, Amount)):
        return "none" if factory.shown.casefold() == now.shown.casefold() else "another"
    before = factory.value.to(now.value.unit)
    difference = Amount(now.value.value - before.value, now.value.unit)
    if difference.value == 0:
        return "none"
    text = f"+{show(difference)}" if difference.value > 0 else show(difference).replace("-", "−")
    if before.value > 0 and now.value.value > 0:
        return f"{text}, {change_in_percent(float(before.value), float(now.value.value))}"
    return text
