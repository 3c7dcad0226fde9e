"""Speed in the gears, against a worked example and against the other way of writing it."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from tests.worked import number, worked
from workshop.engineering.declare import InputErrors
from workshop.engineering.gearing import gears_plot, overall_ratio, per_thousand, speed_per_engine_speed
from workshop.engineering.quantities import magnitude, quantity


@pytest.mark.outside("Textbook mechanics, 60 · C/i: 205/55 R16 in 0.80 × 4.10, worked by hand")
def test_speed_for_a_thousand_turns(published):
    result = worked(
        "speed-per-1000rpm", circumference="1985.17 mm", gear="0.80", final="4.10", engine_speed="3000 rpm"
    )
    published.close(number(result, "each", "kmh/krpm"), 36.314, within=0.0005, unit="km/h")
    published.close(number(result, "speed", "km/h"), 3 * 36.314, within=0.002, unit="km/h")
    published.close(number(result, "at_100", "rpm"), 100 / 36.314 * 1000, within=0.05, unit="min⁻¹")
    assert result.values["overall"] == "3.280"
    assert "speed" not in worked("speed-per-1000rpm", circumference="78.156 in", gear="1", final="3").values


@pytest.mark.outside(
    "SciPy's constants: the old rule v in mph = rpm · diameter in inches / (ratio · 336.135)"
)
def test_the_rule_in_inches(published):
    # 336.135 is 60 min · 1 mile in inches / π: worked out here from the constants of another library.
    factor = constants.mile / constants.inch / 60 / math.pi
    speed = 5500 * 24.9 / (3.73 * factor)
    found = speed_per_engine_speed(quantity(24.9 * math.pi, "in"), quantity(1, "1"), quantity(3.73, "1"))
    published.close(magnitude(found * quantity(5500, "rpm"), "mph"), speed, rel=1e-9, unit="mph")
    published.close(factor, 336.135, rel=1e-5)


@given(st.floats(1500, 2500), st.floats(0.5, 4), st.floats(2, 6))
def test_both_ways_of_working_agree(circumference, gear, final):
    gear_, final_ = quantity(gear, "1"), quantity(final, "1")
    found = speed_per_engine_speed(quantity(circumference, "mm"), gear_, final_)
    plain = per_thousand(circumference, overall_ratio(gear_, final_))
    assert magnitude(found, "kmh/krpm") == pytest.approx(plain)


def test_a_wrong_dimension_is_an_error():
    with pytest.raises(pint.DimensionalityError):
        magnitude(speed_per_engine_speed(quantity(1, "kg"), quantity(1, "1"), quantity(1, "1")), "kmh/krpm")


BOX = {"gear_1": "3.25", "gear_2": "1.95", "gear_3": "1.37", "gear_4": "1.03", "gear_5": "0.84"}


def test_another_final_drive():
    result = worked(
        "gear-comparison",
        final_from="4.06",
        final_to="4.43",
        circumference_from="1832 mm",
        limiter="7000 rpm",
        **BOX,
    )
    assert number(result, "change", "%") == pytest.approx((4.06 / 4.43 - 1) * 100)
    assert number(result, "force", "%") == pytest.approx((4.43 / 4.06 - 1) * 100)
    assert number(result, "top", "km/h") == pytest.approx(1.832 * 7000 * 60 / 1000 / (0.84 * 4.43))
    assert number(result, "top_from", "km/h") == pytest.approx(1.832 * 7000 * 60 / 1000 / (0.84 * 4.06))
    assert "8.4 % shorter" in result.outcome.verdict
    [table] = result.outcome.tables
    assert len(table.rows) == 5
    # Changing up from first to second at the limiter.
    assert [row[-1] for row in table.rows][:2] == ["–", "4200"]
    [plot] = result.outcome.plots
    assert [line.style for line in plot.lines] == ["factory"] + ["this"] * 5
    assert plot.lines[0].label == "gear 5 factory"


def test_other_tyres_longer_and_nothing_changed():
    typed = {
        "final_from": "4.06",
        "final_to": "4.06",
        "circumference_from": "1832 mm",
        "limiter": "7000 rpm",
        **BOX,
    }
    assert "5.0 % longer" in worked("gear-comparison", **typed, circumference_to="1923.6 mm").outcome.verdict
    assert "geared as before" in worked("gear-comparison", **typed).outcome.verdict


def test_gears_in_the_wrong_order_are_refused():
    with pytest.raises(InputErrors) as refused:
        worked(
            "gear-comparison",
            final_from="4", final_to="4", circumference_from="1900 mm", limiter="6000 rpm", gear_1="1.95", gear_3="3.2",
        )  # fmt: skip
    assert list(refused.value.errors) == ["gear_3"]
    assert "gear 1 (1.950)" in refused.value.errors["gear_3"]


def test_the_plot_of_one_gear():
    plot = gears_plot([("gear 1", 10.0)], 6000)
    assert "60 km/h in its lowest gear and 60 km/h in gear 1" in plot.summary
    assert plot.lines[0].points == ((0.0, 0.0), (6000, 60.0))
