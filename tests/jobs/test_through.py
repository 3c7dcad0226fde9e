"""A torque taken through an extension: the setting and the torque at the fastener are both kept and both said."""

from __future__ import annotations

import re
from decimal import Decimal as D

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.acts import torque as acts
from jobs.management.commands import verify_records
from jobs.models import TorqueReading
from jobs.run_words import reading_words, verdict_sentence
from jobs.runs import state_of
from jobs.sheets.tightening import _reading_words
from jobs.through import Through, through_of
from jobs.torque_record import record_of
from tests.factories.run import RunFactory, click, stage_of, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from workshop.engineering.units import Amount

STEP = {
    "title": "Carrier bolts",
    "fasteners": 2,
    "pattern": "line",
    "stages": [{"name": "Final", "value": "110", "plus": "11", "unit": "N.m"}],
}
MANY = {**STEP, "fasteners": 6}
THROUGH = {
    "lever_length": Amount(D(450), "mm"),
    "extension_length": Amount(D(60), "mm"),
    "extension_angle": Amount(D(30), "deg"),
}
TYPED = {
    "lever_length_value": "450",
    "lever_length_unit": "mm",
    "extension_length_value": "60",
    "extension_length_unit": "mm",
    "extension_angle_value": "30",
    "extension_angle_unit": "deg",
}
SAID = "set 98.6 N·m, clicked, through 60 mm at 30° on a 450 mm wrench = 110 N·m at the fastener"


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[STEP])


def post(client, run, tool, **changes):
    page = client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}")
    form = page.context["form"]
    data = {name: form[name].value() for name in ("key", "step", "stage", "fastener")}
    data |= {"kind": "clicked", "tool": tool.pk, "reading_value": "98.6", "reading_unit": "N.m", **TYPED}
    return client.post(reverse("jobs:reading-add", args=[run.pk]), {**data, **changes})


@pytest.mark.outside(
    "US Army TM 9-254, effective lever of a wrench with an adapter: 110 N·m, 450 mm, 60 mm, 30°"
)
def test_the_torque_at_the_fastener_is_worked_out_from_the_setting(published, technician, run, tool):
    row = click(technician, run, 1, 1, "98.613", tool, **THROUGH)
    published.close(row.value, 110, rel=1e-5, unit="N·m")
    assert (row.setting, row.typed, row.unit) == (D("98.613"), D("98.613"), "N.m")
    assert (row.lever_length, row.extension_length, row.extension_angle) == (450, 60, 30)


def test_the_verdict_judges_the_torque_at_the_fastener(technician, run, tool):
    # 98.6 alone would be below 99 N·m; through the extension it is 110.
    row = click(technician, run, 1, 1, "98.6", tool, **THROUGH)
    assert row.verdict == "within"
    assert verdict_sentence(row).startswith("At the fastener: 110 N·m is within")
    # 110 set is 122.7 at the fastener: above 121.
    over = click(technician, run, 1, 2, "110", tool, **THROUGH)
    assert over.verdict == "above"


def test_the_sentence_has_no_more_digits_than_tell_it_from_the_limit(technician, run, tool):
    # 60 x 1.11547 = 66.928 at the fastener: a wrench that is set to 60 does not resolve thousandths.
    low = click(technician, run, 1, 1, "60", tool, **THROUGH)
    assert low.value.quantize(D("0.001")) == D("66.928")
    assert verdict_sentence(low) == ("At the fastener: 66.9 N·m is below the lowest accepted value 99 N·m.")
    # 88.75 x 1.11547 = 98.998: with one decimal it would read "99 is below 99".
    near = click(technician, run, 1, 2, "88.75", tool, **THROUGH)
    assert verdict_sentence(near) == "At the fastener: 98.998 N·m is below the lowest accepted value 99 N·m."


def test_both_are_said_on_every_paper(technician, run, tool):
    row = click(technician, run, 1, 1, "98.6", tool, **THROUGH)
    assert reading_words(row) == SAID
    assert _reading_words(row) == SAID
    state = state_of(run)
    said = [
        one["said"]
        for step in record_of(state)["steps"]
        for one in step["stages"][0]["rows"]
        if "said" in one
    ]
    assert said == [SAID]


def test_the_words_of_the_other_kinds(lead, technician, run, tool):
    still = click(technician, run, 1, 1, "98.6", tool, kind="did_not_move", **THROUGH)
    assert reading_words(still).startswith(
        "set 98.6 N·m, clicked at once, did not move, through 60 mm at 30°"
    )
    shows = ToolFactory(person=lead, kind="indicating")
    row = click(technician, run, 1, 2, "98.6", shows, kind="read", **THROUGH)
    assert reading_words(row) == SAID.replace("set 98.6 N·m, clicked", "read 98.6 N·m")


def test_the_tools_working_range_is_judged_on_the_setting(lead, technician, run):
    small = ToolFactory(person=lead, scale_low=D(20), scale_high=D(100))
    # 98.6 lies in its range though 110 at the fastener does not.
    assert click(technician, run, 1, 1, "98.6", small, **THROUGH).counts_not_because == ""
    assert click(technician, run, 1, 2, "101", small, **THROUGH).counts_not_because != ""


