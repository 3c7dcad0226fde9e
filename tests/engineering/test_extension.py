"""A wrench through an adapter off its square drive: both ways, against a published example and plain statics."""

from decimal import Decimal as D

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import find
from workshop.engineering.command import read_inputs
from workshop.engineering.declare import InputErrors
from workshop.engineering.extension import (
    decimal_ratio,
    lever_ratio,
    setting_for,
    torque_at_fastener,
)
from workshop.engineering.quantities import magnitude, quantity


def lever(length="400", extension="50", angle="0"):
    return quantity(D(length), "mm"), quantity(D(extension), "mm"), quantity(D(angle), "deg")


def answered(slug, **typed):
    calculator = find(slug)
    return calculate(calculator, read_inputs(calculator, typed.items()))


@pytest.mark.outside(
    "worked example of a torque adapter's instruction sheet: 20 lbf·ft, 12 in, 3 in, in line"
)
def test_the_published_example_in_inches(published):
    result = answered(
        "torque-with-extension", torque="20 lbf.ft", length="12 in", extension="3 in", angle="0 deg"
    )
    assert result.values["setting"].unit == "lbf.ft"
    published.close(result.values["setting"].value, 16, rel=1e-9, unit="lbf·ft")


@pytest.mark.outside("US Army TM 9-254, torque wrenches: effective lever, worked by hand at five angles")
@pytest.mark.parametrize(
    ("torque", "length", "extension", "angle", "setting"),
    [
        (80, 400, 50, 0, 71.111),
        (80, 400, 50, 45, 73.503),
        (80, 400, 50, 90, 80),
        (80, 400, 50, 180, 91.429),
        (110, 450, 60, 30, 98.613),
    ],
)
def test_settings_by_the_effective_lever(published, torque, length, extension, angle, setting):
    at = lever(length, extension, angle)
    got = magnitude(setting_for(quantity(torque, "N.m"), *at), "N.m")
    published.close(got, setting, within=0.0006, unit="N·m")
    back = magnitude(torque_at_fastener(quantity(got, "N.m"), *at), "N.m")
    assert back == pytest.approx(torque, rel=1e-12)


@given(
    st.floats(100, 1500),
    st.floats(0, 300),
    st.floats(0, 100),
    st.floats(1, 500),
)
def test_the_moment_about_the_fastener_is_that_of_plain_statics(length, extension, angle, force):
    """The hand pulls square to the wrench: r × F about the fastener, by numpy's cross product."""
    drive, hand = np.zeros(3), np.array([-length, 0, 0]) / 1000
    radians = np.radians(angle)
    fastener = extension / 1000 * np.array([np.cos(radians), np.sin(radians), 0])
    pull = np.array([0, -force, 0])
    shown = np.cross(hand - drive, pull)[2]
    felt = np.cross(hand - fastener, pull)[2]
    got = torque_at_fastener(quantity(shown, "N.m"), *lever(length, extension, angle))
    assert magnitude(got, "N.m") == pytest.approx(felt, rel=1e-9)


def test_a_straight_bar_and_a_square_adapter_change_nothing():
    assert lever_ratio(*lever(extension="0", angle="30")) == 1
    assert lever_ratio(*lever(angle="90")) == pytest.approx(1, abs=1e-15)
    assert decimal_ratio(D(400), D(50), D(90)) == 1


def test_a_very_long_wrench_needs_hardly_a_correction():
    assert lever_ratio(*lever(length="100000")) == pytest.approx(1, abs=0.001)


def test_other_units_give_the_same():
    inches = lever_ratio(quantity(400 / 25.4, "in"), quantity(0.05, "m"), quantity(45 * 60, "arcmin"))
    assert inches == pytest.approx(lever_ratio(*lever(angle="45")), rel=1e-12)


def test_another_dimension_is_refused():
    _, extension, angle = lever()
    with pytest.raises(pint.DimensionalityError):
        lever_ratio(quantity(3, "kg"), extension, angle)
    with pytest.raises(InputErrors, match="is a unit of mass"):
        answered("torque-with-extension", torque="80 kg", length="400 mm", extension="50 mm", angle="0 deg")


def test_folded_back_over_the_hand_is_refused_beside_its_field():
    for refused in (("100", "80", "180"), ("50", "1500", "180")):
        with pytest.raises(InputErrors) as caught:
            lever_ratio(*lever(*refused))
        assert "under the hand" in caught.value.errors["extension"]
    with pytest.raises(InputErrors) as caught:
        lever_ratio(*lever(length="0"))
    assert "above 0 mm" in caught.value.errors["length"]


def test_both_calculators_undo_each_other():
    typed = {"length": "450 mm", "extension": "60 mm", "angle": "30 deg"}
    there = answered("torque-with-extension", torque="110 N.m", **typed).values
    back = answered("torque-at-the-fastener", setting=f"{there['setting'].value} N.m", **typed).values
    assert float(back["torque"].value) == pytest.approx(110, rel=1e-8)
    assert (there["ratio"], back["ratio"]) == ("0.8965", "1.1155")


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("angle", "190 deg", "0° to 180°"),
        ("extension", "-5 mm", "0 mm to 1500 mm"),
        ("length", "20 mm", "50 mm to 3000 mm"),
        ("setting", "0 N.m", "0.1 N·m to 5000 N·m"),
        ("setting", "", "does not begin with a number"),
    ],
)
def test_implausible_inputs_say_their_range(name, text, sentence):
    typed = {"setting": "80 N.m", "length": "400 mm", "extension": "50 mm", "angle": "0 deg"}
    with pytest.raises(InputErrors) as caught:
        answered("torque-at-the-fastener", **{**typed, name: text})
    assert sentence in caught.value.errors[name]
