"""The fastener calculators as a person uses them: typed texts in, values against published ones out."""

from decimal import Decimal as D

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from workshop.engineering.bolt_inputs import nut_factor_of, spread_of
from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import calculators, find
from workshop.engineering.command import read_inputs
from workshop.engineering.declare import InputErrors, declared_rightly
from workshop.engineering.inch_threads import (
    INCH_THREADS,
    UnknownInchThread,
    grade,
    inch_proof_load,
    inch_thread,
)
from workshop.engineering.quantities import magnitude, quantity
from workshop.engineering.threads import THREADS
from workshop.engineering.units import show

FASTENERS = [each for each in calculators().values() if each.group == "Fasteners"]


def answered(slug, **typed):
    calculator = find(slug)
    return calculate(calculator, read_inputs(calculator, typed.items()))


def refused(slug, **typed):
    with pytest.raises(InputErrors) as caught:
        answered(slug, **typed)
    return caught.value.errors


@pytest.mark.parametrize("calculator", FASTENERS, ids=lambda each: each.slug)
def test_each_is_declared_rightly_and_its_example_is_worked_out(calculator):
    assert declared_rightly(calculator) == []
    record = calculate(calculator, read_inputs(calculator, calculator.example.items())).record()
    assert [each for each in record["outputs"] if each["main"]]
    for words in (record["verdict"], *record["notes"]):
        assert not {"complies", "illegal", "safe"} & set(words.lower().replace(".", "").split())


# Torque in another unit -----------------------------------------------------------------------------------


@pytest.mark.outside("NIST SP 811 (2008), appendix B.8: torque")
@pytest.mark.parametrize(
    ("unit", "newton_metres", "rel"),
    [("lbf.ft", 1.355818, 5e-7), ("lbf.in", 0.1129848, 5e-7), ("kgf.m", 9.80665, 1e-12)],
)
def test_conversion_factors(published, unit, newton_metres, rel):
    got = answered("torque-conversion", torque=f"1000 {unit}", wanted="N.m").values["newton_metres"].value
    published.close(got / 1000, newton_metres, rel=rel, unit="N·m")


@pytest.mark.outside("scipy.constants (CODATA): pound-force, foot, inch, standard gravity")
def test_conversions_against_another_library(published):
    for unit, factor in (
        ("lbf.ft", constants.lbf * constants.foot),
        ("lbf.in", constants.lbf * constants.inch),
        ("kgf.m", constants.g),
        ("kgf.cm", constants.g / 100),
    ):
        got = answered("torque-conversion", torque=f"75 {unit}", wanted="N.m").values["newton_metres"].value
        published.close(got, 75 * factor, rel=1e-8, unit="N·m", what=unit)


def test_the_same_number_in_another_unit_is_shown_beside():
    result = answered("torque-conversion", torque="75 lbf.ft", wanted="N.m")
    assert result.values["converted"] == "101.69 N·m"
    (table,) = result.outcome.tables
    assert ("N·m", "101.69 N·m", "75 N·m") in table.rows
    assert ("kgf·m", "10.369 kgf·m", "735.5 N·m") in table.rows
    assert table.head[2] == "If 75 was meant in this unit"
    assert answered("torque-conversion", torque="40,12 N.m", wanted="N.m").values["converted"] == "40.12 N·m"


# Preload --------------------------------------------------------------------------------------------------


@pytest.mark.outside("T = K·d·F, M10 8.8 at 75 % of Sp·As with three nut factors, worked by hand")
@pytest.mark.parametrize(("nut_factor", "torque"), [("0.20", "50.46"), ("0.15", "37.85"), ("0.12", "30.28")])
def test_short_form(published, nut_factor, torque):
    result = answered(
        "preload-from-torque", torque=f"{torque} N.m", thread="M10", surface="typed", nut_factor=nut_factor
    )
    published.close(result.values["preload"].value, 25.23, rel=0.0005, unit="kN")


