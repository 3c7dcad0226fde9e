"""Forced induction: gas tables, a textbook's charged cylinder, SciPy, and the limits of every refusal."""

import pytest
import scipy.constants
import scipy.integrate
from hypothesis import given
from hypothesis import strategies as st
from pint import DimensionalityError

from tests.worked import answer, refused, run
from workshop.engineering.catalogue import calculators
from workshop.engineering.declare import declared_rightly
from workshop.engineering.errors import EngineeringError
from workshop.engineering.induction import (
    GAMMA,
    STANDARD_PRESSURE_KPA,
    blower_speed_plot,
    cooled_temperature,
    cooler_effectiveness,
    density_ratio,
    drive_ratio,
    isentropic_efficiency,
    kelvin,
    outlet_kelvin,
    outlet_temperature,
    pressure_ratio,
)
from workshop.engineering.quantities import magnitude
from workshop.engineering.quantities import quantity as q

SLUGS = ("blower-drive", "compressor-outlet", "charge-cooler", "blower-or-cooler")


# Mach number, static over total pressure, static over total temperature of an isentropic flow, γ = 1.4.
GAS_TABLE = [
    (0.5, 0.8430, 0.9524),
    (1.0, 0.5283, 0.8333),
    (1.5, 0.2724, 0.6897),
    (2.0, 0.1278, 0.5556),
]


@pytest.mark.outside("NACA Report 1135, 1953, tables of isentropic flow, γ = 1.4, from memory")
@pytest.mark.parametrize(("mach", "pressure", "temperature"), GAS_TABLE)
def test_loss_free_compression_by_the_gas_tables(published, mach, pressure, temperature):
    # The table's four digits leave 0.04 % in the smallest pressure.
    hot = outlet_temperature(q(300, "K"), 1 / pressure, q(100, "%"))
    published.close(300 / magnitude(hot, "K"), temperature, rel=3e-4, what=f"T/Tt at Mach {mach}")


@pytest.mark.outside(
    "Young & Freedman, University Physics, 12th ed., ch. 19, problem of a supercharged cylinder: its statement; "
    "its results worked apart"
)
def test_the_charged_cylinder_of_a_textbook(published):
    # 15 °C, 1.01 to 1.45 bar, 1.23 kg/m³, a cylinder of 575 cm³; loss-free, then cooled back to 15 °C.
    ambient, inlet, cylinder = q(1.01, "bar"), q(15, "degC"), 575e-6
    ratio = pressure_ratio(q(0.44, "bar"), ambient)
    hot = outlet_temperature(inlet, ratio, q(100, "%"))
    filling = 1.23 * cylinder * 1000  # grams
    published.close(filling * density_ratio(ratio, inlet, inlet), 1.02, rel=0.005, unit="g", what="cooled")
    published.close(density_ratio(ratio, inlet, inlet) - 1, 0.436, rel=0.002, what="more power, cooled")
    published.close(filling * density_ratio(ratio, inlet, hot), 0.916, rel=0.001, unit="g", what="hot")
    published.close(density_ratio(ratio, inlet, hot) - 1, 0.295, rel=0.002, what="more power, hot")


@pytest.mark.outside("SciPy, scipy.integrate: dT/T = (γ − 1)/γ · dp/p step by step")
@pytest.mark.parametrize("ratio", [1.0001, 1.6, 2.5, 5.0])
def test_loss_free_compression_by_integration(published, ratio):
    solved = scipy.integrate.solve_ivp(
        lambda p, t: (GAMMA - 1) / GAMMA * t / p, (1.0, ratio), [288.15], rtol=1e-10, atol=1e-10
    )
    published.close(outlet_kelvin(288.15, ratio, 1.0), solved.y[0][-1], rel=1e-8, unit="K")


@pytest.mark.outside("SciPy, scipy.constants: standard atmosphere and the zero of Celsius")
def test_constants(published):
    published.close(STANDARD_PRESSURE_KPA, scipy.constants.atm / 1000, rel=1e-9, unit="kPa")
    published.close(kelvin(q(15, "degC")), scipy.constants.convert_temperature(15, "C", "K"), rel=1e-12)


