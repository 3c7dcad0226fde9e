"""Threads, stress areas and proof loads against ISO 898-1."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.threads import (
    PROPERTY_CLASSES,
    THREADS,
    Thread,
    UnknownPropertyClass,
    UnknownThread,
    proof_load,
    property_class,
    strength_of,
    thread,
)

# size: pitch, d2, d3, As mm², proof load N of 8.8, 10.9, 12.9. Copied here on its own, so that a slip of
# the finger in the module's table shows.
COARSE = {
    "M5": (0.8, 4.480, 4.019, 14.2, 8230, 11800, 13800),
    "M6": (1.0, 5.350, 4.773, 20.1, 11600, 16700, 19500),
    "M8": (1.25, 7.188, 6.466, 36.6, 21200, 30400, 35500),
    "M10": (1.5, 9.026, 8.160, 58.0, 33700, 48100, 56300),
    "M12": (1.75, 10.863, 9.853, 84.3, 48900, 70000, 81800),
    "M14": (2.0, 12.701, 11.546, 115, 66700, 95500, 112000),
    "M16": (2.0, 14.701, 13.546, 157, 91000, 130000, 152000),
    # From memory.
    "M20": (2.5, 18.376, 16.933, 245, 147000, 203000, 238000),
    "M24": (3.0, 22.051, 20.319, 353, 212000, 293000, 342000),
}
FINE = {
    "M8x1": (39.2, 22700, 32500, 38000),
    "M10x1": (64.5, 37400, 53500, 62700),
    "M10x1.25": (61.2, 35500, 50800, 59400),
    "M12x1.25": (92.1, 53400, 76400, 89300),
    "M12x1.5": (88.1, 51100, 73100, 85500),
    "M14x1.5": (125, 72500, 104000, 121000),
    "M16x1.5": (167, 96900, 139000, 162000),
    "M18x1.5": (216, 130000, 179000, 210000),
    "M20x1.5": (272, 163000, 226000, 264000),
    "M22x1.5": (333, 200000, 276000, 323000),
}


@pytest.mark.outside("ISO 724 and ISO 262, coarse thread: pitch, pitch diameter, core diameter")
@pytest.mark.parametrize("size", COARSE)
def test_coarse_geometry(published, size):
    pitch, d2, d3, *_ = COARSE[size]
    of = thread(size)
    published.same(float(of.pitch), pitch)
    published.close(of.pitch_diameter, d2, within=0.0006, unit="mm")
    published.close(of.minor_diameter, d3, within=0.0006, unit="mm")


@pytest.mark.outside("ISO 898-1:2013, tables 4 and 6: nominal stress areas")
@pytest.mark.parametrize(
    ("size", "area"), [(s, row[3]) for s, row in COARSE.items()] + [(s, row[0]) for s, row in FINE.items()]
)
def test_stress_areas(published, size, area):
    published.close(thread(size).stress_area, area, rel=0.005, unit="mm²")
    assert thread(size).stress_area_table == D(str(area))


@pytest.mark.outside("ISO 898-1:2013, table 5: proof loads, coarse thread (above M16 from memory)")
@pytest.mark.parametrize("size", COARSE)
def test_coarse_proof_loads(published, size):
    of = thread(size)
    for code, load in zip(("8.8", "10.9", "12.9"), COARSE[size][4:], strict=True):
        published.close(
            of.stress_area_table * strength_of(of, code).proof, load, rel=0.006, unit="N", what=code
        )
        assert proof_load(of, code) == load


# The fine table is from memory; it equals the stress area in three figures times the proof stress.
@pytest.mark.outside("ISO 898-1:2013, table 7: proof loads, fine thread (from memory)")
@pytest.mark.parametrize("size", FINE)
def test_fine_proof_loads(published, size):
    of = thread(size)
    for code, load in zip(("8.8", "10.9", "12.9"), FINE[size][1:], strict=True):
        published.close(
            of.stress_area_table * strength_of(of, code).proof, load, rel=0.006, unit="N", what=code
        )
        assert proof_load(of, code) == load


@pytest.mark.outside("ISO 898-1, table 3: proof stress over least yield")
@pytest.mark.parametrize(
    ("code", "ratio"),
    [("4.6", 0.94), ("5.6", 0.93), ("5.8", 0.90), ("6.8", 0.92), ("8.8", 0.91), ("9.8", 0.90), ("10.9", 0.88),
     ("12.9", 0.88)],
)  # fmt: skip
def test_proof_over_yield(published, code, ratio):
    strength = property_class(code)
    published.close(strength.proof / strength.yield_, ratio, within=0.0051)


@pytest.mark.outside(
    "ISO 898-1:2013, table 3: proof stress, least yield, least tensile strength, d up to 16 mm (below 8.8 from memory)"
)
@pytest.mark.parametrize(
    ("code", "row"),
    [
        ("4.6", (225, 240, 400)),
        ("5.6", (280, 300, 500)),
        ("5.8", (380, 420, 520)),
        ("6.8", (440, 480, 600)),
        ("8.8", (580, 640, 800)),
        ("9.8", (650, 720, 900)),
        ("10.9", (830, 940, 1040)),
        ("12.9", (970, 1100, 1220)),
    ],
)
def test_strengths(published, code, row):
    strength = property_class(code)
    for here, there in zip((strength.proof, strength.yield_, strength.tensile), row, strict=True):
        published.close(here, there, rel=1e-9, unit="MPa")
    # The marking names the nominal strengths, which the least ones of the table reach.
    first, second = map(int, code.split("."))
    assert strength.tensile >= first * 100
    assert strength.yield_ >= first * second * 10


def test_class_9_8_is_computed_because_the_table_has_no_loads_for_it():
    assert proof_load(thread("M10"), "9.8") == 58 * 650


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("M10", "M10"),
        ("m10", "M10"),
        (" M 10 ", "M10"),
        ("M10x1.5", "M10"),
        ("M10×1,25", "M10×1.25"),
        ("M10 X 1.25", "M10×1.25"),
        ("M10-1.25", "M10×1.25"),
        ("M10*1.0", "M10×1"),
        ("M8x1", "M8×1"),
    ],
)
def test_ways_to_write_a_thread(written, name):
    assert thread(written) is THREADS[name]


@pytest.mark.parametrize(
    "written", ["", "10", "M10x1.1", "M11", "M30", "UNF 3/8", "M10x", "M10x1.25x50", "M１０"]
)
def test_unknown_threads_are_refused_with_what_is_known(written):
    with pytest.raises(UnknownThread, match=r"M10×1\.25"):
        thread(written)


def test_property_classes_as_written():
    assert property_class(" 10,9 ") is PROPERTY_CLASSES["10.9"]
    with pytest.raises(UnknownPropertyClass, match=r"8\.8, 9\.8"):
        property_class("3.6")
    with pytest.raises(UnknownPropertyClass):
        proof_load(thread("M10"), "A2-70")


@given(
    st.decimals(min_value=5, max_value=39, places=1),
    st.decimals(min_value=D("0.2"), max_value=3, places=2),
    st.decimals(min_value=D("0.1"), max_value=D("0.9"), places=2),
)
def test_stress_area_grows_with_diameter_and_shrinks_with_pitch(diameter, pitch, more):
    def area(d, p):
        return Thread("", d, p, True, D(1)).stress_area

    assert area(diameter + more, pitch) > area(diameter, pitch) > area(diameter, pitch + more)


@pytest.mark.outside("ISO 898-1:2013, table 3: class 8.8 above 16 mm (from memory)")
def test_class_8_8_above_16_mm(published):
    strength = strength_of(thread("M20"), "8.8")
    published.same(tuple(map(int, (strength.proof, strength.yield_, strength.tensile))), (600, 660, 830))
    assert strength_of(thread("M16"), "8.8") is PROPERTY_CLASSES["8.8"]
    assert strength_of(thread("M24"), "10.9") is PROPERTY_CLASSES["10.9"]


def test_class_9_8_ends_at_16_mm():
    with pytest.raises(UnknownPropertyClass, match=r"up to M16 only, not to M18×1\.5"):
        proof_load(thread("M18x1.5"), "9.8")


# From memory.
HEADS = {"M18x1.5": (25.34, 20), "M20": (28.19, 22), "M22x1.5": (31.71, 24), "M24": (33.61, 26)}


@pytest.mark.outside("ISO 4014, smallest washer face dw of grade A, and ISO 273, medium (from memory)")
@pytest.mark.parametrize("name", HEADS)
def test_heads_above_16_mm(published, name):
    face, hole = HEADS[name]
    published.close(thread(name).washer_face, face, within=0.001, unit="mm")
    published.close(thread(name).clearance_hole, hole, within=0.001, unit="mm")
