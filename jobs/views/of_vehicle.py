"""What jobs show on a car's pages besides their panel: the next step, the last visits, every sheet ever issued."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path

from jobs import (
    floor,
    timeline,  # noqa: F401  its sources hang themselves into the history
)
from jobs.models import Job, SheetRevision, WorkLine
from jobs.states import JobState
from vehicles.models import Vehicle
from vehicles.panels import Gathered, Glance, Need, add_glance, add_needs
from workshop.pages import may
from workshop.permissions import May

VISITS = 3
OVER = (JobState.HANDED_OVER, JobState.COLLECTED_UNFINISHED)


def needs(request: HttpRequest, car: Vehicle, gathered: Gathered) -> list[Need]:
    """Each open job with its next step: three queries at most, eleven more where a run is open."""
    rows = list(
        floor.with_what_a_row_needs(Job.objects.open().filter(vehicle=car)).order_by("year", "serial")
    )
    floor.look_at_runs(rows)
    found = []
    for job in rows:
        here = JobState(job.state).in_the_building
        waits = f"waits for {job.get_waiting_for_display().lower()}" if job.waiting_for else ""
        has_it = f"{job.technician} has it" if job.technician_id else "nobody has it yet"
        who = has_it if here else ""
        found.append(
            Need(
                0 if here else 30,
                floor.next_step(job),
                job.get_absolute_url(),
                " · ".join(filter(None, (f"Job {job.number} {job.title}", who, waits))),
                state=job.get_state_display(),
                hand=here and not job.waiting_for,
            )
        )
    return found


def last_visits(request: HttpRequest, car: Vehicle, gathered: Gathered) -> dict:
    """The latest jobs that are over, with what was done and the sheet: three queries for any number."""
    done = WorkLine.objects.filter(done_at__isnull=False).order_by("order")
    sheets = (
        SheetRevision.objects.order_by("-revision")
        .select_related("text")
        .defer("technical", "text__pdf", "text__personal")
    )
    found = list(
        Job.objects.filter(vehicle=car, state__in=OVER)
        .select_related("handover")
        .prefetch_related(
            Prefetch("lines", done, to_attr="lines_done"), Prefetch("sheets", sheets, to_attr="issued")
        )
        .order_by("-year", "-serial")[:VISITS]
    )
    return {"visits": found, "total": gathered.get("jobs", {}).get("total", 0)}


@may(May.SEE_SHOP)
def vehicle_sheets(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Every sheet that was ever issued for the car, every revision, to be printed again byte for byte."""
    car = get_object_or_404(Vehicle.objects.visible_to(request.user), pk=vehicle_id)
    rows = (
        SheetRevision.objects.filter(job__vehicle=car)
        .select_related("job", "made_by", "text")
        .defer("technical", "text__pdf", "text__personal")
        .order_by("-job__year", "-job__serial", "-revision")
    )
    jobs: dict[UUID, dict] = {}
    for row in rows:
        jobs.setdefault(row.job_id, {"job": row.job, "revisions": []})["revisions"].append(row)
    return render(request, "jobs/vehicle_sheets.html", {"vehicle": car, "jobs": list(jobs.values())})


add_needs("jobs", needs)
add_glance(Glance(20, "visits", "Last visits", "jobs/_glance_visits.html", last_visits))

urlpatterns = [path("vehicles/<uuid:vehicle_id>/sheets/", vehicle_sheets, name="vehicle-sheets")]