def test_the_range_is_that_of_the_friction():
    result = answered("preload-from-torque", torque="50 N.m", thread="M10", surface="dry")
    assert [show(result.values[name]) for name in ("least", "preload", "most")] == [
        "20 kN",
        "25 kN",
        "33.33 kN",
    ]
    assert "0.15 to 0.25" in result.outcome.notes[0]


def test_a_named_surface_scatters_at_least_as_far_as_its_own_range():
    for surface in ("dry", "zinc", "oiled", "paste", "coated", "black"):
        factor = nut_factor_of(surface, None)
        low, high = spread_of(factor)
        assert low <= factor.low
        assert high >= factor.high
        assert high >= factor.value * D("1.25")


def test_an_inch_bolt_by_its_diameter():
    inch = answered("preload-from-torque", torque="75 lbf.ft", thread="1/2-13", surface="dry").values
    # F = T/(K·d) in inches: 75·12 lbf·in / (0.2·0.5 in) = 9000 lbf.
    assert float(inch["preload"].value) * 1000 / constants.lbf == pytest.approx(9000, rel=1e-8)


def test_surface_and_number_exclude_each_other():
    typed = {"torque": "50 N.m", "thread": "M10"}
    assert (
        "Leave this empty"
        in refused("preload-from-torque", **typed, surface="dry", nut_factor="0.2")["nut_factor"]
    )
    assert "Give the nut factor" in refused("preload-from-torque", **typed, surface="typed")["nut_factor"]
    assert (
        "is not plausible"
        in refused("preload-from-torque", **typed, surface="typed", nut_factor="0.9")["nut_factor"]
    )
    assert (
        "unit of length"
        in refused("preload-from-torque", torque="50 mm", thread="M10", surface="dry")["torque"]
    )


# By friction ----------------------------------------------------------------------------------------------


@pytest.mark.outside("VDI 2230-1 and ISO 16047 (exact form from memory), M10 at 25 kN, worked by hand")
def test_both_full_forms(published):
    typed = {"preload": "25 kN", "thread": "M10", "mu_thread": "0.12", "mu_head": "0.14"}
    values = answered("torque-by-friction", **typed).values
    published.close(values["torque"].value, 44.045, rel=0.0005, unit="N·m", what="full form")
    published.close(values["exact"].value, 44.177, rel=0.0005, unit="N·m", what="exact form")
    published.close(float(values["nut_factor"]), 0.1762, rel=0.002, what="nut factor")
    published.close(values["mean"].value, 12.815, rel=1e-6, unit="mm")
    given = answered("torque-by-friction", **typed, face="14.63 mm", hole="11 mm").values
    assert given["torque"] == values["torque"]


@pytest.mark.outside("VDI 2230-1, where the torque goes at M10, worked by hand")
def test_where_the_torque_goes(published):
    typed = {"preload": "25 kN", "thread": "M10", "mu_thread": "0.12", "mu_head": "0.14"}
    rows = answered("torque-by-friction", **typed).outcome.tables[0].rows
    for row, share in zip(rows, (13.6, 35.5, 50.9), strict=True):
        published.close(float(row[2].removesuffix(" %")), share, within=0.06, unit="%")


@pytest.mark.outside("ISO 898-1:2013, table 5: proof load of M5 12.9, 13 800 N")
def test_a_preload_that_no_bolt_of_the_size_bears_is_questioned(published):
    result = answered("torque-by-friction", preload="500 kN", thread="M5")
    assert result.outcome.odd
    said = result.outcome.verdict.partition("class 12.9, ")[2].partition(" kN")[0]
    published.same(float(said), 13.8, "kN")
    just = answered("torque-by-friction", preload="13.8 kN", thread="M5")
    assert not just.outcome.odd
    assert just.outcome.verdict == ""


def test_friction_that_nobody_gave_is_assumed_and_said():
    result = answered("torque-by-friction", preload="25 kN", thread="M10")
    assert [each.label for each in result.spreads] == [
        "Friction in the thread, µ",
        "Friction under the head, µ",
    ]
    assert "from memory" in result.spreads[0].sentence


