"""The current asleep put right: it stands for good, so the test goes on as another one with the right reading."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError

from vehicles.acts.drain import begin_drain_test, end_drain_test, pull_fuse, read_asleep
from vehicles.drain import standing
from vehicles.models import DrainTest
from workshop.acting import By, act
from workshop.engineering.quantities import number
from workshop.engineering.units import Amount, show
from workshop.permissions import May


@act(May.DIAGNOSE)
def put_asleep_right(
    *, by: By, test: DrainTest, reading: Amount, asleep_after: int, locked_at: datetime | None = None
) -> DrainTest:
    """End the test as mistyped and go on in another one: same limit, fault and job, the fuses that count taken over.

    Answers the new test. Nothing is written on the fault. The first test stays readable with what was typed.
    """
    current = (
        DrainTest.objects.select_for_update(no_key=True, of=("self",))
        .select_related("vehicle", "fault", "job")
        .get(pk=test.pk)
    )
    if current.baseline is None:
        raise ValidationError("The current asleep was not read yet: there is nothing to put right.")
    if (
        reading.dimension == "current"
        and reading.base() == current.baseline_base
        and (asleep_after == current.asleep_after)
    ):
        raise ValidationError({"reading": f"{show(reading)} is on record already."})
    steps = standing(list(current.steps.all()))
    end_drain_test(
        by=by,
        test=test,
        conclusion=f"The current asleep was put right: {show(current.amount)} had been typed for {show(reading)}. "
        "The test goes on as another one.",
        on_fault=False,
    )
    again = begin_drain_test(
        by=by,
        vehicle=current.vehicle,
        limit=current.limit_amount,
        limit_source=current.limit_source,
        limit_words=current.limit_words,
        capacity=None if current.capacity_ah is None else number(current.capacity_ah, "Ah"),
        fault=current.fault,
        job=current.job,
        goes_on_from=current,
    )
    read_asleep(
        by=by, test=again, reading=reading, asleep_after=asleep_after, locked_at=locked_at, since=current
    )
    for step in steps:
        pull_fuse(
            by=by,
            test=again,
            circuit=step.circuit,
            reading=step.amount,
            came=step.came,
            after=step.after_amount,
            remark=step.remark,
            measured_again=True,
        )
    return again
