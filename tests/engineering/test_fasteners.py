"""Preload and tightening to yield, against a published table of VDI 2230."""

from decimal import Decimal as D

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from workshop.engineering.fasteners import (
    NUT_FACTORS,
    THREADS,
    FastenerError,
    friction_of,
    friction_torque,
    friction_torque_exact,
    preload_from_torque,
    proof_share,
    question_units,
    thread,
    torque_conversions,
    torque_from_preload,
    yield_preload,
    yield_torque,
)
from workshop.engineering.units import Amount, UnitError

# VDI 2230-1, 2001 edition, fine thread, 90 % of yield, as in a fastener distributor's catalogue:
# thread, friction, FM in kN for 8.8, 10.9, 12.9, MA in N·m for the same.
VDI_FINE = [
    ("M8x1", "0.10", 20.7, 30.4, 35.6, 22.8, 33.5, 39.2),
    ("M8x1", "0.12", 20.2, 29.7, 34.7, 26.1, 38.3, 44.9),
    ("M8x1", "0.14", 19.7, 28.9, 33.9, 29.2, 42.8, 50.1),
    ("M10x1.25", "0.10", 32.4, 47.5, 55.6, 44, 65, 76),
    ("M10x1.25", "0.12", 31.6, 46.4, 54.3, 51, 75, 87),
    ("M10x1.25", "0.14", 30.8, 45.2, 52.9, 57, 83, 98),
    ("M12x1.25", "0.10", 49.1, 72.1, 84.4, 79, 116, 135),
    ("M12x1.25", "0.12", 48.0, 70.5, 82.5, 90, 133, 155),
    ("M12x1.25", "0.14", 46.8, 68.7, 80.4, 101, 149, 174),
    ("M14x1.5", "0.10", 66.4, 97.5, 114.1, 124, 182, 213),
    ("M14x1.5", "0.12", 64.8, 95.2, 111.4, 142, 209, 244),
    ("M14x1.5", "0.14", 63.2, 92.9, 108.7, 159, 234, 274),
    ("M16x1.5", "0.10", 89.6, 131.6, 154.0, 189, 278, 325),
    ("M16x1.5", "0.12", 87.6, 128.7, 150.6, 218, 320, 374),
    ("M16x1.5", "0.14", 85.5, 125.5, 146.9, 244, 359, 420),
]


@pytest.mark.outside("VDI 2230-1:2001, table of fine threads at 90 % of yield (a distributor's catalogue)")
@pytest.mark.parametrize("row", VDI_FINE, ids=lambda row: f"{row[0]} µ {row[1]}")
def test_preload_and_torque_at_90_percent_of_yield(published, row):
    size, mu, *numbers = row
    of, friction = thread(size), D(mu)
    for code, force, torque in zip(("8.8", "10.9", "12.9"), numbers[:3], numbers[3:], strict=True):
        published.close(yield_preload(of, code, friction) / 1000, force, rel=0.004, unit="kN", what=code)
        # The table's torques stand in whole N·m above 40: half of one is 1.2 % of 44.
        published.close(yield_torque(of, code, friction), torque, rel=0.012, unit="N·m", what=code)


@pytest.mark.outside("VDI 2230-1, M12 8.8 at µ 0.14 (a distributor's worked example)")
def test_coarse_preload(published):
    published.close(yield_preload(thread("M12"), "8.8", D("0.14")) / 1000, 41.9, rel=0.003, unit="kN")


@pytest.mark.parametrize(
    ("torque", "nut_factor", "percent", "questioned"),
    # Worked by hand: F = T/(K·d) over the table's 21 200 N.
    [("36", "0.1649", "128.7", True), ("24.57", "0.1649", "87.9", False)],
)
def test_share_of_proof_load(torque, nut_factor, percent, questioned):
    found = proof_share(D(torque), D(nut_factor), thread("M8"), "8.8")
    assert found.share * 100 == pytest.approx(D(percent), rel=D("0.001"))
    assert found.proof_load_N == 21200
    assert found.questioned is questioned
    assert f"{percent} % of its proof load 21.2 kN" in found.sentence
    assert ("Compare" in found.sentence) is questioned


def test_exactly_the_proof_load_is_not_questioned():
    torque = torque_from_preload(D(33700), D("0.2"), D(10))
    assert proof_share(torque, D("0.2"), thread("M10"), "8.8").share == 1
    assert not proof_share(torque, D("0.2"), thread("M10"), "8.8").questioned
    assert proof_share(torque + D("0.01"), D("0.2"), thread("M10"), "8.8").questioned


