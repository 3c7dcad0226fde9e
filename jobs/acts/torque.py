"""Runs of a procedure: readings and their verdicts, new fasteners, second checks, dispositions, the end of
a run.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs.acts.tag import lift_tag, set_tag
from jobs.lines import line_to_work_on, lock_job, refuse_closed, send_back_if_ready
from jobs.models import (
    Disposition,
    NewFasteners,
    Procedure,
    ProcedureStage,
    ProcedureStep,
    Run,
    SecondCheck,
    TorqueReading,
    WorkLine,
)
from jobs.models.procedure import Area, LimitKind, OrderOfWork, Reuse, StageKind
from jobs.models.torque import AngleBy, CheckMethod, DispositionKind, ReadingKind, ReadingVerdict
from jobs.runs import AGAIN, RunState, StepState, reading_words, state_of, verdict_of, verdict_sentence
from workshop.acting import By, act, create, save_changes
from workshop.acting import note as say
from workshop.engineering.units import BASE, UNITS, Amount, show, units_of
from workshop.engineering.verdict import DecisionRule, Limits, with_running_torque
from workshop.models import Competence, CompetenceKind, Shop, TorqueTool
from workshop.models.shop import TorqueUnit
from workshop.models.tools import ToolKind
from workshop.permissions import May, allowed, require

# More than any fastener of a road vehicle takes; a limit against slips of the finger, no source.
MOST_NM = Decimal(5000)
MOST_DEGREES = Decimal(1080)
MOST_OTHER = Decimal(100_000)
# A number this many times off its target that fits in another unit was probably typed in the wrong one.
FAR_OFF = 3
# Before a technician who is alone checks their own work again: common practice, no source.
ALONE_AFTER = timedelta(minutes=10)
# An independent re-check after one made alone, and after a tool turned out wrong: common practice, no source.
RECHECK_WITHIN = timedelta(days=7)

_BAD = (ReadingVerdict.BELOW, ReadingVerdict.ABOVE)

KINDS_OF_STAGE: dict[str, tuple[str, ...]] = {
    StageKind.TORQUE: (ReadingKind.CLICKED, ReadingKind.DID_NOT_MOVE, ReadingKind.READ),
    StageKind.ANGLE: (ReadingKind.ANGLE,),
    StageKind.LOOSEN: (ReadingKind.LOOSENED,),
    StageKind.RESULT: (ReadingKind.RESULT,),
}


# Starting and ending ----------------------------------------------------------------------------------------


@act(May.RUN_PROCEDURE)
def start_run(*, by: By, line: WorkLine, procedure: Procedure, where: str = "") -> Run:
    """Start the released version on the car. On wheels, brakes, steering, suspension and fuel it tags the
    car.
    """
    line = line_to_work_on(line, by)
    if procedure.withdrawn_because:
        raise ValidationError(
            {"procedure": f"{procedure} was withdrawn: {procedure.withdrawn_because}. Choose another."}
        )
    version = procedure.released()
    if version is None:
        raise ValidationError(
            {"procedure": f"{procedure} has no released version: a lead releases its draft first."}
        )
    run = create(
        Run(
            **by.stamp(),
            job=line.job,
            line=line,
            version_used=version,
            where=where.strip(),
            qualified=_qualified(version, line, by),
        )
    )
    say(
        run,
        vehicle=line.job.vehicle_id,
        job=line.job,
        facts={
            "procedure": procedure.title,
            "version": version.number,
            "line": str(line),
            "where": run.where,
        },
    )
    if kind := Area(procedure.area).tag:
        set_tag(
            by=by,
            vehicle=line.job.vehicle,
            kind=kind,
            because=f"Tightening is open: {run}"[:200],
            job=line.job,
            run=run,
        )
    return run


def _qualified(version, line: WorkLine, by: By) -> Competence | None:
    """The competence under which the run is made: the person's own, else of whoever is named on the line."""
    if not version.competence:
        return None
    own = Competence.objects.filter(person=by.person, kind=version.competence).valid_on(by.day).first()
    if own is not None:
        return own
    named = line.qualified
    if (
        named is not None
        and named.kind == version.competence
        and Competence.objects.filter(pk=named.pk).valid_on(by.day).exists()
    ):
        return named
    label = CompetenceKind(version.competence).label.lower()
    holders = Competence.objects.filter(kind=version.competence, person__is_active=True).valid_on(by.day)
    names = ", ".join(sorted({str(row.person) for row in holders.select_related("person")}))
    raise ValidationError(
        {
            "procedure": f"This procedure needs a competence ({label}), and you hold none that is valid on "
            f"{date_format(by.day)}. "
            + (f"It is held by {names}." if names else "Nobody in the shop holds one.")
        },
        code="not_qualified",
    )


