"""Tightening sequences. The lists are common practice, no source: a maker's drawing goes first."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.patterns import (
    Pattern,
    PatternError,
    check_sequence,
    default_sequence,
    next_fastener,
    out_of_sequence,
    positions,
    star_sequence,
)


@pytest.mark.parametrize(
    ("n", "sequence"),
    [
        (1, [1]),
        (2, [1, 2]),
        (3, [1, 2, 3]),
        (4, [1, 3, 2, 4]),
        (5, [1, 3, 5, 2, 4]),
        (6, [1, 4, 2, 5, 3, 6]),
        (8, [1, 5, 3, 7, 2, 6, 4, 8]),
        (10, [1, 6, 3, 8, 5, 10, 2, 7, 4, 9]),
    ],
)
def test_star(n, sequence):
    assert list(star_sequence(n)) == sequence


@given(st.integers(5, 200))
def test_star_never_goes_to_a_neighbour(n):
    sequence = star_sequence(n)
    assert sorted(sequence) == list(range(1, n + 1))
    steps = [abs(a - b) for a, b in pairwise(sequence)]
    assert all(1 < step < n - 1 for step in steps)


def test_line_and_grid_go_outwards_from_the_middle():
    assert default_sequence(Pattern.LINE, 5) == (3, 2, 4, 1, 5)
    assert default_sequence(Pattern.LINE, 4) == (2, 3, 1, 4)
    # A head with two rows of five: the middle pair first, the corners last.
    head = default_sequence(Pattern.GRID, 10, rows=2, cols=5)
    assert head[:2] == (3, 8)
    assert set(head[2:6]) == {2, 4, 7, 9}
    assert set(head[6:]) == {1, 5, 6, 10}
    assert default_sequence(Pattern.FREE, 3) == (1, 2, 3)


@given(st.integers(1, 12), st.integers(1, 12), st.sampled_from(Pattern))
def test_defaults_are_permutations_drawn_apart_and_inside(rows, cols, pattern):
    n = rows * cols
    assert check_sequence(default_sequence(pattern, n, rows, cols), n)
    places = positions(pattern, n, rows, cols)
    assert [p.fastener for p in places] == list(range(1, n + 1))
    assert len({(round(p.x, 6), round(p.y, 6)) for p in places}) == n
    assert all(0 < p.x < 1 and 0 < p.y < 1 for p in places)


def test_a_circle_starts_at_the_top_and_goes_clockwise():
    top, right, bottom, left = positions(Pattern.CIRCLE, 4)
    assert (top.x, top.y) == pytest.approx((0.5, 0.1))
    assert (right.x, right.y) == pytest.approx((0.9, 0.5))
    assert (bottom.x, bottom.y) == pytest.approx((0.5, 0.9))
    assert (left.x, left.y) == pytest.approx((0.1, 0.5))


def test_what_comes_next():
    star = star_sequence(5)
    assert next_fastener(star, set()) == 1
    assert next_fastener(star, {1, 3}) == 5
    assert next_fastener(star, {1, 5}) == 3
    assert next_fastener(star, {1, 2, 3, 4, 5}) is None
    assert not out_of_sequence(star, {1}, 3)
    assert out_of_sequence(star, {1}, 2)
    assert not out_of_sequence(star, {1, 3}, 1), "tightened again, not before its turn"
    with pytest.raises(PatternError, match="no fastener 6"):
        out_of_sequence(star, {1}, 6)


@pytest.mark.parametrize(
    ("sequence", "n", "match"),
    [
        ([1, 2, 2], 3, "leaves out 3"),
        ([1, 2, 3, 3], 3, "3 more than once"),
        ([1, 2, 4, 3], 3, "names 4"),
        ([0, 1, 2], None, "leaves out 3"),
        ([], None, "1 to 200"),
    ],
)
def test_what_is_no_permutation_is_refused(sequence, n, match):
    with pytest.raises(PatternError, match=match):
        check_sequence(sequence, n)


@pytest.mark.parametrize(
    ("n", "rows", "cols"), [(0, 1, 1), (201, 1, 201), (7, 2, 3), (7, 2, None), (4, None, None), (4, 0, 4)]
)
def test_what_is_no_grid_is_refused(n, rows, cols):
    with pytest.raises(PatternError):
        default_sequence(Pattern.GRID, n, rows, cols)