def test_short_form_worked_by_hand():
    preload = D("0.75") * 58 * 580
    for nut_factor, torque in (("0.20", "50.46"), ("0.15", "37.85"), ("0.12", "30.28")):
        assert torque_from_preload(preload, D(nut_factor), D(10)) == pytest.approx(D(torque), rel=D("0.001"))


def test_friction_forms_worked_by_hand():
    numbers = (D(25000), thread("M10"), D("0.12"), D("0.14"), D("12.815"))
    assert friction_torque(*numbers) == pytest.approx(D("44.045"), rel=D("0.001"))
    assert friction_torque_exact(*numbers) == pytest.approx(D("44.177"), rel=D("0.001"))


def test_another_unit_is_offered_where_it_would_fit():
    # 30 lbf·ft is too much for an M8 8.8; 30 N·m would be usual, 30 lbf·in next to nothing.
    assert question_units(D(30), "lbf.ft", thread("M8"), "8.8", D("0.2")) == ["N.m"]
    assert question_units(D(25), "N.m", thread("M8"), "8.8", D("0.2")) == []
    assert question_units(D(150), "N.m", thread("M8"), "8.8", D("0.2")) == ["lbf.in", "kgf.cm"]
    with pytest.raises(UnitError):
        question_units(D(25), "N", thread("M8"), "8.8", D("0.2"))


def test_torque_conversions():
    found = torque_conversions(Amount(D(100), "N.m"))
    assert set(found) == {"lbf.ft", "lbf.in", "kgf.m", "kgf.cm"}
    assert found["lbf.ft"].value == pytest.approx(D("73.756215"), rel=D("1e-6"))
    with pytest.raises(UnitError, match="no torque"):
        torque_conversions(Amount(D(100), "N"))


def test_nut_factors_name_their_source_and_lie_in_their_range():
    for code, factor in NUT_FACTORS.items():
        assert code == factor.code
        assert factor.low <= factor.value <= factor.high
        assert factor.source


@pytest.mark.parametrize("numbers", [(0, "0.2", 10), (50, "0", 10), (50, "0.2", -1), ("nan", "0.2", 10)])
def test_impossible_inputs_are_refused(numbers):
    with pytest.raises(FastenerError):
        preload_from_torque(*map(D, numbers))


@given(
    st.sampled_from(sorted(THREADS)),
    st.sampled_from(["8.8", "9.8", "10.9", "12.9"]),
    st.integers(80, 200),
    st.integers(1, 30),
)
def test_more_friction_means_less_preload_for_more_torque(name, code, mu, more):
    of, low, high = THREADS[name], D(mu) / 1000, D(mu + more) / 1000
    assume(code != "9.8" or of.diameter <= 16)
    assert yield_preload(of, code, high) < yield_preload(of, code, low)
    assert yield_torque(of, code, high) > yield_torque(of, code, low)


@given(st.sampled_from(sorted(THREADS)), st.integers(100, 140))
def test_the_nut_factor_of_the_full_form_stays_near_the_usual_ones(name, mu):
    of, friction = THREADS[name], D(mu) / 1000
    nut_factor = yield_torque(of, "8.8", friction) * 1000 / (yield_preload(of, "8.8", friction) * of.diameter)
    assert D("0.12") <= nut_factor <= D("0.21")


@given(
    st.decimals(min_value=1, max_value=500, places=1),
    st.decimals(min_value=D("0.1"), max_value=D("0.3"), places=2),
)
def test_torque_and_preload_are_inverse(torque, nut_factor):
    back = torque_from_preload(preload_from_torque(torque, nut_factor, D(12)), nut_factor, D(12))
    assert back == pytest.approx(torque, rel=D("1e-20"))


@given(st.sampled_from(sorted(THREADS)), st.integers(40, 300))
def test_the_friction_of_a_nut_factor_goes_there_and_back(name, mu):
    of, friction = THREADS[name], D(mu) / 1000
    torque = friction_torque(D(1000), of, friction, friction, of.head_bearing_mean)
    nut_factor = torque / of.diameter
    assert friction_of(nut_factor, of) == pytest.approx(friction, rel=D("1e-9"))


def test_the_friction_of_a_tiny_nut_factor_is_never_nothing():
    assert friction_of(D("0.01"), thread("M10")) == D("0.01")
    with pytest.raises(FastenerError):
        friction_of(D(0), thread("M10"))
