"""Acts on a parasitic drain test: begun, read asleep, one fuse after another, ended with a conclusion."""

from __future__ import annotations

from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.acts.fault import add_step
from vehicles.acts.moments import refuse_before
from vehicles.drain import findings_of, measured_before, standing
from vehicles.drain_rules import minutes_asleep, refuse_false_limit
from vehicles.models import DrainStep, DrainTest, Fault, Vehicle
from vehicles.models.drain import CameBack, LimitSource
from workshop.acting import By, act, create, note, save_changes
from workshop.engineering.drain import Found
from workshop.engineering.quantities import number
from workshop.engineering.units import WORKING_DIGITS, Amount, show
from workshop.permissions import May

_DECIMALS = 4
# More than a meter takes in its lead; what flows beyond that is no drain but a load that was left on.
MOST_A = Decimal(50)
MOST_AH = Decimal(400)


@act(May.DIAGNOSE)
def begin_drain_test(
    *,
    by: By,
    vehicle: Vehicle,
    limit: Amount,
    limit_source: str,
    limit_words: str = "",
    capacity: Amount | None = None,
    fault: Fault | None = None,
    job=None,
    above_sheet: bool = False,
    goes_on_from: DrainTest | None = None,
) -> DrainTest:
    """Begin the test: the meter is in, the car locked now. One test of a car at a time.

    `above_sheet`: a limit far above the data sheet's was looked at again. `goes_on_from`: the test whose current
    asleep is put right by this one; its limit is taken as it stands.
    """
    if fault is not None and fault.vehicle_id != vehicle.pk:
        raise ValidationError({"fault": f"{fault} is a fault of another car. Choose one of this car."})
    if fault is not None and fault.end:
        raise ValidationError({"fault": f"{fault} has ended. Open it again first, or choose no fault."})
    if job is not None and job.vehicle_id != vehicle.pk:
        raise ValidationError({"job": f"Job {job} is on another car. Choose a job of this one."})
    if job is not None and type(job).objects.get(pk=job.pk).is_closed:
        raise ValidationError(
            {"job": f"Job {job} is closed: nothing is added to it. Choose an open one, or none."}
        )
    if capacity is not None and not 1 <= capacity.base() <= MOST_AH:
        raise ValidationError({"capacity": f"Give 1 to {MOST_AH} Ah: {show(capacity)} was typed."})
    if capacity is not None and capacity.base() != round(capacity.base(), 1):
        raise ValidationError({"capacity": "Give at most one decimal."})
    if limit_source not in LimitSource.values:
        raise ValidationError({"limit_source": "Say where the limit comes from."})
    kept_limit = _kept(limit, "limit", "limit", "limit_unit", "limit_base", least=Decimal("0.000001"))
    if goes_on_from is None:
        refuse_false_limit(vehicle, limit, limit_source, limit_words, above_sheet)
    # Two people at once would begin two.
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    if vehicle.drain_tests.filter(ended_at=None).exists():
        raise ValidationError("A drain test of this car is open: go on with that one, or end it first.")
    test = create(
        DrainTest(
            **by.stamp(),
            vehicle=vehicle,
            fault=fault,
            job=job,
            capacity_ah=None if capacity is None else capacity.base(),
            **kept_limit,
            limit_source=limit_source,
            limit_words=limit_words.strip(),
        )
    )
    note(
        test,
        vehicle=vehicle,
        job=job,
        facts={
            "fault": fault.number if fault else "",
            "limit": limit,
            "limit_source": limit_source,
            "above_sheet": above_sheet,
            "capacity": capacity,
            "goes_on_from": str(goes_on_from.pk) if goes_on_from else "",
        },
        words={"limit_words": test.limit_words},
    )
    return test


@act(May.DIAGNOSE)
def read_asleep(
    *,
    by: By,
    test: DrainTest,
    reading: Amount,
    asleep_after: int,
    locked_at: datetime | None = None,
    since: DrainTest | None = None,
) -> DrainTest:
    """The current with every fuse in, once the car sleeps: what all drops are measured from. Read once.

    `asleep_after` in min since it was locked; `locked_at` where that was before the test was begun. `since`: the
    test that this one goes on from, whose beginning and minutes count.
    """
    current = _locked(by, test)
    if current.baseline is not None:
        raise ValidationError(
            f"The current asleep is on record: {show(current.amount)}. Put it right where it stands."
        )
    if since is None or locked_at is not None or asleep_after != since.asleep_after:
        asleep_after = minutes_asleep(since or current, by.made_at, asleep_after, locked_at)
    save_changes(
        test,
        **_kept(reading, "reading", "baseline", "baseline_unit", "baseline_base", least=Decimal("0.000001")),
        asleep_after=asleep_after,
        read_at=by.made_at,
    )
    note(
        test,
        vehicle=test.vehicle_id,
        job=test.job_id,
        facts={"reading": reading, "asleep_after": asleep_after, "locked_at": locked_at},
    )
    return test


