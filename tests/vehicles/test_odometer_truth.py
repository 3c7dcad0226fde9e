"""Odometer truth: no page and no print shows a car's distance without what is truly known of it.

Three cars whose distance is not what the odometer shows: one with a replaced instrument, one that came with a past
nobody knows, one that ran on tyres that falsify it. Every page of the app that is reached with one of their records is
fetched, also those that other rooms add later; so is what is laid out for paper. Where a figure of the car's odometer
stands on it, its true distance must stand there too, in the words of the engineering.
"""

from __future__ import annotations

import html
import re
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.urls import NoReverseMatch, get_resolver, reverse

from tests.factories.job import CheckInFactory, JobFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.vehicle import VehicleFactory
from tests.factories.work import MeasurementFactory, WorkLineFactory, owner_of
from tests.once import once
from tests.people import by
from tests.quick_print import QuickPrint
from vehicles import odometer
from vehicles.acts import odometer as acts
from vehicles.acts import past_work
from vehicles.models import Keeper, OdometerReading, VehicleKeeper
from workshop.engineering.units import Amount

REPLACED, NOT_KNOWN, FALSIFIED = "replaced", "not known", "falsified"
# Forms on which the latest reading stands beside the field only so that the next one can be typed against it.
TYPED_AGAINST = {"vehicles:odometer-set-aside", "vehicles:odometer-falsified"}

# Pages that certainly show one.
SHOWING = {"vehicles:vehicle", "vehicles:odometer", "vehicles:history", "vehicles:past-work", "jobs:job"}


def km(value, unit="km"):
    return Amount(Decimal(value), unit)


def noon(year, month=1):
    return datetime(year, month, 1, 11, tzinfo=UTC)


def _visit(person, car, year, value, unit="km"):
    at = noon(year)
    job = JobFactory(person=person, vehicle=car, made_at=at, limit=100)
    CheckInFactory(person=person, job=job, made_at=at, odometer=km(value, unit))
    line = WorkLineFactory(person=person, job=job, made_at=at, kind="diagnosis")
    MeasurementFactory(person=person, line=line, made_at=at, what="Pad thickness")
    return job


@once
def cars(lead, technician, car_owner):
    found = {}
    for name in (REPLACED, NOT_KNOWN, FALSIFIED):
        car = VehicleFactory.create(person=lead)
        owner_of(car, lead, name=f"Keeper of {name}")
        acts.record_reading(
            amount=km(51_117), read_at=noon(2012), since_new=name != NOT_KNOWN, by=by(technician), vehicle=car
        )
        if name == REPLACED:
            acts.replace_instrument(
                replaced_on=date(2014, 1, 1), old_last=km(61_119), new_first=km(7, "mi"), replaced_because="dark", by=by(technician), vehicle=car
            )  # fmt: skip
        else:
            acts.record_reading(
                amount=km(61_118),
                read_at=noon(2015),
                falsified_by="tyres" if name == FALSIFIED else "",
                by=by(technician),
                vehicle=car,
            )
        past_work.add_past_work(
            by=by(lead), vehicle=car, title="Belt", done_on=date(2011, 1, 1), day_known="day", source="service book",
            amount=Decimal(300), odometer=km(41_113),
        )  # fmt: skip
        _visit(lead, car, 2018, "8123" if name == REPLACED else "81230", "mi" if name == REPLACED else "km")
        ItemFactory(
            person=lead, vehicle=car, title="Hose weeps", due_distance=km("5000"), made_at=noon(2018, 2)
        )
        found[name] = car
    return found


def patterns() -> dict[str, str]:
    found: dict[str, str] = {}

    def walk(entries, space):
        for entry in entries:
            if hasattr(entry, "url_patterns"):
                walk(entry.url_patterns, f"{entry.namespace}:" if entry.namespace else space)
            else:
                found[f"{space}{entry.name}"] = str(entry.pattern)

    walk(get_resolver().url_patterns, "")
    return found


def pages_of(car) -> dict[str, str]:
    """Addresses of every page that is reached with this car's records alone, by name."""
    job = car.jobs.get()
    records = {
        "vehicle_id": car.pk,
        "job_id": job.pk,
        "line_id": job.lines.first().pk,
        "item_id": car.outstanding_items.first().pk,
        "instrument_id": car.instruments.order_by("order").last().pk,
        "past_work_id": car.past_work.first().pk,
        "keeper_id": Keeper.objects.get(vehicles__vehicle=car).pk,
        "part_for_id": VehicleKeeper.objects.filter(vehicle=car).first().pk,
    }
    found = {}
    for name, pattern in patterns().items():
        wanted = re.findall(r"<(?:\w+:)?(\w+)>", pattern)
        if wanted and set(wanted) <= set(records):
            try:
                found[name] = reverse(name, kwargs={key: records[key] for key in wanted})
            except NoReverseMatch:
                continue
    found["vehicles:odometer-falsified"] = reverse(
        "vehicles:odometer-falsified", args=[car.odometer_readings.last().pk]
    )
    return found


