"""Heat and flow of coolant against steam tables and the rules of thumb of heating engineers."""

import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st
from pint import DimensionalityError

from tests.worked import run
from workshop.engineering.catalogue import calculators
from workshop.engineering.cooling import COOLANTS, coolant_flow, coolant_rise, heat_to_coolant
from workshop.engineering.declare import InputErrors, declared_rightly
from workshop.engineering.errors import EngineeringError
from workshop.engineering.quantities import magnitude
from workshop.engineering.quantities import quantity as q

WATER, HALF = COOLANTS["water"], COOLANTS["half"]


@pytest.mark.outside("Steam tables (Çengel, Thermodynamics, table A-4), water at 75 to 85 °C, from memory")
def test_water(published):
    # v = 0.001029 m³/kg at 80 °C; h = 314.03 and 356.02 kJ/kg at 75 and 85 °C. The volume has four digits.
    published.close(WATER.density, 1 / 0.001029, rel=6e-4, unit="kg/m³")
    published.close(WATER.heat, (356.02 - 314.03) / 10 * 1000, rel=2e-3, unit="J/(kg·K)")


@pytest.mark.outside(
    "Heating engineers' rule, 500 Btu/h for each US gal/min and °F of water (60 °F), from memory"
)
def test_flow_of_water_by_the_rule_of_500(published):
    # The rule is for cold water: at 80 °C a litre holds 2.5 % less, and so much more must flow.
    gallons, fahrenheit = 30.0, 15.0
    heat = 500 * gallons * fahrenheit * scipy.constants.Btu / 3600
    flow = coolant_flow(q(heat, "W"), q(fahrenheit * 5 / 9, "K"), WATER)
    litres = gallons * scipy.constants.gallon * 1000
    published.close(magnitude(flow, "l/min"), litres, rel=0.03, unit="l/min")
    assert magnitude(flow, "l/min") > litres


@pytest.mark.outside(
    "Heating engineers' rule, 450 Btu/h for each US gal/min and °F of 50 % glycol, from memory"
)
def test_flow_of_half_and_half_by_the_rule_of_450(published):
    heat = 450 * 30 * 15 * scipy.constants.Btu / 3600
    flow = coolant_flow(q(heat, "W"), q(15 * 5 / 9, "K"), HALF)
    published.close(magnitude(flow, "l/min"), 30 * scipy.constants.gallon * 1000, rel=0.04, unit="l/min")


def test_by_hand():
    # 80 kW into half and half by 8 K: 80000 / (1038 · 3518 · 8) m³/s.
    heat = heat_to_coolant(q(100, "kW"), q(80, "%"))
    assert magnitude(heat, "kW") == pytest.approx(80)
    flow = coolant_flow(heat, q(8, "K"), HALF)
    assert magnitude(flow, "l/min") == pytest.approx(80000 / (1038 * 3518 * 8) * 60000)
    # Glycol takes the more flow.
    assert flow > coolant_flow(heat, q(8, "K"), WATER)


@given(power=st.floats(1, 1500), rise=st.floats(1, 40))
def test_flow_and_rise_are_each_others_inverse(power, rise):
    heat = q(power, "kW")
    back = coolant_rise(heat, coolant_flow(heat, q(rise, "K"), HALF), HALF)
    assert magnitude(back, "K") == pytest.approx(rise)


def test_refusals_and_dimensions():
    with pytest.raises(EngineeringError, match="above zero"):
        coolant_flow(q(1, "kW"), q(0, "K"), HALF)
    with pytest.raises(EngineeringError, match="above zero"):
        coolant_rise(q(1, "kW"), q(0, "l/min"), HALF)
    with pytest.raises(DimensionalityError):
        coolant_flow(q(1, "kg"), q(8, "K"), HALF)


def test_the_calculator():
    assert declared_rightly(calculators()["heat-to-reject"]) == []
    result = run("heat-to-reject")
    assert float(result.values["heat"].value) == pytest.approx(80)
    assert float(result.values["flow"].value) == pytest.approx(164.3, rel=1e-3)
    assert float(result.values["known_rise"].value) == pytest.approx(8 * 164.3 / 120, rel=1e-3)
    assert result.outcome.odd
    assert len(result.outcome.plots[0].rows) == 5
    horses = run("heat-to-reject", power="135.9621617 PS", known_flow="12000 l/h")
    assert float(horses.values["heat"].value) == pytest.approx(80, rel=1e-8)
    assert not horses.outcome.odd
    assert "known_rise" not in run("heat-to-reject", known_flow=None).values


def test_the_share_is_assumed_in_the_open():
    (spread,) = run("heat-to-reject", share=None).spreads
    assert (spread.low, spread.high, spread.at_low, spread.at_high) == ("50 %", "110 %", "50 kW", "110 kW")


def test_a_flow_in_metres_is_refused_beside_its_field():
    with pytest.raises(InputErrors) as caught:
        run("heat-to-reject", known_flow="3 m")
    assert list(caught.value.errors) == ["known_flow"]