@pytest.mark.parametrize(
    ("typed", "name", "sentence"),
    [
        ({"face": "10 mm"}, "face", "more than 11 mm"),
        ({"hole": "7 mm"}, "hole", "does not go through"),
        ({"mu_thread": "0.9"}, "mu_thread", "0.04 to 0.4"),
        ({"thread": "M11"}, "thread", "Choose one of"),
        ({"preload": "25 N.m"}, "preload", "unit of torque"),
    ],
)
def test_refusals_of_the_full_form(typed, name, sentence):
    assert sentence in refused("torque-by-friction", **{"preload": "25 kN", "thread": "M10", **typed})[name]


# Share of the proof load ----------------------------------------------------------------------------------


@pytest.mark.outside("ISO 898-1:2013, proof load of M8 8.8 with T = K·d·F, worked by hand")
def test_share_of_the_proof_load(published):
    typed = {"thread": "M8", "strength": "8.8", "surface": "typed", "nut_factor": "0.1649"}
    over = answered("proof-load-share", torque="36 N.m", **typed)
    published.close(over.values["share"].value, 128.7, rel=0.001, unit="%")
    assert over.outcome.odd
    under = answered("proof-load-share", torque="24.57 N.m", **typed)
    published.close(under.values["share"].value, 87.9, rel=0.001, unit="%")
    assert not under.outcome.odd
    assert under.outcome.notes == []
    at_proof = answered("proof-load-share", torque=f"{over.values['at_proof'].value} N.m", **typed)
    assert float(at_proof.values["share"].value) == pytest.approx(100, rel=1e-7)


def test_the_unit_that_was_meant_is_offered_with_its_value():
    result = answered("proof-load-share", torque="30 lbf.ft", thread="M8", strength="8.8", surface="dry")
    assert result.outcome.odd
    assert result.outcome.notes == ["Was 30 N·m meant? That is 88.4 % of the proof load."]
    inch = answered("proof-load-share", torque="150 N.m", thread="M8", strength="8.8", surface="dry")
    assert "That is 16.9 N·m, " in inch.outcome.notes[0]
    assert [each.split("?")[0] for each in inch.outcome.notes] == [
        "Was 150 lbf·in meant",
        "Was 150 kgf·cm meant",
    ]


@pytest.mark.outside("SAE J429, 1/2-13 grades 5 and 8: stress area and proof load, worked by hand")
def test_an_inch_bolt(published):
    published.close(inch_thread("1/2-13").stress_area / D("645.16"), 0.141899, rel=1e-5, unit="in²")
    for strength, load in (("grade 5", 12061), ("grade 8", 17028)):
        result = answered(
            "proof-load-share", torque="60 N.m", thread="1/2-13", strength=strength, surface="dry"
        )
        got = float(result.values["proof_load"].value) * 1000 / constants.lbf
        published.close(got, load, rel=0.001, unit="lbf", what=strength)
        assert "1/2-13 inch, SAE grade" in result.outcome.verdict
        assert "(SAE J429)" in result.outcome.verdict


# ASME B1.1 and SAE J429, from memory; the areas stand there to four figures, the loads to the nearest 50 or 100 lbf.
INCH = [
    ("1/4-20", 0.0318, 2700, 3800),
    ("1/4-28", 0.0364, 3100, 4350),
    ("5/16-18", 0.0524, 4450, 6300),
    ("5/16-24", 0.0580, 4900, 6950),
    ("3/8-16", 0.0775, 6600, 9300),
    ("3/8-24", 0.0878, 7450, 10500),
    ("7/16-14", 0.1063, 9050, 12800),
    ("7/16-20", 0.1187, 10100, 14200),
    ("1/2-13", 0.1419, 12100, 17000),
    ("1/2-20", 0.1599, 13600, 19200),
    ("9/16-12", 0.182, 15500, 21800),
    ("9/16-18", 0.203, 17300, 24400),
    ("5/8-11", 0.226, 19200, 27100),
    ("5/8-18", 0.256, 21800, 30700),
    ("3/4-10", 0.334, 28400, 40100),
    ("3/4-16", 0.373, 31700, 44800),
]


