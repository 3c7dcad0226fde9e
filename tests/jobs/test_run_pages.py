"""The pages of a run: one request for each click, and nothing typed is lost."""

from __future__ import annotations

from decimal import Decimal

from django.urls import reverse

from jobs.models import Run, TorqueReading
from jobs.runs import state_of
from tests.factories.procedure import ProcedureFactory
from tests.factories.run import OpenLineFactory, RunFactory, click, click_all
from tests.factories.tool import ToolFactory
from tests.once import once


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car)


def post_reading(client, run, **changes):
    page = client.get(run.get_absolute_url())
    form = page.context["form"]
    data = {name: form[name].value() for name in ("key", "step", "stage", "fastener")}
    data.update({"kind": "clicked", "reading_value": "60", "reading_unit": "N.m"})
    data.update(changes)
    return client.post(reverse("jobs:reading-add", args=[run.pk]), data)


def test_clicked_at_the_set_value_is_one_request_per_fastener(client, technician, run, tool):
    """The form that comes back carries all that the next click needs: place, tool, set value, key."""
    client.force_login(technician)
    work = client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}", headers={"HX-Request": "true"})
    requests = 0
    while (form := work.context["form"]) is not None and work.context["state"].next:
        value = form["reading"].value()
        data = {name: form[name].value() for name in ("key", "step", "stage", "fastener")}
        data |= {
            "kind": "clicked",
            "reading_value": str(value.value),
            "reading_unit": value.unit,
            "tool": tool.pk,
        }
        work = client.post(reverse("jobs:reading-add", args=[run.pk]), data, headers={"HX-Request": "true"})
        assert work.status_code == 200
        assert work.headers["X-Saved-Key"] == str(data["key"])
        requests += 1
    assert requests == TorqueReading.objects.count() == 10
    assert state_of(run).complete
    assert "Complete the run" in work.content.decode()
    assert not TorqueReading.objects.filter(out_of_sequence=True).exists()


def test_a_refused_reading_comes_back_filled(client, technician, run, tool):
    client.force_login(technician)
    answer = post_reading(client, run, fastener="9", tool=tool.pk, reading_value="61,5", redo_reason="kept")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "This step has fasteners 1 to 5." in page
    assert 'value="61,5"' in page
    assert 'value="kept"' in page
    assert 'value="9"' in page
    answer = post_reading(client, run, reading_value="530", tool=tool.pk)
    assert answer.status_code == 422
    assert "530 lbf·in would fit" in answer.content.decode()
    assert "confirmed_odd" in answer.content.decode()
    assert post_reading(client, run, reading_value="530", confirmed_odd="on", tool=tool.pk).status_code == 302


def test_without_htmx_the_tool_is_kept_in_the_session(client, technician, run, tool):
    client.force_login(technician)
    first = client.get(run.get_absolute_url()).content.decode()
    assert "Which torque tool?" in first
    answer = post_reading(client, run, tool=tool.pk)
    assert answer.url == run.get_absolute_url()
    page = client.get(answer.url).content.decode()
    assert "Which torque tool?" not in page
    assert 'value="3"' in page, "fastener 3 is next"
    client.get(f"{run.get_absolute_url()}?torque_tool=none")
    assert "Which torque tool?" in client.get(run.get_absolute_url()).content.decode()


def test_the_target_stands_in_the_tools_unit_and_the_sources(client, lead, technician, run):
    client.force_login(technician)
    other = ToolFactory(person=lead, unit="lbf.ft", scale_low=Decimal(20), scale_high=Decimal(150))
    page = client.get(f"{run.get_absolute_url()}?torque_tool={other.pk}").content.decode()
    assert "<span data-target-figure>44.3</span>" in page
    assert "60 N·m (51 N·m to 69 N·m)" in page


def test_another_target_stops_until_the_wrench_is_set(client, technician, run, tool):
    client.force_login(technician)
    url = f"{run.get_absolute_url()}?torque_tool={tool.pk}"
    assert "It is set" not in client.get(url).content.decode(), "not at the very first stage"
    for fastener in (1, 3, 5, 2, 4):
        click(technician, run, 1, fastener, 60, tool)
    page = client.get(url)
    text = page.content.decode()
    assert "Set the wrench to" in text
    assert "120 N·m" in text
    assert 'value="clicked"' not in text
    said = page.context["set_url"]
    assert f'href="{said.replace("&", "&amp;")}#work"' in text
    page = client.get(said)
    text = page.content.decode()
    assert "It is set" not in text
    assert 'value="clicked"' in text
    number = page.context["said_set"]
    assert f'<input type="hidden" name="set" value="{number}">' in text
    answer = post_reading(client, run, fastener="9", tool=tool.pk, set=number)
    assert answer.status_code == 422
    assert 'value="clicked"' in answer.content.decode(), "what was typed is shown, not asked for anew"
    click(technician, run, 2, 1, 120, tool)
    assert "It is set" not in client.get(url).content.decode(), "the target is the last one's"


