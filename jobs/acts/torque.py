"""Runs of a procedure: how they start and end, new fasteners, readings and their verdicts."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils.formats import date_format

from jobs.acts.tag import lift_tag, set_tag
from jobs.lines import line_to_work_on
from jobs.models import (
    NewFasteners,
    Procedure,
    ProcedureStage,
    ProcedureStep,
    ProcedureVersion,
    Run,
    TorqueReading,
    WorkLine,
)
from jobs.models.procedure import Area, Reuse
from jobs.models.torque import ReadingKind, ReadingVerdict
from jobs.open_run import lock_open_run, lock_run_for, lock_tool, note_on_run, refuse_before, step_of
from jobs.reading_rules import Entry, refuse_put_right_already
from jobs.run_state import AGAIN, RunState
from jobs.run_words import reading_words, verdict_sentence
from jobs.runs import state_of
from jobs.through import through_of
from vehicles.acts import outstanding
from vehicles.models import OutstandingItem
from vehicles.models.outstanding import OutstandingReason
from workshop.acting import By, act, create, note, save_changes
from workshop.engineering.units import Amount
from workshop.engineering.verdict import DecisionRule
from workshop.models import Competence, CompetenceKind, Shop, TorqueTool
from workshop.permissions import May

RECHECK = "Check again: "
NOWHERE = "place not given"
MOST_TITLE = OutstandingItem._meta.get_field("title").max_length

_BAD = (ReadingVerdict.BELOW, ReadingVerdict.ABOVE)


# Starting and ending ----------------------------------------------------------------------------------------


@act(May.RUN_PROCEDURE)
def start_run(
    *, by: By, line: WorkLine, procedure: Procedure, where: str = "", applies_confirmed: bool = False
) -> Run:
    """Start the released version on the car. On wheels, brakes, steering, suspension and fuel it tags the
    car.

    `applies_confirmed`: the values are for this car, though the procedure names others.
    """
    line = line_to_work_on(line, by)
    refuse_before(by, line.made_at, "The line was written")
    if procedure.withdrawn_because:
        raise ValidationError(
            {"procedure": f"{procedure} was withdrawn: {procedure.withdrawn_because}. Choose another."}
        )
    version = procedure.released()
    if version is None:
        raise ValidationError(
            {"procedure": f"{procedure} has no released version: a lead releases its draft first."}
        )
    refuse_before(by, version.released_at, f"{version} was released")
    for_others = not procedure.is_for(line.job.vehicle)
    if for_others and not applies_confirmed:
        raise ValidationError(
            {
                "applies_confirmed": f"{procedure} says that it is for: {procedure.applies_to}. This car is "
                f"{line.job.vehicle}. Compare the values with the maker's for this car; if they are the same, "
                "tick here, else choose another procedure."
            },
            code="for_another_car",
        )
    run = create(
        Run(
            **by.stamp(),
            job=line.job,
            line=line,
            version_used=version,
            where=where.strip(),
            qualified=_qualified(version, line, by),
            applies_confirmed=procedure.applies_to if for_others else "",
        )
    )
    note(
        run,
        vehicle=line.job.vehicle_id,
        job=line.job,
        facts={
            "procedure": str(procedure.pk),
            "version": version.number,
            "line": str(line.pk),
            "confirmed_for_this_car": for_others,
        },
        words={
            "procedure": procedure.title,
            "line": str(line),
            "where": run.where,
            "written_for": run.applies_confirmed,
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
    run = lock_open_run(by, run)
    state = state_of(run)
    _refuse_before_what_was_done(by, state)
    if state.problems:
        raise ValidationError(
            [ValidationError(problem.text, code=problem.code) for problem in state.problems],
            code="not_complete",
        )
    save_changes(run, completed_at=by.made_at)
    note_on_run(run, run, {"completed": True, "verdicts": state.counts_by_verdict})
    for tag in run.tags.filter(lifted_at=None):
        lift_tag(by=by, tag=tag, lifted_because=f"Run complete: {run}"[:200])
    _raise_recheck(by, run, state)
    return run


def _refuse_before_what_was_done(by: By, state: RunState) -> None:
    if state.readings:
        refuse_before(by, max(row.made_at for row in state.readings), "The last reading was taken")
    if checks := [check.made_at for step in state.steps for check in step.checks]:
        refuse_before(by, max(checks), "The second check was made")


def _raise_recheck(by: By, run: Run, state: RunState) -> None:
    """By distance, where the procedure asks for it; for wheels the shop's own distance stands in.

    Several places tightened by one procedure on one job are one re-check: an open one is widened.
    """
    km, whose = state.version.recheck_km, "as the procedure says"
    if km is None and state.version.procedure.area == Area.WHEELS:
        km, whose = Decimal(Shop.current().recheck_km), "the shop's own distance, none is given by the maker"
    if km is None:
        return
    if (item := _open_recheck(run, state.version)) is not None:
        title = _title_with(item, run)
        if len(title) <= MOST_TITLE:
            if title != item.title:
                outstanding.widen(by=by, item=item, title=title)
            return
    outstanding.raise_item(
        by=by,
        vehicle=run.job.vehicle,
        title=f"{RECHECK}{run}"[:MOST_TITLE],
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


def _open_recheck(run: Run, version: ProcedureVersion) -> OutstandingItem | None:
    """The re-check that an earlier run of this procedure raised in this job, with the same distance and note."""
    asked_by = "raised_by_run__version_used__"
    return (
        OutstandingItem.objects.open()
        .filter(raised_in=run.job, reason=OutstandingReason.RECHECK, title__startswith=RECHECK)
        .filter(
            **{
                f"{asked_by}procedure": version.procedure_id,
                f"{asked_by}recheck_km": version.recheck_km,
                f"{asked_by}recheck_note": version.recheck_note,
            }
        )
        .select_related("raised_by_run")
        .order_by("order")
        .last()
    )


def _title_with(item: OutstandingItem, run: Run) -> str:
    """The title that names this run's place too: "Check again: Wheel nuts (rear left, rear right)"."""
    before = f"{RECHECK}{run.version_used.procedure.title} ("
    if item.title.startswith(before):
        standing = item.title.removeprefix(before).removesuffix(")")
    else:
        standing = item.raised_by_run.where or NOWHERE
    place = run.where or NOWHERE
    if f", {place}, " in f", {standing}, ":
        return item.title
    return f"{before}{standing}, {place})"


