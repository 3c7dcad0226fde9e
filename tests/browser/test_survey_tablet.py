"""A whole car surveyed on the tablet: how many taps and typed characters it takes, and what that comes to.

The pace is assumed, no source: 2.0 s for each tap, the look at the next target in it, and 0.25 s for each character
typed. Walking round the car and lifting it take their time with any method, so they are left out: the figure is what
the screen costs. Nothing here is measured by the clock.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.devices import PHONE, TABLET, Watch, new_page, sign_in
from tests.factories.part import PartFactory, SurveyFactory
from vehicles.models import FittedPart, Place

SECONDS_PER_TAP, SECONDS_PER_CHARACTER = 2.0, 0.25
MOST_SECONDS = 6 * 60

# Six parts that are not the factory's, each with a full entry: place, chips to untick, what it is, where it comes from,
# evidence with its words, what the factory fits, what follows, how serious. All invented.
ODD = {
    "front-springs": ([], "Lowering spring, yellow", "Aftermarket",
                      {"Part number or casting mark read off the part": "LS-4471"}, "plain spring, grey",
                      "25 mm lower: headlamps to be set", "Minor"),
    "brake-discs": (["rear left", "rear right"], "Vented disc 300 mm", "Taken from another model",
                    {"Comparison with a known original": "20 mm larger", "Owner's statement": "from the GT"},
                    "solid 280 mm", "more brake in front", "Major"),
    "wheels": ([], "Cast wheel 7 J x 16", "Aftermarket",
               {"Part number or casting mark read off the part": "7Jx16 ET35"}, "6 J x 15", "wider track", "Advice"),
    "steering-wheel": ([], "Smaller wheel, no airbag", "Aftermarket",
                       {"Technician's judgement": "no airbag plug"}, "wheel with airbag", "no airbag for the driver",
                       "Dangerous"),
    "tow-bar": ([], "Bar of 60 mm flats", "Unknown",
                {"Technician's judgement": "welds by hand"}, "none", "not to be loaded", "Major"),
    "second-battery": ([], "Second battery under the seat", "Made in a workshop (one-off)",
                       {"Owner's statement": "own work"}, "none", "no fuse at the battery", "Major"),
}  # fmt: skip


@dataclass
class Counted:
    """One hand at the tablet. Every touch goes through it: a tap is a tap, whatever it meets, and so is the one that
    puts the cursor into a field; each character typed counts by itself."""

    page: object
    taps: int = 0
    characters: int = 0

    @property
    def seconds(self) -> float:
        return self.taps * SECONDS_PER_TAP + self.characters * SECONDS_PER_CHARACTER

    def tap(self, target) -> None:
        target.tap()
        self.taps += 1

    def type_into(self, target, text: str) -> None:
        self.tap(target)
        self.type_on(text, target)

    def type_on(self, text: str, focused) -> None:
        """Where the screen has put the cursor already: no tap."""
        expect(focused).to_be_focused()
        self.page.keyboard.type(text)
        self.characters += len(text)


@pytest.fixture
def survey(lead, car):
    return SurveyFactory(person=lead, vehicle=car)


def opened(page, survey, person, live_server, zone="") -> Counted:
    sign_in(page, person, live_server.url)
    page.goto(survey.get_absolute_url() + (f"?zone={zone}" if zone else ""))
    return Counted(page)


def stop(page, slug: str):
    return page.locator(f"li.stop#{slug}")


def said(page, number: int) -> None:
    """The count at the foot, which is also how the next tap waits for the answer to the last."""
    expect(page.locator(".walk-count")).to_contain_text(f"{number} of {Place.objects.count()}")


def part_entered(hand: Counted, slug: str) -> None:
    """The whole of the short form, from the tap on “Not factory” to the tap that records it."""
    unticked, what, where_from, evidence, fits, follows, severity = ODD[slug]
    here = stop(hand.page, slug)
    hand.tap(here.get_by_role("link", name="Not factory"))
    form = here.locator("form[data-part]")
    for label in unticked:
        hand.tap(form.get_by_text(label, exact=True))
    hand.type_into(form.get_by_label("What it is"), what)
    hand.tap(form.get_by_text(where_from, exact=True))
    for kind, words in evidence.items():
        hand.tap(form.locator(".piece").get_by_text(kind, exact=True))
        hand.type_on(words, form.locator(".piece", has_text=kind).locator(".what input"))
    hand.type_into(form.get_by_label("What the factory fits there"), fits)
    hand.type_into(form.get_by_label("What follows from the difference"), follows)
    hand.tap(form.get_by_text(severity, exact=True))
    hand.tap(form.get_by_role("button", name="Record it, on with the walk"))
    expect(here.locator("form[data-part]")).to_have_count(0)


def rest_as_factory(hand: Counted, slug: str) -> None:
    """The positions that the part is not in have an answer of their own, one tap each."""
    here = stop(hand.page, slug)
    unticked, said_so_far = ODD[slug][0], here.locator(".spot.said")
    for number in range(len(unticked)):
        before = said_so_far.count()
        hand.tap(here.get_by_role("button", name="As factory").first)
        if number + 1 < len(unticked):
            expect(said_so_far).to_have_count(before + 1)


def all_six_are_on_record(survey) -> None:
    for slug, (unticked, what, _, evidence, fits, follows, severity) in ODD.items():
        place = Place.objects.get(pk=slug)
        parts = list(FittedPart.objects.filter(vehicle=survey.vehicle, place=slug))
        assert len(parts) == len(place.asked) - len(unticked), slug
        for part in parts:
            assert (part.description, part.factory_fits, part.follows) == (what, fits, follows)
            assert sorted(piece.what for piece in part.evidence.all()) == sorted(evidence.values())
        fault = survey.vehicle.faults.get(place=slug)
        assert (fault.get_severity_display(), fault.kind, fault.title) == (severity, "finding", what)


def test_all_places_zone_by_zone_in_under_six_minutes(
    tablet, live_server, survey, technician, record_property
):
    """All 77 places: six not the factory's with their full entry, the rest with the one tap for a zone."""
    watch = Watch(tablet, live_server.url)
    hand = opened(tablet, survey, technician, live_server)
    zones = tablet.locator(".zone-rail li").count()
    number = 0
    for _ in range(zones):
        zone = tablet.locator("#walk").get_attribute("data-zone")
        places = Place.objects.filter(zone=zone)
        for place in places:
            if place.pk not in ODD:
                continue
            part_entered(hand, place.pk)
            rest_as_factory(hand, place.pk)
            number += 1
            said(tablet, number)
        hand.tap(tablet.get_by_role("button", name=re.compile("as the factory made it$")))
        number += sum(place.pk not in ODD for place in places)
        said(tablet, number)
    assert number == Place.objects.count() >= 60
    all_six_are_on_record(survey)
    report(record_property, "zone by zone, 77 places", hand)
    assert hand.seconds < MOST_SECONDS, hand
    hand.tap(tablet.get_by_role("link", name="Finish the survey"))
    hand.tap(tablet.get_by_role("button", name="Finish the survey"))
    expect(tablet.get_by_role("heading", name="Survey report")).to_be_visible()
    first = tablet.locator(".first li").first
    expect(first).to_contain_text("Smaller wheel, no airbag")
    expect(first).to_contain_text("judged dangerous, and still open; people are held by it")
    assert watch.complaints == []


