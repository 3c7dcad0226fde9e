"""Work that was done elsewhere or before: written down with its source, never altered, in the history."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.urls import reverse

from tests.hand import Hand
from tests.people import by
from vehicles import odometer
from vehicles.acts import past_work as acts
from vehicles.acts.odometer import record_reading
from vehicles.models import OdometerReading, PastWork
from workshop.engineering.units import Amount


def add(person, car, **more):
    given = {"done_on": date(2015, 5, 4), "title": "Timing belt", "source": "service book, page 7", **more}
    return acts.add_past_work(by=by(person), vehicle=car, **given)


def refusal(person, car, **more) -> dict:
    with pytest.raises(ValidationError) as refused:
        add(person, car, **more)
    return refused.value.message_dict


def test_a_line_of_a_service_book(front_desk, car):
    row = add(front_desk, car, odometer=Amount(Decimal(60000), "km"), amount=Decimal("410.50"))
    assert row.odometer.value == 60000
    assert row.odometer.read_at.date() == row.done_on
    page = Hand(front_desk).see("vehicles:past-work", car)
    for words in ("Timing belt", "service book, page 7", "4 May 2015", "410.50", "60000 km"):
        assert words in page
    assert "Timing belt" in Hand(front_desk).see("vehicles:history", car)
    assert "Timing belt" in Hand(front_desk).see("vehicles:vehicle", car)


@pytest.mark.parametrize(("known", "said"), [("month", "May 2015"), ("year", "2015")])
def test_a_day_is_as_exact_as_it_is_known(front_desk, car, known, said):
    assert add(front_desk, car, day_known=known).day_words == said


@pytest.mark.parametrize(
    ("more", "field", "said"),
    [
        ({"title": " "}, "title", "blank"),
        ({"source": " "}, "source", "blank"),
        ({"amount": Decimal(-1)}, "__all__", "0 or more"),
        ({"done_on": date(2001, 1, 1)}, "done_on", "model year"),
        ({"odometer": Amount(Decimal(1), "km"), "day_known": "year"}, "odometer", "needs its day"),
    ],
)
def test_what_is_refused(front_desk, car, more, field, said):
    assert said in " ".join(refusal(front_desk, car, **more)[field])
    assert not PastWork.objects.exists()
    assert not OdometerReading.objects.filter(vehicle=car, read_at__year=2015).exists()


def test_tomorrow_is_refused(front_desk, car):
    day = by(front_desk).day + timedelta(days=1)
    assert "future" in refusal(front_desk, car, done_on=day)["done_on"][0]


def test_a_reading_that_falls_is_asked_about_once(front_desk, car):
    record_reading(by=by(front_desk), vehicle=car, amount=Amount(Decimal(90000), "km"))
    before = {flag.code for flag in odometer.truth(car).flags}
    assert "lower_because" in refusal(front_desk, car, odometer=Amount(Decimal(95000), "km"))
    add(front_desk, car, odometer=Amount(Decimal(95000), "km"), lower_because="a slip of the book")
    assert {flag.code for flag in odometer.truth(car).flags} > before


def test_it_is_set_aside_once_and_stays_in_sight(front_desk, car):
    row = acts.set_past_work_aside(by=by(front_desk), past_work=add(front_desk, car), reason="another car")
    with pytest.raises(ValidationError, match="another car"):
        acts.set_past_work_aside(by=by(front_desk), past_work=row, reason="again")
    page = Hand(front_desk).see("vehicles:past-work", car)
    assert "<s>Timing belt</s>" in page
    assert "another car" in page


@pytest.mark.parametrize("change", [{"title": "x"}, {"amount": 3}, {"done_on": date(2014, 1, 1)}])
def test_the_database_keeps_it_as_written(front_desk, car, change):
    row = add(front_desk, car)
    with pytest.raises(DatabaseError), transaction.atomic():
        PastWork.objects.filter(pk=row.pk).update(**change)
    with pytest.raises(DatabaseError), transaction.atomic():
        PastWork.objects.filter(pk=row.pk)._raw_delete("default")


def test_the_form_comes_back_filled(front_desk, car):
    hand = Hand(front_desk)
    refused = hand.try_to("vehicles:past-work-add", car, title="Belt", source="book", done_on="2001-02-03")
    assert refused.status_code == 422
    assert "model year" in refused.text
    assert 'value="Belt"' in refused.text
    hand.do("vehicles:past-work-add", car, title="Belt", source="book", done_on="2016-02-03")
    assert PastWork.objects.get().title == "Belt"


def test_many_lines_ask_no_more_than_few(front_desk, car, django_assert_num_queries):
    client, url = Hand(front_desk).client, reverse("vehicles:past-work", args=[car.pk])
    add(front_desk, car, odometer=Amount(Decimal(60000), "km"))
    client.get(url)
    with django_assert_num_queries(9):
        client.get(url)
    for number in range(12):
        add(front_desk, car, title=f"Work {number}", odometer=Amount(Decimal(60000), "km"))
    with django_assert_num_queries(9):
        client.get(url)
