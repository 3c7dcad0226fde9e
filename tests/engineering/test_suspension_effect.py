"""What other arms, links, wheels and spacers change in the alignment, and what is asked for."""

from decimal import Decimal

import pytest

from workshop.engineering.effect import CarFigures, Figure, Part, Standing, Topic
from workshop.engineering.effects.suspension import EFFECT
from workshop.engineering.result import Origin
from workshop.engineering.units import Amount


def amount(text: str) -> Amount:
    number, _, code = text.partition(" ")
    return Amount(Decimal(number), code or "1")


def figure(text: str, low: str = "", high: str = "", origin: Origin = Origin.DATA_SHEET) -> Figure:
    return Figure(
        amount(text), origin, "workshop manual", "confirmed", *(amount(t) if t else None for t in (low, high))
    )


def part(place: str, position: str = "left", id: str = "p1", **texts: str) -> Part:
    return Part(
        id,
        "a part",
        "axle",
        place,
        position,
        {code: figure(t, origin=Origin.PART) for code, t in texts.items()},
    )


FACTORY = {
    "front.toe_total": figure("10 arcmin", "0 arcmin", "20 arcmin"),
    "front.camber": figure("-0.5 deg", "-1 deg", "0 deg"),
    "front.caster_trail": figure("30 mm"),
    "front.steering_arm": figure("130 mm"),
    "front.toe_link_stiffness": figure("5 kN/mm"),
    "front.scrub_radius": figure("15 mm"),
    "front.rim_offset": figure("40 mm"),
}


def topic(*parts: Part, factory: dict[str, Figure] = FACTORY, own: dict[str, Figure] | None = None) -> Topic:
    found = EFFECT.work(CarFigures(factory, parts, own or {}))
    assert found is not None
    return found


def rows(found: Topic) -> dict[str, object]:
    return {row.what: row for row in found.rows}


def test_no_part_touches_it():
    assert EFFECT.work(CarFigures(FACTORY)) is None
    assert EFFECT.work(CarFigures(FACTORY, (part("tyres", "front_left", load_index="88"),))) is None


def test_a_stiffer_link():
    found = topic(part("track-rods", toe_link_stiffness="10 kN/mm"))
    by = rows(found)
    # By hand: 3000·30/130 = 692.3 N; /5000 over 130 → 3.66′, /10000 → 1.83′.
    side = by["Toe change of one front wheel under 3000 N of side force"]
    assert (side.factory, side.now, side.change) == ("3.7′ toe-out", "1.8′ toe-out", "+1.8′")
    assert side.standing == Standing.CHANGED
    assert side.parts == ("p1",)
    brake = by["Toe change of one front wheel under 3000 N of brake force"]
    assert (brake.factory, brake.now) == ("1.8′ toe-out", "0.9′ toe-out")
    (plot,) = found.plots
    assert [line.style for line in plot.lines] == ["this", "factory"]
    assert plot.slug == "front-toe-under-load"
    # By hand: a third more than at 3000 N.
    assert plot.summary.endswith("a front wheel turns to 2.4′ toe-out (this car) and 4.9′ toe-out (factory).")
    assert found.local_approval
    # Toe and camber stand on the data sheet, and only a measurement says how this car stands.
    assert any("Measure the front total toe" in note for note in found.notes)
    assert found.missing == ()


def test_a_part_that_says_nothing_is_asked():
    found = topic(part("front-arms"))
    assert [missing.key for missing in found.missing] == ["toe_link_stiffness@p1"]
    side = rows(found)["Toe change of one front wheel under 3000 N of side force"]
    assert (side.now, side.standing, side.parts) == ("–", Standing.NOT_KNOWN, ("p1",))
    assert [line.style for line in found.plots[0].lines] == ["factory"]


def test_what_is_missing_of_the_type_is_asked_for():
    found = topic(part("rear-arms", toe_link_stiffness="4 kN/mm"))
    assert [missing.key for missing in found.missing] == [
        "rear.toe_total",
        "rear.camber",
        "rear.caster_trail",
        "rear.steering_arm",
    ]
    assert found.rows == ()
    silent = topic(part("rear-arms"))
    assert "rear.toe_link_stiffness" not in [missing.key for missing in silent.missing]
    assert silent.missing[-1].key == "toe_link_stiffness@p1"


