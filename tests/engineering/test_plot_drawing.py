"""A plot as shapes: everything inside the frame whatever the figures, nice ticks, words over no other words."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from workshop.engineering.plot import Axis, Band, Line, Mark, Plot
from workshop.engineering.plot_cutting import clipped, cut, height_at, segment, slanted
from workshop.engineering.plot_drawing import STYLES, WIDTH, Drawn, Scale, drawn, sound, ticks
from workshop.engineering.plot_labels import Box, Room, along, text_width, wrapped

FRAME = Box(0, 0, 100, 50)
anything = st.floats(allow_nan=True, allow_infinity=True)
points = st.lists(st.tuples(anything, anything), max_size=8).map(tuple)
words = st.text("abc ü°²−", max_size=60)


def plot(**parts) -> Plot:
    usual = {"slug": "p", "title": "A plot", "x": Axis("Deceleration, g", 0, 1), "y": Axis("Share, %", 0, 60),
             "summary": "It rises."}  # fmt: skip
    return Plot(**{**usual, **parts})


def coordinates(of: Drawn) -> list[tuple[float, float]]:
    """Every place of the drawing that something is drawn at."""
    texts = [piece for curve in of.curves for piece in curve.pieces] + [area.outline for area in of.areas]
    found = [tuple(map(float, pair.split(","))) for text in texts for pair in text.split()]
    found += [dot for curve in of.curves for dot in curve.dots] + list(of.dots)
    for area in of.areas:
        found += [(x, y) for x, top, bottom in area.strokes for y in (top, bottom)]
    for placed in of.words:
        found += [(placed.box.x, placed.box.y), (placed.box.right, placed.box.bottom)]
    found += [(tick.at, of.frame.y) for tick in of.across] + [(of.frame.x, tick.at) for tick in of.up]
    return found


def inside(of: Drawn) -> bool:
    # Coordinates are written with five figures.
    near, frame = 0.02, of.frame
    return all(
        frame.x - near <= x <= frame.right + near and frame.y - near <= y <= frame.bottom + near
        for x, y in coordinates(of)
    )


@given(
    ends=st.tuples(anything, anything, anything, anything),
    lines=st.lists(st.tuples(words, points, st.sampled_from([*STYLES, "unheard-of"])), max_size=4),
    bands=st.lists(st.tuples(words, points, points), max_size=2),
    marks=st.lists(st.tuples(words, st.tuples(anything, anything)), max_size=4),
)
@example(ends=(0.0, 5e-324, -1e-160, 1e-155), lines=[], bands=[], marks=[("m", (1e-320, 0.0))])
def test_whatever_the_figures_every_shape_lies_in_the_frame(ends, lines, bands, marks):
    of = drawn(
        plot(
            x=Axis("x", ends[0], ends[1]),
            y=Axis("y", ends[2], ends[3]),
            lines=tuple(Line(*line) for line in lines),
            bands=tuple(Band(*band) for band in bands),
            marks=tuple(Mark(*mark) for mark in marks),
        )
    )
    assert inside(of)
    assert math.isfinite(of.height)
    assert of.frame.width > 0
    assert len(of.across) >= 2
    assert len(of.up) >= 2


@given(
    lines=st.lists(
        st.lists(st.tuples(st.floats(-0.5, 1.5), st.floats(-30, 90)), min_size=1, max_size=6), max_size=5
    )
)
def test_words_stand_on_no_other_words_and_every_line_is_named_once(lines):
    labels = [f"line {n}" for n in range(len(lines))]
    of = drawn(plot(lines=tuple(Line(label, tuple(p)) for label, p in zip(labels, lines, strict=True))))
    boxes = [placed.box for placed in of.words]
    assert not any(a.meets(b) for n, a in enumerate(boxes) for b in boxes[n + 1 :])
    letters = {key.letter for key in of.keys if key.letter}
    said = [" ".join(placed.lines) for placed in of.words]
    named = [text for text in said if text not in letters] + [key.label for key in of.keys] + list(of.outside)
    assert sorted(named) == sorted(labels)


@given(low=st.floats(-1e12, 1e12), span=st.floats(1e-3, 1e12), wanted=st.integers(2, 8))
def test_ticks_stand_at_steps_of_one_two_or_five(low, span, wanted):
    axis = sound(Axis("", low, low + span), ())
    found = ticks(axis, wanted)
    values = [value for value, _ in found]
    assert 2 <= len(found) <= wanted + 1
    assert values == sorted(values)
    assert axis.low <= values[0]
    assert values[-1] <= axis.high
    if values != [axis.low, axis.high]:
        step = (values[-1] - values[0]) / (len(values) - 1)
        first = step / 10 ** math.floor(math.log10(step) + 1e-6)
        assert min(abs(first - nice) for nice in (1, 2, 5)) < 0.01


@pytest.mark.parametrize(
    ("low", "high", "labels"),
    [
        (0, 1, ["0", "0.2", "0.4", "0.6", "0.8", "1.0"]),
        (0, 60, ["0", "20", "40", "60"]),
        (-1, 1, ["−1.0", "−0.5", "0", "0.5", "1.0"]),
        (0, 7000, ["0", "2000", "4000", "6000"]),
        (0.001, 0.0032, ["0.0010", "0.0015", "0.0020", "0.0025", "0.0030"]),
        (0, 3e8, ["0", "1×10⁸", "2×10⁸", "3×10⁸"]),
        (1e-10, 5e-10, ["1×10⁻¹⁰", "2×10⁻¹⁰", "3×10⁻¹⁰", "4×10⁻¹⁰", "5×10⁻¹⁰"]),
        (-1.5e7, 2.5e7, ["−1×10⁷", "0", "1×10⁷", "2×10⁷"]),
    ],
)
def test_ticks_are_written_with_as_many_decimals_as_their_step_needs(low, high, labels):
    assert [label for _, label in ticks(Axis("", low, high), 5)] == labels


@pytest.mark.parametrize(
    ("axis", "values", "ends"),
    [
        (Axis("", 5, 2), (), (2, 5)),
        (Axis("", 4, 4), (), (3.6, 4.4)),
        (Axis("", 0, 0), (), (-1, 1)),
        (Axis("", math.nan, math.inf), (3.0, math.nan, 7.0), (3, 7)),
        (Axis("", math.nan, math.nan), (), (-1, 1)),
        (Axis("", math.nan, 10), (), (9, 11)),
    ],
)
def test_an_axis_that_cannot_be_drawn_is_mended(axis, values, ends):
    mended = sound(axis, values)
    assert (mended.low, mended.high) == pytest.approx(ends)


def test_a_line_is_cut_where_it_leaves_the_frame_and_comes_back():
    # By hand: y = 2x − 50 in a frame 100 × 50 meets the lower edge y = 0 at x = 25 and the upper y = 50 at x = 50.
    assert segment((0, -50), (100, 150), FRAME) == ((25.0, 0.0), (50.0, 50.0))
    assert segment((0, 60), (100, 60), FRAME) is None
    assert segment((-10, 60), (10, 51), FRAME) is None
    assert segment((120, 10), (110, 20), FRAME) is None
    assert clipped([(10, 10), (10, 60), (20, 60), (20, 10)], FRAME) == [
        [(10, 10), (10, 50)],
        [(20, 50), (20, 10)],
    ]
    assert clipped([(10, 10), None, (20, 20), (30, 20)], FRAME) == [[(10, 10)], [(20, 20), (30, 20)]]
    assert clipped([(10, 10), (10, 10)], FRAME) == [[(10, 10)]]


def test_an_area_is_cut_at_all_four_sides():
    assert sorted(cut([(-50, -50), (150, -50), (150, 100), (-50, 100)], FRAME)) == [
        (0, 0), (0, 50), (100, 0), (100, 50)
    ]  # fmt: skip
    assert cut([(200, 0), (300, 0), (300, 10)], FRAME) == []
    assert cut([], FRAME) == []


def test_the_height_of_a_line_lies_on_the_straight_between_two_points():
    line = [(0, 0), (10, 20), (10, 30), (20, 30)]
    assert height_at(5, line) == 10
    assert height_at(15, line) == 30
    assert height_at(25, line) is None
    assert height_at(10, [(10, 20), (10, 30)]) == 20


def test_a_band_is_tinted_and_filled_with_strokes_that_print():
    band = Band("wanted", ((0, 10), (1, 10)), ((0, 30), (1, 30)))
    of = drawn(plot(bands=(band,)))
    (area,) = of.areas
    assert len(area.strokes) > 20
    scale = Scale(Axis("", 0, 1), Axis("", 0, 60), of.frame)
    assert {(top, bottom) for _, top, bottom in area.strokes} == {(scale.up(30), scale.up(10))}
    assert [placed.lines for placed in of.words] == [("wanted",)]
    far = drawn(plot(bands=(Band("too high", ((0, 100), (1, 100)), ((0, 120), (1, 120))),)))
    assert far.areas == ()
    assert far.outside == ("too high",)


def test_a_band_with_gaps_or_of_no_width_is_drawn_as_far_as_it_goes():
    flat = drawn(plot(bands=(Band("flat", ((0, 30), (1, 30)), ((0, 30), (1, 30))),)))
    assert all(area.strokes == () for area in flat.areas)
    short = drawn(plot(bands=(Band("half", ((0, 10), (0.5, 10)), ((0, 30), (1, 30))),)))
    assert 0 < len(short.areas[0].strokes) < 25
    narrow = drawn(plot(bands=(Band("narrow", ((0.5, 10), (0.501, 10)), ((0.5, 30), (0.501, 30))),)))
    assert len(narrow.areas) == 1


def test_what_lies_outside_the_axes_is_named_not_drawn():
    of = drawn(
        plot(
            lines=(
                Line("far", ((0, 99), (1, 99))),
                Line("", ((0, 99), (1, 99))),
                Line("here", ((0, 5), (1, 9))),
            ),
            marks=(Mark("beyond", (2, 5)), Mark("nowhere", (math.nan, 5)), Mark("seen", (0.5, 50))),
        )
    )
    assert of.outside == ("far", "beyond", "nowhere")
    assert len(of.dots) == 1
    assert {" ".join(placed.lines) for placed in of.words} == {"here", "seen"}


def test_one_point_is_a_dot_and_a_line_without_a_name_has_no_words():
    of = drawn(plot(lines=(Line("", ((0.5, 30),)),)))
    assert of.curves[0].pieces == ()
    assert len(of.curves[0].dots) == 1
    assert of.words == ()
    assert of.keys == ()


def test_without_room_for_words_a_letter_stands_there_and_the_key_says_it():
    # Twelve curves that end in one corner: no twelve texts fit there.
    fan = tuple(Line(f"gear {n} of the other gearbox", ((0, 0), (1, 5 * n))) for n in range(1, 13))
    of = drawn(plot(lines=fan))
    assert of.keys
    letters = [key.letter for key in of.keys if key.letter]
    assert len(set(letters)) == len(letters)
    said = {" ".join(placed.lines) for placed in of.words}
    assert set(letters) <= said
    assert of.keys[0].curve is not None
    assert of.keys[0].curve.pen == STYLES["this"][0]


def test_where_not_even_a_letter_fits_the_words_stand_below_alone():
    crowd = tuple(Mark(f"reading {n}", (0.5, 30)) for n in range(30))
    of = drawn(plot(marks=crowd))
    assert any(key.letter == "" and key.curve is None for key in of.keys)
    assert len(of.dots) == 30


def test_styles_differ_by_pen_and_dashes_and_an_unknown_one_is_this_cars():
    of = drawn(plot(lines=tuple(Line(s, ((0, 5), (1, 9)), s) for s in (*STYLES, "other"))))
    looks = [(curve.pen, curve.dashes) for curve in of.curves]
    assert len(set(looks[:4])) == 4
    assert looks[4] == looks[0]


def test_long_labels_of_axes_are_broken_and_make_room_for_themselves():
    long = "Braking force of the rear axle as a share of that of both axles together, in percent"
    short, tall = drawn(plot()), drawn(plot(y=Axis(long, 0, 60)))
    assert len(tall.y_label) > 1
    assert tall.frame.y > short.frame.y
    assert all(text_width(line, 13) <= WIDTH for _, line in tall.y_label)
    assert drawn(plot(x=Axis(long, 0, 1))).height > short.height


def test_words_are_broken_at_spaces_only():
    assert wrapped("one two three", 60, 10) == ("one two", "three")
    assert wrapped("unbreakablyoverlong", 10, 10) == ("unbreakablyoverlong",)
    assert wrapped("", 10, 10) == ()


def test_words_keep_off_their_line_and_further_off_others():
    room = Room(FRAME, 8)
    room.draw([(0, 25), (100, 25)], 0)
    placed = room.place("own", along([(0, 25), (100, 25)]), line=0)
    assert placed is not None
    assert placed.box.bottom <= 25 or placed.box.y >= 25
    assert [line for _, line in placed.baselines] == ["own"]
    assert along([]) == []
    room = Room(FRAME, 8)
    for n in range(12):
        room.draw([(0, 4 * n + 2), (100, 4 * n + 2)], n)
    assert room.place("no room among so many lines", [(50, 25)], line=3) is None


def test_where_no_nice_step_gives_two_ticks_the_ends_are_named():
    # Two wanted between 0.6 and 1.4: steps of 0.2 give five, steps of 0.5 only 1.0.
    assert ticks(Axis("", 0.6, 1.4), 2) == [(0.6, "0.60"), (1.4, "1.40")]


def test_an_axis_to_the_largest_floats_is_drawn_by_its_points():
    found = drawn(Plot("p", "P", Axis("x", 0, 1), Axis("y", -1.7976931348623157e308, 1e292), "Nothing."))
    assert len(found.up) >= 2


# --- amounts, signs and given ticks -----------------------------------------------------------------------------


def column(left, right, top, pattern="slant", label="this shop"):
    return Band(label, ((left, 0), (right, 0)), ((left, top), (right, top)), pattern)


def test_strokes_of_a_slanted_pattern_lie_in_their_shape_and_fill_it():
    # By hand: a square of side 20; strokes at 45° that meet x + y = 7, 14, 21, 28, 35.
    found = slanted([(0, 0), (20, 0), (20, 20), (0, 20)], 7, 1)
    assert [sum(end) for _, end in found] == [7, 14, 21, 28, 35]
    assert [a for a, _ in found] == [(0, 7), (0, 14), (1, 20), (8, 20), (15, 20)]
    lengths = [math.hypot(b[0] - a[0], b[1] - a[1]) for a, b in found]
    assert lengths == pytest.approx([math.sqrt(2) * side for side in (7, 14, 19, 12, 5)])
    assert [b for _, b in slanted([(0, 0), (20, 0), (20, 20), (0, 20)], 7, -1)][-1] == (20, 6)
    assert slanted([(0, 0), (20, 0)], 7, 1) == []


@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=3, max_size=8),
    st.sampled_from([1, -1]),
)
def test_strokes_in_any_shape_are_inside_by_another_way_of_telling(corners, rise):
    """Whether a point is inside: how often the shape's edge winds a ray, as numpy counts sign changes."""
    import numpy as np

    for (ax, ay), (bx, by) in slanted(corners, 7, rise):
        assert (bx - ax) * -rise == pytest.approx(by - ay)
        x, y = (ax + bx) / 2, (ay + by) / 2
        shape = np.array([*corners, corners[0]], dtype=float)
        # A ray along the stroke itself, a hair beside it, meets the edge an odd number of times.
        along_it = shape[:, 0] + rise * shape[:, 1] - (x + rise * y) + 1e-7
        cross = np.flatnonzero(np.diff(along_it < 0))
        share = along_it[cross] / (along_it[cross] - along_it[cross + 1])
        met = shape[cross, 0] + share * (shape[cross + 1, 0] - shape[cross, 0])
        if bx - ax > 1e-3 and np.abs(met - x).min() > 1e-3:
            assert (met > x).sum() % 2 == 1


