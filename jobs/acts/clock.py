"""Start work, stop work: the clock of a line, which becomes labour when it is stopped."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs.acts.labour import write_labour
from jobs.lines import line_to_work_on
from jobs.models import LabourClock, WorkLine
from jobs.models.work import time_words
from jobs.open_job import lock_car
from vehicles.models import Vehicle
from workshop.acting import By, act, create, note, save_changes
from workshop.models import Person
from workshop.permissions import May

# Longer than any shift: then the clock was forgotten, and it is asked when work ended (common practice, no source).
LONGEST = timedelta(hours=12)


@act(May.LABOUR)
def start_clock(*, by: By, line: WorkLine) -> LabourClock:
    """Begin work on a line. The person's clock on another line stops at the same moment and becomes labour there."""
    _lock_cars(line, by.person)
    line_to_work_on(line, by)
    Person.objects.select_for_update(no_key=True).get(pk=by.person.pk)
    if (running := _running_of(by.person)) is not None:
        if running.line_id == line.pk:
            raise ValidationError(
                f"Your clock runs on this line since {_moment(running.made_at)}.", code="runs_already"
            )
        try:
            _stop(by, running)
        except ValidationError as refusal:
            raise ValidationError(
                f"Your clock still runs on line {running.line} (“{running.line.complaint}”) and can't be stopped just "
                f"like that. {' '.join(refusal.messages)} Stop it there first.",
                code="other_clock",
            ) from refusal
    row = create(LabourClock(**by.stamp(), line=line, person=by.person))
    note(row, vehicle=line.job.vehicle_id, job=line.job, facts={"line": line, "person": by.person})
    return row


@act(May.LABOUR)
def stop_clock(*, by: By, clock: LabourClock, not_counted_because: str = "") -> LabourClock:
    """End work: the time since the start becomes labour, day by day. `by.made_at` is when it ended.

    With a reason nothing is counted: for a clock that was forgotten, or whose line takes no labour any more.
    """
    lock_car(clock.line.job.vehicle_id)
    return _stop(by, clock, not_counted_because.strip())


def stop_clocks_on(by: By, line: WorkLine) -> None:
    """Inside the act that finishes a line: nobody works on it any more. One that was forgotten is left to be asked
    about.
    """
    for clock in LabourClock.objects.running().filter(line=line).select_related("person"):
        if timedelta(0) <= by.made_at - clock.made_at <= LONGEST:
            _stop(by, clock)


def _stop(by: By, clock: LabourClock, not_counted_because: str = "") -> LabourClock:
    clock = (
        LabourClock.objects.select_for_update(no_key=True, of=("self",))
        .select_related("line__job__vehicle", "person")
        .get(pk=clock.pk)
    )
    if clock.stopped_at is not None:
        raise ValidationError(
            f"This clock was stopped on {_moment(clock.stopped_at)}.", code="stopped_already"
        )
    lasted = by.made_at - clock.made_at
    if lasted < timedelta(0):
        raise ValidationError(
            {"made_at": f"Work began on {_moment(clock.made_at)}. Give that time or a later one."}
        )
    minutes = 0
    if not not_counted_because:
        if lasted > LONGEST:
            raise ValidationError(
                {
                    "made_at": f"The clock has run for {time_words(int(lasted.total_seconds() // 60))}, since "
                    f"{_moment(clock.made_at)}. Give the time at which work ended, or say why it is not counted."
                },
                code="forgotten",
            )
        for start, end in _days(clock.made_at, by.made_at):
            found = int((end - start).total_seconds() // 60)
            if found < 1:
                continue
            write_labour(
                by=by,
                line=clock.line,
                person=clock.person,
                day=timezone.localdate(start),
                minutes=found,
                note=f"{_clock(start)} to {_clock(end)}, by the clock",
            )
            minutes += found
    save_changes(clock, stopped_at=by.made_at, minutes=minutes, not_counted_because=not_counted_because)
    note(
        clock,
        vehicle=clock.line.job.vehicle_id,
        job=clock.line.job,
        facts={"line": clock.line, "person": clock.person, "minutes": minutes},
        words={"not_counted_because": not_counted_because},
    )
    return clock


def _lock_cars(line: WorkLine, person: Person) -> None:
    """The car of the line, and the one on which the person's clock runs: always in the same order, so that two
    people who change places do not wait for each other.
    """
    cars = {line.job.vehicle_id}
    if (running := _running_of(person)) is not None:
        cars.add(running.line.job.vehicle_id)
    list(Vehicle.objects.select_for_update(no_key=True).filter(pk__in=cars).order_by("pk"))


def _running_of(person: Person) -> LabourClock | None:
    return LabourClock.objects.running().filter(person=person).select_related("line__job", "person").first()


def _days(start: datetime, end: datetime) -> Iterator[tuple[datetime, datetime]]:
    """The time between two moments, cut at each midnight of the shop: labour is written down by the day."""
    while (day := timezone.localdate(start)) < timezone.localdate(end):
        midnight = timezone.make_aware(datetime.combine(day + timedelta(days=1), time()))
        yield start, midnight
        start = midnight
    yield start, end


def _moment(at: datetime) -> str:
    return date_format(timezone.localtime(at), "j M Y H:i")


def _clock(at: datetime) -> str:
    return date_format(timezone.localtime(at), "H:i")
