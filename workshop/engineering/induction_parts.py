"""Which of a car's forced induction is another than the factory's, and what it therefore does not inherit."""

from __future__ import annotations

from dataclasses import dataclass

from workshop.engineering.effect import Part
from workshop.engineering.effect_figures import Known

DRIVE = ("crank_pulley", "blower_pulley", "blower_internal_ratio")
AIR = ("boost", "compressor_efficiency", "cooler_effectiveness", "cooler_pressure_loss")
# A part that says these alone is another pulley on the factory's blower.
_PULLEYS = ("crank_pulley", "blower_pulley")
_WITH_A_PULLEY = frozenset((*_PULLEYS, "boost", "engine_power"))
# What belongs to one blower or turbocharger, and to one charge cooler.
_UNIT = ("blower_pulley", "blower_internal_ratio", "blower_limit", "boost", "compressor_efficiency")
_COOLER = ("cooler_effectiveness", "cooler_pressure_loss")


@dataclass(frozen=True)
class Fitted:
    """`known` is all that is known of the car; `car` is it less what only the replaced unit or cooler had.

    `units` are other blowers or turbochargers, `pulleys` what is taken for a pulley, `coolers` other charge coolers.
    """

    known: Known
    car: Known
    units: tuple[Part, ...]
    pulleys: tuple[Part, ...]
    coolers: tuple[Part, ...]

    @classmethod
    def of(cls, known: Known) -> Fitted:
        here = [part for part in known.parts if part.place == "supercharger"]
        pulleys = tuple(
            part
            for part in here
            if _WITH_A_PULLEY.issuperset(part.figures) and any(code in part.figures for code in _PULLEYS)
        )
        units = tuple(part for part in here if part not in pulleys)
        coolers = tuple(part for part in known.parts if part.place == "charge-cooler")
        car = known.less(*(_UNIT if units else ()), *(_COOLER if coolers else ()))
        return cls(known, car, units, pulleys, coolers)

    def key(self, code: str) -> str:
        """Under which key a figure is asked for: of the other unit or cooler that it belongs to, else of the car."""
        owners = self.units if code in _UNIT else self.coolers if code in _COOLER else ()
        return f"{code}@{owners[0].id}" if owners else code

    @property
    def own_boost(self) -> bool:
        """Whether the boost was written with the car or with a part of it."""
        return "boost" in self.known.own or bool(self.known.ids("boost"))

    @property
    def taken(self) -> tuple[str, ...]:
        """What each part at the blower was taken for, in sentences: its description alone does not tell."""
        return (
            *(
                f"{part.what[:1].upper()}{part.what[1:]}: taken as another pulley on the factory's blower, whose greatest speed, internal ratio and "
                "efficiency were used. Where the blower is another too, give its greatest speed with the part."
                for part in self.pulleys
                if not self.units
            ),
            *(
                f"{part.what[:1].upper()}{part.what[1:]}: taken as another blower or turbocharger. What it does not say of itself was not taken from "
                "the factory's."
                for part in self.units
            ),
        )
