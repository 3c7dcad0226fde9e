"""What non-factory parts change: the factory's car and this car side by side, worked out by the same calculators.

An effect is one file in `effects/` with an `Effect`: from a `CarFigures` it makes a `Topic` with rows, plots, what
is missing and what was assumed. `effects_of` asks every effect.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from workshop.engineering.declare import Source
from workshop.engineering.errors import EngineeringError
from workshop.engineering.items import ITEMS, key_at, key_name
from workshop.engineering.plot import Plot
from workshop.engineering.result import Given, Origin
from workshop.engineering.units import Amount, show

# A hyphen that stands for a minus: before a digit, and not inside a word or a span ("10x4.50-5", "2-3").
_HYPHEN_FOR_MINUS = re.compile(r"(?<![\w.)\]])-(?=\d)")


def true_minus(text: str) -> str:
    """A text with the minus sign in front of its negative numbers: "−12′", as the changes beside them have it."""
    return _HYPHEN_FOR_MINUS.sub("−", text) if "-" in text else text


@dataclass(frozen=True)
class Figure:
    """One known value: an amount, or a text (a tyre size, a choice's code).

    `words` say where it stands ("workshop manual, p. 12"). `sure` is confirmed, likely or open.
    """

    value: Amount | str
    origin: Origin
    words: str = ""
    sure: str = "open"
    low: Amount | None = None
    high: Amount | None = None

    @property
    def given(self) -> Given:
        return Given(self.value, self.origin, self.words)

    @property
    def shown(self) -> str:
        return true_minus(show(self.value)) if isinstance(self.value, Amount) else self.value

    def agrees(self, other: Figure) -> bool:
        """Whether both read the same, to the decimals that are shown, whatever their units."""
        mine, others = self.value, other.value
        if not isinstance(mine, Amount) or not isinstance(others, Amount):
            return self.shown.casefold() == other.shown.casefold()
        return show(mine) == show(others, mine.unit)


@dataclass(frozen=True)
class Part:
    """A fitted part that is not the factory's, with the figures it carries, by item code."""

    id: str
    what: str
    where: str
    place: str
    position: str
    figures: Mapping[str, Figure]

    @cached_property
    def keys(self) -> dict[str, str]:
        """The car's keys that this part settles, with the item's code."""
        found = {code: key_at(code, self.place, self.position) for code in self.figures}
        return {key: code for code, key in found.items() if key}


@dataclass(frozen=True)
class CarFigures:
    """All that is known of one car in numbers. `factory` by key (data sheet), `own` by key (measured on the car).

    `now` is the car as it stands: the factory's figures, those of the fitted parts in their stead, and before both
    what was measured on the car.
    """

    factory: Mapping[str, Figure]
    parts: tuple[Part, ...] = ()
    own: Mapping[str, Figure] = field(default_factory=dict)

    @cached_property
    def _now(self) -> dict[str, Figure]:
        figures = dict(self.factory)
        for part in self.parts:
            for key, code in part.keys.items():
                figures[key] = part.figures[code]
        return {**figures, **self.own}

    @property
    def now(self) -> dict[str, Figure]:
        """A copy for each who asks: an effect may leave out what it does not want to inherit."""
        return dict(self._now)

    @property
    def disagreeing(self) -> list[str]:
        """What is written twice of one thing and differs, in sentences: two sides of an axle, a part and the car."""
        said: dict[str, tuple[Figure, str]] = {}
        found = []
        for part in self.parts:
            for key, code in part.keys.items():
                figure, name = part.figures[code], key_name(key)
                own = self.own.get(key)
                if own is not None:
                    if not own.agrees(figure):
                        found.append(
                            f"{name}: {own.shown} on this car itself, {figure.shown} by the part ({part.what}). "
                            f"{own.shown} was used; look at both."
                        )
                elif key in said and not said[key][0].agrees(figure):
                    other, where = said[key]
                    found.append(
                        f"{name}: {other.shown} ({where}), {figure.shown} ({part.where}). "
                        f"{figure.shown} was used; look at both."
                    )
                said[key] = figure, part.where
        return list(dict.fromkeys(found))

    def parts_for(self, keys: tuple[str, ...]) -> tuple[Part, ...]:
        """The parts that settle one of these keys (a code alone stands for an item kept part by part)."""
        return tuple(
            part
            for part in self.parts
            if any(key in part.keys or (key in part.figures and ITEMS[key].per == "part") for key in keys)
        )


class Standing(StrEnum):
    """What a row says, in words on the page: never by colour alone, never "complies"."""

    AS_FACTORY = "as_factory"
    CHANGED = "changed"
    INSIDE = "inside"
    OUTSIDE = "outside"
    NOT_KNOWN = "not_known"

    @property
    def label(self) -> str:
        return {
            "as_factory": "as the factory had it",
            "changed": "changed, no published limit",
            "inside": "inside the limit",
            "outside": "outside the limit",
            "not_known": "can't be said yet",
        }[self]


@dataclass(frozen=True)
class Row:
    """One quantity: factory | this car | change | limit | verdict. Texts are ready to show; "–" where there is none.

    A negative number gets its minus sign here, wherever its text was made.

    `parts` are the ids of the parts that it comes from. `verdict` is a sentence of its own.
    """

    what: str
    factory: str
    now: str
    change: str
    standing: Standing
    verdict: str = ""
    limit: str = "–"
    limit_source: str = ""
    parts: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("factory", "now", "change", "verdict", "limit"):
            object.__setattr__(self, name, true_minus(getattr(self, name)))


@dataclass(frozen=True)
class Missing:
    """A figure that would say more. `key` is an item's key, or "CODE@PART" for an item of one part."""

    key: str
    why: str

    @property
    def label(self) -> str:
        code, _, part = self.key.partition("@")
        return ITEMS[code].name if part else key_name(code)


@dataclass(frozen=True)
class Topic:
    """What one effect found. A topic with nothing but `missing` asks for what it needs."""

    slug: str
    title: str
    rows: tuple[Row, ...] = ()
    plots: tuple[Plot, ...] = ()
    missing: tuple[Missing, ...] = ()
    # Sentences of `Spread`: what was assumed and what that does.
    assumptions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()
    cautions: tuple[str, ...] = ()
    local_approval: bool = False
    # The calculator whose page shows more.
    calculator: str = ""

    def __post_init__(self) -> None:
        for name in ("assumptions", "notes"):
            object.__setattr__(self, name, tuple(true_minus(text) for text in getattr(self, name)))

    @property
    def outside(self) -> bool:
        return any(row.standing == Standing.OUTSIDE for row in self.rows)


@dataclass(frozen=True)
class Effect:
    """`work` answers None when no part of this car touches the subject."""

    slug: str
    title: str
    order: int
    work: Callable[[CarFigures], Topic | None]


def effects_of(car: CarFigures) -> list[Topic]:
    """What every effect finds on this car, in their order. One that meets figures without an answer says so."""
    from workshop.engineering.catalogue import effects

    topics = [_found(effect, car) for effect in effects()]
    return [topic for topic in topics if topic is not None]


def _found(effect: Effect, car: CarFigures) -> Topic | None:
    try:
        return effect.work(car)
    except EngineeringError as error:
        why = str(error)
    except (ZeroDivisionError, OverflowError):
        why = "look at them again, one by one."
    return Topic(effect.slug, effect.title, notes=(f"The figures on record together give no answer: {why}",))


def change_in_percent(factory: float, now: float) -> str:
    """ "+5.4 %", "−1.2 %", "none". From a factory value of zero there is no percentage: "–"."""
    if factory == 0:
        return "none" if now == 0 else "–"
    percent = (now / factory - 1) * 100
    if abs(percent) < 0.05:
        return "none"
    return f"{'+' if percent > 0 else '−'}{abs(percent):.1f} %"
