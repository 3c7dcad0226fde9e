"""The air behind a car's compressor and charge cooler, with the factory's parts and as it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from workshop.engineering.air_inputs import EFFICIENCY as ASSUMED
from workshop.engineering.effect import Figure, Missing, Row, Standing
from workshop.engineering.effect_figures import FACTORYS, compared, plain, said
from workshop.engineering.induction import (
    STANDARD_PRESSURE_KPA,
    STANDARD_TEMPERATURE,
    cooled_temperature,
    density_ratio,
    outlet_temperature,
    pressure_ratio,
)
from workshop.engineering.induction_parts import AIR, DRIVE, Fitted
from workshop.engineering.quantities import magnitude, quantity

# In per cent, where nobody knows better: usual for a belt-driven blower (common practice).
EFFICIENCY, EFFICIENCY_LOW, EFFICIENCY_HIGH = (
    float(one) for one in (ASSUMED.value, ASSUMED.low, ASSUMED.high)
)
# The pressure loss up to which a charge cooler usually lies, in kPa (common practice); unknown it is taken as none.
LOSS_HIGH = 10.0
_SIDES = ("the factory's car", "this car")


@dataclass(frozen=True)
class Air:
    rows: tuple[Row, ...] = ()
    missing: tuple[Missing, ...] = ()
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Side:
    """The factory's car or this one. Boost in bar, efficiency and effectiveness in %, loss in kPa, where known."""

    boost: float | None
    efficiency: float | None
    effectiveness: float | None
    loss: float | None

    @classmethod
    def of(cls, figures: Mapping[str, Figure], boost: float | None) -> _Side:
        return cls(
            boost,
            plain(figures, "compressor_efficiency", "%"),
            plain(figures, "cooler_effectiveness", "%"),
            plain(figures, "cooler_pressure_loss", "kPa"),
        )

    @property
    def efficiency_assumed(self) -> bool:
        return self.boost is not None and self.efficiency is None

    @property
    def loss_assumed(self) -> bool:
        return self.boost is not None and self.effectiveness is not None and self.loss is None


def air_of(fitted: Fitted, changed: bool) -> Air:
    """Rows of the air behind compressor and cooler, what is missing, and what was assumed.

    With another drive the factory's boost is not this car's: then only a boost written with a part or the car counts.
    """
    car = fitted.car
    boost_now = None if changed and not fitted.own_boost else plain(car.now, "boost", "bar")
    old = _Side.of(car.factory, plain(car.factory, "boost", "bar"))
    new = _Side.of(car.now, boost_now)
    missing = _boost_asked(fitted, changed) if new.boost is None else car.factory_asked("boost")
    if old.boost is None and new.boost is None:
        return Air(missing=tuple(missing))
    first, second = _behind(old), _behind(new)
    ids = (*car.ids(*DRIVE, *AIR), *(part.id for part in fitted.units))
    parts = tuple(dict.fromkeys(ids))
    hot = compared("Temperature behind the compressor", first[1], second[1], "degC", parts)
    # A share of degrees Celsius means nothing.
    kelvins = "–" if first[1] is None or second[1] is None else _kelvins(second[1] - first[1])
    density = "Density behind the compressor, against outside"
    warm = [replace(hot, change=kelvins), compared(density, first[2], second[2], "1", parts, decimals=3)]
    if first[3] is not None or second[3] is not None:
        ids = (*parts, *(part.id for part in fitted.coolers))
        behind = "Density behind the charge cooler, against outside"
        warm.append(
            compared(behind, first[3], second[3], "1", tuple(dict.fromkeys(ids)), decimals=3),
        )
    if first[3] is not None or second[3] is not None or fitted.coolers:
        why = "to say how dense the air is behind the cooler"
        if new.effectiveness is None:
            missing.append(Missing(fitted.key("cooler_effectiveness"), why))
        elif old.effectiveness is None:
            missing.append(Missing("cooler_effectiveness", f"{FACTORYS}; 0 where it had no cooler"))
    if new.efficiency_assumed or (old.efficiency_assumed and new.boost is not None):
        missing += _efficiency_asked(fitted, old, new)
    if new.boost is not None and old.boost is not None and _apart(fitted, old, new):
        words = "May be the assumption's doing: give the compressor's efficiency."
        warm = [replace(row, standing=Standing.NOT_KNOWN, verdict=words) for row in warm]
    missing += _loss_asked(fitted, old, new)
    return Air(
        (compared("Pressure ratio", first[0], second[0], "1", parts, decimals=3), *warm),
        tuple(missing),
        (*_efficiency_assumed(old, new), *_loss_assumed(old, new)),
    )