def test_sixty_places_one_by_one_in_under_six_minutes(
    tablet, live_server, survey, technician, record_property
):
    """Nobody uses the tap for a zone: each place has an answer of its own. Twenty are answered, two of them with a full
    entry; what sixty with six such entries take is reckoned from that.
    """
    hand = opened(tablet, survey, technician, live_server)
    order, odd = list(Place.objects.all()), ("brake-discs", "wheels")
    chosen = [place for place in order if place.pk in odd]
    chosen += [place for place in order if place.pk not in ODD][: 20 - len(chosen)]
    entries, places, number = 0.0, 0.0, 0
    for place in order:
        if place not in chosen:
            continue
        if tablet.locator("#walk").get_attribute("data-zone") != place.zone:
            hand.tap(tablet.locator(f".zone-rail a[href$='zone={place.zone}']"))
            expect(tablet.locator("#walk")).to_have_attribute("data-zone", place.zone)
        before = hand.seconds
        if place.pk in ODD:
            part_entered(hand, place.pk)
            rest_as_factory(hand, place.pk)
            entries += hand.seconds - before
        else:
            hand.tap(stop(tablet, place.pk).get_by_role("button", name="As factory").first)
            places += hand.seconds - before
        number += 1
        said(tablet, number)
    assert number == 20
    changes = hand.seconds - entries - places
    # The tap on a zone's name is reckoned at the same share of the places.
    sixty = entries / len(odd) * 6 + places / 18 * 54 + changes / 20 * 60
    report(record_property, f"one by one, 20 places; 60 take {sixty:.0f} s", hand)
    assert sixty < MOST_SECONDS, hand


