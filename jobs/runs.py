"""Where a run stands: which readings count, what comes next, what blocks. Pure reads, in a fixed number of
queries.

The screens, the acts, the gate and the handover sheet all read a run through `state_of` or `states_of`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from uuid import UUID

from django.db.models import Prefetch

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
from jobs.models.procedure import OrderOfWork, Reuse, StageKind
from jobs.models.torque import SAME_MINUTE, DispositionKind, ReadingKind, ReadingVerdict
from jobs.run_state import AGAIN, FastenerState, Problem, RunState, StageState, StepState
from workshop.engineering import limits as measured
from workshop.engineering.verdict import DecisionRule, Limits, judge


def state_of(run: Run) -> RunState:
    """How one run stands: ten queries whatever its length."""
    return states_of([run])[run.pk]


def state_of_version(version: ProcedureVersion) -> RunState:
    """How a run of this version would stand before its first reading; no run is on record. Four queries."""
    version = next(iter(_versions({version.pk})))
    return _state(Run(version_used=version), version, [], [], [], [], superseded=False)


def states_of(runs: Iterable[Run]) -> dict[UUID, RunState]:
    """How several runs stand, by their key: ten queries for all of them."""
    runs = list(runs)
    if not runs:
        return {}
    versions = {version.pk: version for version in _versions({run.version_used_id for run in runs})}
    keys = [run.pk for run in runs]
    readings = _by_run(
        TorqueReading.objects.filter(run__in=keys)
        .select_related("tool", "calibration", "made_by", "device", "qualified__person")
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
        .select_related("made_by", "device", "tool")
        .order_by("made_at", "received_at")
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
    _put_right(readings)
    steps = []
    holding: ProcedureStep | None = None
    for step in version.steps.all():
        state = _step_state(step, readings, dispositions)
        state.checks = [row for row in checks if row.step_id == step.pk]
        state.new_fitted = [row for row in new if row.step_id == step.pk]
        state.new_needed = _new_needed(state, dispositions)
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


def _put_right(readings: list[TorqueReading]) -> None:
    """Say of each reading which one it stands in place of, and which one stands for it."""
    by_key = {row.pk: row for row in readings}
    for row in readings:  # in the order of writing: what is put right was written before
        if row.corrects_id is not None:
            wrong = by_key[row.corrects_id]
            row.corrects = wrong
            wrong.put_right_by, row.in_place_of = row, wrong.in_place_of or wrong


def _step_state(step: ProcedureStep, readings, dispositions) -> StepState:
    mine = sorted((row for row in readings if row.step_id == step.pk), key=lambda row: row.turn)
    decided: dict[UUID, Disposition] = {}
    undone: dict[int, tuple] = {}
    for row in dispositions:
        if row.reading.step_id != step.pk:
            continue
        if row.kind in AGAIN:
            _later(undone, row.reading.fastener, row.turn)
        else:
            decided[row.reading_id] = row
    stages = []
    for stage in step.stages.all():
        fasteners = {n: FastenerState(n) for n in range(1, step.fasteners + 1)}
        here = [row for row in mine if row.stage_id == stage.pk]
        for row in here:
            one = fasteners[row.fastener]
            if not row.stands_for_work:
                one.earlier.append(row)
                continue
            if one.reading is not None:
                one.earlier.append(one.reading)
                one.reading = None
            if row.fastener in undone and row.turn <= undone[row.fastener]:
                one.earlier.append(row)
            else:
                one.reading = row
        for number, one in fasteners.items():
            _judge(one, decided, undone.get(number))
        # Worked on again at this stage, or loosened by it: what was done at later stages before is undone.
        for row in here:
            if row.stands_for_work:
                _later(undone, row.fastener, row.turn)
        stages.append(StageState(stage, {target.group: target for target in stage.targets.all()}, fasteners))
    if step.order_of_work == OrderOfWork.UNTIL_STILL:
        _mark_moved(stages, [row for row in mine if row.stands_for_work])
    return StepState(step, stages, readings=mine)


def _later(found: dict[int, tuple], fastener: int, turn: tuple) -> None:
    found[fastener] = max(found.get(fastener, turn), turn)


def _judge(one: FastenerState, decided: dict[UUID, Disposition], undone: tuple | None) -> None:
    reading = one.reading
    if reading is None:
        return
    one.verdict = reading.verdict
    one.counts = not reading.counts_not_because
    one.disposition = decided.get(reading.pk)
    if one.counts and (before := _held_since(one, undone)) is not None:
        one.verdict, one.held_since = ReadingVerdict.WITHIN.value, before
    accepted = one.disposition is not None and one.disposition.kind == DispositionKind.ACCEPTED
    if one.verdict == ReadingVerdict.ABOVE and not accepted:
        # Also where the tool makes it count as nothing: what may have been pulled too far would only click at once
        # with the next tool, and that would prove nothing.
        one.flag = "above"
    elif not one.counts:
        one.flag = "not_counting"
    elif one.verdict == ReadingVerdict.BELOW:
        one.flag = "below"


def _held_since(one: FastenerState, undone: tuple | None) -> TorqueReading | None:
    """The reading that tightened it to within its limits before it did not move: nothing was added since then,
    so that the two of them prove both limits.
    """
    row = one.reading
    if row.kind != ReadingKind.DID_NOT_MOVE or row.verdict != ReadingVerdict.NOT_PROVEN:
        return None
    lower = verdict_of(row.kind, row.value, row.limit_low, None, row.deviation_percent, row.rule)
    if lower not in (ReadingVerdict.WITHIN, ReadingVerdict.NO_LIMIT):
        return None
    for before in reversed(one.earlier):
        if undone is not None and before.turn <= undone:
            return None
        if before.stands_for_work and before.kind != ReadingKind.DID_NOT_MOVE:
            counts = not before.counts_not_because and before.verdict == ReadingVerdict.WITHIN
            return before if counts else None
    return None


def _mark_moved(stages: list[StageState], mine: list[TorqueReading]) -> None:
    """Rounds until nothing moves: the last torque stage is through when a whole round found every fastener
    still.
    """
    last = next((s for s in reversed(stages) if s.stage.kind == StageKind.TORQUE), None)
    if last is None:
        return
    moved = [row for row in mine if row.stage_id == last.stage.pk and row.kind != ReadingKind.DID_NOT_MOVE]
    if not moved:
        return
    for one in last.fasteners.values():
        if one.reading is not None and not one.flag and one.reading.turn <= moved[-1].turn:
            one.flag = "moved"


def _new_needed(of: StepState, dispositions: list[Disposition]) -> list[int]:
    """Fasteners used once only of which nobody has said that a new one is fitted, since they were loosened."""
    if of.step.reuse != Reuse.NEW:
        return []
    if not of.new_fitted:
        return list(range(1, of.step.fasteners + 1))
    return sorted(
        {
            row.reading.fastener
            for row in dispositions
            if row.reading.step_id == of.step.pk
            and row.kind in AGAIN
            and not any(
                new.received_at > row.received_at and new.made_at >= row.made_at - SAME_MINUTE
                for new in of.new_fitted
            )
        }
    )


def _check_of(state: StepState) -> str:
    if not state.step.critical:
        return "none needed"
    if state.failed_check is not None and not state.worked_on_since_it_failed:
        return "failed"
    if state.valid_check is not None:
        return "valid"
    return "lapsed" if state.checks_that_may_stand else "missing"


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
                f"{run}: stopped, {run.abandoned_because}. Tighten it by a new run.",
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
        whose = "" if len(of.new_needed) == step.fasteners else f" for {_numbers(of.new_needed)}"
        yield problem(
            "new_not_fitted", f"say which new fasteners were fitted{whose}: they are used once only."
        )
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
                decide = (
                    "Decide: redone, replaced, or accepted by the lead."
                    if one.counts
                    else f"It does not count ({one.reading.counts_not_because.rstrip('.')}), and may have been "
                    "pulled too far all the same. Decide: redone or replaced."
                )
                yield problem("above", f"{name}, fastener {n} is above its limit. {decide}", about=about)
            elif one.verdict == ReadingVerdict.NOT_PROVEN and step.critical and one.disposition is None:
                yield problem(
                    "not_proven",
                    f"{name}, fastener {n} is not proven by the tool. Use a better tool, or the lead "
                    "accepts it.",
                    about=about,
                )
    if of.check == "failed":
        found = of.failed_check.found.rstrip(".")
        yield problem(
            "check_failed",
            f"the second check found it not in order ({found}). Work on it again and record it; then it is "
            "checked anew.",
        )
    elif of.check == "missing" and of.settled:
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
    if kind == ReadingKind.DID_NOT_MOVE and high is not None and found == ReadingVerdict.WITHIN:
        # It holds at least the set value: how much more, and so an upper limit, is not known.
        return ReadingVerdict.NOT_PROVEN.value
    return found
