"""How a pattern is drawn: every fastener inside the box, none over another, and a cross sequence for free
places.
"""

from __future__ import annotations

from math import cos, hypot, sin, tau

import pytest

from workshop.engineering.pattern_drawing import SMALLEST, SPACING, drawn
from workshop.engineering.patterns import Pattern, PatternError, cross_sequence, star_sequence

SHAPES = [
    (Pattern.CIRCLE, 1, None, None),
    (Pattern.CIRCLE, 2, None, None),
    (Pattern.CIRCLE, 5, None, None),
    (Pattern.CIRCLE, 8, None, None),
    (Pattern.CIRCLE, 24, None, None),
    (Pattern.LINE, 1, None, None),
    (Pattern.LINE, 2, None, None),
    (Pattern.LINE, 7, None, None),
    (Pattern.LINE, 12, None, None),
    (Pattern.GRID, 10, 2, 5),
    (Pattern.GRID, 12, 4, 3),
    (Pattern.FREE, 7, None, None),
]


@pytest.mark.parametrize(("pattern", "n", "rows", "cols"), SHAPES)
def test_every_fastener_is_drawn_inside_and_clear_of_the_others(pattern, n, rows, cols):
    found = drawn(pattern, n, rows, cols)
    left, top, width, height = map(float, found.view_box.split())
    reach = 7.8 * found.size  # from the middle of a hexagon to its corner
    assert [spot.fastener for spot in found.spots] == list(range(1, n + 1))
    for spot in found.spots:
        assert left <= spot.x - reach <= spot.x + reach <= left + width
        assert top <= spot.y - reach <= spot.y + reach <= top + height
    for one in found.spots:
        for other in found.spots:
            if one.fastener < other.fastener:
                assert hypot(one.x - other.x, one.y - other.y) >= 2 * reach, "they touch"


def test_the_one_that_is_next_stays_large_where_there_are_many():
    found = drawn(Pattern.CIRCLE, 60)
    assert found.size == SMALLEST
    assert found.next_size == pytest.approx(1.6 * found.size)
    assert drawn(Pattern.CIRCLE, 8).next_size > drawn(Pattern.CIRCLE, 8).size


def test_a_row_is_drawn_low_and_a_circle_square():
    row, circle = drawn(Pattern.LINE, 6), drawn(Pattern.CIRCLE, 6)
    assert row.height < row.width / 2
    assert circle.height == circle.width
    assert drawn(Pattern.GRID, 10, 2, 5).size * SPACING <= 20.001  # as much room as between its columns


def test_the_way_follows_the_sequence():
    found = drawn(Pattern.LINE, 3, sequence=(2, 1, 3))
    assert [spot.turn for spot in found.spots] == [2, 1, 3]
    xs = [float(point.split(",")[0]) for point in found.way.split()]
    assert xs == sorted(xs[:1]) + xs[1:]
    assert xs[1] < xs[0] < xs[2]
    assert drawn(Pattern.LINE, 2, sequence=(2, 1)).way == ""


def test_a_shape_that_does_not_hold_them_is_refused():
    with pytest.raises(PatternError, match="2 rows of 3 make 6 fasteners, not 5"):
        drawn(Pattern.GRID, 5, 2, 3)


@pytest.mark.parametrize("n", [3, 4, 5, 8, 9])
def test_crosswise_on_free_places_is_crosswise_on_the_circle_they_stand_on(n):
    """Opposite fasteners one after the other: common practice, no source. Numbered round, it is the
    circle's own.
    """
    on_a_circle = [(0.5 + 0.4 * sin(tau * i / n), 0.5 - 0.4 * cos(tau * i / n)) for i in range(n)]
    assert cross_sequence(on_a_circle) == star_sequence(n)
    shuffled = on_a_circle[::-1]
    assert sorted(cross_sequence(shuffled)) == list(range(1, n + 1))


def test_crosswise_goes_to_the_other_side():
    """Four bolts at the corners of a rectangle, numbered row by row: from one to the one across."""
    order = cross_sequence([(0.1, 0.2), (0.9, 0.2), (0.1, 0.8), (0.9, 0.8)])
    pairs = {frozenset(order[:2]), frozenset(order[2:])}
    assert pairs == {frozenset((1, 4)), frozenset((2, 3))}


def test_free_places_are_drawn_where_they_are():
    found = drawn(Pattern.FREE, 3, points=[(0, 0), (1, 0), (0.5, 1)])
    assert [spot.fastener for spot in found.spots] == [1, 2, 3]
    assert found.spots[2].y > found.spots[0].y == found.spots[1].y