@pytest.mark.outside("ASME B1.1 stress areas and SAE J429 proof loads of grades 5 and 8 (from memory)")
@pytest.mark.parametrize("row", INCH, ids=lambda row: row[0])
def test_the_inch_series(published, row):
    name, area, *loads = row
    of = inch_thread(name)
    published.close(of.stress_area / D("645.16"), area, rel=0.0032, unit="in²")
    for code, load in zip(("grade 5", "grade 8"), loads, strict=True):
        published.close(
            float(inch_proof_load(of, code)) / constants.lbf, load, rel=0.012, unit="lbf", what=code
        )


def test_the_inch_list_is_whole():
    assert [row[0] for row in INCH] == list(INCH_THREADS)


def test_inch_and_metric_are_not_mixed():
    typed = {"torque": "60 N.m", "surface": "dry"}
    assert "has a grade" in refused("proof-load-share", **typed, thread="1/2-13", strength="8.8")["strength"]
    assert (
        "property class" in refused("proof-load-share", **typed, thread="M10", strength="grade 5")["strength"]
    )
    with pytest.raises(UnknownInchThread, match="1/2-20"):
        inch_thread("1/2-19")
    with pytest.raises(UnknownInchThread, match="grade 8"):
        grade("grade 2")


# Torque to yield ------------------------------------------------------------------------------------------


@pytest.mark.outside("VDI 2230-1:2001, table of fine threads at 90 % of yield, typed as a person does")
@pytest.mark.parametrize(
    ("thread", "strength", "mu", "force", "torque"),
    [
        ("M8x1", "8.8", "0.10", 20.7, 22.8),
        ("M10x1.25", "10.9", "0.12", 46.4, 75),
        ("M12x1.25", "12.9", "0.14", 80.4, 174),
        ("M14x1.5", "8.8", "0.12", 64.8, 142),
        ("M16x1.5", "10.9", "0.10", 131.6, 278),
    ],
)
def test_90_percent_of_yield(published, thread, strength, mu, force, torque):
    values = answered("torque-to-yield", thread=thread, strength=strength, mu_thread=mu).values
    published.close(values["preload"].value, force, rel=0.004, unit="kN")
    published.close(values["torque"].value, torque, rel=0.012, unit="N·m")


def test_yield_by_friction_in_table_and_plot():
    result = answered("torque-to-yield", thread="M10", strength="10.9", mu_thread="0.12")
    assert ("0.12", "43.5 kN", "71.2 N·m") in result.outcome.tables[0].rows
    (plot,) = result.outcome.plots
    assert [mark.at[0] for mark in plot.marks] == [0.12]
    assert plot.y.high > max(point[1] for point in plot.lines[0].points)
    other = answered("torque-to-yield", thread="M10", strength="10.9", mu_thread="0.12", mu_head="0.16")
    assert other.outcome.plots[0].marks == ()
    assert other.values["torque"].value > result.values["torque"].value


def test_a_smaller_share_of_yield_is_in_proportion():
    whole = answered("torque-to-yield", thread="M10", strength="8.8", mu_thread="0.1", share="100 %").values
    half = answered("torque-to-yield", thread="M10", strength="8.8", mu_thread="0.1", share="50 %").values
    assert float(whole["torque"].value) == pytest.approx(2 * float(half["torque"].value), rel=1e-8)
    assert "20 % to 100 %" in refused("torque-to-yield", thread="M10", strength="8.8", share="120 %")["share"]


# The tool's range -----------------------------------------------------------------------------------------


@pytest.mark.outside(
    "ISO 14253-1 with ISO 6789-1, proven settings for 90 to 110 and 96 to 104 N·m at 4 %, by hand"
)
def test_proven_settings(published):
    for low, high, range_ in (("90", "110", (93.6, 105.6)), ("96", "104", (99.84, 99.84))):
        result = answered(
            "tool-range-for-a-target",
            low=f"{low} N.m",
            high=f"{high} N.m",
            tool_max="200 N.m",
            deviation="4 %",
        )
        ends = [float(each) for each in result.values["range"].removesuffix(" N·m").split(" to ")]
        for end, value in zip(ends, range_, strict=True):
            published.close(end, value, rel=1e-6, unit="N·m")
        assert not result.outcome.odd


