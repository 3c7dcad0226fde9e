"""Cables, fuses, earths and batteries, against published resistances, gauges, capacities and times."""

import math
from decimal import Decimal as D

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import interp1d

from workshop.engineering import electrical
from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import find
from workshop.engineering.command import read
from workshop.engineering.declare import InputErrors, declared_rightly
from workshop.engineering.quantities import magnitude, quantity, registry
from workshop.engineering.result import Given, Origin
from workshop.engineering.units import Amount

SLUGS = (
    "added-load", "cable-for-a-load", "cable-resistance", "charge-state", "days-to-flat", "earth-test",
    "fuse-for-a-load", "parasitic-drain", "voltage-drop",
)  # fmt: skip


def worked(slug, *without, **texts):
    """The result of a calculator's example with other texts for some inputs."""
    of = find(slug)
    texts = {name: text for name, text in {**of.example, **texts}.items() if name not in without and text}
    return calculate(of, {name: Given(read(of.input(name), text)) for name, text in texts.items()})


def value(slug, output, unit, *without, **texts):
    found = worked(slug, *without, **texts).values[output]
    return float(found.to(unit).value)


def refused(slug, name, words, *without, **texts):
    with pytest.raises(InputErrors) as caught:
        worked(slug, *without, **texts)
    assert list(caught.value.errors) == [name]
    assert words in caught.value.errors[name]


@pytest.mark.parametrize("slug", SLUGS)
def test_each_is_declared_rightly_and_its_example_works(slug):
    assert declared_rightly(find(slug)) == []
    result = worked(slug)
    main = next(each.name for each in find(slug).outputs if each.main)
    assert result.values[main] not in ("", None)
    assert "complies" not in str(result.record()).lower()
    assert "illegal" not in str(result.record()).lower()


# --- copper


@pytest.mark.outside("IEC 60028 (1925), resistivity and temperature coefficient of annealed copper")
def test_copper(published):
    one = quantity(1, "mm2")
    at_20 = electrical.cable_resistance(one, quantity(58, "m"), quantity(20, "degC"))
    published.close(magnitude(at_20, "ohm"), 1, rel=1e-9, unit="Ω", what="58 m of 1 mm²")
    # The same document: 0.017 241 Ω·mm²/m, and its coefficient of 0.003 93 per K at 20 °C.
    published.close(
        magnitude(electrical.resistance_per_length(one, quantity(20, "degC")), "mohm/m"), 17.241, rel=3e-5
    )
    warm = electrical.cable_resistance(one, quantity(58, "m"), quantity(30, "degC"))
    published.close(magnitude(warm, "ohm") - 1, 0.0393, rel=1e-6, what="ten kelvin warmer")


@pytest.mark.outside("ISO 6722-1, greatest conductor resistance at 20 °C, from memory")
def test_pure_copper_lies_just_below_the_greatest_resistance(published):
    """The standard's figures hold a tolerance: 4 to 12 % above pure copper of the nominal section."""
    for size, most in ((0.5, 37.1), (1.0, 18.5), (2.5, 7.60), (6.0, 3.14), (16.0, 1.16), (25.0, 0.743)):
        pure = 1000 * electrical.resistance_at(size, 20)
        assert pure < most < 1.13 * pure
        published.close(electrical.CABLE_MAXIMUM[size], most, rel=0, what=f"{size} mm²")
    for size, most in electrical.CABLE_MAXIMUM.items():
        assert 1.0 < most / (1000 * electrical.resistance_at(size, 20)) < 1.13, size


@pytest.mark.outside(
    "ASTM B258, wire gauge: defined diameters of 36 and 0000 and table sections, from memory"
)
@pytest.mark.parametrize(
    ("name", "square"),
    [
        ("22", 0.3255), ("20", 0.5176), ("18", 0.8230), ("16", 1.3087), ("14", 2.0809), ("12", 3.3088), ("10", 5.2612),
        ("8", 8.3656), ("6", 13.302), ("4", 21.151), ("2", 33.631), ("0", 53.475), ("0000", 107.22),
    ],
)  # fmt: skip
def test_gauge_sections(published, name, square):
    found = magnitude(electrical.gauge_section(electrical.GAUGES[name]), "mm2")
    published.close(found, square, rel=2e-4, unit="mm²", what=f"AWG {name}")


