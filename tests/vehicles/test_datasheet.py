"""Data sheets and figures: what is refused in words, what stays readable, and that two people lose nothing."""

from __future__ import annotations

from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, transaction
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from tests.factories.datasheet import SheetFactory, amount, known
from tests.factories.part import PartFactory
from tests.once import once
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles import timeline
from vehicles.acts import datasheet as acts
from vehicles.acts import part as parts
from vehicles.figure_checks import problems
from vehicles.figure_rules import check_row, keys_for
from vehicles.figures import cars_of
from vehicles.models import Confidence, DataSheet, Figure, Place, SheetOfVehicle
from workshop.acting import ChangedMeanwhile
from workshop.engineering.items import ITEMS, KEYS
from workshop.engineering.units import Amount
from workshop.models import Event


def refusal(act, **arguments) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        act(**arguments)
    return caught.value.message_dict


@once
def sheet(lead):
    return SheetFactory(person=lead)


@pytest.fixture
def wheelbase(lead, sheet):
    return acts.give_figure(by=by(lead), owner=sheet, key="wheelbase", value=amount("2500 mm"), source="maker",
                            source_words="manual, p. 12")  # fmt: skip


# --- sheets ------------------------------------------------------------------------------------------------------


def test_a_sheet_has_a_name_of_its_own(lead, sheet):
    assert "use that one" in refusal(acts.add_sheet, by=by(lead), name=f" {sheet.name.upper()} ")["name"][0]
    assert "Name the type" in refusal(acts.add_sheet, by=by(lead), name="  ")["name"][0]
    other = SheetFactory(person=lead)
    assert (
        "tells them apart"
        in refusal(acts.correct_sheet, by=by(lead), sheet=other, seen_version=1, name=sheet.name)["name"][0]
    )


def test_what_a_sheet_is_based_on_stays(lead, sheet):
    """In the database too: a row of sheets never runs in a circle."""
    variant = SheetFactory(person=lead, based_on=sheet)
    for pk, base in ((sheet.pk, variant.pk), (variant.pk, None)):
        with pytest.raises(DatabaseError), transaction.atomic():
            DataSheet.objects.filter(pk=pk).update(based_on=base)
    acts.correct_sheet(by=by(lead), sheet=variant, seen_version=1, name="another name")


def test_a_sheet_holds_for_a_car_by_something_known(lead, car, sheet):
    assert (
        "how it is known" in refusal(acts.choose_sheet, by=by(lead), vehicle=car, sheet=sheet)["because"][0]
    )
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=sheet, because="type plate")
    again = refusal(acts.choose_sheet, by=by(lead), vehicle=car, sheet=sheet, because="type plate")
    assert "holds for this car already" in again["sheet"][0]
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=None, because="another engine than the plate says")
    assert SheetOfVehicle.objects.filter(vehicle=car).count() == 2
    with pytest.raises(DatabaseError), transaction.atomic():
        SheetOfVehicle.objects.filter(vehicle=car).update(because="")


def test_a_new_sheet_holds_for_the_car_that_it_was_made_for(lead, car, sheet):
    made = acts.add_sheet(by=by(lead), name="Drayman", based_on=sheet, vehicle=car, because="type plate")
    assert SheetOfVehicle.objects.get(vehicle=car).sheet == made


def test_who_may_not_write_figures(front_desk, sheet):
    with pytest.raises(PermissionDenied, match="write down figures"):
        known(front_desk, sheet, {"wheelbase": "2500 mm"})


def test_a_sheet_knows_its_cars(client, front_desk, lead, car, sheet):
    other = SheetFactory(person=lead)
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=other, because="type plate")
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=sheet, because="engine number")
    assert cars_of() == {sheet.pk: [car]}
    assert cars_of(other) == {}
    client.force_login(front_desk)
    assert car.name in client.get(sheet.get_absolute_url()).content.decode()
    assert car.name not in client.get(other.get_absolute_url()).content.decode()


