"""Verdicts on torque readings: published decision rule, limits, and what must hold for any number."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.units import Amount
from workshop.engineering.verdict import (
    DecisionRule,
    Limits,
    LimitsError,
    ReadingError,
    Verdict,
    judge,
    proven_range,
    widest_provable_deviation,
    with_running_torque,
)

torques = st.decimals(min_value=D("0.1"), max_value=D(2000), places=2)
deviations = st.decimals(min_value=D(0), max_value=D(20), places=1)


@st.composite
def limits(draw):
    low, high = sorted([draw(torques), draw(torques)])
    return draw(st.sampled_from([Limits(low, high), Limits(low, None), Limits(None, high)]))


@pytest.mark.outside(
    "ISO 14253-1, guard band with the deviation of ISO 6789-1:2017 (formula from memory, rows worked by hand)"
)
@pytest.mark.parametrize(
    ("value", "percent", "low", "high"),
    [
        ("100", "4", "96.153846", "104.166667"),
        ("100", "6", "94.339623", "106.382979"),
        ("8", "6", "7.547170", "8.510638"),
    ],
)
def test_where_the_true_torque_lies(published, value, percent, low, high):
    found = judge(D(value), Limits(D(1), D(999)), D(percent))
    published.close(found.true_low, D(low), rel=1e-6, unit="N·m")
    published.close(found.true_high, D(high), rel=1e-6, unit="N·m")


@pytest.mark.outside(
    "ISO 14253-1, guard band with the deviation of ISO 6789-1:2017 (formula from memory, rows worked by hand)"
)
def test_verdicts_and_proven_ranges(published):
    wide, narrow = Limits(D(90), D(110)), Limits(D(96), D(104))
    published.same(judge(D(100), wide, D(4)).verdict, Verdict.WITHIN)
    published.same(judge(D(100), narrow, D(4)).verdict, Verdict.NOT_PROVEN)
    proven = proven_range(wide, D(4))
    published.close(proven.low, D("93.60"), rel=1e-6, unit="N·m")
    published.close(proven.high, D("105.60"), rel=1e-6, unit="N·m")
    point = proven_range(narrow, D(4))
    published.close(point.low, D("99.84"), rel=1e-6, unit="N·m")
    published.close(point.high, D("99.84"), rel=1e-6, unit="N·m")


def test_a_single_provable_point_is_within_and_its_neighbours_are_not():
    narrow = Limits(D(96), D(104))
    assert judge(D("99.84"), narrow, D(4)).verdict is Verdict.WITHIN
    assert judge(D("99.83"), narrow, D(4)).verdict is Verdict.NOT_PROVEN
    assert judge(D("99.85"), narrow, D(4)).verdict is Verdict.NOT_PROVEN
    assert widest_provable_deviation(narrow) == 4
    assert proven_range(narrow, D("4.01")) is None


@pytest.mark.parametrize(
    ("value", "rule", "verdict"),
    [
        ("89.99", DecisionRule.GUARDED, Verdict.BELOW),
        ("90", DecisionRule.GUARDED, Verdict.NOT_PROVEN),
        ("93.6", DecisionRule.GUARDED, Verdict.WITHIN),
        ("105.6", DecisionRule.GUARDED, Verdict.WITHIN),
        ("110", DecisionRule.GUARDED, Verdict.NOT_PROVEN),
        ("110.01", DecisionRule.GUARDED, Verdict.ABOVE),
        ("90", DecisionRule.PLAIN, Verdict.WITHIN),
        ("110", DecisionRule.PLAIN, Verdict.WITHIN),
        ("89.99", DecisionRule.PLAIN, Verdict.BELOW),
        ("110.01", DecisionRule.PLAIN, Verdict.ABOVE),
    ],
)
def test_limits_are_inclusive(value, rule, verdict):
    found = judge(D(value), Limits.around(D(100), D(10)), D(4), rule)
    assert found.verdict is verdict
    assert found.rule is rule


def test_open_limits():
    assert judge(D(60), Limits.at_least(D(60))).verdict is Verdict.WITHIN
    assert judge(D(60), Limits.at_least(D(60)), D(4)).verdict is Verdict.NOT_PROVEN
    assert judge(D("62.4"), Limits.at_least(D(60)), D(4)).verdict is Verdict.WITHIN
    assert judge(D("57.6"), Limits.at_most(D(60)), D(4)).verdict is Verdict.WITHIN
    assert judge(D("57.7"), Limits.at_most(D(60)), D(4)).verdict is Verdict.NOT_PROVEN
    assert widest_provable_deviation(Limits.at_least(D(60))) is None


def test_running_torque_is_added_to_both_limits():
    assert with_running_torque(Limits(D(40), D(50)), D("3.5")) == Limits(D("43.5"), D("53.5"))
    assert with_running_torque(Limits.at_least(D(40)), D(3)) == Limits(D(43), None)
    with pytest.raises(ReadingError):
        with_running_torque(Limits(D(40), D(50)), D(-1))


def test_ways_to_write_limits():
    assert Limits.around(D(100), D(5), D(10)) == Limits(D(90), D(105))
    assert Limits.around_percent(D(120), D(10)) == Limits(D(108), D(132))
    assert Limits.between(D(1), D(1)) == Limits(D(1), D(1))
    assert [str(x) for x in (Limits(D(90), D("110.50")), Limits.at_least(D(60)), Limits.at_most(D(5)))] == [
        "90 to 110.5",
        "at least 60",
        "at most 5",
    ]


def test_what_can_not_be_judged_is_refused():
    for low, high in ((None, None), (D(2), D(1)), (D("nan"), None)):
        with pytest.raises(LimitsError):
            Limits(low, high)
    with pytest.raises(LimitsError):
        Limits.around(D(100), D(-5))
    for value in (D(0), D(-5), D("nan"), D("inf")):
        with pytest.raises(ReadingError):
            judge(value, Limits.at_least(D(1)))
    for percent in (D(-1), D(100), D("nan")):
        with pytest.raises(ReadingError):
            judge(D(1), Limits.at_least(D(1)), percent)


def test_sentences_carry_the_numbers_with_their_unit():
    wide = Limits(D(90), D(110))
    assert judge(D(85), wide, D(4)).sentence == "85 N·m is below the lowest accepted value 90 N·m."
    assert judge(D(120), wide, D(4)).sentence == "120 N·m is above the highest accepted value 110 N·m."
    assert (
        judge(D(92), Limits(D(90), D(100)), unit="deg").sentence == "92° is within the limits (90 to 100°)."
    )
    within = judge(D(100), wide, D(4)).sentence
    assert within == (
        "100 N·m is within the limits (90 to 110 N·m): with ±4 % the true value lies between "
        "96.154 N·m and 104.167 N·m."
    )
    assert "Proven by this tool: 93.6 to 105.6 N·m." in judge(D(91), wide, D(4)).sentence
    assert "No value is proven by this tool" in judge(D(100), Limits(D(97), D(103)), D(4)).sentence
    # Never "90 is below 90".
    near = judge(D("89.9999"), Limits(D(90), None)).sentence
    assert near == "89.9999 N·m is below the lowest accepted value 90 N·m."


def test_sentences_in_the_unit_of_the_tool():
    value, low, high = (Amount(D(x), "lbf.ft").base() for x in (75, 70, 80))
    found = judge(value, Limits(low, high), D(4), shown_in="lbf.ft")
    assert found.value == value
    assert found.sentence.startswith("75 lbf·ft is within the limits (70 to 80 lbf·ft): ")
    assert judge(low, Limits(low, high), shown_in="lbf.ft").verdict is Verdict.WITHIN


def test_a_proven_range_is_rounded_inwards_in_words():
    # Proven from 10.0001 · 1.04 = 10.400104 on: "10.4" would not be proven.
    sentence = judge(D("10.1"), Limits(D("10.0001"), D(20)), D(4)).sentence
    assert "Proven by this tool: 10.401 to 19.2 N·m." in sentence


@given(torques, torques, limits(), deviations)
def test_a_larger_value_is_never_judged_lower(one, other, limits, percent):
    smaller, larger = (judge(v, limits, percent) for v in sorted([one, other]))
    if smaller.verdict is Verdict.ABOVE:
        assert larger.verdict is Verdict.ABOVE
    if larger.verdict is Verdict.BELOW:
        assert smaller.verdict is Verdict.BELOW
    assert smaller.true_low <= larger.true_low


@given(torques, torques, torques, limits(), deviations)
def test_what_lies_between_two_proven_values_is_proven(one, two, three, limits, percent):
    low, middle, high = (judge(v, limits, percent).verdict for v in sorted([one, two, three]))
    if low is high is Verdict.WITHIN:
        assert middle is Verdict.WITHIN


@given(torques, limits(), deviations, deviations)
def test_a_better_tool_never_proves_less(value, limits, one, other):
    better, worse = (judge(value, limits, p).verdict for p in sorted([one, other]))
    if worse is Verdict.WITHIN:
        assert better is Verdict.WITHIN
    plain = judge(value, limits, one, DecisionRule.PLAIN).verdict
    assert (plain is Verdict.WITHIN) == (better in {Verdict.WITHIN, Verdict.NOT_PROVEN})


@given(torques, limits(), deviations)
def test_within_means_that_both_ends_of_the_true_range_are_inside(value, limits, percent):
    found = judge(value, limits, percent)
    tiny = D("1e-40")
    if found.verdict is Verdict.WITHIN:
        assert limits.low is None or found.true_low >= limits.low - tiny
        assert limits.high is None or found.true_high <= limits.high + tiny
    proven = proven_range(limits, percent)
    if found.verdict is Verdict.NOT_PROVEN and proven:
        assert not ((proven.low or 0) <= value <= (proven.high or value))


def test_the_words_of_verdicts_and_rules():
    assert [one.label for one in Verdict] == ["within", "below", "above", "not proven by this tool"]
    assert all("acceptance" in rule.label for rule in DecisionRule)


def test_a_proven_range_that_is_a_single_value_is_shown_with_all_its_digits():
    # 96 to 104 with 4 % leaves 99.84 alone; in lbf·ft that has no end, and is rounded inwards as far as it goes.
    found = judge(D("99"), Limits(D(96), D(104)), D(4), shown_in="N.m")
    assert "99.84" in found.sentence
    in_feet = judge(D("99"), Limits(D(96), D(104)), D(4), shown_in="lbf.ft")
    assert "73.6" in in_feet.sentence


def test_no_deviation_is_looked_for_where_nothing_above_zero_is_allowed():
    with pytest.raises(LimitsError, match="above zero"):
        widest_provable_deviation(Limits(D(-1), D(0)))


@pytest.mark.parametrize(
    ("value", "said"),
    [
        # One decimal tells it from the limit of 72.
        ("66.928", "66.9 N·m is below the lowest accepted value 72 N·m."),
        ("71.94", "71.9 N·m is below the lowest accepted value 72 N·m."),
        # It would be "72 is below 72": one more.
        ("71.96", "71.96 N·m is below the lowest accepted value 72 N·m."),
        ("71.9996", "71.9996 N·m is below the lowest accepted value 72 N·m."),
        # Rounded to 88 it would be said to lie at the limit, which is 88.04.
        ("88.0449", "88.045 N·m is above the highest accepted value 88.04 N·m."),
        ("88.0399", "88 N·m is within the limits (72 to 88.04 N·m)."),
        ("80.123", "80.1 N·m is within the limits (72 to 88.04 N·m)."),
    ],
)
def test_a_worked_out_value_is_said_with_as_many_decimals_as_tell_it_from_the_limit(value, said):
    limits = Limits(D(72), D("88.04"))
    found = judge(D(value), limits, D(4), DecisionRule.PLAIN, fewest_decimals=1)
    assert found.sentence == said


def test_the_true_values_of_a_worked_out_torque_stay_on_their_side_of_the_limits():
    # 74.85 / 1.04 = 71.971: with one decimal it would read as the limit itself.
    found = judge(D("74.85"), Limits(D(72), D("88.04")), D(4), fewest_decimals=1)
    assert found.verdict is Verdict.NOT_PROVEN
    assert "from 71.97 to 78 N·m" in found.sentence.replace(" N·m to", " to")
