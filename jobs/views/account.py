"""Visits as a car's owner reads them: what was asked for, what was found and done, the papers. Nothing of former owners."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from uuid import UUID

from django.db.models import Prefetch
from django.http import HttpRequest
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import Handover, Job, Measurement, PartChange, SheetRevision, Tag, WorkLine
from jobs.models.measurement import Phase
from jobs.states import JobState
from jobs.tool_failures import doubted_runs
from vehicles.account import Chapter, Word, add_first_words, add_leaving, add_teller
from vehicles.models import Vehicle
from vehicles.photos import own_photos
from workshop.engineering.units import with_label
from workshop.forms.fields import plain_number

# What a tag means for who wants to use the car.
_TAG_WORDS = {
    "no_start": "Do not start the engine",
    "no_move": "Do not move the car",
    "no_road": "Do not drive it on the road",
}


def visits(request: HttpRequest, car: Vehicle, since: date) -> Iterator[Chapter]:
    """One chapter for each visit: ten queries for any number of them."""
    changes = PartChange.objects.filter(part_on__isnull=False).select_related("part_on")
    measured = Measurement.objects.counting().order_by("made_at")
    lines = WorkLine.objects.order_by("order").prefetch_related(
        Prefetch("part_changes", changes, to_attr="changes"),
        Prefetch("measurements", measured, to_attr="measured"),
        "runs",
    )
    sheets = SheetRevision.objects.order_by("revision").defer("technical")
    jobs = list(
        car.jobs.exclude(state=JobState.CANCELLED)
        .select_related("handover")
        .prefetch_related(
            Prefetch("lines", lines, to_attr="told"),
            Prefetch("sheets", sheets, to_attr="issued"),
            "road_tests",
        )
    )
    photos: dict = {}
    for photo in own_photos(request.user, car, job__isnull=False):
        photos.setdefault(photo.job_id, []).append(photo)
    doubted = doubted_runs(car)
    for job in jobs:
        handover = getattr(job, "handover", None)
        over: datetime = handover.made_at if handover else job.made_at
        # A sheet, each later revision of it, and what was said and agreed are of whoever had the car then.
        theirs = timezone.localdate(job.issued[0].made_at if job.issued else job.made_at) >= since
        yield Chapter(
            over,
            "jobs/_account_visit.html",
            {
                "job": job,
                "over": over,
                "theirs": theirs,
                "words": job_words(job),
                "done": [_told(line, doubted) for line in job.told if line.done_at],
                "left": [line for line in job.told if not line.done_at and line.answer in ("no", "later")]
                if theirs
                else [],
                "going_on": [line for line in job.told if line.is_open and line.answer == "yes"],
                "road_test": next((test for test in job.road_tests.all() if test.driven), None),
                "sheets": job.issued if theirs else [],
                "earlier_sheets": 0 if theirs else len(job.issued),
                "photos": photos.get(job.pk, []),
            },
            first=not job.is_closed,
        )


def _told(line: WorkLine, doubted: set[UUID]) -> dict:
    """A work line that is done, with what was fitted and what was measured before and after."""
    before = {row.what.casefold(): row for row in line.measured if row.phase == Phase.BEFORE}
    pairs = []
    for row in line.measured:
        if row.phase == Phase.AFTER:
            was = before.get(row.what.casefold())
            pairs.append({"what": row.what, "before": _read(was) if was else "", "after": _read(row)})
    return {
        "line": line,
        "parts": [change.part_on.description for change in line.changes if change.kind != "refitted"],
        "measured": pairs,
        "tightened": sum(run.completed_at is not None for run in line.runs.all()),
        "doubted": any(run.pk in doubted for run in line.runs.all()),
    }


def _read(row: Measurement) -> str:
    return with_label(str(plain_number(row.value)), row.unit)


def tags(car: Vehicle) -> Iterator[Word]:
    """One query."""
    seen = set()
    for tag in Tag.objects.filter(vehicle=car, lifted_at=None).order_by("made_at"):
        if tag.kind not in seen:
            seen.add(tag.kind)
            yield Word(_TAG_WORDS[tag.kind], tag.because)


def left(car: Vehicle, since: date) -> str:
    """How the car last left, where that was in the reader's own time: one query."""
    last = Handover.objects.filter(job__vehicle=car).order_by("-made_at").first()
    if last is None or timezone.localdate(last.made_at) < since:
        return ""
    return f"How it left the workshop: {last.get_left_how_display().lower()}, {date_format(timezone.localtime(last.made_at), 'j F Y')}."


def job_words(job: Job) -> str:
    """Where an open job stands, for who is waiting for the car."""
    return {
        JobState.BOOKED: "is booked",
        JobState.CHECKED_IN: "is with us, work has not begun",
        JobState.IN_WORK: "is with us and in work",
        JobState.FINAL_CHECKS: "is with us, the work is done and is being checked",
        JobState.READY: "is ready to be collected",
    }.get(job.state, "")


add_teller("visits", visits)
add_first_words("tags", tags)
add_leaving("handover", left)
