"""How the account reads with nothing in it and with a great deal: empty, paged by ten, and as few queries for 60 visits."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial

from django.db import connection
from django.template.loader import render_to_string
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs.models import CheckIn
from tests.factories.handover import owner_of
from tests.people import by
from vehicles import account
from vehicles.acts import odometer
from vehicles.audience import EVERYTHING, Audience
from workshop.engineering.units import Amount
from workshop.models import Shop


def read(audience: Audience, car, page: int = 1) -> str:
    context = account.context(audience, car, page)
    return render_to_string("vehicles/_account.html", {**context, "shop": Shop.current()})


def everything() -> Audience:
    return Audience(EVERYTHING, since=timezone.localdate() - timedelta(days=3650))


def test_a_car_without_history_reads_well(car):
    text = read(everything(), car)
    for word in (
        "Nothing is outstanding on this car.",
        "whether all of it is the factory's is not known",
        "No job on this car yet. What is done on it will stand here",
        "there is no odometer reading on record",
    ):
        assert word in text.replace("&#x27;", "'"), word
    assert "None" not in text


def test_a_distance_is_never_bare_where_it_is_not_known_or_falsified(lead, car):
    """Design rule: wherever a distance stands, it stands with what is known of its truth."""
    odometer.record_reading(by=by(lead), vehicle=car, amount=Amount(Decimal(91_000), "km"))
    text = read(Audience(frozenset()), car)
    assert "91000 km" in text
    assert "True distance is not known before" in text
    assert "0 km since then" in text


def test_a_distance_under_tyres_that_falsify_it_is_marked(lead, car):
    for km, days, tyres in (
        (91_000, 40, ""),
        (92_000, 20, "235/75 R15 in place of 225/70 R15"),
        (93_000, 10, ""),
    ):
        odometer.record_reading(
            by=by(lead), vehicle=car, amount=Amount(Decimal(km), "km"), falsified_by=tyres,
            read_at=timezone.now() - timedelta(days=days),
        )  # fmt: skip
    told = account.account(Audience(frozenset()), car).distance
    assert (told.shown, told.true) == ("93000 km", False)
    assert "Besides, 2000 km were shown with tyres that falsify the odometer." in read(
        Audience(frozenset()), car
    )


def _year(car, person, year: int, serial: int):
    made_at = datetime(year, 5, 4, 12, tzinfo=UTC)
    return car.jobs.create(
        **by(person, made_at=made_at, received_at=made_at).stamp(),
        year=year, serial=serial, title=f"Service {year}", state="handed_over",
    )  # fmt: skip


def test_twenty_years_are_paged_by_ten_and_found_by_year(lead, car):
    for serial, year in enumerate(range(2006, 2027), start=1):
        _year(car, lead, year, serial)
    reader = everything()
    pages = [read(reader, car, page) for page in (1, 2, 3)]
    told = [[year for year in range(2006, 2027) if f"<h3>Service {year}</h3>" in page] for page in pages]
    assert [sorted(years) for years in told] == [
        list(range(2017, 2027)), list(range(2007, 2017)), [2006],
    ]  # fmt: skip
    assert '<a href="?page=2#y2010">2010' in pages[0]
    assert 'id="y2010"' in pages[1]
    # What comes before the chapters is not said again; a page that there is not is the last.
    assert ('id="car"' in pages[0], 'id="car"' in pages[1]) == (True, False)
    assert read(reader, car, 99) == pages[2]


def _visit(car, instrument, person, serial: int):
    """A visit with all that a chapter reads, as rows: how they come about is not this test's subject."""
    made_at = timezone.now() - timedelta(days=30 * (70 - serial))
    stamp = partial(_stamp, person, made_at)
    job = car.jobs.create(
        **stamp(),
        year=made_at.year,
        serial=9000 + serial,
        title="Service",
        state="handed_over",
        complaint="Please.",
    )
    line = job.lines.create(
        **stamp(), order=1, complaint="Brakes", cause="Worn.", correction="Renewed.", answer="yes", cost=Decimal(90),
        authorised_amount=Decimal(90), done_at=made_at, technician=person,
    )  # fmt: skip
    line.labour.create(**stamp(), person=person, minutes=30, day=made_at.date())
    reading = instrument.readings.create(
        **stamp(), vehicle=car, read_at=made_at, value=100_000 + 500 * serial
    )
    CheckIn.objects.create(
        **stamp(), job=job, odometer=reading, fuel="2", keys=1, damage="none", road_test_consent=True
    )
    job.sheets.create(
        **stamp(), kind="handover", revision=1, token=f"{serial:032d}", paper="A4", technical="{}",
        technical_hash="0" * 64, personal_hash="0" * 64, pdf_hash="0" * 64, pages=1, log_seq=0, log_hash="0" * 64,
    )  # fmt: skip
    car.faults.create(
        **stamp(), job=job, order=serial, kind="finding", title=f"Noise {serial}", severity="minor"
    )
    car.outstanding_items.create(
        **stamp(),
        order=serial,
        title=f"Thing {serial}",
        severity="minor",
        reason="parts",
        raised_on=made_at.date(),
    )
    car.past_work.create(
        **stamp(), done_on=made_at.date(), title=f"Elsewhere {serial}", source="service book"
    )


def _stamp(person, made_at):
    return by(person, made_at=made_at, received_at=made_at).stamp()


def test_the_account_asks_as_often_for_3_visits_as_for_60(lead, car, front_desk):
    owner_of(car, front_desk)
    odometer.record_reading(by=by(lead), vehicle=car, amount=Amount(Decimal(200_000), "km"))
    instrument = car.instruments.get()
    reader = everything()
    counts = []
    for first, last in ((1, 4), (4, 61)):
        for serial in range(first, last):
            _visit(car, instrument, lead, serial)
        car.refresh_from_db()
        with CaptureQueriesContext(connection) as asked:
            told = account.context(reader, car)["account"]
            render_to_string("vehicles/_account.html", {"account": told, "shop": Shop.current()})
        counts.append(len(asked))
    assert told.count == 120
    assert counts[0] == counts[1] <= 60, counts