@act(May.RUN_PROCEDURE)
def abandon_run(*, by: By, run: Run, abandoned_because: str) -> Run:
    """Stop a run for good, with the reason and how the joint was left. Its tag stays until somebody lifts it by
    hand.
    """
    run = lock_open_run(by, run)
    _refuse_before_what_was_done(by, state_of(run))
    if not abandoned_because.strip():
        raise ValidationError({"abandoned_because": "Say why the run is stopped and how the joint was left."})
    save_changes(run, abandoned_at=by.made_at, abandoned_because=abandoned_because.strip())
    note_on_run(run, run, {"stopped": True}, {"abandoned_because": run.abandoned_because})
    return run


# Readings ---------------------------------------------------------------------------------------------------


@act(May.RUN_PROCEDURE)
def say_new_fitted(*, by: By, run: Run, step: ProcedureStep, what: str) -> NewFasteners:
    """Single-use fasteners: say that new ones were fitted, which and where from, before the first stage."""
    run = lock_run_for(by, run)
    state = state_of(run)
    of = step_of(state, step)
    if of.step.reuse != Reuse.NEW:
        raise ValidationError(
            {"step": f"The fasteners of {step.title} may be used again: nothing to say here."}
        )
    for made in state.dispositions:
        if made.kind in AGAIN and made.reading.step_id == step.pk:
            # What was fitted before it was loosened again is no new one any more.
            refuse_before(by, made.made_at, f"Fastener {made.reading.fastener} was loosened or replaced")
    row = create(NewFasteners(**by.stamp(), run=run, step=step, what=what.strip()))
    note_on_run(row, run, {"step": step.order}, {"step": step.title, "what": row.what})
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
    lever_length: Amount | None = None,
    extension_length: Amount | None = None,
    extension_angle: Amount | None = None,
) -> TorqueReading:
    """One fact about one fastener at one stage. The verdict is computed from it; nothing of it is altered
    later.

    Through an extension, `reading` is what the tool was set to or showed; `lever_length`, `extension_length` and
    `extension_angle` say how it got to the fastener, whose torque is worked out and judged.
    """
    lock_tool(tool)
    run = lock_run_for(by, run)
    state = state_of(run)
    through = through_of(lever_length, extension_length, extension_angle)
    entry = Entry(
        by, state, step, stage, kind, reading, tool, angle_by, running_torque, confirmed_odd, through=through
    )
    return _record(entry, fastener, redo_reason, together=False)


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
    lever_length: Amount | None = None,
    extension_length: Amount | None = None,
    extension_angle: Amount | None = None,
) -> TorqueReading:
    """The same answer for several fasteners, entered together: each reading says so. Answers the last one.

    They are taken as done in the order given.
    """
    lock_tool(tool)
    run = lock_run_for(by, run)
    if not fasteners:
        raise ValidationError({"fasteners": "Name the fasteners that were done."})
    if twice := sorted({n for n in fasteners if fasteners.count(n) > 1}):
        raise ValidationError(
            {"fasteners": f"Named twice: {', '.join(map(str, twice))}. Name each fastener once."}
        )
    through = through_of(lever_length, extension_length, extension_angle)
    row = None
    for fastener in fasteners:
        # Each one is judged on what stands before it: the order within the round is part of the record.
        entry = Entry(
            by,
            state_of(run),
            step,
            stage,
            kind,
            reading,
            tool,
            angle_by,
            running_torque,
            confirmed_odd,
            through=through,
        )
        row = _record(entry, fastener, redo_reason, together=True, field="fasteners")
    return row


