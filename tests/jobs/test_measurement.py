"""Measurements: unit, limits with their source, and a verdict that is computed."""

from __future__ import annotations

import html
import re
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from jobs.acts import measurement as acts
from jobs.models import Measurement
from tests.factories.job import job_in
from tests.factories.work import MeasurementFactory, WorkLineFactory, authorised_line, owner_of
from tests.once import once
from tests.people import by
from vehicles.models import Place
from workshop.engineering.units import Amount


@once
def job(car, lead):
    return job_in("in_work", person=lead, vehicle=car)


@once
def line(job, car, lead):
    return authorised_line(job=job, person=lead, owner=owner_of(car, lead))


@pytest.mark.parametrize(
    ("value", "low", "high", "verdict"),
    [
        # Limits are inclusive, and compared as numbers: 9.5 is less than 10.
        ("3", "3", None, "within"),
        ("2.9999", "3", None, "below"),
        ("9.5", "9.4", "10", "within"),
        ("10.1", "9.5", "10", "above"),
        ("-1.5", "-1.2", "0", "below"),
        ("5", None, None, "no_limit"),
    ],
)
def test_the_verdict_is_computed(line, technician, value, low, high, verdict):
    row = MeasurementFactory(
        person=technician,
        line=line,
        reading=Amount(Decimal(value), "mm"),
        low=Decimal(low) if low else None,
        high=Decimal(high) if high else None,
        limit_source="maker's data, sheet 12" if low or high else "",
    )
    row.refresh_from_db()
    assert row.verdict == verdict
    assert row.fails is (verdict in ("below", "above"))


def test_a_reading_keeps_its_unit_and_has_a_base_value(line, technician):
    row = MeasurementFactory(
        person=technician, line=line, reading=Amount(Decimal("2.3"), "bar"), low=None, limit_source=""
    )
    # 1 bar = 100 kPa (BIPM SI Brochure, table 8)
    assert (row.value, row.unit, row.base_value) == (Decimal("2.3"), "bar", Decimal(230))
    assert row.reading == "2.3 bar"


def test_limits_in_words(line, technician):
    def words(low, high):
        return MeasurementFactory(
            person=technician, line=line, low=low and Decimal(low), high=high and Decimal(high)
        ).limits_words

    assert words("3", None) == "at least 3 mm"
    assert words(None, "10.5") == "at most 10.5 mm"
    assert words("3", "10.5") == "3 to 10.5 mm"


def test_a_limit_names_its_source(line, technician):
    with pytest.raises(ValidationError, match="Say where the limit comes from") as refused:
        MeasurementFactory(person=technician, line=line, limit_source=" ")
    assert "limit_source" in refused.value.error_dict


def test_limits_stand_in_order(line, technician):
    with pytest.raises(ValidationError, match="can't be below the lowest") as refused:
        MeasurementFactory(person=technician, line=line, low=Decimal("9.5"), high=Decimal("9.4"))
    assert "high" in refused.value.error_dict


@pytest.mark.parametrize(
    ("field", "amounts"),
    [
        ("reading", {"reading": Amount(Decimal("0.00001"), "mm")}),
        ("reading", {"reading": Amount(Decimal(10**9), "mm")}),
        ("low", {"low": Decimal("0.00001")}),
    ],
)
def test_what_can_not_be_kept_exactly_is_refused(line, technician, field, amounts):
    with pytest.raises(ValidationError) as refused:
        MeasurementFactory(person=technician, line=line, **amounts)
    assert field in refused.value.error_dict


def test_a_position_belongs_to_a_place(line, technician):
    discs = Place.objects.filter(positions="corner").first()
    with pytest.raises(ValidationError, match="Choose the place"):
        MeasurementFactory(person=technician, line=line, position="front_left")
    with pytest.raises(ValidationError, match="Say which one"):
        MeasurementFactory(person=technician, line=line, place=discs, position="inner_left")
    row = MeasurementFactory(person=technician, line=line, place=discs, position="front_left")
    assert row.get_position_display() == "front left"


def test_a_line_without_a_yes_takes_no_reading(job, lead, technician):
    with pytest.raises(ValidationError, match="not authorised"):
        MeasurementFactory(person=technician, line=WorkLineFactory(person=lead, job=job))


def test_the_front_desk_measures_nothing(line, front_desk):
    with pytest.raises(PermissionDenied, match="You may not record a measurement"):
        MeasurementFactory(person=front_desk, line=line)