@act(May.RUN_PROCEDURE)
def complete_run(*, by: By, run: Run) -> Run:
    """Say that the run is complete: everything is judged and nothing blocks. Lifts its tag; raises the
    re-check.
    """
    run = _open_run(run)
    state = state_of(run)
    if state.problems:
        raise ValidationError(
            [ValidationError(problem.text, code=problem.code) for problem in state.problems],
            code="not_complete",
        )
    save_changes(run, completed_at=by.made_at)
    _note(run, run, {"completed": True, "verdicts": state.counts_by_verdict})
    for tag in run.tags.filter(lifted_at=None):
        lift_tag(by=by, tag=tag, lifted_because=f"Run complete: {run}"[:200])
    _raise_recheck(by, run, state)
    return run


def _raise_recheck(by: By, run: Run, state: RunState) -> None:
    """By distance, where the procedure asks for it; for wheels the shop's own distance stands in."""
    km, whose = state.version.recheck_km, "as the procedure says"
    if km is None and state.version.procedure.area == Area.WHEELS:
        km, whose = Decimal(Shop.current().recheck_km), "the shop's own distance, none is given by the maker"
    if km is None:
        return
    from vehicles.acts.outstanding import raise_item

    raise_item(
        by=by,
        vehicle=run.job.vehicle,
        title=f"Check again: {run}"[:160],
        detail=state.version.recheck_note
        or "Same torque, same class of tool, not loosened first (common practice). "
        f"A fastener that turns is a finding. Distance: {whose}.",
        severity="minor",
        reason="recheck",
        raised_in=run.job,
        raised_by_line=run.line,
        raised_by_run=run,
        due_distance=Amount(km, "km"),
    )


@act(May.RUN_PROCEDURE)
def abandon_run(*, by: By, run: Run, abandoned_because: str) -> Run:
    """Give a run up, with the reason and how the joint was left. Its tag stays until somebody lifts it by
    hand.
    """
    run = _open_run(run)
    if not abandoned_because.strip():
        raise ValidationError(
            {"abandoned_because": "Say why the run is given up and how the joint was left."}
        )
    save_changes(run, abandoned_at=by.made_at, abandoned_because=abandoned_because.strip())
    _note(run, run, {"abandoned_because": run.abandoned_because})
    return run


def _lock(run: Run) -> Run:
    """The run as it stands on record, locked with its job, so that readings wait for each other."""
    job = lock_job(run.job)
    run = (
        Run.objects.select_for_update(of=("self",))
        .select_related("version_used__procedure", "line")
        .get(pk=run.pk)
    )
    run.job = job
    return run


def _open_run(run: Run) -> Run:
    run = _lock(run)
    _refuse_ended(run, None)
    refuse_closed(run.job)
    return run


def _run_for(by: By, run: Run) -> Run:
    """The locked run for something that was done on it: also when it ended meanwhile, if this was done
    before.
    """
    run = _lock(run)
    _refuse_ended(run, by)
    if not run.job.is_closed:
        send_back_if_ready(run.job, by, f"Tightening on {run}")
    elif by.made_at >= run.job.moves.latest("made_at").made_at:
        refuse_closed(run.job)
    return run


def _refuse_ended(run: Run, by: By | None) -> None:
    for ended, word in ((run.completed_at, "complete"), (run.abandoned_at, "given up")):
        if ended and (by is None or by.made_at >= ended):
            when = date_format(timezone.localtime(ended), "j M Y H:i")
            raise ValidationError(
                f"This run is {word} since {when}. Start a new run for work after that"
                + ("." if by is None else "; for what was done before, give the earlier time."),
                code="run_ended",
            )


# Readings ---------------------------------------------------------------------------------------------------


