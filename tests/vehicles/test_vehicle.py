"""What a car is: its number asked about and kept as the car bears it, its plates, its page."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.test import RequestFactory
from django.urls import reverse

from tests.factories.vehicle import ReadingFactory, VehicleFactory
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles import panels
from vehicles.acts import vehicle as acts
from vehicles.models import Fault, IdentityReading, Registration, Vehicle
from vehicles.views.keeper import people_panel
from vehicles.views.odometer import odometer_panel
from vehicles.views.vehicle import identity_panel
from workshop.acting import ChangedMeanwhile
from workshop.models import Event, EventDetail

# Two numbers of the published check-digit examples kept in tests/engineering/test_identity.py.
GOOD_VIN = "1M8GDM9AXKP042788"
MODERN = {"make": "Halden", "model": "Drayman", "year": 2006}


def add(person, **fields):
    return acts.add_vehicle(by=by(person), **{**MODERN, **fields})


def refusal(field, call, *args, **kwargs) -> str:
    with pytest.raises(ValidationError) as refused:
        call(*args, **kwargs)
    return " ".join(refused.value.message_dict[field])


# Numbers


@pytest.mark.outside("49 CFR 565.15 (c): example 1M8GDM9AXKP042788, check digit X; ISO 3779: no I, O, Q")
def test_a_number_is_normalised_and_a_good_one_raises_no_question(lead, published):
    car = add(lead, number=" 1m8 gdm9a-xkp 042788 ")
    published.same(car.number, GOOD_VIN)
    assert car.number_questions == ""
    assert not car.as_stamped


@pytest.mark.parametrize(
    ("number", "said"),
    [
        ("1M8GDM9AXKPO42788", "“O” isn't used in a 17-character VIN"),
        ("1M8GDM9AXKP04278", "has 16 characters; vehicles since 1981 have 17"),
        (
            "1M8GDM9A1KP042788",
            "the check digit would be X. The check digit is mandatory in North America only",
        ),
    ],
)
def test_a_questionable_number_is_asked_about_and_kept_as_stamped(lead, number, said):
    sentence = refusal("number", add, lead, number=number)
    assert said in sentence
    assert "tick the box below" in sentence
    assert not Vehicle.objects.exists()
    car = add(lead, number=number, as_stamped=True)
    assert car.number == number
    assert said in car.number_questions
    assert car.as_stamped


def test_before_1981_a_frame_number_is_as_the_maker_liked(lead):
    car = add(lead, number="oq-4711", year=1980)
    assert (car.number, car.number_questions) == ("OQ4711", "")


def test_no_number_needs_its_reason_and_one_excludes_the_other(lead):
    assert "say why there is none" in refusal("__all__", add, lead, number="")
    assert "no letter and no digit" in refusal("number", add, lead, number=" - ")
    assert add(lead, number="", number_unknown_because="kit car, never given one").identity_key is None
    assert "one of the two" in refusal("__all__", add, lead, number=GOOD_VIN, number_unknown_because="rusty")


def test_one_car_per_vin_and_per_short_number_of_a_make(lead):
    first = add(lead, number=GOOD_VIN)
    with pytest.raises(ValidationError) as refused:
        add(lead, number=GOOD_VIN.lower(), make="Ostra")
    assert refused.value.error_dict["number"][0].other == first
    add(lead, number="F77", year=1970)
    assert "on record already" in refusal("number", add, lead, number="f 77", year=1971, make="HALDEN")
    assert add(lead, number="F77", year=1970, make="Ostra").pk


def test_the_database_keeps_one_car_per_number(lead, car):
    row = Vehicle(
        **by(lead).stamp(), make="X", model="Y", year=2000, number=car.number, identity_key=car.identity_key
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save(force_insert=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        Vehicle.objects.filter(pk=car.pk).update(number="", identity_key=None)


def test_years_that_cannot_be_are_refused(lead):
    assert "has not begun" in refusal("year", add, lead, number=GOOD_VIN, year=2090)
    assert "1885 to 2100" in refusal("__all__", add, lead, number="F1", year=1700)


def test_who_may_not_write_a_car_down(car_owner):
    with pytest.raises(PermissionDenied, match="write down what a car is"):
        add(car_owner, number=GOOD_VIN)


# Corrections


def test_a_correction_has_a_reason_and_both_texts_stand_in_the_log(lead, car):
    assert "Say why" in refusal(
        "reason", acts.correct_vehicle, by=by(lead), vehicle=car, seen_version=1, reason=" ", colour="sand"
    )
    acts.correct_vehicle(
        by=by(lead),
        vehicle=car,
        seen_version=1,
        reason="read on the block",
        engine_number="ha 40-17",
        notes="bought from a neighbour",
    )
    car.refresh_from_db()
    assert car.engine_number == "HA4017"
    assert Vehicle.objects.search("ha4017").get() == car
    event = Event.objects.order_by("-seq").first()
    assert '"engine_number":["","HA4017"]' in event.body
    # What may speak of people can be erased, so it is not in the chain.
    assert "neighbour" not in event.body
    assert "bought from a neighbour" in EventDetail.objects.get(event=event).words


def test_a_correction_asks_about_the_number_again_when_the_year_gives_cause(lead):
    old = add(lead, number="F77", year=1970)
    sentence = refusal(
        "number", acts.correct_vehicle, by=by(lead), vehicle=old, seen_version=1, reason="papers", year=1990
    )
    assert "has 3 characters" in sentence
    acts.correct_vehicle(
        by=by(lead), vehicle=old, seen_version=1, reason="papers", year=1990, as_stamped=True
    )
    old.refresh_from_db()
    assert old.as_stamped


def test_a_correction_onto_another_cars_number_is_refused(lead, car):
    other = add(lead, number=GOOD_VIN)
    sentence = refusal(
        "number",
        acts.correct_vehicle,
        by=by(lead),
        vehicle=car,
        seen_version=1,
        reason="mistyped",
        number=other.number,
    )
    assert str(other) in sentence


def test_two_people_correct_at_once(lead, front_desk, car):
    fields = {"vehicle": car, "seen_version": 1, "reason": "seen"}
    acts.correct_vehicle(by=by(lead), colour="sand", **fields)
    with pytest.raises(ChangedMeanwhile) as refused:
        acts.correct_vehicle(by=by(front_desk), colour="grey", **fields)
    assert refused.value.current["colour"] == "sand"


# The number as read on the car


def test_a_number_that_differs_is_a_major_fault_reported_once(technician, car):
    acts.read_identity(by=by(technician), vehicle=car, source="plate", number=car.number.lower())
    assert not Fault.objects.exists()
    for _ in range(2):
        row = acts.read_identity(
            by=by(technician), vehicle=car, source="stamping", number="WHD45RV0000123455"
        )
        assert row.differs
    fault = Fault.objects.get()
    assert fault.severity == "major"
    assert "WHD45RV0000123455" in fault.words
    assert car.number in fault.words


def test_plate_and_stamping_are_compared_where_the_car_has_no_number_on_record(technician, lead):
    car = add(lead, number="", number_unknown_because="papers lost")
    acts.read_identity(by=by(technician), vehicle=car, source="plate", number="A1234")
    row = acts.read_identity(by=by(technician), vehicle=car, source="control_unit", number="A1235")
    assert row.differs
    assert "Maker's plate: A1234" in Fault.objects.get().words


def test_not_readable_says_why_and_a_reading_is_never_altered(technician, car):
    assert "one of the two" in refusal(
        "__all__", acts.read_identity, by=by(technician), vehicle=car, source="plate"
    )
    row = acts.read_identity(
        by=by(technician), vehicle=car, source="plate", not_readable_because="painted over"
    )
    assert not row.differs
    with pytest.raises(IntegrityError), transaction.atomic():
        IdentityReading.objects.filter(pk=row.pk).update(number="X")


# Plates


def test_a_new_plate_ends_the_one_in_force(front_desk, car):
    acts.add_registration(by=by(front_desk), vehicle=car, plate="ql 06 ab", from_on=date(2006, 5, 1))
    acts.add_registration(by=by(front_desk), vehicle=car, plate="MX-17", from_on=date(2017, 5, 1))
    first, second = car.registrations.order_by("from_on")
    assert (first.plate, first.until_on) == ("QL 06 AB", date(2017, 5, 1))
    assert (second.plate, second.until_on) == ("MX-17", None)
    assert car.current_plate() == "MX-17"


def test_an_earlier_plate_is_history_and_says_until_when(front_desk, car):
    acts.add_registration(by=by(front_desk), vehicle=car, plate="MX-17", from_on=date(2017, 5, 1))
    earlier = {"vehicle": car, "plate": "QL 06", "from_on": date(2006, 5, 1)}
    assert "Say until when" in refusal("until_on", acts.add_registration, by=by(front_desk), **earlier)
    acts.add_registration(by=by(front_desk), **earlier, until_on=date(2017, 4, 30))
    assert car.current_plate() == "MX-17"


def test_plates_refused_with_their_reason(front_desk, lead, car):
    def plate(**fields):
        return acts.add_registration(by=by(front_desk), **{"vehicle": car, "plate": "QL 06", **fields})

    tomorrow = by(lead).day + timedelta(days=1)
    assert "lies in the future" in refusal("from_on", plate, from_on=tomorrow)
    assert "model year 2006" in refusal("from_on", plate, from_on=date(2004, 1, 1))
    assert "no letter and no digit" in refusal("plate", plate, plate=" - ")
    assert "can't end before" in refusal(
        "__all__", plate, from_on=date(2010, 1, 2), until_on=date(2010, 1, 1)
    )
    plate()
    other = add(lead, number=GOOD_VIN)
    with pytest.raises(ValidationError, match="in force on a car of the shop"):
        plate(vehicle=other, plate="ql-06")


def test_the_database_keeps_a_plate_on_one_car(front_desk, lead, car):
    acts.add_registration(by=by(front_desk), vehicle=car, plate="QL 06")
    other = add(lead, number=GOOD_VIN)
    row = Registration(**by(lead).stamp(), vehicle=other, plate="QL06", plate_key="QL06")
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save(force_insert=True)


def test_a_mistyped_plate_is_corrected_with_a_reason_on_the_version_seen(front_desk, lead, car):
    row = acts.add_registration(by=by(front_desk), vehicle=car, plate="QL 66")
    fields = {"registration": row, "seen_version": 1, "plate": "QL 06"}
    assert "Say why" in refusal("reason", acts.correct_registration, by=by(lead), reason="", **fields)
    acts.correct_registration(by=by(lead), reason="mistyped", **fields)
    row.refresh_from_db()
    assert (row.plate, row.plate_key) == ("QL 06", "QL06")
    assert Vehicle.objects.search("QL06").exists()
    assert not Vehicle.objects.search("QL66").exists()
    with pytest.raises(ChangedMeanwhile):
        acts.correct_registration(by=by(front_desk), reason="mistyped", **fields)


# Screens


def test_a_car_is_taken_on_through_its_form_once(client, lead):
    client.force_login(lead)
    sent = {"key": str(uuid4()), "number": "F 77", "make": "Ostra", "model": "1600", "year": "1975"}
    first = client.post(reverse("vehicles:vehicle-add"), sent)
    again = client.post(reverse("vehicles:vehicle-add"), sent)
    car = Vehicle.objects.get()
    assert first.headers["Location"] == again.headers["Location"] == car.get_absolute_url()


def test_a_refused_form_comes_back_filled_with_the_reason_beside_the_field(client, lead):
    client.force_login(lead)
    sent = {
        "key": str(uuid4()),
        "number": "1M8GDM9A1KP042788",
        "make": "Halden",
        "model": "Drayman",
        "year": "2006",
        "notes": "sand in the sills",
    }
    assert (
        'type="checkbox" name="as_stamped"'
        not in client.get(reverse("vehicles:vehicle-add")).content.decode()
    )
    page = client.post(reverse("vehicles:vehicle-add"), {**sent, "as_stamped": "False"})
    text = page.content.decode()
    assert page.status_code == 422
    assert 'type="checkbox" name="as_stamped"' in text
    assert "the check digit would be X" in text
    assert 'value="1M8GDM9A1KP042788"' in text
    assert "sand in the sills" in text
    assert client.post(reverse("vehicles:vehicle-add"), {**sent, "as_stamped": "on"}).status_code == 302
    assert Vehicle.objects.get().as_stamped


def test_a_number_on_record_leads_to_that_car_and_its_name_is_no_markup(client, lead):
    client.force_login(lead)
    first = add(lead, number=GOOD_VIN, model="<b>Drayman</b>")
    page = client.post(
        reverse("vehicles:vehicle-add"),
        {"key": str(uuid4()), "number": GOOD_VIN, "make": "Halden", "model": "Drayman", "year": "2006"},
    )
    text = page.content.decode()
    assert page.status_code == 422
    assert f'<a href="{first.get_absolute_url()}">2006 Halden &lt;b&gt;Drayman&lt;/b&gt;</a>' in text


def test_a_conflict_shows_both_texts_and_can_be_saved_again(client, lead, front_desk, car):
    client.force_login(front_desk)
    address = reverse("vehicles:vehicle-correct", args=[car.pk])
    assert 'name="seen_version" value="1"' in client.get(address).content.decode()
    acts.correct_vehicle(by=by(lead), vehicle=car, seen_version=1, reason="seen", colour="sand")
    sent = {
        "key": str(uuid4()),
        "seen_version": "1",
        "number": car.number,
        "as_stamped": "on",
        "make": car.make,
        "model": car.model,
        "variant": car.variant,
        "year": "2006",
        "colour": "grey",
        "reason": "told",
    }
    page = client.post(address, sent)
    text = page.content.decode()
    assert page.status_code == 422
    assert f"{lead} changed this at " in text
    assert '<p class="lines">sand</p>' in text
    assert 'value="grey"' in text
    assert 'name="seen_version" value="2"' in text
    assert client.post(address, {**sent, "seen_version": "2"}).status_code == 302


@pytest.mark.parametrize("name", ["vehicle", "vehicle-correct", "registration-add", "identity-read"])
def test_pages_open_for_staff_and_not_for_a_cars_owner(client, technician, car_owner, car, name):
    address = reverse(f"vehicles:{name}", args=[car.pk])
    client.force_login(technician)
    assert client.get(address).status_code == 200
    client.force_login(car_owner)
    assert client.get(address).status_code == 403
    assert client.post(address, {"key": str(uuid4())}).status_code == 403


def test_the_page_says_what_the_car_is(client, lead, car):
    acts.add_registration(by=by(lead), vehicle=car, plate="QL 06 AB")
    acts.correct_vehicle(by=by(lead), vehicle=car, seen_version=1, reason="seen", high_voltage=True)
    client.force_login(lead)
    text = client.get(car.get_absolute_url()).content.decode()
    assert "2006 Halden Drayman" in text
    assert "QL 06 AB" in text
    assert car.number in text
    assert "the check digit would be" in text
    assert "Only people qualified for it" in text
    assert text.index('id="identity"') < text.index('id="odometer"') < text.index('id="people"')


def test_a_head_note_is_shown_before_the_panels_and_silent_without_cause(monkeypatch, lead, car):
    monkeypatch.setattr(panels, "_head_notes", {})
    request = RequestFactory().get("/")
    request.user = lead
    said = {"text": "Do not move"}
    panels.add_head_note(panels.HeadNote(1, "t", "components/_tag.html", lambda request, vehicle: said))
    panels.add_head_note(panels.HeadNote(2, "n", "components/_tag.html", lambda request, vehicle: None))
    [drawn] = panels.head_notes(request, car)
    assert "Do not move" in drawn


def test_the_panels_ask_as_often_for_two_readings_as_for_thirty(lead, car, django_assert_num_queries):
    request = RequestFactory().get("/")
    request.user = lead
    _ = lead.roles

    def gather():
        fresh = Vehicle.objects.get(pk=car.pk)
        with django_assert_num_queries(5):
            found = odometer_panel(request, fresh)
            shown = [str(row) + row.made_by.name for row in found["readings"]]
            [row["reading"].made_by.name for row in identity_panel(request, fresh)["identity_readings"]]
            [row.keeper.name for row in people_panel(request, fresh)["people_now"]]
        return found, shown

    for km in (100, 200):
        ReadingFactory.create(lead, vehicle=car, km=km)
    gather()
    for n in range(28):
        ReadingFactory.create(lead, vehicle=car, km=300 + n)
        acts.add_registration(by=by(lead), vehicle=car, plate=f"QL {n}")
        acts.read_identity(by=by(lead), vehicle=car, source="plate", number=car.number)
    found, shown = gather()
    assert found["reading_count"] == 30
    assert shown[0].startswith("327 km")


def test_the_whole_page_asks_as_often_for_two_readings_as_for_thirty(
    client, lead, car, django_assert_max_num_queries
):
    client.force_login(lead)

    def count():
        with django_assert_max_num_queries(200) as captured:
            assert client.get(car.get_absolute_url()).status_code == 200
        return len(captured)

    for km in (100, 200):
        ReadingFactory.create(lead, vehicle=car, km=km)
    few = count()
    for n in range(28):
        ReadingFactory.create(lead, vehicle=car, km=300 + n)
        acts.add_registration(by=by(lead), vehicle=car, plate=f"QL {n}")
    VehicleFactory.create(lead)
    assert count() == few


@pytest.mark.every_database
def test_car_and_plate_in_one_form(client, front_desk):
    client.force_login(front_desk)
    address = reverse("vehicles:vehicle-add")
    sent = form_of(client, address) | {
        **MODERN,
        "number": GOOD_VIN,
        "plate": "ql 06-ab",
        "country": "Tarnshire",
    }
    for _ in range(2):
        assert client.post(address, sent).status_code == 302
    plate = Registration.objects.get()
    assert (plate.plate, plate.country, plate.vehicle.number) == ("QL 06-AB", "Tarnshire", GOOD_VIN)
    assert Vehicle.objects.search("ql06ab").get() == plate.vehicle


def test_a_refused_plate_takes_on_no_car(client, front_desk, car):
    acts.add_registration(by=by(front_desk), vehicle=car, plate="QL 06-AB")
    client.force_login(front_desk)
    address = reverse("vehicles:vehicle-add")
    sent = form_of(client, address) | {**MODERN, "number": GOOD_VIN}
    answer = client.post(address, sent | {"plate": "QL06AB"})
    assert answer.status_code == 422
    assert "in force on a car of the shop" in answer.context["form"].errors["plate"][0]
    answer = client.post(address, sent | {"country": "Tarnshire"})
    assert "Give the plate of this country" in answer.context["form"].errors["plate"][0]
    assert not Vehicle.objects.filter(number=GOOD_VIN).exists()
    assert client.post(address, sent).status_code == 302
    assert Registration.objects.count() == 1


def test_a_questioned_number_is_a_note(client, lead, car):
    Vehicle.objects.filter(pk=car.pk).update(number_questions="Looks short.", as_stamped=True)
    client.force_login(lead)
    page = client.get(car.get_absolute_url()).text
    assert "(this number was questioned; it is kept as the car bears it)" in page
    assert '<span class="flag">questioned' not in page
