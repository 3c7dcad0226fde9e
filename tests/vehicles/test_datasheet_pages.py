"""Pages of data sheets and figures: rows filled in, what comes back, what a page costs."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.factories.datasheet import SheetFactory, amount, known
from tests.factories.part import PartFactory
from tests.once import once
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles.acts import datasheet as acts
from vehicles.models import Figure, FittedPart
from workshop.engineering.units import Amount


@once
def sheet(lead):
    return SheetFactory(person=lead)


@once
def figures_form(technician, sheet):
    """The form for all figures as a technician finds it, before anything was filled in."""
    client = Client()
    client.force_login(technician)
    return form_of(client, reverse("vehicles:data-sheet-figures", args=[sheet.pk]))


@pytest.fixture
def wheelbase(lead, sheet):
    return acts.give_figure(by=by(lead), owner=sheet, key="wheelbase", value=amount("2500 mm"), source="maker",
                            source_words="manual, p. 12")  # fmt: skip


# --- pages ---------------------------------------------------------------------------------------------------------


def test_several_figures_at_once_and_only_the_filled_rows(client, technician, sheet, figures_form):
    client.force_login(technician)
    url = reverse("vehicles:data-sheet-figures", args=[sheet.pk])
    sent = figures_form | {
        "source": "maker", "source_words": "manual, group 46",
        "wheelbase_value": "2500,5", "wheelbase_unit": "mm",
        "front-toe_total_value": "10", "front-toe_total_unit": "arcmin", "front-toe_total-low": "0", "front-toe_total-high": "20",
        "front-tyre_size": "185/60 R14", "front-brake_kind": "disc", "front-pistons": "1",
    }  # fmt: skip
    answer = client.post(url, sent)
    assert answer.status_code == 302, answer.context["form"].errors
    kept = {row.key_of_item: (row.shown, row.tolerance) for row in Figure.objects.all()}
    assert kept == {
        "wheelbase": ("2500.5 mm", ""),
        "front.toe_total": ("10′", "0′ to 20′"),
        "front.tyre_size": ("185/60 R14", ""),
        "front.brake_kind": ("disc", ""),
        "front.pistons": ("1", ""),
    }
    assert Figure.objects.get(key_of_item="wheelbase").value == Decimal("2500.5")
    # What is known is not asked for again.
    assert "wheelbase" not in client.get(url).context["form"].fields


@pytest.mark.parametrize(
    ("sent", "field", "said"),
    [
        ({}, "__all__", "Fill in at least one figure."),
        ({"wheelbase_value": "2500", "wheelbase_unit": ""}, "wheelbase", "Choose a unit"),
        ({"wheelbase_value": "2500", "wheelbase_unit": "kg"}, "wheelbase", "That is no unit for this: choose mm, m, in."),
        ({"wheelbase_value": "two", "wheelbase_unit": "mm"}, "wheelbase", ""),
        ({"wheelbase_value": "1e400", "wheelbase_unit": "mm"}, "wheelbase", ""),
        ({"wheelbase_value": "NaN", "wheelbase_unit": "mm"}, "wheelbase", ""),
        ({"wheelbase_value": "9" * 10_000, "wheelbase_unit": "mm"}, "wheelbase", ""),
        ({"wheelbase_value": "25", "wheelbase_unit": "mm"}, "wheelbase", "give 800 mm to 6000 mm"),
        ({"front-toe_total-low": "3"}, "front-toe_total", "a tolerance alone says nothing"),
        ({"front-toe_total_value": "10", "front-toe_total_unit": "arcmin", "front-toe_total-low": "11"}, "front-toe_total-low",
         "The lowest is above the value"),
        ({"front-tyre_size": "2" * 10_000}, "front-tyre_size", "too long"),
        ({"front-pistons": "1,5"}, "front-pistons", "whole number"),
    ],
)  # fmt: skip
def test_what_was_typed_wrong_comes_back_with_a_sentence(
    client, technician, sheet, figures_form, sent, field, said
):
    client.force_login(technician)
    url = reverse("vehicles:data-sheet-figures", args=[sheet.pk])
    answer = client.post(url, figures_form | {"source": "maker"} | sent)
    assert answer.status_code == 422
    errors = answer.context["form"].errors
    assert said in errors[field][0]
    assert not Figure.objects.exists()


def test_without_a_source_nothing_is_kept_and_the_rows_are_said_too(client, technician, sheet, figures_form):
    client.force_login(technician)
    url = reverse("vehicles:data-sheet-figures", args=[sheet.pk])
    answer = client.post(url, figures_form | {"wheelbase_value": "25", "wheelbase_unit": "mm"})
    assert set(answer.context["form"].errors) == {"source", "wheelbase"}


def test_a_part_is_recorded_with_its_dimensions_in_one_act(client, technician, car):
    client.force_login(technician)
    url = f"{reverse('vehicles:part-add', args=[car.pk])}?place=brake-calipers"
    sent = form_of(client, url) | {"position": "rear_left", "description": "36 mm caliper", "provenance": "other_model",
                                   "piston_diameter_value": "36", "piston_diameter_unit": "mm"}  # fmt: skip
    answer = client.post(url, sent)
    assert "Say where these dimensions come from." in answer.context["form"].errors["figures_source"]
    assert not FittedPart.objects.exists()
    assert (
        client.post(url, sent | {"figures_source": "measured", "figures_words": "vernier"}).status_code == 302
    )
    part = FittedPart.objects.get()
    assert [row.shown for row in part.figures.all()] == ["36 mm"]
    assert "36 mm" in client.get(part.get_absolute_url()).content.decode()


def test_a_variant_shows_what_it_takes_from_its_base(client, front_desk, lead, sheet, wheelbase):
    variant = SheetFactory(person=lead, based_on=sheet, figures={"front.track": "1420 mm"})
    client.force_login(front_desk)
    page = client.get(variant.get_absolute_url())
    rows = {row.key: row for group in page.context["groups"] for row in group.told}
    assert rows["wheelbase"].base == sheet
    assert rows["front.track"].base is None
    text = page.content.decode()
    assert f'It stands on <a class="reach" href="{sheet.get_absolute_url()}">{sheet}</a>' in text
    # Who may not write figures is offered no button that would refuse them.
    assert "Enter figures" not in text
    assert "/change/" not in text


def test_the_pages_ask_the_database_no_more_with_more_history(client, lead, car, sheet, wheelbase):
    acts.choose_sheet(by=by(lead), vehicle=car, sheet=sheet, because="type plate")
    caliper = PartFactory(person=lead, vehicle=car, place="brake-calipers", position="rear_left")
    known(lead, caliper, {"piston_diameter": "36 mm"})
    known(lead, car, {"front.axle_mass_weighed": "720 kg"})
    client.force_login(lead)
    pages = {
        "sheets": reverse("vehicles:data-sheets"),
        "sheet": sheet.get_absolute_url(),
        "figures": reverse("vehicles:figures", args=[car.pk]),
        "part": caliper.get_absolute_url(),
    }

    def queries() -> dict[str, int]:
        found = {}
        for name, url in pages.items():
            with CaptureQueriesContext(connection) as caught:
                assert client.get(url).status_code == 200
            found[name] = len(caught)
        return found

    queries()
    few = queries()
    for owner, key in ((sheet, "wheelbase"), (car, "front.axle_mass_weighed"), (caliper, "piston_diameter")):
        for number in range(5):
            last = Figure.objects.current().get(key_of_item=key)
            value = Amount(last.value + 1, last.unit)
            acts.change_figure(
                by=by(lead), figure=last, value=value, because=f"again, {number}", source="measured"
            )
        assert owner.figures.count() == 6
    for name in ("rear_right", "front_left", "front_right"):
        known(
            lead,
            PartFactory(person=lead, vehicle=car, place="brake-calipers", position=name),
            {"piston_diameter": "40 mm"},
        )
    for _ in range(3):
        SheetFactory(person=lead, based_on=sheet, figures={"front.track": "1420 mm"})
    known(lead, sheet, {"front.track": "1430 mm", "rear.track": "1425 mm", "cg_height": "520 mm"})
    assert queries() == few


def test_the_way_back_stays_in_this_house(client, lead, wheelbase):
    client.force_login(lead)
    url = reverse("vehicles:figure-withdraw", args=[wheelbase.pk])
    page = client.get(url, {"next": "https://elsewhere.example/"})
    assert page.context["cancel_url"] == wheelbase.sheet.get_absolute_url()