def _record(
    entry: Entry, fastener: int, redo_reason: str, *, together: bool, field: str = "fastener"
) -> TorqueReading:
    return _write(entry.by, entry, entry.judged(fastener, redo_reason, together=together, field=field))


@act(May.RUN_PROCEDURE)
def correct_reading(
    *,
    by: By,
    corrected: TorqueReading,
    fastener: int,
    kind: str,
    redo_reason: str,
    reading: Amount | None = None,
    tool: TorqueTool | None = None,
    angle_by: str = "",
    running_torque: Amount | None = None,
    confirmed_odd: bool = False,
    lever_length: Amount | None = None,
    extension_length: Amount | None = None,
    extension_angle: Amount | None = None,
) -> TorqueReading:
    """Put right what was written down wrong: another reading that stands in place of this one, with the reason.

    Nothing was done to the car, so it stands at the time of the one it puts right and is judged by the tool's
    calibration of that day; both stay. `kind` "not_done" takes it back: the fastener is open again. A second
    check made before lapses, as it was made on other figures.
    """
    lock_tool(tool)
    then = replace(by, made_at=corrected.made_at)
    run = lock_run_for(by, corrected.run, done=corrected.made_at)
    state = state_of(run)
    wrong = next(row for row in state.readings if row.pk == corrected.pk)
    refuse_put_right_already(wrong)
    entry = Entry(
        then,
        state,
        corrected.step,
        corrected.stage,
        kind,
        reading,
        tool,
        angle_by,
        running_torque,
        confirmed_odd,
        through=through_of(lever_length, extension_length, extension_angle),
        correcting=True,
    )
    return _write(by, entry, entry.put_right(wrong, fastener, redo_reason))


def _write(by: By, entry: Entry, row: TorqueReading) -> TorqueReading:
    create(row)
    note_on_run(
        row,
        entry.run,
        {
            "step": entry.step.order,
            "stage": entry.stage.order,
            "fastener": row.fastener,
            **({"corrects": row.corrects.order} if row.corrects else {}),
            "order": row.order,
            "kind": row.kind,
            "reading": entry.reading,
            "running_torque": entry.running,
            **({"through": entry.through.amounts, "at_fastener": row.value} if entry.through else {}),
            "tool": entry.tool.label if entry.tool else "",
            "angle_by": row.angle_by,
            "limits": [row.limit_low, row.limit_high],
            "deviation_percent": row.deviation_percent,
            "rule": DecisionRule(row.rule).value,
            "verdict": row.verdict,
            "counts": not row.counts_not_because,
            "out_of_sequence": row.out_of_sequence,
            "together": row.entered_together,
            "after_the_end": entry.state.ended or entry.run.job.is_closed,
            "competence": str(row.qualified_id or ""),
        },
        {
            "step": entry.step.title,
            "stage": entry.stage.name,
            "counts_not_because": row.counts_not_because,
            "redo_reason": row.redo_reason,
        },
    )
    open_again = row.counts_not_because or row.verdict in _BAD or row.kind == ReadingKind.NOT_DONE
    if entry.run.job.is_closed and open_again:
        _raise_late(by, entry, row)
    return row


def _raise_late(by: By, entry: Entry, row: TorqueReading) -> None:
    """It arrived after the car had left: the car has to come back for it."""
    outstanding.raise_item(
        by=by,
        vehicle=entry.run.job.vehicle,
        title=f"Arrived after the handover: {entry.run}, {entry.step.title}, fastener {row.fastener}"[:160],
        detail=f"{reading_words(row)}: {verdict_sentence(row)} Tell the owner, and check this joint.",
        severity="dangerous" if entry.step.critical else "major",
        reason="recheck",
        raised_in=entry.run.job,
        raised_by_line=entry.run.line,
        raised_by_run=entry.run,
        due_on=by.day,
    )
