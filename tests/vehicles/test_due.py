"""The due list: what comes due, by date or by distance at the car's own rate of use, and how sure that is."""

from __future__ import annotations

import math
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from scipy import optimize, stats

from jobs.acts import job as job_acts
from jobs.acts import work
from tests.factories.datasheet import SheetFactory
from tests.factories.due import done, drive, interval, roadworthy
from tests.factories.fault import FaultFactory
from tests.factories.job import JobFactory
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from vehicles import due as reads
from vehicles.acts import datasheet as sheet_acts
from vehicles.acts import due as acts
from vehicles.acts import fault as fault_acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import odometer
from vehicles.due import Kind, Period
from workshop.acts import people as people_acts
from workshop.engineering.units import Amount

DAYS = timedelta(days=1)
TODAY = timezone.localdate()


def amount(value, unit="km") -> Amount:
    return Amount(Decimal(str(value)), unit)


def of_kind(kind: Kind, *args, **kwargs) -> list[reads.Due]:
    return [row for row in reads.due_list(*args, **kwargs) if row.kind == kind]


@once
def car(lead):
    return VehicleFactory(person=lead, make="Veldt", model="2.4", year=2014, number="XZVPU24DZEA030912")


@once
def sheet(lead, car):
    return SheetFactory(person=lead, name="Veldt 2.4, from 2013", vehicle=car, because="chassis number")


@pytest.fixture
def even(lead, car):
    """30 km a day without scatter: the last reading, today, is 24 000 km."""
    first = TODAY - 400 * DAYS
    return drive(lead, car, *((first + n * 100 * DAYS, 12_000 + n * 3_000) for n in range(5)))


# --- by date, by distance, whichever comes first -----------------------------------------------------------------


def test_by_date_alone_says_the_day(lead, car):
    ItemFactory(person=lead, vehicle=car, title="Hose weeps", due_on=TODAY + 40 * DAYS)
    (row,) = reads.due_list(car)
    assert (row.kind, row.title, row.reckoned.day, row.reckoned.is_sure) == (
        Kind.PARTS,
        "Hose weeps",
        TODAY + 40 * DAYS,
        True,
    )
    assert row.words == reads.day_words(TODAY + 40 * DAYS)
    assert row.severity == "minor"


@pytest.mark.outside("By hand: at an even 30 km a day 1500 km take 50 days")
def test_by_distance_at_the_cars_own_rate(lead, car, even, published):
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_distance=amount(1500))
    (row,) = reads.due_list(car)
    published.same(row.reckoned.day, TODAY + 50 * DAYS)
    assert row.reckoned.is_sure
    assert row.by_distance.shown == "25500 km"
    assert "at 913 km a month" in row.words  # 30 · 365.25 / 12 = 913.1
    assert "1500 km from the last reading" in row.words


@pytest.mark.outside("By hand: at an even 30 km a day 1500 km take 50 days")
@pytest.mark.parametrize(("days", "first"), [(20, "date"), (90, "distance")])
def test_whichever_comes_first_and_says_which(lead, car, even, days, first, published):
    ItemFactory(
        person=lead, vehicle=car, reason="recheck", due_on=TODAY + days * DAYS, due_distance=amount(1500)
    )
    (row,) = reads.due_list(car)
    published.same(row.reckoned.day, TODAY + min(days, 50) * DAYS)
    assert f"the {first} comes first" in row.words
    other = {"date": TODAY + 50 * DAYS, "distance": TODAY + 90 * DAYS}[first]
    assert reads.day_words(other) in row.words


