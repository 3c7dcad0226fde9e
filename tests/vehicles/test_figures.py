"""All that is known of one car in numbers: which figure counts, and what is asked for on the spot."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.template import Context, Template
from django.test import RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.factories.datasheet import SheetFactory, amount, known
from tests.factories.part import PartFactory
from tests.once import once
from tests.people import by
from vehicles.acts import datasheet as acts
from vehicles.acts import part as parts
from vehicles.figures import MOST_LEVELS, figures_of
from vehicles.models import Figure, FittedPart
from workshop.engineering.effect import Missing
from workshop.engineering.result import Origin

TYPE = {"wheelbase": "2500 mm", "front.piston_diameter": "54 mm", "rear.piston_diameter": "30 mm"}


@once
def sheet(lead):
    return SheetFactory(person=lead, figures=TYPE)


@pytest.fixture
def gt(lead, car, sheet):
    """The car, with the sheet holding for it."""
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=sheet, because="type plate")
    return car


def test_a_car_without_a_sheet_is_known_by_nothing(car):
    known = figures_of(car)
    assert (known.factory, known.parts, known.own) == ({}, (), {})


def test_the_nearest_sheet_counts_and_the_base_fills_in(lead, car, sheet):
    variant = SheetFactory(person=lead, based_on=sheet, figures={"wheelbase": "2510 mm"})
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=variant, because="long nose")
    factory = figures_of(car).factory
    assert factory["wheelbase"].shown == "2510 mm"
    assert factory["front.piston_diameter"].shown == "54 mm"
    assert factory["wheelbase"].origin == Origin.DATA_SHEET
    acts.withdraw_figure(by=by(lead), figure=Figure.objects.get(sheet=variant), because="that was the estate")
    assert figures_of(car).factory["wheelbase"].shown == "2500 mm"


def test_a_row_of_sheets_has_an_end(lead, sheet):
    for _ in range(MOST_LEVELS - 1):
        sheet = SheetFactory(person=lead, based_on=sheet)
    with pytest.raises(ValidationError, match="variant of a variant"):
        acts.add_sheet(by=by(lead), name="one more", based_on=sheet)


def test_a_part_and_the_car_itself_stand_before_the_sheet(lead, gt):
    caliper = PartFactory(
        person=lead, vehicle=gt, place="brake-calipers", position="rear_left", description="36 mm caliper"
    )
    known(
        lead, caliper, {"piston_diameter": "36 mm"}, source="measured", source_words="vernier, at the piston"
    )
    known(lead, gt, {"front.axle_mass_weighed": "1480 kg"}, source="papers", source_words="ticket 4471")
    found = figures_of(gt)
    assert found.factory["rear.piston_diameter"].shown == "30 mm"
    now = found.now["rear.piston_diameter"]
    assert (now.shown, now.origin, now.sure) == ("36 mm", Origin.PART, "confirmed")
    assert now.words == "36 mm caliper: measured here: vernier, at the piston"
    weighed = found.own["front.axle_mass_weighed"]
    assert (weighed.shown, weighed.words) == (
        "1480 kg",
        "Registration papers or weighbridge ticket: ticket 4471",
    )
    assert found.parts[0].id == str(caliper.pk)


def test_a_factory_parts_figures_change_nothing_but_fill_what_the_sheet_leaves_open(lead, gt):
    disc = PartFactory(person=lead, vehicle=gt, place="brake-discs", position="front_left", description="front disc",
                       provenance="factory_standard", evidence=[("part_number", "cast 17")])  # fmt: skip
    known(lead, disc, {"disc_diameter": "256 mm"})
    caliper = PartFactory(person=lead, vehicle=gt, place="brake-calipers", position="front_left",
                          provenance="factory_standard", evidence=[("part_number", "cast 18")])  # fmt: skip
    known(lead, caliper, {"piston_diameter": "52 mm"})
    found = figures_of(gt)
    assert found.parts == ()
    assert found.factory["front.piston_diameter"].shown == "54 mm"
    assert (
        found.factory["front.disc_diameter"].words
        == "read off the factory part front disc: read off the part or its plate"
    )


def test_the_tolerance_comes_with_it(lead, sheet, car):
    acts.give_figure(by=by(lead), owner=sheet, key="front.toe_total", value=amount("10 arcmin"), low=amount("5 1").value,
                     high=amount("15 1").value, source="maker", source_words="workshop manual, group 44")  # fmt: skip
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=sheet, because="type plate")
    toe = figures_of(car).factory["front.toe_total"]
    assert (toe.low, toe.high) == (amount("5 arcmin"), amount("15 arcmin"))


def test_a_part_that_comes_back_brings_its_figures(lead, gt):
    caliper = PartFactory(person=lead, vehicle=gt, place="brake-calipers", position="rear_left")
    known(lead, caliper, {"piston_diameter": "36 mm"})
    parts.end_part(by=by(lead), part=caliper, whereabouts="kept")
    assert figures_of(gt).now["rear.piston_diameter"].shown == "30 mm"
    caliper = FittedPart.objects.get(pk=caliper.pk)
    again = parts.open_part(
        by=by(lead), vehicle=gt, place=caliper.place, position="rear_right", earlier_record=caliper
    )
    assert figures_of(gt).now["rear.piston_diameter"].shown == "36 mm"
    assert Figure.objects.get(part=again).shown == "36 mm"


def test_what_came_off_or_never_was_there_says_nothing(lead, gt):
    wrong = PartFactory(person=lead, vehicle=gt, place="brake-calipers", position="rear_left")
    known(lead, wrong, {"piston_diameter": "36 mm"})
    parts.correct_in_error(by=by(lead), part=wrong, reason="another car")
    assert figures_of(gt).parts == ()


def test_the_queries_do_not_grow_with_history(lead, gt):
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            figures_of(gt)
        return len(caught)

    few = queries()
    carried = {
        "brake-calipers": ("piston_diameter", "mm"),
        "tyres": ("load_index", "1"),
        "wheels": ("rim_offset", "mm"),
    }
    for place, (key, unit) in carried.items():
        for position in ("front_left", "front_right", "rear_left", "rear_right"):
            part = PartFactory(person=lead, vehicle=gt, place=place, position=position)
            known(lead, part, {key: f"70 {unit}"})
            acts.change_figure(
                by=by(lead), figure=Figure.objects.get(part=part), value=amount(f"71 {unit}"),
                because="measured again", source="measured",
            )  # fmt: skip
    assert queries() == few == 3


# --- asked for on the spot ---------------------------------------------------------------------------------------


def drawn(user, vehicle, missing) -> str:
    request = RequestFactory().get("/")
    request.user = user
    page = Template("{% load shop %}{% include 'vehicles/_missing_figures.html' %}")
    return page.render(
        Context(
            {"missing": missing, "vehicle": vehicle, "next": "/vehicles/", "user": user, "request": request}
        )
    )


def test_each_missing_figure_has_a_form_that_writes_it_where_it_belongs(client, lead, gt):
    circuit = PartFactory(person=lead, vehicle=gt, place="added-circuits", description="fuel pump")
    known(lead, circuit, {"load_current": "8 A"})
    missing = [
        Missing("front.track", "for the track change"),
        Missing("rear.axle_mass_weighed", "for the load index"),
        Missing(f"cable_section@{circuit.pk}", "for the voltage drop"),
    ]
    html = drawn(lead, gt, missing)
    assert html.count("<form") == 3
    assert "Track, front" in html
    assert "Cable cross-section: fuel pump" in html
    client.force_login(lead)
    url = reverse("vehicles:figure-give", args=[gt.pk])
    for asked, number, unit in (("front.track", "1420", "mm"), ("rear.axle_mass_weighed", "1 480", "kg"),
                                (f"cable_section@{circuit.pk}", "2,5", "mm2")):  # fmt: skip
        form = client.get(url, {"for": asked, "next": "/vehicles/"}).context["form"]
        sent = {"key": form["key"].value(), "for": asked, "next": "/vehicles/", "value_value": number.replace(" ", ""), "value_unit": unit,
                "source": "measured"}  # fmt: skip
        answer = client.post(url, sent)
        assert answer.status_code == 302, answer.content.decode()
        assert answer.url == "/vehicles/"
    found = figures_of(gt)
    assert found.factory["front.track"].shown == "1420 mm"
    assert found.own["rear.axle_mass_weighed"].shown == "1480 kg"
    assert found.parts[0].figures["cable_section"].shown == "2.5 mm²"
