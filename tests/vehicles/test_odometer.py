"""Odometers: read, doubted once, replaced; the true distance is a sum over instruments or said to be unknown."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.people import by
from vehicles import odometer
from vehicles.acts import odometer as acts
from vehicles.acts import vehicle as vehicles
from vehicles.models import Instrument, OdometerReading
from workshop.engineering.units import Amount
from workshop.models import Shop

MILE = Decimal("1.609344")


def at(year, month=1, day=1, hour=12):
    return timezone.make_aware(datetime(year, month, day, hour))  # noqa: DTZ001


def km(value):
    return Amount(Decimal(str(value)), "km")


def mi(value):
    return Amount(Decimal(str(value)), "mi")


def refusal(field, call, *args, **kwargs) -> str:
    with pytest.raises(ValidationError) as refused:
        call(*args, **kwargs)
    return " ".join(refused.value.message_dict[field])


@pytest.fixture
def read(technician, car):
    def read(amount, moment=None, **kwargs):
        return acts.record_reading(by=by(technician), vehicle=car, amount=amount, read_at=moment, **kwargs)

    return read


@pytest.fixture
def replace(technician, car):
    def replace(day, old_last, new_first, **kwargs):
        return acts.replace_instrument(
            by=by(technician),
            vehicle=car,
            replaced_on=day,
            old_last=old_last,
            new_first=new_first,
            **{"replaced_because": "display dark", **kwargs},
        )

    return replace


# Reading


def test_the_first_reading_makes_the_first_instrument_whose_beginning_is_not_known(read, car):
    reading = read(mi(92040), at(2020))
    assert (reading.instrument.order, reading.instrument.unit, reading.instrument.first) == (1, "mi", None)
    read(mi(92140), at(2021))
    found = odometer.truth(car)
    assert found.km is None
    assert found.since_km == 100 * MILE
    assert found.sentence == "True distance is not known before 1 Jan 2020; 161 km since then."


def test_counting_since_new_is_said_when_it_is_known(read, car):
    read(km(148210), at(2020), since_new=True)
    assert odometer.truth(car).sentence == "True distance 148210 km."


def test_a_car_without_a_reading_says_so(car):
    assert (
        odometer.truth(car).sentence == "True distance is not known: there is no odometer reading on record."
    )
    assert odometer.latest_reading(car) is None


def test_not_readable_has_its_reason_and_leaves_the_unit_open(read, car):
    assert "one of the two" in refusal("amount", read, None)
    assert "one of the two" in refusal("amount", read, km(5), not_readable_because="dark")
    reading = read(None, at(2020), not_readable_because="display dark")
    assert str(reading) == "not readable: display dark"
    assert reading.instrument.unit == Shop.current().distance_unit == "km"
    assert read(mi(92040), at(2021)).instrument.unit == "mi"
    assert "counts in mi; 92050 km was typed" in refusal("amount", read, km(92050), at(2022))


def test_values_that_cannot_be(read, technician, car):
    assert "Give 3000000 km or less; 3000001 km was typed" in refusal("amount", read, km(3000001))
    assert "Give 1864113 mi or less" in refusal("amount", read, mi(1864114))
    assert "0 or more" in refusal("amount", read, km(-1))
    assert "at most one decimal" in refusal("amount", read, km("10.25"))
    assert "kilometres or miles" in refusal("amount", read, Amount(Decimal(5), "mm"))
    assert "future" in refusal("read_at", read, km(5), timezone.now() + timedelta(hours=1))
    assert "model year 2006" in refusal("read_at", read, km(5), at(2004))
    assert not OdometerReading.objects.exists()
    assert read(km(3000000), at(2005)).value == 3000000


def test_who_may_not(car_owner, front_desk, car):
    with pytest.raises(PermissionDenied):
        acts.record_reading(by=by(car_owner), vehicle=car, amount=km(5))
    with pytest.raises(PermissionDenied):
        acts.replace_instrument(
            by=by(front_desk), vehicle=car, replaced_on=date(2020, 1, 1), old_last=None, new_first=km(0), replaced_because="x"
        )  # fmt: skip


def test_the_same_key_twice_is_one_reading(technician, car):
    key = uuid4()
    first, again = (
        acts.record_reading(by=by(technician, key=key), vehicle=car, amount=km(5)) for _ in range(2)
    )
    assert first == again
    assert OdometerReading.objects.count() == 1


# Lower than before


def test_a_lower_reading_is_asked_about_once_then_kept_and_flagged(read, car):
    read(km(148210), at(2020), since_new=True)
    sentence = refusal("lower_because", read, km(14850), at(2021))
    assert "14850 km is lower than 148210 km, read on 1 Jan 2020" in sentence
    kept = read(km(14850), at(2021), lower_because="a digit is dark")
    assert kept.lower_because == "a digit is dark"
    # Once: what comes after is judged by the latest.
    assert read(km(14900), at(2022)).lower_because == ""
    [flag, *_] = odometer.truth(car).flags
    assert flag.message.startswith("14850 km on 1 Jan 2021 is lower than 148210 km before")


def test_a_reason_without_a_doubt_flags_nothing(read):
    read(km(100), at(2020))
    assert read(km(200), at(2021), lower_because="left over from the first try").lower_because == ""


def test_a_late_reading_slots_in_between_its_neighbours_in_time(read):
    read(km(100), at(2018))
    read(km(300), at(2020))
    assert "99 km is lower than 100 km, read on 1 Jan 2018" in refusal(
        "lower_because", read, km(99), at(2019)
    )
    assert "301 km is higher than 300 km, read later, on 1 Jan 2020" in refusal(
        "lower_because", read, km(301), at(2019)
    )
    assert read(km(200), at(2019)).lower_because == ""
    assert "higher than 100 km" in refusal("lower_because", read, km(150), at(2017))
    assert read(km(50), at(2017)).lower_because == ""
    # A flagged reading is no bound for those before it.
    read(km(20), at(2021), lower_because="set back by a former owner")
    assert read(km(310), at(2020, 6)).lower_because == ""


def test_a_misread_figure_is_set_aside_and_counts_as_nothing(read, technician, car):
    read(km(148000), at(2019), since_new=True)
    wrong = read(km(1482100), at(2020))
    assert "lower than 1482100 km" in refusal("lower_because", read, km(148300), at(2021))
    assert "Say what was misread" in refusal(
        "reason", acts.set_aside, by=by(technician), reading=wrong, reason=" "
    )
    acts.set_aside(by=by(technician), reading=wrong, reason="a digit too many")
    with pytest.raises(ValidationError, match="on record for the reading already"):
        acts.set_aside(by=by(technician), reading=wrong, reason="again")
    assert read(km(148300), at(2021)).lower_because == ""
    assert odometer.truth(car).km == 148300
    wrong.refresh_from_db()
    assert (wrong.value, wrong.misread_because) == (1482100, "a digit too many")


def test_the_database_keeps_what_was_read(read):
    reading = read(km(100), at(2020))
    rows = OdometerReading.objects.filter(pk=reading.pk)
    for change in ({"value": 50}, {"read_at": at(2019)}, {"value": None}, {"value": 3000001}):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(**change)
    with pytest.raises(IntegrityError), transaction.atomic():
        rows.delete()
    rows.update(misread_because="a slip")
    with pytest.raises(IntegrityError), transaction.atomic():
        rows.update(misread_because="")


# Instruments


@pytest.mark.outside("NIST SP 811 (2008), appendix B.8: 1 mile = 1.609344 km")
def test_true_distance_is_a_sum_over_instruments(read, replace, car, published):
    read(km(90000), at(2015), since_new=True)
    new = replace(date(2018, 5, 1), km(100000), mi(12), notice="door frame")
    assert (new.order, new.unit, new.first, new.notice) == (2, "mi", 12, "door frame")
    old = Instrument.objects.get(order=1)
    assert (old.last, old.removed_on, old.replaced_because) == (100000, date(2018, 5, 1), "display dark")
    read(mi(1012), at(2019))
    found = odometer.truth(car)
    published.close(found.km, Decimal("101609.344"), within=0.0001, unit="km", what="100000 km and 1000 mi")
    assert found.sentence == "True distance 101609 km over 2 instruments."


def test_an_unknown_last_reading_hides_what_was_before(read, replace, car):
    read(km(90000), at(2015), since_new=True)
    replace(date(2018, 5, 1), None, km(0))
    read(km(30), at(2019))
    assert odometer.truth(car).sentence == "True distance is not known before 1 May 2018; 30 km since then."


def test_a_late_reading_goes_to_the_instrument_of_its_day(read, replace):
    read(km(90000), at(2015))
    replace(date(2018, 5, 1), km(100000), km(0))
    assert read(km(95000), at(2017)).instrument.order == 1
    assert read(km(400), at(2018, 6)).instrument.order == 2
    assert "higher than 100000 km, its reading when removed" in refusal(
        "lower_because", read, km(100001), at(2018, 4)
    )
    old = Instrument.objects.get(order=1)
    assert read(km(100000), at(2018, 5), instrument=old).instrument == old
    assert "was not in the car" in refusal("instrument", read, km(100000), at(2019), instrument=old)


def test_replacements_that_cannot_be(read, replace, technician):
    read(km(90000), at(2015))
    today = by(technician).day
    assert "lies in the future" in refusal("replaced_on", replace, today + timedelta(days=1), None, km(0))
    assert "had no odometer" in refusal("replaced_on", replace, date(2001, 1, 1), None, km(0))
    assert "was read on 1 Jan 2015" in refusal("replaced_on", replace, date(2014, 1, 1), None, km(0))
    day = date(2018, 5, 1)
    assert "89999 km is lower than 90000 km" in refusal("old_last", replace, day, km(89999), km(0))
    assert "counts in km" in refusal("old_last", replace, day, mi(99999), km(0))
    assert "3000000 km or less" in refusal("new_first", replace, day, None, km(4000000))
    assert "Say why" in refusal("replaced_because", replace, day, None, km(0), replaced_because=" ")
    replace(day, km(90000), km(500))
    assert "was fitted on 1 May 2018" in refusal("replaced_on", replace, date(2018, 4, 1), None, km(0))
    assert "lower than 500 km, its reading when fitted" in refusal("lower_because", read, km(3), at(2019))


def test_two_people_record_one_replacement(read, replace):
    read(km(90000), at(2015))
    seen = Instrument.objects.get()
    replace(date(2018, 5, 1), km(90000), km(0), old_instrument=seen)
    with pytest.raises(ValidationError, match="Somebody recorded a replacement of this instrument meanwhile"):
        replace(date(2018, 5, 2), km(90000), km(0), old_instrument=seen)
    assert Instrument.objects.count() == 2


def test_the_database_keeps_one_instrument_in_the_car(read, technician, car):
    read(km(90000), at(2015))
    second = Instrument(**by(technician).stamp(), vehicle=car, order=2, unit="km")
    with pytest.raises(IntegrityError), transaction.atomic():
        second.save(force_insert=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        Instrument.objects.update(first=5, last=4, removed_on=date(2020, 1, 1))


def test_what_an_instrument_began_at_is_said_later_once(read, technician, car):
    instrument = read(km(90000), at(2015)).instrument

    def say(first, **kwargs):
        return acts.state_first(
            by=by(technician), instrument=instrument, **{"first": first, "estimate_note": "invoice", **kwargs}
        )

    assert "Say how this is known" in refusal("estimate_note", say, km(0), estimate_note="")
    assert "counts in km" in refusal("first", say, mi(0))
    assert "90001 km is above 90000 km" in refusal("first", say, km(90001))
    say(km(40000))
    assert odometer.truth(car).km == 50000
    with pytest.raises(ValidationError, match="on record already: 40000 km"):
        say(km(0))


# Distance that is not true


def test_distance_under_tyres_that_falsify_is_marked_and_never_summed(read, car):
    read(km(1000), at(2015), since_new=True)
    read(km(5000), at(2016), falsified_by="tyres too large")
    read(km(6000), at(2017))
    read(km(9000), at(2018))
    found = odometer.truth(car)
    # Fitted somewhere after 1000, taken off somewhere before 6000: neither stretch is true for certain.
    assert (found.km, found.falsified_km) == (4000, 5000)
    assert "Besides, 5000 km were shown with tyres that falsify the odometer." in found.sentence


def test_tyres_that_falsify_stay_on_when_the_instrument_is_replaced(read, replace, car):
    read(km(1000), at(2015), since_new=True)
    read(km(2000), at(2016), falsified_by="tyres too large")
    replace(date(2017, 1, 1), km(2500), km(0))
    read(km(300), at(2018))
    read(km(400), at(2019))
    found = odometer.truth(car)
    assert (found.km, found.falsified_km) == (1100, 1800)


def test_tyres_found_later_mark_the_reading_afterwards(read, technician, car):
    read(km(1000), at(2015), since_new=True)
    reading = read(km(2000), at(2016))
    acts.mark_falsified(by=by(technician), reading=reading, falsified_by="tyres too large")
    assert (odometer.truth(car).km, odometer.truth(car).falsified_km) == (1000, 1000)
    with pytest.raises(ValidationError, match="already: tyres too large"):
        acts.mark_falsified(by=by(technician), reading=reading, falsified_by="other")


# Between readings


def test_distance_between_two_readings_goes_over_instruments(read, replace):
    first = read(km(90000), at(2015))
    replace(date(2018, 5, 1), km(100000), mi(0))
    last = read(mi(100), at(2019))
    read(mi(900), at(2020))
    assert odometer.distance_between(first, last).km == 10000 + 100 * MILE
    assert odometer.distance_between(first, first).km == 0
    assert odometer.true_km_at(last) is None
    with pytest.raises(ValueError, match="later one"):
        odometer.distance_between(last, first)


def test_distance_between_is_unknown_over_a_gap(read, replace):
    first = read(km(90000), at(2015))
    replace(date(2018, 5, 1), None, km(0))
    last = read(km(100), at(2019))
    assert odometer.distance_between(first, last).km is None


def test_true_distance_at_an_earlier_reading(read, replace):
    first = read(km(90000), at(2015), since_new=True)
    replace(date(2018, 5, 1), km(100000), km(0))
    last = read(km(100), at(2019))
    assert (odometer.true_km_at(first), odometer.true_km_at(last)) == (90000, 100100)
    unread = read(None, at(2018, 6), not_readable_because="dark")
    assert odometer.true_km_at(unread) == 100000


steps = st.lists(
    st.tuples(
        st.sampled_from(["read", "read", "replace"]),
        st.decimals(min_value=0, max_value=20000, places=1),
        st.sampled_from(["km", "mi"]),
        st.booleans(),
    ),
    min_size=1,
    max_size=7,
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=steps, start=st.decimals(min_value=0, max_value=5000, places=1))
def test_what_was_driven_is_what_the_acts_add_up_to(lead, steps, start):
    """A car is driven step by step; whatever instruments came and went, and in whatever order the readings were
    typed, true and falsified distance are what was driven."""
    with transaction.atomic():
        car = vehicles.add_vehicle(
            by=by(lead), number=f"F{uuid4().hex[:12]}", make="Ostra", model="X", year=1970
        )
        unit, shown, day, rows = "km", Decimal(0), date(2000, 1, 1), []
        acts.record_reading(
            by=by(lead), vehicle=car, amount=Amount(start, unit), read_at=at(2000), since_new=True
        )
        shown = start
        driven = [(start, False)]
        for what, distance, other_unit, falsified in steps:
            day += timedelta(days=10)
            shown += distance
            factor = MILE if unit == "mi" else Decimal(1)
            if what == "read":
                rows.append((Amount(shown, unit), day, falsified))
                driven.append((distance * factor, falsified))
            else:
                for amount, when, wrong in reversed(rows):
                    acts.record_reading(
                        by=by(lead), vehicle=car, amount=amount, read_at=at(when.year, when.month, when.day),
                        falsified_by="tyres" if wrong else "",
                    )  # fmt: skip
                rows = []
                acts.replace_instrument(
                    by=by(lead), vehicle=car, replaced_on=day, old_last=Amount(shown, unit),
                    new_first=Amount(Decimal(7), other_unit), replaced_because="worn",
                )  # fmt: skip
                driven.append((distance * factor, None))
                unit, shown = other_unit, Decimal(7)
        for amount, when, wrong in reversed(rows):
            acts.record_reading(
                by=by(lead), vehicle=car, amount=amount, read_at=at(when.year, when.month, when.day),
                falsified_by="tyres" if wrong else "",
            )  # fmt: skip
        found = odometer.truth(car)
        # A stretch is doubtful when the reading before or after it was falsified; a replacement has neither mark
        # of its own, so the marks reach across it.
        marks = [mark for _, mark in driven]
        doubtful = Decimal(0)
        for index, (distance, _) in enumerate(driven):
            before = next((m for m in reversed(marks[:index]) if m is not None), False)
            here = next((m for m in marks[index:] if m is not None), False)
            doubtful += distance if before or here else Decimal(0)
        total = sum(distance for distance, _ in driven)
        assert found.km is not None
        assert abs(found.falsified_km - doubtful) < Decimal("1e-12")
        assert abs(found.km - (total - doubtful)) < Decimal("1e-12")
        transaction.set_rollback(True)


# Screens


def test_a_lower_reading_comes_back_with_the_question_and_is_then_kept(client, technician, read, car):
    read(km(148210), at(2020))
    client.force_login(technician)
    address = reverse("vehicles:odometer-add", args=[car.pk])
    assert "selected>km" in client.get(address).content.decode()
    sent = {"key": str(uuid4()), "amount_value": "14850", "amount_unit": "km", "read_at": "2021-01-01T12:00"}
    assert 'type="hidden" name="lower_because"' in client.get(address).content.decode()
    page = client.post(address, sent)
    text = page.content.decode()
    assert page.status_code == 422
    assert 'type="text" name="lower_because"' in text
    assert 'id="id_lower_because_error"' in text
    assert "14850 km is lower than 148210 km, read on 1 Jan 2020" in text
    assert 'value="14850"' in text
    assert client.post(address, {**sent, "lower_because": "a digit is dark"}).status_code == 302
    text = client.get(car.get_absolute_url()).content.decode()
    assert "a digit is dark" in text
    assert "out of order" in text


def test_a_number_without_a_unit_is_refused(client, technician, car):
    client.force_login(technician)
    page = client.post(
        reverse("vehicles:odometer-add", args=[car.pk]),
        {"key": str(uuid4()), "amount_value": "5", "amount_unit": ""},
    )
    assert page.status_code == 422
    assert "Choose a unit" in page.content.decode()


def test_a_replacement_through_its_form_and_the_sentence_on_the_page(client, technician, read, car):
    read(km(90000), at(2015), since_new=True)
    client.force_login(technician)
    address = reverse("vehicles:instrument-replace", args=[car.pk])
    assert str(Instrument.objects.get().pk) in client.get(address).content.decode()
    sent = {
        "key": str(uuid4()),
        "old_instrument": str(Instrument.objects.get().pk),
        "replaced_on": "2018-05-01",
        "old_last_value": "95000,5",
        "old_last_unit": "km",
        "new_first_value": "0",
        "new_first_unit": "mi",
        "replaced_because": "display dark",
    }
    assert client.post(address, sent).status_code == 302
    assert client.post(address, sent).status_code == 302
    late = client.post(address, {**sent, "key": str(uuid4()), "replaced_on": "2018-05-02"})
    assert late.status_code == 422
    assert "Somebody recorded a replacement" in late.content.decode()
    assert Instrument.objects.count() == 2
    text = client.get(car.get_absolute_url()).content.decode()
    assert "True distance 95001 km over 2 instruments." in text


def test_mending_a_reading_through_its_pages(client, technician, read, car):
    read(km(1000), at(2015), since_new=True)
    reading = read(km(2000), at(2016))
    client.force_login(technician)
    for name, sent in (
        ("odometer-falsified", {"falsified_by": "tyres"}),
        ("odometer-set-aside", {"reason": "slip"}),
    ):
        address = reverse(f"vehicles:{name}", args=[reading.pk])
        assert client.get(address).status_code == 200
        assert client.post(address, {"key": str(uuid4())}).status_code == 422
        assert client.post(address, {"key": str(uuid4()), **sent}).status_code == 302
    text = client.get(reverse("vehicles:odometer", args=[car.pk])).content.decode()
    assert "set aside" in text
    assert "True distance 1000 km." in text
    # A reading that is set aside marks nothing: what was seen there is not known to have been fitted.
    assert odometer.truth(car).falsified_km == 0


def test_the_first_reading_of_an_instrument_through_its_page(client, technician, read, car):
    instrument = read(km(90000), at(2015)).instrument
    client.force_login(technician)
    address = reverse("vehicles:instrument-first", args=[instrument.pk])
    assert client.get(address).status_code == 200
    sent = {
        "key": str(uuid4()),
        "first_value": "0",
        "first_unit": "km",
        "estimate_note": "first owner's word",
    }
    assert client.post(address, sent).status_code == 302
    assert "True distance 90000 km." in client.get(car.get_absolute_url()).content.decode()


def test_a_car_without_readings_has_its_pages(client, technician, front_desk, car_owner, car):
    addresses = [
        reverse(f"vehicles:{name}", args=[car.pk])
        for name in ("odometer", "odometer-add", "instrument-replace")
    ]
    for person, statuses in (
        (technician, [200, 200, 200]),
        (front_desk, [200, 200, 403]),
        (car_owner, [403] * 3),
    ):
        client.force_login(person)
        assert [client.get(address).status_code for address in addresses] == statuses


def test_a_long_history_is_paged_and_asks_as_often_as_a_short_one(
    client, technician, read, car, django_assert_max_num_queries
):
    client.force_login(technician)
    address = reverse("vehicles:odometer", args=[car.pk])

    def count():
        with django_assert_max_num_queries(50) as captured:
            assert client.get(address).status_code == 200
        return len(captured)

    for n in range(2):
        read(km(n), at(2010, 1, n + 1))
    few = count()
    for n in range(58):
        read(km(10 + n), at(2011, 1 + n // 28, 1 + n % 28))
    assert count() == few
    assert "Page 1 of 2" in client.get(address).content.decode()
