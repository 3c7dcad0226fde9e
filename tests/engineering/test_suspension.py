"""Toe against tables of sines, the sense of a wheel's turning against a cross product, and the limits."""

import math

import numpy
import pytest
import scipy.constants
import scipy.optimize
from hypothesis import given
from hypothesis import strategies as st
from pint import DimensionalityError

from tests.worked import answer, refused, run
from workshop.engineering.catalogue import calculators
from workshop.engineering.declare import declared_rightly
from workshop.engineering.errors import EngineeringError
from workshop.engineering.quantities import magnitude
from workshop.engineering.quantities import quantity as q
from workshop.engineering.suspension import (
    link_force,
    scrub_change,
    signed,
    thrust_angle,
    toe_angle,
    toe_from_movement,
    toe_length,
    toe_plot,
    toe_under_force,
    toe_words,
)

SLUGS = ("toe-mm-and-degrees", "toe-under-load", "cross-values")


# Angle in minutes of arc, its sine, its tangent.
TABLE = [(10, 0.0029089, 0.0029089), (30, 0.0087265, 0.0087269), (60, 0.0174524, 0.0174551)]


@pytest.mark.outside("CRC Standard Mathematical Tables, sines and tangents, from memory")
@pytest.mark.parametrize(("minutes", "sine", "tangent"), TABLE)
def test_toe_by_the_tables(published, minutes, sine, tangent):
    published.close(magnitude(toe_length(q(minutes, "arcmin"), q(1000, "mm")), "mm"), sine * 1000, rel=2e-5)
    published.close(magnitude(toe_angle(q(sine * 1000, "mm"), q(1, "m")), "arcmin"), minutes, rel=2e-5)
    found = toe_from_movement(q(tangent * 100, "mm"), q(100, "mm"))
    published.close(magnitude(found, "arcmin"), minutes, rel=2e-5)


@pytest.mark.outside("SciPy, scipy.constants.arcmin and scipy.optimize.brentq")
@pytest.mark.parametrize(("force", "arm", "stiffness"), [(346.15, 130, 5000), (2000, 90, 800), (5, 200, 9e4)])
def test_toe_under_force_by_a_root(published, force, arm, stiffness):
    turned = scipy.optimize.brentq(
        lambda angle: stiffness * arm * math.tan(angle) - force, 0, 1.5, xtol=1e-16, rtol=1e-14
    )
    published.close(-toe_under_force(force, arm, stiffness), turned / scipy.constants.arcmin, rel=1e-9)


@pytest.mark.outside("NumPy, numpy.cross: moment of the forces at the contact patch about the steering axis")
@pytest.mark.parametrize(
    ("side", "trail", "brake", "scrub"),
    [(3000, 30, 0, 0), (0, 0, 3000, 15), (2500, -10, 1500, -20), (1000, 50, 4000, 40)],
)
def test_moment_and_its_sense(published, side, trail, brake, scrub):
    # A right wheel, x to the right, y forward, z up; the axis through the origin.
    patch = numpy.array([scrub, -trail, 0.0])
    force = numpy.array([-side, -brake, 0.0])
    # Clockwise from above (negative about z) turns a right wheel's front outwards: toe-out, positive here.
    moment = -numpy.cross(patch, force)[2]
    found = link_force(q(side, "N"), q(trail, "mm"), q(brake, "N"), q(scrub, "mm"), q(130, "mm"))
    published.close(magnitude(found, "N"), float(moment) / 130, rel=1e-12, unit="N")


# Worked apart: total in mm at a diameter, and as an angle.
@pytest.mark.parametrize(
    ("length", "diameter", "minutes"),
    [(1.0, 381.0, 9.02), (1.0, 406.4, 8.46), (1.0, 431.8, 7.96), (2.0, 406.4, 16.92), (3.0, 355.6, 29.00)],
)
def test_mm_and_minutes(length, diameter, minutes):
    assert magnitude(toe_angle(q(length, "mm"), q(diameter, "mm")), "arcmin") == pytest.approx(
        minutes, rel=1e-3
    )
    result = run(
        "toe-mm-and-degrees",
        left_angle=None,
        right_angle=None,
        total_length=f"{length} mm",
        diameter=f"{diameter} mm",
    )
    assert answer(result, "total") == pytest.approx(minutes, rel=1e-3)
    assert answer(result, "total_mm") == pytest.approx(length, rel=1e-8)


