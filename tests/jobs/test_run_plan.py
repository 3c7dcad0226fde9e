"""What the run screen goes on with where no network is: what the server would refuse stays out of it, in words; and
what it offers about the last reading, to whom.
"""

from __future__ import annotations

import json

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.acts import disposition as disposition_acts
from jobs.acts import torque as acts
from jobs.forms.torque import SecondCheckForm
from jobs.run_plan import waiting
from jobs.run_words import reading_words
from jobs.runs import state_of
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by


@once
def tool(lead):
    return ToolFactory(person=lead, label="TW-03")


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[WHEEL])


def plan(client, person, run, tool):
    client.force_login(person)
    return json.loads(client.get(run.get_absolute_url(), {"torque_tool": tool.pk}).context["plan"])


def test_what_is_above_and_undecided_is_left_out_with_all_that_waits_for_it(
    client, technician, lead, run, tool
):
    click(technician, run, 1, 1, 60, tool)
    above = click(technician, run, 1, 3, 90, tool, confirmed_odd=True)
    first, second = (stage.stage.pk for stage in state_of(run).steps[0].stages)
    found = plan(client, technician, run, tool)
    assert [row[:2] for row in found["places"]] == [[first, 5], [first, 2], [first, 4]]
    assert found["waits"] == [
        [first, [3], "Fastener 3 waits for a decision"],
        [second, [1, 2, 3, 4, 5], "Round 2 waits for Round 1 of fastener 3"],
    ]
    with pytest.raises(ValidationError, match="decide first"):
        click(technician, run, 1, 3, 60, tool, redo_reason="once more")

    disposition_acts.dispose(by=by(technician), reading=above, kind="redone", reason="loosened")
    found = plan(client, technician, run, tool)
    assert found["waits"] == []
    assert [first, 3] in [row[:2] for row in found["places"]]
    assert len(found["places"]) == 4 + 5


def test_fastener_by_fastener_only_the_same_one_waits(client, technician, lead, car, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "order_of_work": "fastener_by_fastener"}])
    click(technician, run, 1, 1, 90, tool, confirmed_odd=True)
    found = plan(client, technician, run, tool)
    assert {row[1] for row in found["places"]} == {2, 3, 4, 5}
    assert [(numbers, why) for _, numbers, why in found["waits"]] == [
        ([1], "Fastener 1 waits for a decision"),
        ([1], "Round 2 waits for Round 1 of fastener 1"),
    ]


def test_one_below_its_limit_is_done_again_with_its_reason(client, technician, run, tool):
    """Without a reason the server refuses a second reading: the plan gives what the reading says by itself."""
    click(technician, run, 1, 1, 45, tool)
    place = plan(client, technician, run, tool)["places"][0]
    assert (place[1], place[3]) == (1, "Was below its limit")
    assert click(technician, run, 1, 1, 60, tool, redo_reason=place[3]).verdict == "within"


def test_new_fasteners_and_a_hold_point_are_left_out(lead, technician, car, tool):
    steps = [{**WHEEL, "reuse": "new", "critical": True, "hold_point": True}, {**WHEEL, "title": "Caps"}]
    run = RunFactory(person=lead, vehicle=car, steps=steps)
    wheel, caps = state_of(run).steps
    assert [why for _, _, why in waiting(wheel)] == [
        "Fasteners 1, 2, 3, 4, 5 wait until it is said which new ones were fitted" for _ in wheel.stages
    ]
    assert {why for _, _, why in waiting(caps)} == {"“Caps” waits for the second check of “Wheel nuts”"}
    assert [len(numbers) for _, numbers, _ in waiting(caps)] == [5, 5]
    acts.say_new_fitted(by=by(technician), run=run, step=wheel.step, what="5 nuts, box from the maker")
    assert waiting(state_of(run).steps[0]) == []


def test_the_limits_and_the_range_of_the_tool_go_along_as_numbers(client, technician, run, tool):
    """60 N·m ± 15 % is 51 to 69; 69 N·m is 50.9 lbf·ft (1 lbf·ft = 1.355818 N·m, NIST SP 811, B.8)."""
    found = plan(client, technician, run, tool)
    rows = {row[0]: row for row in found["targets"][str(found["places"][0][2])]["units"]}
    assert rows["N.m"][5:] == ["51", "69"]
    assert rows["lbf.ft"][5:] == ["37.6", "50.9"]
    low, high, words = found["range"]["N.m"]
    assert found["tool"] == "TW-03"
    assert float(low) < 60 < float(high)
    assert words.endswith("N·m")


def test_undo_under_above_is_offered_to_a_lead_and_is_gone_once_it_is_decided(
    client, technician, lead, run, tool
):
    above = click(technician, run, 1, 1, 90, tool, confirmed_odd=True)
    undo = "Undo the last reading"

    def shown(person):
        client.force_login(person)
        return client.get(run.get_absolute_url(), {"torque_tool": tool.pk}).content.decode()

    text = shown(technician)
    assert undo not in text
    assert "Above its limit, only a lead puts that right." in text
    assert undo in shown(lead)
    disposition_acts.dispose(by=by(technician), reading=above, kind="redone", reason="turned back")
    text = shown(lead)
    last = text[text.index('<div class="last') : text.index('<div class="keys">')]
    assert undo not in last
    assert "Loosened and" in last
    assert "turned back" in last
    assert "verdict above" not in last


@pytest.mark.parametrize(
    ("why", "said"),
    [
        ("Tapped by mistake", "taken back: tapped by mistake"),
        ("Wrong fastener chosen", "taken back: wrong fastener chosen"),
        ("It was not done", "taken back: it was not done"),
        ("TW-04 was in the hand", "taken back: TW-04 was in the hand"),
    ],
)
def test_a_reading_taken_back_says_the_reason_that_was_given(client, technician, run, tool, why, said):
    wrong = click(technician, run, 1, 1, 60, tool)
    row = acts.correct_reading(
        by=by(technician),
        corrected=wrong,
        fastener=1,
        kind="not_done",
        tool=None,
        reading=None,
        redo_reason=why,
    )
    assert reading_words(row) == said
    client.force_login(technician)
    for url in (run.get_absolute_url(), reverse("jobs:run-record", args=[run.pk])):
        page = client.get(url)
        if page["Content-Type"].startswith("text/html"):
            text = page.content.decode()
            assert said.split(": ")[1] in text
            assert said == "taken back: it was not done" or "it was not done" not in text


def test_the_hint_of_the_second_check_names_no_number_of_fasteners():
    assert "eight" not in SecondCheckForm.base_fields["note"].help_text
