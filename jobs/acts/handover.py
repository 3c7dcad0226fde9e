"""Closing a job: called ready, handed over or collected unfinished. The sheet is issued in the same act.

What keeps a car from leaving is gathered and refused together: whoever stands at the desk with its owner mends all
of it at once, and not one thing after another.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs import gate, leaving, sheets
from jobs.acts.job import apply_move, lock, renamed_fields
from jobs.acts.sheet import issue, prints, refuse_blocked
from jobs.models import Handover, Job, JobMove, JobState, SheetRevision
from jobs.models.handover import SheetKind
from jobs.signing import Signature
from jobs.states import IN_THE_BUILDING, why_not
from vehicles.acts import fault as fault_acts
from vehicles.acts import odometer as odometer_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.models import Fault, Keeper, OutstandingItem, Severity
from vehicles.models.outstanding import Channel, OutstandingReason
from workshop.acting import By, act, create, note
from workshop.engineering.units import Amount
from workshop.models import Person
from workshop.permissions import May


@act(May.CALL_READY)
def call_ready(*, by: By, job: Job) -> JobMove:
    """Call the car ready, through the gate. The odometer on leaving is read at handover."""
    locked = lock(job)
    if locked.state != JobState.FINAL_CHECKS:
        raise ValidationError(why_not(locked.state, JobState.READY))
    refuse_blocked(
        [found for found in gate.blockers(locked) if found.code not in gate.AT_HANDOVER],
        "The car can't be called ready",
    )
    row = apply_move(by, locked, JobState.READY)
    job.refresh_from_db()
    return row


@prints
@act(May.HAND_OVER)
def hand_over(
    *,
    by: By,
    job: Job,
    collected_by: Keeper | None,
    identified_by: str,
    left_how: str,
    keys_returned: int | None,
    told: str = "",
    odometer: Amount | None = None,
    odometer_not_readable: str = "",
    lower_because: str = "",
    collects_because: str = "",
    keys_note: str = "",
    danger_told: str = "",
    danger_answer: str = "",
    danger_words: str = "",
    danger_witness: Person | None = None,
    lead_signs: str = "",
    lead_ink: str = "",
    collector_signs: str = "",
    collector_ink: str = "",
    collector_witness: Person | None = None,
    shown: tuple[str, str] | None = None,
) -> SheetRevision:
    """Hand the car over and issue its sheet.

    Without `odometer` the latest reading of this job after its check-in stands. `danger_…`: what was told about
    whatever dangerous leaves with the car and was not told before, and what was answered.

    `lead_signs` and `collector_signs` (a `SignatureMethod`, empty: on paper afterwards) are given against `shown`:
    the hashes of both parts of the sheet as `hand_over.rehearse` with this very `by.made_at` showed them.
    """
    fields = {name: value for name, value in locals().items() if name not in ("by", "job")}
    return _leave(by, job, SheetKind.HANDOVER, **fields)


@prints
@act(May.HAND_OVER)
def collect_unfinished(
    *,
    by: By,
    job: Job,
    unfinished_because: str,
    collected_by: Keeper | None,
    identified_by: str,
    left_how: str,
    keys_returned: int | None,
    told: str = "",
    odometer: Amount | None = None,
    odometer_not_readable: str = "",
    lower_because: str = "",
    collects_because: str = "",
    keys_note: str = "",
    danger_told: str = "",
    danger_answer: str = "",
    danger_words: str = "",
    danger_witness: Person | None = None,
    lead_signs: str = "",
    lead_ink: str = "",
    collector_signs: str = "",
    collector_ink: str = "",
    collector_witness: Person | None = None,
    shown: tuple[str, str] | None = None,
) -> SheetRevision:
    """The car is collected before it is done. What is open is on the sheet as not done, and stays on the car."""
    fields = {name: value for name, value in locals().items() if name not in ("by", "job")}
    return _leave(by, job, SheetKind.UNFINISHED, **fields)


def _leave(
    by: By,
    job: Job,
    kind: SheetKind,
    *,
    collected_by: Keeper | None,
    identified_by: str,
    left_how: str,
    keys_returned: int | None,
    told: str,
    odometer: Amount | None,
    odometer_not_readable: str,
    lower_because: str,
    collects_because: str,
    keys_note: str,
    danger_told: str,
    danger_answer: str,
    danger_words: str,
    danger_witness: Person | None,
    lead_signs: str,
    lead_ink: str,
    collector_signs: str,
    collector_ink: str,
    collector_witness: Person | None,
    shown: tuple[str, str] | None,
    unfinished_because: str = "",
) -> SheetRevision:
    locked = lock(job)
    _refuse_state(locked, kind)
    problems = leaving.Problems()
    with problems.gathered():
        leaving.refuse_people(by, locked, collected_by, identified_by, collects_because)
    with problems.gathered():
        leaving.refuse_keys(locked, keys_returned, keys_note)
    if kind == SheetKind.UNFINISHED and not unfinished_because.strip():
        problems.add("unfinished_because", "Say why the car leaves before it is done.")
    reading = None
    with problems.gathered():
        reading = _odometer(by, locked, odometer, odometer_not_readable, lower_because)
    # After the reading, which answers one of the gate's questions itself.
    found = gate.look(locked)
    with problems.gathered():
        leaving.refuse_way(found.everything, left_how)
    with problems.gathered():
        leaving.refuse_standing(gate.blocks_leaving(found.blockers, left_how), kind)
    with problems.gathered():
        leaving.refuse_untold(
            leaving.dangers_leaving(locked, found.everything, kind),
            danger_told,
            danger_answer,
            danger_witness,
        )
    signatures: tuple[Signature, ...] = ()
    with problems.gathered():
        signatures = leaving.signatures_before(
            by, (lead_signs, lead_ink), (collector_signs, collector_ink, collector_witness), shown
        )
    problems.refuse()

    dangers = _leave_runs(by, locked, found.everything)
    if kind == SheetKind.UNFINISHED:
        dangers += _leave_faults(by, locked, found.everything)
    for item in dangers:
        # In this very act, whoever collects the car is told of each danger that it leaves with, and answers.
        outstanding_acts.tell(
            by=by,
            item=item,
            told_to=collected_by,
            channel=Channel.IN_PERSON,
            told=danger_told,
            answer=danger_answer,
            answer_words=danger_words,
            witness=danger_witness,
            job=locked,
        )
    row = create(
        Handover(
            **by.stamp(),
            job=locked,
            collected_by=collected_by,
            identified_by=identified_by.strip(),
            collects_because=collects_because.strip(),
            left_how=left_how,
            keys_returned=keys_returned,
            keys_note=keys_note.strip(),
            odometer=reading,
            told=told.strip(),
            unfinished_because=unfinished_because.strip(),
        )
    )
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={"left_how": left_how, "keys_returned": keys_returned, "kind": kind},
        words={
            "collected_by": collected_by.name,
            "identified_by": row.identified_by,
            "collects_because": row.collects_because,
            "told": row.told,
            "unfinished_because": row.unfinished_because,
        },
    )
    to_state = JobState.HANDED_OVER if kind == SheetKind.HANDOVER else JobState.COLLECTED_UNFINISHED
    apply_move(by, locked, to_state, unfinished_because)
    answer = issue(
        by,
        locked,
        sheets.gather(locked, revision=1, issued_at=by.made_at, kind=kind),
        kind=kind,
        revision=1,
        signatures=signatures,
        shown=shown,
    )
    job.refresh_from_db()
    return answer


def _refuse_state(job: Job, kind: SheetKind) -> None:
    earlier = Handover.objects.filter(job=job).select_related("made_by").first()
    if earlier is not None:
        when = date_format(timezone.localtime(earlier.made_at), "j M Y H:i")
        raise ValidationError(
            f"This car was handed over already, by {earlier.made_by} on {when}. Its sheet is on the job's page.",
            code="handed_over",
        )
    if kind == SheetKind.HANDOVER and job.state != JobState.READY:
        raise ValidationError(
            f"The job is “{job.get_state_display()}”. Call the car ready first; if it is collected before it is "
            "done, use “Collected unfinished”.",
            code="not_ready",
        )
    if kind == SheetKind.UNFINISHED and job.state not in IN_THE_BUILDING:
        raise ValidationError(why_not(job.state, JobState.COLLECTED_UNFINISHED), code="not_here")


def _odometer(by: By, job: Job, amount: Amount | None, not_readable: str, lower_because: str):
    if amount is None and not not_readable.strip():
        if (found := gate.odometer_out(job)) is not None:
            return found
        raise ValidationError(
            {"odometer": "Give the reading on leaving, or say below why the odometer is not readable."}
        )
    with renamed_fields(amount="odometer", value="odometer", not_readable_because="odometer_not_readable"):
        return odometer_acts.record_reading(
            by=by,
            vehicle=job.vehicle,
            amount=amount,
            not_readable_because=not_readable.strip(),
            lower_because=lower_because.strip(),
            job=job,
            read_at=by.made_at,
        )


def _leave_runs(by: By, job: Job, found: Iterable[gate.Blocker]) -> list[OutstandingItem]:
    """An unproven critical joint that leaves is a dangerous item."""
    return [
        outstanding_acts.raise_item(
            by=by,
            vehicle=job.vehicle,
            title=f"Tightening not finished or not proven: {run}"[:160],
            severity=Severity.DANGEROUS,
            reason=OutstandingReason.BEYOND,
            detail="Not to be driven before it is finished and proven by a workshop.",
            raised_in=job,
            raised_by_run=run,
            raised_by_line=run.line,
        )
        for run in leaving.not_known(leaving.runs_of(leaving.critical_runs(found)))
    ]


def _leave_faults(by: By, job: Job, found: Iterable[gate.Blocker]) -> list[OutstandingItem]:
    """Faults without an end go on as outstanding items of the car. Answers the dangerous ones."""
    dangers = []
    for key in leaving.open_faults(found):
        fault = Fault.objects.select_related("place", "vehicle", "job").get(pk=key)
        fault = fault_acts.end_outstanding(
            by=by,
            fault=fault,
            seen_version=fault.version,
            reason=OutstandingReason.BEYOND,
            detail="The car was collected before this was looked into or put right.",
            raised_in=job,
        )
        if fault.severity == Severity.DANGEROUS:
            dangers.append(fault.outstanding_item)
    return dangers