def test_compliance_by_hand():
    assert magnitude(toe_from_movement(q(1.2, "mm"), q(130, "mm")), "arcmin") == pytest.approx(
        31.73, rel=1e-3
    )
    force = link_force(q(0, "N"), q(0, "mm"), q(3000, "N"), q(15, "mm"), q(130, "mm"))
    assert magnitude(force, "N") == pytest.approx(346.15, rel=1e-4)
    assert toe_under_force(346.15, 130, 5000) == pytest.approx(-1.831, rel=1e-3)
    # Play goes the way of the force, and without a force nowhere.
    assert toe_under_force(-100, 100, 1000, 0.4) == pytest.approx(math.degrees(math.atan(0.005)) * 60)
    assert toe_under_force(0, 100, 1000, 0.4) == 0
    assert magnitude(scrub_change(q(40, "mm"), q(35, "mm"), q(10, "mm")), "mm") == pytest.approx(15)
    assert magnitude(thrust_angle(q(10, "arcmin"), q(2, "arcmin")), "arcmin") == pytest.approx(4)


@given(minutes=st.floats(-300, 300), diameter=st.floats(200, 1000))
def test_there_and_back(minutes, diameter):
    there = toe_length(q(minutes, "arcmin"), q(diameter, "mm"))
    assert magnitude(toe_angle(there, q(diameter, "mm")), "arcmin") == pytest.approx(minutes, abs=1e-9)


@given(force=st.floats(0, 20000), arm=st.floats(30, 400), stiffness=st.floats(10, 1e5))
def test_a_stiffer_link_turns_less_and_both_senses_are_alike(force, arm, stiffness):
    turned = toe_under_force(force, arm, stiffness)
    assert -90 * 60 <= turned <= 0
    assert toe_under_force(-force, arm, stiffness) == -turned
    assert toe_under_force(force, arm, stiffness * 2) >= turned


def test_wrong_dimensions_and_impossible_lengths():
    with pytest.raises(DimensionalityError):
        toe_angle(q(1, "kg"), q(381, "mm"))
    with pytest.raises(DimensionalityError):
        link_force(q(1, "mm"), q(1, "mm"), q(1, "N"), q(1, "mm"), q(1, "mm"))
    with pytest.raises(EngineeringError, match="diameter at which"):
        toe_angle(q(381, "mm"), q(381, "mm"))
    with pytest.raises(EngineeringError, match="arm is greater"):
        toe_from_movement(q(1, "mm"), q(0, "mm"))


def test_words():
    assert [toe_words(one) for one in (4.26, -4.24, 0.04)] == ["4.3′ toe-in", "4.2′ toe-out", "no toe"]
    assert [signed(one) for one in (4.26, -4.24, -0.04)] == ["+4.3′", "−4.2′", "0.0′"]


def test_a_plot_without_any_toe_has_room():
    plot = toe_plot((("this car", "this", 0.0, 100.0, 1000.0, 0.0),), 4000.0, "flat", "flat")
    assert plot.y.low < 0 < plot.y.high
    assert len(plot.rows) == 5


@pytest.mark.parametrize("slug", SLUGS)
def test_declared_rightly(slug):
    calculator = calculators()[slug]
    assert declared_rightly(calculator) == []
    assert calculator.local_approval
    assert run(slug).record()["verdict"]


def test_single_wheels_of_a_rear_axle():
    result = run("toe-mm-and-degrees")
    assert [answer(result, name) for name in ("total", "cross", "thrust")] == pytest.approx([8, 16, 8])
    assert answer(result, "total_mm") == pytest.approx(0.946, rel=1e-3)
    assert "points 8.0′ to the right" in result.outcome.verdict
    left = run("toe-mm-and-degrees", left_angle="-4 arcmin", right_angle="0.2 deg")
    assert "points 8.0′ to the left" in left.outcome.verdict
    straight = run("toe-mm-and-degrees", right_angle="12 arcmin")
    assert "straight ahead" in straight.outcome.verdict


def test_single_wheels_of_a_front_axle_in_mm():
    both = {"left_angle": None, "right_angle": None, "axle": "front"}
    result = run("toe-mm-and-degrees", **both, left_length="1 mm", right_length="0 mm")
    assert answer(result, "total") == pytest.approx(8.46, rel=1e-3)
    assert "thrust" not in result.values
    assert "moved by 4.2′ in" in result.outcome.verdict
    alike = run("toe-mm-and-degrees", **both, left_length="1 mm", right_length="1 mm")
    assert "moved" not in alike.outcome.verdict
    total = run("toe-mm-and-degrees", **both, total_angle="16.92 arcmin")
    assert answer(total, "total_mm") == pytest.approx(2.0, rel=1e-3)