def test_inches_are_kept_in_millimetres(technician, run, tool):
    row = click(
        technician, run, 1, 1, "98.6", tool, **{**THROUGH, "extension_length": Amount(D("2.5"), "in")}
    )
    assert row.extension_length == D("63.50")


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"lever_length": None}, "lever_length", "Measure the wrench too"),
        ({"extension_length": None}, "extension_length", "Measure the extension too"),
        ({"extension_angle": None}, "extension_angle", "Give the angle too"),
        ({"extension_length": Amount(D(0), "mm")}, "extension_length", "leave all three empty"),
        ({"lever_length": Amount(D(20), "mm")}, "lever_length", "Give 50 mm to 3000 mm: 20 mm was typed"),
        ({"extension_angle": Amount(D(190), "deg")}, "extension_angle", "Give 0° to 180°: 190° was typed"),
        ({"extension_angle": Amount(D(3), "mm")}, "extension_angle", "measured in °"),
        (
            {"extension_length": Amount(D(440), "mm"), "extension_angle": Amount(D(180), "deg")},
            "extension_length",
            "under the hand",
        ),
    ],
)
def test_what_can_not_be_is_refused_beside_its_field(technician, run, tool, changes, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        click(technician, run, 1, 1, "98.6", tool, **{**THROUGH, **changes})
    assert sentence in " ".join(refusal.value.message_dict[field])
    assert not TorqueReading.objects.exists()


def test_an_angle_is_not_taken_through_an_extension(lead, technician, car):
    run = RunFactory(
        person=lead,
        vehicle=car,
        steps=[{**STEP, "stages": [{"name": "Turn", "kind": "angle", "value": "90"}]}],
    )
    with pytest.raises(ValidationError) as refusal:
        acts.record_reading(
            by=by(technician), run=run, step=step_of(run), stage=stage_of(run), fastener=1, kind="angle",
            reading=Amount(D(90), "deg"), angle_by="paint_mark", **THROUGH,
        )  # fmt: skip
    assert "Only a torque" in str(refusal.value.message_dict["extension_length"])


@pytest.mark.parametrize(
    "changes",
    [
        {"setting": None},
        {"lever_length": None},
        {"extension_angle": D(181)},
        {"extension_angle": D(-1)},
        {"extension_length": D(0)},
        {"setting": D(0)},
    ],
)
def test_the_database_keeps_it_whole(technician, run, tool, changes):
    row = click(technician, run, 1, 1, "98.6", tool, **THROUGH)
    row.pk, row._state.adding, row.order = None, True, 2
    for name, value in changes.items():
        setattr(row, name, value)
    with pytest.raises(IntegrityError), transaction.atomic():
        TorqueReading.objects.bulk_create([row])


def test_the_records_are_worked_out_again(technician, run, tool):
    click(technician, run, 1, 1, "98.6", tool, **THROUGH)
    click(technician, run, 1, 2, "110", tool)
    assert list(verify_records.verdicts()) == []


def test_a_value_that_does_not_follow_from_its_setting_is_named(technician, run, tool, monkeypatch):
    click(technician, run, 1, 1, "98.6", tool, **THROUGH)
    monkeypatch.setattr(Through, "ratio", D("1.2"))
    assert any("typed and stored value differ" in text for text in verify_records.verdicts())


def test_several_at_once_and_what_puts_one_right(technician, run, tool):
    acts.record_round(
        by=by(technician), run=run, step=step_of(run), stage=stage_of(run), fasteners=[1, 2], kind="clicked",
        reading=Amount(D("98.6"), "N.m"), tool=tool, **THROUGH,
    )  # fmt: skip
    rows = list(TorqueReading.objects.all())
    assert [row.value for row in rows] == [D("109.985347")] * 2
    right = {"fastener": 1, "kind": "clicked", "tool": tool, "reading": Amount(D("98.6"), "N.m")}
    with pytest.raises(ValidationError, match="stands on record already"):
        acts.correct_reading(by=by(technician), corrected=rows[0], redo_reason="slip", **right, **THROUGH)
    put = acts.correct_reading(by=by(technician), corrected=rows[0], redo_reason="no extension", **right)
    assert (put.value, put.setting) == (D("98.6"), None)


def test_what_it_is_set_to_is_as_fine_as_the_unit():
    taken = through_of(**THROUGH)
    assert taken.to_set(Amount(D(110), "N.m")) == Amount(D("98.6"), "N.m")
    assert taken.words == "through 60 mm at 30° on a 450 mm wrench"
    assert through_of(None, None, None) is None


# On the screen --------------------------------------------------------------------------------------------


def test_recorded_through_the_page_and_offered_again(client, technician, run, tool):
    client.force_login(technician)
    assert post(client, run, tool).status_code == 302
    assert reading_words(TorqueReading.objects.get()) == SAID
    page = client.get(run.get_absolute_url())
    text = page.content.decode()
    assert "Set the wrench to" in text
    assert "98.6 N·m" in text
    assert 'name="lever_length_value" value="450"' in text, "the next fastener is reached the same way"
    assert page.context["form"]["reading"].value() == Amount(D("98.6"), "N.m")


def test_the_next_number_is_offered_with_its_own_unit(client, technician, run, tool):
    # 110 N·m is 81.13 lbf·ft, and 72.7 lbf·ft set through this extension.
    client.force_login(technician)
    assert post(client, run, tool, reading_value="72.7", reading_unit="lbf.ft").status_code == 302
    assert TorqueReading.objects.get().verdict == "within"
    answer = client.get(run.get_absolute_url())
    page = answer.content.decode()
    assert 'name="reading_value" value="72.7"' in page
    assert answer.context["unit"] == "lbf.ft"
    assert (
        re.findall(r'<option value="([^"]*)"[^>]* selected>', page.split('name="reading_unit"')[1])[0]
        == "lbf.ft"
    )
    assert "Set the wrench to" in page
    assert "data-target-setting>72.7 lbf·ft<" in page
    assert "data-target-unit>lbf·ft<" in page, "target, setting and number in one unit"
    # Sent as it stands, it is the same torque again.
    again = post(client, run, tool, reading_value="72.7", reading_unit=answer.context["unit"])
    assert again.status_code == 302
    first, second = TorqueReading.objects.order_by("order")
    assert first.value == second.value


def test_before_the_reading_it_says_what_to_set_and_records_nothing(client, technician, run, tool):
    client.force_login(technician)
    answer = post(client, run, tool, op="through", reading_value="", redo_reason="kept as typed")
    assert answer.status_code == 200
    page = answer.content.decode()
    assert "Set the wrench to" in page
    assert 'name="reading_value" value="98.6"' in page
    assert "kept as typed" in page
    assert "Not recorded" not in page
    assert not TorqueReading.objects.exists()


def test_in_the_tools_unit_and_without_again(client, technician, run, tool):
    client.force_login(technician)
    feet = post(client, run, tool, op="through", reading_unit="lbf.ft").content.decode()
    assert 'name="reading_value" value="72.7"' in feet
    plain = post(client, run, tool, op="without").content.decode()
    assert 'name="reading_value" value="110"' in plain
    assert 'name="lever_length_value" value=""' in plain


@pytest.mark.parametrize("op", ["through", ""])
def test_a_half_given_extension_comes_back_filled(client, technician, run, tool, op):
    client.force_login(technician)
    answer = post(client, run, tool, extension_angle_value="", lever_length_value="45o", op=op)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="45o"' in page
    assert 'name="extension_length_value" value="60"' in page
    assert "is not a number" in page
    assert not TorqueReading.objects.exists()


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"lever_length_value": ""}, "Measure the wrench too"),
        ({"extension_length_value": ""}, "Measure the extension too"),
        ({"extension_angle_value": ""}, "Give the angle too"),
        ({"extension_length_value": "0"}, "leave all three empty"),
        ({"lever_length_value": "20"}, "Give 50 mm to 3000 mm: 20 mm was typed"),
        ({"lever_length_value": "1", "lever_length_unit": "in"}, "1 in was typed"),
        ({"extension_angle_value": "190"}, "Give 0° to 180°: 190° was typed"),
        ({"extension_length_value": "440", "extension_angle_value": "180"}, "under the hand"),
        ({"extension_length_unit": "furlong"}, "not one of the available choices"),
    ],
)
def test_each_refusal_stands_on_the_page_and_nothing_typed_is_lost(
    client, technician, run, tool, typed, sentence
):
    client.force_login(technician)
    answer = post(client, run, tool, redo_reason="kept", **typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert 'name="reading_value" value="98.6"' in page
    assert '<details class="extension" open>' in page
    for name, value in typed.items():
        if name.endswith("_value"):
            assert f'name="{name}" value="{value}"' in page
    assert not TorqueReading.objects.exists()


def test_the_correction_begins_with_the_extension_on_record(client, technician, run, tool):
    row = click(technician, run, 1, 1, "98.6", tool, **THROUGH)
    client.force_login(technician)
    page = client.get(reverse("jobs:reading-correct", args=[row.pk]), follow=True).content.decode()
    assert 'name="extension_length_value" value="60"' in page


def test_the_round_begins_with_it_too(client, technician, run, tool):
    click(technician, run, 1, 1, "98.6", tool, **THROUGH)
    client.force_login(technician)
    client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}")
    form = client.get(reverse("jobs:round-add", args=[run.pk])).context["form"]
    assert form["lever_length"].value() == Amount(D(450), "mm")


def test_the_extension_costs_no_query(client, lead, technician, car, tool):
    counts = []
    for extra in ({}, THROUGH):
        run = RunFactory(person=lead, vehicle=car, steps=[MANY])
        for fastener in (1, 2, 3):
            click(technician, run, 1, fastener, "98.6" if extra else "110", tool, **extra)
        client.force_login(technician)
        client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}")
        with CaptureQueriesContext(connection) as caught:
            client.get(run.get_absolute_url())
        counts.append(len(caught))
    assert counts[0] == counts[1]
