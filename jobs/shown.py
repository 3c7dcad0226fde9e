"""Work lines as the pages show them: everything of a line in a fixed number of queries, whatever it holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import Prefetch, QuerySet
from django.utils.http import urlencode

from jobs import authority
from jobs.line_step import Step, next_on
from jobs.models import (
    Job,
    LabourClock,
    LabourEntry,
    LineAnswer,
    Measurement,
    PartChange,
    PartUsed,
    Run,
    WorkLine,
)
from jobs.models.measurement import Phase
from jobs.models.part import ChangeKind
from jobs.models.work import LineAnswerKind, LineKind, time_words
from jobs.picture import JobPicture, picture_of
from jobs.run_state import RunState
from jobs.runs import states_of
from vehicles.models import Calculation, Fault, OutstandingItem, Severity
from workshop.engineering.numbers import plain
from workshop.models import Shop


@dataclass(frozen=True)
class Shown:
    """One line with what was prefetched for it, and what follows from that. Its properties make no query."""

    line: WorkLine
    currency: str
    diagnosis: Decimal
    runs: list[RunState] = field(default_factory=list)
    photos: list = field(default_factory=list)

    @property
    def authority(self) -> str:
        return authority.words(self.line, self.currency, self.diagnosis)

    @property
    def asks(self) -> str:
        """What the line waits for now: "estimate", "answer" or "tell"; empty when nothing of that kind."""
        line = self.line
        if line.dropped_because or line.job.is_closed:
            return ""
        if line.needs_telling:
            return "tell"
        if line.kind == LineKind.MAKE_SAFE:
            return ""
        if line.above_authority:
            return "answer"
        if line.answer or line.done_at:
            return ""
        if line.kind == LineKind.DIAGNOSIS:
            if line.amount is None and not line.job.limit:
                return "estimate"
            return "answer" if self.diagnosis > line.job.limit else ""
        return "estimate" if line.amount is None else "answer"

    @property
    def next(self) -> Step | None:
        """The one step that is next on it."""
        return next_on(self)

    @property
    def may_work(self) -> bool:
        """Whether work may be written down on it, as far as authority goes."""
        line = self.line
        if not line.is_open or line.job.is_closed or line.job.state == "booked":
            return False
        if line.kind in (LineKind.REPAIR, LineKind.SERVICE) and line.above_authority:
            return False
        if line.kind == LineKind.MAKE_SAFE or line.answer == LineAnswerKind.YES:
            return True
        return line.kind == LineKind.DIAGNOSIS and not line.answer and not self.asks

    @property
    def state(self) -> tuple[str, str]:
        """Code and word of where the line stands."""
        if self.line.done_at:
            return "done", "Done"
        if self.line.dropped_because:
            return "dropped", "Not done"
        if self.line.answer == LineAnswerKind.NO:
            return "declined", "Declined"
        if self.line.answer == LineAnswerKind.LATER:
            return "deferred", "Deferred"
        return "open", "Open"

    @property
    def left_in_danger(self) -> list[Fault]:
        """Faults that stay although they are dangerous or major, because the line was declined or put off."""
        if self.line.answer not in (LineAnswerKind.NO, LineAnswerKind.LATER) or self.line.done_at:
            return []
        grave = (Severity.DANGEROUS, Severity.MAJOR)
        return [fault for fault in self.line.faults.all() if not fault.end and fault.severity in grave]

    @property
    def last_answer(self) -> LineAnswer | None:
        answers = list(self.line.answers.all())
        return answers[-1] if answers else None

    @property
    def minutes(self) -> int:
        return sum(entry.minutes for entry in self.line.labour.all() if not entry.entered_in_error)

    @property
    def time(self) -> str:
        return time_words(self.minutes) if self.minutes else ""

    @property
    def at_it(self) -> list:
        """Keys of those whose clock runs on it."""
        return [clock.person_id for clock in self.line.running]

    @property
    def time_by_person(self) -> str:
        """ "Tamsin Orrell 45 min, Lida Marchbank 30 min", in the order in which they began."""
        found: dict[str, int] = {}
        for entry in self.line.labour.all():
            if not entry.entered_in_error:
                found[str(entry.person)] = found.get(str(entry.person), 0) + entry.minutes
        if len(found) == 1:
            return next(iter(found))
        return ", ".join(f"{name} {time_words(minutes)}" for name, minutes in found.items())

    @property
    def parts_total(self) -> Decimal | None:
        priced = [used.total for used in self.parts_used if used.total is not None]
        return sum(priced, Decimal(0)) if priced else None

    @property
    def parts_used(self) -> list[PartUsed]:
        return [used for used in self.line.parts_used.all() if not used.entered_in_error]

    @property
    def measurements(self) -> list[Measurement]:
        return [row for row in self.line.measurements.all() if not row.entered_in_error]

    @property
    def calculations(self) -> list[Calculation]:
        return [row for row in self.line.calculations.all() if not row.entered_in_error]

    @property
    def all_measurements(self) -> list[Measurement]:
        """Also those entered in error. A reading from before the work has `again`, the query string that fills in the
        form for the one afterwards, as long as there is none.
        """
        rows = list(self.line.measurements.all())
        after = {_measured(row) for row in rows if row.phase == Phase.AFTER and not row.entered_in_error}
        for row in rows:
            wanted = row.phase == Phase.BEFORE and not row.entered_in_error and _measured(row) not in after
            row.again = _again(row) if wanted else ""
        return rows

    @property
    def nowhere(self) -> list[PartChange]:
        """Changes whose old part went nobody knows where yet."""
        return [
            change
            for change in self.line.part_changes.all()
            if change.part_off is not None and not change.part_off.whereabouts
        ]

    @property
    def on_trial(self) -> list[PartChange]:
        return [
            change
            for change in self.line.part_changes.all()
            if change.kind == ChangeKind.ON_TRIAL
            and change.part_on.on_trial
            and not change.part_on.removed_at
        ]


def _measured(row: Measurement) -> tuple[str, str | None, str]:
    return row.what.casefold(), row.place_id, row.position


def _again(row: Measurement) -> str:
    limits = {
        name: plain(value, 4) for name, value in (("low", row.low), ("high", row.high)) if value is not None
    }
    return urlencode(
        {
            "what": row.what,
            "phase": Phase.AFTER.value,
            "unit": row.unit,
            **limits,
            "limit_source": row.limit_source,
            "place": row.place_id or "",
            "position": row.position,
            "instrument": row.instrument,
        }
    )


def with_everything(lines: QuerySet[WorkLine], *, runs: bool = True) -> QuerySet[WorkLine]:
    """The lines with all that a page shows of them: one query and ten prefetches, nine without the runs."""
    parts = PartChange.objects.select_related("part_on__place", "part_off__place", "made_by")
    rows = lines.select_related("technician", "qualified__person", "told_owner").prefetch_related(
        Prefetch("faults", Fault.objects.order_by("order")),
        Prefetch("items", OutstandingItem.objects.order_by("order")),
        Prefetch("answers", LineAnswer.objects.select_related("by", "made_by")),
        Prefetch("clocks", LabourClock.objects.running().select_related("person"), to_attr="running"),
        Prefetch("labour", LabourEntry.objects.select_related("person", "made_by")),
        Prefetch("parts_used", PartUsed.objects.select_related("made_by")),
        Prefetch("part_changes", parts),
        Prefetch("measurements", Measurement.objects.select_related("place", "made_by")),
        Prefetch("calculations", Calculation.objects.select_related("made_by", "device")),
    )
    if runs:
        rows = rows.prefetch_related(Prefetch("runs", Run.objects.select_related("version_used__procedure")))
    return rows


def lines_of(job: Job) -> list[Shown]:
    """All lines of a job, from the picture that the page took of it."""
    return shown_lines(picture_of(job))


def shown_lines(picture: JobPicture) -> list[Shown]:
    """All lines of a job with how their runs stand. No query beyond those of the picture."""
    by_line: dict = {}
    for run in picture.runs:
        by_line.setdefault(run.line_id, []).append(picture.run_states[run.pk])
    currency, diagnosis = picture.shop.currency, picture.diagnosis
    return [
        Shown(line, currency, diagnosis, by_line.get(line.pk, []), picture.photos_by_line.get(line.pk, []))
        for line in picture.lines
    ]


def shown(job: Job, rows: Iterable[WorkLine]) -> list[Shown]:
    """Some lines of a job with what follows from them. Two queries, and those of their runs' states."""
    currency, diagnosis = Shop.current().currency, authority.diagnosis_total(job)
    for row in rows:
        row.job = job
    states = states_of([run for row in rows for run in row.runs.all()])
    return [Shown(row, currency, diagnosis, [states[run.pk] for run in row.runs.all()]) for row in rows]
