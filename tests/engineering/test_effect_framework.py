"""Effects and what they stand on: the items that are known of a car, its figures, and plots as plain data."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from workshop.engineering import catalogue
from workshop.engineering.declare import declared_rightly
from workshop.engineering.effect import (
    CarFigures,
    Effect,
    Figure,
    Missing,
    Part,
    Row,
    Standing,
    Topic,
    change_in_percent,
    effects_of,
    true_minus,
)
from workshop.engineering.effect_figures import Known
from workshop.engineering.errors import EngineeringError
from workshop.engineering.items import (
    AXLES,
    GROUPS,
    ITEMS,
    KEYS,
    UnknownItem,
    axle_of,
    item,
    items_at,
    key_at,
    key_name,
)
from workshop.engineering.plot import Axis, Band, Line, Mark, Plot
from workshop.engineering.result import Origin
from workshop.engineering.units import UNITS, Amount

D = Decimal


def known(number: str, unit: str = "mm", **kwargs) -> Figure:
    return Figure(Amount(D(number), unit), Origin.DATA_SHEET, **kwargs)


def fitted(place: str, position: str, figures: dict[str, Figure], id: str = "1") -> Part:
    return Part(id, "A part", f"{place}, {position}", place, position, figures)


# --- items ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("of", ITEMS.values(), ids=ITEMS)
def test_every_item_has_a_unit_of_its_dimension_and_a_range_that_is_not_empty(of):
    assert of.group in GROUPS
    assert of.per in ("car", "axle", "part")
    if of.dimension == "choice":
        assert len(of.choices) > 1
    elif of.dimension == "text":
        assert of.example
    else:
        assert UNITS[of.unit].dimension == of.dimension
        assert of.low < of.high
    # What is kept part by part is kept at some place; a car holds none of it.
    assert of.places or of.per != "part"
    assert not (of.of_car and of.places)


def test_a_key_names_its_item_and_the_axle():
    assert item("front.track") is ITEMS["track"]
    assert item("wheelbase").keys == ("wheelbase",)
    assert item("rear.track").keys == ("front.track", "rear.track")
    assert (key_name("front.track"), key_name("wheelbase")) == ("Track, front", "Wheelbase")
    for key in ("track", "middle.track", "front.wheelbase", ""):
        with pytest.raises(UnknownItem, match="nothing that is kept of a car"):
            item(key)
    assert {key.split(".")[0] for key in KEYS if "." in key} == set(AXLES)


@pytest.mark.parametrize(
    ("place", "position", "axle"),
    [
        ("brake-discs", "front_left", "front"),
        ("tyres", "inner_right", "rear"),
        ("brake-calipers", "rear", "rear"),
        ("front-arms", "left", "front"),
        ("rear-arms", "right", "rear"),
        ("steering-gear", "", "front"),
        ("tow-bar", "", ""),
    ],
)
def test_the_axle_follows_from_the_position_else_from_the_place(place, position, axle):
    assert axle_of(place, position) == axle


def test_a_part_carries_the_items_of_its_place():
    assert {one.code for one in items_at("wheels")} == {"rim_diameter", "rim_width", "rim_offset"}
    assert items_at("ashtray") == ()


def test_what_a_parts_item_stands_for_on_the_car():
    assert key_at("disc_diameter", "brake-discs", "rear_left") == "rear.disc_diameter"
    assert key_at("final_drive_ratio", "final-drive", "") == "final_drive_ratio"
    assert key_at("disc_diameter", "brake-discs", "") is None
    assert key_at("fuse_rating", "added-circuits", "") is None


# --- figures of a car -----------------------------------------------------------------------------------------


def test_the_car_as_it_stands_is_the_factorys_with_its_own_figures_and_those_of_its_parts():
    disc = fitted("brake-discs", "rear_left", {"disc_diameter": known("280")})
    circuit = fitted("added-circuits", "", {"fuse_rating": known("20", "A")}, "2")
    car = CarFigures(
        {"rear.disc_diameter": known("250"), "front.disc_diameter": known("260")},
        (disc, circuit),
        {"front.axle_mass_weighed": known("800", "kg")},
    )
    assert car.now["rear.disc_diameter"].shown == "280 mm"
    assert car.now["front.disc_diameter"].shown == "260 mm"
    assert car.now["front.axle_mass_weighed"].shown == "800 kg"
    assert "fuse_rating" not in car.now
    assert disc.keys == {"rear.disc_diameter": "disc_diameter"}
    assert circuit.keys == {}
    assert car.factory["rear.disc_diameter"].shown == "250 mm"
    # By a car's key, by the code of an item kept part by part, and not by a code that some other part has per axle.
    assert car.parts_for(("rear.disc_diameter",)) == (disc,)
    assert car.parts_for(("fuse_rating",)) == (circuit,)
    assert car.parts_for(("front.disc_diameter", "disc_diameter", "load_current")) == ()


def test_two_sides_that_disagree_are_said_and_the_later_is_used():
    left = fitted("brake-discs", "rear_left", {"disc_diameter": known("280")})
    right = fitted("brake-discs", "rear_right", {"disc_diameter": known("285")}, "2")
    car = CarFigures({}, (left, right))
    assert car.disagreeing == [
        "Disc diameter, rear: 280 mm (brake-discs, rear_left), 285 mm (brake-discs, rear_right). "
        "285 mm was used; look at both."
    ]
    assert car.now["rear.disc_diameter"].shown == "285 mm"
    assert (
        CarFigures({}, (left, fitted("brake-discs", "rear_right", dict(left.figures), "2"))).disagreeing == []
    )


def test_what_was_measured_on_the_car_counts_before_what_a_part_says_of_itself():
    disc = fitted("brake-discs", "rear_left", {"disc_diameter": known("280")})
    other = fitted("brake-discs", "rear_right", {"disc_diameter": known("28", "mm")}, "2")
    key = "rear.disc_diameter"
    car = CarFigures({key: known("250")}, (disc,), {key: known("276")})
    assert car.now[key].shown == "276 mm"
    assert car.disagreeing == [
        "Disc diameter, rear: 276 mm on this car itself, 280 mm by the part (A part). 276 mm was used; look at both."
    ]
    # In another unit the same is the same; and where the car was measured the two sides are not held together.
    inches = CarFigures({}, (disc,), {key: known("11.0236", "in")})
    assert inches.disagreeing == []
    assert all(
        "280 mm (" not in text for text in CarFigures({}, (disc, other), {key: known("280")}).disagreeing
    )


def test_texts_agree_without_regard_to_case():
    def tyre(text):
        return Figure(text, Origin.PART)

    assert tyre("185/60 r14").agrees(tyre("185/60 R14"))
    assert not tyre("185/60 R14").agrees(tyre("195/50 R15"))
    assert not tyre("185").agrees(known("185"))


def test_each_who_asks_has_the_cars_figures_for_itself():
    car = CarFigures({"wheelbase": known("2500")})
    del car.now["wheelbase"]
    assert "wheelbase" in car.now


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("-12′", "−12′"),
        ("-1° to -0.5°", "−1° to −0.5°"),
        ("−12′ (-0.2°)", "−12′ (−0.2°)"),
        ("10x4.50-5", "10x4.50-5"),
        ("2024-05, 2-3 and R13-H", "2024-05, 2-3 and R13-H"),
        ("–", "–"),
    ],
)
def test_a_negative_number_has_a_minus_sign_and_a_size_keeps_its_hyphen(text, shown):
    assert true_minus(text) == shown
    row = Row("What", text, text, text, Standing.CHANGED, text, text)
    assert {row.factory, row.now, row.change, row.verdict, row.limit} == {shown}
    topic = Topic("t", "T", assumptions=(text,), notes=(text,))
    assert topic.assumptions == topic.notes == (shown,)


def test_a_negative_figure_is_shown_with_a_minus_sign():
    assert known("-12", "arcmin").shown == "−12′"


def test_what_only_the_factory_had_can_be_left_out():
    car = Known.of(
        CarFigures(
            {"boost": known("0.5", "bar"), "limiter": known("6500", "rpm"), "wheelbase": known("2500")},
            (),
            {"boost": known("0.6", "bar")},
        )
    )
    less = car.less("boost", "limiter", "blower_limit")
    assert less.now.keys() == {"boost", "wheelbase"}
    assert car.now.keys() == {"boost", "limiter", "wheelbase"}
    assert [one.key for one in less.factory_asked("boost", "blower_limit")] == ["blower_limit"]


def test_a_figure_is_shown_with_its_unit_and_given_on_with_its_origin():
    assert known("2500").shown == "2500 mm"
    text = Figure("195/50 R15", Origin.PART, "read off the tyre")
    assert text.shown == "195/50 R15"
    assert (text.given.value, text.given.origin, text.given.words) == (
        "195/50 R15",
        Origin.PART,
        "read off the tyre",
    )


def test_what_is_missing_is_named_for_an_axle_a_car_or_one_part():
    assert Missing("rear.disc_diameter", "").label == "Disc diameter, rear"
    assert Missing("wheelbase", "").label == "Wheelbase"
    assert Missing("cable_section@7", "").label == "Cable cross-section"


def test_every_standing_has_words_and_none_judges_the_law():
    words = [one.label for one in Standing]
    assert len(set(words)) == len(Standing)
    assert not any(word in text for text in words for word in ("complies", "legal", "safe"))


def test_a_topic_is_outside_when_one_of_its_rows_is():
    inside = Row("a", "1", "2", "+1", Standing.INSIDE)
    assert not Topic("t", "T", rows=(inside,)).outside
    assert Topic("t", "T", rows=(inside, Row("b", "1", "2", "+1", Standing.OUTSIDE))).outside


@pytest.mark.parametrize(
    ("factory", "now", "words"),
    [
        (100, 105.44, "+5.4 %"),
        (100, 98.8, "−1.2 %"),
        (100, 100.04, "none"),
        (100, 99.96, "none"),
        (0, 0, "none"),
        (0, 5, "–"),
        (-10, -12, "+20.0 %"),
    ],
)
def test_a_change_in_percent(factory, now, words):
    assert change_in_percent(factory, now) == words


def test_effects_are_asked_in_their_order_and_one_without_an_answer_says_so(monkeypatch):
    def nothing(car):
        return None

    def refuses(car):
        raise EngineeringError("a wheel of no size.")

    def divides(car):
        return 1 / len(car.parts)

    def finds(car):
        return Topic("d", "Finds")

    made_up = tuple(
        Effect(name, name.title(), n, work)
        for n, (name, work) in enumerate({"a": nothing, "b": refuses, "c": divides, "d": finds}.items())
    )
    monkeypatch.setattr(catalogue, "effects", lambda: made_up)
    refused, divided, found = effects_of(CarFigures({}))
    assert refused.notes == ("The figures on record together give no answer: a wheel of no size.",)
    assert divided.title == "C"
    assert "look at them again" in divided.notes[0]
    assert found.title == "Finds"


# --- the catalogue --------------------------------------------------------------------------------------------


def test_every_calculator_is_declared_rightly_under_the_name_of_its_file():
    found = catalogue.calculators()
    assert {slug: wrong for slug, one in found.items() if (wrong := declared_rightly(one))} == {}
    assert all(slug == one.slug for slug, one in found.items())
    places = [(catalogue.GROUPS.index(one.group), one.name) for one in found.values()]
    assert places == sorted(places)
    assert catalogue.find("torque-with-extension") is found["torque-with-extension"]
    assert catalogue.find("no-such-thing") is None


def test_every_input_that_names_an_item_is_of_its_dimension():
    wrong = []
    for one in catalogue.calculators().values():
        for each in one.inputs:
            if code := getattr(each, "item", ""):
                of = KEYS.get(code) or ITEMS.get(code)
                if of is None:
                    wrong.append(f"{one.slug}.{each.name}: {code} is no item")
                elif hasattr(each, "dimension") and of.dimension != each.dimension:
                    wrong.append(f"{one.slug}.{each.name}: {of.dimension}, not {each.dimension}")
    assert wrong == []


def test_effects_have_their_own_slug_and_stand_in_order():
    found = catalogue.effects()
    assert len({one.slug for one in found}) == len(found)
    assert [one.order for one in found] == sorted(one.order for one in found)
    # A car of which nothing is known makes no effect speak, and none stumble.
    assert effects_of(CarFigures({})) == []


# --- plots as data --------------------------------------------------------------------------------------------

PLOT = Plot(
    "share", "Rear share", Axis("Deceleration, g", 0, 1.1), Axis("Share, %", 0, 60), "It falls.",
    (Line("this car", ((0, 34), (1, 30.25)), "this"),), (Band("wanted", ((0, 10),), ((0, 20.123456),)),),
    (Mark("locks", (0.72, 31)),), ("g", "share"), (("0.5", "32 %"),),
)  # fmt: skip


def test_a_plots_record_is_plain_data_and_gives_the_plot_again():
    record = json.loads(json.dumps(PLOT.record()))
    again = Plot.from_record(record)
    assert again.record() == record
    assert (again.title, again.x, again.lines, again.marks) == (PLOT.title, PLOT.x, PLOT.lines, PLOT.marks)
    # Points are kept to five figures.
    assert again.bands[0].upper == ((0.0, 20.123),)
    assert again.rows == (("0.5", "32 %"),)