def test_other_springs_ask_for_the_alignment_alone():
    found = topic(part("front-springs"), factory={})
    assert [missing.key for missing in found.missing] == ["front.toe_total", "front.camber"]


def test_only_this_cars_link_is_known():
    factory = {key: FACTORY[key] for key in ("front.caster_trail", "front.steering_arm")}
    found = topic(part("front-arms", toe_link_stiffness="5 kN/mm"), factory=factory)
    side = rows(found)["Toe change of one front wheel under 3000 N of side force"]
    assert (side.factory, side.now, side.change) == ("–", "3.7′ toe-out", "–")
    assert [line.style for line in found.plots[0].lines] == ["this"]
    assert side.standing == Standing.NOT_KNOWN
    assert "front.toe_link_stiffness" in [missing.key for missing in found.missing]
    assert "Toe change of one front wheel under 3000 N of brake force" not in rows(found)


@pytest.mark.parametrize(
    ("toe", "standing", "change"),
    [
        ("0.5 deg", Standing.OUTSIDE, "+20′"),
        ("-5 arcmin", Standing.OUTSIDE, "−15′"),
        ("20 arcmin", Standing.INSIDE, "+10′"),
        ("0 arcmin", Standing.INSIDE, "−10′"),
        ("10 arcmin", Standing.INSIDE, "none"),
    ],
)
def test_toe_against_the_tolerance(toe, standing, change):
    found = topic(own={"front.toe_total": figure(toe, origin=Origin.CAR)})
    row = rows(found)["Total toe, front"]
    assert (row.standing, row.change, row.limit) == (standing, change, "0′ to 20′")
    assert row.limit_source == "workshop manual"
    assert bool(row.verdict) == (standing == Standing.OUTSIDE)


@pytest.mark.parametrize(
    ("low", "high", "limit", "standing"),
    [
        ("", "-0.25 deg", "up to −0.25°", Standing.OUTSIDE),
        ("-1 deg", "", "from −1°", Standing.INSIDE),
        ("", "", "–", Standing.CHANGED),
    ],
)
def test_half_a_tolerance_and_none(low, high, limit, standing):
    factory = {"front.camber": figure("-0.5 deg", low, high)}
    found = topic(factory=factory, own={"front.camber": figure("0 deg", origin=Origin.CAR)})
    row = rows(found)["Camber, front"]
    assert (row.limit, row.standing, row.change) == (limit, standing, "+0.5°")
    same = topic(factory=factory, own={"front.camber": figure("-0.5 deg", origin=Origin.CAR)})
    assert rows(same)["Camber, front"].change == "none"
    assert rows(same)["Camber, front"].standing in (Standing.AS_FACTORY, Standing.INSIDE)


@pytest.mark.parametrize(
    ("measured", "now", "change", "standing"),
    [
        # Shown to two decimals: what differs by less is the same, and no "−0°".
        ("-0.502 deg", "−0.5°", "none", Standing.AS_FACTORY),
        ("-30 arcmin", "−0.5°", "none", Standing.AS_FACTORY),
        ("-0.52 deg", "−0.52°", "−0.02°", Standing.CHANGED),
        ("0.5 deg", "0.5°", "+1°", Standing.CHANGED),
    ],
)
def test_the_standing_follows_from_the_change_that_is_shown(measured, now, change, standing):
    found = topic(
        factory={"front.camber": figure("-0.5 deg")},
        own={"front.camber": figure(measured, origin=Origin.CAR)},
    )
    (row,) = found.rows
    assert (row.factory, row.now, row.change, row.standing) == ("−0.5°", now, change, standing)


def test_a_negative_toe_has_the_minus_sign_of_its_change():
    found = topic(own={"front.toe_total": figure("-12 arcmin", origin=Origin.CAR)})
    row = rows(found)["Total toe, front"]
    assert (row.now, row.change) == ("−12′", "−22′")
    assert row.verdict == "Measured −12′, where 0′ to 20′ is wanted."


def test_a_text_is_no_angle():
    factory = {"front.camber": Figure("straight", Origin.DATA_SHEET)}
    found = topic(factory=factory, own={"front.camber": figure("0 deg", origin=Origin.CAR)})
    assert found.rows == ()