@act(May.RUN_PROCEDURE)
def say_new_fitted(*, by: By, run: Run, step: ProcedureStep, what: str) -> NewFasteners:
    """Single-use fasteners: say that new ones were fitted, which and where from, before the first stage."""
    run = _run_for(by, run)
    of = _step_of(state_of(run), step)
    if of.step.reuse != Reuse.NEW:
        raise ValidationError(
            {"step": f"The fasteners of {step.title} may be used again: nothing to say here."}
        )
    row = create(NewFasteners(**by.stamp(), run=run, step=step, what=what.strip()))
    _note(row, run, {"step": step.title, "what": row.what})
    return row


@act(May.RUN_PROCEDURE)
def record_reading(
    *,
    by: By,
    run: Run,
    step: ProcedureStep,
    stage: ProcedureStage,
    fastener: int,
    kind: str,
    reading: Amount | None = None,
    tool: TorqueTool | None = None,
    angle_by: str = "",
    running_torque: Amount | None = None,
    redo_reason: str = "",
    confirmed_odd: bool = False,
) -> TorqueReading:
    """One fact about one fastener at one stage. The verdict is computed from it; nothing of it is altered
    later.
    """
    run = _run_for(by, run)
    state = state_of(run)
    entry = _Entry(by, state, step, stage, kind, reading, tool, angle_by, running_torque, confirmed_odd)
    return entry.record(fastener, redo_reason, together=False)


@act(May.RUN_PROCEDURE)
def record_round(
    *,
    by: By,
    run: Run,
    step: ProcedureStep,
    stage: ProcedureStage,
    fasteners: list[int],
    kind: str,
    reading: Amount | None = None,
    tool: TorqueTool | None = None,
    angle_by: str = "",
    running_torque: Amount | None = None,
    redo_reason: str = "",
    confirmed_odd: bool = False,
) -> TorqueReading:
    """The same answer for several fasteners, entered together: each reading says so. Answers the last one.

    They are taken as done in the order given.
    """
    run = _run_for(by, run)
    if not fasteners:
        raise ValidationError({"fasteners": "Name the fasteners that were done."})
    if twice := sorted({n for n in fasteners if fasteners.count(n) > 1}):
        raise ValidationError(
            {"fasteners": f"Named twice: {', '.join(map(str, twice))}. Name each fastener once."}
        )
    row = None
    for fastener in fasteners:
        # Each one is judged on what stands before it: the order within the round is part of the record.
        entry = _Entry(
            by, state_of(run), step, stage, kind, reading, tool, angle_by, running_torque, confirmed_odd
        )
        row = entry.record(fastener, redo_reason, together=True, field="fasteners")
    return row