def test_a_tool_that_is_read_off_is_set_to_nothing(client, lead, technician, run, tool):
    client.force_login(technician)
    reads = ToolFactory(person=lead, kind="indicating")
    for fastener in (1, 3, 5, 2, 4):
        click(technician, run, 1, fastener, 60, tool)
    text = client.get(f"{run.get_absolute_url()}?torque_tool={reads.pk}").content.decode()
    assert "It is set" not in text
    assert 'value="read"' in text
    assert 'value="clicked"' not in text


def test_the_reason_of_a_refusal_stands_directly_above_the_button(client, technician, run, tool):
    client.force_login(technician)
    text = post_reading(client, run, fastener="9", tool=tool.pk).content.decode()
    assert text.count("This step has fasteners 1 to 5.") == 1
    between = text[text.index("This step has fasteners 1 to 5.") : text.index('class="btn hand record"')]
    assert "<input" not in between
    assert between.count("<button") == 1
    assert f'action="{reverse("jobs:reading-add", args=[run.pk])}#work"' in text


def test_a_procedure_for_other_cars_is_confirmed_on_the_form(client, lead, technician, car):
    client.force_login(technician)
    line = OpenLineFactory(person=lead, vehicle=car)
    procedure = ProcedureFactory(person=lead, title="Wheel nuts", applies_to="Halden Bulwark")
    url = reverse("jobs:run-start", args=[line.pk])
    page = client.get(url)
    assert "Wheel nuts (for: Halden Bulwark)" in page.content.decode()
    assert "The values are for this car" not in page.content.decode()
    data = {"key": page.context["form"]["key"].value(), "procedure": procedure.pk, "where": "rear"}
    answer = client.post(url, data)
    assert answer.status_code == 422
    assert "This car is 2006 Halden Drayman" in " ".join(answer.context["form"].errors["applies_confirmed"])
    assert "The values are for this car" in answer.content.decode()
    assert client.post(url, {**data, "applies_confirmed": "on"}).status_code == 302
    run = Run.objects.get(line=line)
    page = client.get(run.get_absolute_url()).content.decode()
    assert "written for: Halden Bulwark; Tamsin Orrell confirmed that the values are for this car" in page


def test_several_at_once_by_the_page(client, technician, run, tool):
    client.force_login(technician)
    url = reverse("jobs:round-add", args=[run.pk])
    form = client.get(url).context["form"]
    data = {
        "key": form["key"].value(),
        "step": form["step"].value(),
        "stage": form["stage"].value(),
        "fasteners": [1, 3],
        "kind": "clicked",
        "reading_value": "60",
        "reading_unit": "N.m",
        "tool": tool.pk,
    }
    assert client.post(url, {**data, "fasteners": []}).status_code == 422
    assert client.post(url, data).status_code == 302
    assert TorqueReading.objects.filter(entered_together=True).count() == 2


def test_starting_completing_and_giving_up_by_the_pages(client, lead, technician, car, tool):
    client.force_login(technician)
    line, procedure = OpenLineFactory(person=lead, vehicle=car), ProcedureFactory(person=lead)

    def send(url, **data):
        key = client.get(url).context["form"]["key"].value()
        return client.post(url, {"key": key, **data})

    answer = send(reverse("jobs:run-start", args=[line.pk]), procedure=procedure.pk, where="front right")
    run = Run.objects.get(line=line)
    assert answer.url == run.get_absolute_url()
    assert "front right" in client.get(line.get_absolute_url()).content.decode()
    refusal = send(reverse("jobs:run-complete", args=[run.pk]))
    assert refusal.status_code == 422
    assert "Round 1 is open on fasteners 1, 2, 3, 4, 5" in refusal.content.decode()
    click_all(technician, run, tool)
    assert send(reverse("jobs:run-complete", args=[run.pk])).status_code == 302
    other = RunFactory(person=lead, line=line)
    send(reverse("jobs:run-abandon", args=[other.pk]), abandoned_because="wrong nuts; hand-tight")
    other.refresh_from_db()
    assert other.abandoned_because == "wrong nuts; hand-tight"
    assert "wrong nuts" in client.get(other.get_absolute_url()).content.decode()


def test_the_front_desk_sees_a_run_and_records_nothing(client, front_desk, car_owner, run):
    client.force_login(front_desk)
    page = client.get(run.get_absolute_url())
    assert page.status_code == 200
    assert page.context["form"] is None
    assert client.post(reverse("jobs:reading-add", args=[run.pk]), {}).status_code == 403
    client.force_login(car_owner)
    assert client.get(run.get_absolute_url()).status_code == 403


def test_the_run_page_does_not_ask_more_with_more_readings(
    client, technician, run, tool, django_assert_num_queries
):
    client.force_login(technician)
    url = f"{run.get_absolute_url()}?torque_tool={tool.pk}"
    client.get(url)
    from django.db import connection as database
    from django.test.utils import CaptureQueriesContext

    click(technician, run, 1, 1, 60, tool)
    with CaptureQueriesContext(database) as few:
        client.get(url)
    for fastener in (3, 5, 2, 4):
        click(technician, run, 1, fastener, 60, tool)
    with django_assert_num_queries(len(few)):
        client.get(url)
    assert len(few) < 30


