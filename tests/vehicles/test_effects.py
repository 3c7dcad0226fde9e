"""What the non-factory parts change: the report, its page, its panel, its prints. The effects here are made up for it;
what the real ones compute is tested in tests/engineering.
"""

from __future__ import annotations

import io
import re
from decimal import Decimal
from html import unescape
from uuid import uuid4

import pytest
from django.urls import reverse
from pypdf import PdfReader

from tests.factories.part import PartFactory, SurveyFactory
from tests.people import by
from vehicles import effects
from vehicles.acts import datasheet
from vehicles.acts import survey as survey_acts
from vehicles.models import FittedPart, Place
from workshop.engineering.declare import INFORMS, LOCAL_APPROVAL, Kind, Source
from workshop.engineering.effect import CarFigures, Effect, Figure, Missing, Part, Row, Standing, Topic
from workshop.engineering.errors import EngineeringError
from workshop.engineering.plot import Axis, Line, Plot
from workshop.engineering.result import Origin
from workshop.engineering.units import Amount

D = Decimal
CURVE = Plot(
    "share", "Rear share of the brake force", Axis("Deceleration, g", 0, 1), Axis("Rear share, %", 0, 60),
    "The rear brakes of this car do more at every deceleration.",
    (Line("this car", ((0, 34), (1, 30))), Line("factory", ((0, 28), (1, 25)), "factory")),
    head=("Deceleration", "Factory", "This car"), rows=(("0.5 g", "26.5 %", "32 %"),),
)  # fmt: skip


def brakes(car: CarFigures) -> Topic | None:
    parts = car.parts_for(("rear.piston_diameter",))
    if not parts:
        return None
    ids = tuple(part.id for part in parts)
    return Topic(
        "brakes",
        "Brakes",
        rows=(
            Row("Pedal force", "200 N", "196 N", "−2.0 %", Standing.CHANGED, parts=ids),
            Row("Rear share", "28 %", "34 %", "+21.4 %", Standing.OUTSIDE,
                "The rear axle locks first above 0.72 g.", "at most 30 %", "the maker's data", ids),
        ),
        plots=(CURVE,),
        missing=(Missing("cg_height", "to say when the rear wheels lock"),),
        assumptions=("Friction is assumed to be 0.40 (common practice).",),
        notes=("Both pads were taken to be alike.",),
        sources=(Source("UN R13-H", "annex 5", Kind.PUBLISHED),),
        cautions=("Work on brakes can hurt: the maker's procedure comes first.",),
        local_approval=True,
    )  # fmt: skip


def tyres(car: CarFigures) -> Topic | None:
    """Knows nothing yet but what it lacks."""
    if not car.parts_for(("rear.piston_diameter",)):
        return None
    return Topic(
        "tyres",
        "Tyres",
        missing=(Missing("cg_height", "to say how the load moves"), Missing("wheelbase", "to say so too")),
    )


@pytest.fixture(autouse=True)
def two_effects(monkeypatch):
    made_up = (Effect("tyres", "Tyres", 1, tyres), Effect("brakes", "Brakes", 2, brakes))
    monkeypatch.setattr("workshop.engineering.catalogue.effects", lambda: made_up)
    effects._worked_out.cache_clear()
    yield
    effects._worked_out.cache_clear()


def add_part(technician, car, place="brake-calipers", position="rear_left", **kwargs) -> FittedPart:
    kwargs = {"description": "Caliper of another model", "provenance": "other_model", **kwargs}
    return PartFactory(person=technician, vehicle=car, place=place, position=position, **kwargs)


def give(person, owner, **figures):
    """Figures by key with two underscores for a dot: rear__piston_diameter="30 mm"."""
    rows = []
    for key, text in figures.items():
        number, _, unit = text.partition(" ")
        rows.append({"key": key.replace("__", "."), "value": Amount(D(number), unit) if unit else text})
    datasheet.record_figures(
        by=by(person), owner=owner, figures=rows, source="measured", source_words="caliper"
    )


@pytest.fixture
def sheet(lead, car):
    made = datasheet.add_sheet(by=by(lead), name="Drayman high roof", vehicle=car, because="type plate")
    give(lead, made, rear__piston_diameter="30 mm", rear__tyre_size="205/55R16")
    return made


@pytest.fixture
def caliper(technician, car):
    part = add_part(technician, car)
    give(technician, part, piston_diameter="36 mm")
    return part


def page(client, person, car, name="effects"):
    client.force_login(person)
    answer = client.get(reverse(f"vehicles:{name}", args=[car.pk]))
    assert answer.status_code == 200
    return answer


