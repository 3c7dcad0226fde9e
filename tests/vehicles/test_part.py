"""Parts: from where, on what evidence, how sure; and what was in a place on a date."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests.factories.part import PartFactory
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles import parts as reads
from vehicles.acts import part as acts
from vehicles.models import Confidence, Evidence, FittedPart, Place, Provenance, Zone
from vehicles.models.part import EvidenceKind
from vehicles.places import STANDARD, ensure_standard_places
from workshop.acting import ChangedMeanwhile
from workshop.models import Event

READ_OFF = [("part_number", "cast mark QL-77 on the flange")]


def at(year: int, month: int = 6, day: int = 1) -> datetime:
    return datetime(year, month, day, 12, tzinfo=UTC)


def refusal(act, **arguments) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        act(**arguments)
    return caught.value.message_dict


@pytest.fixture
def tow_bar(db):
    return Place.objects.get(pk="tow-bar")


@pytest.fixture
def part(lead, car):
    return PartFactory(person=lead, vehicle=car, description="Tow bar", evidence=READ_OFF)


# --- places --------------------------------------------------------------------------------------------------


def test_every_zone_has_places_in_the_order_of_the_walk(db):
    places = list(Place.objects.all())
    assert len(places) == sum(len(rows) for rows in STANDARD.values())
    assert len(places) >= 60
    zones = list(dict.fromkeys(place.zone for place in places))
    assert zones == [zone.value for zone in Zone]


def test_standard_places_are_brought_up_to_date_and_the_shops_own_left_alone(db, lead):
    own = acts.add_place(by=by(lead), zone="rear", name="Bicycle rack")
    Place.objects.filter(pk="tow-bar").update(name="Hook")
    Place.objects.filter(pk="tow-socket").delete()
    ensure_standard_places("default")
    assert Place.objects.get(pk="tow-bar").name == "Tow bar and its fastening"
    assert Place.objects.filter(pk="tow-socket").exists()
    own.refresh_from_db()
    assert own.name == "Bicycle rack"
    assert own.added_by_shop


def test_nothing_to_do_for_the_standard_places_is_one_query(db, django_assert_num_queries):
    with django_assert_num_queries(1):
        ensure_standard_places("default")


def test_the_shops_own_place_comes_last_in_its_zone_and_once(db, lead):
    own = acts.add_place(by=by(lead), zone="rear", name="Bicycle rack", positions="side")
    assert list(Place.objects.filter(zone="rear"))[-1] == own
    assert own.allowed == ("left", "right")
    said = refusal(acts.add_place, by=by(lead), zone="rear", name="bicycle RACK")
    assert "“Bicycle rack” is in this zone already" in said["name"][0]


def test_two_names_that_make_one_slug_are_two_places(db, lead):
    first = acts.add_place(by=by(lead), zone="rear", name="Rack")
    second = acts.add_place(by=by(lead), zone="front", name="Rack")
    nameless = acts.add_place(by=by(lead), zone="front", name="牽引")
    assert len({first.pk, second.pk, nameless.pk}) == 3


def test_only_leads_add_places(db, technician):
    with pytest.raises(PermissionDenied, match="You may not add places"):
        acts.add_place(by=by(technician), zone="rear", name="Rack")


# --- found on the car ------------------------------------------------------------------------------------------


def test_a_part_found_is_recorded_with_its_evidence(part, car, lead):
    assert part.confidence == Confidence.CONFIRMED
    assert part.best_evidence == "part_number"
    assert part.fitted_at is None
    assert [piece.what for piece in part.evidence.all()] == ["cast mark QL-77 on the flange"]
    event = Event.objects.latest("seq")
    assert event.act == "vehicles.part.record_part"
    assert "QL-77" not in event.body


@pytest.mark.parametrize("kind", EvidenceKind)
def test_confidence_is_the_most_that_the_evidence_supports(lead, car, kind):
    part = PartFactory(person=lead, vehicle=car, evidence=[(kind.value, "as seen")])
    weak = kind in (EvidenceKind.OWNER_STATEMENT, EvidenceKind.JUDGEMENT)
    assert part.confidence == (Confidence.LIKELY if weak else Confidence.CONFIRMED)


def test_the_strongest_piece_counts(lead, car):
    part = PartFactory(
        person=lead, vehicle=car, evidence=[("judgement", "weld looks new"), ("invoice", "bill of 2019")]
    )
    assert part.best_evidence == "invoice"


@pytest.mark.parametrize(
    ("evidence", "confidence", "sentence"),
    [
        ([], "confirmed", "Without evidence this can't be confirmed."),
        ([], "likely", "Without evidence this can't be likely."),
        (
            [("owner_statement", "he says so")],
            "confirmed",
            "Owner's statement alone makes it likely at most.",
        ),
        ([("judgement", "looks so")], "confirmed", "Technician's judgement alone makes it likely at most."),
    ],
)
def test_more_confidence_than_evidence_is_refused(lead, car, tow_bar, evidence, confidence, sentence):
    said = refusal(
        acts.record_part,
        by=by(lead),
        vehicle=car,
        place=tow_bar,
        description="Tow bar",
        provenance="aftermarket",
        evidence=evidence,
        confidence=confidence,
    )
    assert sentence in said["confidence"][0]
    assert not FittedPart.objects.exists()


def test_less_confidence_than_the_evidence_allows_is_kept(lead, car):
    part = PartFactory(person=lead, vehicle=car, evidence=READ_OFF, confidence="open")
    assert part.confidence == Confidence.OPEN


def test_an_unknown_provenance_stays_an_open_question(lead, car):
    part = PartFactory(person=lead, vehicle=car, provenance="unknown", evidence=READ_OFF)
    assert part.confidence == Confidence.OPEN
    acts.add_evidence(by=by(lead), part=part, kind="invoice", what="bill")
    part.refresh_from_db()
    assert part.confidence == Confidence.OPEN


@pytest.mark.parametrize(
    ("slug", "position", "sentence"),
    [
        ("brake-discs", "", "is front left, front right, rear left, rear right"),
        ("brake-discs", "left", "Say which one"),
        ("tow-bar", "left", "is there once on a car: leave the position empty"),
    ],
)
def test_a_position_that_the_place_does_not_have_is_refused(lead, car, slug, position, sentence):
    with pytest.raises(ValidationError) as caught:
        PartFactory(person=lead, vehicle=car, place=slug, position=position)
    assert sentence in caught.value.message_dict["position"][0]


def test_twin_wheels_have_inner_tyres(lead, car):
    assert (
        PartFactory(person=lead, vehicle=car, place="tyres", position="inner_left").where
        == "Tyre, inner left"
    )


def test_a_second_part_in_a_place_is_refused_with_what_to_do(part, lead, car):
    with pytest.raises(ValidationError) as caught:
        PartFactory(person=lead, vehicle=car, description="Another")
    sentence = caught.value.message_dict["place"][0]
    assert "Tow bar is on record in this place" in sentence
    assert "fit the new part on a work line" in sentence


def test_evidence_needs_a_kind_and_words(lead, car):
    with pytest.raises(ValidationError, match="has a kind and says"):
        PartFactory(person=lead, vehicle=car, evidence=[("part_number", " ")])


def test_the_same_key_twice_is_one_part(lead, car):
    key = uuid4()
    arguments = {
        "vehicle": car,
        "place": Place.objects.get(pk="tow-bar"),
        "description": "Tow bar",
        "provenance": "unknown",
        "evidence": READ_OFF,
    }
    first = acts.record_part(by=by(lead, key=key), **arguments)
    assert acts.record_part(by=by(lead, key=key), **arguments) == first
    assert FittedPart.objects.count() == Evidence.objects.count() == 1


def test_the_front_desk_records_no_parts(front_desk, car):
    with pytest.raises(PermissionDenied, match="These roles may: lead technician, shop owner, technician"):
        PartFactory(person=front_desk, vehicle=car)


# --- assessed again --------------------------------------------------------------------------------------------


def test_assessed_again_with_a_reason_the_old_stands_in_the_log(part, lead):
    acts.assess_part(
        by=by(lead), part=part, seen_version=1, reason="second look", provenance="one_off", condition="worn"
    )
    assert (part.provenance, part.version) == ("one_off", 2)
    body = Event.objects.latest("seq").body
    assert '"provenance":["aftermarket","one_off"]' in body
    assert "second look" not in body


def test_assessing_needs_a_reason(part, lead):
    said = refusal(acts.assess_part, by=by(lead), part=part, seen_version=1, reason=" ", condition="worn")
    assert said["reason"] == ["Say why it is assessed again."]


def test_two_people_assess_one_part(part, lead, technician):
    stale = FittedPart.objects.get(pk=part.pk)
    acts.assess_part(by=by(lead), part=part, seen_version=1, reason="seen", condition="worn")
    with pytest.raises(ChangedMeanwhile) as caught:
        acts.assess_part(by=by(technician), part=stale, seen_version=1, reason="seen", condition="good")
    assert caught.value.current["condition"] == "worn"


def test_provenance_back_to_unknown_takes_the_confidence_along(part, lead):
    acts.assess_part(
        by=by(lead), part=part, seen_version=1, reason="number is of a trailer", provenance="unknown"
    )
    assert part.confidence == Confidence.OPEN


def test_better_evidence_raises_the_confidence(lead, car):
    part = PartFactory(person=lead, vehicle=car, evidence=[("judgement", "looks so")])
    acts.add_evidence(by=by(lead), part=part, kind="maker", what="letter of the supplier")
    part.refresh_from_db()
    assert (part.confidence, part.best_evidence) == (Confidence.CONFIRMED, "maker")


def test_a_confidence_set_lower_on_purpose_does_not_rise_by_itself(lead, car):
    part = PartFactory(person=lead, vehicle=car, evidence=[("judgement", "looks so")], confidence="open")
    acts.add_evidence(by=by(lead), part=part, kind="maker", what="letter")
    part.refresh_from_db()
    assert part.confidence == Confidence.OPEN


def test_entered_in_error_stays_readable_and_frees_the_place(part, lead, car):
    acts.correct_in_error(by=by(lead), part=part, reason="looked at another car")
    assert part.entered_in_error == "looked at another car"
    assert reads.part_in_place(car, part.place) is None
    assert PartFactory(person=lead, vehicle=car).pk
    with pytest.raises(ValidationError, match="entered in error"):
        acts.add_evidence(by=by(lead), part=part, kind="invoice", what="bill")


# --- ended and opened by work ----------------------------------------------------------------------------------


def test_replaced_in_one_place_the_old_says_where_it_went(part, lead, car):
    acts.end_part(by=by(lead), part=part, whereabouts="scrapped", whereabouts_note="bent")
    new = acts.open_part(
        by=by(lead),
        vehicle=car,
        place=part.place,
        replaces=part,
        description="Tow bar with approval mark",
        provenance="aftermarket",
        supplied_by="shop",
        evidence=[("invoice", "bill 4711")],
    )
    assert reads.part_in_place(car, part.place) == new
    assert part.replaced_by == new
    with pytest.raises(ValidationError, match="came off already"):
        acts.end_part(by=by(lead), part=part, whereabouts="scrapped")


def test_opening_beside_a_part_that_is_there_is_refused(part, lead, car):
    said = refusal(
        acts.open_part,
        by=by(lead),
        vehicle=car,
        place=part.place,
        description="New one",
        provenance="aftermarket",
    )
    assert "is on record in this place" in said["place"][0]


def test_a_part_that_comes_back_brings_its_evidence(part, lead, car):
    acts.end_part(by=by(lead), part=part, whereabouts="elsewhere")
    back = acts.open_part(by=by(lead), vehicle=car, place=part.place, earlier_record=part)
    assert (back.description, back.confidence, back.provenance) == ("Tow bar", "confirmed", "aftermarket")
    assert [piece.kind for piece in back.all_evidence()] == ["part_number"]


def test_a_part_on_the_car_can_not_be_fitted_elsewhere_too(part, lead, car):
    said = refusal(
        acts.open_part,
        by=by(lead),
        vehicle=car,
        place=Place.objects.get(pk="rear-bumper"),
        earlier_record=part,
    )
    assert "must come off first" in said["earlier_record"][0]


def test_where_it_went_may_be_said_later(part, lead):
    acts.end_part(by=by(lead), part=part)
    assert part.whereabouts == ""
    acts.say_whereabouts(by=by(lead), part=part, seen_version=part.version, whereabouts="core")
    assert part.whereabouts == "core"


def test_off_before_it_was_on_is_refused(lead, car):
    part = PartFactory(person=lead, vehicle=car, fitted_at=timezone.now() - timedelta(days=1))
    with pytest.raises(ValidationError, match="can't come off before it was fitted"):
        acts.end_part(by=by(lead), part=part, removed_at=timezone.now() - timedelta(days=2))


def test_two_parts_were_never_in_one_place_at_once(lead, car):
    old = PartFactory(person=lead, vehicle=car, fitted_at=at(2015), description="Old one")
    acts.end_part(by=by(lead), part=old, removed_at=at(2020))
    with pytest.raises(ValidationError) as caught:
        PartFactory(person=lead, vehicle=car, fitted_at=at(2018))
    assert "Old one was in this place until 1 Jun 2020" in caught.value.message_dict["fitted_at"][0]


# --- what was in this place on a date ----------------------------------------------------------------------------


@pytest.fixture
def three_bars(lead, car, tow_bar):
    """One bar fitted 2010 to 2015, one of unknown fitting that came off 2020, one found after that."""
    first = PartFactory(person=lead, vehicle=car, fitted_at=at(2010), description="first")
    acts.end_part(by=by(lead), part=first, removed_at=at(2015))
    second = PartFactory(person=lead, vehicle=car, description="second")
    acts.end_part(by=by(lead), part=second, removed_at=at(2020))
    third = PartFactory(person=lead, vehicle=car, description="third")
    return first, second, third


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (at(2012), "first"),
        (at(2015, 6, 2), "second"),
        (at(2019), "second"),
        (at(2020, 6, 2), "third"),
        (None, "third"),
    ],
)
def test_what_was_in_this_place(three_bars, car, tow_bar, moment, expected):
    assert reads.part_in_place(car, tow_bar, moment=moment).description == expected


def test_the_whole_car_as_of_a_date_is_one_query(three_bars, car, django_assert_num_queries):
    with django_assert_num_queries(1):
        found = reads.parts_on(car, at(2019))
    assert [part.description for part in found] == ["second"]


def test_a_part_fitted_in_the_course_of_a_day_counts_on_that_day(lead, car, tow_bar):
    part = PartFactory(person=lead, vehicle=car, fitted_at=at(2021, 3, 4))
    assert reads.part_in_place(car, tow_bar, moment=reads.end_of(date(2021, 3, 4))) == part
    assert reads.part_in_place(car, tow_bar, moment=reads.end_of(date(2021, 3, 3))) is None


# --- the database keeps the rules when the form is bypassed -------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"confidence": "confirmed", "best_evidence": ""},
        {"confidence": "confirmed", "best_evidence": "owner_statement"},
        {"confidence": "confirmed", "best_evidence": "judgement"},
        {"confidence": "likely", "best_evidence": ""},
        {"provenance": "unknown", "confidence": "confirmed"},
        {"provenance": "nonsense"},
        {"position": "middle"},
        {"whereabouts": "scrapped"},
    ],
)
def test_the_database_refuses(part, change):
    with pytest.raises(IntegrityError), transaction.atomic():
        FittedPart.objects.filter(pk=part.pk).update(**change)


def test_the_database_holds_one_part_in_a_place(part, lead):
    other = FittedPart.objects.get(pk=part.pk)
    other.pk = uuid4()
    with pytest.raises(IntegrityError), transaction.atomic():
        other.save(force_insert=True)


def test_evidence_is_never_altered(part):
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        Evidence.objects.update(what="something else")


# --- screens --------------------------------------------------------------------------------------------------


def test_a_part_is_recorded_on_the_screen(client, technician, car):
    client.force_login(technician)
    url = reverse("vehicles:part-add", args=[car.pk])
    sent = form_of(client, url) | {
        "place": "tyres",
        "position": "rear_left",
        "description": "Tyre 245/75 R 16",
        "provenance": "aftermarket",
        "saw_part_number": "on",
        "what_part_number": "245/75 R 16 111 S",
    }
    answer = client.post(url, sent)
    part = FittedPart.objects.get()
    assert part.part_number == "245/75 R 16 111 S", "read once, written once"
    assert (part.condition, part.supplied_by, part.supply_quality) == ("not_examined", "earlier", "not_known")
    assert answer.status_code == 302
    assert answer.url == part.get_absolute_url()
    page = client.get(answer.url).content.decode()
    assert "245/75 R 16 111 S" in page
    assert "Confirmed" in page


def test_a_refused_form_comes_back_filled(client, technician, car):
    client.force_login(technician)
    url = reverse("vehicles:part-add", args=[car.pk])
    sent = form_of(client, url) | {
        "place": "tow-bar",
        "description": "A bar of 60 mm flats",
        "provenance": "one_off",
        "confidence": "confirmed",
        "saw_judgement": "on",
        "what_judgement": "welded by hand",
    }
    answer = client.post(url, sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "A bar of 60 mm flats" in page
    assert "welded by hand" in page
    assert "judgement alone makes it likely at most" in page
    assert not FittedPart.objects.exists()


def test_half_a_piece_of_evidence_is_asked_about(client, technician, car):
    client.force_login(technician)
    url = reverse("vehicles:part-add", args=[car.pk])
    sent = form_of(client, url) | {"place": "tow-bar", "description": "Bar", "provenance": "unknown"}
    answer = client.post(url, sent | {"saw_invoice": "on"})
    assert answer.status_code == 422
    assert answer.context["form"].errors["what_invoice"] == [
        "Say what was read, seen or said; or untick this evidence."
    ]
    # Words without the tick are evidence too: nothing that was written is dropped.
    assert client.post(url, sent | {"what_owner_statement": "a rumour"}).status_code == 302
    piece = Evidence.objects.get()
    assert (piece.kind, piece.what) == ("owner_statement", "a rumour")


def test_several_pieces_of_evidence_at_once(client, technician, car):
    client.force_login(technician)
    url = reverse("vehicles:part-add", args=[car.pk])
    sent = form_of(client, url) | {"place": "tow-bar", "description": "Bar", "provenance": "aftermarket"}
    said = {
        "judgement": "welds by hand",
        "invoice": "Tarn Towing, 8 May 2019",
        "owner_statement": "fitted it himself",
    }
    for kind, what in said.items():
        sent |= {f"saw_{kind}": "on", f"what_{kind}": what}
    assert client.post(url, sent).status_code == 302
    assert dict(Evidence.objects.values_list("kind", "what")) == said
    assert FittedPart.objects.get().confidence == "confirmed"


def test_a_part_that_came_off_elsewhere(client, technician, part):
    client.force_login(technician)
    assert reverse("vehicles:part-gone", args=[part.pk]) in client.get(part.get_absolute_url()).text
    url = reverse("vehicles:part-gone", args=[part.pk])
    sent = form_of(client, url)
    answer = client.post(url, sent)
    assert answer.status_code == 422, "it says how that is known"
    assert client.post(url, sent | {"whereabouts_note": "taken off by the owner"}).status_code == 302
    part.refresh_from_db()
    assert part.removed_at is not None
    assert (part.removed_by_line, part.whereabouts_note) == (None, "taken off by the owner")
    parts = reverse("vehicles:parts", args=[part.vehicle_id])
    assert client.get(parts).context["zones"] == []
    assert "taken off by the owner" in client.get(parts, {"show": "removed"}).text
    page = client.get(reverse("vehicles:place", args=[part.vehicle_id, part.place_id])).text
    assert part.description in page


def test_gone_is_not_said_over_what_somebody_changed(client, technician, lead, part):
    client.force_login(technician)
    url = reverse("vehicles:part-gone", args=[part.pk])
    sent = form_of(client, url)
    acts.assess_part(by=by(lead), part=part, seen_version=1, reason="looked again", condition="good")
    answer = client.post(url, sent | {"whereabouts_note": "not there"})
    assert answer.status_code == 422
    assert f"{lead} changed this at " in answer.text
    assert "not there" in answer.text


def test_the_parts_page_filters_by_zone_and_shows_the_evidence(client, lead, car):
    PartFactory(
        person=lead, vehicle=car, evidence=[("invoice", "Tarn Towing 8812")], factory_fits="no tow bar"
    )
    PartFactory(person=lead, vehicle=car, place="roof", description="Roof rack", provenance="accessory")
    client.force_login(lead)
    url = reverse("vehicles:parts", args=[car.pk])
    page = client.get(url)
    for words in (
        "Invoice or receipt: Tarn Towing 8812",
        "no tow bar",
        "No evidence yet",
        "Build sheet, draft (PDF)",
    ):
        assert words in page.text
    assert [row[:2] for row in page.context["zone_filters"]] == [
        ("body", "Body and glass"),
        ("rear", "Rear and towing"),
    ]
    only = client.get(url, {"zone": "body"}).text
    assert "Roof rack" in only
    assert "Tarn Towing" not in only
    assert "answers to that in “Brakes”" in client.get(url, {"zone": "brakes"}).text
    assert client.get(url, {"zone": "nonsense", "show": "nonsense"}).status_code == 200


def test_who_may_not_gets_no_form(client, front_desk, car_owner, car, part):
    for name in ("part-add",):
        client.force_login(front_desk)
        assert client.get(reverse(f"vehicles:{name}", args=[car.pk])).status_code == 403
    client.force_login(car_owner)
    assert client.get(part.get_absolute_url()).status_code in (403, 404)


def test_a_change_meanwhile_shows_both_texts(client, technician, lead, part):
    client.force_login(technician)
    url = reverse("vehicles:part-assess", args=[part.pk])
    sent = form_of(client, url) | {"condition_note": "my words", "reason": "looked again"}
    acts.assess_part(by=by(lead), part=part, seen_version=1, reason="first", condition_note="other words")
    answer = client.post(url, sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "my words" in page
    assert "other words" in page
    answer = client.post(url, {**sent, "seen_version": answer.context["form"]["seen_version"].value()})
    assert answer.status_code == 302
    part.refresh_from_db()
    assert part.condition_note == "my words"


def test_the_list_is_filtered(client, technician, lead, car, part):
    PartFactory(person=lead, vehicle=car, place="bonnet", description="Bonnet", provenance="factory_standard",
                evidence=READ_OFF)  # fmt: skip
    PartFactory(person=lead, vehicle=car, place="roof", description="Roof box", provenance="unknown")
    client.force_login(technician)
    url = reverse("vehicles:parts", args=[car.pk])

    def names(query):
        zones = client.get(f"{url}{query}").context["zones"]
        return [part.description for zone in zones for part in zone["parts"]]

    assert names("") == ["Bonnet", "Roof box", "Tow bar"]
    assert names("?show=not_factory") == ["Roof box", "Tow bar"]
    assert names("?show=open") == ["Roof box"]


def test_as_of_a_date_on_the_screen(client, technician, three_bars, car):
    client.force_login(technician)
    url = reverse("vehicles:parts", args=[car.pk])
    page = client.get(url, {"on": "2012-06-01", "place": "tow-bar"}).content.decode()
    assert "first" in page
    assert "third" not in page
    page = client.get(url, {"on": "2019-01-01"}).content.decode()
    assert "is taken, not proven" in page
    answer = client.get(url, {"on": "yesterday"})
    assert answer.status_code == 200
    assert "Enter a valid date." in answer.content.decode()


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "1884-12-31"])
def test_a_day_outside_the_calendar_of_cars_is_said_so(client, technician, part, car, day):
    client.force_login(technician)
    answer = client.get(reverse("vehicles:parts", args=[car.pk]), {"on": day})
    assert "Give a day between the years 1885 and 2100." in answer.content.decode()


@pytest.mark.parametrize("moment", ["0001-01-01T00:00", "1999-05-01T10:00", "9999-12-31T23:59"])
def test_a_time_at_which_nothing_was_fitted_comes_back(client, technician, car, moment):
    client.force_login(technician)
    url = reverse("vehicles:part-add", args=[car.pk])
    sent = form_of(client, url) | {
        "place": "tow-bar",
        "description": "Bar",
        "provenance": "unknown",
        "fitted_at": moment,
    }
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert "fitted_at" in answer.context["form"].errors


def test_queries_do_not_grow_with_the_parts(client, technician, lead, car, part):
    client.force_login(technician)
    urls = [
        reverse("vehicles:parts", args=[car.pk]),
        car.get_absolute_url(),
        part.get_absolute_url(),
        reverse("vehicles:part-add", args=[car.pk]),
    ]

    def count(url):
        with CaptureQueriesContext(connection) as caught:
            assert client.get(url).status_code == 200
        return len(caught)

    few = [count(url) for url in urls]
    for place in Place.objects.filter(positions="")[:30]:
        if place.pk != "tow-bar":
            PartFactory(person=lead, vehicle=car, place=place, evidence=[("judgement", "seen")])
    for number in range(8):
        acts.add_evidence(by=by(lead), part=part, kind="invoice", what=f"bill {number}")
    assert [count(url) for url in urls] == few


def test_every_choice_of_provenance_is_one_the_record_knows():
    assert {member.value for member in Provenance if member.from_the_factory} == {
        "factory_standard",
        "factory_option",
    }


def test_no_part_was_found_and_no_evidence_seen_before_the_car_was_built(lead, car):
    part = PartFactory(person=lead, vehicle=car)
    early = by(lead, made_at=datetime(2004, 6, 1, tzinfo=UTC))
    for call, arguments in (
        (
            acts.record_part,
            {"vehicle": car, "place": part.place, "description": "x", "provenance": "unknown"},
        ),
        (acts.add_evidence, {"part": part, "kind": "invoice", "what": "a bill"}),
    ):
        with pytest.raises(ValidationError) as caught:
            call(by=early, **arguments)
        assert "The car is of model year 2006" in caught.value.message_dict["made_at"][0]
    assert not part.evidence.exists()