def _apart(fitted: Fitted, old: _Side, new: _Side) -> bool:
    """Whether an assumed efficiency makes the difference: it cancels out only where both cars have the same blower."""
    if fitted.units:
        return old.efficiency_assumed or new.efficiency_assumed
    return old.efficiency_assumed != new.efficiency_assumed


def _boost_asked(fitted: Fitted, changed: bool) -> list[Missing]:
    maker = next(iter((*fitted.units, *fitted.pulleys)), None)
    how_hot = "to say how hot the air gets"
    if maker is not None:
        why = "with another drive or blower the factory's boost is not this car's"
        return [Missing(f"boost@{maker.id}", why if changed else how_hot)]
    return [] if changed else [Missing("boost", how_hot)]


def _efficiency_asked(fitted: Fitted, old: _Side, new: _Side) -> list[Missing]:
    """Each efficiency that was assumed where the other car's is known, or where the blower is another."""
    asked = []
    if _apart(fitted, old, new):
        why = "in place of the assumed one"
        asked += [Missing(fitted.key("compressor_efficiency"), why)] * new.efficiency_assumed
        asked += [Missing("compressor_efficiency", f"{FACTORYS}, {why}")] * old.efficiency_assumed
    return asked


def _loss_asked(fitted: Fitted, old: _Side, new: _Side) -> list[Missing]:
    why = "it was taken as none"
    asked = [Missing(fitted.key("cooler_pressure_loss"), why)] * new.loss_assumed
    if old.loss_assumed and (fitted.coolers or not new.loss_assumed):
        asked.append(Missing("cooler_pressure_loss", f"the factory's: {why}"))
    return asked


def _efficiency_assumed(old: _Side, new: _Side) -> list[str]:
    ranges = []
    for name, side in zip(_SIDES, (old, new), strict=True):
        if side.efficiency_assumed:
            # The better compressor leaves the air the cooler.
            low, high = (
                _behind(replace(side, efficiency=each))[1] for each in (EFFICIENCY_HIGH, EFFICIENCY_LOW)
            )
            ranges.append((name, f"between {said(low, 'degC')} and {said(high, 'degC')} in {name}"))
    if not ranges:
        return []
    return [
        f"The compressor's efficiency is assumed to be {EFFICIENCY:g} % in {' and '.join(n for n, _ in ranges)} (usual "
        f"for a belt-driven blower). Anywhere from {EFFICIENCY_LOW:g} to {EFFICIENCY_HIGH:g} %, the temperature behind "
        f"it lies {' and '.join(words for _, words in ranges)}."
    ]


def _loss_assumed(old: _Side, new: _Side) -> list[str]:
    sides = [(name, side) for name, side in zip(_SIDES, (old, new), strict=True) if side.loss_assumed]
    words = []
    for name, side in sides:
        least = _behind(replace(side, loss=LOSS_HIGH))[3]
        words.append(f"{least:.3f} in {name}")
    if not words:
        return []
    return [
        f"No pressure loss in the charge cooler is known of {' and '.join(n for n, _ in sides)}: taken as none. With "
        f"{said(LOSS_HIGH / 100, 'bar')} the density behind it would be {' and '.join(words)}."
    ]


def _behind(side: _Side) -> tuple[float | None, float | None, float | None, float | None]:
    """Pressure ratio, temperature behind the compressor in °C, density there, density behind the cooler if known."""
    if side.boost is None:
        return None, None, None, None
    outside, inlet = quantity(STANDARD_PRESSURE_KPA, "kPa"), quantity(STANDARD_TEMPERATURE, "K")
    share = EFFICIENCY if side.efficiency is None else side.efficiency
    ratio = pressure_ratio(quantity(side.boost, "bar"), outside)
    hot = outlet_temperature(inlet, ratio, quantity(share, "%"))
    behind = None
    if side.effectiveness is not None:
        cooled = cooled_temperature(hot, inlet, quantity(side.effectiveness, "%"))
        behind = density_ratio(ratio, inlet, cooled, (side.loss or 0.0) / STANDARD_PRESSURE_KPA)
    return ratio, magnitude(hot, "degC"), density_ratio(ratio, inlet, hot), behind


def _kelvins(difference: float) -> str:
    rounded = f"{abs(difference):.1f}"
    return "none" if rounded == "0.0" else f"{'+' if difference > 0 else '−'}{rounded} K"
