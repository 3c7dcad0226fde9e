"""The floor: the cars in the building by promised time, each with its next step. Reads only."""

from __future__ import annotations

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import FinalCheck, Job, JobState, RoadTest, Run, Tag, ThingOut, WorkLine
from jobs.models.work import LineKind
from vehicles.models import Registration

BOOKED_SHOWN = 40


def in_the_building() -> QuerySet[Job]:
    return with_what_a_row_needs(Job.objects.in_the_building()).order_by(
        F("promised_at").asc(nulls_last=True), "year", "serial"
    )


def booked() -> QuerySet[Job]:
    """The next ones to come, those without a day last."""
    rows = Job.objects.filter(state=JobState.BOOKED)
    return with_what_a_row_needs(rows).order_by(F("booked_for").asc(nulls_last=True), "year", "serial")[
        :BOOKED_SHOWN
    ]


def with_what_a_row_needs(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Three queries for any number of jobs: the jobs with counts, the cars' plates, the cars' open tags."""
    open_lines = WorkLine.objects.filter(job=OuterRef("pk"), done_at=None, dropped_because="")
    undecided = open_lines.filter(answer="", kind__in=[LineKind.REPAIR, LineKind.SERVICE])
    to_do = open_lines.filter(
        Q(answer="yes") | Q(answer="", kind__in=[LineKind.DIAGNOSIS, LineKind.MAKE_SAFE])
    ).order_by("order")
    open_runs = Run.objects.filter(job=OuterRef("pk"), completed_at=None, abandoned_at=None)
    out = ThingOut.objects.filter(job=OuterRef("pk"), back_at=None)
    return (
        jobs.select_related("vehicle", "technician", "lead")
        .prefetch_related(
            Prefetch("vehicle__registrations", Registration.objects.filter(until_on=None)),
            Prefetch("vehicle__tags", Tag.objects.filter(lifted_at=None), to_attr="open_tags"),
        )
        .annotate(
            has_lines=Exists(WorkLine.objects.filter(job=OuterRef("pk"))),
            lines_undecided=_count(undecided),
            next_line=Subquery(to_do.values("complaint")[:1]),
            next_line_order=Subquery(to_do.values("order")[:1]),
            open_run=Subquery(open_runs.order_by("made_at").values("version_used__procedure__title")[:1]),
            road_tested=Exists(RoadTest.objects.filter(job=OuterRef("pk"))),
            finally_checked=Exists(FinalCheck.objects.filter(job=OuterRef("pk"))),
            thing_out=Subquery(out.order_by("made_at").values("what")[:1]),
        )
    )


def _count(rows: QuerySet) -> Coalesce:
    counted = rows.order_by().values("job").annotate(found=Count("pk")).values("found")
    return Coalesce(Subquery(counted), 0)


def next_step(job: Job) -> str:
    """What is to be done next on a job, in words. No query: the job comes from `with_what_a_row_needs`."""
    match job.state:
        case JobState.BOOKED:
            return _next_of_booked(job)
        case JobState.CHECKED_IN | JobState.IN_WORK:
            return _next_of_work(job)
        case JobState.FINAL_CHECKS:
            if job.open_run or job.next_line or job.lines_undecided:
                return _next_of_work(job)
            if not job.road_tested:
                return "Road-test the car, or say why not"
            if job.thing_out:
                return f"Bring back: {job.thing_out}"
            return "Call the car ready" if job.finally_checked else "Make the final check"
        case JobState.READY:
            return "Hand the car over"
    return ""


def _next_of_booked(job: Job) -> str:
    if job.booked_for is None:
        return "Agree on a day"
    if timezone.localdate(job.booked_for) < timezone.localdate():
        return f"Was expected {date_format(timezone.localtime(job.booked_for), 'j M')}: ask, then book anew or cancel"
    return "Check it in"


def _next_of_work(job: Job) -> str:
    if job.open_run:
        return f"Go on with “{job.open_run}”"
    if job.next_line:
        verb = "Start with" if job.state == JobState.CHECKED_IN else "Go on with"
        return f"{verb} line {job.next_line_order}: {job.next_line}"
    if job.lines_undecided:
        lines = "1 line" if job.lines_undecided == 1 else f"{job.lines_undecided} lines"
        return f"Get the owner's answer to {lines}"
    if not job.has_lines:
        return "Look at the car and write the first work line"
    return "Start work" if job.state == JobState.CHECKED_IN else "Go to the final checks"