def test_columns_are_told_apart_by_patterns_that_are_explained_once():
    of = drawn(
        plot(
            bands=(
                column(0.1, 0.2, 30, "solid"),
                column(0.3, 0.4, 50, "solid"),
                column(0.3, 0.4, 20, "cross", "elsewhere"),
                column(0.5, 0.6, 20, "plain", ""),
                column(5, 6, 20, "slant", "gone"),
            )
        )
    )
    assert [(key.letter, key.label, key.pattern) for key in of.keys] == [
        ("", "this shop", "solid"),
        ("", "elsewhere", "cross"),
    ]
    assert [area.pattern for area in of.areas] == ["solid", "solid", "cross", "plain"]
    assert [bool(area.slants) for area in of.areas] == [False, False, True, False]
    assert not any(area.strokes for area in of.areas)
    assert of.words == ()
    assert of.outside == ("gone",)


def test_a_mark_of_a_shape_says_once_what_it_means():
    signs = (Mark("", (0.2, 10), "triangle", "lower"), Mark("here", (0.6, 20), "triangle", "lower"))
    of = drawn(plot(marks=(*signs, Mark("", (0.3, 5)))))
    assert [sign.shape for sign in of.signs] == ["triangle", "triangle"]
    assert len(of.dots) == 1
    assert [(key.label, key.shape) for key in of.keys] == [("lower", "triangle")]
    assert [placed.lines for placed in of.words] == [("here",)]