@pytest.mark.outside("ASTM B258, wire gauge: the two defined diameters, from memory")
def test_gauge_ends(published):
    for gauge, inches in ((36, 0.005), (-3, 0.46)):
        square = magnitude(electrical.gauge_section(gauge), "in2")
        published.close(math.sqrt(4 * square / math.pi), inches, rel=1e-9, unit="in", what=f"gauge {gauge}")


@pytest.mark.outside("NBS Handbook 100 (1966), copper wire tables: ohms per 1000 ft at 20 °C, from memory")
@pytest.mark.parametrize(
    ("name", "ohms"), [("10", 0.9989), ("12", 1.588), ("14", 2.525), ("18", 6.385), ("0", 0.09827)]
)
def test_gauge_resistance(published, name, ohms):
    section = electrical.gauge_section(electrical.GAUGES[name])
    found = electrical.cable_resistance(section, registry().Quantity(1000.0, "foot"), quantity(20, "degC"))
    published.close(magnitude(found, "ohm"), ohms, rel=6e-4, unit="Ω", what=f"1000 ft of AWG {name}")


def test_section_or_gauge_but_not_both():
    assert value("cable-resistance", "resistance", "mohm") == pytest.approx(4 * 1000 / 58 / 2.5)
    assert value("cable-resistance", "used", "mm2", "section", gauge="0000") == pytest.approx(
        107.22, rel=1e-4
    )
    refused("cable-resistance", "gauge", "not both", gauge="12")
    refused("cable-resistance", "section", "choose a gauge", "section")


def test_resistance_beside_the_greatest_one():
    assert value("cable-resistance", "greatest", "mohm") == pytest.approx(4 * 7.60)
    # The greatest resistance holds at 20 °C and grows with the warmth like the copper's own.
    warm = worked("cable-resistance", temperature="80 degC")
    ratio = float(warm.values["greatest"].value) / float(warm.values["resistance"].value)
    assert ratio == pytest.approx(7.60 / (1000 / 58 / 2.5))
    odd_size = worked("cable-resistance", section="2.2 mm2")
    assert "greatest" not in odd_size.values
    assert any("no nominal section" in note for note in odd_size.outcome.notes)


def test_the_temperature_is_assumed_and_its_range_said():
    result = worked("cable-resistance", "temperature")
    assert result.given["temperature"].origin is Origin.ASSUMED
    assert "lies between" in result.spreads[0].sentence


def test_units_of_the_inputs_do_not_matter_and_wrong_dimensions_raise():
    metric = electrical.cable_resistance(
        quantity(D("2.5"), "mm2"), quantity(4000, "mm"), quantity(20, "degC")
    )
    other = electrical.cable_resistance(
        quantity(D("2.5"), "mm2").to("inch**2"), quantity(4, "m"), registry().Quantity(293.15, "kelvin")
    )
    assert magnitude(metric, "mohm") == pytest.approx(magnitude(other, "mohm"), rel=1e-9)
    for wrong in (
        lambda: electrical.cable_resistance(quantity(1, "mm"), quantity(1, "m"), quantity(20, "degC")),
        lambda: electrical.resistance_per_length(quantity(1, "mm2"), quantity(20, "V")),
        lambda: magnitude(electrical.voltage_drop(quantity(1, "A"), quantity(1, "V")), "V"),
        lambda: magnitude(
            electrical.time_to_flat(quantity(1, "Ah"), quantity(50, "%"), quantity(1, "V")), "d"
        ),
        lambda: electrical.least_section(
            quantity(1, "V"), quantity(1, "m"), quantity(1, "V"), quantity(20, "degC")
        ),
    ):
        with pytest.raises(pint.DimensionalityError):
            wrong()


# --- voltage drop and the cable for a load


