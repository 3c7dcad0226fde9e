"""What is decided about a reading above its limit or not proven: redone, replaced, or accepted by a lead."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from jobs.models import Disposition, TorqueReading
from jobs.models.torque import DispositionKind, ReadingVerdict
from jobs.open_run import lock_run_for, note_on_run, refuse_before, step_of
from jobs.run_state import AGAIN, FastenerState, StepState
from jobs.runs import state_of
from workshop.acting import By, act, create
from workshop.permissions import May, require


@act(May.RUN_PROCEDURE)
def dispose(*, by: By, reading: TorqueReading, kind: str, reason: str, source: str = "") -> Disposition:
    """Decide about a reading: loosened and redone, replaced, or accepted by a lead.

    Redone and replaced open all stages of the fastener again; what was done to it in that step before stops
    counting.
    """
    run = lock_run_for(by, reading.run)
    state = state_of(run)
    of = step_of(state, reading.step)
    one = of.stage(reading.stage).fasteners[reading.fastener]
    if one.reading is None or one.reading.pk != reading.pk:
        raise ValidationError(
            "This reading no longer stands: there is a later one, or it was undone. Look at the run."
        )
    refuse_before(by, one.reading.made_at, "This reading was taken")
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
    note_on_run(
        row,
        run,
        {
            "step": of.step.order,
            "fastener": reading.fastener,
            "reading": reading.order,
            "kind": kind,
        },
        {"step": of.step.title, "source": row.source, "reason": reason},
    )
    return row


def _check_disposition(by: By, of: StepState, one: FastenerState, kind: str, source: str) -> None:
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
