"""A torque tool turned out wrong: what it tightened since its last good calibration, and a re-check on
each car.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from django.db.models import Count, Max, Min, QuerySet
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import Run, TorqueReading
from workshop.acting import By
from workshop.models import TorqueTool
from workshop.tools_hooks import list_runs_with, on_tool_failed

# By when the joints are checked again: common practice, no source.
WITHIN = timedelta(days=7)


def register() -> None:
    on_tool_failed(raise_rechecks)
    list_runs_with(listed)


def runs_in_doubt(tool: TorqueTool, since: date | None, until: datetime | None = None) -> QuerySet[Run]:
    """Runs with readings of this tool that counted, from that day on, with their first and last time: one
    query.
    """
    readings = TorqueReading.objects.filter(tool=tool, counts_not_because="")
    if since is not None:
        readings = readings.filter(made_at__gte=timezone.make_aware(datetime.combine(since, time.min)))
    if until is not None:
        readings = readings.filter(made_at__lte=until)
    return (
        Run.objects.filter(readings__in=readings)
        .annotate(
            doubted=Count("readings"),
            first_at=Min("readings__made_at"),
            last_at=Max("readings__made_at"),
        )
        .select_related("job__vehicle", "version_used__procedure")
        .order_by("-last_at")
    )


def listed(tool: TorqueTool, since: date | None, until: datetime) -> list[Run]:
    """For the tool's page: each run with `meta`, what it says in the second line. One query."""
    rows = list(runs_in_doubt(tool, since, until))
    for run in rows:
        when = date_format(timezone.localtime(run.last_at), "j M Y")
        run.meta = f"{run.job.number} · {run.job.vehicle} · {run.doubted} readings, last on {when}"
    return rows


def raise_rechecks(by: By, tool: TorqueTool, since: date | None) -> None:
    """One item on each car, whatever the number of its runs; none where one for this tool is open already."""
    from vehicles.acts.outstanding import raise_item

    title = f"Check again what torque tool {tool.label} tightened"[:160]
    by_car: dict = {}
    for run in runs_in_doubt(tool, since):
        by_car.setdefault(run.job.vehicle_id, []).append(run)
    for runs in by_car.values():
        car = runs[0].job.vehicle
        if car.outstanding_items.open().filter(title=title).exists():
            continue
        listed = "\n".join(f"{run.job.number}: {run}, {date_format(run.last_at, 'j M Y')}" for run in runs)
        raise_item(
            by=by,
            vehicle=car,
            title=title,
            detail=f"{tool} turned out to be unreliable. With a tool that is in order, check:\n{listed}",
            severity="major",
            reason="recheck",
            raised_by_run=runs[0],
            due_on=by.day + WITHIN,
        )
