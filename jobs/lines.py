"""What the acts on work lines ask: the line as it stands, its job open, the car here, the work authorised, and
that what is given for the line fits it.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from jobs.authority import require_authority, why_competence_refused
from jobs.models import CheckIn, Job, JobState, WorkLine
from jobs.models.work import LineAnswerKind
from jobs.open_job import lock, refuse_before_check_in
from vehicles.models import Fault, FittedPart, OutstandingItem
from vehicles.models.outstanding import OutstandingReason
from workshop.acting import By
from workshop.models import Competence, Person
from workshop.permissions import May, allowed


def lock_job(job: Job) -> Job:
    """The job as it stands on record, locked after its car: what happens on its lines waits for each other."""
    return lock(job)


def lock_line(line: WorkLine) -> WorkLine:
    """The line as it stands on record, locked after its car and its job. The line given is brought up to date too."""
    job = lock_job(line.job)
    WorkLine.objects.select_for_update(no_key=True).filter(pk=line.pk).get()
    line.refresh_from_db()
    line.job = job
    return line


def refuse_closed(job: Job) -> None:
    if job.is_closed:
        raise ValidationError(
            f"Job {job.number} is closed ({job.get_state_display().lower()}): its lines stand as they are. "
            "Book a new job for more work on this car.",
            code="job_closed",
        )


def refuse_not_open(line: WorkLine, by: By) -> None:
    """A dropped line takes nothing; a done one only what was done before and is written down late."""
    if line.dropped_because:
        raise ValidationError("This line was dropped. Reopen it with a reason first.", code="line_dropped")
    if line.done_at and by.made_at > line.done_at:
        raise ValidationError(
            f"This line was done on {date_format(timezone.localtime(line.done_at), 'j F Y H:i')}. Give the earlier "
            "time at which this happened, or reopen the line with a reason.",
            code="line_done",
        )


def checked_in_on(job: Job):
    """The day on which the car came in, in the shop's time zone; refused while it is not here."""
    check_in = CheckIn.objects.filter(job=job).only("made_at").first()
    if check_in is None:
        raise ValidationError(
            f"The car is not checked in on job {job.number}. Check it in before work is written down.",
            code="not_checked_in",
        )
    return timezone.localtime(check_in.made_at).date()


def line_to_work_on(line: WorkLine, by: By) -> WorkLine:
    """The locked line, when work may be done on it: else refused in words. Work on a ready car sends it back."""
    lock_line(line)
    refuse_closed(line.job)
    refuse_not_open(line, by)
    checked_in_on(line.job)
    refuse_before_check_in(by, line.job)
    require_authority(line, by)
    if line.done_at is None:
        send_back_if_ready(line.job, by, f"Work on line {line}")
    return line


def send_back_if_ready(job: Job, by: By, reason: str) -> None:
    """New work on a car that was called ready sends it back to work, so that the gate runs again."""
    if job.state == JobState.READY:
        from jobs.acts.job import send_back_to_work

        send_back_to_work(by=by, job=job, reason=reason)


def refuse_nothing_done(line: WorkLine, by: By) -> None:
    """Something ends by a line only when the line is done, or being done with its correction written."""
    if line.done_at:
        return
    refuse_closed(line.job)
    require_authority(line, by)
    if not line.correction:
        raise ValidationError(
            "Write down the line's correction first: what was done is what ends this.", code="no_correction"
        )


def trials_open(job: Job) -> QuerySet[FittedPart]:
    """Known-good parts that are on the job's car on trial only, whichever job put them there, the oldest first.

    Each is decided by its line (`fitted_by_line`): it stays, or it comes off. One query.
    """
    return (
        FittedPart.objects.filter(vehicle=job.vehicle_id, on_trial=True)
        .fitted_now()
        .select_related("place", "fitted_by_line__job")
        .order_by("fitted_at", "made_at")
    )


class Several(list):
    """Several records as one value of a form: compared as a list, read as their names."""

    def __str__(self) -> str:
        return ", ".join(str(item) for item in self) or "(none)"


def check_technician(technician: Person | None) -> None:
    if technician is not None and not allowed(technician, May.LABOUR):
        raise ValidationError(
            {"technician": f"{technician} does no work on cars here. Choose a technician who may sign in."}
        )


def check_competence(kind: str, qualified: Competence | None, by: By) -> None:
    if qualified is None:
        return
    if not kind:
        raise ValidationError({"competence": "Say which competence the line needs, or take the name away."})
    if why := why_competence_refused(kind, qualified, by):
        raise ValidationError({"qualified": why}, code="not_qualified")


def check_taken_on(job: Job, faults: Iterable[Fault], items: Iterable[OutstandingItem], had) -> None:
    """Of this car only, and still open, unless the line has them already."""
    for name, rows in (("faults", faults), ("items", items)):
        for row in rows:
            if row.vehicle_id != job.vehicle_id:
                raise ValidationError({name: f"{row} belongs to another car. Choose one of this car."})
            if row.end and row not in had:
                raise ValidationError({name: f"{row} has ended. Reopen it or report it anew first."})


def check_let_go(line: WorkLine, before: dict[str, Several], taken: dict[str, Several]) -> None:
    """What this line ended stays on it: the end points at the line."""
    for name, ended_by in (("faults", "fixed_by_line_id"), ("items", "ended_by_line_id")):
        for row in before.get(name, ()):
            if row not in taken[name] and getattr(row, ended_by) == line.pk:
                raise ValidationError({name: f"{row} was ended by this line and stays on it."})


def item_form(line: WorkLine) -> str:
    """Where a line that was declined or put off is put on the car's outstanding list: the form, filled."""
    job = line.job
    reason = OutstandingReason.DECLINED if line.answer == LineAnswerKind.NO else OutstandingReason.DEFERRED
    known = {"title": line.complaint, "reason": reason.value, "raised_in": job.pk, "raised_by_line": line.pk}
    return reverse("vehicles:outstanding-add", args=[job.vehicle_id], query=known)