@pytest.mark.outside(
    "Çengel & Boles, Thermodynamics, example of a compressor of 80 % efficiency, from memory"
)
def test_the_compressor_of_a_textbook(published):
    # Air from 100 kPa and 285 K to 800 kPa. The book takes air tables, where the heat capacity rises: some 5 K less.
    hot = outlet_temperature(q(285, "K"), pressure_ratio(q(700, "kPa"), q(100, "kPa")), q(80, "%"))
    published.close(magnitude(hot, "K"), 569.5, rel=0.01, unit="K")


@pytest.mark.outside(
    "Incropera & DeWitt, Heat Transfer, example of a finned cross-flow exchanger, from memory"
)
def test_the_heat_exchanger_of_a_textbook(published):
    # Gas from 300 to 100 °C, water coming in at 35 °C: ε = 3.77·10⁵ W over 5.00·10⁵ W.
    found = cooler_effectiveness(q(300, "degC"), q(100, "degC"), q(35, "degC"))
    published.close(magnitude(found, "1"), 0.75, within=0.006)
    back = cooled_temperature(q(300, "degC"), q(35, "degC"), q(3.77 / 5.00, "1"))
    published.close(magnitude(back, "degC"), 100, within=0.5, unit="°C")


@pytest.mark.outside(
    "Machinery's Handbook, rules for the speeds of pulleys: 24 in at 100 min⁻¹, 4 in at 600, from memory"
)
def test_the_rule_of_pulleys(published):
    published.close(drive_ratio(q(4, "in"), q(24, "in")) * 600, 100, rel=1e-12, unit="min⁻¹")


# Worked apart: T1, PR, η, T2, density ratio without a cooler.
@pytest.mark.parametrize(
    ("inlet", "ratio", "efficiency", "hot", "density"),
    [
        (288.15, 1.6, 1.00, 329.56, 1.3989),
        (288.15, 1.6, 0.60, 357.17, 1.2908),
        (288.15, 1.6, 0.72, 345.67, 1.3338),
        (298.15, 1.8, 0.70, 376.04, 1.4272),
        (293.15, 2.0, 0.65, 391.93, 1.4959),
    ],
)
def test_with_losses(inlet, ratio, efficiency, hot, density):
    found = outlet_temperature(q(inlet, "K"), ratio, q(efficiency, "1"))
    assert magnitude(found, "K") == pytest.approx(hot, rel=1e-4)
    assert density_ratio(ratio, q(inlet, "K"), found) == pytest.approx(density, rel=1e-4)
    assert magnitude(isentropic_efficiency(q(inlet, "K"), found, ratio), "1") == pytest.approx(efficiency)


def test_cooler_by_hand():
    cooled = cooled_temperature(q(357.17, "K"), q(25, "degC"), q(70, "%"))
    assert magnitude(cooled, "K") == pytest.approx(315.86, rel=1e-4)
    assert density_ratio(1.6, q(288.15, "K"), cooled) == pytest.approx(1.4596, rel=1e-4)
    assert density_ratio(1.6, q(288.15, "K"), cooled, 0.05) == pytest.approx(1.4140, rel=1e-4)
    assert magnitude(cooler_effectiveness(q(357.17, "K"), cooled, q(25, "degC")), "%") == pytest.approx(70)


def test_drive_by_hand():
    # 150 over 65 at 6500: 15 000; over 60: 16 250; 14 000 is reached at 6066.7.
    assert drive_ratio(q(150, "mm"), q(65, "mm")) * 6500 == pytest.approx(15000)
    assert drive_ratio(q(150, "mm"), q(60, "mm")) * 6500 == pytest.approx(16250)
    assert 14000 / drive_ratio(q(150, "mm"), q(65, "mm")) == pytest.approx(6066.67, rel=1e-6)
    assert drive_ratio(q(5.905511811, "in"), q(60, "mm"), 2.0) == pytest.approx(5.0)


@given(
    ratio=st.floats(1.01, 5),
    efficiency=st.floats(0.2, 0.95),
    share=st.floats(0, 1),
    more=st.floats(0.01, 0.5),
)
def test_density_grows_with_both_and_never_passes_the_pressure_ratio(ratio, efficiency, share, more):
    inlet, coolant = q(288.15, "K"), q(298.15, "K")

    def density(by: float, effectiveness: float) -> float:
        hot = outlet_temperature(inlet, ratio, q(by, "1"))
        return density_ratio(ratio, inlet, cooled_temperature(hot, coolant, q(effectiveness, "1")))

    first = density(efficiency, share)
    assert density(min(1.0, efficiency + more), share) >= first * (1 - 1e-12)
    hot = kelvin(outlet_temperature(inlet, ratio, q(efficiency, "1")))
    if hot >= 298.15:
        assert density(efficiency, min(1.0, share + more)) >= first * (1 - 1e-12)
        assert first <= ratio


