"""The floor: the cars in the building by promised time, each with its next step. Reads only."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format

from jobs import runs
from jobs.models import FinalCheck, Isolation, Job, JobState, RoadTest, Run, Tag, ThingOut, WorkLine
from jobs.models.work import LineKind
from jobs.run_state import RunState
from vehicles.models import Registration, Vehicle

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
    open_lines = open_lines.annotate(amount_now=Coalesce(F("cost"), F("estimate")))
    asked_for = Q(kind__in=[LineKind.REPAIR, LineKind.SERVICE])
    above = asked_for & Q(answer="yes", amount_now__isnull=False, amount_now__gt=F("authorised_amount"))
    undecided = open_lines.filter(asked_for & Q(answer="") | above)
    to_do = (
        open_lines.filter(Q(answer="yes") | Q(answer="", kind__in=[LineKind.DIAGNOSIS, LineKind.MAKE_SAFE]))
        .exclude(above)
        .order_by("order")
    )
    open_runs = _open_runs().filter(job=OuterRef("pk"))
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
            lines_unestimated=_count(undecided.filter(amount_now=None)),
            next_line=Subquery(to_do.values("complaint")[:1]),
            next_line_order=Subquery(to_do.values("order")[:1]),
            open_run=Subquery(open_runs.order_by("made_at").values("version_used__procedure__title")[:1]),
            road_tested=Exists(RoadTest.objects.filter(job=OuterRef("pk"))),
            finally_checked=Exists(FinalCheck.objects.filter(job=OuterRef("pk"))),
            thing_out=Subquery(out.order_by("made_at").values("what")[:1]),
        )
    )


def tagged_without_a_job() -> QuerySet[Vehicle]:
    """Cars that bear a tag or are isolated while no job of theirs is in the building: they left so, or stand here.

    A tag is seen until it is lifted. One query where there are none, else four.
    """
    tags, isolations = Tag.objects.filter(lifted_at=None), Isolation.objects.filter(re_energised_at=None)
    here = Job.objects.in_the_building().filter(vehicle=OuterRef("pk"))
    return (
        Vehicle.objects.filter(
            Exists(tags.filter(vehicle=OuterRef("pk"))) | Exists(isolations.filter(vehicle=OuterRef("pk")))
        )
        .exclude(Exists(here))
        .prefetch_related(
            Prefetch("registrations", Registration.objects.filter(until_on=None)),
            Prefetch("tags", tags, to_attr="open_tags"),
            Prefetch("isolations", isolations.select_related("isolated_by"), to_attr="open_isolations"),
        )
    )


def _open_runs() -> QuerySet[Run]:
    return Run.objects.filter(completed_at=None, abandoned_at=None)


def look_at_runs(jobs: Iterable[Job]) -> None:
    """Say of each job which open run goes on, and whether all of them wait for their second check only.

    Eleven queries for all jobs together, none where no run is open.
    """
    running = {job.pk: job for job in jobs if job.open_run}
    if not running:
        return
    rows = list(
        _open_runs()
        .filter(job__in=running)
        .select_related("job", "version_used__procedure")
        .order_by("made_at")
    )
    found = runs.states_of(rows)
    by_job: dict = {}
    for run in rows:
        by_job.setdefault(run.job_id, []).append((run, waits_for_check(found[run.pk])))
    for key, pairs in by_job.items():
        going_on = [run for run, waits in pairs if not waits]
        running[key].check_wanted = not going_on
        running[key].open_run = (going_on or [pairs[0][0]])[0].version_used.procedure.title


def waits_for_check(state: RunState) -> bool:
    """Nothing is left to tighten before somebody else has checked a step that is tightened."""
    return state.next is None and any(
        step.settled and not step.needs_new and step.check in ("missing", "lapsed") for step in state.steps
    )


def next_step_of(job: Job) -> str:
    """The next step of one job, from scratch: three queries, and eleven more where a run is open."""
    found = with_what_a_row_needs(Job.objects.filter(pk=job.pk)).get()
    look_at_runs([found])
    return next_step(found)


def _count(rows: QuerySet) -> Coalesce:
    counted = rows.order_by().values("job").annotate(found=Count("pk")).values("found")
    return Coalesce(Subquery(counted), 0)


def next_step(job: Job) -> str:
    """What is to be done next on a job, and by whom where not everybody may, in words.

    No query: the job comes from `with_what_a_row_needs`, and was given to `look_at_runs`.
    """
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
            return "Call the car ready (a lead)" if job.finally_checked else "Make the final check"
        case JobState.READY:
            return "Hand the car over (a lead)"
    return ""


def _next_of_booked(job: Job) -> str:
    if job.booked_for is None:
        return "Agree on a day"
    if timezone.localdate(job.booked_for) < timezone.localdate():
        return f"Was expected {date_format(timezone.localtime(job.booked_for), 'j M')}: ask, then book anew or cancel"
    return "Check it in"


def _lines(count: int) -> str:
    return "1 line" if count == 1 else f"{count} lines"


def _next_of_work(job: Job) -> str:
    if job.open_run and getattr(job, "check_wanted", False):
        return f"Second check wanted: by somebody else (“{job.open_run}”)"
    if job.open_run:
        return f"Go on with “{job.open_run}”"
    if job.next_line:
        verb = "Start with" if job.state == JobState.CHECKED_IN else "Go on with"
        return f"{verb} line {job.next_line_order}: {job.next_line}"
    if job.lines_unestimated:
        return f"Estimate {_lines(job.lines_unestimated)}, then ask the owner"
    if job.lines_undecided:
        return f"Waiting for the owner's answer to {_lines(job.lines_undecided)}: the front desk or a lead records it"
    if not job.has_lines:
        return "Look at the car and write the first work line"
    return "Start work" if job.state == JobState.CHECKED_IN else "Go to the final checks"
