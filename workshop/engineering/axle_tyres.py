"""The tyres and wheels of one axle out of what is known of a car, in plain numbers, for the effects."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from workshop.engineering.effect import CarFigures, Figure, Missing
from workshop.engineering.items import AXLES
from workshop.engineering.tyre_size import TyreError, TyreSize, parse_size, speed_of
from workshop.engineering.tyres import inches_as_mm, size_circumference
from workshop.engineering.units import Amount

Figures = Mapping[str, Figure]
# What belongs to one tyre, to one wheel; a spacer stands for itself.
TYRE_CODES = ("tyre_size", "load_index", "speed_symbol", "rolling_circumference")
RIM_CODES = ("rim_diameter", "rim_width", "rim_offset")


def plain_number(figures: Figures, key: str, unit: str) -> float | None:
    """A figure in a unit; None where it is not known or is no number."""
    figure = figures.get(key)
    if figure is None or not isinstance(figure.value, Amount):
        return None
    return float(figure.value.to(unit).value)


def text_of(figures: Figures, key: str) -> str:
    figure = figures.get(key)
    return figure.value if figure is not None and isinstance(figure.value, str) else ""


def size_of(figures: Figures, axle: str) -> TyreSize | None:
    """The tyre size of an axle; None where it is not known or not readable (see `unreadable`)."""
    try:
        return parse_size(text_of(figures, f"{axle}.tyre_size"))
    except TyreError:
        return None


def unreadable(figures: Figures) -> list[str]:
    """A sentence for each tyre size or speed symbol that is known but not readable."""
    said = []
    for axle in AXLES:
        for code, reads in (("tyre_size", parse_size), ("speed_symbol", speed_of)):
            text = text_of(figures, f"{axle}.{code}")
            try:
                if text:
                    reads(text)
            except TyreError as error:
                said.append(f"{axle.capitalize()}: {error}")
    return said


def index_of(figures: Figures, axle: str) -> int | None:
    """The load index of a single tyre: as given, else from the words behind the size."""
    given = plain_number(figures, f"{axle}.load_index", "1")
    if given is not None:
        return round(given)
    size = size_of(figures, axle)
    return size.load_index if size is not None else None


def twin_index_of(figures: Figures, axle: str) -> int | None:
    """The load index of twinned tyres, from behind the size; None where another index was given than stands there."""
    size = size_of(figures, axle)
    given = plain_number(figures, f"{axle}.load_index", "1")
    if size is None or (given is not None and round(given) not in (size.load_index, size.twin_index)):
        return None
    return size.twin_index


def symbol_of(figures: Figures, axle: str) -> str:
    """The speed symbol as given, else from behind the size; "" where it is not known or not readable."""
    symbol = text_of(figures, f"{axle}.speed_symbol").strip().upper()
    size = size_of(figures, axle)
    symbol = symbol or (size.symbol if size is not None else "")
    try:
        if symbol:
            speed_of(symbol)
    except TyreError:
        return ""
    return symbol


@dataclass(frozen=True)
class Rolling:
    """Circumference of one axle's tyres with the factory's and as it stands, mm, both of one kind."""

    axle: str
    factory: float
    now: float
    by_maker: bool
    height_assumed: bool = False

    @property
    def change(self) -> float:
        return self.now / self.factory


def rolling_of(car: CarFigures, axle: str, now: Figures) -> tuple[Rolling | None, list[Missing]]:
    """The circumference before and now: as the tyres' makers state it where both do, else both by their sizes."""
    key = f"{axle}.rolling_circumference"
    before, after = plain_number(car.factory, key, "mm"), plain_number(now, key, "mm")
    if before is not None and after is not None:
        return Rolling(axle, before, after, by_maker=True), []
    why = "to work out the circumference, the speedometer and the odometer"
    texts = text_of(car.factory, f"{axle}.tyre_size"), text_of(now, f"{axle}.tyre_size")
    first, second = size_of(car.factory, axle), size_of(now, axle)
    for text, size in zip(texts, (first, second), strict=True):
        if text and (size is None or not size.has_diameter):
            # Both, for a size on one side and a circumference on the other are two kinds.
            why = f"“{text}” says no diameter: give the circumference of both tyres, {why}"
            code = "rolling_circumference"
            return None, asked_for(car, axle, code, why, factory=before is None, now=after is None)
    if first is not None and second is not None:
        assumed = first.height_assumed or second.height_assumed
        return Rolling(axle, size_circumference(first), size_circumference(second), False, assumed), []
    return None, asked_for(car, axle, "tyre_size", why, factory=first is None, now=second is None)


def asked_for(car: CarFigures, axle: str, code: str, why: str, *, factory: bool, now: bool) -> list[Missing]:
    """What is asked for: of the fitted part where there is one that has its own, of the data sheet, or of both."""
    part = next(iter(car.parts_for(_keys(axle, _fellows(code)))), None)
    asked = []
    if factory:
        asked.append(Missing(f"{axle}.{code}", why))
    if now and part is not None:
        asked.append(Missing(f"{code}@{part.id}", why))
    elif now and not factory:
        asked.append(Missing(f"{axle}.{code}", why))
    return asked


def _fellows(code: str) -> tuple[str, ...]:
    return next((group for group in (TYRE_CODES, RIM_CODES) if code in group), (code,))


def _keys(axle: str, codes: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"{axle}.{code}" for code in codes)


def as_fitted(car: CarFigures) -> dict[str, Figure]:
    """The car as it stands, less what only the factory's tyre or wheel had.

    Another tyre does not inherit the load index of the one that it replaced: what is not known of it is missing.
    """
    now = car.now
    for axle in AXLES:
        for codes in (TYRE_CODES, RIM_CODES):
            keys = _keys(axle, codes)
            if not car.parts_for(keys):
                continue
            for key in keys:
                if key in now and now[key] is car.factory.get(key):
                    del now[key]
    return now


@dataclass(frozen=True)
class Wheel:
    """Rim width, offset and spacer of one axle, mm."""

    width: float
    offset: float
    spacer: float


def wheel_of(figures: Figures, axle: str) -> Wheel | None:
    """The wheel of an axle, None where width or offset is not known. No spacer on record counts as none."""
    width = plain_number(figures, f"{axle}.rim_width", "in")
    offset = plain_number(figures, f"{axle}.rim_offset", "mm")
    if width is None or offset is None:
        return None
    return Wheel(inches_as_mm(width), offset, plain_number(figures, f"{axle}.spacer", "mm") or 0.0)