def test_wrong_dimensions_are_errors():
    for wrong in (
        lambda: drive_ratio(q(150, "kg"), q(65, "mm")),
        lambda: pressure_ratio(q(1, "N"), q(1, "bar")),
        lambda: kelvin(q(1, "bar")),
        lambda: outlet_temperature(q(288, "K"), 1.5, q(60, "mm")),
    ):
        with pytest.raises(DimensionalityError):
            wrong()


@pytest.mark.parametrize(
    "impossible",
    [
        lambda: drive_ratio(q(150, "mm"), q(0, "mm")),
        lambda: drive_ratio(q(0, "mm"), q(65, "mm")),
        lambda: drive_ratio(q(150, "mm"), q(65, "mm"), 0.0),
        lambda: pressure_ratio(q(0.5, "bar"), q(0, "bar")),
        lambda: pressure_ratio(q(-2, "bar"), q(1, "bar")),
        lambda: kelvin(q(-300, "degC")),
        lambda: outlet_temperature(q(288, "K"), 1.5, q(0, "%")),
        lambda: outlet_temperature(q(288, "K"), 0.9, q(60, "%")),
        lambda: isentropic_efficiency(q(300, "K"), q(300, "K"), 1.5),
        lambda: cooled_temperature(q(350, "K"), q(300, "K"), q(101, "%")),
        lambda: cooler_effectiveness(q(300, "K"), q(290, "K"), q(300, "K")),
        lambda: density_ratio(0.5, q(288, "K"), q(300, "K"), 0.5),
    ],
)
def test_what_has_no_answer_is_refused_in_words(impossible):
    with pytest.raises(EngineeringError, match=r"[.]$"):
        impossible()


@pytest.mark.parametrize("slug", SLUGS)
def test_declared_rightly(slug):
    assert declared_rightly(calculators()[slug]) == []
    assert run(slug).record()["verdict"]


def test_a_blower_above_its_maximum():
    result = run("blower-drive")
    assert answer(result, "speed") == pytest.approx(16250)
    assert answer(result, "reached") == pytest.approx(5600)
    assert answer(result, "share") == pytest.approx(116.0714, rel=1e-6)
    assert answer(result, "factory_speed") == pytest.approx(15000)
    assert result.outcome.odd
    assert "2250 min⁻¹ above its maximum" in result.outcome.verdict
    (plot,) = result.outcome.plots
    assert [line.style for line in plot.lines] == ["this", "factory", "limit"]
    assert plot.rows[-1] == ("6500", "16250", "15000")


def test_a_blower_below_its_maximum_and_one_without():
    below = run("blower-drive", blower_pulley="80 mm", factory_pulley=None, internal_ratio="1.1")
    assert not below.outcome.odd
    assert answer(below, "speed") == pytest.approx(13406.25)
    assert "would be reached" in below.outcome.verdict
    assert "gear" not in " ".join(below.outcome.notes)
    none = run("blower-drive", blower_limit=None, factory_pulley=None)
    assert "share" not in none.values
    assert [line.style for line in none.outcome.plots[0].lines] == ["this"]
    assert none.outcome.plots[0].head == ("Engine, min⁻¹", "Blower, this pulley")


def test_exactly_the_maximum_is_not_above_it():
    assert not run("blower-drive", limiter="5600 rpm").outcome.odd


def test_the_plot_holds_all_lines():
    plot = blower_speed_plot(2.0, 6000, 20000, 3.0)
    assert "stays below its maximum" in plot.summary
    assert "crosses its maximum at 4000." in blower_speed_plot(2.0, 6000, 8000, None).summary
    assert plot.y.high >= 20000
    assert all(0 <= y <= plot.y.high for line in plot.lines for _, y in line.points)


def test_compressor_outlet_assumes_in_the_open():
    result = run("compressor-outlet", efficiency=None, ambient=None)
    assert answer(result, "outlet") == pytest.approx(83.3, abs=0.05)
    assert {spread.label for spread in result.spreads} == {
        "Pressure of the air outside, absolute",
        "Isentropic efficiency of the compressor",
    }
    assert answer(result, "rise") == pytest.approx(answer(result, "outlet") - 15)