def test_voltage_drop_worked_by_hand():
    """15 A, 4 m out and 4 m back, 2.5 mm²: 15 · 8 / (58 · 2.5) V; a quarter more at 80 °C."""
    assert value("voltage-drop", "drop", "V") == pytest.approx(15 * 8 / 58 / 2.5)
    assert value("voltage-drop", "drop", "V") == pytest.approx(0.8276, rel=1e-3)
    assert value("voltage-drop", "drop", "V", temperature="80 degC") == pytest.approx(1.0227, rel=1e-3)
    assert value("voltage-drop", "share", "%") == pytest.approx(6.568, rel=1e-3)
    assert value("voltage-drop", "there", "V") == pytest.approx(12.6 - 0.8276, rel=1e-4)
    assert value("voltage-drop", "heat", "W") == pytest.approx(15 * 0.8276, rel=1e-4)
    result = worked("voltage-drop")
    assert result.outcome.odd
    assert "more than the 5 %" in result.outcome.verdict
    # With the standard's greatest resistance: 15 · 8 · 7.60 mΩ = 0.912 V, 7.24 %.
    assert result.outcome.tables[0].rows[1][1:] == ("0.91 V", "7.2 %")
    assert not worked("voltage-drop", load="10").outcome.odd


def test_voltage_drop_through_the_body():
    through = value("voltage-drop", "drop", "V", back="body", body="20 mohm")
    assert through == pytest.approx(15 * (4 / 58 / 2.5 + 0.020))
    left_out = worked("voltage-drop", back="body", section="2.2 mm2")
    assert float(left_out.values["drop"].value) == pytest.approx(15 * 4 / 58 / 2.2)
    assert any("Measure it" in note for note in left_out.outcome.notes)
    assert left_out.outcome.tables == []
    refused("voltage-drop", "body", "Leave this empty", body="20 mohm")
    assert worked("voltage-drop", back="body", body="20 mohm").outcome.tables[0].rows[1][1] == "0.76 V"


def test_a_drop_above_the_source_is_refused():
    refused("voltage-drop", "current", "more than there is", current="400 A", section="1 mm2")


def test_least_section_worked_by_hand():
    """15 A over 8 m with 0.36 V: 15 · 8 / 58 / 0.36 = 5.747 mm², so 6 mm²."""
    least = electrical.least_section(
        quantity(15, "A"), quantity(8, "m"), quantity(D("0.36"), "V"), quantity(20, "degC")
    )
    assert magnitude(least, "mm2") == pytest.approx(5.747, rel=1e-3)
    assert electrical.next_section(magnitude(least, "mm2")) == 6.0
    with pytest.raises(InputErrors, match="no drop allowed"):
        electrical.least_section(quantity(1, "A"), quantity(8, "m"), quantity(0, "V"), quantity(20, "degC"))


@given(st.floats(0.1, 300), st.floats(0.1, 30), st.floats(0.05, 3), st.floats(-40, 120))
def test_the_least_section_drops_just_what_is_allowed(amps, metres, volts, celsius):
    way, warm = quantity(metres, "m"), quantity(celsius, "degC")
    square = electrical.least_section(quantity(amps, "A"), way, quantity(volts, "V"), warm)
    drop = electrical.voltage_drop(quantity(amps, "A"), electrical.cable_resistance(square, way, warm))
    assert magnitude(drop, "V") == pytest.approx(volts, rel=1e-9)


def test_next_sizes():
    assert electrical.next_section(2.5) == 2.5
    assert electrical.next_section(2.51) == 4.0
    assert electrical.next_section(121) is None
    assert electrical.next_gauge(2.0) == "14"
    assert electrical.next_gauge(2.1) == "12"
    assert electrical.next_gauge(108) is None


def test_cable_for_a_load():
    # 70 °C hot copper is 1.1965 times what it is at 20 °C: 15 · 8 · 1.1965 / 58 / 0.36.
    assert value("cable-for-a-load", "least", "mm2") == pytest.approx(5.747 * 1.1965, rel=1e-3)
    assert value("cable-for-a-load", "section", "mm2") == 10
    assert worked("cable-for-a-load").values["gauge"] == "AWG 6"
    assert "voltage drop decides" in worked("cable-for-a-load").outcome.verdict
    # A short way: then what the fuse asks for decides. 30 A needs more than 2.5 mm² at 40 °C (32 · 0.866 = 27.7 A).
    short = worked("cable-for-a-load", length="0.3 m", fuse="30 A", back="body")
    assert float(short.values["section"].value) == 4
    assert "must carry decides" in short.outcome.verdict
    assert (
        worked("cable-for-a-load", current="330 A", length="0.5 m", surroundings="30 degC").values["gauge"]
        == "none that thick"
    )