def test_given_ticks_stand_where_they_are_given():
    axis = Axis("Year", 0, 100, ((-5, "1999"), (10, "2000"), (90, "2001")))
    of = drawn(plot(x=axis))
    assert [tick.label for tick in of.across] == ["2000", "2001"]
    assert of.across[0].at == pytest.approx(of.frame.x + of.frame.width * 0.1)
    assert ticks(sound(Axis("", 0, 1, ((3, "far"),)), ()), 5)[0] == (0, "0")


def test_a_record_keeps_patterns_signs_and_ticks_and_says_nothing_of_them_where_there_are_none():
    whole = plot(
        x=Axis("Year", 0, 100, ((10, "2000"),)),
        bands=(column(1, 2, 3), Band("b", ((0, 0),), ((0, 1),))),
        marks=(Mark("m", (1, 2), "cross", "unread"), Mark("n", (3, 4))),
        lines=(Line("gap", ((0, 1), (math.nan, math.nan), (2, 3))),),
    )
    again = Plot.from_record(whole.record())
    assert (again.x, again.bands, again.marks) == (whole.x, whole.bands, whole.marks)
    assert len(drawn(again).curves[0].dots) == 2
    bare = plot(bands=(Band("b", ((0, 0),), ((0, 1),)),), marks=(Mark("n", (3, 4)),)).record()
    assert set(bare["x"]) == {"label", "low", "high"}
    assert set(bare["bands"][0]) == {"label", "lower", "upper"}
    assert set(bare["marks"][0]) == {"label", "at"}