@pytest.mark.outside("SciPy: optimize.curve_fit (weights 1/√days), stats.t.ppf, optimize.brentq on the band")
def test_uneven_use_gives_the_days_between_which_it_lies(lead, car, published):
    """Weighted regression through the origin, inverse prediction of the day (NIST/SEMATECH e-Handbook, 4.1.4.3)."""
    days, km = [61, 45, 90, 74, 95], [1900, 900, 3300, 1800, 2600]
    day, value, seen = TODAY - sum(days) * DAYS, 50_000, []
    seen.append((day, value))
    for gone, driven in zip(days, km, strict=True):
        day, value = day + gone * DAYS, value + driven
        seen.append((day, value))
    drive(lead, car, *seen)
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_distance=amount(1500))
    (row,) = reads.due_list(car)

    found, spread = optimize.curve_fit(
        lambda x, a: a * x, np.array(days, float), np.array(km, float), sigma=np.sqrt(days)
    )
    a, var = found[0], spread[0, 0]
    s2 = var * sum(days)  # of a line through the origin var(a) = s²/Σ days
    t = stats.t.ppf(0.975, len(days) - 1)

    def beyond(sign):
        return lambda h: a * h + sign * t * math.sqrt(s2 * h + var * h * h) - 1500

    early = optimize.brentq(beyond(+1), 1e-6, 1500 / a)
    late = optimize.brentq(beyond(-1), 1500 / a, 5000)
    published.same(row.reckoned.day, TODAY + round(1500 / a) * DAYS)
    published.same(row.reckoned.earliest, TODAY + math.floor(early) * DAYS)
    published.same(row.reckoned.latest, TODAY + math.ceil(late) * DAYS)
    assert "between" in row.words
    assert reads.day_words(row.reckoned.latest) in row.words


@pytest.mark.parametrize("readings", [0, 1, 2])
def test_with_too_few_readings_it_says_so_and_gives_the_date_alone(lead, car, readings):
    drive(lead, car, *((TODAY - (90 - 60 * n) * DAYS, 10_000 + 900 * n) for n in range(readings)))
    limits = {"due_distance": amount(1500)} if readings else {}
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_on=TODAY + 90 * DAYS, **limits)
    (row,) = reads.due_list(car)
    assert row.reckoned.day == TODAY + 90 * DAYS
    assert row.reckoned.is_sure
    assert row.words.startswith(reads.day_words(TODAY + 90 * DAYS))
    assert ("too few readings" in row.words) is bool(readings)


def test_without_a_rate_and_a_date_nobody_knows_when(lead, car):
    drive(lead, car, (TODAY - 9 * DAYS, 10_000))
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_distance=amount(1500))
    (row,) = reads.due_list(car)
    assert row.reckoned is None
    assert row.period(TODAY) == Period.UNKNOWN
    assert "11500 km" in row.words
    assert "too few readings" in row.words


def test_a_distance_that_was_driven_is_overdue(lead, car, even):
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_distance=amount(100))
    drive(lead, car, (TODAY, 24_500))
    (row,) = reads.due_list(car)
    assert row.period(TODAY) == Period.OVERDUE
    assert "400 km past" in row.words


def test_hours_and_runs_are_counted_by_hand(lead, car):
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_hours=Decimal(50))
    (row,) = reads.due_list(car)
    assert row.reckoned is None
    assert row.words == "after 50 running hours: hours and runs are counted by hand"


# --- odometer truth in the rate ----------------------------------------------------------------------------------


@pytest.mark.outside("By hand: 30 km a day throughout, 1 mi = 1.609344 km (exact)")
def test_the_rate_goes_on_over_a_new_instrument_in_miles(lead, car, published):
    first = TODAY - 400 * DAYS
    drive(lead, car, (first, 12_000), (first + 100 * DAYS, 15_000))
    odometer.replace_instrument(
        by=by(lead), vehicle=car, replaced_on=first + 150 * DAYS, old_last=amount(16_500), new_first=amount(0, "mi"),
        replaced_because="the display was dark",
    )  # fmt: skip
    miles = [round(30 * gone / 1.609344, 1) for gone in (50, 150, 250)]
    days = [first + (150 + gone) * DAYS for gone in (50, 150, 250)]
    drive(lead, car, *zip(days, miles, strict=True), unit="mi")
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_distance=amount(1500))
    (row,) = reads.due_list(car)
    published.same(row.reckoned.day, TODAY + 50 * DAYS)
    published.same(row.by_distance.shown, "5592 mi")  # (7500 + 1500) / 1.609344
    assert "at 567 mi a month" in row.words  # 913.1 / 1.609344


