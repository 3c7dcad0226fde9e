"""Which axle locks first: load transfer, the division of brake force, utilised adhesion and UN R13-H's two rules.

Everything here is a share of the car's weight, on plain floats: `z` is the deceleration over g, `f` the brake
force of an axle over the load it carries at that moment, which is the adhesion that it uses. N1/(m·g) = front
+ χ·z and N2/(m·g) = rear − χ·z with χ = h/L. Below the rear valve's knee the rear brakes do a fixed share of
the work, above it a straight line: every crossing is the root of a first or second degree equation, not searched.

Source: statics; the words and curves as in Gillespie, Fundamentals of Vehicle Dynamics, ch. 3, and Limpert,
Brake Design and Safety, ch. 7 (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workshop.engineering.declare import Kind, Source
from workshop.engineering.errors import EngineeringError
from workshop.engineering.quantities import Quantity, magnitude

G = 9.80665

BALANCE_TEXTBOOKS = Source(
    "Gillespie, Fundamentals of Vehicle Dynamics, ch. 3; Limpert, Brake Design and Safety, ch. 7",
    "load transfer, brake proportioning, which axle locks first",
    Kind.FROM_MEMORY,
)

Span = tuple[float, float]


class BalanceError(EngineeringError):
    """A car or a deceleration that statics has no answer for."""


@dataclass(frozen=True)
class Load:
    """A loaded car: the front axle's share of the weight at rest, and χ = height of the CG over the wheelbase."""

    front: float
    chi: float

    def __post_init__(self) -> None:
        if not 0 < self.front < 1:
            raise BalanceError("Both axles must carry some of the weight.")
        if not self.chi > 0:
            raise BalanceError("The centre of gravity must lie above the road.")

    @property
    def rear(self) -> float:
        return 1 - self.front

    @property
    def lift(self) -> float:
        """The deceleration at which the rear wheels leave the road."""
        return self.rear / self.chi

    def front_at(self, z: float) -> float:
        return self.front + self.chi * z

    def rear_at(self, z: float) -> float:
        """The rear axle's load at this deceleration; also the rear's ideal share of the brake force."""
        return self.rear - self.chi * z


@dataclass(frozen=True)
class Split:
    """How brake force divides: `rear` is the rear's share up to the deceleration `knee`, `beyond` of what is added."""

    rear: float
    knee: float = math.inf
    beyond: float = 0.0

    def __post_init__(self) -> None:
        for share in (self.rear, self.beyond):
            if not 0 <= share <= 1:
                raise BalanceError("The rear brakes do between nothing and all of the braking, never more.")

    def pieces(self) -> tuple[tuple[Span, float, float], ...]:
        """((from, to), α, β) of each straight piece: the rear's force is α + β·z of the weight."""
        if math.isinf(self.knee):
            return (((0.0, math.inf), 0.0, self.rear),)
        alpha = (self.rear - self.beyond) * self.knee
        return ((0.0, self.knee), 0.0, self.rear), ((self.knee, math.inf), alpha, self.beyond)

    def rear_force(self, z: float) -> float:
        if z <= self.knee:
            return self.rear * z
        return self.rear * self.knee + self.beyond * (z - self.knee)

    def front_force(self, z: float) -> float:
        return z - self.rear_force(z)

    def rear_share(self, z: float) -> float:
        return self.rear_force(z) / z if z > 0 else self.rear


@dataclass(frozen=True)
class Brakes:
    """Brake force at the road of each axle in N for each bar; the rear valve's knee in bar, and its slope from 0 to 1."""

    front: float
    rear: float
    knee: float | None = None
    slope: float = 1.0

    def split(self, weight: float) -> Split:
        """Their `Split` on a car of this weight in N."""
        both = self.front + self.rear
        if not both > 0:
            raise BalanceError("Brakes that do nothing on either axle have no balance.")
        if self.knee is None:
            return Split(self.rear / both)
        reduced = self.slope * self.rear
        # With front brakes that do nothing and a valve that shuts, more pressure gives no more force.
        beyond = reduced / (self.front + reduced) if self.front + reduced > 0 else 0.0
        return Split(self.rear / both, self.knee * both / weight, beyond)

    def pressure(self, z: float, weight: float) -> float:
        """Line pressure in bar for a deceleration z on a car of this weight in N."""
        both, force = self.front + self.rear, z * weight
        if self.knee is None or force <= self.knee * both:
            return force / both
        added = self.front + self.slope * self.rear
        if not added > 0:
            raise BalanceError(
                "Past the valve's knee these brakes give no more force, however hard one presses."
            )
        return self.knee + (force - self.knee * both) / added