def test_cable_for_a_load_refuses():
    refused("cable-for-a-load", "fuse", "This fuse opens", fuse="10 A")
    refused("cable-for-a-load", "surroundings", "stands 70 °C", surroundings="75 degC")
    refused("cable-for-a-load", "", "No cable up to 120 mm²", current="500 A", length="20 m")


@pytest.mark.outside("DIN VDE 0298-4, one flexible cable in free air at 30 °C, from memory")
def test_what_a_cable_carries(published):
    for square, amps in ((0.75, 15), (1.5, 24), (2.5, 32), (6, 54), (16, 98), (50, 198), (120, 344)):
        published.close(electrical.carries_at(square, 30), amps, rel=1e-9, unit="A", what=f"{square} mm²")


@pytest.mark.outside(
    "DIN VDE 0298-4 and IEC 60364-5-52, factors for other temperatures, 70 °C insulation, from memory"
)
@pytest.mark.parametrize(
    ("celsius", "factor"),
    [(10, 1.22), (15, 1.17), (20, 1.12), (25, 1.06), (35, 0.94), (40, 0.87), (45, 0.79), (50, 0.71), (55, 0.61), (60, 0.50)],
)  # fmt: skip
def test_factors_for_other_temperatures(published, celsius, factor):
    found = electrical.carries_at(2.5, celsius) / electrical.carries_at(2.5, 30)
    published.close(found, factor, within=0.0051, what=f"at {celsius} °C")


def test_carrying_at_its_limits():
    assert electrical.carries_at(2.5, 70) == 0
    assert (
        electrical.carries_at(2.5, 40, 105)
        > electrical.carries_at(2.5, 40, 90)
        > electrical.carries_at(2.5, 40)
    )
    # Between and beyond the rows it keeps growing with the section.
    sizes = [0.1, 0.5, 0.75, 1.2, 2.5, 30, 120, 150]
    carried = [electrical.carries_at(each, 30) for each in sizes]
    assert carried == sorted(carried)
    assert electrical.least_section_to_carry(400, 30) is None


# --- fuses


@pytest.mark.outside("ISO 8820-3, rating lists of types F, C and E as a public page gives them")
def test_fuse_ratings(published):
    published.same(list(electrical.FUSES["C"]), [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40], "type C")
    published.same([min(electrical.FUSES["F"]), max(electrical.FUSES["F"])], [2, 30], "type F")
    published.same([min(electrical.FUSES["E"]), max(electrical.FUSES["E"])], [20, 80], "type E")


@pytest.mark.outside("ISO 8820-3, colours of blade fuses, from memory")
def test_fuse_colours(published):
    """The small and the medium blade share their colours; the large one has its own for the same numbers."""
    for rating, colour in (
        (5, "tan"),
        (7.5, "brown"),
        (10, "red"),
        (15, "blue"),
        (20, "yellow"),
        (30, "green"),
    ):
        published.same(electrical.FUSES["C"][rating], colour, f"C {rating} A")
        published.same(electrical.FUSES["F"][rating], colour, f"F {rating} A")
    for rating, colour in ((20, "yellow"), (50, "red"), (60, "blue"), (80, "clear")):
        published.same(electrical.FUSES["E"][rating], colour, f"E {rating} A")


def test_fuse_for_eight_amps():
    """8 A at 75 %: 10.67 A, so 15 A; and then the cable must carry 15 A."""
    assert value("fuse-for-a-load", "fuse", "A") == 15
    assert value("fuse-for-a-load", "least", "A") == pytest.approx(10.667, rel=1e-3)
    assert value("fuse-for-a-load", "used", "%") == pytest.approx(53.33, rel=1e-3)
    result = worked("fuse-for-a-load")
    # 24 A · √(30/40) at 40 °C.
    assert float(result.values["carries"].value) == pytest.approx(24 * math.sqrt(0.75))
    assert not result.outcome.odd
    assert "no less than the fuse's rating" in result.outcome.verdict
    assert any("16.5 A, for 100 hours" in note for note in result.outcome.notes)
    # 1.5 mm² at 30 °C carries 24 A; at 70 − 40 · (15/24)² = 54.375 °C just 15 A: equal is no less.
    just = worked("fuse-for-a-load", surroundings="54.375 degC")
    assert not just.outcome.odd
    assert "more than" not in just.outcome.verdict
    thin = worked("fuse-for-a-load", section="0.5 mm2")
    assert thin.outcome.odd
    assert "would not protect it" in thin.outcome.verdict
    assert result.outcome.tables[0].rows[0] == ("110 %", "16.5 A", "no sooner than 100 h")
    assert worked("fuse-for-a-load", kind="E").outcome.tables == []
    assert value("fuse-for-a-load", "fuse", "A", kind="E") == 20