def test_toe_refuses_what_is_half_or_twice():
    nothing = {"left_angle": None, "right_angle": None}
    assert list(refused("toe-mm-and-degrees", **nothing)) == [""]
    assert list(refused("toe-mm-and-degrees", left_angle=None)) == ["left_angle"]
    assert list(refused("toe-mm-and-degrees", right_angle=None)) == ["right_angle"]
    assert list(refused("toe-mm-and-degrees", total_length="1 mm")) == ["left_angle"]
    assert list(refused("toe-mm-and-degrees", total_angle="1 kg")) == ["total_angle"]


def test_toe_under_load():
    result = run("toe-under-load")
    # By hand: (3000·30 + 3000·15)/130 = 1038.46 N, 0.20769 mm, atan(0.20769/130) = 5.492′.
    assert answer(result, "force") == pytest.approx(1038.4615, rel=1e-6)
    assert answer(result, "movement") == pytest.approx(0.2076923, rel=1e-6)
    assert answer(result, "toe") == pytest.approx(-5.4923, rel=1e-4)
    assert answer(result, "toe_mm") == pytest.approx(-0.6493, rel=1e-3)
    assert answer(result, "factory_toe") == pytest.approx(-3.4327, rel=1e-4)
    assert [line.style for line in result.outcome.plots[0].lines] == ["this", "factory"]
    inches = run("toe-under-load", arm="5.118110236 in", stiffness="5000 N/mm")
    assert answer(inches, "toe") == pytest.approx(answer(result, "toe"), rel=1e-6)


def test_toe_under_load_with_less_given():
    bare = {"brake_force": None, "scrub": None, "diameter": None, "factory_stiffness": None}
    result = run("toe-under-load", **bare, play="0.3 mm")
    assert "toe_mm" not in result.values
    assert "factory_toe" not in result.values
    assert "play is counted whole" in " ".join(result.outcome.notes)
    assert [line.style for line in result.outcome.plots[0].lines] == ["this"]
    still = run("toe-under-load", **bare, side_force="0 N", play="0.3 mm")
    assert answer(still, "toe") == 0
    assert answer(still, "movement") == 0
    assert still.outcome.plots == []
    longer = run("toe-under-load", **{**bare, "scrub": "15 mm"}, factory_arm="150 mm")
    assert answer(longer, "factory_toe") > answer(longer, "toe")


def test_toe_under_load_refuses():
    assert list(refused("toe-under-load", scrub=None)) == ["scrub"]
    assert list(refused("toe-under-load", stiffness="0.01 kN/mm", side_force="20000 N")) == ["stiffness"]
    assert list(refused("toe-under-load", arm="0 mm")) == ["arm"]


def test_cross_values():
    result = run("cross-values")
    assert answer(result, "camber") == pytest.approx(0.7)
    assert answer(result, "caster") == pytest.approx(-0.3)
    assert result.outcome.odd
    assert "more than what shops usually allow" in result.outcome.verdict
    assert [row[-1] for row in result.outcome.tables[0].rows] == ["too far apart", "within"]
    # By common practice the car goes to the more positive camber and to the lesser caster.
    assert "camber: the left" in result.outcome.notes[0]
    assert "caster: the left" in result.outcome.notes[1]


def test_cross_values_otherwise():
    right = run("cross-values", camber_left="-1 deg", camber_right="-0.5 deg", caster_left="4.5 deg")
    assert "camber: the right" in right.outcome.notes[0]
    assert "caster: the right" in right.outcome.notes[1]
    assert right.outcome.odd
    alike = run(
        "cross-values", camber_left="1 deg", camber_right="1 deg", caster_left="3 deg", caster_right="3 deg",
        height_left="350 mm", height_right="345 mm", limit="30 arcmin",
    )  # fmt: skip
    assert alike.outcome.notes == []
    assert "within the limit given, 0.5°" in alike.outcome.verdict
    assert answer(alike, "height") == pytest.approx(5)
    assert alike.outcome.tables[0].rows[2][-1] == "–"
    bare = run("cross-values", caster_left=None, caster_right=None)
    assert "caster" not in bare.values


def test_exactly_the_limit_is_within():
    assert not run("cross-values", camber_left="1.3 deg", camber_right="0.8 deg").outcome.odd


def test_cross_values_refuse_one_side_alone():
    assert list(refused("cross-values", caster_left=None)) == ["caster_left"]
    assert list(refused("cross-values", height_left="350 mm")) == ["height_right"]