def report(record_property, what: str, hand: Counted) -> None:
    text = f"{what}: {hand.taps} taps, {hand.characters} characters, {hand.seconds:.0f} s at the assumed pace"
    record_property("survey", text)
    print(text)


def test_the_walk_goes_on_by_itself_and_stays_in_view(tablet, live_server, survey, technician):
    watch = Watch(tablet, live_server.url)
    hand = opened(tablet, survey, technician, live_server, zone="brakes")
    loads = []
    tablet.on("framenavigated", lambda frame: loads.append(frame.url))
    places = list(Place.objects.filter(zone="brakes"))
    for number, place in enumerate(places, 1):
        here = stop(tablet, place.pk)
        expect(here).to_have_class(re.compile(r"\bhere\b"))
        button = here.get_by_role("button", name="As factory").first
        expect(button).to_be_in_viewport(ratio=1)
        hand.tap(button)
        said(tablet, number)
        expect(tablet.locator(".walk-count")).to_be_in_viewport(ratio=1)
    expect(tablet.locator("#zone-title")).to_have_text("Wheels and tyres")
    expect(tablet.locator(".zone.done .crossed")).to_have_text("Brakes")
    expect(tablet.locator(".walk-said")).to_contain_text("Parking brake: as the factory made it.")
    tablet.wait_for_timeout(100)
    assert [url for url in loads if "/places/" in url] == [], "no page was loaded for an answer"
    # Loaded anew, by whoever: where it stands now.
    tablet.reload()
    said(tablet, len(places))
    expect(tablet.locator("#zone-title")).to_have_text("Wheels and tyres")
    assert watch.complaints == []


def test_confidence_follows_the_evidence_while_one_ticks(tablet, live_server, survey, technician, car, lead):
    hand = opened(tablet, survey, technician, live_server, zone="rear")
    hand.tap(stop(tablet, "tow-bar").get_by_role("link", name="Not factory"))
    sure = tablet.locator("[data-sure]")
    expect(sure).to_contain_text("an open question, as long as there is no evidence")
    form = tablet.locator("form[data-part]")
    hand.tap(form.get_by_text("Technician's judgement"))
    expect(sure).to_contain_text("So far: likely")
    hand.tap(form.get_by_text("Invoice or receipt"))
    expect(sure).to_contain_text("can confirm it")
    hand.tap(form.get_by_text("Unknown", exact=True))
    expect(sure).to_contain_text("unknown where the part comes from")
    # Refused: it comes back as it was typed, with the sentences, in place.
    hand.tap(form.get_by_text("Aftermarket", exact=True))
    hand.type_into(form.get_by_label("What follows from the difference"), "Not to be loaded.")
    hand.tap(form.get_by_role("button", name="Record it, on with the walk"))
    expect(tablet.get_by_text("Not saved yet. Nothing you typed is lost.")).to_be_in_viewport()
    expect(form.get_by_label("What follows from the difference")).to_have_value("Not to be loaded.")
    expect(
        form.get_by_text("Say what was read, seen or said; or untick this evidence.").first
    ).to_be_visible()
    assert not FittedPart.objects.exists()


def test_a_rattling_finger_answers_for_one_zone_only(tablet, live_server, survey, technician):
    """Four taps in one place: the zone that comes up under the finger is not answered by them."""
    opened(tablet, survey, technician, live_server)
    key = tablet.get_by_role("button", name=re.compile("as the factory made it$"))
    first = tablet.locator("#walk").get_attribute("data-zone")
    box = key.bounding_box()
    where = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tablet.touchscreen.tap(*where)
    expect(tablet.locator("#walk")).not_to_have_attribute("data-zone", first)
    for _ in range(4):
        tablet.wait_for_timeout(300)
        tablet.touchscreen.tap(*where)
    assert {row.place.zone for row in survey.entries.select_related("place")} == {first}
    expect(key).to_be_enabled()


def test_a_question_is_asked_with_one_more_tap(tablet, live_server, survey, technician):
    hand = opened(tablet, survey, technician, live_server, zone="body")
    hand.tap(stop(tablet, "roof").get_by_role("link", name="Open question"))
    hand.tap(stop(tablet, "roof").get_by_role("button", name="Who fitted it, and how is it fastened?"))
    said(tablet, 1)
    assert hand.taps == 2
    entry = survey.entries.get()
    assert (entry.finding, entry.note) == ("open", "Who fitted it, and how is it fastened?")
    # And taken up with one.
    hand.tap(stop(tablet, "roof").get_by_role("button", name=re.compile("^Minor")))
    expect(tablet.locator(".walk-said")).to_contain_text("Raised: F1")


