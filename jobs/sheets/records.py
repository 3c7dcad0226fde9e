"""What the sections of a sheet read in common: a job with its lines, faults, runs, outstanding items and tags."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Prefetch, Q

from jobs import runs as run_reads
from jobs.models import Handover, Job, LineAnswer, Run, Tag
from vehicles.models import Fault, FaultEnd, OutstandingItem, Severity


class Records:
    """One reading of a job's records, as of its handover where there was one.

    `faults` leaves out what was entered in error; each run carries how it stands as `state`.
    """

    def __init__(self, job: Job, kind: str):
        self.job = job
        self.kind = kind
        self.handover: Handover | None = getattr(job, "handover", None)
        # As of when: the handover, or now.
        self.moment: datetime | None = self.handover.made_at if self.handover else None
        self.lines = list(
            job.lines.order_by("order")
            .select_related("technician", "qualified__person", "told_owner")
            .prefetch_related(
                "faults", "items", Prefetch("answers", LineAnswer.objects.order_by("answered_at"))
            )
        )
        self.faults = list(
            Fault.objects.filter(Q(job=job) | Q(lines__job=job))
            .exclude(end=FaultEnd.ERROR)
            .distinct()
            .order_by("order")
            .select_related("fixed_by_line__job", "outstanding_item", "same_as", "place", "root_cause")
        )
        self.runs = _runs(job)
        self.items = self._items()
        self.tags = self._tags()

    def fixed_by(self, line) -> list[Fault]:
        return [
            fault
            for fault in self.faults
            if fault.end == FaultEnd.FIXED and fault.fixed_by_line_id == line.pk
        ]

    def behind(self, item: OutstandingItem) -> list[Fault]:
        """Faults of this job that the item took over."""
        return [
            fault
            for fault in self.faults
            if fault.end == FaultEnd.OUTSTANDING and fault.outstanding_item_id == item.pk
        ]

    @property
    def other_faults(self) -> list[Fault]:
        """Faults that neither a line of this job fixed nor an outstanding item of the sheet took over."""
        told = {fault.pk for line in self.lines for fault in self.fixed_by(line)}
        told |= {fault.pk for item in self.items for fault in self.behind(item)}
        return [fault for fault in self.faults if fault.pk not in told]

    def _items(self) -> list[OutstandingItem]:
        rows = OutstandingItem.objects.filter(vehicle=self.job.vehicle_id)
        if self.moment is None:
            rows = rows.filter(end="")
        else:
            # What was open then; and what this job raised afterwards and is open still, such as by a late reading.
            then = Q(made_at__lte=self.moment) & (Q(ended_at=None) | Q(ended_at__gt=self.moment))
            rows = rows.filter(then | Q(raised_in=self.job, end=""))
        return list(
            rows.annotate(rank=Severity.order())
            .order_by("rank", "due_on", "made_at", "order")
            .prefetch_related("tellings__witness")
        )

    def _tags(self) -> list[Tag]:
        rows = Tag.objects.filter(vehicle=self.job.vehicle_id).order_by("made_at", "kind")
        if self.moment is None:
            return list(rows.filter(lifted_at=None))
        return list(
            rows.filter(made_at__lte=self.moment).filter(Q(lifted_at=None) | Q(lifted_at__gt=self.moment))
        )


def _runs(job: Job) -> list[Run]:
    """The job's runs in the order of its lines."""
    rows = list(
        Run.objects.filter(job=job)
        .select_related("line", "version_used__procedure")
        .order_by("line__order", "made_at")
    )
    states = run_reads.states_of(rows)
    for run in rows:
        run.state = states[run.pk]
    return rows
