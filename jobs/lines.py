"""What every act on a work line asks first: the line as it stands, its job open, the car here, the work authorised."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs.authority import require_authority
from jobs.models import CheckIn, Job, JobState, WorkLine
from workshop.acting import By


def lock_job(job: Job) -> Job:
    """The job's row, locked and as it stands on record: what happens on its lines waits for each other."""
    return Job.objects.select_for_update().get(pk=job.pk)


def lock_line(line: WorkLine) -> WorkLine:
    """The line and its job, locked and as they stand on record. The line given is brought up to date too."""
    job = lock_job(line.job)
    WorkLine.objects.select_for_update().filter(pk=line.pk).get()
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
    require_authority(line, by)
    if line.done_at is None:
        send_back_if_ready(line.job, by, f"Work on line {line}")
    return line


def send_back_if_ready(job: Job, by: By, reason: str) -> None:
    """New work on a car that was called ready sends it back to work, so that the gate runs again."""
    if job.state == JobState.READY:
        from jobs.acts.job import send_back_to_work

        send_back_to_work(by=by, job=job, reason=reason)
