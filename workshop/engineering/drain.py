"""A current that flows while a car sleeps: which circuit takes it, from readings with one fuse out at a time.

Plain floats in mA and h, so that the guided test on the screen and the calculator read the same rows alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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
    # The current that all drops are measured from changed since: part of this drop may be what fell asleep.
    stale: bool = False

    @property
    def drop(self) -> float:
        return self.before - self.without

    @property
    def words(self) -> str:
        if self.drop < 0:
            return "it rose: something woke up"
        if self.small:
            return "hardly a difference"
        if not self.counts:
            return "fell asleep: doesn't count"
        return "the reading changed since: measure it again" if self.stale else ""


class Found(StrEnum):
    """What the readings say so far."""

    NOTHING_TO_FIND = "nothing_to_find"
    NOT_YET = "not_yet"
    ONE = "one"
    SEVERAL = "several"
    AGAIN = "again"
    UNFUSED = "unfused"


@dataclass(frozen=True)
class Findings:
    """`circuits` are those to look at, the largest first; where `found` is AGAIN, those to measure again.

    `left` is what flows with them out, in mA: below 0 where the parts add up to more than the whole.

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
        return self.baseline - self.asleep - sum(each.drop for each in self.circuits)

    @property
    def left_words(self) -> str:
        # A little more than the whole is what meters differ by from one reading to the next.
        return milliamps(self.left) if self.left >= 0 else "about 0 mA"

    @property
    def like_it(self) -> list[Drop]:
        """Others that take about as much as the one circuit found: a main fuse and the fuse behind it."""
        if self.found is not Found.ONE:
            return []
        one = self.circuits[0]
        alike = {same_circuit(each.circuit): each for each in self.drops}
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
        if self.found is Found.AGAIN:
            return f"{over}. {self._measure_again}"
        if self.found is Found.ONE:
            like = [f"“{each.circuit}” ({milliamps(each.drop)})" for each in self.like_it]
            more = (
                f" {', '.join(like)} takes about as much: one feeds the other, so follow both."
                if like
                else ""
            )
            return f"{over}. It is the circuit {names[0]}: without it {self.left_words} is left.{more}"
        if self.found is Found.SEVERAL:
            return (
                f"{over}. It is several circuits together: {', '.join(names)}. "
                f"Without them {self.left_words} is left."
            )
        so_far = f" The largest so far: {', '.join(names)}; {self.left_words} would be left." if names else ""
        if self.found is Found.UNFUSED:
            return (
                f"{over}. No fuse tried brings it down to that.{so_far} Look at what has no fuse there: alternator, starter, "
                "glow plugs, cables added straight to the battery."
            )
        return f"{over}.{so_far} Pull the next fuse."

    @property
    def _measure_again(self) -> str:
        names = " and ".join(f"“{each.circuit}”" for each in self.circuits)
        if any(each.stale for each in self.circuits):
            took = ", ".join(
                f"“{each.circuit}” took {milliamps(each.drop)} of the {milliamps(each.before)} that flowed then"
                for each in self.circuits
            )
            return f"{took}; the reading changed since. Measure {names} again."
        parts = milliamps(sum(each.drop for each in self.circuits))
        return (
            f"{names} add up to {parts}, more than the whole: one feeds the other, or the reading changed meanwhile. "
            f"Leave “{self.circuits[0].circuit}” out and measure the others again."
        )


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
    The fewest circuits, largest first, that bring the current to the limit are named. None is where that rests on a drop
    from before something fell asleep, or where the drops add up to more than flows: those are to be measured again.
    """
    level, asleep = baseline, 0.0
    drops: list[Drop] = []
    asleep_then: list[float] = []
    out: dict[str, float] = {}
    for pull in pulls:
        # Pulled again, one that was left out must have been put back before.
        level += out.pop(same_circuit(pull.circuit), 0.0)
        drop = level - pull.without
        small = _is_small(drop, level)
        counts = pull.came is not Came.STAYED_LOW and not small and drop > 0
        drops.append(Drop(pull.circuit, level, pull.without, counts, small))
        asleep_then.append(asleep)
        if pull.came is Came.STAYED_LOW:
            now = pull.without if pull.after is None else pull.after
            asleep += level - now
            level = now
        elif pull.came is Came.LEFT_OUT:
            out[same_circuit(pull.circuit)] = drop
            level = pull.without
    drops = [
        replace(each, stale=each.counts and not _is_small(asleep - then, each.before))
        for each, then in zip(drops, asleep_then, strict=True)
    ]
    found, circuits = _named(baseline - asleep, drops, limit, all_tried)
    return Findings(found, tuple(drops), circuits, baseline, asleep, level, limit)


def same_circuit(circuit: str) -> str:
    """The name by which a circuit is known again, however it was typed."""
    return " ".join(circuit.split()).casefold()


def _is_small(change: float, of: float) -> bool:
    return abs(change) < max(LEAST_DROP, LEAST_SHARE * of)


def _named(level: float, drops: list[Drop], limit: float, all_tried: bool) -> tuple[Found, tuple[Drop, ...]]:
    if level <= limit:
        return Found.NOTHING_TO_FIND, ()
    # A fuse pulled again: its last reading stands.
    last = {same_circuit(each.circuit): each for each in drops}
    largest = sorted((each for each in last.values() if each.counts), key=lambda each: -each.drop)
    # First what was measured from the current that flows now: what rests on those alone needs nothing again.
    enough = _enough(level, [each for each in largest if not each.stale], limit) or _enough(
        level, largest, limit
    )
    if enough:
        stale = tuple(each for each in enough if each.stale)
        over = sum(each.drop for each in enough) - level
        if stale or (over > 0 and not _is_small(over, level)):
            return Found.AGAIN, stale or enough
        return (Found.ONE if len(enough) == 1 else Found.SEVERAL), enough
    return (Found.UNFUSED if all_tried else Found.NOT_YET), tuple(largest[:3])


def _enough(level: float, largest: list[Drop], limit: float) -> tuple[Drop, ...]:
    """The fewest, largest first, whose drops bring the level to the limit; none where all don't."""
    for number in range(1, len(largest) + 1):
        if level - sum(each.drop for each in largest[:number]) <= limit:
            return tuple(largest[:number])
    return ()


def days_to_flat(capacity_ah: float, current_ma: float, usable: float = USABLE) -> float | None:
    """Days until a battery has lost the usable share of its capacity; None where no current flows."""
    return hours_to_flat(capacity_ah, usable, current_ma / 1000) / 24 if current_ma > 0 else None


def days_words(days: float) -> str:
    """A time in words: in days, below two days in hours or minutes, so that none is "0 days"."""
    if days * 24 < 1:
        return f"{days * 1440:.1f}".removesuffix(".0") + " minutes"
    if days < 2:
        hours = f"{days * 24:.1f}".removesuffix(".0")
        return f"{hours} hour" if hours == "1" else f"{hours} hours"
    return f"{days:.1f}".removesuffix(".0") + " days" if days < 100 else f"{days:.0f} days"