@pytest.mark.outside(
    "By hand: (100 + 3000 + 3000) km in 50 + 100 + 100 days; the 50 days of the gap left out"
)
def test_what_an_instrument_hid_is_in_no_rate(lead, car, published):
    """Removed unread: what was driven from the reading before it to its end is not known."""
    first = TODAY - 300 * DAYS
    drive(lead, car, (first, 12_000), (first + 50 * DAYS, 12_100))
    odometer.replace_instrument(
        by=by(lead), vehicle=car, replaced_on=first + 100 * DAYS, old_last=None, new_first=amount(0),
        replaced_because="broken",
    )  # fmt: skip
    drive(lead, car, *((first + n * DAYS, (n - 100) * 30) for n in (100, 200, 300)))
    published.close(reads.Ground([car]).rate(car.pk).km_a_day, 24.4, rel=1e-12)


def test_a_reading_that_could_not_be_read_changes_nothing(lead, car, even):
    before = reads.Ground([car]).rate(car.pk)
    odometer.record_reading(
        by=by(lead), vehicle=car, amount=None, not_readable_because="display dark",
        read_at=timezone.now() - 30 * DAYS,
    )  # fmt: skip
    assert reads.Ground([car]).rate(car.pk) == before


def test_a_misread_reading_counts_as_nothing(lead, car, even):
    before = reads.Ground([car]).rate(car.pk)
    (wrong,) = drive(lead, car, (TODAY - 40 * DAYS, 39_000), lower_because="so it stood there")
    odometer.set_aside(by=by(lead), reading=wrong, reason="3 and 2 mixed up")
    assert reads.Ground([car]).rate(car.pk) == before


def test_what_falsifies_the_odometer_is_in_no_rate(lead, car, even):
    """Under tyres of a wrong size nobody knows what a stretch was; while they are on, no rate holds."""
    before = reads.Ground([car]).rate(car.pk)
    odometer.mark_falsified(by=by(lead), reading=even[2], falsified_by="tyres 8 % too tall")
    after = reads.Ground([car]).rate(car.pk)
    assert after.stretches == before.stretches - 2
    assert after.km_a_day == pytest.approx(30)
    odometer.mark_falsified(by=by(lead), reading=even[4], falsified_by="tyres 8 % too tall")
    ItemFactory(person=lead, vehicle=car, reason="recheck", due_distance=amount(1500))
    (row,) = reads.due_list(car)
    assert row.reckoned is None
    assert "falsifies the odometer" in row.words


# --- services of a plan ------------------------------------------------------------------------------------------


@pytest.mark.outside("By hand: 30 km a day; 12 months on the calendar")
def test_a_service_is_due_by_distance_or_time_from_when_it_was_done(lead, car, sheet, even, published):
    oil = interval(lead, sheet, km=6000, months=12)
    when = TODAY - 100 * DAYS
    done(lead, car, oil, when, km=21_000)
    (row,) = of_kind(Kind.SERVICE, car)
    published.same(row.reckoned.day, TODAY + 100 * DAYS)  # 3000 km of 6000 are driven
    assert f"last done {reads.day_words(when)}" in row.why
    assert "every 6000 km or 12 months, whichever comes first" in row.why
    published.same(row.by_date, when.replace(year=when.year + 1))


def test_a_service_done_without_a_reading_comes_due_by_months_alone(lead, car, sheet, even):
    oil = interval(lead, sheet, km=6000, months=6)
    done(lead, car, oil, date(TODAY.year - 1, 12, 15))
    (row,) = of_kind(Kind.SERVICE, car)
    assert row.reckoned.day == date(TODAY.year, 6, 15)
    assert "the distance since then is not known" in row.words


def test_a_service_never_done_counts_from_the_first_that_is_known(lead, car, sheet, even):
    interval(lead, sheet, "Coolant", km=20_000, months=60)
    (row,) = of_kind(Kind.SERVICE, car)
    first = TODAY - 400 * DAYS
    assert "not on record that it was ever done: look" in row.why
    assert f"the months from {reads.day_words(first)}" in row.why
    # 12 000 km of 20 000 since the first reading, at 30 a day.
    assert row.reckoned.day == TODAY + round(8000 / 30) * DAYS


