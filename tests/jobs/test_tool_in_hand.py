"""The tool at a run: named by its label, last used first, refused before a reading is taken; a reading taken back with
one tap and one to confirm; and the time at which something was done that is written down later.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.forms.earlier import EarlierField
from jobs.models import TorqueReading
from jobs.runs import state_of
from jobs.tool_in_hand import named
from tests.factories.run import RunFactory, click
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.once import once
from tests.people import by
from workshop.acts import tools as tool_acts


@once
def tool(lead):
    return ToolFactory(person=lead, label="TW-03")


@once
def run(lead, car, tool):
    return RunFactory(person=lead, vehicle=car)


@pytest.fixture
def page(client, technician, run):
    client.force_login(technician)

    def asked(**query):
        return client.get(run.get_absolute_url(), query)

    return asked


def overdue(lead):
    tool = ToolFactory(person=lead, label="TW-04", calibrated=False)
    CalibrationFactory(person=lead, tool=tool, calibrated_on=timezone.localdate() - timedelta(days=500))
    return tool


@pytest.mark.parametrize("typed", ["TW-03", "tw03", " Tw 03 "])
def test_a_tool_is_named_by_its_label_however_it_is_typed(page, tool, typed):
    answer = page(tool_label=typed)
    assert (answer.context["mode"], answer.context["tool"]) == ("enter", tool)
    assert page().context["tool"] == tool, "it is kept for the next readings"


def test_the_address_in_its_code_names_it_too(page, tool):
    assert page(tool_label=f"https://shop.example{tool.get_absolute_url()}").context["tool"] == tool


def test_another_code_and_an_unknown_number_are_said_in_words(page, car, lead):
    other = page(tool_label=f"https://shop.example{car.get_absolute_url()}")
    assert other.context["mode"] == "tool"
    assert "This is the label of a vehicle, not of a torque tool." in other.content.decode()
    unknown = page(tool_label="XX-9").content.decode()
    assert "No tool of this shop has the number “XX-9”." in unknown
    assert 'value="XX-9"' in unknown, "what was typed is still there"
    gauge = ToolFactory(person=lead, label="AG-02", kind="angle", scale_low=None, scale_high=None)
    assert f"{gauge} measures angles" in page(tool_label="AG-02").content.decode()


@pytest.mark.parametrize(
    "text", ["/tools/none/", "https://shop.example/", "//", "http://[", "é" * 300, "%00"]
)
def test_whatever_a_code_holds_is_answered(db, text):
    tool, why = named(text)
    assert tool is None
    assert why.endswith(".")


def test_what_this_person_used_last_comes_first(page, lead, technician, run, tool):
    first = ToolFactory(person=lead, label="TW-01")
    assert [row["tool"] for row in page().context["tools"]] == [first, tool]
    click(technician, run, 1, 1, 60, tool)
    rows = page().context["tools"]
    assert [row["tool"] for row in rows] == [tool, first]
    assert [row["last"] for row in rows] == [True, False]


def test_a_tool_past_its_calibration_is_refused_before_a_reading(page, lead):
    tool = overdue(lead)
    answer = page(torque_tool=tool.pk)
    text = answer.content.decode()
    assert answer.context["mode"] == "tool"
    assert "TW-04 can&#x27;t be used here." in text or "TW-04 can't be used here." in text
    assert "was due for calibration on" in text
    assert f"It is cleared when a lead writes down a calibration that it passed: {lead.name}." in text
    assert "Through an extension" not in text
    written = page(torque_tool=tool.pk, all_the_same="1")
    assert (written.context["mode"], written.context["tool"]) == ("enter", tool)
    assert "Would not count:" in written.content.decode()
    assert page().context["tool"] == tool
    assert page(torque_tool=tool.pk).context["mode"] == "tool", "chosen anew, it is refused anew"


def test_a_dropped_tool_is_refused_while_it_is_in_the_hand(page, technician, tool):
    assert page(torque_tool=tool.pk).context["mode"] == "enter"
    tool_acts.report_drop(by=by(technician), tool=tool, what="fell from the lift")
    text = page().content.decode()
    assert "TW-03 can" in text
    assert "fell from the lift" in text


def test_a_target_outside_its_range_is_refused_with_a_way_through_an_extension(page, lead):
    small = ToolFactory(person=lead, label="TW-11", scale_low=Decimal(5), scale_high=Decimal(50))
    text = page(torque_tool=small.pk).content.decode()
    assert "60 N·m is outside the working range of TW-11" in text
    assert "Nobody has to clear this" in text
    assert "Through an extension" in text


# Taken back ---------------------------------------------------------------------------------------------------------


def test_undo_is_a_recorded_correction_with_one_tap_to_confirm(client, technician, run, tool):
    client.force_login(technician)
    wrong = click(technician, run, 1, 1, 60, tool)
    page = client.get(run.get_absolute_url(), {"do": "undo", "reading": wrong.pk})
    assert page.context["mode"] == "undo"
    text = page.content.decode()
    assert 'value="Tapped by mistake" checked' in text
    data = {"key": page.context["form"]["key"].value(), "do": "undo", "fastener": 1, "kind": "not_done"}
    url = reverse("jobs:reading-correct", args=[wrong.pk])
    refused = client.post(url, data)
    assert (refused.status_code, refused.context["mode"]) == (422, "undo")
    assert "Say what was written down wrong." in refused.content.decode()
    assert client.post(url, {**data, "redo_reason": "Tapped by mistake"}).status_code == 302
    rows = list(TorqueReading.objects.order_by("order"))
    assert [(row.kind, row.corrects, row.redo_reason) for row in rows] == [
        ("clicked", None, ""),
        ("not_done", wrong, "Tapped by mistake"),
    ]
    assert state_of(run).steps[0].stages[0].fasteners[1].reading is None
    shown = client.get(run.get_absolute_url())
    assert shown.content.decode().count("<s>set 60 N·m, clicked</s>") == 1, "the earlier one stays on record"
    again = client.get(run.get_absolute_url(), {"do": "undo", "reading": wrong.pk})
    assert "This reading was put right already." in again.content.decode()


# Done earlier -------------------------------------------------------------------------------------------------------


def test_a_time_of_today_is_enough_and_another_day_may_be_given():
    field, now = EarlierField(required=False), timezone.localtime()
    assert field.clean(["", ""]) is None
    assert timezone.localtime(field.clean(["00:00", ""])).date() == now.date()
    day = (now - timedelta(days=3)).date()
    moment = timezone.localtime(field.clean(["23.59", day.isoformat()]))
    assert (moment.date(), moment.hour, moment.minute) == (day, 23, 59)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["25:00", ""], "such as 13:55: “25:00” is none"),
        (["noon", ""], "“noon” is none"),
        (["", "2026-01-05"], "Give the time of that day as well"),
        (["08:00", "0001-01-01"], "Give a year between 1885 and 2100"),
    ],
)
def test_what_is_no_time_is_said(typed, said):
    from django.core.exceptions import ValidationError

    with pytest.raises(ValidationError, match=said):
        EarlierField(required=False).clean(typed)


def test_both_times_of_a_reading_written_down_later_are_shown(client, technician, lead, car, run, tool):
    client.force_login(technician)
    now = timezone.now()
    click(technician, run, 1, 1, 60, tool, made_at=run.made_at, received_at=now + timedelta(minutes=25))
    row = TorqueReading.objects.get()
    done, written = timezone.localtime(row.made_at), timezone.localtime(row.received_at)
    page = client.get(run.get_absolute_url()).content.decode()
    assert "written down at" in page
    assert f"written down at {written:%H:%M}, done {done:%H:%M}" in page or done.date() != written.date()


def test_the_form_takes_the_time_as_the_page_sends_it(client, technician, run, tool):
    client.force_login(technician)
    page = client.get(run.get_absolute_url(), {"torque_tool": tool.pk})
    data = {name: page.context["form"][name].value() for name in ("key", "step", "stage", "fastener")}
    data |= {"kind": "clicked", "reading_value": "60", "reading_unit": "N.m", "tool": tool.pk}
    early = {"made_at_time": "06:00", "made_at_day": (timezone.localdate() - timedelta(days=2)).isoformat()}
    url = reverse("jobs:reading-add", args=[run.pk])
    refused = client.post(url, {**data, **early})
    assert refused.status_code == 422
    text = refused.content.decode()
    assert "The run was started" in text
    assert 'value="06:00"' in text, "what was typed comes back"
    assert '<details class="earlier" open>' in text