@pytest.mark.outside("ISO 6789-1:2017, permissible deviation of Type II class A (a tool maker's manual)")
def test_the_class_gives_the_deviation(published):
    for largest, percent in (("10", 6), ("200", 4)):
        low, high = ("8", "10") if largest == "10" else ("90", "110")
        result = answered(
            "tool-range-for-a-target",
            low=f"{low} N.m",
            high=f"{high} N.m",
            tool_max=f"{largest} N.m",
            tool_class="II-A",
        )
        published.close(result.values["taken_off"].value, percent, rel=1e-9, unit="%")


def test_limits_that_no_such_tool_proves():
    result = answered(
        "tool-range-for-a-target", low="98 N.m", high="102 N.m", tool_max="200 N.m", deviation="4 %"
    )
    assert result.values["range"] == "no value"
    assert result.outcome.odd
    assert "±2 % or better" in result.outcome.verdict


def test_the_working_range_of_the_tool_is_seen_too():
    outside = answered(
        "tool-range-for-a-target", low="20 N.m", high="30 N.m", tool_max="200 N.m", deviation="4 %"
    )
    assert outside.outcome.odd
    assert "40 N·m to 200 N·m: take another one" in outside.outcome.verdict
    half = answered(
        "tool-range-for-a-target", low="30 N.m", high="50 N.m", tool_max="200 N.m", deviation="4 %"
    )
    assert half.values["range"] == "40 to 48 N·m"
    assert "alone would give 31.2 to 48 N·m" in half.outcome.notes[0]
    small = answered(
        "tool-range-for-a-target", low="90 N.m", high="110 N.m", tool_max="100 N.m", deviation="4 %"
    )
    assert small.values["range"] == "93.6 to 100 N·m"
    assert outside.values["range"] == "no value"


def test_an_advised_deviation_does_prove_something():
    """91.8 to 94.87 N·m: (94.87 − 91.8)/(94.87 + 91.8) is 1.6446 %, which must not be advised as 1.65 or 1.7 %."""
    typed = {"low": "91.8 N.m", "high": "94.87 N.m", "tool_max": "200 N.m"}
    result = answered("tool-range-for-a-target", **typed, deviation="4 %")
    assert "±1.6 % or better" in result.outcome.verdict
    assert show(result.values["widest"]) == "1.6 %"
    assert answered("tool-range-for-a-target", **typed, deviation="1.6 %").values["range"] != "no value"
    above = answered(
        "tool-range-for-a-target", low="96.5 N.m", high="100 N.m", tool_max="200 N.m", deviation="4 %"
    )
    # 3.5/196.5 is 1.781 %.
    assert "±1.7 % or better" in above.outcome.verdict
    close = answered(
        "tool-range-for-a-target", low="99 N.m", high="100 N.m", tool_max="200 N.m", deviation="4 %"
    )
    # 1/199 is 0.5025 %.
    assert "±0.5 % or better" in close.outcome.verdict


def test_no_tool_proves_a_single_value():
    result = answered(
        "tool-range-for-a-target", low="100 N.m", high="100 N.m", tool_max="200 N.m", deviation="0.1 %"
    )
    assert result.values["range"] == "no value"
    assert "no tool can prove one single value" in result.outcome.verdict


def test_a_range_in_the_units_of_the_manual_and_no_tighter_than_its_figures():
    result = answered(
        "tool-range-for-a-target", low="66 lbf.ft", high="81 lbf.ft", tool_max="150 lbf.ft", deviation="4 %"
    )
    assert result.values["range"] == "68.7 to 77.7 lbf·ft"
    point = answered(
        "tool-range-for-a-target", low="96 N.m", high="104.00000001 N.m", tool_max="200 N.m", deviation="4 %"
    )
    assert point.values["range"] == "99.84 to 99.84 N·m"
    finer = answered(
        "tool-range-for-a-target",
        low="1.00000006 N.m",
        high="1.50000009 N.m",
        tool_max="2 N.m",
        deviation="20 %",
    )
    assert finer.values["range"] == "1.2 N·m"