class _Entry:
    """What was typed, judged against the stage of a run. Every refusal names the field that it belongs to."""

    def __init__(self, by, state, step, stage, kind, reading, tool, angle_by, running_torque, confirmed_odd):
        self.by, self.state, self.run = by, state, state.run
        self.of = _step_of(state, step)
        self.stage_state = _stage_of(self.of, stage)
        self.step, self.stage = self.of.step, self.stage_state.stage
        self.kind, self.reading, self.angle_by = kind, reading, angle_by
        self.running, self.confirmed_odd = running_torque, confirmed_odd
        self.tool = tool
        self._check_kind()
        self._check_tool()
        self._check_values()

    def _check_kind(self) -> None:
        wanted = KINDS_OF_STAGE[self.stage.kind]
        if self.kind not in wanted:
            labels = ", ".join(f"“{ReadingKind(kind).label}”" for kind in wanted)
            raise ValidationError(
                {
                    "kind": f"{self.stage.name} is a stage of kind "
                    f"{self.stage.get_kind_display().lower()}: choose {labels}."
                }
            )

    def _check_tool(self) -> None:
        if self.kind in (ReadingKind.LOOSENED, ReadingKind.RESULT):
            self.tool = None
            self.angle_by = ""
            return
        if self.kind == ReadingKind.ANGLE:
            if self.angle_by not in AngleBy.values:
                raise ValidationError(
                    {"angle_by": "Say whether the angle was read on a gauge or by a paint mark."}
                )
            if self.angle_by == AngleBy.PAINT_MARK:
                self.tool = None
            elif self.tool is None or self.tool.kind != ToolKind.ANGLE:
                raise ValidationError(
                    {"tool": "Choose the angle gauge, or say that it was turned by a paint mark."}
                )
        else:
            self.angle_by = ""
            if self.tool is None:
                raise ValidationError({"tool": "Choose the torque tool: a torque stage needs one."})
            if self.tool.kind == ToolKind.ANGLE:
                raise ValidationError(
                    {"tool": f"{self.tool} measures angles. A torque stage needs a torque tool."}
                )
            if self.kind == ReadingKind.CLICKED and self.tool.kind != ToolKind.SETTING:
                raise ValidationError({"kind": f"{self.tool} shows a value and does not click: read it off."})
            if self.kind == ReadingKind.READ and self.tool.kind != ToolKind.INDICATING:
                raise ValidationError(
                    {
                        "kind": f"{self.tool} clicks at a set value and shows none: say that it "
                        "clicked, or did not move."
                    }
                )
        if self.tool is not None:
            self.tool = TorqueTool.objects.prefetch_related("calibrations", "failures").get(pk=self.tool.pk)

    def _check_values(self) -> None:
        if self.kind == ReadingKind.LOOSENED:
            self.reading = self.running = None
            return
        if self.reading is None:
            what = {ReadingKind.ANGLE: "the angle in degrees", ReadingKind.RESULT: "what was measured"}.get(
                self.kind, "the torque that the tool was set to or showed"
            )
            raise ValidationError({"reading": f"Give {what}, with its unit."})
        self._check_amount("reading", self.reading, zero=self.kind == ReadingKind.RESULT)
        if self.running is not None and not self.stage.add_running_torque:
            raise ValidationError(
                {"running_torque": "No running torque is added at this stage: leave this empty."}
            )
        if self.stage.add_running_torque:
            if self.running is None:
                raise ValidationError(
                    {
                        "running_torque": "Measure the running torque of this fastener while turning "
                        "it on, and give it."
                    }
                )
            self._check_amount("running_torque", self.running, zero=True, torque=True)

    def _check_amount(self, field: str, amount: Amount, *, zero: bool = False, torque: bool = False) -> None:
        dimension = "torque" if torque else self._dimension()
        if amount.dimension != dimension:
            labels = ", ".join(unit.label for unit in units_of(dimension))
            raise ValidationError({field: f"This stage is measured in {labels}: choose one of these units."})
        value = amount.base()
        if value < 0 or (value == 0 and not zero):
            least = "0 or more" if zero else "more than 0"
            raise ValidationError({field: f"A reading is {least}: {show(amount)} was typed. Type it again."})
        most = {"torque": MOST_NM, "angle": MOST_DEGREES}.get(dimension, MOST_OTHER)
        if value > most:
            top = show(Amount(most, BASE[dimension]))
            raise ValidationError(
                {field: f"{show(amount)} was typed; {top} is the most that is taken. Look again."}
            )

    def _dimension(self) -> str:
        if self.kind == ReadingKind.ANGLE:
            return "angle"
        if self.kind == ReadingKind.RESULT:
            target = next(iter(self.stage_state.targets.values()), None)
            return UNITS[target.unit].dimension if target else UNITS[self.reading.unit].dimension
        return "torque"

    def record(
        self, fastener: int, redo_reason: str, *, together: bool, field: str = "fastener"
    ) -> TorqueReading:
        one = self._fastener(fastener, field)
        self._check_open(fastener, field)
        self._check_again(one, fastener, redo_reason, field)
        target = self.stage_state.target(self.step.group_of(fastener))
        self._check_odd(target)
        limits = self._limits(target)
        calibration = self.tool.calibration_on(self.by.day) if self.tool else None
        deviation = calibration.deviation_percent if calibration else Decimal(0)
        rule = DecisionRule(Shop.current().decision_rule)
        row = create(
            TorqueReading(
                **self.by.stamp(),
                run=self.run,
                step=self.step,
                stage=self.stage,
                fastener=fastener,
                order=self.state.last_order + 1,
                kind=self.kind,
                typed=self.reading.value if self.reading else None,
                unit=self.reading.unit if self.reading else "",
                value=_six(self.reading.base()) if self.reading else None,
                running_torque=_six(self.running.base()) if self.running else None,
                tool=self.tool,
                calibration=calibration,
                angle_by=self.angle_by,
                limit_low=limits.low if limits else None,
                limit_high=limits.high if limits else None,
                deviation_percent=deviation,
                rule=rule,
                verdict=verdict_of(
                    self.kind,
                    _six(self.reading.base()) if self.reading else None,
                    limits.low if limits else None,
                    limits.high if limits else None,
                    deviation,
                    rule,
                ),
                counts_not_because=self._counts_not()[:300],
                out_of_sequence=self.of.before_its_turn(self.stage, fastener),
                entered_together=together,
                redo_reason=redo_reason.strip() if one.reading is not None or one.earlier else "",
            )
        )
        _note(
            row,
            self.run,
            {
                "step": self.step.title,
                "stage": self.stage.name,
                "fastener": fastener,
                "order": row.order,
                "kind": row.kind,
                "reading": self.reading,
                "running_torque": self.running,
                "tool": self.tool.label if self.tool else "",
                "angle_by": row.angle_by,
                "limits": [row.limit_low, row.limit_high],
                "deviation_percent": deviation,
                "rule": rule.value,
                "verdict": row.verdict,
                "counts_not_because": row.counts_not_because,
                "out_of_sequence": row.out_of_sequence,
                "together": together,
                "redo_reason": row.redo_reason,
                "after_the_end": self.state.ended or self.run.job.is_closed,
            },
        )
        if self.run.job.is_closed and (row.counts_not_because or row.verdict in _BAD):
            self._raise_late(row)
        return row

    def _raise_late(self, row: TorqueReading) -> None:
        """It arrived after the car had left: the car has to come back for it."""
        from vehicles.acts.outstanding import raise_item

        raise_item(
            by=self.by,
            vehicle=self.run.job.vehicle,
            title=f"Arrived after the handover: {self.run}, {self.step.title}, fastener {row.fastener}"[:160],
            detail=f"{reading_words(row)}: {verdict_sentence(row)} Tell the owner, and check this joint.",
            severity="dangerous" if self.step.critical else "major",
            reason="recheck",
            raised_in=self.run.job,
            raised_by_line=self.run.line,
            raised_by_run=self.run,
            due_on=self.by.day,
        )

    def _fastener(self, fastener: int, field: str):
        count = self.step.fasteners
        if not 1 <= fastener <= count:
            raise ValidationError(
                {
                    field: f"This step has fasteners 1 to {count}."
                    if count > 1
                    else "This step has one fastener: 1."
                }
            )
        return self.stage_state.fasteners[fastener]

    def _check_open(self, fastener: int, field: str) -> None:
        if self.of.held_by is not None:
            held = self.of.held_by
            raise ValidationError(
                {"step": f"“{held.title}” is a hold point: its second check comes before this step opens."},
                code="held",
            )
        if self.of.needs_new:
            raise ValidationError(
                {"step": "These fasteners are used once only: say first which new ones were fitted."},
                code="new_first",
            )
        if early := self.of.too_early(self.stage, fastener):
            stage, open_ones = early
            raise ValidationError(
                {
                    "stage": f"Too early: {stage.stage.name} is still open on "
                    f"{'fastener' if len(open_ones) == 1 else 'fasteners'} {', '.join(map(str, open_ones))} "
                    f"(order of work: {self.step.get_order_of_work_display().lower()})."
                },
                code="too_early",
            )

    def _check_again(self, one, fastener: int, redo_reason: str, field: str) -> None:
        standing = one.reading
        if standing is None:
            return
        if one.flag == "above":
            raise ValidationError(
                {
                    field: f"Fastener {fastener} is above its limit: decide first whether it is "
                    "redone, replaced or accepted."
                },
                code="decide_first",
            )
        if self.step.order_of_work == OrderOfWork.UNTIL_STILL and self.stage.kind == StageKind.TORQUE:
            return  # going round again is the order of this work, no repeat
        if not redo_reason.strip():
            raise ValidationError(
                {
                    "redo_reason": f"Fastener {fastener} has a reading at this stage "
                    f"({reading_words(standing)}, "
                    f"{standing.made_by}). Say why it is done again, or choose another fastener."
                },
                code="redo_reason",
            )

    def _check_odd(self, target) -> None:
        """A number far off its target that would fit in another unit is asked about once."""
        if self.confirmed_odd or self.reading is None or target is None or self._dimension() != "torque":
            return
        value = self.reading.base()
        low = target.base_low if target.base_low is not None else target.base_high
        high = target.base_high if target.base_high is not None else target.base_low
        within = value >= (target.base_low or 0) and (target.base_high is None or value <= target.base_high)
        if low is None or within or low / FAR_OFF <= value <= high * FAR_OFF:
            return
        for unit in TorqueUnit.values:
            other = Amount(self.reading.value, unit)
            if unit != self.reading.unit and _fits(other.base(), target):
                raise ValidationError(
                    {
                        "reading": ValidationError(
                            f"{show(self.reading)} is far from the target ({target.words}); "
                            f"{show(other)} would fit. Look at the unit; if it is right as typed, "
                            "tick the box below and send again.",
                            code="odd_unit",
                        )
                    }
                )

    def _limits(self, target) -> Limits | None:
        if target is None or target.limit == LimitKind.NONE:
            return None
        limits = Limits(target.base_low, target.base_high)
        return with_running_torque(limits, _six(self.running.base())) if self.running else limits

    def _counts_not(self) -> str:
        return self.tool.unfit_because(self.reading, on=self.by.day) if self.tool else ""


