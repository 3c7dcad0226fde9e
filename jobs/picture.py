"""One job as it stands, read once: what the gate, the next step and the job page's sections all look at.

Each property is one query the first time it is read and none after that, whatever the job holds. A picture is made,
read and thrown away within one request: an act that changes something makes a new one.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Exists, OuterRef, Q

from jobs import runs
from jobs.lines import trials_open
from jobs.models import (
    FinalCheck,
    Isolation,
    Job,
    JobState,
    PartChange,
    RoadTest,
    Run,
    Tag,
    ThingOut,
    Waiver,
    WorkLine,
)
from jobs.models.work import LineAnswerKind, LineKind
from jobs.run_state import RunState
from vehicles.models import Fault, FittedPart, OdometerReading, OutstandingItem, Severity, Telling
from vehicles.photos import photos_by
from workshop.models import Shop

if TYPE_CHECKING:
    from jobs.gate import Look

OVER = [state for state in JobState if state.closed]
# Called ready, the other job waits for nothing but its handover.
STILL_OPEN = (JobState.CHECKED_IN, JobState.IN_WORK, JobState.FINAL_CHECKS)


class JobPicture:
    """`whole`: the lines come with all that the job page shows of them (nine queries more)."""

    def __init__(self, job: Job, *, whole: bool = False):
        self.job = job
        self.whole = whole

    @property
    def _of_the_car(self) -> Q:
        """Rows of this job, and of every open job of the same car."""
        return Q(job=self.job) | Q(job__vehicle=self.job.vehicle_id) & ~Q(job__state__in=OVER)

    @cached_property
    def shop(self) -> Shop:
        return Shop.current()

    @cached_property
    def lines(self) -> list[WorkLine]:
        """All lines in their order. `followed_up`: something of the car's record goes on where the line ends."""
        this = OuterRef("pk")
        rows = (
            WorkLine.objects.filter(job=self.job)
            .annotate(
                followed_up=Exists(OutstandingItem.objects.filter(raised_by_line=this))
                | Exists(OutstandingItem.objects.filter(lines=this))
                | Exists(Fault.objects.filter(lines=this))
            )
            .order_by("order")
        )
        if self.whole:
            from jobs.shown import with_everything

            rows = with_everything(rows, runs=False)
        found = list(rows)
        for line in found:
            line.job = self.job
        return found

    @property
    def diagnosis(self) -> Decimal:
        """`jobs.authority.diagnosis_total` of these lines. No query once they are read."""
        return sum(
            (
                line.amount or Decimal(0)
                for line in self.lines
                if line.kind == LineKind.DIAGNOSIS
                and not line.dropped_because
                and line.answer != LineAnswerKind.YES
                and (line.done_at or not line.answer)
            ),
            Decimal(0),
        )

    @cached_property
    def part_changes(self) -> list[PartChange]:
        """What the lines did to the car's parts, in the order in which it was done."""
        if self.whole:
            found = [change for line in self.lines for change in line.part_changes.all()]
            return sorted(found, key=lambda change: change.made_at)
        return list(
            PartChange.objects.filter(line__job=self.job)
            .select_related("part_off__place")
            .order_by("made_at")
        )

    @cached_property
    def waivers(self) -> list[Waiver]:
        return list(Waiver.objects.filter(job=self.job).select_related("made_by").order_by("made_at"))

    @cached_property
    def other_jobs(self) -> list[Job]:
        """Other jobs of the car on which work may still go on."""
        rows = Job.objects.filter(vehicle=self.job.vehicle_id, state__in=STILL_OPEN).exclude(pk=self.job.pk)
        return list(rows.order_by("year", "serial"))

    @cached_property
    def tags(self) -> list[Tag]:
        """Tags that stand on the car, the oldest first."""
        return list(
            Tag.objects.filter(vehicle=self.job.vehicle_id, lifted_at=None)
            .select_related("run__version_used__procedure", "isolation", "made_by", "job")
            .order_by("made_at")
        )

    @cached_property
    def isolations(self) -> list[Isolation]:
        """Isolations of this job, and those of the car that still stand, whichever job they were made on."""
        standing = Q(re_energised_at=None) & Q(job__vehicle=self.job.vehicle_id)
        return list(
            Isolation.objects.filter(Q(job=self.job) | standing).select_related(
                "isolated_by", "competence", "re_energised_by", "job"
            )
        )

    @property
    def standing_isolations(self) -> list[Isolation]:
        """Of those, what keeps this car here: made on this job, or on one that is still open."""
        return [
            row
            for row in self.isolations
            if row.re_energised_at is None and (row.job_id == self.job.pk or not row.job.is_closed)
        ]

    @cached_property
    def things(self) -> list[ThingOut]:
        """Things noted on this job, and those still out on an open job of the same car."""
        return list(
            ThingOut.objects.filter(Q(job=self.job) | self._of_the_car & Q(back_at=None))
            .select_related("job", "made_by", "back_by")
            .order_by("made_at")
        )

    @property
    def things_out(self) -> list[ThingOut]:
        return [thing for thing in self.things if thing.back_at is None]

    @cached_property
    def faults(self) -> list[Fault]:
        """Faults taken on: reported in this job, or on one of its lines."""
        return list(
            Fault.objects.filter(Q(job=self.job) | Q(lines__job=self.job))
            .select_related("place")
            .distinct()
            .order_by("order")
        )

    @cached_property
    def runs(self) -> list[Run]:
        """Runs of this job, and of every open job of the same car, the oldest first."""
        return list(
            Run.objects.filter(self._of_the_car)
            .select_related("job", "version_used__procedure")
            .order_by("made_at")
        )

    @cached_property
    def run_states(self) -> dict[UUID, RunState]:
        """How those runs stand: nine queries where there is one, none where there is none."""
        return runs.states_of(self.runs)

    @cached_property
    def trials(self) -> list[FittedPart]:
        return list(trials_open(self.job))

    @cached_property
    def items(self) -> list[OutstandingItem]:
        """What is open on the car, most severe first; `told_here`: somebody with a say in it was told in this job."""
        told = Telling.objects.counting(self.job.vehicle_id).filter(job=self.job, item=OuterRef("pk"))
        return list(
            OutstandingItem.objects.open()
            .filter(vehicle=self.job.vehicle_id)
            .annotate(told_here=Exists(told))
            .most_severe_first()
        )

    @property
    def untold(self) -> list[OutstandingItem]:
        """Dangerous, open, and nobody with a say in the car was told of it in this job; the oldest first."""
        found = [item for item in self.items if item.severity == Severity.DANGEROUS and not item.told_here]
        return sorted(found, key=lambda item: item.made_at)

    @cached_property
    def odometer_out(self) -> OdometerReading | None:
        """The latest reading of this job after its check-in."""
        check_in = getattr(self.job, "check_in", None)
        rows = OdometerReading.objects.filter(job=self.job, misread_because="").select_related("instrument")
        if check_in is not None:
            rows = rows.exclude(pk=check_in.odometer_id).filter(read_at__gte=check_in.made_at)
        return rows.order_by("-read_at", "-made_at").first()

    @cached_property
    def road_tests(self) -> list[RoadTest]:
        """The oldest first."""
        return list(
            RoadTest.objects.filter(job=self.job).select_related("driver", "made_by").order_by("made_at")
        )

    @cached_property
    def final_checks(self) -> list[FinalCheck]:
        """The oldest first."""
        return list(FinalCheck.objects.filter(job=self.job).select_related("made_by").order_by("made_at"))

    @cached_property
    def photos_by_line(self) -> dict[UUID, list]:
        return photos_by(self.job.vehicle_id, "line_id", line__job=self.job)

    @cached_property
    def gate(self) -> Look:
        """The gate's answer: only what is not read yet is asked for."""
        from jobs import gate

        return gate.look(self.job, self)

    @property
    def latest_work(self) -> datetime | None:
        """When something was last done to the car: what came after a check was not looked over by it.

        Readings and changes of parts count from when they arrived, as they may be written down under an earlier time.
        """
        moments = [line.done_at for line in self.lines]
        moments += [change.received_at for change in self.part_changes]
        moments += [
            reading.received_at
            for run in self.runs
            if run.job_id == self.job.pk
            for reading in self.run_states[run.pk].readings
        ]
        return max((moment for moment in moments if moment), default=None)


def picture_of(job: Job) -> JobPicture:
    """The picture that the page took of this job; a whole new one where none was taken."""
    return getattr(job, "picture", None) or JobPicture(job, whole=True)