def test_refusals_of_the_tool_range():
    base = {"low": "90 N.m", "high": "110 N.m", "tool_max": "200 N.m"}
    assert "class of the tool" in refused("tool-range-for-a-target", **base)["tool_class"]
    turned = {**base, "low": "120 N.m", "deviation": "4 %"}
    assert "at least the lowest, 120 N·m" in refused("tool-range-for-a-target", **turned)["high"]


# Re-check -------------------------------------------------------------------------------------------------


@pytest.mark.outside(
    "re-check of wheels: a tyre maker's 50 km, a truck maker's 80 to 160 km; common practice"
)
def test_the_distance_lies_in_what_makers_print(published):
    result = answered("recheck-distance", joint="wheel", odometer="123400 km")
    published.close(result.values["distance"].value, 50, rel=1e-9, unit="km")
    published.close(result.values["due"].value, 123450, rel=1e-9, unit="km")
    assert "no maker's given" in result.outcome.verdict
    assert "common practice" in result.spreads[0].sentence


def test_the_maker_goes_first_and_the_odometer_keeps_its_unit():
    result = answered("recheck-distance", joint="wheel", maker="160 km", odometer="50000 mi")
    assert show(result.values["due"]) == "50099 mi"
    assert result.values["whose"] == "the maker's"
    # 160 km are 99.4 mi: the sentence says what the figures say.
    assert result.outcome.verdict == "Check again after 99 mi (the maker's), at 50099 mi."
    alone = answered("recheck-distance", joint="wheel", maker="50 mi")
    assert alone.outcome.verdict == "Check again after 50 mi (the maker's)."
    assert show(alone.values["distance"]) == "50 mi"
    assert answered("recheck-distance", joint="other", shop="80 km").values["whose"].startswith("the shop's")


def test_an_angle_joint_is_not_tightened_again():
    result = answered("recheck-distance", joint="angle")
    assert result.outcome.odd
    assert "distance" not in result.values
    assert "paint mark" in result.outcome.verdict
    assert "plausible" in refused("recheck-distance", joint="wheel", maker="0.1 km")["maker"]


# Dimensions -----------------------------------------------------------------------------------------------


@given(st.sampled_from(sorted(THREADS)), st.integers(5, 400))
def test_another_unit_of_torque_gives_the_same_share(name, torque):
    work = find("proof-load-share").work
    newton_metres = quantity(torque, "N.m")
    code = name.replace("×", "x")
    shares = [
        magnitude(work(each, code, "8.8", "dry", None).values["share"], "%")
        for each in (newton_metres, newton_metres.to("foot * pound_force"), newton_metres.to("joule"))
    ]
    assert shares == pytest.approx([shares[0]] * 3, rel=1e-7)


@pytest.mark.parametrize("slug", ["proof-load-share", "preload-from-torque"])
def test_a_force_in_place_of_a_torque_raises(slug):
    arguments = ("8.8", "dry", None) if slug == "proof-load-share" else ("dry", None)
    with pytest.raises(pint.DimensionalityError):
        find(slug).work(quantity(50, "N"), "M10", *arguments)


def test_a_class_that_ends_below_the_thread_is_refused_beside_it():
    big = {"thread": "M20", "strength": "9.8"}
    share = refused("proof-load-share", torque="200 N.m", surface="dry", **big)
    assert "up to M16 only" in share["strength"]
    assert "up to M16 only" in refused("torque-to-yield", mu_thread="0.12", **big)["strength"]
    soft = answered("proof-load-share", torque="20 N.m", thread="M10", strength="4.6", surface="dry")
    # 58.0 mm² · 225 MPa.
    assert float(soft.values["proof_load"].value) == pytest.approx(13.05)