def _fits(value: Decimal, target) -> bool:
    low = target.base_low if target.base_low is not None else target.base_high / FAR_OFF
    high = target.base_high if target.base_high is not None else target.base_low * FAR_OFF
    return low <= value <= high


def _six(value: Decimal) -> Decimal:
    """The six decimals that the record keeps: a verdict is given on what stands on record."""
    return value.quantize(Decimal("0.000001"))


def _step_of(state: RunState, step: ProcedureStep) -> StepState:
    found = next((one for one in state.steps if one.step.pk == step.pk), None)
    if found is None:
        raise ValidationError(
            {"step": f"{step.title} is not a step of {state.version}, which this run works by."}
        )
    return found


def _stage_of(of: StepState, stage: ProcedureStage):
    found = next((one for one in of.stages if one.stage.pk == stage.pk), None)
    if found is None:
        names = ", ".join(one.stage.name for one in of.stages)
        raise ValidationError(
            {"stage": f"{stage.name} is not a stage of {of.step.title}. Its stages: {names}."}
        )
    return found


# Checks and decisions ---------------------------------------------------------------------------------------


@act(May.SECOND_CHECK)
def second_check(
    *,
    by: By,
    run: Run,
    step: ProcedureStep,
    method: str,
    alone_because: str = "",
    note: str = "",
) -> SecondCheck:
    """The check of a critical step by a person who took no reading in it.

    `alone_because`: nobody else is in the building. Then the technician checks again after an interval, or a
    lead gives the reason; an independent re-check is raised as an outstanding item.
    """
    run = _run_for(by, run)
    state = state_of(run)
    of = _step_of(state, step)
    alone_because = alone_because.strip()
    if not of.step.critical:
        raise ValidationError({"step": f"{step.title} is not critical: it needs no second check."})
    if not of.settled:
        raise ValidationError(
            {"step": f"{step.title} is not through yet: every fastener is judged before the second check."},
            code="not_through",
        )
    _check_method(of, method, alone=bool(alone_because))
    mine = [row for row in state.readings if row.step_id == step.pk and row.made_by_id == by.person.pk]
    if mine and not alone_because:
        raise ValidationError(
            {
                "alone_because": "You took a reading in this step: somebody else does the second check. "
                "If nobody else is in the building, say so here."
            },
            code="by_another",
        )
    if alone_because:
        _check_interval(by, state, step)
    row = create(
        SecondCheck(
            **by.stamp(),
            run=run,
            step=step,
            method=method,
            after_reading=state.last_order,
            alone_because=alone_because,
            note=note.strip(),
        )
    )
    _note(
        row,
        run,
        {
            "step": step.title,
            "method": method,
            "after_reading": row.after_reading,
            "alone_because": alone_because,
            "note": row.note,
        },
    )
    if alone_because:
        _raise_independent_check(by, run, step, alone_because)
    return row


