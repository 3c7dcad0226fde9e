"""What several effects do with figures: take one in a unit, and put the factory's and this car's in one row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from workshop.engineering.effect import (
    CarFigures,
    Figure,
    Missing,
    Part,
    Row,
    Standing,
    change_in_percent,
    true_minus,
)
from workshop.engineering.units import Amount, show

FACTORYS = "the factory's, to say what has changed"


@dataclass(frozen=True)
class Known:
    """A car's figures looked up once, for one effect.

    `settled` are the ids of the parts that settle a key.
    """

    factory: Mapping[str, Figure]
    own: Mapping[str, Figure]
    parts: tuple[Part, ...]
    now: Mapping[str, Figure]
    settled: Mapping[str, tuple[str, ...]]

    @classmethod
    def of(cls, car: CarFigures) -> Known:
        settled: dict[str, tuple[str, ...]] = {}
        for part in car.parts:
            for key in part.keys if part.figures else ():
                settled[key] = (*settled.get(key, ()), part.id)
        return cls(car.factory, car.own, car.parts, car.now, settled)

    def ids(self, *keys: str) -> tuple[str, ...]:
        """The parts that settle one of these keys, each once."""
        return tuple(dict.fromkeys(id for key in keys for id in self.settled.get(key, ())))

    def less(self, *keys: str) -> Known:
        """The car without what it has of these keys from the factory alone: another unit inherits nothing of it."""
        inherited = {key for key in keys if key in self.now and self.now[key] is self.factory.get(key)}
        return replace(self, now={key: figure for key, figure in self.now.items() if key not in inherited})

    def factory_asked(self, *keys: str) -> list[Missing]:
        """The factory's figures that are not known, each asked for: without them nobody can say what has changed."""
        return [Missing(key, FACTORYS) for key in keys if key not in self.factory]


def plain(figures: Mapping[str, Figure], key: str, code: str) -> float | None:
    """A known figure as a plain float in the unit `code`; None where it is not known or is no number."""
    figure = figures.get(key)
    if figure is None or not isinstance(figure.value, Amount):
        return None
    return float(figure.value.to(code).value)


def said(value: float | None, code: str) -> str:
    """A plain float, in the unit `code`, as a person reads it; "–" where there is none."""
    return "–" if value is None else true_minus(show(Amount(Decimal(repr(value)), code)))


def compared(
    what: str,
    factory: float | None,
    now: float | None,
    code: str,
    parts: tuple[str, ...],
    verdict: str = "",
    decimals: int | None = None,
) -> Row:
    """A row without a published limit: factory, this car, the change in per cent.

    Where one of both is not known it can't be said whether it is another: the effect asks for it.
    With `decimals` both are bare numbers with so many, for ratios; else they are shown in the unit `code`.
    """
    shown = [
        "–" if one is None else said(one, code) if decimals is None else f"{one:.{decimals}f}"
        for one in (factory, now)
    ]
    change = "–" if factory is None or now is None else change_in_percent(factory, now)
    if factory is None or now is None:
        standing = Standing.NOT_KNOWN
    else:
        standing = Standing.AS_FACTORY if change == "none" else Standing.CHANGED
    return Row(what, shown[0], shown[1], change, standing, verdict, parts=parts)