def test_a_measured_outlet_speaks_of_an_efficiency():
    result = run("compressor-outlet", outlet_measured="83.3 degC")
    assert answer(result, "measured_efficiency") == pytest.approx(60, abs=0.1)
    assert not result.outcome.odd
    too_good = run("compressor-outlet", outlet_measured="50 degC")
    assert too_good.outcome.odd
    assert "better than any compressor" in too_good.outcome.verdict
    assert list(refused("compressor-outlet", outlet_measured="15 degC")) == ["outlet_measured"]


def test_units_make_no_difference():
    first = run("compressor-outlet", boost="0.6 bar", ambient="100 kPa")
    other = run("compressor-outlet", boost="60 kPa", ambient="1 bar")
    assert answer(first, "outlet") == pytest.approx(answer(other, "outlet"), rel=1e-8)
    assert list(refused("compressor-outlet", boost="0.6 N")) == ["boost"]


def test_charge_cooler_both_ways():
    known = run("charge-cooler", ambient="100 kPa", hot="84.02 degC", loss=None)
    assert answer(known, "density_ratio") == pytest.approx(1.4596, rel=1e-3)
    assert "none is counted" in known.outcome.notes[0]
    lossy = run("charge-cooler", ambient="100 kPa", hot="84.02 degC")
    assert answer(lossy, "density_ratio") == pytest.approx(1.4140, rel=1e-3)
    measured = run("charge-cooler", cooled="42.7 degC")
    assert answer(measured, "share") == pytest.approx(70, abs=0.01)
    assert "its data say 70 %" in measured.outcome.verdict
    assert "data say" not in run("charge-cooler", cooled="42.7 degC", effectiveness=None).outcome.verdict


def test_a_cooler_that_costs_more_than_it_gains():
    result = run("charge-cooler", effectiveness="5 %", loss="0.3 bar")
    assert result.outcome.odd
    assert "costs more" in result.outcome.verdict


def test_charge_cooler_refuses():
    assert list(refused("charge-cooler", hot="25 degC")) == ["hot"]
    assert list(refused("charge-cooler", loss="0.6 bar")) == ["loss"]
    assert list(refused("charge-cooler", cooled="90 degC")) == ["cooled"]
    assert list(refused("charge-cooler", cooled="20 degC")) == ["cooled"]
    assert list(refused("charge-cooler", effectiveness=None)) == ["cooled"]


def test_blower_or_cooler_side_by_side():
    # Worked apart for 100 kPa: 1.4758 with the better compressor, 1.4874 with the bigger cooler.
    result = run("blower-or-cooler", ambient="100 kPa")
    assert answer(result, "now") == pytest.approx(1.4596, rel=1e-3)
    assert answer(result, "compressor") == pytest.approx(1.4758, rel=1e-3)
    assert answer(result, "cooler") == pytest.approx(1.4874, rel=1e-3)
    assert "the cooler helps the air more" in result.outcome.verdict
    assert [row[0] for row in result.outcome.tables[0].rows] == [
        "as it is",
        "other compressor",
        "other cooler",
        "both",
    ]
    # 0.60 over 0.72: a sixth less to drive it.
    assert result.outcome.tables[0].rows[1][-1] == "−16.7 %"


def test_blower_or_cooler_the_other_way_and_alike():
    lossy = run("blower-or-cooler", loss="0 bar", better_loss="0.1 bar")
    assert "the compressor helps the air more" in lossy.outcome.verdict
    same = run("blower-or-cooler", better_efficiency="60 %", better_effectiveness="70 %", loss="0.05 bar")
    assert "Both give the same density" in same.outcome.verdict
    assert all(row[-1] == "as it is" for row in same.outcome.tables[0].rows)


def test_blower_or_cooler_refuses():
    assert list(refused("blower-or-cooler", loss="0.6 bar", better_loss="0.7 bar")) == ["loss", "better_loss"]
    # 71.9 °C behind the better of the two, 83.3 °C behind the other.
    assert "71.9 °C" in refused("blower-or-cooler", coolant="75 degC")["coolant"]
    assert (
        "71.9 °C"
        in refused("blower-or-cooler", coolant="75 degC", efficiency="72 %", better_efficiency="60 %")[
            "coolant"
        ]
    )