def _check_method(of: StepState, method: str, *, alone: bool) -> None:
    if method not in of.check_methods:
        labels = " or ".join(f"“{m.label.lower()}”" for m in of.check_methods)
        raise ValidationError(
            {
                "method": "This step is tightened by angle or to yield: turning again would harm the "
                f"bolt. Only {labels}."
            }
        )
    if alone and method == CheckMethod.WITNESSED:
        raise ValidationError({"method": "Who is alone can't witness the tightening: choose another method."})


def _check_interval(by: By, state: RunState, step: ProcedureStep) -> None:
    if allowed(by.person, May.DISPOSITION):
        return  # a lead answers for it by the reason
    last = max(row.made_at for row in state.readings if row.step_id == step.pk)
    if by.made_at < last + ALONE_AFTER:
        minutes = int(ALONE_AFTER.total_seconds() // 60)
        when = date_format(timezone.localtime(last + ALONE_AFTER), "H:i")
        raise ValidationError(
            {
                "alone_because": f"Your own re-check comes at least {minutes} minutes after the last "
                "reading: "
                f"from {when} on. Or a lead does it with the reason."
            },
            code="too_soon",
        )


def _raise_independent_check(by: By, run: Run, step: ProcedureStep, because: str) -> None:
    from vehicles.acts.outstanding import raise_item

    raise_item(
        by=by,
        vehicle=run.job.vehicle,
        title=f"Independent check: {run}, {step.title}"[:160],
        detail=f"The second check was made alone ({because}). Somebody else checks this joint.",
        severity="major",
        reason="recheck",
        raised_in=run.job,
        raised_by_line=run.line,
        raised_by_run=run,
        due_on=by.day + RECHECK_WITHIN,
    )


@act(May.RUN_PROCEDURE)
def dispose(*, by: By, reading: TorqueReading, kind: str, reason: str, source: str = "") -> Disposition:
    """Decide about a reading: loosened and redone, replaced, or accepted by a lead.

    Redone and replaced open all stages of the fastener again; its readings in that step so far stop counting.
    """
    run = _run_for(by, reading.run)
    state = state_of(run)
    of = _step_of(state, reading.step)
    one = of.stage(reading.stage).fasteners[reading.fastener]
    if one.reading is None or one.reading.pk != reading.pk:
        raise ValidationError(
            "This reading no longer stands: there is a later one, or it was undone. Look at the run."
        )
    reason = reason.strip()
    if not reason:
        raise ValidationError({"reason": "Give the reason."})
    _check_disposition(by, of, one, kind, source)
    row = create(
        Disposition(
            **by.stamp(),
            reading=one.reading,
            kind=kind,
            source=source.strip() if kind == DispositionKind.ACCEPTED else "",
            reason=reason,
            after_reading=state.last_order,
        )
    )
    _note(
        row,
        run,
        {
            "step": of.step.title,
            "fastener": reading.fastener,
            "reading": reading.order,
            "kind": kind,
            "source": row.source,
            "reason": reason,
        },
    )
    return row


def _check_disposition(by: By, of: StepState, one, kind: str, source: str) -> None:
    if kind not in DispositionKind.values:
        raise ValidationError({"kind": "Choose what is done with this fastener."})
    above = one.verdict == ReadingVerdict.ABOVE
    if kind not in AGAIN:
        require(by.person, May.DISPOSITION)
        if one.disposition is not None:
            raise ValidationError(
                {"kind": f"This was decided already: {one.disposition}, {one.disposition.made_by}."}
            )
    if not one.counts and kind not in AGAIN:
        raise ValidationError(
            {"kind": "This reading does not count: do it again with a tool that is in order."}
        )
    if above and of.by_sight_only and kind != DispositionKind.REPLACED:
        raise ValidationError(
            {
                "kind": "This bolt is tightened by angle or to yield: one that went above its limit "
                "is replaced."
            }
        )
    if kind == DispositionKind.ACCEPTED:
        if not above:
            raise ValidationError({"kind": "Only a reading above its limit can be accepted so."})
        if not source.strip():
            raise ValidationError({"source": "Name the maker's source that allows it."})
    if kind == DispositionKind.ACCEPTED_UNPROVEN and one.verdict != ReadingVerdict.NOT_PROVEN:
        raise ValidationError({"kind": "Only a reading that is not proven by its tool can be accepted so."})


def _note(record, run: Run, facts: dict) -> None:
    say(record, vehicle=run.job.vehicle_id, job=run.job, facts={"run": str(run), **facts})