def test_running_torque_is_asked_for_beside_the_target(client, lead, technician, car, tool):
    stage = {
        "name": "Final",
        "value": "60",
        "tolerance_percent": "20",
        "unit": "N.m",
        "add_running_torque": True,
    }
    run = RunFactory(
        person=lead, vehicle=car, steps=[{"title": "Lock nuts", "fasteners": 2, "stages": [stage]}]
    )
    client.force_login(technician)
    text = client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}").content.decode()
    assert 'name="running_torque_value"' in text
    assert "The running torque is added to these limits." in text
    refused = post_reading(client, run, tool=tool.pk, running_torque_value="", running_torque_unit="N.m")
    assert "Measure the running torque of this fastener" in refused.content.decode()
    refused = post_reading(client, run, tool=tool.pk, running_torque_value="x4", running_torque_unit="N.m")
    assert 'value="x4"' in refused.content.decode()
    assert (
        post_reading(
            client, run, tool=tool.pk, running_torque_value="4", running_torque_unit="N.m"
        ).status_code
        == 302
    )
    assert TorqueReading.objects.get().running_torque == 4


def test_an_angle_is_turned_by_a_gauge_or_a_paint_mark(client, lead, technician, car):
    stage = {"name": "Turn 90°", "kind": "angle", "value": "90", "plus": "5"}
    run = RunFactory(person=lead, vehicle=car, steps=[{"title": "Head", "fasteners": 2, "stages": [stage]}])
    client.force_login(technician)
    assert "By what is the angle turned?" in client.get(run.get_absolute_url()).content.decode()
    page = client.get(f"{run.get_absolute_url()}?angle_tool=paint_mark")
    assert "Paint mark" in page.content.decode()
    data = {name: page.context["form"][name].value() for name in ("key", "step", "stage", "fastener")}
    data |= {"kind": "angle", "angle_by": "paint_mark", "reading_value": "90", "reading_unit": "deg"}
    assert client.post(reverse("jobs:reading-add", args=[run.pk]), data).status_code == 302
    assert TorqueReading.objects.get().angle_by == "paint_mark"


def test_in_rounds_until_nothing_moves_the_last_answer_is_offered_first(client, lead, technician, car, tool):
    stage = {"name": "Round", "value": "60", "tolerance_percent": "20", "unit": "N.m"}
    step = {"title": "Nuts", "fasteners": 2, "order_of_work": "until_still", "stages": [stage]}
    run = RunFactory(person=lead, vehicle=car, steps=[step])
    client.force_login(technician)
    url = f"{run.get_absolute_url()}?torque_tool={tool.pk}"
    assert client.get(url).context["kind"] == "clicked"
    click(technician, run, 1, 1, 60, tool)
    click(technician, run, 1, 2, 60, tool)
    click(technician, run, 1, 1, 60, tool, kind="did_not_move")
    page = client.get(url)
    assert (page.context["kind"], page.context["asks_why"]) == ("did_not_move", False)


def test_the_line_draws_how_far_its_runs_are(client, technician, run, tool):
    click(technician, run, 1, 1, 60, tool)
    client.force_login(technician)
    text = client.get(run.line.get_absolute_url()).content.decode()
    assert text.count('<g class="fastener done') == 1
    assert text.count('<g class="fastener') == 5


def test_a_refused_second_check_stays_on_the_run_and_nothing_is_chosen_beforehand(
    client, lead, technician, car, tool
):
    stage = {"name": "Final", "value": "120", "tolerance_percent": "15", "unit": "N.m"}
    final = {"title": "Wheel nuts", "fasteners": 5, "stages": [stage], "critical": True}
    run = RunFactory(person=lead, vehicle=car, steps=[final])
    click_all(technician, run, tool, values=(120,))
    step = state_of(run).steps[0].step
    client.force_login(lead)
    shown = client.get(run.get_absolute_url())
    assert shown.headers["Cache-Control"] == "private, no-store"
    form = shown.context["check_form"]
    assert form["result"].value() is None
    assert form["tool"].value() == tool.pk
    data = {"key": form["key"].value(), "method": "applied_again", "tool": tool.pk, "note": "kept words"}
    answer = client.post(reverse("jobs:second-check", args=[run.pk, step.pk]), data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="work"' in page
    assert "Say whether the joint is in order." in page
    assert "kept words" in page
    done = client.post(reverse("jobs:second-check", args=[run.pk, step.pk]), {**data, "result": "in_order"})
    assert done.url == run.get_absolute_url()
    assert "Correct the last reading" not in client.get(done.url).content.decode()


def test_that_only_a_lead_corrects_a_reading_above_is_said_before_the_form(
    client, lead, technician, run, tool
):
    row = click(technician, run, 1, 1, 75, tool)
    assert row.verdict == "above"
    url = f"{run.get_absolute_url()}?do=correct&reading={row.pk}"
    client.force_login(technician)
    page = client.get(url).content.decode()
    assert "Only a lead puts this right" in page
    assert "Record the correction" not in page
    assert reverse("jobs:dispose", args=[row.pk]) in page
    client.force_login(lead)
    assert "Record the correction" in client.get(url).content.decode()
