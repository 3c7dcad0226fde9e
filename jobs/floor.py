"""The floor: the cars in the building by promised time, each with its next step. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from jobs import runs
from jobs.models import (
    Damage,
    FinalCheck,
    Isolation,
    Job,
    JobState,
    LabourClock,
    RoadTest,
    Run,
    Tag,
    ThingOut,
    WorkLine,
)
from jobs.models.work import LineAnswerKind, LineKind
from jobs.picture import JobPicture, picture_of
from jobs.run_state import RunState
from vehicles.models import OutstandingItem, Registration, Severity, Vehicle
from workshop.models import Person

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


def late_words(promised_at: datetime | None, now: datetime) -> str:
    """How long a promise is overdue: "25 min late", "3 h late", "2 days late"; empty while it can be kept."""
    if promised_at is None or promised_at >= now:
        return ""
    minutes = int((now - promised_at).total_seconds() // 60)
    if minutes < 60:
        return f"{minutes or 1} min late"
    if minutes < 24 * 60:
        return f"{minutes // 60} h late"
    days = (timezone.localdate(now) - timezone.localdate(promised_at)).days
    return "1 day late" if days == 1 else f"{days} days late"


def is_work_of(person: Person, job: Job) -> bool:
    """Whether a job is in this person's hands: they have it, lead it, or are named on an open line. No query."""
    hands = (job.technician_id, job.lead_id, *(line.technician_id for line in job.in_hand))
    return person.pk in hands


def with_what_a_row_needs(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Four queries for any number of jobs: the jobs with counts, their open lines' hands, the cars' plates and open
    tags.
    """
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
    in_hand = (
        WorkLine.objects.filter(done_at=None, dropped_because="", technician__isnull=False)
        .only("job", "technician")
        .order_by("order")
    )
    open_runs = _open_runs().filter(job=OuterRef("pk"))
    out = ThingOut.objects.filter(job=OuterRef("pk"), back_at=None)
    return (
        jobs.select_related("vehicle", "technician", "lead")
        .prefetch_related(
            Prefetch("vehicle__registrations", Registration.objects.filter(until_on=None)),
            Prefetch("vehicle__tags", Tag.objects.filter(lifted_at=None), to_attr="open_tags"),
            Prefetch("lines", in_hand, to_attr="in_hand"),
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
            at_work=Subquery(
                LabourClock.objects.running()
                .filter(line__job=OuterRef("pk"))
                .order_by("made_at")
                .values("person__name")[:1]
            ),
            has_damage=Exists(Damage.objects.open().filter(vehicle=OuterRef("vehicle"))),
            has_dangerous=Exists(
                OutstandingItem.objects.open().filter(
                    vehicle=OuterRef("vehicle"), severity=Severity.DANGEROUS
                )
            ),
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
    for key, job in running.items():
        going_on, waiting = _running([run for run in rows if run.job_id == key], found)
        job.check_wanted = not going_on
        job.open_run = (going_on or waiting)[0].version_used.procedure.title


def waits_for_check(state: RunState) -> bool:
    """Nothing is left to tighten before somebody else has checked a step that is tightened."""
    return state.next is None and any(
        step.settled and not step.needs_new and step.check in ("missing", "lapsed") for step in state.steps
    )


def next_step_of(job: Job) -> str:
    """The next step of one job, from the picture that the page took of it."""
    return next_step(seen_in(picture_of(job)))


def seen_in(picture: JobPicture) -> Job:
    """The picture's job with what `next_step` reads: the same as `with_what_a_row_needs` and `look_at_runs` say of
    it, from what is loaded.
    """
    job = picture.job
    lines = [line for line in picture.lines if line.is_open]
    asked_for = [line for line in lines if line.kind in (LineKind.REPAIR, LineKind.SERVICE)]
    undecided = [line for line in asked_for if not line.answer or line.above_authority]
    to_do = [
        line
        for line in lines
        if (
            line.answer == LineAnswerKind.YES
            or (not line.answer and line.kind in (LineKind.DIAGNOSIS, LineKind.MAKE_SAFE))
        )
        and not (line in asked_for and line.above_authority)
    ]
    job.has_lines = bool(picture.lines)
    job.lines_undecided = len(undecided)
    job.lines_unestimated = sum(line.amount is None for line in undecided)
    job.next_line = to_do[0].complaint if to_do else None
    job.next_line_order = to_do[0].order if to_do else None
    # Which line to look at: what may be done, else what waits for an estimate or an answer.
    job.next_line_id = next((line.pk for line in (*to_do, *undecided)), None)
    going_on, waiting = _running(
        [
            run
            for run in picture.runs
            if run.job_id == job.pk and not run.completed_at and not run.abandoned_at
        ],
        picture.run_states,
    )
    job.check_wanted = bool(waiting) and not going_on
    open_run = (going_on or waiting or [None])[0]
    job.open_run = open_run.version_used.procedure.title if open_run else None
    job.open_run_id = open_run.pk if open_run else None
    job.road_tested = bool(picture.road_tests)
    job.finally_checked = bool(picture.final_checks)
    out = [thing for thing in picture.things_out if thing.job_id == job.pk]
    job.thing_out = out[0].what if out else None
    return job


def next_url(job: Job) -> str:
    """Where on the job page, or beyond it, the next step is taken; empty where it is one of the job's own moves.

    No query: the job comes from `seen_in`.
    """
    me = [job.pk]
    working = job.state in (JobState.CHECKED_IN, JobState.IN_WORK)
    at_the_end = job.state == JobState.FINAL_CHECKS
    if working or at_the_end:
        if job.open_run_id:
            return reverse("jobs:run", args=[job.open_run_id])
        if job.next_line_id:
            return f"#line-{job.next_line_id}"
        if working and not job.has_lines:
            return reverse("jobs:line-add", args=me)
    if at_the_end:
        if not job.road_tested:
            return reverse("jobs:road-test", args=me)
        if job.thing_out:
            return "#things"
        if not job.finally_checked:
            return reverse("jobs:final-check", args=me)
    if job.state == JobState.BOOKED and job.booked_for is None:
        return reverse("jobs:job-plan", args=me)
    return ""


def _running(rows: Iterable[Run], states: dict) -> tuple[list[Run], list[Run]]:
    """Open runs on which there is something to tighten, and those that wait for their second check only."""
    going_on: list[Run] = []
    waiting: list[Run] = []
    for run in rows:
        (waiting if waits_for_check(states[run.pk]) else going_on).append(run)
    return going_on, waiting


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
