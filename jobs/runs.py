"""Where a run stands: which readings count, what comes next, what blocks. Pure reads, in a fixed number of
queries.

The screens, the acts, the gate and the handover sheet all read a run through `state_of` or `states_of`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from uuid import UUID

from django.db.models import Prefetch
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import (
    Disposition,
    NewFasteners,
    ProcedureStage,
    ProcedureStep,
    ProcedureVersion,
    Run,
    SecondCheck,
    StageTarget,
    TorqueReading,
)
from jobs.models.procedure import LimitKind, OrderOfWork, Reuse, StageKind
from jobs.models.torque import CheckMethod, DispositionKind, ReadingKind, ReadingVerdict
from workshop.engineering import limits as measured
from workshop.engineering.units import BASE, UNITS, Amount, show, with_label
from workshop.engineering.verdict import DecisionRule, Limits, judge

# What a reading shows besides its verdict.
FLAGS = {
    "not_counting": "does not count",
    "below": "below",
    "above": "above, to be decided",
    "moved": "moved in the last round: once more",
}
CHECK_WORDS = {
    "none needed": "no second check needed",
    "missing": "second check missing",
    "valid": "second check valid",
    "lapsed": "second check lapsed: a newer reading was added",
}
AGAIN = frozenset({DispositionKind.REDONE, DispositionKind.REPLACED})


@dataclass(frozen=True)
class Problem:
    """What keeps a run from being complete. `subject` names it within the job, for a waiver."""

    code: str
    text: str
    critical: bool
    waivable: bool
    subject: str = ""


@dataclass
class FastenerState:
    """One fastener at one stage. `reading` is the one that stands (the latest that was not undone)."""

    fastener: int
    reading: TorqueReading | None = None
    verdict: str = ""
    counts: bool = False
    flag: str = ""
    disposition: Disposition | None = None
    earlier: list[TorqueReading] = field(default_factory=list)

    @property
    def settled(self) -> bool:
        """Nothing more to do here before the next stage: judged, counting, and neither below nor undecided
        above.
        """
        return self.reading is not None and self.counts and not self.flag

    @property
    def words(self) -> str:
        """For the drawing and for reading aloud."""
        if self.reading is None:
            return "to do"
        flag = f", {FLAGS[self.flag]}" if self.flag and self.flag != self.verdict else ""
        return f"{reading_words(self.reading)}: {self.reading.get_verdict_display().lower()}{flag}"


@dataclass
class StageState:
    stage: ProcedureStage
    targets: dict[str, StageTarget]
    fasteners: dict[int, FastenerState]

    def target(self, group: str = "") -> StageTarget | None:
        return self.targets.get(group) or self.targets.get("")

    @property
    def target_words(self) -> dict[str, str]:
        """{group: "120 N·m (108 to 132)"}, in the unit of the source; a stage without limits says so."""
        return {group: target.words for group, target in self.targets.items()}

    @property
    def settled(self) -> bool:
        return all(one.settled for one in self.fasteners.values())

    @property
    def todo(self) -> list[int]:
        return [n for n, one in self.fasteners.items() if not one.settled]


@dataclass
class StepState:
    step: ProcedureStep
    stages: list[StageState]
    check: str = "none needed"
    checks: list[SecondCheck] = field(default_factory=list)
    new_fitted: list[NewFasteners] = field(default_factory=list)
    held_by: ProcedureStep | None = None
    last_order: int = 0

    def stage(self, stage: ProcedureStage) -> StageState:
        return next(one for one in self.stages if one.stage.pk == stage.pk)

    @property
    def settled(self) -> bool:
        return all(stage.settled for stage in self.stages)

    @property
    def needs_new(self) -> bool:
        """Single-use fasteners of which nobody has said yet that they are new."""
        return self.step.reuse == Reuse.NEW and not self.new_fitted

    @property
    def check_words(self) -> str:
        return CHECK_WORDS[self.check]

    @property
    def valid_check(self) -> SecondCheck | None:
        return next((c for c in reversed(self.checks) if c.after_reading >= self.last_order), None)

    @property
    def by_sight_only(self) -> bool:
        """Angle and yield steps: applying torque again would turn the bolt further."""
        return self.step.to_yield or any(s.stage.kind == StageKind.ANGLE for s in self.stages)

    @property
    def check_methods(self) -> list[CheckMethod]:
        sight = [CheckMethod.WITNESSED, CheckMethod.MARK_SIGHTED]
        return sight if self.by_sight_only else list(CheckMethod)

    def places(self) -> Iterator[tuple[StageState, int]]:
        """Stages and fasteners in the order of work that the step declares."""
        sequence = self.step.sequence
        match self.step.order_of_work:
            case OrderOfWork.FASTENER_BY_FASTENER:
                for fastener in sequence:
                    for stage in self.stages:
                        yield stage, fastener
            case OrderOfWork.BY_GROUPS if self.step.groups:
                for name in self.step.group_names:
                    members = [n for n in sequence if n in self.step.groups[name]]
                    for stage in self.stages:
                        for fastener in members:
                            yield stage, fastener
            case _:
                for stage in self.stages:
                    for fastener in sequence:
                        yield stage, fastener

    def too_early(self, stage: ProcedureStage, fastener: int) -> tuple[StageState, list[int]] | None:
        """The earlier stage that is not through yet, with its fasteners that are open; None when this may
        begin.
        """
        step = self.step
        if step.order_of_work == OrderOfWork.FASTENER_BY_FASTENER:
            waits_for = {fastener}
        elif step.order_of_work == OrderOfWork.BY_GROUPS and step.groups:
            waits_for = set(step.groups.get(step.group_of(fastener), [fastener]))
        else:
            waits_for = set(step.sequence)
        for earlier in self.stages:
            if earlier.stage.order >= stage.order:
                return None
            if open_ones := sorted(n for n in earlier.todo if n in waits_for):
                return earlier, open_ones
        return None

    def before_its_turn(self, stage: ProcedureStage, fastener: int) -> bool:
        """Out of sequence: taken for the first time while one before it in the order of work has no
        reading.
        """
        for state, number in self.places():
            one = state.fasteners[number]
            if state.stage.pk == stage.pk and number == fastener:
                return False
            if one.reading is None:
                # A fastener that is done already is a repeat, not a jump.
                return self.stage(stage).fasteners[fastener].reading is None
        return False


@dataclass
class RunState:
    run: Run
    version: ProcedureVersion
    steps: list[StepState]
    problems: list[Problem]
    next: tuple[ProcedureStep, ProcedureStage, int] | None
    readings: list[TorqueReading]
    dispositions: list[Disposition]
    superseded: bool = False

    @property
    def complete(self) -> bool:
        """All stages of all steps judged, and nothing blocks. Whether somebody said so stands in
        `run.completed_at`.
        """
        return not self.problems

    @property
    def ended(self) -> bool:
        return bool(self.run.completed_at or self.run.abandoned_at)

    @property
    def critical(self) -> bool:
        return any(state.step.critical for state in self.steps)

    @property
    def last_order(self) -> int:
        return self.readings[-1].order if self.readings else 0

    @property
    def counts_by_verdict(self) -> dict[str, int]:
        """How many standing readings by verdict, for the summary on the sheet."""
        found: dict[str, int] = {}
        for step in self.steps:
            for stage in step.stages:
                for one in stage.fasteners.values():
                    if one.reading is not None:
                        word = one.verdict if one.counts else "not_counting"
                        found[word] = found.get(word, 0) + 1
        return found

    @property
    def verdict_words(self) -> str:
        names = {**dict(ReadingVerdict.choices), "not_counting": "Not counting"}
        return ", ".join(f"{count} {names[name].lower()}" for name, count in self.counts_by_verdict.items())

    @property
    def progress(self) -> tuple[int, int]:
        """(settled, all) places of the run."""
        places = [one for step in self.steps for stage in step.stages for one in stage.fasteners.values()]
        return sum(one.settled for one in places), len(places)

    @property
    def tools(self) -> list[TorqueReading]:
        """One reading for each tool with its calibration, in order of use: read `tool`, `calibration` and
        `rule`.
        """
        seen: dict[tuple, TorqueReading] = {}
        for reading in self.readings:
            if reading.tool_id:
                seen.setdefault((reading.tool_id, reading.calibration_id), reading)
        return list(seen.values())

    @property
    def tool_words(self) -> list[str]:
        return [tool_words(reading) for reading in self.tools]

    @property
    def summary(self) -> list[dict]:
        """Per step, for the sheet: title, fasteners, targets of its last judged stage, verdicts, second
        check.
        """
        return [_step_summary(step) for step in self.steps]

    def step(self, step: ProcedureStep) -> StepState:
        return next(state for state in self.steps if state.step.pk == step.pk)


def state_of(run: Run) -> RunState:
    """How one run stands: ten queries whatever its length."""
    return states_of([run])[run.pk]


def states_of(runs: Iterable[Run]) -> dict[UUID, RunState]:
    """How several runs stand, by their key: ten queries for all of them."""
    runs = list(runs)
    if not runs:
        return {}
    versions = {version.pk: version for version in _versions({run.version_used_id for run in runs})}
    keys = [run.pk for run in runs]
    readings = _by_run(
        TorqueReading.objects.filter(run__in=keys)
        .select_related("tool", "calibration", "made_by", "device")
        .order_by("run", "order")
    )
    dispositions: dict[UUID, list[Disposition]] = {}
    for row in (
        Disposition.objects.filter(reading__run__in=keys)
        .select_related("made_by", "reading__stage")
        .order_by("made_at", "received_at")
    ):
        dispositions.setdefault(row.reading.run_id, []).append(row)
    checks = _by_run(
        SecondCheck.objects.filter(run__in=keys)
        .select_related("made_by", "device")
        .order_by("after_reading", "made_at", "received_at")
    )
    new = _by_run(NewFasteners.objects.filter(run__in=keys).select_related("made_by").order_by("made_at"))
    completed = list(
        Run.objects.filter(job__in={run.job_id for run in runs}, completed_at__isnull=False).values_list(
            "job_id", "version_used__procedure_id", "where", "completed_at"
        )
    )
    found = {}
    for run in runs:
        version = versions[run.version_used_id]
        done_later = any(
            (job, procedure, where) == (run.job_id, version.procedure_id, run.where)
            and run.abandoned_at is not None
            and at > run.abandoned_at
            for job, procedure, where, at in completed
        )
        found[run.pk] = _state(
            run,
            version,
            readings.get(run.pk, []),
            dispositions.get(run.pk, []),
            checks.get(run.pk, []),
            new.get(run.pk, []),
            superseded=done_later,
        )
    return found


def _versions(keys: set[UUID]) -> list[ProcedureVersion]:
    targets = Prefetch("targets", StageTarget.objects.order_by("id"))
    stages = Prefetch("stages", ProcedureStage.objects.order_by("order").prefetch_related(targets))
    steps = Prefetch("steps", ProcedureStep.objects.order_by("order").prefetch_related(stages))
    return list(
        ProcedureVersion.objects.filter(pk__in=keys)
        .select_related("procedure", "released_by")
        .prefetch_related(steps)
    )


def _by_run(rows) -> dict[UUID, list]:
    found: dict[UUID, list] = {}
    for row in rows:
        found.setdefault(row.run_id, []).append(row)
    return found


def _state(run, version, readings, dispositions, checks, new, *, superseded: bool) -> RunState:
    steps = []
    holding: ProcedureStep | None = None
    for step in version.steps.all():
        state = _step_state(step, readings, dispositions)
        state.checks = [row for row in checks if row.step_id == step.pk]
        state.new_fitted = [row for row in new if row.step_id == step.pk]
        state.check = _check_of(state)
        state.held_by = holding
        if holding is None and step.hold_point and not (state.settled and state.check == "valid"):
            holding = step
        steps.append(state)
    answer = RunState(run, version, steps, [], None, readings, dispositions, superseded)
    answer.problems = list(_problems(answer))
    if not answer.ended:
        answer.next = _next(steps)
    return answer


def _step_state(step: ProcedureStep, readings, dispositions) -> StepState:
    mine = [row for row in readings if row.step_id == step.pk]
    decided: dict[UUID, Disposition] = {}
    undone: dict[int, int] = {}
    for row in dispositions:
        if row.reading.step_id != step.pk:
            continue
        if row.kind in AGAIN:
            undone[row.reading.fastener] = max(undone.get(row.reading.fastener, 0), row.after_reading)
        else:
            decided[row.reading_id] = row
    stages = []
    for stage in step.stages.all():
        fasteners = {n: FastenerState(n) for n in range(1, step.fasteners + 1)}
        for row in mine:
            if row.stage_id != stage.pk:
                continue
            one = fasteners[row.fastener]
            if one.reading is not None:
                one.earlier.append(one.reading)
                one.reading = None
            if row.order <= undone.get(row.fastener, 0):
                one.earlier.append(row)
            else:
                one.reading = row
        for one in fasteners.values():
            _judge(one, decided)
        stages.append(StageState(stage, {target.group: target for target in stage.targets.all()}, fasteners))
    if step.order_of_work == OrderOfWork.UNTIL_STILL:
        _mark_moved(stages, mine)
    return StepState(step, stages, last_order=max((row.order for row in mine), default=0))


def _judge(one: FastenerState, decided: dict[UUID, Disposition]) -> None:
    reading = one.reading
    if reading is None:
        return
    one.verdict = reading.verdict
    one.counts = not reading.counts_not_because
    one.disposition = decided.get(reading.pk)
    if not one.counts:
        one.flag = "not_counting"
    elif one.verdict == ReadingVerdict.BELOW or (
        one.verdict == ReadingVerdict.ABOVE
        and not (one.disposition and one.disposition.kind == DispositionKind.ACCEPTED)
    ):
        one.flag = one.verdict


def _mark_moved(stages: list[StageState], mine: list[TorqueReading]) -> None:
    """Rounds until nothing moves: the last torque stage is through when a whole round found every fastener
    still.
    """
    last = next((s for s in reversed(stages) if s.stage.kind == StageKind.TORQUE), None)
    if last is None:
        return
    moved_at = max(
        (row.order for row in mine if row.stage_id == last.stage.pk and row.kind != ReadingKind.DID_NOT_MOVE),
        default=0,
    )
    for one in last.fasteners.values():
        if one.reading is not None and not one.flag and one.reading.order <= moved_at:
            one.flag = "moved"


def _check_of(state: StepState) -> str:
    if not state.step.critical:
        return "none needed"
    if not state.checks:
        return "missing"
    return "valid" if state.valid_check else "lapsed"


def _next(steps: list[StepState]) -> tuple[ProcedureStep, ProcedureStage, int] | None:
    for state in steps:
        if state.held_by is not None:
            return None
        for stage, fastener in state.places():
            one = stage.fasteners[fastener]
            # What is above waits for a decision, not for a hand.
            if not one.settled and one.flag != "above" and state.too_early(stage.stage, fastener) is None:
                return state.step, stage.stage, fastener
    return None


def _problems(state: RunState) -> Iterator[Problem]:
    run = state.run
    if run.abandoned_at is not None:
        if not state.superseded:
            yield Problem(
                "abandoned",
                f"{run}: given up, {run.abandoned_because}. Tighten it by a new run.",
                state.critical,
                True,
                f"run:{run.pk}",
            )
        return
    for step in state.steps:
        yield from _step_problems(state, step)


def _step_problems(state: RunState, of: StepState) -> Iterator[Problem]:
    step, run = of.step, state.run

    def problem(code: str, text: str, *, about: str = "") -> Problem:
        subject = ":".join(part for part in (f"run:{run.pk}", f"step {step.order}", about) if part)
        return Problem(code, f"{run}, {step.title}: {text}", step.critical, True, subject)

    if of.needs_new:
        yield problem("new_not_fitted", "say which new fasteners were fitted: they are used once only.")
    for stage in of.stages:
        name, order = stage.stage.name, f"stage {stage.stage.order}"
        missing = [n for n, one in stage.fasteners.items() if one.reading is None]
        if missing:
            yield problem("incomplete", f"{name} is open on {_numbers(missing)}.", about=order)
        moved = [n for n, one in stage.fasteners.items() if one.flag == "moved"]
        if moved:
            yield problem("incomplete", f"{name}: one round more, until nothing moves.", about=order)
        for n, one in stage.fasteners.items():
            about = f"{order}, fastener {n}"
            if one.flag == "not_counting":
                why = one.reading.counts_not_because.rstrip(".")
                yield problem(
                    "not_counting", f"{name}, fastener {n} does not count: {why}. Do it again.", about=about
                )
            elif one.flag == "below":
                yield problem("below", f"{name}, fastener {n} is below its limit. Do it again.", about=about)
            elif one.flag == "above":
                yield problem(
                    "above",
                    f"{name}, fastener {n} is above its limit. Decide: redone, replaced, or accepted "
                    "by the lead.",
                    about=about,
                )
            elif one.verdict == ReadingVerdict.NOT_PROVEN and step.critical and one.disposition is None:
                yield problem(
                    "not_proven",
                    f"{name}, fastener {n} is not proven by the tool. Use a better tool, or the lead "
                    "accepts it.",
                    about=about,
                )
    if of.check == "missing" and of.settled:
        yield problem("no_second_check", "the second check by another person is missing.")
    elif of.check == "missing":
        yield problem("no_second_check", "the second check by another person is still to come.")
    elif of.check == "lapsed":
        yield problem("second_check_lapsed", "the second check lapsed, because a newer reading was added.")


def _numbers(numbers: list[int]) -> str:
    word = "fastener" if len(numbers) == 1 else "fasteners"
    return f"{word} {', '.join(map(str, numbers))}"


def verdict_of(
    kind: str,
    value: Decimal | None,
    low: Decimal | None,
    high: Decimal | None,
    deviation_percent: Decimal,
    rule: str,
) -> str:
    """The verdict on what stands in a reading's columns, in the base unit: given once here, for acts and
    audits.
    """
    if value is None or (low is None and high is None):
        return ReadingVerdict.NO_LIMIT.value
    if kind == ReadingKind.RESULT:
        return measured.check(value, low, high).value
    found = judge(value, Limits(low, high), deviation_percent, DecisionRule(rule)).verdict.value
    if kind == ReadingKind.DID_NOT_MOVE and low is None and found == ReadingVerdict.WITHIN:
        # It took at least the set value: that proves nothing about an upper limit alone.
        return ReadingVerdict.NOT_PROVEN.value
    return found


# Words ------------------------------------------------------------------------------------------------------


def reading_words(reading: TorqueReading) -> str:
    """A reading as a print says it: what a tool was set to is never shown as a measured value."""
    value = "" if reading.typed is None else typed_words(reading.typed, reading.unit)
    match reading.kind:
        case ReadingKind.CLICKED:
            return f"set {value}, clicked"
        case ReadingKind.DID_NOT_MOVE:
            return f"set {value}, clicked at once, did not move"
        case ReadingKind.READ:
            return f"read {value}"
        case ReadingKind.ANGLE:
            how = reading.get_angle_by_display().lower()
            return f"turned {value} ({how})"
        case ReadingKind.LOOSENED:
            return "loosened"
    return f"measured {value}"


def typed_words(value: Decimal, unit: str) -> str:
    """With the digits that were typed, without the zeros that the database adds."""
    text = format(value, "f")
    return with_label(text.rstrip("0").rstrip(".") if "." in text else text, unit)


def limits_words(reading: TorqueReading, unit: str | None = None) -> str:
    """The limits that the reading was judged with, in the unit it was typed in."""
    unit = unit or reading.unit

    def shown(value: Decimal) -> str:
        return show(Amount(value, BASE[UNITS[unit].dimension]).to(unit))

    if reading.limit_low is None and reading.limit_high is None:
        return "no limit"
    if reading.limit_low is None:
        return f"at most {shown(reading.limit_high)}"
    if reading.limit_high is None:
        return f"at least {shown(reading.limit_low)}"
    return f"{shown(reading.limit_low)} to {shown(reading.limit_high)}"


def verdict_sentence(reading: TorqueReading) -> str:
    """Why the verdict is what it is, with the numbers it rests on, in the unit of the reading."""
    if reading.counts_not_because:
        return f"Counts as nothing: {reading.counts_not_because} Do it again with a tool that is in order."
    if reading.kind == ReadingKind.LOOSENED or reading.verdict == ReadingVerdict.NO_LIMIT:
        return ""
    limits = Limits(reading.limit_low, reading.limit_high)
    if reading.kind == ReadingKind.RESULT or reading.value == 0:
        return f"Limits: {limits_words(reading)}."
    said = judge(
        reading.value,
        limits,
        reading.deviation_percent,
        DecisionRule(reading.rule),
        unit=BASE[UNITS[reading.unit].dimension],
        shown_in=reading.unit,
    ).sentence
    if reading.kind == ReadingKind.DID_NOT_MOVE:
        said += " It did not move: it holds at least the set value, and the verdict is by that value."
        if limits.low is None:
            said += " That proves nothing about an upper limit."
    return said


def tool_words(reading: TorqueReading) -> str:
    """The tool of a reading with the calibration that it was judged by."""
    if reading.tool is None:
        return ""
    row = reading.calibration
    if row is None:
        return f"{reading.tool}, no calibration on record"
    return (
        f"{reading.tool}, certificate {row.certificate} of {date_format(row.calibrated_on)}, "
        f"due {date_format(row.due_on)}, ±{row.deviation_percent.normalize():f} %"
    )


def check_words(check: SecondCheck) -> str:
    """A second check as a print says it; one that was made alone says so."""
    when = date_format(timezone.localtime(check.made_at), "j M Y H:i")
    alone = f", alone: {check.alone_because}" if check.alone_because else ""
    return f"{check.get_method_display()}, {check.made_by}, {when}{alone}"


def _step_summary(step: StepState) -> dict:
    judged = [s for s in step.stages if any(t.limit != LimitKind.NONE for t in s.targets.values())]
    verdicts: dict[str, int] = {}
    for stage in step.stages:
        for one in stage.fasteners.values():
            if one.reading is not None:
                name = one.reading.get_verdict_display().lower() if one.counts else "not counting"
                verdicts[name] = verdicts.get(name, 0) + 1
    check = step.valid_check if step.step.critical else None
    return {
        "title": step.step.title,
        "fasteners": step.step.fasteners,
        "stages": [
            {
                "name": stage.stage.name,
                "targets": [
                    f"{group}: {target.words}" if group else target.words
                    for group, target in stage.targets.items()
                ],
            }
            for stage in judged
        ],
        "verdicts": ", ".join(f"{count} {name}" for name, count in verdicts.items()),
        "check": check_words(check) if check else step.check_words,
        "checked_alone": bool(check and check.alone_because),
    }
