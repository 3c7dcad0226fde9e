"""Closing a job: called ready, handed over or collected unfinished. The sheet is issued in the same act."""

from __future__ import annotations

from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs import gate, sheets
from jobs.acts.job import apply_move, lock, renamed_fields
from jobs.acts.sheet import issue, prints, refuse_blocked
from jobs.models import Handover, Job, JobMove, JobState, Run, SheetRevision
from jobs.models.handover import LeftHow, SheetKind
from jobs.states import IN_THE_BUILDING, why_not
from vehicles import people
from vehicles.acts import fault as fault_acts
from vehicles.acts import odometer as odometer_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.models import Fault, Keeper, OutstandingItem, Severity
from vehicles.models.outstanding import Channel, OutstandingReason, TellingAnswer
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
    collected_by: Keeper,
    identified_by: str,
    left_how: str,
    keys_returned: int,
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
) -> SheetRevision:
    """Hand the car over and issue its sheet.

    Without `odometer` the latest reading of this job after its check-in stands. `danger_…`: what was told about
    whatever dangerous leaves with the car and was not told before, and what was answered.
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
    collected_by: Keeper,
    identified_by: str,
    left_how: str,
    keys_returned: int,
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
) -> SheetRevision:
    """The car is collected before it is done. What is open is on the sheet as not done, and stays on the car."""
    fields = {name: value for name, value in locals().items() if name not in ("by", "job")}
    return _leave(by, job, SheetKind.UNFINISHED, **fields)


def _leave(
    by: By,
    job: Job,
    kind: SheetKind,
    *,
    collected_by: Keeper,
    identified_by: str,
    left_how: str,
    keys_returned: int,
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
    unfinished_because: str = "",
) -> SheetRevision:
    locked = lock(job)
    _refuse_state(locked, kind)
    _refuse_people(
        by, locked, collected_by, identified_by, collects_because, keys_returned, keys_note, left_how
    )
    if kind == SheetKind.UNFINISHED and not unfinished_because.strip():
        raise ValidationError({"unfinished_because": "Say why the car leaves before it is done."})
    reading = _odometer(by, locked, odometer, odometer_not_readable, lower_because)

    everything = gate.everything(locked)
    not_waived = {found.key for found in gate.blockers(locked)}
    _refuse_tags(everything, left_how)
    standing = [found for found in everything if found.key in not_waived and found.code != "tag"]
    if kind == SheetKind.UNFINISHED:
        standing = [found for found in standing if not found.may_stay_unfinished]
    refuse_blocked(standing, "The car can't leave yet")

    dangers = _leave_runs(by, locked, everything, left_how)
    if kind == SheetKind.UNFINISHED:
        dangers += _leave_faults(by, locked)
    _tell(by, locked, dangers, collected_by, danger_told, danger_answer, danger_words, danger_witness)
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


def _refuse_people(
    by: By,
    job: Job,
    collected_by: Keeper,
    identified_by: str,
    collects_because: str,
    keys_returned: int,
    keys_note: str,
    left_how: str,
) -> None:
    problems = {}
    if left_how not in LeftHow.values:
        problems["left_how"] = "Say how the car leaves."
    if not identified_by.strip():
        problems["identified_by"] = "Say how this person was known: by sight, by papers shown."
    if not people.people_of(job.vehicle, by.day).filter(pk=collected_by.pk).exists():
        problems["collected_by"] = (
            f"{collected_by} is not on record as one of this car's people. Record that on the car's page first."
        )
    elif (
        not collects_because.strip()
        and not people.collectors_of(job.vehicle, by.day).filter(pk=collected_by.pk).exists()
    ):
        problems["collects_because"] = (
            f"{collected_by} is not on record as one who may collect this car. Say here who sent them and how you "
            "made sure, or record it on the car's page."
        )
    handed_in = job.check_in.keys
    if keys_returned != handed_in and not keys_note.strip():
        problems["keys_note"] = (
            f"Keys handed in: {handed_in}; returned: {keys_returned}. Say where the difference is."
        )
    if problems:
        raise ValidationError(problems)


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


def _refuse_tags(found: Iterable[gate.Blocker], left_how: str) -> None:
    tags = [blocker for blocker in found if blocker.code == "tag"]
    if tags and left_how == LeftHow.DRIVEN:
        raise ValidationError({"left_how": [blocker.text for blocker in tags]}, code="tagged")


def critical_runs(found: Iterable[gate.Blocker]) -> set[str]:
    """Keys of the runs that leave a critical joint unproven, waived or not."""
    return {
        blocker.subject.partition(":")[0]
        for blocker in found
        if blocker.critical and blocker.code in ("run", "run_open")
    }


def _leave_runs(by: By, job: Job, found: Iterable[gate.Blocker], left_how: str) -> list[OutstandingItem]:
    """An unproven critical joint that leaves is a dangerous item, and the car is not driven with it."""
    keys = critical_runs(found)
    runs = list(
        Run.objects.filter(pk__in=keys).select_related("line", "version_used__procedure").order_by("made_at")
    )
    if runs and left_how == LeftHow.DRIVEN:
        names = ", ".join(f"“{run}”" for run in runs)
        raise ValidationError(
            {
                "left_how": f"The tightening {names} is not finished or not proven, on a joint on which safety "
                "depends. The car leaves on a trailer or not at all."
            },
            code="unproven",
        )
    known = OutstandingItem.objects.open().filter(raised_by_run__in=keys, severity=Severity.DANGEROUS)
    have = {item.raised_by_run_id for item in known}
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
        for run in runs
        if run.pk not in have
    ]


def _leave_faults(by: By, job: Job) -> list[OutstandingItem]:
    """Faults without an end go on as outstanding items of the car. Answers the dangerous ones."""
    dangers = []
    for blocker in gate.everything(job):
        if blocker.code != "fault_open":
            continue
        fault = Fault.objects.select_related("place", "vehicle", "job").get(pk=blocker.subject)
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


def _tell(
    by: By,
    job: Job,
    dangers: list[OutstandingItem],
    collected_by: Keeper,
    told: str,
    answer: str,
    words: str,
    witness: Person | None,
) -> None:
    """Whoever collects the car is told of each danger that it leaves with, in this very act, and answers."""
    if not dangers:
        return
    problems = {}
    if not told.strip():
        titles = "; ".join(item.title for item in dangers)
        problems["danger_told"] = (
            f"The car leaves with something dangerous ({titles}). Say what was told about it."
        )
    if not answer or answer == TellingAnswer.NO_ANSWER:
        problems["danger_answer"] = "Say what was answered. The car does not leave before that."
    if answer == TellingAnswer.NOT_SIGNED and witness is None:
        problems["danger_witness"] = "Where somebody declines to sign, name the witness."
    if problems:
        raise ValidationError(problems)
    for item in dangers:
        outstanding_acts.tell(
            by=by,
            item=item,
            told_to=collected_by,
            channel=Channel.IN_PERSON,
            told=told,
            answer=answer,
            answer_words=words,
            witness=witness,
            job=job,
        )
