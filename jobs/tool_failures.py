"""A torque tool turned out wrong: what it tightened since its last good calibration, and a re-check on
each car.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.db.models import Count, Max, Min, QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import Truncator

from jobs.models import Run, TorqueReading
from vehicles.models import OutstandingItem, Vehicle
from workshop.acting import By
from workshop.models import ToolFailure, TorqueTool
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
    readings = _doubted(tool, since)
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


def _doubted(tool: TorqueTool, since: date | None) -> QuerySet[TorqueReading]:
    """Readings of this tool that counted, done from that day on."""
    readings = TorqueReading.objects.filter(tool=tool, counts_not_because="")
    if since is None:
        return readings
    return readings.filter(made_at__gte=timezone.make_aware(datetime.combine(since, time.min)))


def listed(tool: TorqueTool, since: date | None, until: datetime) -> list[Run]:
    """For the tool's page: each run with `meta`, what it says in the second line. One query."""
    rows = list(runs_in_doubt(tool, since, until))
    for run in rows:
        when = date_format(timezone.localtime(run.last_at), "j M Y")
        run.meta = f"{run.job.number} · {run.job.vehicle} · {run.doubted} readings, last on {when}"
    return rows


def raise_rechecks(by: By, tool: TorqueTool, since: date | None) -> None:
    """One item on each car, whatever the number of its runs. Runs that an open one lists are not raised again."""
    from vehicles.acts.outstanding import raise_item

    by_car: dict = {}
    for run in runs_in_doubt(tool, since):
        by_car.setdefault(run.job.vehicle_id, []).append(run)
    # Each car is locked by its item: always in the same order, or two failures could wait for each other.
    for _, runs in sorted(by_car.items()):
        car = runs[0].job.vehicle
        open_ones = _listed_in_open(tool, car.outstanding_items.open())
        runs = [run for run in runs if run.pk not in open_ones]
        if not runs:
            continue
        names = ", ".join(dict.fromkeys(str(run) for run in runs))
        listed = "\n".join(
            f"{run} (job {run.job.number}, {date_format(timezone.localtime(run.last_at), 'j M Y')})"
            for run in runs
        )
        raise_item(
            by=by,
            vehicle=car,
            title=f"{Truncator(names).chars(110)}: have the tightness checked again",
            detail="Tightened with a tool that later failed its check; have these joints checked again with a tool "
            f"that is in order:\n{listed}\nThe tool: {tool}.",
            severity="major",
            reason="recheck",
            raised_by_run=runs[0],
            due_on=by.day + WITHIN,
        )


def doubted_runs(vehicle: Vehicle) -> set[UUID]:
    """The car's runs with a reading that counted, of a tool that failed afterwards: two queries."""
    tools = TorqueReading.objects.filter(run__job__vehicle=vehicle).values("tool")
    failures: dict[UUID, list[ToolFailure]] = {}
    for failure in ToolFailure.objects.filter(tool__in=tools, readings_doubted=True):
        failures.setdefault(failure.tool_id, []).append(failure)
    if not failures:
        return set()
    readings = TorqueReading.objects.filter(
        run__job__vehicle=vehicle, tool__in=failures, counts_not_because=""
    ).values_list("run", "tool", "made_at")
    return {
        run
        for run, tool, at in readings
        if any(
            at <= failure.made_at and (failure.since is None or timezone.localdate(at) >= failure.since)
            for failure in failures[tool]
        )
    }


def _listed_in_open(tool: TorqueTool, items: QuerySet[OutstandingItem]) -> set[UUID]:
    """Runs that these items list: those in doubt when the failure that raised each was written down."""
    found: set[UUID] = set()
    for item in items:
        # An item and the failure that it is raised for are written by one act: they have its key in common.
        failure = ToolFailure.objects.filter(tool=tool, key=item.key).first()
        if failure is not None:
            doubted = _doubted(tool, failure.since).filter(received_at__lte=item.received_at)
            found.update(doubted.values_list("run", flat=True))
    return found