def test_on_the_phone_in_one_column(phone, live_server, survey, technician, car, lead):
    PartFactory(person=lead, vehicle=car, place="parking-brake", description="Hydraulic lever")
    watch = Watch(phone, live_server.url)
    hand = opened(phone, survey, technician, live_server, zone="brakes")
    expect(phone.locator(".walk-count")).to_be_in_viewport(ratio=1)
    expect(phone.locator(".zone.now")).to_be_in_viewport(ratio=1)
    hand.tap(phone.get_by_role("button", name="The other 6 as the factory made it"))
    said(phone, 6)
    button = stop(phone, "parking-brake").get_by_role("button", name="As on record")
    expect(button).to_be_in_viewport(ratio=1)
    hand.tap(button)
    said(phone, 7)
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert watch.complaints == []


@pytest.mark.parametrize("device", [TABLET, PHONE], ids=["tablet", "phone"])
def test_without_javascript(browser, live_server, survey, technician, device):
    page = new_page(browser, live_server.url, java_script_enabled=False, **device)
    hand = opened(page, survey, technician, live_server, zone="rear")
    hand.tap(stop(page, "rear-bumper").get_by_role("button", name="As factory"))
    expect(page).to_have_url(re.compile(r"\?zone=rear#rear-lamps$"))
    said(page, 1)
    part_entered_without_script(hand)
    said(page, 2)
    hand.tap(page.get_by_role("button", name="The other 2 as the factory made it"))
    said(page, 4)
    hand.tap(page.locator(".zone-rail a[href$='zone=rear']"))
    hand.tap(stop(page, "tow-socket").get_by_role("link", name=re.compile("^Say again")))
    hand.type_into(stop(page, "tow-socket").get_by_label("Remark"), "13 pins")
    hand.tap(stop(page, "tow-socket").get_by_role("button", name="Not seen"))
    expect(stop(page, "tow-socket")).to_contain_text("Could not be seen · 13 pins")
    expect(stop(page, "tow-socket")).to_contain_text("before: as the factory made it")
    page.context.close()


def part_entered_without_script(hand: Counted) -> None:
    here = stop(hand.page, "tow-bar")
    hand.tap(here.get_by_role("link", name="Not factory"))
    here.get_by_label("What it is").fill("Bar of 60 mm flats")
    hand.tap(here.get_by_text("Unknown", exact=True))
    hand.tap(here.get_by_text("Technician's judgement"))
    here.locator(".piece", has_text="Technician's judgement").locator(".what input").fill("welds by hand")
    hand.tap(here.get_by_role("button", name="Record it, on with the walk"))


def test_two_people_at_the_same_car(browser, live_server, survey, technician, lead):
    """Each in a zone of their own: both count. At the same place: the later answer counts, the earlier is shown."""
    one, two = (new_page(browser, live_server.url, **TABLET) for _ in range(2))
    tamsin = opened(one, survey, technician, live_server, zone="rear")
    lida = opened(two, survey, lead, live_server, zone="rear")
    tamsin.tap(stop(one, "tow-bar").get_by_role("button", name="Not seen"))
    said(one, 1)
    # Lida's page is from before: her answer for the same place comes later and counts.
    lida.tap(stop(two, "tow-bar").get_by_role("button", name="Has none"))
    said(two, 1)
    expect(stop(two, "tow-bar")).to_contain_text("This car has none Lida Marchbank")
    expect(stop(two, "tow-bar")).to_contain_text("before: could not be seen Tamsin Orrell")
    lida.tap(two.locator(".zone-rail a[href$='zone=front']"))
    lida.tap(two.get_by_role("button", name="All 4 as the factory made it"))
    said(two, 5)
    tamsin.tap(one.get_by_role("button", name=re.compile("^The other|^All")))
    said(one, 8)
    one.context.close()
    two.context.close()


def test_nobody_surveys_who_may_not(tablet, live_server, survey, front_desk):
    opened(tablet, survey, front_desk, live_server, zone="rear")
    expect(tablet.locator(".zone-rail")).to_be_visible()
    expect(tablet.get_by_role("button", name="As factory")).to_have_count(0)
    assert tablet.goto(reverse("vehicles:survey-part", args=[survey.pk, "tow-bar"])).status == 403
