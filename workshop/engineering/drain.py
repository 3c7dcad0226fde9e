"""A current that flows while a car sleeps: which circuit takes it, from readings with one fuse out at a time.

Plain floats in mA and h, so that the guided test on the screen and the calculator read the same rows alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from workshop.engineering.declare import Kind, Source
from workshop.engineering.electrical import hours_to_flat

PRACTICE = Source(
    "A sleeping car takes up to some 50 mA, 20 to 60 minutes after it was locked", kind=Kind.COMMON_PRACTICE
)
# Where the data sheet says nothing.
USUAL_LIMIT = 50.0  # mA
USUAL_SLEEP = 20.0  # min
USABLE = 0.5
# A drop smaller than this may be the meter or a control unit that just ticks: common practice, no source.
LEAST_DROP = 3.0  # mA
LEAST_SHARE = 0.02
# Two fuses that take nearly the same feed one another: common practice, no source.
ABOUT_AS_MUCH = 0.9


class Came(StrEnum):
    """What the reading did once the fuse was back."""

    BACK = "back"
    STAYED_LOW = "stayed_low"
    LEFT_OUT = "left_out"


@dataclass(frozen=True)
class Pull:
    """One fuse out. `without` is the reading in mA with it out, `after` the one once it was back (or left out).

    `after` None: it came back to what it was before.
    """

    circuit: str
    without: float
    came: Came = Came.BACK
    after: float | None = None


@dataclass(frozen=True)
class Drop:
    """What one fuse took away: `before` and `without` in mA. `counts` is false where a control unit fell asleep."""

    circuit: str
    before: float
    without: float
    counts: bool
    small: bool

    @property
    def drop(self) -> float:
        return self.before - self.without

    @property
    def words(self) -> str:
        if self.drop < 0:
            return "it rose: something woke up"
        if self.small:
            return "hardly a difference"
        return "" if self.counts else "fell asleep: doesn't count"


class Found(StrEnum):
    """What the readings say so far."""

    NOTHING_TO_FIND = "nothing_to_find"
    NOT_YET = "not_yet"
    ONE = "one"
    SEVERAL = "several"
    UNFUSED = "unfused"


@dataclass(frozen=True)
class Findings:
    """`circuits` are those to look at, the largest first. `left` is what flows with them out, in mA.

    `asleep` is what fell asleep since the baseline; `level` what flows as it stands: less that and what is left out.
    """

    found: Found
    drops: tuple[Drop, ...]
    circuits: tuple[Drop, ...]
    baseline: float
    asleep: float
    level: float
    limit: float

    @property
    def left(self) -> float:
        return max(self.baseline - self.asleep - sum(each.drop for each in self.circuits), 0.0)

    @property
    def like_it(self) -> list[Drop]:
        """Others that take about as much as the one circuit found: a main fuse and the fuse behind it."""
        if self.found is not Found.ONE:
            return []
        one = self.circuits[0]
        alike = {each.circuit.strip().casefold(): each for each in self.drops}
        return [
            each
            for each in alike.values()
            if each is not one and each.counts and each.drop >= ABOUT_AS_MUCH * one.drop
        ]

    @property
    def sentence(self) -> str:
        awake = self.baseline - self.asleep
        over = f"{milliamps(awake)} asleep, where at most {milliamps(self.limit)} is wanted"
        if self.asleep:
            over = f"{milliamps(self.baseline)} at first, then {over}"
        if self.found is Found.NOTHING_TO_FIND:
            level = self.baseline - self.asleep
            if self.asleep:
                return (
                    f"A control unit fell asleep late: since then it is {milliamps(level)}, and at most {milliamps(self.limit)} is "
                    "wanted. Wait longer, read again, and find what kept it awake."
                )
            return f"{milliamps(level)} asleep: no more than the {milliamps(self.limit)} that is wanted."
        names = [f"“{each.circuit}” ({milliamps(each.drop)})" for each in self.circuits]
        if self.found is Found.ONE:
            like = [f"“{each.circuit}” ({milliamps(each.drop)})" for each in self.like_it]
            more = (
                f" {', '.join(like)} takes about as much: one feeds the other, so follow both."
                if like
                else ""
            )
            return f"{over}. It is the circuit {names[0]}: without it {milliamps(self.left)} is left.{more}"
        if self.found is Found.SEVERAL:
            return (
                f"{over}. It is several circuits together: {', '.join(names)}. "
                f"Without them {milliamps(self.left)} is left."
            )
        so_far = (
            f" The largest so far: {', '.join(names)}; {milliamps(self.left)} would be left." if names else ""
        )
        if self.found is Found.UNFUSED:
            return (
                f"{over}. No fuse tried brings it down to that.{so_far} Look at what has no fuse there: alternator, starter, "
                "glow plugs, cables added straight to the battery."
            )
        return f"{over}.{so_far} Pull the next fuse."


def milliamps(value: float) -> str:
    """A current in mA as a person reads it, with a minus that reads as one."""
    if abs(value) >= 10_000:
        text = f"{value / 1000:.1f} A"
    elif abs(value) >= 100:
        text = f"{value:.0f} mA"
    else:
        text = f"{value:.1f}".removesuffix(".0") + " mA"
    return text.replace("-", "−")


def find(
    baseline: float, pulls: Sequence[Pull], limit: float = USUAL_LIMIT, *, all_tried: bool = False
) -> Findings:
    """Which circuits take the current. `baseline`, `limit` in mA; `all_tried`: there is no further fuse.

    Each drop is measured from what flowed just before: the baseline, less what fell asleep or was left out since.
    The fewest circuits, largest first, that bring the current to the limit are named.
    """
    level, asleep = baseline, 0.0
    drops = []
    for pull in pulls:
        drop = level - pull.without
        small = abs(drop) < max(LEAST_DROP, LEAST_SHARE * level)
        counts = pull.came is not Came.STAYED_LOW and not small and drop > 0
        drops.append(Drop(pull.circuit, level, pull.without, counts, small))
        if pull.came is Came.STAYED_LOW:
            now = pull.without if pull.after is None else pull.after
            asleep += level - now
            level = now
        elif pull.came is Came.LEFT_OUT:
            level = pull.without
    found, circuits = _named(baseline - asleep, drops, limit, all_tried)
    return Findings(found, tuple(drops), circuits, baseline, asleep, level, limit)


def _named(level: float, drops: list[Drop], limit: float, all_tried: bool) -> tuple[Found, tuple[Drop, ...]]:
    if level <= limit:
        return Found.NOTHING_TO_FIND, ()
    # A fuse pulled again: its last reading stands.
    last = {each.circuit.strip().casefold(): each for each in drops}
    largest = sorted((each for each in last.values() if each.counts), key=lambda each: -each.drop)
    for number in range(1, len(largest) + 1):
        if level - sum(each.drop for each in largest[:number]) <= limit:
            return (Found.ONE if number == 1 else Found.SEVERAL), tuple(largest[:number])
    return (Found.UNFUSED if all_tried else Found.NOT_YET), tuple(largest[:3])


def days_to_flat(capacity_ah: float, current_ma: float, usable: float = USABLE) -> float | None:
    """Days until a battery has lost the usable share of its capacity; None where no current flows."""
    return hours_to_flat(capacity_ah, usable, current_ma / 1000) / 24 if current_ma > 0 else None