@dataclass(frozen=True)
class Lock:
    """The decelerations at which each axle would lock; None for one that does not before the rear wheels lift."""

    front: float | None
    rear: float | None

    @property
    def first(self) -> str:
        """ "front", "rear", or "" where neither locks. Both at once counts as the front."""
        if self.front is None:
            return "rear" if self.rear is not None else ""
        return "rear" if self.rear is not None and self.rear < self.front else "front"

    @property
    def reached(self) -> float | None:
        """The deceleration reached before any wheel locks."""
        return self.rear if self.first == "rear" else self.front


@dataclass(frozen=True)
class Balance:
    """A load with a division of brake force."""

    load: Load
    split: Split

    def front_adhesion(self, z: float) -> float:
        return self.split.front_force(z) / self.load.front_at(z)

    def rear_adhesion(self, z: float) -> float:
        """Refuses a deceleration at which the rear wheels have left the road."""
        carried = self.load.rear_at(z)
        if not carried > 0:
            raise BalanceError(
                f"At {z:.2f} g the rear wheels would have left the road: with this centre of gravity they do so from "
                f"{self.load.lift:.2f} g."
            )
        return self.split.rear_force(z) / carried

    def efficiency(self, z: float) -> float:
        """How much of the adhesion that the busier axle uses becomes deceleration: z / max(f1, f2)."""
        return z / max(self.front_adhesion(z), self.rear_adhesion(z))

    @property
    def rear_first(self) -> tuple[Span, ...]:
        """The spans of deceleration over which the rear uses more adhesion: there it locks first. Without overlap.

        f2 > f1 is the same as χ·z² + (β − rear)·z + α > 0 on each straight piece of the rear's force.
        """
        found: list[Span] = []
        for (start, end), alpha, beta in self.split.pieces():
            for low, high in _above_zero(self.load.chi, beta - self.load.rear, alpha):
                span = max(low, start), min(high, end)
                if span[0] >= span[1]:
                    continue
                if found and math.isclose(found[-1][1], span[0]):
                    span = found.pop()[0], span[1]
                found.append(span)
        return tuple(found)

    @property
    def critical(self) -> float:
        """The deceleration from which the rear begins to lock first; 0: from the lightest braking on.

        Near the lift of the rear wheels it always does, so there always is one.
        """
        return self.rear_first[0][0]

    @property
    def crossing(self) -> float | None:
        """`critical`, or None where that is but the lift of the rear wheels: rear brakes that do nothing lock never."""
        return self._on_the_road(self.critical)

    def lock(self, adhesion: float) -> Lock:
        """When each axle locks on a road of this adhesion."""
        front = rear = None
        for (start, end), alpha, beta in self.split.pieces():
            # A root at the knee itself belongs to one of the two pieces, whatever rounding does.
            start, end = start * (1 - 1e-12), end * (1 + 1e-12)
            rising = (1 - beta) - adhesion * self.load.chi
            # The front brakes may never catch up with the load that braking moves on to them.
            at = (adhesion * self.load.front + alpha) / rising if rising > 0 else math.inf
            if front is None and start <= at <= end:
                front = at
            at = (adhesion * self.load.rear - alpha) / (beta + adhesion * self.load.chi)
            if rear is None and start <= at <= end:
                rear = at
        return Lock(self._on_the_road(front), self._on_the_road(rear))

    def _on_the_road(self, z: float | None) -> float | None:
        return z if z is not None and z < self.load.lift * (1 - 1e-9) else None


def _above_zero(square: float, linear: float, constant: float) -> list[Span]:
    """Where a parabola that opens upwards (square > 0) lies above zero, for z > 0."""
    under = linear**2 - 4 * square * constant
    if under <= 0:
        return [(0.0, math.inf)]
    # Without the difference of near-equal numbers: the larger root by size first, the other from their product.
    far = -(linear + math.copysign(math.sqrt(under), linear)) / (2 * square)
    near = constant / (square * far)
    low, high = sorted((near, far))
    spans = [(0.0, low), (high, math.inf)] if low > 0 else [(max(0.0, high), math.inf)]
    return spans


def load_of(front: Quantity, rear: Quantity, wheelbase: Quantity, height: Quantity) -> Load:
    """A `Load` from the masses on the axles, the wheelbase and the height of the centre of gravity."""
    on_front, on_rear = magnitude(front, "kg"), magnitude(rear, "kg")
    return Load(on_front / (on_front + on_rear), magnitude(height, "mm") / magnitude(wheelbase, "mm"))
