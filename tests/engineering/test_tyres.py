"""Tyre sizes, circumference, speedometer, load and offset, against published values."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.worked import number, worked
from workshop.engineering.declare import InputErrors
from workshop.engineering.quantities import magnitude, quantity
from workshop.engineering.tyre_size import SPEED_SYMBOLS, TyreError, parse_size, speed_of
from workshop.engineering.tyres import (
    LOADS,
    circumference,
    edges_moved,
    load_of,
    load_share,
    needed_index,
    r39_excess,
    share_range,
    shown_at,
    shown_speed,
    speedometer_plot,
    track_change,
    turns_per,
)

# Public tyre calculators by the formula of ISO 4000-1: size, diameter, circumference in mm, turns in a kilometre.
SIZES = [
    ("205/55R16", 631.90, 1985.17, 503.73),
    ("195/65R15", 634.50, 1993.34, 501.67),
    ("225/45R17", 634.30, 1992.71, 501.83),
    ("175/65R14", 583.10, 1831.86, 545.89),
    ("185/60R14", 577.60, 1814.58, 551.09),
    ("215/75R16", 728.90, 2289.91, 436.70),
    ("225/70R15", 696.00, 2186.55, 457.34),
    ("235/75R15", 733.50, 2304.36, 433.96),
]


@pytest.mark.outside("ISO 4000-1, designation of a tyre (from memory): eight sizes worked by hand")
@pytest.mark.parametrize(("size", "diameter", "round_", "turns"), SIZES, ids=lambda each: str(each))
def test_diameter_circumference_and_turns(published, size, diameter, round_, turns):
    result = worked("tyre-size", size=size)
    published.close(number(result, "diameter", "mm"), diameter, within=0.01, unit="mm")
    published.close(number(result, "circumference", "mm"), round_, within=0.01, unit="mm")
    published.close(number(result, "turns", "1"), turns, within=0.01)
    published.close(number(result, "rolling", "mm"), 3.05 * diameter, rel=1e-6, unit="mm")


@pytest.mark.outside("A public encyclopedia's page on tyre codes: the height of a 245/55-18 tyre")
def test_a_published_diameter(published):
    # Rounded to a tenth there.
    published.close(parse_size("245/55R18").diameter, 726.7, within=0.05, unit="mm")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("205/55 r16 91v", {"width": 205, "aspect": 55, "load_index": 91, "symbol": "V", "radial": True}),
        ("P225/60R16 97S", {"kind": "P", "symbol": "S"}),
        ("LT235/75R15 104/101S", {"kind": "LT", "load_index": 104, "twin_index": 101}),
        ("235/75R15LT", {"kind": "LT"}),
        ("195/70 R15C 104/102R", {"kind": "C", "load_index": 104, "twin_index": 102, "symbol": "R"}),
        ("205/55 ZR16 (91Y)", {"zr": True, "symbol": "Y", "load_index": 91}),
        ("225/45ZR17", {"zr": True, "symbol": "", "load_index": None}),
        ("225/45 R17 94W XL M+S 3PMSF", {"extra_load": True, "symbol": "W"}),
        ("225/45 R17 94W EXTRA LOAD", {"extra_load": True}),
        ("185 R14C 102/100Q", {"aspect": 82, "kind": "C", "height_assumed": True}),
        ("165 SR 13", {"aspect": 82, "symbol": "S", "height_assumed": True}),
        ("205/60 VR15", {"symbol": "V", "height_assumed": False}),
        ("T125/70 D15 95M", {"kind": "T", "radial": False}),
        ("80/100-21 51M", {"radial": False, "aspect": 100}),
        ("120/70 ZR17 M/C (58W)", {"zr": True, "symbol": "W"}),
        ("205/55 R16 91", {"load_index": 91, "symbol": ""}),
        ("190/65 R390", {"rim": 390}),
        ("245/70 R19.5", {"rim": 495.3}),
        ("195/80 R15 96 T", {"symbol": "T"}),
        ("145/70 R12 60A8", {"symbol": "A8"}),
    ],
)
def test_sizes_are_read(text, expected):
    size = parse_size(text)
    assert {name: getattr(size, name) for name in expected} == pytest.approx(expected)


def test_a_size_by_its_outside_diameter():
    size = parse_size("31x10.50 R15LT 109Q")
    assert size.diameter == pytest.approx(787.4)
    assert size.width == pytest.approx(266.7)
    assert size.sidewall == pytest.approx((787.4 - 381) / 2)
    assert size.kind == "LT"
    assert size.load_index == 109


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not read as a tyre size"),
        ("nonsense", "not read as a tyre size"),
        ("205/55", "not read as a tyre size"),
        ("6.40 13", "not read as a tyre size"),
        ("99.9-13", "2 and 16 in"),
        ("6.40 ER I3", "not read as a tyre size"),
        ("6.40 XR 13", "speed symbol or Z"),
        ("450/55 R16", "405 mm"),
        ("205/15 R16", "20 and 110"),
        ("205/55 XR16", "speed symbol or Z"),
        ("205/55 R30", "4 and 26"),
        ("205/55 R290", "300 and 560"),
        ("205/55 R16 91V BANANA", "not read"),
        ("205/55 R16 91I", "no speed symbol"),
        ("15x10.50 R15", "larger than the rim"),
        ("205/55 R1691V", "not read"),
    ],
)
def test_what_is_no_size_is_refused_in_words(text, words):
    with pytest.raises(TyreError, match=words):
        parse_size(text)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text):
    try:
        size = parse_size(text)
    except TyreError:
        return
    assert not size.has_diameter or size.rim < size.diameter < math.inf


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("5.60-13", {"width": 142.24, "rim": 330.2, "radial": False, "symbol": ""}),
        ("5.60x13 4PR", {"width": 142.24, "rim": 330.2, "radial": False, "ply": 4}),
        ("6.40 S 13", {"width": 162.56, "symbol": "S", "radial": False}),
        ("6.40 SR 13", {"symbol": "S", "radial": True}),
        ("7.00 R16C 117/116L", {"kind": "C", "radial": True, "load_index": 117, "twin_index": 116}),
        ("165-13", {"width": 165, "rim": 330.2, "radial": False}),
    ],
)
def test_old_sizes_are_kept_though_they_say_no_diameter(text, expected):
    size = parse_size(text)
    assert {name: getattr(size, name) for name in expected} == pytest.approx(expected)
    assert not size.has_diameter
    assert not size.height_assumed
    with pytest.raises(TyreError, match="names no height"):
        _ = size.diameter
    with pytest.raises(InputErrors, match="names no height"):
        worked("tyre-size", size=text)


def test_kart_tyres_and_ply_ratings():
    kart = parse_size("10x4.50-5")
    assert (kart.diameter, kart.width, kart.rim) == pytest.approx((254, 114.3, 127))
    for text in ("195 R14C 8PR 106/104N", "195 R14C 106/104N 8 PR"):
        van = parse_size(text)
        assert (van.ply, van.load_index, van.twin_index, van.symbol) == (8, 106, 104, "N")
    assert any("ply rating" in note for note in worked("tyre-size", size="195 R14C 8PR").outcome.notes)
    two = worked("tyre-comparison", factory="195 R14C 8PR", fitted="195/70 R15C 104/102R")
    assert any("ply rating" in note for note in two.outcome.notes)


@given(
    st.integers(60, 405),
    st.integers(20, 100),
    st.sampled_from("RD"),
    st.integers(8, 26),
    st.integers(50, 130),
    st.sampled_from(sorted(SPEED_SYMBOLS)),
)
def test_every_plausible_size_is_read_back(width, aspect, build, rim, index, symbol):
    size = parse_size(f"{width}/{aspect} {build}{rim} {index}{symbol}")
    assert (size.width, size.aspect, size.load_index, size.symbol) == (width, aspect, index, symbol)
    assert size.diameter == pytest.approx(rim * 25.4 + 2 * width * aspect / 100)


@pytest.mark.outside("A tyre seller's table of speed symbols, N to Y")
def test_speed_symbols(published):
    table = {
        "N": 140,
        "P": 150,
        "Q": 160,
        "R": 170,
        "S": 180,
        "T": 190,
        "U": 200,
        "H": 210,
        "V": 240,
        "W": 270,
        "Y": 300,
    }
    for symbol, speed in table.items():
        published.same(speed_of(symbol), speed, symbol)
    assert speed_of(" a8 ") == 40
    with pytest.raises(TyreError):
        speed_of("ß")


# Load capacity indices in kg, rows of ten from 70 on.
LOAD_ROWS = """
335 345 355 365 375 387 400 412 425 437
450 462 475 487 500 515 530 545 560 580
600 615 630 650 670 690 710 730 750 775
800 825 850 875 900 925 950 975 1000 1030
1060
"""


@pytest.mark.outside("UN R30 and ISO 4000-1, load capacity indices 70 to 110 (two public tables)")
def test_the_load_table(published):
    for index, kg in enumerate(map(int, LOAD_ROWS.split()), start=70):
        published.same(magnitude(load_of(index), "kg"), kg, f"index {index}")


@pytest.mark.outside("The series behind the load index, 45 kg · 10^(LI/80), 50 to 160 (from memory)")
def test_every_index_lies_in_the_series(published):
    # The published values are rounded to a series of their own; none is further than 2 % away.
    for index, kg in LOADS.items():
        published.close(kg, 45 * 10 ** (index / 80), rel=0.02, unit="kg", what=f"index {index}")


def test_the_table_rises_and_ends():
    assert list(LOADS) == list(range(50, 161))
    assert sorted(LOADS.values()) == list(LOADS.values())
    assert len(set(LOADS.values())) == len(LOADS)
    for outside in (49, 161):
        with pytest.raises(TyreError, match="50 to 160"):
            load_of(outside)


@pytest.mark.outside("An engineering text's page on UN R30: load above 210 km/h, V and W")
def test_the_load_falls_at_speed(published):
    published.close(load_share("V", quantity(240, "km/h")), 0.91, rel=1e-9)
    published.close(load_share("W", quantity(270, "km/h")), 0.85, rel=1e-9)


@pytest.mark.outside("UN R30, load at speeds between 210 and 300 km/h (from memory)")
@pytest.mark.parametrize(
    ("symbol", "speed", "share"),
    [
        ("V", 220, 0.97),
        ("V", 230, 0.94),
        ("W", 240, 1),
        ("W", 250, 0.95),
        ("W", 260, 0.90),
        ("Y", 280, 0.95),
        ("Y", 300, 0.85),
    ],
)
def test_the_steps_between(published, symbol, speed, share):
    published.close(load_share(symbol, quantity(speed, "km/h")), share, rel=1e-9)


def test_no_fall_below_and_no_answer_above_its_speed():
    assert load_share("H", quantity(210, "km/h")) == 1
    assert load_share("v", quantity(100, "km/h")) == 1
    assert load_share("V", quantity(130, "mph")) == pytest.approx(
        load_share("V", quantity(209.21472, "km/h"))
    )
    with pytest.raises(TyreError, match="faster than speed symbol T"):
        load_share("T", quantity(191, "km/h"))


R39_BAND = [(40, 48), (50, 59), (80, 92), (100, 114), (120, 136), (130, 147)]


@pytest.mark.outside("UN R39, 5.3: 0 ≤ V1 − V2 ≤ V2/10 + 4 km/h (50 and 130 in a press article)")
@pytest.mark.parametrize(("true", "most"), R39_BAND)
def test_the_band_of_r39(published, true, most):
    def off(shown):
        return magnitude(r39_excess(quantity(shown, "km/h"), quantity(true, "km/h")), "km/h")

    published.same(off(true), 0, "its lower edge")
    published.same(off(most), 0, "its upper edge")
    published.close(off(most + 1), 1, rel=1e-9, unit="km/h", what="1 km/h above")
    published.close(off(true - 1), -1, rel=1e-9, unit="km/h", what="1 km/h below")


@pytest.mark.outside("UN R39, 5.3, single readings")
@pytest.mark.parametrize(
    ("shown", "true", "inside"),
    [
        (49, 40, False),
        (48, 40, True),
        (99, 100, False),
        (100, 100, True),
        (114, 100, True),
        (115, 100, False),
    ],
)
def test_single_readings(published, shown, true, inside):
    result = worked("speedometer-check", shown=f"{shown} km/h", true=f"{true} km/h")
    published.same(result.values["inside"], f"{int(inside)} of 1")
    assert result.outcome.odd is not inside


def test_several_readings_in_a_row():
    result = worked("speedometer-check", shown="42 79 140 km/h", true="40 80 120 km/h")
    assert result.values["inside"] == "1 of 3"
    assert "1.0 km/h less" in result.outcome.verdict
    [table] = result.outcome.tables
    assert [row[3] for row in table.rows] == ["in the band", "1.0 too little", "4.0 above the band"]
    assert "4.0 km/h more" in worked("speedometer-check", shown="140 km/h", true="120 km/h").outcome.verdict
    hair = worked("speedometer-check", shown="99.97 km/h", true="100 km/h")
    assert "up to 0.03 km/h less" in hair.outcome.verdict
    assert hair.outcome.tables[0].rows == (("100.0", "99.97", "100.0 to 114.0", "0.03 too little"),)
    least = worked("speedometer-check", shown="99.99995 km/h", true="100 km/h")
    assert "less than 0.0001 km/h less" in least.outcome.verdict
    with pytest.raises(InputErrors, match="2 shown, 1 true"):
        worked("speedometer-check", shown="42 84 km/h", true="40 km/h")


@pytest.mark.outside("UN R39 with sizes by ISO 4000-1: 225/70 R15 replaced by 235/75 R15, worked by hand")
def test_a_larger_tyre(published):
    result = worked("tyre-comparison", factory="225/70 R15", fitted="235/75R15", overread="3 %")
    published.close(number(result, "change", "%"), 5.388, within=0.001, unit="%")
    published.close(number(result, "shown", "km/h"), 97.73, within=0.01, unit="km/h")
    published.close(number(result, "odometer", "%"), -5.11, within=0.01, unit="%")
    assert result.outcome.odd
    assert "less than the true speed" in result.outcome.verdict
    assert "97.7 km/h" in result.outcome.verdict
    # All of it rests on what the speedometer showed before.
    assert "showed 3 % too much with the factory's tyre" in result.outcome.verdict
    exact = worked("tyre-comparison", factory="225/70 R15", fitted="235/75R15", overread="0 %")
    assert "was exact" in exact.outcome.verdict
    low = worked("tyre-comparison", factory="225/70 R15", fitted="235/75R15", overread="-2 %")
    assert "showed 2 % too little" in low.outcome.verdict


@pytest.mark.outside("Sizes by ISO 4000-1 (from memory): 205/55 R16 replaced by 225/45 R17, worked by hand")
def test_a_lower_tyre_on_a_larger_rim(published):
    result = worked("tyre-comparison", factory="205/55R16 91V", fitted="225/45R17 90W")
    published.close(number(result, "change", "%"), 0.380, within=0.001, unit="%")
    published.close(number(result, "wider", "mm"), 20, rel=1e-9, unit="mm")
    notes = " ".join(result.outcome.notes)
    assert "rim diameters differ" in notes
    assert "falls from 91 to 90" in notes
    [spread] = result.spreads
    assert "between 100 km/h and 106 km/h" in spread.sentence


def test_a_comparison_uses_one_kind_of_circumference():
    typed = {"factory": "205/55R16", "fitted": "225/45R17", "overread": "0 %"}
    by_makers = worked(
        "tyre-comparison", **typed, factory_circumference="1935 mm", fitted_circumference="1928 mm"
    )
    assert number(by_makers, "change", "%") == pytest.approx((1928 / 1935 - 1) * 100)
    assert "makers state" in by_makers.outcome.notes[0]
    for one in ("factory_circumference", "fitted_circumference"):
        with pytest.raises(InputErrors, match="for both tyres"):
            worked("tyre-comparison", **typed, **{one: "1935 mm"})


def test_circumferences_stand_in_for_sizes_that_say_no_diameter():
    rolls = {"factory_circumference": "1850 mm", "fitted_circumference": "1830 mm"}
    old = worked("tyre-comparison", factory="5.60-13", fitted="165 R13", **rolls)
    assert number(old, "change", "%") == pytest.approx((1830 / 1850 - 1) * 100)
    assert number(old, "wider", "mm") == pytest.approx(165 - 142.24)
    assert "higher" not in old.values
    unread = worked("tyre-comparison", factory="round", **rolls)
    assert any("not read as a tyre size" in note for note in unread.outcome.notes)
    assert "wider" not in unread.values
    for typed, fields in (
        ({"factory": "5.60-13", "fitted": "165 R13"}, {"factory"}),
        ({"fitted": "165 R13"}, {"factory"}),
        ({}, {"factory", "fitted"}),
    ):
        with pytest.raises(InputErrors) as refused:
            worked("tyre-comparison", **typed)
        assert set(refused.value.errors) == fields


def test_a_comparison_says_too_much_the_same_and_what_is_assumed():
    small = worked("tyre-comparison", factory="205/55R16", fitted="165 R13", overread="10 %")
    assert "rolls 4.9 % less" in small.outcome.verdict
    assert "more than the band" in small.outcome.verdict
    assert any("82 %" in note for note in small.outcome.notes)
    same = worked("tyre-comparison", factory="205/55R16", fitted="205/55 R16", overread="3 %")
    assert "rolls as far" in same.outcome.verdict
    assert "within the band" in same.outcome.verdict
    with pytest.raises(InputErrors) as refused:
        worked("tyre-comparison", factory="x", fitted="5.60-15")
    assert set(refused.value.errors) == {"factory", "fitted"}


@given(st.floats(0.8, 1.25), st.floats(0, 0.1), st.floats(20, 200))
def test_a_smaller_tyre_shows_more_and_a_larger_one_less(change, overread, true):
    before, after = shown_at(true, overread, 1), shown_at(true, overread, change)
    assert (after < before) == (change > 1) or after == pytest.approx(before)
    found = shown_speed(quantity(true, "km/h"), quantity(overread * 100, "%"), change)
    assert magnitude(found, "km/h") == pytest.approx(after)


def test_the_plot_says_where_the_line_lies():
    low, high, inside = (
        speedometer_plot(1.06, 0.03),
        speedometer_plot(0.9, 0.06, 0.06),
        speedometer_plot(1, 0.03, 0.03),
    )
    assert "below zero at 40, 80 and 120" in low.summary
    assert [line.style for line in low.lines] == ["this"]
    assert "above the band" in high.summary
    assert [line.style for line in high.lines] == ["this", "factory"]
    assert "lies in the band" in inside.summary
    assert len(speedometer_plot(1, 0.03, highest=60).rows) == 1


def test_dimensions():
    assert magnitude(circumference(quantity(1, "m")), "mm") == pytest.approx(1000 * math.pi)
    assert turns_per(quantity(1, "mi"), quantity(2, "m")) == pytest.approx(804.672)
    with pytest.raises(pint.DimensionalityError):
        circumference(quantity(1, "kg"))
    with pytest.raises(pint.DimensionalityError):
        r39_excess(quantity(1, "km"), quantity(1, "km/h"))
    mph = worked("speedometer-check", shown="62.1371192 mph", true="62.1371192 mph")
    assert mph.values["inside"] == "1 of 1"


def test_the_size_page_says_what_it_can():
    result = worked("tyre-size", size="T125/70 D15 95M")
    assert "rolling" not in result.values
    assert result.values["load"] == "690 kg each"
    assert "temporary spare" in result.outcome.notes[0]
    assert "over 240" in worked("tyre-size", size="225/45ZR17").outcome.notes[0]
    assert "82 %" in worked("tyre-size", size="165 R13").outcome.notes[0]
    with pytest.raises(InputErrors):
        worked("tyre-size", size="x")
    # Its diameter is known, whatever its load index.
    low = worked("tyre-size", size="205/55 R16 40V")
    assert number(low, "diameter", "mm") == pytest.approx(631.9)
    assert "load" not in low.values
    assert "Load index 40 is not in the table" in low.outcome.notes[0]
    truck = worked("tyre-size", size="235/75 R17.5 132/130M")
    assert number(truck, "diameter", "mm") == pytest.approx(17.5 * 25.4 + 2 * 235 * 0.75)
    assert truck.values["load"] == "2000 kg each"


def test_load_against_the_axle():
    typed = {"index": "91", "symbol": "V", "tyres": "2", "top_speed": "240 km/h"}
    fits = worked("load-index", **typed, axle_load="1100 kg")
    assert number(fits, "carries", "kg") == pytest.approx(2 * 615 * 0.91)
    assert fits.values["needed"] == "91"
    assert not fits.outcome.odd
    assert "91 %" in fits.outcome.notes[0]
    low = worked("load-index", **typed, axle_load="1200 kg")
    assert low.outcome.odd
    assert "too low by 81 kg" in low.outcome.verdict
    assert "index 94 or more" in low.outcome.verdict
    four = worked("load-index", index="102", tyres="4", axle_load="3300 kg")
    assert number(four, "carries", "kg") == 3400
    assert "second load index" in four.outcome.notes[0]
    assert "speed" not in four.values
    pounds = worked("load-index", index="91", symbol="T", tyres="2", axle_load="2425.0849 lb")
    assert number(pounds, "use", "%") == pytest.approx(1100 / 1230 * 100)
    assert needed_index(9001, 1, 2) == "over 160"


def test_a_load_above_210_is_not_taken_for_granted():
    typed = {"index": "91", "tyres": "2", "axle_load": "1100 kg"}
    fast = worked("load-index", **typed, symbol="w")
    assert "100 % of the load was assumed: with speed symbol W" in fast.outcome.notes[0]
    assert not worked("load-index", **typed, symbol="H").outcome.notes
    assert not worked("load-index", **typed, symbol="V", top_speed="200 km/h").outcome.notes
    # Up to 210 km/h the symbol makes no difference.
    assert number(worked("load-index", **typed, top_speed="180 km/h"), "carries", "kg") == 1230


@pytest.mark.outside("UN R30, load above 210 km/h (from memory): V 91 % at 240, W 85 % at 270, Y 85 % at 300")
@pytest.mark.parametrize(
    ("symbol", "speed", "least", "most"),
    [
        ("", None, 0.85, 1), ("", 210, 1, 1), ("", 250, 0.91, 1), ("V", None, 0.91, 1), ("W", None, 0.85, 1),
        ("T", None, 1, 1), ("H", 240, 1, 1), ("V", 240, 0.91, 0.91), ("V", 280, 0.91, 0.91), ("Y", 280, 0.95, 0.95),
    ],
)  # fmt: skip
def test_the_share_that_may_count(published, symbol, speed, least, most):
    low, high = share_range(symbol, speed)
    published.close(low, least, rel=1e-9)
    published.close(high, most, rel=1e-9)


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"top_speed": "250 km/h", "symbol": "V"}, "top_speed"),
        ({"symbol": "?"}, "symbol"),
        ({"top_speed": "250 km/h"}, "symbol"),
        ({"index": "20"}, "index"),
        ({"index": "91.5"}, "index"),
    ],
)
def test_load_inputs_that_are_refused(more, field):
    with pytest.raises(InputErrors) as refused:
        worked("load-index", **{"index": "91", "tyres": "2", "axle_load": "1000 kg", **more})
    assert list(refused.value.errors) == [field]


def test_a_wheel_of_another_width_and_offset_worked_by_hand():
    # 6.5 J ET45 to 8 J ET35 with a 5 mm spacer: 15 mm outwards each, 1.5 in wider, so 19.05 mm to each side.
    result = worked(
        "wheel-offset",
        width_from="6.5 in", offset_from="45 mm", width_to="8 in", offset_to="35 mm", spacer_to="5 mm", track="1500 mm",
    )  # fmt: skip
    assert number(result, "track_change", "mm") == pytest.approx(30)
    assert number(result, "outer", "mm") == pytest.approx(34.05)
    assert number(result, "inner", "mm") == pytest.approx(4.05)
    assert number(result, "track_now", "mm") == pytest.approx(1530)
    assert number(result, "share", "%") == pytest.approx(2)
    assert "inner edge moves 4.0 mm inwards" in result.outcome.verdict
    assert "thread" in result.outcome.notes[0]


def test_the_same_wheel_changes_nothing_and_an_impossible_track_is_refused():
    same = {"width_from": "6 in", "offset_from": "40 mm", "width_to": "152.4 mm", "offset_to": "40 mm"}
    result = worked("wheel-offset", **same, spacer_from="0 mm", spacer_to="0 mm")
    assert number(result, "track_change", "mm") == 0
    assert "stays where it was" in result.outcome.verdict
    assert not result.outcome.notes
    assert "track_now" not in result.values


def test_a_track_that_vanishes_is_refused():
    from workshop.engineering.calculators.wheel_offset import work

    mm = [quantity(value, "mm") for value in (150, -150, 150, 150)]
    with pytest.raises(InputErrors, match="no track is left"):
        work(*mm, None, None, quantity(600, "mm"))


@given(*[st.floats(-60, 60)] * 2, *[st.floats(100, 300)] * 2, st.floats(0, 30))
def test_the_edges_move_apart_by_the_widths(old, new, width, wider, spacer):
    mm = [quantity(value, "mm") for value in (width, wider, old, new, spacer)]
    outer, inner = edges_moved(*mm)
    assert magnitude(outer + inner, "mm") == pytest.approx(wider - width, abs=1e-9)
    assert magnitude(outer - inner, "mm") == pytest.approx(magnitude(track_change(*mm[2:]), "mm"), abs=1e-9)
