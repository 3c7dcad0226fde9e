"""What the screens of a drain test show: its readings in order, what they say, and the days until flat."""

from __future__ import annotations

from dataclasses import dataclass

from vehicles.models import DrainStep, DrainTest
from workshop.engineering.drain import (
    Came,
    Drop,
    Findings,
    Found,
    Pull,
    days_to_flat,
    find,
    milliamps,
    same_circuit,
)
from workshop.engineering.units import Amount


def standing(steps: list[DrainStep]) -> list[DrainStep]:
    """The steps that count, each in the place of the one that it puts right. No query."""
    by_id = {step.pk: step for step in steps}
    later = {step.instead_of_id: step for step in steps if step.instead_of_id}
    places = []
    for step in sorted(steps, key=lambda each: each.order):
        if step.pk in later:
            continue
        first = step
        while first.instead_of_id:
            first = by_id[first.instead_of_id]
        places.append((first.order, step))
    return [step for _, step in sorted(places, key=lambda each: each[0])]


def pulls_of(steps: list[DrainStep]) -> list[Pull]:
    """The steps that count, as the formula takes them: in mA."""
    return [
        Pull(
            step.circuit,
            float(step.base_value) * 1000,
            Came(step.came),
            None if step.after_base is None else float(step.after_base) * 1000,
        )
        for step in standing(steps)
    ]


def findings_of(test: DrainTest, steps: list[DrainStep], all_tried: bool) -> Findings | None:
    """What the readings say; None before the car was read asleep. No query."""
    if test.baseline_base is None:
        return None
    return find(
        float(test.baseline_base) * 1000, pulls_of(steps), float(test.limit_base) * 1000, all_tried=all_tried
    )


def measured_before(test: DrainTest, circuit: str) -> DrainStep | None:
    """The step of this fuse that counts, where measuring it again is not what the readings ask for. One query."""
    steps = list(test.steps.all())
    findings = findings_of(test, steps, False)
    found = None
    for step, drop in zip(standing(steps), findings.drops if findings else (), strict=False):
        if same_circuit(step.circuit) == same_circuit(circuit):
            asked = drop.stale or (findings.found is Found.AGAIN and drop in findings.circuits)
            found = None if asked else step
    return found


@dataclass(frozen=True)
class Line:
    """One row of the table: the step, what it took away, and whether it is a circuit to look at.

    `was` is the reading that this one puts right, as it was typed.
    """

    step: DrainStep
    drop: Drop
    named: bool
    was: Amount | None = None

    @property
    def before(self) -> str:
        return milliamps(self.drop.before)

    @property
    def without(self) -> str:
        return milliamps(self.drop.without)

    @property
    def difference(self) -> str:
        return milliamps(self.drop.drop)

    @property
    def words(self) -> str:
        return "look here" if self.named else self.drop.words or "takes part of it"


@dataclass(frozen=True)
class Picture:
    """All that the page of a test shows of its readings; `findings` is None before the car was read asleep."""

    findings: Findings | None
    lines: tuple[Line, ...]
    baseline: str
    now: str
    level: str
    days_before: str
    days_after: str
    left_out: tuple[str, ...]

    @property
    def found(self) -> bool:
        return self.findings is not None and self.findings.found in (Found.ONE, Found.SEVERAL)

    @property
    def measure_again(self) -> bool:
        return self.findings is not None and self.findings.found is Found.AGAIN

    @property
    def nothing_to_find(self) -> bool:
        return self.findings is not None and self.findings.found is Found.NOTHING_TO_FIND


def picture_of(test: DrainTest, *, all_tried: bool | None = None) -> Picture:
    """One query. `all_tried` as it will be said when the test ends; what was said where it has ended."""
    steps = list(test.steps.all())
    findings = findings_of(test, steps, test.all_tried if all_tried is None else all_tried)
    if findings is None:
        return Picture(None, (), "", "", "", "", "", ())
    by_id = {step.pk: step for step in steps}
    counting = standing(steps)
    named = findings.circuits if findings.found in (Found.ONE, Found.SEVERAL) else ()
    lines = tuple(
        Line(
            step,
            drop,
            any(drop is each for each in named),
            by_id[step.instead_of_id].amount if step.instead_of_id else None,
        )
        for step, drop in zip(counting, findings.drops, strict=True)
    )
    capacity = None if test.capacity_ah is None else float(test.capacity_ah)
    return Picture(
        findings,
        lines,
        milliamps(findings.baseline),
        milliamps(findings.baseline - findings.asleep),
        milliamps(findings.level),
        _days(capacity, findings.baseline - findings.asleep),
        _days(capacity, findings.left) if named else "",
        tuple(step.circuit for step in counting if step.came == Came.LEFT_OUT),
    )


def _days(capacity_ah: float | None, current_ma: float) -> str:
    if capacity_ah is None:
        return ""
    days = days_to_flat(capacity_ah, current_ma)
    if days is None:
        return "no end"
    return f"{days:.1f} days" if days < 10 else f"{days:.0f} days"


def put_right_from(test: DrainTest) -> DrainTest | None:
    """The test that this one goes on from, because its current asleep was put right: ended in the same act. One query."""
    return (
        DrainTest.objects.filter(
            vehicle=test.vehicle_id, ended_at=test.made_at, ended_by=test.made_by_id, baseline__isnull=False
        )
        .exclude(pk=test.pk)
        .first()
    )