def test_fuse_at_its_edges():
    assert electrical.next_fuse(7.5) == 10  # exactly 75 %
    assert electrical.next_fuse(7.51) == 15
    assert electrical.next_fuse(0.01) == 1
    assert electrical.next_fuse(31) is None
    refused("fuse-for-a-load", "current", "30.0 A for hours", current="31 A")
    assert any(
        "give its cross-section" in note for note in worked("fuse-for-a-load", "section").outcome.notes
    )


def test_the_share_of_a_fuse_is_assumed_and_said():
    spread = worked("fuse-for-a-load", "share", current="11 A").spreads[0]
    assert (spread.at_low, spread.at_high) == ("20 A", "15 A")


# --- added load


def test_added_load_within():
    result = worked("added-load")
    assert float(result.values["load"].value) == 10
    assert value("added-load", "of_fuse", "%") == pytest.approx(100 * 10 / 15)
    assert value("added-load", "of_cable", "%") == pytest.approx(100 * 10 / (24 * math.sqrt(0.75)))
    assert value("added-load", "of_alternator", "%") == pytest.approx(100 * 61 / 90)
    assert not result.outcome.odd
    assert [row[0] for row in result.outcome.tables[0].rows] == [
        "fuse of 15 A, for hours", "cable of 1.5 mm²", "the same cable, for its fuse",
        "alternator, with what was in use",
    ]  # fmt: skip


def test_added_load_over():
    result = worked("added-load", "there", "in_use", added="95 A", fuse="100 A", section="1 mm2")
    assert result.outcome.odd
    for words in ("for hours", "the cable carries", "only its fuse guards it", "the alternator's rating"):
        assert words in result.outcome.verdict
    assert result.outcome.tables[0].rows[-1][0] == "alternator, this load alone"
    assert result.outcome.tables[0].rows[-1][3] == "−5.0 A"
    refused("added-load", "alternator", "rated current too", "alternator")
    bare = worked("added-load", "section", "alternator", "in_use")
    assert "of_cable" not in bare.values
    assert "of_alternator" not in bare.values
    assert worked("added-load", surroundings="80 degC").values["of_cable"] == "carries nothing this hot"


# --- earth test


def test_earth_test_worked_by_hand():
    """350 mV at 20 A is 17.5 mΩ and 7 W; at 60 A it would be 1.05 V."""
    assert value("earth-test", "resistance", "mohm") == pytest.approx(17.5)
    assert value("earth-test", "heat", "W") == pytest.approx(7)
    assert value("earth-test", "at_full", "mV", full="60 A") == pytest.approx(1050)
    assert worked("earth-test").outcome.odd
    assert not worked("earth-test", kind="starter").outcome.odd
    # Exactly at the limit is within it.
    assert not worked("earth-test", drop="100 mV").outcome.odd
    assert worked("earth-test", drop="100 mV", full="21 A").outcome.odd
    assert value("earth-test", "resistance", "mohm", drop="0.35 V") == pytest.approx(17.5)


# --- batteries


def test_days_to_flat_worked_by_hand():
    """60 Ah, half of it usable: 350 mA 3.57 days, 50 mA 25 days, 20 mA 62.5 days."""
    for current, days in (("350 mA", 3.571), ("0.05 A", 25), ("20 mA", 62.5)):
        assert value("days-to-flat", "time", "d", current=current) == pytest.approx(days, rel=1e-3)
    assert value("days-to-flat", "taken", "Ah") == 30
    # For 14 days 30 Ah make 89.3 mA.
    assert value("days-to-flat", "most", "mA") == pytest.approx(30_000 / (14 * 24))
    assert worked("days-to-flat").outcome.odd
    assert not worked("days-to-flat", standing="2 d").outcome.odd
    assert "most" not in worked("days-to-flat", "standing").values
    assert "417 days" in worked("days-to-flat", current="3 mA").outcome.verdict
    # 60 Ah and 50 mA last exactly 25 days: not less than the 25 that are wanted.
    just = worked("days-to-flat", current="50 mA", standing="25 d")
    assert not just.outcome.odd
    assert "no less than the 25 days" in just.outcome.verdict


