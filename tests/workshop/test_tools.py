"""Torque tools: what counts on which day, and what happens when one turns out wrong."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from jobs.acts import torque
from tests.factories.run import RunFactory, begun, click
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.people import by
from vehicles.models import OutstandingItem
from workshop.acts import tools as acts
from workshop.engineering.units import Amount
from workshop.models import Calibration, ToolFailure, TorqueTool

NEW = {
    "label": "TW-9",
    "name": "Click wrench",
    "kind": "setting",
    "iso_class": "II-A",
    "unit": "N.m",
    "scale_low": Decimal(40),
    "scale_high": Decimal(200),
}


def today():
    return timezone.localdate()


def nm(value) -> Amount:
    return Amount(Decimal(str(value)), "N.m")


def test_a_tool_is_taken_on_once(lead):
    key = uuid4()
    first = acts.add_tool(by=by(lead, key=key), **NEW)
    assert acts.add_tool(by=by(lead, key=key), **NEW) == first
    with pytest.raises(ValidationError) as refusal:
        acts.add_tool(by=by(lead), **{**NEW, "label": "tw-9"})
    assert refusal.value.message_dict == {
        "label": ["A tool numbered “tw-9” is on record already. Give this one another."]
    }


def test_only_a_lead_takes_tools_on(technician):
    with pytest.raises(PermissionDenied, match="You may not write down torque tools and calibrations"):
        acts.add_tool(by=by(technician), **NEW)


def test_a_class_that_does_not_go_with_the_kind_is_refused(lead):
    with pytest.raises(ValidationError, match="Type I class B indicates a value"):
        acts.add_tool(by=by(lead), **{**NEW, "iso_class": "I-B"})


def test_a_wrench_without_a_scale_is_refused_and_a_gauge_needs_none(lead):
    with pytest.raises(ValidationError, match="Give the lowest and the highest value marked on the tool"):
        acts.add_tool(by=by(lead), **{**NEW, "scale_high": None})
    gauge = acts.add_tool(by=by(lead), label="AG-1", name="Gauge", kind="angle")
    assert gauge.unfit_because(None, on=today()) == ""


# ISO 6789-1:2017, Type II class A: ±4 % above 10 N·m of highest torque, ±6 % up to it (a tool maker's
# manual).
@pytest.mark.parametrize(("top", "deviation"), [(200, 4), (10, 6), ("10.01", 4)])
def test_without_a_deviation_the_one_of_the_class_is_taken(lead, top, deviation):
    tool = acts.add_tool(by=by(lead), **{**NEW, "scale_low": Decimal(2), "scale_high": Decimal(str(top))})
    assert CalibrationFactory(person=lead, tool=tool).deviation_percent == deviation


def test_a_tool_without_a_class_needs_the_deviation_of_its_certificate(lead):
    tool = acts.add_tool(by=by(lead), **{**NEW, "iso_class": ""})
    with pytest.raises(ValidationError, match="Give the deviation from the certificate"):
        CalibrationFactory(person=lead, tool=tool)


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"calibrated_on": 1}, "calibrated_on", "This day lies in the future"),
        ({"due_on": -40}, "due_on", "The next calibration is due after this one was made"),
        ({"deviation_percent": Decimal(21)}, "deviation_percent", "Use a deviation between 0 and 20 percent"),
        ({"range_low": Decimal(50)}, "range_high", "Give both ends of the certified range"),
        ({"range_low": Decimal(50), "range_high": Decimal(250)}, "range_high", "ends at 200 N·m"),
    ],
)
def test_a_calibration_that_can_not_be_is_refused_beside_its_field(client, lead, fields, field, sentence):
    tool = ToolFactory(person=lead, calibrated=False)
    client.force_login(lead)
    form = client.get(reverse("workshop:calibration-add", args=[tool.pk])).context["form"]
    data = {
        "key": form["key"].value(),
        "calibrated_on": today() - timedelta(days=30),
        "due_on": today() + timedelta(days=335),
        "laboratory": "Brackwater Calibration",
        "certificate": "BC-1",
        "passed": "yes",
        "note": "kept",
        **{n: today() + timedelta(days=v) if isinstance(v, int) else v for n, v in fields.items()},
    }
    answer = client.post(reverse("workshop:calibration-add", args=[tool.pk]), data)
    assert answer.status_code == 422
    assert sentence in " ".join(answer.context["form"].errors[field])
    assert answer.context["form"]["note"].value() == "kept"
    assert not Calibration.objects.exists()


def test_a_certificate_is_on_record_once(lead):
    tool = ToolFactory(person=lead, calibrated=False)
    CalibrationFactory(person=lead, tool=tool, certificate="BC-7")
    with pytest.raises(ValidationError, match="This certificate is on record for this tool already"):
        CalibrationFactory(person=lead, tool=tool, certificate="BC-7")


def test_what_counts_is_judged_on_the_day(lead):
    tool = ToolFactory(person=lead, calibrated=False)
    assert "no calibration on record" in tool.unfit_because(nm(100), on=today())
    CalibrationFactory(
        person=lead,
        tool=tool,
        calibrated_on=today() - timedelta(days=400),
        range_low=Decimal(60),
        range_high=Decimal(180),
    )
    tool = TorqueTool.objects.get(pk=tool.pk)
    then = today() - timedelta(days=100)
    assert tool.unfit_because(nm(100), on=then) == ""
    assert "was due for calibration" in tool.unfit_because(nm(100), on=today())
    assert "no calibration on record" in tool.unfit_because(nm(100), on=today() - timedelta(days=401))
    assert "outside the working range" in tool.unfit_because(nm("59.9"), on=then)
    assert tool.unfit_because(nm(60), on=then) == ""
    assert "(60 N·m to 180 N·m)" in tool.unfit_because(nm("180.1"), on=then)


def test_without_a_certified_range_it_is_20_to_100_percent_of_the_scale(lead):
    tool = ToolFactory(person=lead, scale_low=Decimal(10))
    assert tool.working_range(today()) == (nm("40.000"), nm("200.00"))


def test_a_dropped_tool_is_out_until_it_passes_again(lead, technician):
    tool = ToolFactory(person=lead)
    acts.report_drop(by=by(technician), tool=tool, what="fell off the bench")
    tool.refresh_from_db()
    assert tool.withdrawn_because == "dropped or damaged: fell off the bench"
    assert "is out of use since" in tool.unfit_because(nm(100), on=today())
    assert tool.unfit_because(nm(100), on=today() - timedelta(days=1)) == ""
    with pytest.raises(ValidationError, match="is out of use already since"):
        acts.withdraw_tool(by=by(lead), tool=tool, reason="bent")
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today() - timedelta(days=5))
    assert TorqueTool.objects.get(pk=tool.pk).withdrawn_at, "a calibration before the drop proves nothing"
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today())
    tool = TorqueTool.objects.get(pk=tool.pk)
    assert tool.withdrawn_at is None
    assert tool.unfit_because(nm(100), on=today()) == ""


def test_a_passed_calibration_does_not_whitewash_the_days_between(lead):
    tool = ToolFactory(person=lead)
    acts.report_drop(by=by(lead, made_at=timezone.now() - timedelta(days=6)), tool=tool, what="fell")
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today() - timedelta(days=2))
    tool = TorqueTool.objects.get(pk=tool.pk)
    assert "out of use" in tool.unfit_because(nm(100), on=today() - timedelta(days=4))
    assert tool.unfit_because(nm(100), on=today()) == ""


def test_a_failed_tool_raises_one_recheck_on_each_car(lead, technician, car, client):
    tool = ToolFactory(person=lead)
    run = RunFactory(person=lead, vehicle=car)
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 1, 3, 60, tool)
    unused = ToolFactory(person=lead)
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today(), passed=False)
    item = OutstandingItem.objects.get()
    assert (item.severity, item.reason, item.vehicle) == ("major", "recheck", car)
    assert tool.label in item.detail
    # The owner reads which joints, in plain words; the tool's number stands in the detail.
    assert str(run) in item.detail
    assert "failed its calibration" in TorqueTool.objects.get(pk=tool.pk).unfit_because(nm(60), on=today())
    acts.report_drop(by=by(technician), tool=tool, what="and then it fell")
    assert OutstandingItem.objects.count() == 1, "the car has its item already"
    acts.report_drop(by=by(technician), tool=unused, what="fell too")
    assert OutstandingItem.objects.count() == 1
    client.force_login(technician)
    page = client.get(tool.get_absolute_url()).content.decode()
    assert run.get_absolute_url() in page
    assert "1 run in doubt" in page


def test_a_second_failure_raises_the_runs_that_no_open_recheck_lists(lead, technician, car):
    tool = ToolFactory(person=lead)
    first = RunFactory(person=lead, vehicle=car, where="front left")
    click(technician, first, 1, 1, 60, tool)
    acts.report_drop(by=by(technician), tool=tool, what="fell")
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today())
    second = RunFactory(person=lead, line=first.line, where="front right")
    assert not click(technician, second, 1, 1, 60, tool).counts_not_because
    acts.report_drop(by=by(technician), tool=tool, what="fell again")
    items = list(OutstandingItem.objects.order_by("order"))
    assert [item.raised_by_run for item in items] == [first, second]
    assert str(first) not in items[1].detail, "it is on the open one already"
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today(), passed=False)
    assert OutstandingItem.objects.count() == 2, "nothing was tightened since"


def test_what_was_typed_stands_beside_the_logs_facts(lead, technician):
    from workshop.models import Event, EventDetail

    tool = ToolFactory(person=lead)
    acts.report_drop(by=by(technician), tool=tool, what="Corin knocked it off the bench")
    acts.correct_tool(by=by(lead), tool=tool, seen_version=2, reason="Corin asked", name="Corin's wrench",
                      iso_class="II-A")  # fmt: skip
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today(), note="Corin brought it")
    assert not Event.objects.filter(body__contains="Corin").exists()
    assert EventDetail.objects.filter(words__contains="Corin").count() == 4


def test_only_readings_since_the_last_good_calibration_are_in_doubt(lead, technician, car):
    tool = ToolFactory(person=lead)
    run = RunFactory(person=lead, vehicle=car)
    click(technician, run, 1, 1, 60, tool)
    CalibrationFactory(person=lead, tool=tool, calibrated_on=today())
    # The same day: the calibration may have been made before or after, so the reading stays in doubt.
    acts.report_drop(by=by(lead), tool=tool, what="fell")
    assert OutstandingItem.objects.count() == 1
    other = ToolFactory(person=lead, calibrated=False)
    CalibrationFactory(person=lead, tool=other, calibrated_on=today() - timedelta(days=300))
    old = RunFactory(person=lead, line=run.line)
    then = timezone.now() - timedelta(days=20)
    click(technician, begun(old, then), 1, 1, 60, other, made_at=then)
    CalibrationFactory(person=lead, tool=other, calibrated_on=today() - timedelta(days=10))
    acts.report_drop(by=by(lead), tool=other, what="fell")
    assert OutstandingItem.objects.count() == 1
    assert ToolFailure.objects.get(tool=other).since == today() - timedelta(days=10)


def test_a_reading_that_did_not_count_raises_nothing(lead, technician, car):
    tool = ToolFactory(person=lead, calibrated=False)
    run = RunFactory(person=lead, vehicle=car)
    assert click(technician, run, 1, 1, 60, tool).counts_not_because
    acts.report_drop(by=by(lead), tool=tool, what="fell")
    assert not OutstandingItem.objects.exists()


def test_a_tool_that_was_lost_in_good_order_raises_nothing(lead, technician, car):
    tool = ToolFactory(person=lead)
    run = RunFactory(person=lead, vehicle=car)
    click(technician, run, 1, 1, 60, tool)
    acts.withdraw_tool(by=by(lead), tool=tool, reason="sold", readings_doubted=False)
    assert not OutstandingItem.objects.exists()
    with pytest.raises(PermissionDenied):
        acts.withdraw_tool(by=by(technician), tool=tool, reason="sold")


def test_a_failed_gauge_is_followed_like_a_wrench(lead, technician, car):
    gauge = ToolFactory(
        person=lead, kind="angle", label="AG-1", scale_low=None, scale_high=None, calibrated=False
    )
    step = {
        "title": "Head",
        "fasteners": 1,
        "stages": [{"name": "Turn", "kind": "angle", "value": "90", "plus": "5"}],
    }
    run = RunFactory(person=lead, vehicle=car, steps=[step])
    click(technician, run, 1, 1, 90, gauge, kind="angle", unit="deg", angle_by="gauge")
    acts.report_drop(by=by(technician), tool=gauge, what="trodden on")
    assert OutstandingItem.objects.get().raised_by_run == run


@pytest.mark.parametrize("table", ["calibration", "toolfailure"])
def test_the_database_keeps_calibrations_and_failures(lead, table):
    tool = ToolFactory(person=lead)
    acts.report_drop(by=by(lead), tool=tool, what="fell")
    for statement in (f"UPDATE workshop_{table} SET made_at = made_at", f"DELETE FROM workshop_{table}"):
        with pytest.raises(DatabaseError, match="never altered"), transaction.atomic():
            connection.cursor().execute(statement)


def test_the_list_does_not_ask_more_with_more_tools(lead, client, django_assert_max_num_queries):
    client.force_login(lead)
    for _ in range(2):
        ToolFactory(person=lead)
        with django_assert_max_num_queries(9):
            page = client.get(reverse("workshop:tools"))
    assert page.status_code == 200


def test_tool_pages_are_the_shops_alone(client, lead, car_owner, technician):
    tool = ToolFactory(person=lead)
    client.force_login(car_owner)
    assert client.get(tool.get_absolute_url()).status_code == 403
    client.force_login(technician)
    assert client.get(reverse("workshop:tool-add")).status_code == 403
    answer = client.get(reverse("workshop:tool-drop", args=[tool.pk]))
    assert answer.status_code == 200
    key = answer.context["form"]["key"].value()
    client.post(reverse("workshop:tool-drop", args=[tool.pk]), {"key": key, "what": "fell into the pit"})
    assert ToolFailure.objects.get().what == "fell into the pit"


def test_a_correction_says_why_and_keeps_what_readings_were_judged_by(lead):
    tool = ToolFactory(person=lead)
    with pytest.raises(ValidationError, match="Say why this is corrected"):
        acts.correct_tool(by=by(lead), tool=tool, seen_version=1, reason=" ", name="Other")
    acts.correct_tool(by=by(lead), tool=tool, seen_version=1, reason="typing slip", name="Other", serial="S1")
    tool.refresh_from_db()
    assert (tool.name, tool.serial, tool.iso_class) == ("Other", "S1", "")


def test_complete_runs_stay_complete_when_their_tool_fails(lead, technician, car):
    """The car is checked again by its item; what was recorded is not rewritten."""
    from tests.factories.run import click_all

    tool = ToolFactory(person=lead)
    run = RunFactory(person=lead, vehicle=car)
    click_all(technician, run, tool)
    run = torque.complete_run(by=by(technician), run=run)
    acts.report_drop(by=by(lead), tool=tool, what="fell")
    run.refresh_from_db()
    assert run.completed_at


def test_whether_it_passed_is_asked_and_all_that_is_wrong_said_at_once(client, lead):
    tool = ToolFactory(person=lead, calibrated=False)
    client.force_login(lead)
    url = reverse("workshop:calibration-add", args=[tool.pk])
    form = client.get(url).context["form"]
    assert form.visible_fields()[0].name == "passed"
    assert form["passed"].value() is None
    answer = client.post(
        url,
        {
            "key": form["key"].value(),
            "calibrated_on": today() + timedelta(days=1),
            "due_on": today() - timedelta(days=3),
            "laboratory": "Brackwater Calibration",
            "range_low": "50",
            "range_high": "250",
        },
    )
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) >= {"passed", "certificate", "calibrated_on", "range_high"}
    assert not Calibration.objects.exists()


def test_a_failed_calibration_says_how_many_runs_are_in_doubt(client, lead, technician, car):
    tool = ToolFactory(person=lead)
    client.force_login(lead)
    url = reverse("workshop:calibration-add", args=[tool.pk])
    answer = client.post(
        url,
        {
            "key": client.get(url).context["form"]["key"].value(),
            "passed": "no",
            "calibrated_on": today(),
            "due_on": today() + timedelta(days=300),
            "laboratory": "Brackwater Calibration",
            "certificate": "BC-9",
        },
        follow=True,
    )
    assert "It failed: the tool is out of use." in answer.text
    assert answer.text.count("Calibrated: it failed") == 1
    assert f"due {date_format(today() + timedelta(days=300), 'j M Y')}" not in answer.text
    assert len([row for row in answer.context["history"] if row["day"] == today() and "failure" in row]) == 0