def test_the_same_key_twice_is_one_measurement(line, technician):
    key = uuid4()
    reading = {"line": line, "what": "Play", "phase": "after", "reading": Amount(Decimal("0.1"), "mm")}
    assert acts.measure(by=by(technician, key=key), **reading) == acts.measure(
        by=by(technician, key=key), **reading
    )
    assert Measurement.objects.count() == 1


def test_a_measurement_in_error_stays_and_fails_nothing(line, technician):
    row = MeasurementFactory(person=technician, line=line, reading=Amount(Decimal(2), "mm"))
    assert row.fails
    struck = acts.strike_measurement(by=by(technician), measurement=row, reason="other side measured")
    assert not struck.fails
    assert list(line.measurements.counting()) == []
    with pytest.raises(ValidationError, match="taken back already"):
        acts.strike_measurement(by=by(technician), measurement=row, reason="again")


@pytest.mark.parametrize(
    "wrong",
    [
        {"verdict": "within"},  # 2 mm where 3 are asked for
        {"verdict": "no_limit"},
        {"limit_source": ""},
        {"high": Decimal(1)},
        {"position": "front_left"},
        {"value": Decimal(9)},
    ],
)
def test_the_database_keeps_the_computed_verdict(line, technician, wrong):
    row = MeasurementFactory(person=technician, line=line, reading=Amount(Decimal(2), "mm"))
    with pytest.raises(IntegrityError), transaction.atomic():
        Measurement.objects.filter(pk=row.pk).update(**wrong)


def test_a_form_with_comma_and_unit(client, line, technician):
    client.force_login(technician)
    url = reverse("jobs:measure", args=[line.pk])
    typed = {
        "key": str(uuid4()), "what": "Parking brake, left", "phase": "after", "reading_value": "1,25", "reading_unit": "kN",
        "low": "1,5", "limit_source": "maker's data, sheet 7", "instrument": "roller tester",
    }  # fmt: skip
    for changed, sentence in (
        ({"reading_unit": ""}, "Choose a unit"),
        ({"reading_value": "1.234,5"}, "could be read in two ways"),
        ({"limit_source": ""}, "Say where the limit comes from"),
        ({"what": ""}, "is needed here"),
    ):
        answer = client.post(url, {**typed, **changed})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert sentence in page
        assert "roller tester" in page
        assert "1,5" in page
    assert client.post(url, typed).status_code == 302
    row = Measurement.objects.get()
    assert (row.value, row.unit, row.low, row.verdict) == (Decimal("1.25"), "kN", Decimal("1.5"), "below")
    page = client.get(line.get_absolute_url()).content.decode()
    assert "1.25 kN" in page
    assert "Below the limit" in page
    assert "verdict-below" in page


def test_an_unknown_unit_is_refused(client, line, technician):
    client.force_login(technician)
    answer = client.post(
        reverse("jobs:measure", args=[line.pk]),
        {"key": str(uuid4()), "what": "x", "phase": "after", "reading_value": "1", "reading_unit": "furlong"},
    )
    assert answer.status_code == 422
    assert not Measurement.objects.exists()


def test_the_position_is_one_that_the_place_has(line, technician):
    lamps, alternator = Place.objects.get(pk="headlamps"), Place.objects.get(pk="alternator")
    for place, position in ((lamps, "front_left"), (lamps, ""), (alternator, "left")):
        with pytest.raises(ValidationError) as refused:
            MeasurementFactory(person=technician, line=line, place=place, position=position)
        assert list(refused.value.error_dict) == ["position"], (place, position)
    MeasurementFactory(person=technician, line=line, place=lamps, position="left")


def test_a_reading_before_the_work_leads_to_the_one_after(client, line, technician):
    lamps = Place.objects.get(pk="headlamps")
    known = {
        "what": "Light & glass", "place": lamps, "position": "left", "low": Decimal("3.5"),
        "limit_source": "sheet 12", "instrument": "gauge 4",
    }  # fmt: skip
    MeasurementFactory(person=technician, line=line, phase="before", **known)
    client.force_login(technician)
    page = client.get(line.get_absolute_url()).content.decode()
    link = html.unescape(re.search(r'href="([^"]+)">Measure again after', page)[1])
    form = client.get(link).context["form"]
    values = {name: form[name].value() for name in ("phase", "low", "high", *known)}
    assert values == {**known, "phase": "after", "place": "headlamps", "low": "3.5", "high": None}
    assert form["reading"].value() == ["", "mm"]
    MeasurementFactory(person=technician, line=line, phase="after", **known)
    assert "Measure again after" not in client.get(line.get_absolute_url()).content.decode()