# --- what is refused, with the range ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("wheelbase", "2500 kg", "kg is a unit of mass; here it is mm, m, in"),
        ("wheelbase", "25 mm", "25 mm is not plausible here: give 800 mm to 6000 mm."),
        ("wheelbase", "25 in", "25 in is not plausible here: give 800 mm to 6000 mm (31.4961 in to 236 in)."),
        ("mass_running", "-1200 kg", "-1200 kg is not plausible here: give 50 kg to 7500 kg."),
        ("front.pistons", "1.5 1", "Give a whole number."),
        ("wheelbase", "2500.00001 mm", "Give at most 4 decimals."),
        ("front.brake_kind", "=band", "Choose one of: disc, drum."),
        ("front.tyre_size", "= ", "Write it as it stands there, such as 205/55 R16."),
        ("front.tyre_size", "=" + "2" * 41, "That is too long: at most 40 characters"),
        ("front.tyre_size", "=round and black", "is not read as a tyre size"),
        ("front.speed_symbol", "=?", "is no speed symbol"),
        ("front.axle_mass_weighed", "700 kg", "is measured on the car itself"),
        ("load_current", "8 A", "belongs to one fitted part"),
        ("nothing", "8 A", "is nothing that is kept of a car"),
    ],
)
def test_a_bad_figure_is_refused_beside_its_row(lead, sheet, key, value, said):
    errors = refusal(known, person=lead, owner=sheet, figures={key: value})
    assert said in errors[key.replace(".", "-")][0]
    assert not Figure.objects.exists()


def test_a_date_code_is_read_before_it_is_kept(lead, car):
    tyre = PartFactory(person=lead, vehicle=car, place="tyres", position="rear_left")
    said = refusal(known, person=lead, owner=tyre, figures={"tyre_date_code": "=5419"})["tyre_date_code"][0]
    assert "week 54" in said
    known(lead, tyre, {"tyre_date_code": "=3519"})


def test_a_part_holds_what_its_place_asks_for(lead, car):
    bar = PartFactory(person=lead, vehicle=car, place="tow-bar")
    assert "A part in this place has no" in refusal(known, person=lead, owner=bar, figures={"piston_diameter": "36 mm"})[
        "piston_diameter"][0]  # fmt: skip
    caliper = PartFactory(person=lead, vehicle=car, place="brake-calipers", position="rear_left")
    parts.correct_in_error(by=by(lead), part=caliper, reason="another car")
    caliper.refresh_from_db()
    assert "entered in error" in refusal(known, person=lead, owner=caliper, figures={"piston_diameter": "36 mm"})[
        "piston_diameter"][0]  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "field", "said"),
    [
        ("11", None, "low", "The lowest is above the value: give 10′ or less"),
        (None, "9", "high", "The highest is below the value: give 10′ or more"),
        ("15", "5", "low", "above the value"),
        ("-500", None, "low", "not plausible"),
    ],
)
def test_a_tolerance_lies_about_its_value(lead, sheet, low, high, field, said):
    errors = refusal(
        acts.give_figure, by=by(lead), owner=sheet, key="front.toe_total", value=amount("10 arcmin"), source="maker",
        low=Decimal(low) if low else None, high=Decimal(high) if high else None,
    )  # fmt: skip
    assert said in errors[field][0]


def test_one_bad_row_saves_none(lead, sheet):
    errors = refusal(
        known, person=lead, owner=sheet, figures={"wheelbase": "2500 mm", "front.track": "14 mm"}
    )
    assert list(errors) == ["front-track"]
    assert not Figure.objects.exists()


def test_nothing_filled_in_is_said(lead, sheet):
    with pytest.raises(ValidationError, match="at least one"):
        known(lead, sheet, {})


def test_the_database_keeps_the_rules_too(lead, sheet, wheelbase):
    row = {
        **by(lead).stamp(),
        "source": "maker",
        "confidence": "likely",
        "key_of_item": "wheelbase",
        "sheet": sheet,
    }
    good = {"value": Decimal(1), "unit": "mm", "base_value": Decimal(1)}
    other = SheetFactory(person=lead)
    for wrong in (
        good,  # a second beginning
        {**good, "replaces": wheelbase},  # without a reason
        {**good, "replaces": wheelbase, "because": "x", "sheet": other},  # of another sheet
        {**good, "replaces": wheelbase, "because": "x", "key_of_item": "track"},  # of another item
        {**good, "key_of_item": "front.track", "low": Decimal(2)},
        {**good, "key_of_item": "front.track", "unit": ""},
        {**good, "key_of_item": "front.track", "source": "owner", "confidence": "confirmed"},
        {**good, "key_of_item": "front.track", "sheet": None},
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            Figure.objects.create(**{**row, **wrong})
    for change in ({"value": 2}, {"source_words": "other"}):
        with pytest.raises(DatabaseError), transaction.atomic():
            Figure.objects.filter(pk=wheelbase.pk).update(**change)
    with pytest.raises(DatabaseError), transaction.atomic():
        Figure.objects.filter(pk=wheelbase.pk).delete()


# --- how sure ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("source", "words", "sure"),
    [
        ("maker", "manual, p. 3", "confirmed"),
        ("maker", "", "likely"),
        ("measured", "", "confirmed"),
        ("marked", "", "confirmed"),
        ("owner", "said so", "likely"),
        ("estimate", "by comparison", "open"),
    ],
)
def test_a_figure_is_as_sure_as_its_source(lead, sheet, source, words, sure):
    known(lead, sheet, {"wheelbase": "2500 mm"}, source=source, source_words=words)
    assert Figure.objects.get().confidence == sure