def test_a_car_known_from_new_has_driven_all_that_its_odometer_shows(lead, car, sheet):
    first = TODAY - 200 * DAYS
    drive(lead, car, (first, 10_000), since_new=True)
    drive(lead, car, (first + 100 * DAYS, 13_000), (TODAY, 16_000))
    interval(lead, sheet, "Coolant", km=15_000)
    (row,) = of_kind(Kind.SERVICE, car)
    assert row.period(TODAY) == Period.OVERDUE
    assert "1000 km past" in row.words
    assert "the distance from new" in row.why


def test_a_variant_has_the_plan_of_its_sheet_but_what_it_says_itself(lead, car, sheet):
    interval(lead, sheet, "Engine oil and filter", months=12)
    belt = interval(lead, sheet, "Timing belt", months=60)
    interval(lead, sheet, "Brake fluid", months=24)
    variant = SheetFactory(person=lead, name="Veldt 2.4 with chain", based_on=sheet)
    sheet_acts.choose_sheet(by=by(lead), vehicle=car, sheet=variant, because="engine number")
    acts.withdraw_interval(by=by(lead), sheet=variant, interval=belt, because="it has a chain")
    oil = next(row.interval for row in of_kind(Kind.SERVICE, car) if "oil" in row.title)
    acts.change_interval(
        by=by(lead), sheet=variant, interval=oil, title=oil.title, every_months=6, source="maker",
        source_words="bulletin 7", because="short runs",
    )  # fmt: skip
    plan = {row.title: row.interval.every_months for row in of_kind(Kind.SERVICE, car)}
    assert plan == {"Engine oil and filter": 6, "Brake fluid": 24}
    # The sheet that it is based on stays as it was, for its other cars.
    other = VehicleFactory(person=lead)
    sheet_acts.choose_sheet(by=by(lead), vehicle=other, sheet=sheet, because="type plate")
    assert {row.title: row.interval.every_months for row in of_kind(Kind.SERVICE, other)} == {
        "Engine oil and filter": 12,
        "Timing belt": 60,
        "Brake fluid": 24,
    }


def test_struck_in_error_the_one_before_counts_again(lead, car, sheet):
    oil = interval(lead, sheet, months=12)
    done(lead, car, oil, date(2024, 3, 1))
    wrong = done(lead, car, oil, date(2025, 3, 1))
    assert of_kind(Kind.SERVICE, car)[0].reckoned.day == date(2026, 3, 1)
    acts.strike_done(by=by(lead), done=wrong, reason="that was the other car")
    assert of_kind(Kind.SERVICE, car)[0].reckoned.day == date(2025, 3, 1)


# --- the other sources -------------------------------------------------------------------------------------------


def test_the_next_roadworthiness_test(lead, car):
    roadworthy(lead, car, date(2023, 5, 2), valid_until=date(2025, 5, 1))
    roadworthy(
        lead, car, date(2025, 4, 28), valid_until=date(2027, 5, 1), result="minor", deficiencies="lamp weak"
    )
    (row,) = of_kind(Kind.TEST, car)
    assert (row.title, row.reckoned.day, row.severity) == ("Roadworthiness test", date(2027, 5, 1), "")
    failed = roadworthy(lead, car, date(2025, 6, 1), result="major", deficiencies="brake hose")
    (row,) = of_kind(Kind.TEST, car)
    assert (row.title, row.reckoned.day) == ("Roadworthiness test again", date(2025, 6, 1))
    assert row.severity == "major"
    acts.strike_test(by=by(lead), test=failed, reason="another plate")
    assert of_kind(Kind.TEST, car)[0].reckoned.day == date(2027, 5, 1)


def test_a_repair_that_is_not_yet_confirmed_says_of_which_fault(lead, car):
    item = ItemFactory(person=lead, vehicle=car, reason="recheck", due_on=TODAY + 9 * DAYS, title="Misfires?")
    (row,) = of_kind(Kind.RECHECK, car)
    assert row.why == f"O1 of {reads.day_words(TODAY)}"
    fault = FaultFactory(person=lead, vehicle=car)
    job = JobFactory(person=lead, vehicle=car)
    line = work.add_line(by=by(lead), job=job, complaint="Misfires", kind="diagnosis")
    fault_acts.end_fixed(by=by(lead), fault=fault, line=line, check_made="Driven, dry", recheck_item=item)
    (row,) = of_kind(Kind.RECHECK, car)
    assert row.why == f"{fault.number} is repaired, not yet confirmed; O1 of {reads.day_words(TODAY)}"