def test_wheels_with_less_offset_move_the_scrub_radius():
    found = topic(
        part("wheels", "front_left", rim_offset="35 mm"),
        part("wheel-fasteners", "front_left", "p2", spacer="10 mm"),
    )
    by = rows(found)
    scrub = by["Scrub radius, front"]
    assert (scrub.factory, scrub.now, scrub.change) == ("15 mm", "30 mm", "+15 mm")
    assert scrub.parts == ("p1", "p2")
    assert "15 mm further out" in scrub.verdict
    # By hand: 3000·30/130/5000 over 130 → 3.66′ with twice the scrub radius.
    brake = by["Toe change of one front wheel under 3000 N of brake force"]
    assert (brake.factory, brake.now) == ("1.8′ toe-out", "3.7′ toe-out")
    assert by["Toe change of one front wheel under 3000 N of side force"].standing == Standing.AS_FACTORY
    # Both cars' curves would lie on each other.
    assert found.plots == ()
    assert "compared at 3000 N" in found.notes[-1]
    assert found.missing == ()


def test_wheels_otherwise():
    inwards = topic(part("wheels", "front_left", rim_offset="45 mm"))
    assert "5 mm further in," in rows(inwards)["Scrub radius, front"].verdict
    same = topic(part("wheels", "front_left", rim_offset="40 mm"))
    assert "Scrub radius, front" not in rows(same)
    measured = topic(
        part("wheels", "front_left", rim_offset="35 mm"),
        own={"front.scrub_radius": figure("19 mm", origin=Origin.CAR)},
    )
    scrub = rows(measured)["Scrub radius, front"]
    # A length with a sign has no percentage: in mm.
    assert (scrub.factory, scrub.now, scrub.change) == ("15 mm", "19 mm", "+4 mm")
    assert scrub.standing == Standing.CHANGED
    for radius, change, standing in (
        ("-7.5 mm", "−22.5 mm", Standing.CHANGED),
        ("15 mm", "none", Standing.AS_FACTORY),
    ):
        other = topic(
            part("wheels", "front_left", rim_offset="35 mm"),
            own={"front.scrub_radius": figure(radius, origin=Origin.CAR)},
        )
        row = rows(other)["Scrub radius, front"]
        assert (row.change, row.standing) == (change, standing)
    unknown = topic(
        part("wheels", "front_left", rim_offset="35 mm"),
        factory={},
        own={"front.scrub_radius": figure("19 mm", origin=Origin.CAR)},
    )
    row = rows(unknown)["Scrub radius, front"]
    assert (row.change, row.standing) == ("–", Standing.NOT_KNOWN)
    unknown = topic(
        part("wheels", "rear_left", rim_offset="35 mm"), factory={"rear.rim_offset": figure("40 mm")}
    )
    scrub = rows(unknown)["Scrub radius, rear"]
    assert (scrub.factory, scrub.now, scrub.change) == ("–", "–", "+5 mm")
    nothing = topic(part("wheels", "rear_left", rim_offset="35 mm"), factory={})
    assert nothing.rows == ()
    assert [missing.key for missing in nothing.missing] == ["rear.rim_offset"]
    assert nothing.notes == ()
    spacer = topic(part("wheel-fasteners", "rear_left", spacer="15 mm"), factory={})
    assert rows(spacer)["Scrub radius, rear"].change == "+15 mm"


def test_other_wheels_do_not_inherit_the_factorys_offset():
    found = topic(
        part("wheels", "front_left", rim_width="7 in"),
        part("wheel-fasteners", "front_left", "p2", spacer="10 mm"),
    )
    scrub = rows(found)["Scrub radius, front"]
    assert (scrub.factory, scrub.now, scrub.change) == ("15 mm", "–", "–")
    assert scrub.standing == Standing.NOT_KNOWN
    assert scrub.parts == ("p2", "p1")
    assert [missing.key for missing in found.missing] == ["rim_offset@p1"]
    brake = rows(found)["Toe change of one front wheel under 3000 N of brake force"]
    assert (brake.factory, brake.now, brake.standing) == ("1.8′ toe-out", "–", Standing.NOT_KNOWN)
    # An offset that was measured on the car itself is this car's.
    own = topic(
        part("wheels", "front_left", rim_width="7 in"),
        own={"front.rim_offset": figure("30 mm", origin=Origin.CAR)},
    )
    assert rows(own)["Scrub radius, front"].change == "+10 mm"