def on_paper(name: str) -> bool:
    return "pdf" in name or "draft" in name


def words_of(markup: str) -> str:
    body = re.sub(r"<(script|style|head|datalist|option|svg)\b.*?</\1>", " ", markup, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", "\x00", body)).replace("\x00", " ").split())


def figures(car) -> re.Pattern:
    shown = "|".join(
        f"{row.figure} {row.instrument.unit}" for row in car.odometer_readings.select_related("instrument")
    )
    return re.compile(rf"(?<![\d.,])(?:{shown})\b")


def truths(car) -> set[str]:
    """What may stand beside a figure: what is known up to now, or up to that reading."""
    instruments = odometer.instruments_of(car)
    rows = OdometerReading.objects.filter(vehicle=car).select_related("vehicle")
    return {odometer.truth(car, instruments).sentence} | {
        odometer.truth_at(row, instruments).sentence for row in rows
    }


def without_truth(client, car, names=None) -> tuple[list[str], set[str]]:
    """Names of pages that show the car's distance without its truth; and those that show it at all."""
    figure, known = figures(car), {sentence.lower() for sentence in truths(car)}
    bad, seen = [], set()
    for name, address in pages_of(car).items():
        if (names and name not in names) or on_paper(name):
            continue
        answer = client.get(address)
        if answer.status_code != 200 or "html" not in answer.get("Content-Type", ""):
            continue
        text = words_of(answer.content.decode())
        if figure.search(text):
            seen.add(name)
            if name not in TYPED_AGAINST and not any(words in text.lower() for words in known):
                bad.append(f"{name}: …{text[max(0, figure.search(text).start() - 60) :][:140]}…")
    return bad, seen


def test_these_cars_are_what_they_are_said_to_be(cars):
    said = {name: odometer.truth(car).sentence for name, car in cars.items()}
    # By hand: 61 119 km and 8116 mi at 1.609 344 km; nothing before the first reading; 81 230 km but those under tyres.
    assert said[REPLACED] == "True distance 74180 km over 2 instruments."
    assert said[NOT_KNOWN].startswith("True distance is not known before 1 Jan 2011; 40117 km since then.")
    assert "were shown with tyres that falsify the odometer" in said[FALSIFIED]


def test_no_page_of_the_shop_shows_a_distance_without_its_truth(client, cars, lead):
    """Every page there is, so that a new one can't show a distance alone."""
    client.force_login(lead)
    bad, seen = without_truth(client, cars[REPLACED])
    assert not bad, "\n".join(bad)
    assert seen >= SHOWING


@pytest.mark.parametrize("name", [NOT_KNOWN, FALSIFIED])
def test_nor_where_it_is_not_known_or_not_true(client, cars, lead, name):
    client.force_login(lead)
    bad, seen = without_truth(client, cars[name], SHOWING)
    assert not bad, "\n".join(bad)
    assert seen == SHOWING


@pytest.mark.parametrize("history", [REPLACED, NOT_KNOWN, FALSIFIED])
def test_no_print_shows_a_distance_without_its_truth(client, cars, lead, history, monkeypatch):
    """What is laid out for paper, before the PDF engine has it."""
    laid_out = []
    usual = QuickPrint.__init__

    def keep(self, markup, paper, css=""):
        laid_out.append(markup)
        usual(self, markup, paper, css)

    monkeypatch.setattr(QuickPrint, "__init__", keep)
    client.force_login(lead)
    car = cars[history]
    figure, known = figures(car), {sentence.lower() for sentence in truths(car)}
    for name, address in pages_of(car).items():
        if on_paper(name):
            client.get(address)
    texts = [words_of(markup) for markup in laid_out]
    showing = [text for text in texts if figure.search(text)]
    assert showing
    assert [text[:200] for text in showing if not any(words in text.lower() for words in known)] == []


@pytest.mark.parametrize("name", [REPLACED, NOT_KNOWN, FALSIFIED])
def test_the_plot_says_it_too(client, cars, lead, name):
    client.force_login(lead)
    text = words_of(client.get(reverse("vehicles:plots", args=[cars[name].pk])).content.decode())
    assert odometer.truth(cars[name]).sentence in text