@pytest.mark.parametrize(
    ("current", "words"),
    [
        ("25 A", "1.2 hours"),
        ("30 A", "1 hour "),
        ("40 A", "45 minutes"),
        ("1 A", "30 hours"),
        ("0.5 A", "2.5 days"),
    ],
)
def test_a_battery_never_lasts_0_days(current, words):
    """30 Ah over the current."""
    result = worked("days-to-flat", current=current)
    assert f"lasts {words}" in result.outcome.verdict
    assert all(float(row[1]) > 0 for row in result.outcome.plots[0].rows)


def test_days_plot_and_its_table_say_the_same():
    plot = worked("days-to-flat").outcome.plots[0]
    assert plot.marks[0].at[1] == pytest.approx(3.571, rel=1e-3)
    assert len(plot.rows) <= 8
    for (at, days), row in zip(plot.lines[0].points[::8], plot.rows, strict=True):
        assert at * days == pytest.approx(30_000 / 24)
        assert row == (f"{at:.3g} mA", f"{days:.1f}")


@pytest.mark.outside("State of charge by rest voltage, 12 V at 25 °C: common practice, no source")
def test_state_of_charge(published):
    for volts, percent in ((12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.9, 0)):
        published.close(electrical.state_of_charge(volts), percent, within=1e-6, unit="%", what=f"{volts} V")


@given(st.floats(10, 14))
def test_state_of_charge_against_scipy(volts):
    at, charge = zip(*electrical.REST_VOLTAGES, strict=True)
    independent = interp1d(at, charge, bounds_error=False, fill_value=(0, 100))
    assert electrical.state_of_charge(volts) == pytest.approx(float(independent(volts)), abs=1e-9)


def test_charge_state_says_its_range_and_what_to_mind():
    result = worked("charge-state")
    # Halfway and a bit between 12.24 V and 12.45 V.
    assert float(result.values["charge"].value) == pytest.approx(50 + 25 * 11 / 21)
    assert result.values["range"] == "48 to 78 %"
    assert not result.outcome.odd
    assert result.outcome.notes == []
    empty = worked("charge-state", "rested", voltage="11.5 V")
    assert empty.outcome.odd
    assert "Charge it before" in empty.outcome.verdict
    assert any("damaged" in note for note in empty.outcome.notes)
    assert any("at least 6 hours" in note for note in empty.outcome.notes)
    assert any("surface charge" in note for note in worked("charge-state", voltage="13 V").outcome.notes)
    assert any("at least 6" in note for note in worked("charge-state", rested="2 hours").outcome.notes)


def test_a_fleece_battery_rests_higher():
    fleece = worked("charge-state", kind="fleece", voltage="12.5 V")
    assert float(fleece.values["charge"].value) == pytest.approx(electrical.state_of_charge(12.35))
    assert any("fleece" in note.lower() for note in fleece.outcome.notes)
    assert worked("charge-state", kind="fleece", voltage="12.8 V").values["range"] == "79 to 100 %"


def test_batteries_of_6_and_24_volts_go_by_their_cells():
    twelve = float(worked("charge-state").values["charge"].value)
    six = worked("charge-state", battery="6", voltage="6.175 V")
    many = worked("charge-state", battery="24", voltage="24.7 V")
    for result in (six, many):
        assert float(result.values["charge"].value) == pytest.approx(twelve)
    assert any("each of the two" in note for note in many.outcome.notes)
    assert six.outcome.plots[0].rows[0] == ("5.95 V", "0 %")
    fleece = worked("charge-state", battery="6", kind="fleece", voltage="6.25 V")
    assert any("0.05 to 0.1 V higher; 0.075 V" in note for note in fleece.outcome.notes)
    refused("charge-state", "voltage", "A battery of 12 V rests anywhere from 8 V to 15 V", voltage="6.2 V")
    refused("charge-state", "voltage", "from 16 V to 30 V", voltage="12.4 V", battery="24")


def test_amounts_of_the_result_follow_their_units():
    assert worked("cable-resistance").values["used"] == Amount(D("2.5"), "mm2")
