"""Units and conversion, against the published factors."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering import units
from workshop.engineering.units import BASE, UNITS, Amount, UnitError, rounded, show

typed = st.decimals(
    min_value=D("-999999999"), max_value=D("999999999"), places=6, allow_nan=False, allow_infinity=False
)


# The torque rows were seen on a page that quotes the table; the others are from memory.
@pytest.mark.outside("NIST SP 811 (2008), appendix B.8, torque, length, force, mass, pressure, power")
@pytest.mark.parametrize(
    ("one", "in_base", "figures"),
    [
        ("lbf.ft", "1.355818", 7),
        ("lbf.in", "0.1129848", 7),
        ("kgf.m", "9.80665", 7),
        ("mi", "1.609344", 7),
        ("lbf", "4.448222", 7),
        ("lb", "0.4535924", 7),
        ("in", "25.4", 7),
        ("psi", "6.894757", 7),
        ("hp", "0.7456999", 7),
        ("PS", "0.7354988", 7),
    ],
)
def test_factors(published, one, in_base, figures):
    published.close(
        Amount(D(1), one).base(), D(in_base), rel=10 ** -(figures - 1), unit=BASE[UNITS[one].dimension]
    )


# The definitions that make every other torque unit; all exact.
STANDARD_GRAVITY, POUND, FOOT, INCH = D("9.80665"), D("0.45359237"), D("0.3048"), D("0.0254")


@pytest.mark.outside("SI Brochure (g_n) and NIST SP 811 (2008), B.6: exact definitions of pound, foot, inch")
@pytest.mark.parametrize(
    ("one", "newton_metres"),
    [
        ("lbf.ft", POUND * STANDARD_GRAVITY * FOOT),
        ("lbf.in", POUND * STANDARD_GRAVITY * INCH),
        ("kgf.m", STANDARD_GRAVITY),
        ("kgf.cm", STANDARD_GRAVITY / 100),
    ],
)
def test_torque_factors_are_exact(published, one, newton_metres):
    published.same(Amount(D(1), one).base(), newton_metres, one)


@pytest.mark.parametrize(
    ("amount", "code", "expected"),
    [
        # Worked from the exact factors above.
        (Amount(D(100), "N.m"), "lbf.ft", "73.756215"),
        (Amount(D(25), "N.m"), "lbf.in", "221.268645"),
        (Amount(D(75), "lbf.ft"), "N.m", "101.686346"),
        (Amount(D(12), "kgf.m"), "N.m", "117.679800"),
        (Amount(D(250), "lbf.in"), "N.m", "28.246207"),
        (Amount(D(150), "kgf.cm"), "N.m", "14.709975"),
        (Amount(D(10), "kgf.m"), "lbf.ft", "72.330139"),
        (Amount(D(100_000), "mi"), "km", "160934.4"),
        (Amount(D(160_000), "km"), "mi", "99419.391"),
        (Amount(D(60), "mph"), "km/h", "96.56064"),
        (Amount(D(2), "bar"), "kPa", "200"),
        (Amount(D(90), "min"), "h", "1.5"),
        (Amount(D(30), "arcmin"), "deg", "0.5"),
        (Amount(D(500), "mV"), "V", "0.5"),
    ],
)
def test_worked_conversions(amount, code, expected):
    assert amount.to(code).value == pytest.approx(D(expected), rel=D("1e-6"))


def test_metric_conversions_are_exact():
    assert Amount(D("0.1"), "kN").to("N").value == D(100)
    assert Amount(D(100), "mph").to("km/h").value == D("160.9344")
    assert str(Amount(D(12), "lbf.in").to("lbf.ft").value) == "1"


def test_every_unit_converts_to_its_base_and_codes_fit_their_column():
    for code, unit in UNITS.items():
        assert code == unit.code
        assert code.isascii()
        assert len(code) <= 8
        assert Amount(D(1), code).to(BASE[unit.dimension]).value > 0
    assert {unit.dimension for unit in UNITS.values()} == set(BASE)
    for dimension, code in BASE.items():
        assert units.units_of(dimension)[0] == UNITS[code]


@given(typed, st.data())
def test_there_and_back_is_the_same(value, data):
    one = data.draw(st.sampled_from(sorted(UNITS)))
    other = data.draw(st.sampled_from([u.code for u in units.units_of(UNITS[one].dimension)]))
    back = Amount(value, one).to(other).to(one).value
    assert abs(back - value) <= abs(value) * D("1e-20")


@given(typed, st.sampled_from(sorted(UNITS)))
def test_display_never_adds_a_figure(value, code):
    shown = rounded(value, code)
    assert abs(shown - value) <= D("0.5")
    typed_decimals = len(f"{value.normalize():f}".partition(".")[2])
    assert len(f"{shown:f}".partition(".")[2]) <= typed_decimals
    if abs(value) >= 1:
        assert len(f"{shown:f}".partition(".")[2]) <= UNITS[code].decimals
    else:
        # Two figures at least: never more than half of a hundredth of it away, and never nothing.
        assert abs(shown - value) <= abs(value) * D("0.05")
        assert (shown == 0) == (value == 0)
    assert f"{shown:f}" != "-0"


@pytest.mark.parametrize(
    ("amount", "text"),
    [
        (Amount(D("120.000000"), "N.m"), "120 N·m"),
        (Amount(D("8.25"), "N.m"), "8.3 N·m"),
        (Amount(D("101.686"), "N.m"), "102 N·m"),
        (Amount(D(90), "deg"), "90°"),
        (Amount(D("-1.25"), "deg"), "-1.25°"),
        (Amount(D("147860.858"), "km"), "147861 km"),
        (Amount(D("12.651"), "V"), "12.65 V"),
        (Amount(D(4), "1"), "4"),
        (Amount(D("-0.04"), "N.m"), "-0.04 N·m"),
        (Amount(D("105.5"), "mm"), "105.5 mm"),
        (Amount(D("1105.5"), "mm"), "1106 mm"),
        (Amount(D("101.325"), "kPa"), "101.3 kPa"),
        (Amount(D("1013.25"), "kPa"), "1013 kPa"),
        (Amount(D("0.36"), "s"), "0.36 s"),
        (Amount(D("0.0157"), "kW"), "0.016 kW"),
        (Amount(D("0.0004"), "V"), "0.0004 V"),
        (Amount(D("0.996"), "N.m"), "1 N·m"),
        (Amount(D("0.35"), "km"), "0.35 km"),
        (Amount(D("0.000000001"), "V"), "0.000000001 V"),
        # The tail that floats leave of a difference of nothing.
        (Amount(D("1.4E-14"), "N.m"), "0 N·m"),
        (Amount(D(0), "kW"), "0 kW"),
    ],
)
def test_shown(amount, text):
    assert show(amount) == text


def test_shown_in_another_unit_and_as_typed():
    assert show(Amount(D(75), "lbf.ft"), "N.m") == "102 N·m"
    assert str(Amount.typed("42,50", "N.m")) == "42.50 N·m"
    assert str(Amount(D("1E+2"), "N.m")) == "100 N·m"


@pytest.mark.parametrize(
    ("one", "other"), [("N.m", "N"), ("lb", "lbf"), ("deg", "degC"), ("%", "1"), ("h", "km/h")]
)
def test_dimensions_stay_apart(one, other):
    with pytest.raises(UnitError, match="can't be turned into"):
        Amount(D(1), one).to(other)


def test_a_value_without_a_unit_or_with_an_unknown_one_is_refused():
    with pytest.raises(UnitError, match="Choose a unit"):
        Amount.typed("5", "")
    with pytest.raises(UnitError, match="not a unit"):
        Amount(D(5), "ft*lb")
    with pytest.raises(UnitError, match="kind of quantity"):
        units.units_of("energy")
    with pytest.raises(UnitError, match="ordinary number"):
        Amount(D("nan"), "N.m")
    with pytest.raises(TypeError):
        Amount(5.0, "N.m")