def test_what_a_source_does_not_support_is_refused(lead, sheet):
    words = {"person": lead, "owner": sheet, "figures": {"wheelbase": "2500 mm"}, "confidence": "confirmed"}
    assert "can't make this confirmed" in refusal(known, **words, source="owner")["confidence"][0]
    assert "Name the document" in refusal(known, **words, source="maker")["source_words"][0]
    assert "where the figure comes from" in refusal(known, **words, source="hearsay")["source"][0]
    assert "how sure" in refusal(known, **{**words, "confidence": "rather"}, source="maker")["confidence"][0]
    known(lead, sheet, {"wheelbase": "2500 mm"}, source="measured", confidence="open")
    assert Figure.objects.get().confidence == Confidence.OPEN


# --- changed, withdrawn, given again -------------------------------------------------------------------------------


def test_a_changed_figure_says_why_and_the_earlier_one_stays(lead, sheet, wheelbase):
    same = {"value": amount("2500 mm"), "source": "maker", "source_words": "manual, p. 12"}
    assert (
        "what stands already"
        in refusal(acts.change_figure, by=by(lead), figure=wheelbase, because="x", **same)["value"][0]
    )
    new = {"value": amount("2510 mm"), "source": "marked"}
    assert (
        "why" in refusal(acts.change_figure, by=by(lead), figure=wheelbase, because=" ", **new)["because"][0]
    )
    later = acts.change_figure(by=by(lead), figure=wheelbase, because="another build", **new)
    assert list(Figure.objects.current()) == [later]
    assert Figure.objects.count() == 2


def test_a_withdrawn_figure_counts_no_more_and_may_be_given_again(lead, sheet, wheelbase):
    assert "why" in refusal(acts.withdraw_figure, by=by(lead), figure=wheelbase, because="")["because"][0]
    ended = acts.withdraw_figure(by=by(lead), figure=wheelbase, because="wrong page")
    assert not Figure.objects.current().exists()
    assert (
        "withdrawn already"
        in refusal(acts.withdraw_figure, by=by(lead), figure=ended, because="again")["because"][0]
    )
    known(lead, sheet, {"wheelbase": "2490 mm"})
    assert Figure.objects.current().get().replaces == ended


def test_a_figure_that_stands_is_changed_not_given_twice(lead, sheet, wheelbase):
    said = refusal(known, person=lead, owner=sheet, figures={"wheelbase": "2510 mm"})["wheelbase"][0]
    assert said.startswith("2500 mm is on record, Maker's data or handbook: manual, p. 12, by Lida Marchbank")


