"""Which circuit drains a battery, from readings whose answer is worked out by hand or known beforehand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import find as calculator
from workshop.engineering.command import read
from workshop.engineering.declare import InputErrors
from workshop.engineering.drain import Came, Found, Pull, days_to_flat, find
from workshop.engineering.result import Given


def worked(**texts):
    of = calculator("parasitic-drain")
    return calculate(
        of,
        {name: Given(read(of.input(name), text)) for name, text in {**of.example, **texts}.items() if text},
    )


def test_one_circuit_takes_it():
    found = find(350, [Pull("radio", 348), Pull("fridge", 18), Pull("lamps", 349)])
    assert found.found is Found.ONE
    assert [each.circuit for each in found.circuits] == ["fridge"]
    assert found.left == 18
    assert [each.words for each in found.drops] == ["hardly a difference", "", "hardly a difference"]
    assert found.sentence == (
        "350 mA asleep, where at most 50 mA is wanted. It is the circuit “fridge” (332 mA): without it 18 mA is left."
    )


def test_several_together():
    found = find(260, [Pull("a", 160), Pull("b", 255), Pull("c", 130)])
    assert found.found is Found.SEVERAL
    assert [each.circuit for each in found.circuits] == ["c", "a"]
    assert found.left == 260 - 130 - 100
    assert "several circuits together: “c” (130 mA), “a” (100 mA)" in found.sentence


def test_no_more_circuits_than_it_takes():
    """What falls by a little is left alone once the reading is down at the limit."""
    found = find(200, [Pull("clock", 190), Pull("pump", 45)])
    assert [each.circuit for each in found.circuits] == ["pump"]


def test_nothing_found_yet_and_nothing_left_to_pull():
    pulls = [Pull("a", 398), Pull("b", 385)]
    so_far = find(400, pulls)
    assert so_far.found is Found.NOT_YET
    assert so_far.sentence.endswith(
        "The largest so far: “b” (15 mA); 385 mA would be left. Pull the next fuse."
    )
    done = find(400, pulls, all_tried=True)
    assert done.found is Found.UNFUSED
    assert "alternator, starter" in done.sentence
    assert "largest so far" not in find(400, [Pull("a", 400)], all_tried=True).sentence


def test_asleep_within_the_limit():
    found = find(32, [Pull("a", 20)])
    assert found.found is Found.NOTHING_TO_FIND
    assert found.circuits == ()
    assert found.sentence == "32 mA asleep: no more than the 50 mA that is wanted."
    assert find(50, []).found is Found.NOTHING_TO_FIND
    assert find(50.1, []).found is Found.NOT_YET


def test_a_control_unit_that_falls_asleep_is_no_circuit():
    """The reading fell while a fuse was out, and stayed there with it back: the fuse has nothing to do with it."""
    found = find(400, [Pull("a", 300, Came.STAYED_LOW), Pull("b", 20)])
    assert found.drops[0].words == "fell asleep: doesn't count"
    assert found.asleep == 100
    assert found.drops[1].before == found.level == 300
    assert [each.circuit for each in found.circuits] == ["b"]
    assert found.left == 20
    assert found.sentence.startswith("400 mA at first, then 300 mA asleep, where")
    # A reading of its own after it was put back.
    part = find(400, [Pull("a", 100, Came.STAYED_LOW, 320)])
    assert part.asleep == 80
    late = find(400, [Pull("a", 30, Came.STAYED_LOW, 35)])
    assert late.found is Found.NOTHING_TO_FIND
    assert "fell asleep late: since then it is 35 mA" in late.sentence


def test_fuses_left_out_lower_what_the_next_is_measured_from():
    found = find(350, [Pull("a", 250, Came.LEFT_OUT), Pull("b", 30, Came.LEFT_OUT)])
    assert [(each.circuit, each.drop) for each in found.circuits] == [("b", 220), ("a", 100)]
    assert found.left == 30


def test_a_rise_is_something_that_woke_up():
    found = find(350, [Pull("a", 900)])
    assert found.drops[0].words == "it rose: something woke up"
    assert found.circuits == ()


def test_a_fuse_pulled_again_is_judged_by_its_last_reading():
    found = find(350, [Pull("a", 200), Pull("A ", 349), Pull("b", 40)])
    assert [each.circuit for each in found.circuits] == ["b"]


def test_a_main_fuse_and_the_one_behind_it():
    found = find(350, [Pull("main", 16), Pull("fridge", 18), Pull("lamps", 340)])
    assert [each.circuit for each in found.circuits] == ["main"]
    assert [each.circuit for each in found.like_it] == ["fridge"]
    assert found.sentence.endswith(
        "“fridge” (332 mA) takes about as much: one feeds the other, so follow both."
    )
    assert find(350, [Pull("lamps", 340)]).like_it == []


def test_large_currents_are_said_in_ampere():
    assert find(12_000, [Pull("a", 10.5)]).sentence.startswith("12.0 A asleep")
    assert "10.5 mA is left" in find(12_000, [Pull("a", 10.5)]).sentence


@given(st.permutations([("a", 5.0), ("b", 8.0), ("c", 260.0), ("d", 6.0), ("e", 12.0)]), st.floats(0, 40))
def test_the_order_of_pulling_does_not_matter(circuits, rest):
    """Currents built from known circuits: the largest is named, whatever the order, and what is left is the others."""
    baseline = rest + sum(current for _, current in circuits)
    found = find(baseline, [Pull(name, baseline - current) for name, current in circuits], limit=80)
    assert [each.circuit for each in found.circuits] == ["c"]
    assert found.left == pytest.approx(baseline - 260)


def test_days_worked_by_hand():
    """60 Ah, half usable: 30 Ah at 50 mA are 600 h, 25 days; at 350 mA 85.7 h, 3.57 days."""
    assert days_to_flat(60, 50) == pytest.approx(25)
    assert days_to_flat(60, 350) == pytest.approx(3.5714, rel=1e-4)
    assert days_to_flat(60, 20, usable=1) == pytest.approx(125)
    assert days_to_flat(60, 0) is None


def test_the_calculator_names_the_fuse():
    result = worked()
    assert result.values["circuit"] == "Fuse 3"
    assert float(result.values["left"].value) == 18
    # 95 Ah, half of it: 47.5 Ah at 350 mA and at 18 mA.
    assert float(result.values["before"].value) == pytest.approx(47_500 / 350 / 24)
    assert float(result.values["after"].value) == pytest.approx(47_500 / 18 / 24)
    assert result.outcome.odd
    assert result.outcome.tables[0].rows[2] == ("Fuse 3", "350 mA", "18 mA", "332 mA", "falls")
    assert any("common practice" in note for note in result.outcome.notes)
    assert any("50 % of the capacity is taken" in note for note in result.outcome.notes)


def test_the_calculator_with_fuses_left_out():
    result = worked(readings="0.35 0.25 0.02 A", order="out", limit="40 mA")
    assert result.values["circuit"] == "Fuse 2, Fuse 1"
    assert not any("common practice" in note for note in result.outcome.notes)


def test_the_calculator_without_a_find():
    assert worked(readings="30 28 mA").values["circuit"] == "nothing to find"
    assert not worked(readings="30 28 mA").outcome.odd
    assert worked(readings="300 298 310 mA").values["circuit"] == "none of these"
    assert worked(readings="300 298 310 mA").outcome.tables[0].rows[1][3] == "−10 mA"
    assert "before" not in worked(capacity="").values
    to_nothing = worked(readings="300 0 mA")
    assert "after" not in to_nothing.values
    assert "before" in to_nothing.values


def test_the_calculator_refuses():
    with pytest.raises(InputErrors, match="more than nothing"):
        worked(readings="0 0 mA")
    with pytest.raises(InputErrors, match="2 to 60 readings"):
        worked(readings="350 mA")


def test_a_fuse_measured_before_the_rest_fell_asleep_is_measured_again():
    """184 mA; F7 takes 166 of it; then 34 mA fall asleep. F7 may take 132 to 166 mA of the 150 that are left."""
    before = [Pull("F7", 18), Pull("F9", 150, Came.STAYED_LOW)]
    found = find(184, before)
    assert found.found is Found.AGAIN
    assert [(each.circuit, each.before, each.drop) for each in found.circuits] == [("F7", 184, 166)]
    assert found.drops[0].words == "the reading changed since: measure it again"
    assert found.sentence == (
        "184 mA at first, then 150 mA asleep, where at most 50 mA is wanted. “F7” took 166 mA of the 184 mA that flowed "
        "then; the reading changed since. Measure “F7” again."
    )
    again = find(184, [*before, Pull("f7", 18)])
    assert again.found is Found.ONE
    assert (again.circuits[0].drop, again.left) == (132, 18)
    # What rests on readings of the current as it flows now needs nothing again; a tick of the meter changes nothing.
    assert find(184, [*before, Pull("F8", 20)]).found is Found.ONE
    assert find(184, [Pull("F7", 18), Pull("F9", 182, Came.STAYED_LOW)]).found is Found.ONE


def test_parts_that_add_up_to_more_than_the_whole_prove_nothing():
    """A main fuse takes 250 of 350 mA, one behind it 230 of the same: together they are not 480."""
    both = [Pull("main", 100), Pull("radio", 120)]
    found = find(350, both)
    assert found.found is Found.AGAIN
    assert found.left == -130
    assert found.sentence.endswith(
        "“main” and “radio” add up to 480 mA, more than the whole: one feeds the other, or the reading changed meanwhile. "
        "Leave “main” out and measure the others again."
    )
    # Done as it says: with the main fuse out, the radio takes nothing more.
    left_out = find(350, [*both, Pull("main", 100, Came.LEFT_OUT), Pull("radio", 100)])
    assert left_out.found is Found.NOT_YET
    assert left_out.left == 100
    # What meters differ by is no contradiction, and no current flows backwards.
    close = find(201, [Pull("a", 100), Pull("b", 99)], limit=20)
    assert close.found is Found.SEVERAL
    assert close.left == -2
    assert close.sentence.endswith("Without them about 0 mA is left.")


def test_a_fuse_left_out_and_pulled_again_was_put_back_between():
    found = find(350, [Pull("a", 30, Came.LEFT_OUT), Pull("A", 32, Came.LEFT_OUT)])
    assert [each.drop for each in found.drops] == [320, 318]
    assert (found.found, found.level) == (Found.ONE, 32)


def test_the_calculator_says_to_measure_again():
    result = worked(readings="350 100 120 mA")
    assert result.values["circuit"] == "not known: measure again"
    assert "left" not in result.values
    assert "after" not in result.values