def text_of(answer) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())))


def pdf_of(answer) -> str:
    assert answer.headers["Content-Type"] == "application/pdf"
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return re.sub(r"\s+", " ", " ".join(one.extract_text() for one in pages))


# --- the report -----------------------------------------------------------------------------------------------


def test_what_is_outside_its_limit_comes_first_and_names_its_part(car, sheet, caliper):
    report = effects.report_of(car)
    assert [topic.topic.slug for topic in report.topics] == ["brakes", "tyres"]
    first, second = report.topics[0].rows
    assert first.outside
    assert not second.outside
    # Both rows come from the one part: it is named with the topic, not with each.
    assert [part.what for part in report.topics[0].parts] == ["Caliper of another model"]
    assert first.parts == ()
    assert [(topic.topic.slug, row.row.what) for topic, row in report.outside] == [("brakes", "Rear share")]
    assert report.counts == {"outside the limit": 1, "changed, no published limit": 1}
    assert report.sentences == (INFORMS, LOCAL_APPROVAL)


def test_a_figure_is_asked_for_once_and_named_again_where_it_is_missed_too(car, sheet, caliper):
    report = effects.report_of(car)
    by_slug = {topic.topic.slug: topic for topic in report.topics}
    # The tyres' effect is the first of all; on the page the brakes stand first, so they ask.
    asked = [one.key for topic in report.topics for one in topic.missing]
    assert sorted(asked) == ["cg_height", "wheelbase"]
    assert by_slug["brakes"].missing[0].key == "cg_height"
    assert by_slug["tyres"].asked == ("Height of the centre of gravity",)


def test_the_dimensions_stand_beside_the_factorys_with_their_source(car, sheet, caliper):
    (measured,) = effects.report_of(car).measured
    (one,) = measured.dimensions
    assert (one.what, one.factory, one.now, one.change) == (
        "Caliper piston diameter", "30 mm", "36 mm", "+6 mm, +20.0 %"
    )  # fmt: skip
    assert measured.used
    assert "caliper" in one.words


def test_parts_without_dimensions_are_listed_apart_from_those_that_need_none(car, technician, caliper):
    bare = add_part(technician, car, "brake-discs", "rear_left", description="Larger disc")
    other = add_part(technician, car, "tow-bar", "", description="Tow bar")
    add_part(technician, car, "tyres", "front_left", description="As made", provenance="factory_standard")
    report = effects.report_of(car)
    assert report.askable == (bare,)
    assert report.rest == (other,)
    assert report.odd == 3


def test_a_part_that_came_off_changes_nothing_any_more(car, sheet, caliper):
    FittedPart.objects.filter(pk=caliper.pk).update(entered_in_error="wrong car")
    report = effects.report_of(car)
    assert report.odd == 0
    assert report.topics == ()


def test_the_two_sides_of_an_axle_that_disagree_are_said(car, technician, caliper):
    other = add_part(technician, car, position="rear_right")
    give(technician, other, piston_diameter="38 mm")
    (sentence,) = effects.report_of(car).disagreeing
    assert "36 mm" in sentence
    assert "38 mm" in sentence


def mm(number: str, unit: str = "mm") -> Figure:
    return Figure(Amount(D(number), unit), Origin.PART)


@pytest.mark.parametrize(
    ("factory", "now", "words"),
    [
        (mm("30"), mm("36"), "+6 mm, +20.0 %"),
        (mm("36"), mm("30"), "−6 mm, −16.7 %"),
        (mm("30"), mm("30"), "none"),
        (mm("1", "in"), mm("25.4"), "none"),
        (mm("35"), mm("-10"), "−45 mm"),
        (mm("0"), mm("5"), "+5 mm"),
        (Figure("V", Origin.PART), Figure("v", Origin.PART), "none"),
        (Figure("205/55 R16", Origin.PART), Figure("195/50 R15", Origin.PART), "another"),
    ],
)
def test_a_change_is_said_in_the_unit_and_as_a_share_where_that_means_something(factory, now, words):
    assert effects.change(factory, now) == words


def test_a_choice_is_said_by_its_label_and_an_item_without_a_factory_figure_has_no_change():
    part = Part(str(uuid4()), "Drum", "Discs, rear", "brake-discs", "rear",
                {"brake_kind": Figure("drum", Origin.PART, "seen"), "disc_diameter": mm("200")})  # fmt: skip
    car = CarFigures({"rear.brake_kind": Figure("disc", Origin.DATA_SHEET, "handbook")}, (part,))
    (measured,) = effects.of_figures(car, []).measured
    kind, disc = measured.dimensions
    assert (kind.factory, kind.now, kind.change) == ("disc", "drum", "another")
    assert (disc.factory, disc.change) == ("–", "–")
    assert not measured.used