def test_the_later_of_two_changes_is_refused_with_both_values(client, lead, technician, sheet, wheelbase):
    client.force_login(lead)
    url = reverse("vehicles:figure-change", args=[wheelbase.pk])
    sent = {**form_of(client, url), "value_value": "2520", "because": "measured on two cars"}
    acts.change_figure(
        by=by(technician), figure=wheelbase, value=amount("2510 mm"), because="type plate", source="marked"
    )
    answer = client.post(url, sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "On record now (Tamsin Orrell, " in page
    assert "2510 mm, Read off the part or its plate, by Tamsin Orrell" in page
    for typed in ('value="2520"', 'value="measured on two cars"'):
        assert typed in page
    # Sent once more, with both in view, it is saved.
    sent["seen"] = answer.context["form"]["seen"].value()
    assert client.post(url, {**sent, "key": uuid4()}).status_code == 302
    assert Figure.objects.current().get().shown == "2520 mm"


def test_a_change_that_others_made_meanwhile_stops_a_withdrawal_too(lead, technician, wheelbase):
    acts.change_figure(
        by=by(technician), figure=wheelbase, value=amount("2510 mm"), because="plate", source="marked"
    )
    with pytest.raises(ChangedMeanwhile) as caught:
        acts.withdraw_figure(by=by(lead), figure=wheelbase, because="wrong page")
    assert "2510 mm" in caught.value.current["value"]


# --- what the log holds --------------------------------------------------------------------------------------------


def test_numbers_stand_in_the_chain_and_words_beside_it(lead, car):
    known(lead, car, {"front.tyre_size": "=185/60 R14", "front.axle_mass_weighed": "720 kg"}, source="papers",
          source_words="ticket of Corin Ashby")  # fmt: skip
    bodies = [event.body for event in Event.objects.filter(act="vehicles.datasheet.record_figures")]
    assert len(bodies) == 2
    assert any('"value":"720"' in body and '"unit":"kg"' in body for body in bodies)
    assert not any("185/60" in body or "Corin" in body for body in bodies)
    assert all(str(car.pk) in body for body in bodies)


def test_what_changes_this_car_stands_in_its_history(lead, car, sheet, wheelbase):
    reverse("home")  # the addresses are loaded, and with them all that hangs itself into the history

    def told() -> list[str]:
        page = timeline.page(car, only=["figure"])
        return [entry.title for group in page.groups for entry in group.entries]

    assert told() == []
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=sheet, because="type plate")
    known(lead, car, {"front.axle_mass_weighed": "720 kg", "rear.axle_mass_weighed": "480 kg"})
    caliper = PartFactory(
        person=lead, vehicle=car, place="brake-calipers", position="rear_left", description="caliper"
    )
    known(lead, caliper, {"piston_diameter": "36 mm"})
    acts.change_figure(
        by=by(lead), figure=wheelbase, value=amount("2510 mm"), because="plate", source="marked"
    )
    assert told() == [
        "Data sheet changed: Wheelbase 2510 mm",
        "Dimensions of caliper",
        "Figures of this car",
        f"Data sheet: {sheet.name}",
    ]
    page = timeline.page(car, only=["figure"], words="weighed")
    assert [entry.text for group in page.groups for entry in group.entries] == [
        "Axle mass as weighed, front 720 kg, Axle mass as weighed, rear 480 kg · Read off the part or its plate"
    ]
    # However short the pages are, each sitting stands on one of them, and none is lost.
    titles, cursor = [], None
    while True:
        page = timeline.page(car, only=["figure"], before=cursor, most=1)
        titles += [entry.title for group in page.groups for entry in group.entries]
        if (cursor := page.older) is None:
            break
    assert titles == told()  # fmt: skip


# --- kept as it was ------------------------------------------------------------------------------------------------


def test_the_records_are_read_again(lead, sheet, wheelbase):
    known(
        lead,
        sheet,
        {"front.toe_total": "0.25 deg", "rear.rim_diameter": "15 in", "front.tyre_size": "=185/60 R14"},
    )
    assert list(problems()) == []
    Figure.objects.bulk_create(
        [Figure(**by(lead).stamp(), sheet=sheet, key_of_item="rear.track", value=Decimal(1400), unit="mm",
                base_value=Decimal(1), source="maker", confidence="likely"),
         Figure(**by(lead).stamp(), sheet=sheet, key_of_item="no_such_thing", text="x", source="maker", confidence="likely")]
    )  # fmt: skip
    found = " ".join(problems())
    assert "rear.track: typed and stored value differ" in found
    assert "no_such_thing: no such item" in found


@given(key=st.sampled_from([key for key, item in KEYS.items() if item.dimension not in ("text", "choice")]),
       share=st.decimals(0, 1, places=3), outside=st.booleans())  # fmt: skip
def test_every_item_takes_its_range_and_nothing_outside(key, share, outside):
    item = KEYS[key]
    step = (item.high - item.low) * share
    value = item.high + step + 1 if outside else item.low + step
    value = round(value, 0 if item.whole else 4)
    if outside or not item.low <= value <= item.high:
        with pytest.raises(ValidationError):
            check_row(item, Amount(value, item.unit))
    else:
        assert check_row(item, Amount(value, item.unit)) == Amount(value, item.unit)


def test_every_item_has_an_owner(db, lead, car, sheet):
    """What no sheet, no car and no place would take could never be known."""
    places = {place.pk for place in Place.objects.all()}
    codes = {KEYS[key].code for owner in (sheet, car) for key in keys_for(owner)}
    for item in ITEMS.values():
        assert set(item.places) <= places
        codes |= {item.code} if item.places else set()
    assert codes == set(ITEMS)
