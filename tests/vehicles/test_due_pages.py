"""Pages of what comes due: the shop's list with its filters, a car's, its services and tests, the plan of a sheet."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests.factories.datasheet import SheetFactory
from tests.factories.due import done, drive, interval, roadworthy
from tests.factories.handover import done_line, in_work, owner_of
from tests.factories.outstanding import ItemFactory
from tests.factories.tool import ToolFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles.acts import datasheet as sheet_acts
from vehicles.acts import due as acts
from vehicles.models import MaintenanceDone, MaintenanceInterval, OdometerReading, RoadworthinessTest
from workshop.acting import ChangedMeanwhile
from workshop.engineering.units import Amount
from workshop.models import Event

DAYS = timedelta(days=1)
TODAY = timezone.localdate()


@once
def car(lead):
    return VehicleFactory(person=lead, make="Veldt", model="2.4", year=2014, number="XZVPU24DZEA030912")


@once
def sheet(lead, car):
    return SheetFactory(person=lead, name="Veldt 2.4, from 2013", vehicle=car, because="chassis number")


@once
def plain(lead):
    """A car without a data sheet."""
    return VehicleFactory(person=lead, make="Ostra")


@once
def oil(lead, sheet):
    return interval(lead, sheet, km=15_000, months=12)


def refusal(act, **arguments) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        act(**arguments)
    return caught.value.message_dict


def titles(page) -> list[str]:
    return [row.title for _, rows, _ in page.context["groups"] for row in rows]


# --- the shop's list ---------------------------------------------------------------------------------------------


@pytest.fixture
def spread(lead, plain):
    for title, days in (
        ("late", -3),
        ("soon", 3),
        ("month", 20),
        ("quarter", 80),
        ("year", 300),
        ("far", 800),
    ):
        at = timezone.now() - 10 * DAYS if days < 0 else None
        ItemFactory(person=lead, vehicle=plain, title=title, due_on=TODAY + days * DAYS, made_at=at)
    ItemFactory(person=lead, vehicle=plain, title="whenever")


@pytest.mark.parametrize(
    ("within", "wanted"),
    [
        ("overdue", ["late"]),
        ("30", ["late", "soon", "month"]),
        ("", ["late", "soon", "month", "quarter"]),
        ("365", ["late", "soon", "month", "quarter", "year"]),
        ("all", ["late", "soon", "month", "quarter", "year", "far", "whenever"]),
        ("nonsense", ["late", "soon", "month", "quarter"]),
    ],
)
def test_the_horizon(client, technician, spread, within, wanted):
    client.force_login(technician)
    page = client.get(reverse("vehicles:due"), {"within": within, "kind": "parts"} if within else {})
    assert titles(page) == wanted


def test_the_groups_in_their_order(client, technician, spread):
    client.force_login(technician)
    page = client.get(reverse("vehicles:due"), {"within": "all", "kind": "parts"})
    assert [(period.label, number) for period, _, number in page.context["groups"]] == [
        ("Overdue", 1),
        ("In the next 7 days", 1),
        ("In the next 31 days", 1),
        ("Later", 3),
        ("Not known when", 1),
    ]
    assert "4 more lie further off" in client.get(reverse("vehicles:due")).content.decode()


def test_the_kind(client, technician, lead, car, spread):
    roadworthy(lead, car, TODAY - 700 * DAYS, valid_until=TODAY + 30 * DAYS)
    client.force_login(technician)
    page = client.get(reverse("vehicles:due"), {"kind": "test"})
    assert titles(page) == ["Roadworthiness test"]
    counts = {code: number for code, _, number in page.context["kinds"]}
    assert counts == {"parts": 4, "test": 1}


def test_a_row_says_which_car_and_leads_on(client, technician, lead, car):
    item = ItemFactory(person=lead, vehicle=car, title="Hose weeps", due_on=TODAY)
    client.force_login(technician)
    text = client.get(reverse("vehicles:due")).content.decode()
    assert car.name in text
    assert f'href="{item.get_absolute_url()}"' in text


def test_many_rows_come_by_pages(client, technician, lead, car):
    for number in range(53):
        ItemFactory(person=lead, vehicle=car, title=f"No. {number:02d}", due_on=TODAY + 40 * DAYS)
    client.force_login(technician)
    first = client.get(reverse("vehicles:due"))
    rest = client.get(reverse("vehicles:due"), {"page": 2})
    assert (len(titles(first)), len(titles(rest))) == (50, 3)
    # The group's count is of all its pages.
    assert [number for _, _, number in rest.context["groups"]] == [53]


def test_the_list_costs_the_same_for_many_cars(client, technician, lead, sheet, oil):
    client.force_login(technician)

    def more(number):
        for _ in range(number):
            one = VehicleFactory(person=lead)
            sheet_acts.choose_sheet(by=by(lead), vehicle=one, sheet=sheet, because="type plate")
            ItemFactory(person=lead, vehicle=one, due_on=TODAY)
            ToolFactory(person=lead)

    more(1)
    with CaptureQueriesContext(connection) as few:
        client.get(reverse("vehicles:due"))
    more(5)
    with CaptureQueriesContext(connection) as many:
        client.get(reverse("vehicles:due"))
    assert len(many) == len(few) <= 24


# --- a car's -----------------------------------------------------------------------------------------------------


def test_a_cars_page_with_services_and_tests(client, technician, lead, car, oil):
    done(lead, car, oil, date(2024, 3, 1), km=90_000)
    roadworthy(lead, car, date(2024, 5, 2), valid_until=date(2026, 5, 1), certificate="T 4471")
    client.force_login(technician)
    page = client.get(reverse("vehicles:due-of-car", args=[car.pk]))
    text = page.content.decode()
    assert titles(page) == ["Engine oil and filter", "Roadworthiness test"]
    assert "certificate T 4471" in text
    assert "90000 km" in text
    assert f"{reverse('vehicles:maintenance-done', args=[car.pk])}?interval={oil.pk}" in text


def test_without_a_sheet_or_a_plan_it_says_what_to_do(client, technician, lead, car, plain, sheet, oil):
    acts.withdraw_interval(by=by(lead), sheet=sheet, interval=oil, because="it is electric")
    client.force_login(technician)
    page = client.get(reverse("vehicles:due-of-car", args=[car.pk]))
    assert "no maintenance plan yet" in page.content.decode()
    page = client.get(reverse("vehicles:due-of-car", args=[plain.pk]))
    assert "No data sheet holds for this car" in page.content.decode()


def test_a_cars_page_and_panel_cost_the_same_for_much(client, technician, lead, car, sheet, oil):
    client.force_login(technician)
    url = reverse("vehicles:due-of-car", args=[car.pk])

    def more(years):
        for year in years:
            done(lead, car, oil, date(year, 3, 1), km=(year - 2014) * 9000)
            roadworthy(lead, car, date(year, 5, 2), valid_until=date(year + 2, 5, 1))

    more([2015])
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    more(range(2016, 2024))
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(many) == len(few) <= 34


def test_the_panel_shows_what_comes_first(client, technician, plain, spread):
    client.force_login(technician)
    text = client.get(plain.get_absolute_url()).content.decode()
    panel = text[text.index('id="due"') :]
    panel = panel[: panel.index("</section>")]
    assert panel.index("late") < panel.index("soon") < panel.index("year")
    assert "all 6" in panel
    assert "whenever" not in panel


# --- services done, tests written down ---------------------------------------------------------------------------


def test_a_service_is_written_down_with_its_reading(client, front_desk, lead, car, oil):
    client.force_login(front_desk)
    url = f"{reverse('vehicles:maintenance-done', args=[car.pk])}?interval={oil.pk}"
    sent = form_of(client, url) | {
        "interval": str(oil.pk),
        "done_on": "2025-03-01",
        "elsewhere": "Millbrook Garage",
        "source_words": "invoice seen",
        "odometer_value": "98500",
        "odometer_unit": "km",
    }
    answer = client.post(url, sent)
    assert answer.status_code == 302, answer.context["form"].errors
    row = MaintenanceDone.objects.get()
    assert (row.line, row.by_whom, row.reading.value) == (oil.line, "Millbrook Garage", Decimal(98500))
    assert timezone.localdate(row.reading.read_at) == date(2025, 3, 1)
    event = Event.objects.latest("seq")
    assert "Millbrook" not in event.body


def test_by_a_work_line_the_reading_of_its_job_counts(lead, technician, car, oil):
    keeper = owner_of(car, lead)
    line = done_line(in_work(car, keeper, lead), keeper, lead)
    row = acts.record_done(by=by(technician), vehicle=car, interval=oil, done_on=TODAY, work_line=line)
    assert row.reading == line.job.check_in.odometer
    assert row.by_whom == "this workshop"


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"done_on": TODAY + DAYS}, "done_on"),
        ({"done_on": date(1999, 1, 1)}, "done_on"),
        ({"elsewhere": ""}, "elsewhere"),
        ({"source_words": ""}, "elsewhere"),
        ({"odometer": Amount(Decimal(9_999_999), "km")}, "odometer"),
    ],
)
def test_what_a_service_is_refused_for_stands_beside_its_field(lead, car, oil, given, field):
    arguments = {
        "vehicle": car,
        "interval": oil,
        "done_on": TODAY,
        "elsewhere": "Millbrook",
        "source_words": "book",
    }
    try:
        acts.record_done(by=by(lead), **arguments | given)
    except ValidationError as caught:
        named = set(caught.message_dict) | {
            str(error.code).removeprefix("field:")
            for errors in caught.error_dict.values()
            for error in errors
        }
        assert field in named
    else:
        pytest.fail("it was taken")
    assert not MaintenanceDone.objects.exists()
    assert not OdometerReading.objects.exists()


def test_the_same_service_of_the_same_day_is_asked_about_once(lead, car, oil):
    done(lead, car, oil, date(2025, 3, 1))
    said = refusal(
        acts.record_done, by=by(lead), vehicle=car, interval=oil, done_on=date(2025, 3, 1), elsewhere="Millbrook",
        source_words="book",
    )  # fmt: skip
    assert "is on record already" in said["done_on"][0]


def test_a_reading_that_is_on_record_is_not_written_twice(lead, car, oil):
    (reading,) = drive(lead, car, (date(2025, 3, 1), 98_500))
    assert done(lead, car, oil, date(2025, 3, 1), km=98_500).reading == reading


def test_a_lower_reading_asks_why_and_the_form_comes_back_filled(client, lead, car, oil):
    drive(lead, car, (date(2025, 1, 1), 99_000))
    client.force_login(lead)
    url = reverse("vehicles:maintenance-done", args=[car.pk])
    sent = form_of(client, url) | {
        "interval": str(oil.pk), "done_on": "2025-03-01", "elsewhere": "Millbrook", "source_words": "book",
        "odometer_value": "90000", "odometer_unit": "km",
    }  # fmt: skip
    answer = client.post(url, sent)
    assert answer.status_code == 422
    form = answer.context["form"]
    assert "lower_because" in form.errors
    assert not form["lower_because"].is_hidden
    assert form["elsewhere"].value() == "Millbrook"


def test_a_work_of_another_plan_is_refused(lead, car, sheet, oil):
    other = interval(lead, SheetFactory(person=lead, name="Ostra"), "Chain", months=12)
    with pytest.raises(ValidationError) as caught:
        done(lead, car, other, date(2025, 3, 1))
    assert "not in the plan" in caught.value.message_dict["interval"][0]


def test_a_test_is_written_down_as_the_certificate_says(client, front_desk, car):
    client.force_login(front_desk)
    url = reverse("vehicles:roadworthiness-add", args=[car.pk])
    sent = form_of(client, url) | {
        "done_on": "2025-05-02", "result": "minor", "valid_until": "2027-05-31", "by_whom": "Tarnshire testing",
        "deficiencies": "Nearside lamp weak", "source_words": "certificate seen", "certificate": "T 1",
    }  # fmt: skip
    answer = client.post(url, sent)
    assert answer.status_code == 302, answer.context["form"].errors
    row = RoadworthinessTest.objects.get()
    assert (row.result, row.valid_until, row.deficiencies) == (
        "minor",
        date(2027, 5, 31),
        "Nearside lamp weak",
    )


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"valid_until": ""}, "A test that was passed says until when"),
        ({"valid_until": "2025-05-01"}, "This day must lie after the day of the test"),
        ({"deficiencies": "lamp"}, "It was passed without deficiencies"),
        ({"done_on": "2031-01-01"}, "lies in the future"),
        ({"result": "great"}, "great"),
        ({"by_whom": ""}, "is needed here"),
    ],
)
def test_a_bad_test_comes_back_filled_with_its_sentence(client, lead, car, given, sentence):
    client.force_login(lead)
    url = reverse("vehicles:roadworthiness-add", args=[car.pk])
    sent = form_of(client, url) | {
        "done_on": "2025-05-02", "result": "passed", "valid_until": "2027-05-31", "by_whom": "Tarnshire testing",
        "source_words": "certificate seen",
    }  # fmt: skip
    answer = client.post(url, sent | given)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert answer.context["form"]["source_words"].value() == "certificate seen"
    assert not RoadworthinessTest.objects.exists()


def test_struck_it_stays_in_sight(client, front_desk, lead, car, oil):
    row = roadworthy(lead, car, date(2025, 5, 2), valid_until=date(2027, 5, 1))
    service = done(lead, car, oil, date(2025, 3, 1))
    client.force_login(front_desk)
    for url in (
        reverse("vehicles:roadworthiness-strike", args=[row.pk]),
        reverse("vehicles:maintenance-strike", args=[service.pk]),
    ):
        answer = client.post(url, form_of(client, url) | {"reason": "another car's paper"})
        assert answer.status_code == 302
    text = client.get(reverse("vehicles:due-of-car", args=[car.pk])).content.decode()
    assert text.count("Entered in error: another car&#x27;s paper") == 2
    row.refresh_from_db()
    with pytest.raises(ValidationError, match="struck already"):
        acts.strike_test(by=by(lead), test=row, reason="again")


def test_the_history_tells_of_them_where_they_were_done(client, technician, lead, car, oil):
    roadworthy(lead, car, date(2025, 5, 2), valid_until=date(2027, 5, 1), certificate="T 4471")
    done(lead, car, oil, date(2025, 3, 1))
    wrong = done(lead, car, oil, date(2025, 3, 9))
    acts.strike_done(by=by(lead), done=wrong, reason="twice")
    client.force_login(technician)
    page = client.get(reverse("vehicles:history", args=[car.pk]), {"kind": "service"}).context["page"]
    told = [(entry.day, entry.title) for group in page.groups for entry in group.told]
    assert told == [
        (date(2025, 5, 2), "Roadworthiness test: passed, no deficiencies"),
        (date(2025, 3, 1), "Engine oil and filter, done"),
    ]


def test_the_database_keeps_what_was_written(lead, car, oil):
    row = roadworthy(lead, car, date(2025, 5, 2), valid_until=date(2027, 5, 1))
    service = done(lead, car, oil, date(2025, 3, 1))
    for change in (
        lambda: RoadworthinessTest.objects.filter(pk=row.pk).update(valid_until=date(2030, 1, 1)),
        lambda: MaintenanceDone.objects.filter(pk=service.pk).update(done_on=date(2026, 1, 1)),
        lambda: MaintenanceInterval.objects.filter(pk=oil.pk).update(every_months=99),
        lambda: MaintenanceInterval.objects.filter(pk=oil.pk).delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


# --- the plan of a data sheet ------------------------------------------------------------------------------------


def test_an_interval_is_added_on_the_sheets_page(client, technician, sheet):
    client.force_login(technician)
    url = reverse("vehicles:interval-add", args=[sheet.pk])
    sent = form_of(client, url) | {
        "title": "Brake fluid", "every_months": "24", "every_distance_value": "", "every_distance_unit": "km",
        "source": "maker", "source_words": "service book, page 12",
    }  # fmt: skip
    answer = client.post(url, sent)
    assert answer.status_code == 302, answer.context["form"].errors
    text = client.get(sheet.get_absolute_url()).content.decode()
    assert "every 24 months" in text
    assert "service book, page 12" in text
    neither = client.post(
        url, sent | {"key": str(by(technician).key), "title": "Coolant", "every_months": ""}
    )
    assert neither.status_code == 422
    assert "One of these is needed" in neither.content.decode()


def test_a_distance_in_miles_stays_in_miles(lead, sheet):
    row = interval(lead, sheet, "Plugs", km=Amount(Decimal(12_000), "mi"))
    assert MaintenanceInterval.objects.get(pk=row.pk).every_words == "every 12000 mi"


def test_the_same_work_twice_is_one_line(lead, sheet, oil):
    said = refusal(
        acts.add_interval, by=by(lead), sheet=sheet, title="  ENGINE oil  and filter", every_months=6, source="maker",
        source_words="bulletin",
    )  # fmt: skip
    assert "change that one" in said["title"][0]
    variant = SheetFactory(person=lead, name="with chain", based_on=sheet)
    said = refusal(
        acts.add_interval, by=by(lead), sheet=variant, title="engine oil and filter", every_months=6, source="maker",
        source_words="bulletin",
    )  # fmt: skip
    assert "change that one" in said["title"][0]


def test_changed_it_says_why_and_keeps_what_was(client, lead, sheet, oil):
    client.force_login(lead)
    url = reverse("vehicles:interval-change", args=[sheet.pk, oil.pk])
    sent = form_of(client, url) | {"every_months": "6", "because": "short runs"}
    answer = client.post(url, sent)
    assert answer.status_code == 302, answer.context["form"].errors
    text = client.get(sheet.get_absolute_url()).content.decode()
    assert "every 15000 km or 6 months" in text
    assert "because short runs" in text
    assert "every 15000 km or 12 months" in text


def test_two_who_change_one_interval_see_both(client, lead, technician, sheet, oil):
    client.force_login(technician)
    url = reverse("vehicles:interval-change", args=[sheet.pk, oil.pk])
    sent = form_of(client, url) | {"every_months": "6", "because": "short runs"}
    acts.change_interval(
        by=by(lead), sheet=sheet, interval=oil, title=oil.title, every_months=9, source="maker", source_words="x",
        because="dust",
    )  # fmt: skip
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert MaintenanceInterval.objects.current().get().every_months == 9
    with pytest.raises(ChangedMeanwhile):
        acts.withdraw_interval(by=by(technician), sheet=sheet, interval=oil, because="no", seen=oil.pk)
    again = client.post(url, sent | {"seen": answer.context["form"]["seen"].value()})
    assert again.status_code == 302
    assert MaintenanceInterval.objects.current().get().every_months == 6


def test_taken_out_and_given_again(client, lead, sheet, oil):
    client.force_login(lead)
    url = reverse("vehicles:interval-withdraw", args=[sheet.pk, oil.pk])
    assert client.post(url, form_of(client, url) | {"because": "it is electric"}).status_code == 302
    text = client.get(sheet.get_absolute_url()).content.decode()
    assert "1 taken out of the plan" in text
    assert "it is electric" in text
    assert client.get(url).status_code == 404
    row = interval(lead, sheet, months=18)
    assert row.replaces.withdrawn_because == "it is electric"


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"every_months": 0}, "every_months"),
        ({"every_months": 241}, "every_months"),
        ({"every_distance": Amount(Decimal(0), "km"), "every_months": 3}, "every_distance"),
        ({"every_distance": Amount(Decimal(2_000_000), "km")}, "every_distance"),
    ],
)
def test_an_interval_has_limits(lead, sheet, given, field):
    with pytest.raises(ValidationError) as caught:
        acts.add_interval(
            by=by(lead), sheet=sheet, title="Belt", source="maker", source_words="p. 1", **given
        )
    codes = {error.code for errors in caught.value.error_dict.values() for error in errors}
    assert field in caught.value.message_dict or f"field:{field}" in codes


def test_who_may_not(front_desk, car_owner, sheet, car):
    with pytest.raises(PermissionDenied):
        acts.add_interval(
            by=by(front_desk), sheet=sheet, title="x", source="maker", source_words="p", every_months=1
        )
    with pytest.raises(PermissionDenied):
        roadworthy(car_owner, car, date(2025, 5, 2), valid_until=date(2027, 5, 1))