def test_the_same_figures_are_worked_out_once(monkeypatch):
    asked = []
    monkeypatch.setattr(
        "workshop.engineering.catalogue.effects",
        lambda: (Effect("one", "One", 1, lambda car: asked.append(car)),),
    )
    same = [CarFigures({"wheelbase": mm("2500")}) for _ in range(2)]
    assert effects.worked_out(same[0]) == effects.worked_out(same[1]) == ()
    assert len(asked) == 1
    effects.worked_out(CarFigures({"wheelbase": mm("2501")}))
    assert len(asked) == 2
    assert effects._Frozen(same[0]) != "a text"


def test_an_effect_without_an_answer_says_so_and_stops_no_page(client, lead, car, caliper, monkeypatch):
    def refuses(car):
        raise EngineeringError("a wheel of no size turns no road.")

    monkeypatch.setattr(
        "workshop.engineering.catalogue.effects", lambda: (Effect("x", "Wheels", 1, refuses),)
    )
    assert "together give no answer: a wheel of no size turns no road." in text_of(page(client, lead, car))


# --- the page -------------------------------------------------------------------------------------------------


def test_the_page_says_all_of_it(client, lead, car, sheet, caliper):
    answer = page(client, lead, car)
    text = text_of(answer)
    for words in ("Rear share", "28 %", "34 %", "+21.4 %", "at most 30 %", "The rear axle locks first above 0.72 g.",
                  "Friction is assumed to be 0.40", "Both pads were taken to be alike.", "UN R13-H, annex 5",
                  "Work on brakes can hurt", "Height of the centre of gravity", "as a table"):  # fmt: skip
        assert words in text, words
    assert text.count(INFORMS) == 1
    assert text.count(LOCAL_APPROVAL) == 1
    html = answer.content.decode()
    assert html.index("Outside a limit") < html.index("Pedal force")
    assert reverse("vehicles:part", args=[caliper.pk]) in html
    assert '<svg viewBox="0 0 320' in html
    assert "style=" not in html


def test_without_non_factory_parts_the_page_says_what_finds_them(client, lead, car):
    assert "nothing to compare" in text_of(page(client, lead, car))


def test_without_data_sheet_and_dimensions_the_page_asks_for_both(client, lead, technician, car):
    bare = add_part(technician, car)
    answer = page(client, lead, car)
    text, html = text_of(answer), answer.content.decode()
    assert "No factory figures are on record" in text
    assert "No part that is not the factory's has dimensions yet." in text
    assert reverse("vehicles:part-figures", args=[bare.pk]) in html
    assert reverse("vehicles:data-sheet-choose", args=[car.pk]) in html


def test_who_may_not_write_figures_down_is_not_led_there(client, front_desk, technician, car):
    bare = add_part(technician, car)
    html = page(client, front_desk, car).content.decode()
    assert reverse("vehicles:part-figures", args=[bare.pk]) not in html
    assert reverse("vehicles:part", args=[bare.pk]) in html


def test_the_car_page_says_it_in_short_and_draws_nothing(client, lead, car, sheet, caliper, monkeypatch):
    monkeypatch.setattr(
        "workshop.templatetags.plots.drawn", lambda plot: pytest.fail("drawn on the car page")
    )
    answer = page(client, lead, car, "vehicle")
    text = text_of(answer)
    assert "What the non-factory parts change" in text
    assert "Rear share: 34 %" in text
    assert "The rear axle locks first above 0.72 g." in text
    assert reverse("vehicles:effects", args=[car.pk]) in answer.content.decode()


def test_the_panel_has_words_for_every_empty_state(client, lead, technician, car):
    assert "No part is on record that is not the factory's." in text_of(page(client, lead, car, "vehicle"))
    add_part(technician, car)
    assert "has dimensions yet" in text_of(page(client, lead, car, "vehicle"))


