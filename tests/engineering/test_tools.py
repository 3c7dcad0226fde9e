"""Torque tool classes of ISO 6789-1:2017."""

from decimal import Decimal as D

import pytest

from workshop.engineering.tools import TOOL_CLASSES, ToolError, permissible_deviation, working_range


# Type II class A was seen in a tool maker's manual that reviews the standard.
@pytest.mark.outside("ISO 6789-1:2017, maximum permissible deviation, Type II class A")
@pytest.mark.parametrize(("top", "percent"), [("5", "6"), ("10", "6"), ("10.01", "4"), ("200", "4")])
def test_click_wrench(published, top, percent):
    published.same(permissible_deviation("II-A", D(top)), D(percent))


# From memory, low confidence beyond class II A: the certificate decides.
@pytest.mark.parametrize(
    ("code", "small", "large"),
    [
        ("I-A", 6, 6),
        ("I-B", 6, 4),
        ("I-C", 6, 4),
        ("I-D", 6, 6),
        ("I-E", 6, 4),
        ("II-B", 6, 4),
        ("II-C", 6, 4),
        ("II-D", 6, 6),
        ("II-E", 6, 6),
        ("II-F", 6, 6),
        ("II-G", 6, 6),
    ],
)
def test_other_classes(code, small, large):
    assert permissible_deviation(code, D(10)) == small
    assert permissible_deviation(code, D(100)) == large


@pytest.mark.outside("ISO 6789-1:2017, types and class letters (as given in an article on the edition)")
def test_class_letters(published):
    published.same([c for c in TOOL_CLASSES if c.startswith("I-")], [f"I-{x}" for x in "ABCDE"])
    published.same([c for c in TOOL_CLASSES if c.startswith("II-")], [f"II-{x}" for x in "ABCDEFG"])
    assert all(c.sets == c.code.startswith("II-") for c in TOOL_CLASSES.values())


def test_range_from_the_certificate_goes_before_the_fallback():
    fallback = working_range(D(200))
    assert (fallback.low, fallback.high, fallback.from_certificate) == (40, 200, False)
    assert fallback.sentence == "40 to 200 N·m, 20 to 100 % of its highest torque"
    certified = working_range(D(200), (D("25"), D(200)))
    assert certified.holds(D(25))
    assert not certified.holds(D("24.99"))
    assert certified.holds(D(200))
    assert not certified.holds(D("200.01"))
    assert certified.sentence == "25 to 200 N·m, from its certificate"


@pytest.mark.parametrize(
    ("top", "certificate"),
    [
        (D(0), None),
        (D("nan"), None),
        (D(200), (D(50), D(50))),
        (D(200), (D(100), D(50))),
        (D(200), (D(20), D(210))),
    ],
)
def test_impossible_ranges_are_refused(top, certificate):
    with pytest.raises(ToolError):
        working_range(top, certificate)


def test_unknown_class_and_zero_torque_are_refused():
    with pytest.raises(ToolError, match="no class"):
        permissible_deviation("III-A", D(100))
    with pytest.raises(ToolError, match="above zero"):
        permissible_deviation("II-A", D(0))