@act(May.DIAGNOSE)
def pull_fuse(
    *,
    by: By,
    test: DrainTest,
    circuit: str,
    reading: Amount,
    came: str,
    after: Amount | None = None,
    remark: str = "",
    instead_of: DrainStep | None = None,
    measured_again: bool = False,
) -> DrainStep:
    """One fuse was out: the reading without it, and what came once it was back (or that it stays out).

    `instead_of` puts a step of this test right: this one takes its place. `measured_again`: a fuse that is on record
    was pulled once more, and its new reading counts.
    """
    current = _locked(by, test)
    if current.baseline is None:
        raise ValidationError(
            "Read the current asleep first, with every fuse in: the drops are measured from it."
        )
    if not circuit.strip():
        raise ValidationError({"circuit": "Say which fuse: its number in the box, or what it feeds."})
    if came not in CameBack.values:
        raise ValidationError({"came": "Say what the reading did once the fuse was back."})
    if after is not None and came != CameBack.STAYED_LOW:
        raise ValidationError(
            {"after": "A new reading belongs to “stays low”: choose that, or leave this empty."}
        )
    if instead_of is not None:
        if instead_of.test_id != test.pk:
            raise ValidationError("That reading is of another test.")
        if DrainStep.objects.filter(instead_of=instead_of).exists():
            raise ValidationError(f"“{instead_of}” was put right already. Put the later reading right.")
    elif not measured_again and (before := measured_before(current, circuit)) is not None:
        raise ValidationError(
            {
                "measured_again": f"“{before}” is on record with {show(before.amount)}. If it was pulled once more, tick "
                "this: the new reading counts. If that was a slip, put it right in its row."
            }
        )
    order = (current.steps.aggregate(last=Max("order"))["last"] or 0) + 1
    step = create(
        DrainStep(
            **by.stamp(),
            test=test,
            order=order,
            circuit=circuit.strip(),
            **_kept(reading, "reading", "reading", "unit", "base_value"),
            came=came,
            **({} if after is None else _kept(after, "after", "after", "after_unit", "after_base")),
            remark=remark.strip(),
            instead_of=instead_of,
        )
    )
    note(
        step,
        vehicle=test.vehicle_id,
        job=test.job_id,
        facts={
            "order": order,
            "reading": reading,
            "came": came,
            "after": after,
            "instead_of": instead_of.order if instead_of else None,
        },
        words={"circuit": step.circuit, "remark": step.remark},
    )
    return step


@act(May.DIAGNOSE)
def end_drain_test(
    *, by: By, test: DrainTest, conclusion: str, all_tried: bool = False, on_fault: bool = True
) -> DrainTest:
    """End it with what it is, or why it was broken off. With a fault, the same act writes it there as a step."""
    current = _locked(by, test)
    if not conclusion.strip():
        raise ValidationError({"conclusion": "Say what it is, or why the test was broken off."})
    step = None
    if on_fault and current.fault_id is not None:
        tried, left = _in_short(current, all_tried)
        step = add_step(
            by=by, fault=current.fault, tried=tried, seen=conclusion.strip(), reading=left, job=current.job
        )
    save_changes(
        test,
        conclusion=conclusion.strip(),
        all_tried=all_tried,
        ended_at=by.made_at,
        ended_by=by.person,
        step=step,
    )
    note(
        test,
        vehicle=test.vehicle_id,
        job=test.job_id,
        facts={"all_tried": all_tried, "step": step},
        words={"conclusion": test.conclusion},
    )
    return test


def _in_short(test: DrainTest, all_tried: bool) -> tuple[str, Amount | None]:
    """What was tried, in one line, and what is left without the circuits found (else what flowed asleep)."""
    steps = list(test.steps.all())
    findings = findings_of(test, steps, all_tried)
    if findings is None:
        return "Parasitic drain test, broken off before the current asleep was read", None
    pulled = len(standing(steps))
    fuses = "no fuse" if not pulled else "1 fuse" if pulled == 1 else f"{pulled} fuses"
    tried = (
        f"Parasitic drain test: {show(test.amount)} after {test.asleep_after} minutes asleep, {fuses} pulled"
    )
    named = findings.found in (Found.ONE, Found.SEVERAL)
    left = findings.left if named else findings.baseline - findings.asleep
    return tried, number(round(max(left, 0.0), 1), "mA")


def _locked(by: By, test: DrainTest) -> DrainTest:
    """The test as it stands now, locked; refused once it has ended."""
    current = DrainTest.objects.select_for_update(no_key=True).get(pk=test.pk)
    if current.ended_at is not None:
        when = date_format(timezone.localtime(current.ended_at), "j M Y H:i")
        raise ValidationError(f"This test ended on {when}: begin another one.", code="ended")
    refuse_before(by, current, "the test was begun")
    return current


def _kept(
    of: Amount, name: str, value: str, unit: str, base: str, least: Decimal = Decimal(0)
) -> dict[str, Any]:
    """A current as it is kept: as typed, with its unit, and in A. Refused beside `name` where it can't be one."""
    if of.dimension != "current":
        raise ValidationError({name: "Give a current, in mA or A."})
    if -of.value.as_tuple().exponent > _DECIMALS:
        raise ValidationError({name: f"Give at most {_DECIMALS} decimals."})
    if not least <= of.base() <= MOST_A:
        low = "more than 0" if least else "0"
        leads = " Minus: swap the meter's leads." if of.value < 0 else ""
        raise ValidationError({name: f"Give {low} to {MOST_A} A: {show(of)} was typed.{leads}"})
    with localcontext(prec=WORKING_DIGITS):
        amperes = of.base().quantize(Decimal("0.000001"), rounding=ROUND_HALF_EVEN)
    return {value: of.value, unit: of.unit, base: amperes}