@pytest.mark.pdf
def test_a_survey_report_has_the_section(client, lead, technician, car, sheet, caliper):
    survey = SurveyFactory(person=technician, vehicle=car)
    survey_acts.record_entry(by=by(technician), survey=survey, place=Place.objects.get(pk="brake-calipers"),
                             position="rear_left", finding="not_factory")  # fmt: skip
    survey_acts.finish_survey(by=by(technician), survey=survey, summary="the caliper")
    client.force_login(lead)
    text = text_of(client.get(survey.get_absolute_url()))
    assert "The rear axle locks first above 0.72 g." in text
    assert text.count(INFORMS) == 1
    paper = pdf_of(client.get(reverse("vehicles:survey-pdf", args=[survey.pk])))
    assert "What the non-factory parts change" in paper
    assert "The rear axle locks first above 0.72 g." in paper


@pytest.mark.pdf
def test_the_print_reads_back_whole(client, lead, car, sheet, caliper):
    paper = pdf_of(page(client, lead, car, "effects-pdf"))
    for words in ("Rear share", "34 %", "at most 30 %", "The rear axle locks first above 0.72 g.", "this car",
                  "Deceleration, g", "Caliper piston diameter", "UN R13-H, annex 5", "0.5 g", INFORMS,
                  LOCAL_APPROVAL):  # fmt: skip
        assert words in paper, words
    assert paper.count(INFORMS) == 1


@pytest.mark.pdf
def test_the_print_of_a_car_with_nothing_to_compare_is_a_print_all_the_same(client, lead, car):
    assert "Nothing that can be worked out" in pdf_of(page(client, lead, car, "effects-pdf"))


def test_a_stranger_sees_none_of_it(client, car_owner, car):
    client.force_login(car_owner)
    for name in ("effects", "effects-pdf"):
        assert client.get(reverse(f"vehicles:{name}", args=[car.pk])).status_code in (403, 404)


# --- queries --------------------------------------------------------------------------------------------------


def test_the_report_is_three_queries_for_little_and_for_much(
    car, technician, lead, sheet, caliper, django_assert_num_queries
):
    with django_assert_num_queries(3):
        effects.report_of(car)
    places = [
        place
        for place in Place.objects.exclude(pk="brake-calipers")
        if place.pk not in ("tyres", "brake-discs")
    ]
    for place in places[:30]:
        add_part(technician, car, place.pk, place.asked[0], description=f"Other {place.name}")
    for position in ("front_left", "front_right", "rear_left", "rear_right"):
        give(technician, add_part(technician, car, "brake-discs", position), disc_diameter="300 mm")
    with django_assert_num_queries(3):
        report = effects.report_of(car)
    assert report.odd == 35


def test_the_page_asks_as_often_for_much_as_for_little(
    client, lead, technician, car, sheet, caliper, django_assert_max_num_queries
):
    page(client, lead, car)
    with django_assert_max_num_queries(30) as little:
        page(client, lead, car)
    for position in ("front_left", "front_right", "rear_left", "rear_right"):
        give(technician, add_part(technician, car, "brake-discs", position), disc_diameter="300 mm")
        add_part(technician, car, "tyres", position)
    with django_assert_max_num_queries(30) as much:
        page(client, lead, car)
    assert len(much) == len(little)


def test_parts_alike_are_named_once_and_a_row_names_its_own_where_they_are_not_the_topics():
    four = [
        Part(str(uuid4()), "Wide tyre", f"Tyre, {n}", "tyres", n, {}) for n in ("front left", "front right")
    ]
    other = Part(str(uuid4()), "Wheel", "Wheel, rear left", "wheels", "rear_left", {})
    (tyre, wheel) = effects.named([*four, other])
    assert (tyre.what, tyre.where, tyre.many) == ("Wide tyre", "Tyre, front left; Tyre, front right", 2)
    assert wheel.many == 1
    rows = (
        Row("a", "1", "2", "+1", Standing.CHANGED, parts=(four[0].id, "gone")),
        Row("b", "1", "2", "+1", Standing.NOT_KNOWN, parts=(other.id,)),
    )
    shown = effects._shown(Topic("t", "T", rows=rows), {p.id: p for p in (*four, other)}, (), ())
    assert [row.row.what for row in shown.rows] == ["b", "a"]
    assert [[part.what for part in row.parts] for row in shown.rows] == [["Wheel"], ["Wide tyre"]]
    assert [part.what for part in shown.parts] == ["Wide tyre", "Wheel"]


def test_four_tyres_alike_are_one_table_of_dimensions(car, technician, sheet):
    for position in ("rear_left", "rear_right"):
        give(
            technician,
            add_part(technician, car, "tyres", position, description="Wide tyre"),
            load_index="91 1",
        )
    report = effects.report_of(car)
    (measured,) = report.measured
    assert measured.part.many == 2
    assert report.odd == 2