def test_calibrations_and_certificates_are_the_shops_own(lead, shop_owner, technician, car):
    tool = ToolFactory(person=lead, calibrated=False)
    (row,) = of_kind(Kind.CALIBRATION)
    assert row.reckoned is None
    assert row.tool == tool
    assert "never calibrated" in row.words
    CalibrationFactory(person=lead, tool=tool, calibrated_on=date(2026, 1, 5), due_on=date(2027, 1, 4))
    (row,) = of_kind(Kind.CALIBRATION)
    assert row.reckoned.day == date(2027, 1, 4)
    assert row.staff_only
    people_acts.add_competence(
        by=by(shop_owner), person=technician, kind="airbags", certificate="A 12", valid_from=date(2024, 1, 1),
        expires_on=date(2027, 2, 1),
    )  # fmt: skip
    (row,) = of_kind(Kind.COMPETENCE)
    assert (row.whose, row.reckoned.day) == (technician.name, date(2027, 2, 1))
    # What of a colleague runs out is the leads' to see.
    assert Kind.COMPETENCE in {each.kind for each in reads.for_person(lead)}
    assert Kind.COMPETENCE not in {each.kind for each in reads.for_person(technician)}
    # Of one car there are no tools and no people.
    assert not of_kind(Kind.CALIBRATION, car) + of_kind(Kind.COMPETENCE, car)


# --- whose, and how much it costs --------------------------------------------------------------------------------


@pytest.fixture
def owned(lead, car, car_owner):
    keeper = KeeperFactory(person=lead, name="Corin Ashby")
    # An account of the cast stands for one that was opened for the keeper.
    keeper.account = car_owner
    keeper.save(update_fields=["account"])
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part="owner")
    return car


def test_an_owner_is_told_of_their_own_cars_and_nothing_of_the_shop(lead, car_owner, owned):
    ItemFactory(person=lead, vehicle=owned, title="Hose weeps", due_on=TODAY)
    ItemFactory(person=lead, vehicle=VehicleFactory(person=lead), title="Not theirs", due_on=TODAY)
    ToolFactory(person=lead, calibrated=False)
    job = JobFactory(person=lead, vehicle=owned)
    job_acts.plan(by=by(lead), job=job, seen_version=job.version, waiting_for="parts")
    assert "Parts awaited: " + job.title in [row.title for row in reads.due_list(owned)]
    rows = reads.for_person(car_owner)
    assert [row.title for row in rows] == ["Hose weeps"]
    assert [row.title for row in reads.for_owner(owned)] == ["Hose weeps"]
    assert rows[0].url == reverse("vehicles:my-car", args=[owned.pk])


def test_who_owns_nothing_is_told_nothing(lead, other_owner, owned):
    ItemFactory(person=lead, vehicle=owned, due_on=TODAY)
    assert reads.for_person(other_owner) == []


def _many(lead, sheet, number):
    for _ in range(number):
        one = VehicleFactory(person=lead)
        sheet_acts.choose_sheet(by=by(lead), vehicle=one, sheet=sheet, because="type plate")
        drive(lead, one, *((TODAY - (200 - n * 90) * DAYS, 1000 + n * 2000) for n in range(3)))
        ItemFactory(person=lead, vehicle=one, reason="recheck", due_distance=amount(500))
        roadworthy(lead, one, date(2025, 5, 2), valid_until=date(2027, 5, 1))


def test_many_cars_cost_as_many_queries_as_one(lead, sheet):
    oil = interval(lead, sheet, km=10_000, months=12)
    _many(lead, sheet, 1)
    with CaptureQueriesContext(connection) as few:
        reads.due_list()
    _many(lead, sheet, 6)
    with CaptureQueriesContext(connection) as many:
        rows = reads.due_list()
    assert len([row for row in rows if row.interval == oil]) == 8
    assert len(many) == len(few) <= 16
