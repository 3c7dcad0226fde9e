"""The editor of procedures: what is typed comes back, is drawn and judged in sentences; two people; two
versions.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.acts import procedure as acts
from jobs.acts import procedure_step as step_acts
from jobs.models import Procedure, ProcedureStep, ProcedureVersion, StageTarget, TorqueReading
from jobs.version_compare import compare
from jobs.versions import content_hash, seen_order, seen_step_text
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.tool import ToolFactory
from tests.people import by
from workshop.acting import ChangedMeanwhile

ROUND = {
    "stage_count": "1",
    "stage-0-name": "Final",
    "stage-0-kind": "torque",
    "stage-0-t0-limit": "tolerance",
    "stage-0-t0-unit": "N.m",
    "stage-0-t0-value": "120",
    "stage-0-t0-tolerance_percent": "10",
}
STEP = {
    "title": "Wheel nuts",
    "fasteners": "5",
    "pattern": "circle",
    "order_of_work": "stage_by_stage",
    "reuse": "reusable",
}


@pytest.fixture
def draft(lead):
    procedure = acts.add_procedure(by=by(lead), title="Wheel nuts", area="wheels")
    return acts.start_version(by=by(lead), procedure=procedure, source="Halden sheet 40-2")


@pytest.fixture
def editor(client, lead):
    client.force_login(lead)

    def send(url, **data):
        key = client.get(url).context["form"]["key"].value()
        return client.post(url, {"key": key, **data})

    return send


def add_url(draft):
    return reverse("jobs:step-add", args=[draft.pk])


# The form -------------------------------------------------------------------------------------------------


def test_a_step_with_its_stages_in_one_form(editor, draft):
    two = {
        **ROUND,
        "stage_count": "2",
        "stage-1-name": "Turn",
        "stage-1-kind": "angle",
        "stage-1-t0-limit": "tolerance",
        "stage-1-t0-unit": "deg",
        "stage-1-t0-value": "90",
        "stage-1-t0-plus": "5",
        "stage-1-t0-source": "p. 40-12, edition 3",
        "stage-1-note": "again when cold",
    }
    answer = editor(add_url(draft), **STEP, **two)
    assert answer.url == draft.get_absolute_url()
    step = draft.steps.get()
    targets = StageTarget.objects.filter(stage__step=step).order_by("stage__order")
    assert [(t.stage.name, t.value, t.low, t.high) for t in targets] == [
        ("Final", Decimal(120), Decimal(108), Decimal(132)),
        ("Turn", Decimal(90), Decimal(85), Decimal(95)),
    ]
    assert [t.source_words for t in targets] == ["", "p. 40-12, edition 3"]


def test_opened_again_it_holds_what_was_written(client, lead, draft):
    step = step_acts.add_step(by=by(lead), version=draft, **WHEEL)
    client.force_login(lead)
    form = client.get(reverse("jobs:step-write", args=[step.pk])).context["form"]
    rows = [
        (row["name"].value(), row.targets[0]["value"].value(), row.targets[0]["plus"].value())
        for row in form.stage_rows
    ]
    assert rows == [("Round 1", "60", "9"), ("Round 2", "120", "10")]


def test_saved_as_it_was_opened_nothing_changes(client, editor, lead, draft):
    from tests.hand import filled

    step = step_acts.add_step(by=by(lead), version=draft, **WHEEL)
    before = seen_step_text(step)
    url = reverse("jobs:step-write", args=[step.pk])
    form = client.get(url).context["form"]
    data = {**filled(form, {}), "stage_count": str(len(form.stage_rows))}
    for row in form.stage_rows:
        for part in (row, *row.targets):
            for name in part.fields:
                value = part[name].value()
                if value not in (None, "", False):
                    data[part[name].html_name] = value
    assert client.post(url, data).status_code == 302
    assert seen_step_text(ProcedureStep.objects.get(pk=step.pk)) == before


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"stage-0-t0-value": "12x"}, "is not a number"),
        ({"stage-0-t0-unit": "deg"}, "Choose a unit that goes with a stage of kind torque"),
        ({"stage-0-t0-plus": "5"}, "Give the tolerance in percent or as a size, not both"),
        ({"stage-0-t0-tolerance_percent": "100"}, "Give less than 100 percent"),
        ({"stage-0-t0-value": "6000"}, "is above 5000 N·m: look at the unit"),
        ({"stage-0-name": ""}, "Name the stage"),
        ({"stage-0-t0-limit": "range"}, "Give the lower value"),
        ({"fasteners": "61"}, "A step has between 1 and 60 fasteners"),
        ({"pattern": "grid", "rows": "2", "columns": "2"}, "2 rows of 2 make 4 fasteners, not 5"),
        ({"sequence": "1 2 3 4"}, "The sequence leaves out 5"),
        ({"pattern": "free", "points": "0.5 0.5"}, "Give one place for each of the 5 fasteners"),
        ({"hold_point": "on"}, "A hold point needs a second check"),
    ],
)
def test_what_is_wrong_comes_back_filled_with_its_sentence(editor, draft, typed, sentence):
    answer = editor(add_url(draft), **{**STEP, **ROUND, **typed})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert sentence in text
    assert 'value="Wheel nuts"' in text
    assert draft.steps.count() == 0


def test_a_button_that_changes_the_form_saves_nothing_and_loses_nothing(editor, draft):
    answer = editor(add_url(draft), **{**STEP, **ROUND, "stage-0-note": "when cold", "op": "rows=add"})
    form = answer.context["form"]
    assert answer.status_code == 200
    assert [row["name"].value() for row in form.stage_rows] == ["Final", None]
    assert form.stage_rows[0]["note"].value() == "when cold"
    answer = editor(add_url(draft), **{**STEP, **ROUND, "op": "sequence=1 2 3 4 5"})
    assert answer.context["form"]["sequence"].value() == "1 2 3 4 5"
    two = {**ROUND, "stage_count": "2", "stage-1-name": "After", "stage-1-kind": "loosen"}
    answer = editor(add_url(draft), **{**STEP, **two, "op": "rows=up:1"})
    assert [row["name"].value() for row in answer.context["form"].stage_rows] == ["After", "Final"]
    answer = editor(add_url(draft), **{**STEP, **two, "op": "rows=drop:0"})
    assert [row["name"].value() for row in answer.context["form"].stage_rows] == ["After"]
    assert draft.steps.count() == 0


def test_groups_bring_a_target_each(editor, draft):
    groups = {"fastener_groups": "long: 1 2\nshort: 3 4 5"}
    answer = editor(add_url(draft), **{**STEP, **ROUND, **groups, "op": "rows="})
    assert [target.group for target in answer.context["form"].stage_rows[0].targets] == ["long", "short"]
    short = {"stage-0-t1-limit": "minimum", "stage-0-t1-unit": "N.m", "stage-0-t1-low": "40"}
    assert editor(add_url(draft), **{**STEP, **ROUND, **groups, **short}).status_code == 302
    targets = StageTarget.objects.order_by("group")
    assert [(t.group, t.limit) for t in targets] == [("long", "tolerance"), ("short", "minimum")]


@pytest.mark.parametrize("place", ["99", "x", ""])
@pytest.mark.parametrize("what", ["drop", "up", "down"])
def test_a_made_up_row_is_no_fault_of_the_server(editor, draft, what, place):
    assert editor(add_url(draft), **{**STEP, **ROUND, "op": f"rows={what}:{place}"}).status_code == 200


# Drawn while it is typed ----------------------------------------------------------------------------------


def preview(client, draft, **typed):
    return client.post(reverse("jobs:step-preview", args=[draft.pk]), {**STEP, **ROUND, **typed})


@pytest.mark.parametrize(
    ("typed", "count", "said"),
    [
        ({}, 5, "1–3–5–2–4"),
        ({"pattern": "line", "fasteners": "6"}, 6, "From the middle outwards"),
        ({"pattern": "grid", "fasteners": "6", "rows": "2", "columns": "3"}, 6, "From the middle outwards"),
        ({"pattern": "free", "fasteners": "2", "points": "0.1 0.2\n0,9 0,8"}, 2, "One after the other"),
        (
            {"pattern": "free", "fasteners": "4", "points": "0.1 0.2\n0.9 0.8"},
            2,
            "Give one place for each of the 4",
        ),
        ({"pattern": "grid", "rows": "2", "columns": "2"}, 4, "2 rows of 2 make 4 fasteners, not 5"),
        ({"sequence": "1 1 2"}, 5, "The sequence leaves out 3, 4, 5"),
        ({"sequence": "one"}, 5, "Type whole numbers"),
        ({"fasteners": ""}, 0, "Say how many fasteners there are"),
        ({"fasteners": "900"}, 0, "between 1 and 60"),
        ({"points": "x", "pattern": "free"}, 5, "Write one place a line"),
    ],
)
def test_what_is_typed_is_drawn_as_far_as_it_goes(client, lead, draft, typed, count, said):
    client.force_login(lead)
    answer = preview(client, draft, **typed)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert text.count('<g class="fastener') == count
    assert said in text
    assert draft.steps.count() == 0


def test_the_load_is_asked_about_beside_the_form(client, lead, draft):
    """M8 8.8 at 120 N·m: far above the proof load of ISO 898-1."""
    client.force_login(lead)
    text = preview(client, draft, thread="M8", property_class="8.8", nut_factor="0,2").content.decode()
    assert "Look again" in text
    assert "proof load" in text


def test_the_preview_is_only_for_who_may_write(client, technician, draft):
    client.force_login(technician)
    assert preview(client, draft).status_code == 403


# Two people -----------------------------------------------------------------------------------------------


def test_both_texts_stand_there_when_somebody_wrote_meanwhile(client, lead, shop_owner, draft):
    step = step_acts.add_step(by=by(lead), version=draft, **WHEEL)
    client.force_login(lead)
    url = reverse("jobs:step-write", args=[step.pk])
    form = client.get(url).context["form"]
    step_acts.rewrite_step(
        by=by(shop_owner),
        step=step,
        title="Nuts of the steel wheel",
        stages=[{**WHEEL["stages"][0], "value": "65"}],
    )
    data = {
        "key": form["key"].value(),
        "seen": form["seen"].value(),
        **STEP,
        **ROUND,
        "title": "Nuts of the alloy",
    }
    answer = client.post(url, data)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert f"{shop_owner} changed this at " in text
    assert "Nuts of the steel wheel" in text
    assert 'value="Nuts of the alloy"' in text
    assert "Round 1: 65 N·m" in text
    again = {**data, "seen": answer.context["form"]["seen"].value()}
    assert client.post(url, again).status_code == 302, "saved with both in view"
    assert draft.steps.get().title == "Nuts of the alloy"


def test_a_move_on_an_order_that_has_changed_is_refused(client, lead, shop_owner, draft):
    made = [step_acts.add_step(by=by(lead), version=draft, **{**WHEEL, "title": name}) for name in "ABC"]
    seen = seen_order(draft)
    step_acts.move_step(by=by(shop_owner), step=made[2], up=True, seen=seen)
    with pytest.raises(ChangedMeanwhile):
        step_acts.move_step(by=by(lead), step=made[1], up=True, seen=seen)
    client.force_login(lead)
    url = reverse("jobs:step-move", args=[made[1].pk])
    key = client.get(url).context["form"]["key"].value()
    answer = client.post(url, {"key": key, "up": "on", "seen": seen})
    assert answer.status_code == 422
    assert "The order is now: 1 A, 2 C, 3 B." in answer.content.decode()


@pytest.mark.every_database
def test_moved_and_copied_by_one_tap_each(client, lead, draft):
    for name in ("A", "B"):
        step_acts.add_step(by=by(lead), version=draft, **{**WHEEL, "title": name})
    client.force_login(lead)
    rows = client.get(draft.get_absolute_url()).context["steps"]
    form = rows[1]["up"]
    url = reverse("jobs:step-move", args=[rows[1]["step"].pk])
    data = {"key": form["key"].value(), "seen": form["seen"].value(), "up": "on"}
    assert client.post(url, data).status_code == 302
    assert [step.title for step in draft.steps.order_by("order")] == ["B", "A"]
    first = draft.steps.get(order=1)
    client.post(reverse("jobs:step-copy", args=[first.pk]), {"key": rows[0]["copy"]["key"].value()})
    assert [(step.order, step.title) for step in draft.steps.order_by("order")] == [
        (1, "B"),
        (2, "B (copy)"),
        (3, "A"),
    ]
    assert StageTarget.objects.filter(stage__step=draft.steps.get(order=2)).count() == 2


# Versions -------------------------------------------------------------------------------------------------


def test_a_new_version_is_one_tap_and_says_what_changed_when_it_is_released(client, lead):
    procedure = ProcedureFactory(
        person=lead, version={"cautions": "Car on stands.", "recheck_km": Decimal(50)}, title="Nuts"
    )
    old = procedure.released()
    client.force_login(lead)
    page = client.get(procedure.get_absolute_url())
    key = page.context["plain"]["key"].value()
    answer = client.post(reverse("jobs:version-add", args=[procedure.pk]), {"key": key})
    draft = ProcedureVersion.objects.get(released_at=None)
    assert answer.url == draft.get_absolute_url()
    assert (draft.source, draft.cautions, draft.recheck_km) == (old.source, "Car on stands.", Decimal(50))
    assert compare(old, draft).count == 0
    with pytest.raises(ValidationError) as refusal:
        acts.release_version(by=by(lead), version=draft)
    assert "Say what changed against the version before" in refusal.value.message_dict["change_note"][0]
    release = reverse("jobs:version-release", args=[draft.pk])
    key = client.get(release).context["form"]["key"].value()
    assert (
        client.post(release, {"key": key, "change_note": "Checked again, all as before."}).status_code == 302
    )
    draft.refresh_from_db()
    assert (draft.released_by, draft.change_note) == (lead, "Checked again, all as before.")


def test_what_is_missing_stands_all_together_with_the_way_to_mend_it(client, lead, draft):
    client.force_login(lead)
    empty = client.get(draft.get_absolute_url()).content.decode()
    assert "without steps" in empty
    assert "Add the first step" in empty
    step_acts.add_step(by=by(lead), version=draft, **{**WHEEL, "stages": []})
    groups = {"long": [1, 2], "short": [3, 4, 5]}
    stage = {"name": "Final", "targets": [{"group": "long", "value": "50", "plus": "5", "unit": "N.m"}]}
    other = step_acts.add_step(
        by=by(lead), version=draft, **{**WHEEL, "title": "Mixed", "groups": groups, "stages": [stage]}
    )
    page = client.get(reverse("jobs:version-release", args=[draft.pk]))
    assert [lack.text for lack in page.context["lacks"]] == [
        "Step 1, Wheel nuts, tightens nothing yet: add a stage with its target.",
        "Step 2, stage Final: no target for short.",
    ]
    assert reverse("jobs:step-write", args=[other.pk]) in page.content.decode()
    key = page.context["form"]["key"].value()
    refused = client.post(reverse("jobs:version-release", args=[draft.pk]), {"key": key})
    assert refused.status_code == 422
    assert "no target for short" in refused.content.decode()


def test_a_released_version_has_no_editor(client, lead):
    version = ProcedureFactory(person=lead).released()
    client.force_login(lead)
    for url in (
        reverse("jobs:step-add", args=[version.pk]),
        reverse("jobs:step-write", args=[version.steps.get().pk]),
    ):
        assert client.get(url).url == version.get_absolute_url()
        assert client.post(url, {**STEP, **ROUND}).url == version.get_absolute_url()


def test_the_source_of_a_value_is_part_of_what_was_released(lead):
    plainly = ProcedureFactory(person=lead, title="A").released()
    before = content_hash(plainly)
    with_source = ProcedureFactory(
        person=lead,
        title="B",
        steps=[{**WHEEL, "stages": [{**WHEEL["stages"][0], "source": "p. 9", "shops_own": True}]}],
    ).released()
    target = StageTarget.objects.get(stage__step__version=with_source)
    assert target.source_words == "the shop's own value, p. 9"
    assert content_hash(plainly) == before
    assert content_hash(with_source) != before


@pytest.mark.every_database
def test_any_two_versions_compared_in_words(client, lead):
    procedure = ProcedureFactory(
        person=lead, title="Hub", steps=[WHEEL, {**WHEEL, "title": "Cover", "pattern": "line"}]
    )
    old = procedure.released()
    new = acts.copy_released(by=by(lead), procedure=procedure)
    nuts, cover = new.steps.order_by("order")
    step_acts.rewrite_step(
        by=by(lead),
        step=nuts,
        critical=True,
        sequence=[1, 2, 3, 4, 5],
        stages=[
            WHEEL["stages"][0],
            {**WHEEL["stages"][1], "value": "110", "source": "p. 40-12, edition 4"},
            {"name": "Turn", "kind": "angle", "value": "90", "plus": "5"},
        ],
    )
    step_acts.remove_step(by=by(lead), step=cover)
    step_acts.add_step(by=by(lead), version=new, **{**WHEEL, "title": "Cap"})
    new = acts.write_version(by=by(lead), version=new, source="sheet 41")
    found = compare(old, new)
    assert [(row.what, row.before, row.after) for row in found.version] == [
        ("Source of its values", "Halden sheet 40-2", "sheet 41")
    ]
    first, second = found.steps
    said = {row.what: (row.before, row.after) for row in first.differences}
    assert said == {
        "Sequence": ("1–3–5–2–4", "1–2–3–4–5"),
        "Critical: needs a second check by another person": ("no", "yes"),
        "Stage Round 2, target": (
            "120 N·m (110 N·m to 130 N·m)",
            "110 N·m (100 N·m to 120 N·m), p. 40-12, edition 4",
        ),
        "Stage Turn": ("(not there)", "90° (85° to 95°)"),
    }
    assert first.drawings is not None
    # At the same place under another title: renamed, and what else of it changed.
    assert second.before.title == "Cover"
    assert {row.what for row in second.differences} >= {"Title", "Pattern"}
    client.force_login(lead)
    url = reverse("jobs:versions-compare", args=[procedure.pk])
    text = client.get(url).content.decode()
    assert "110 N·m (100 N·m to 120 N·m), p. 40-12, edition 4" in text
    assert client.get(url, {"a": "2", "b": "2"}).status_code == 404
    assert client.get(url, {"a": "x", "b": "9"}).status_code == 200
    back = compare(new, old)
    assert back.count == found.count


def test_one_version_has_nothing_to_compare(client, lead):
    procedure = ProcedureFactory(person=lead)
    client.force_login(lead)
    answer = client.get(reverse("jobs:versions-compare", args=[procedure.pk]), follow=True)
    assert "There is one version only" in answer.content.decode()


# The run as it will be ------------------------------------------------------------------------------------


def test_the_preview_shows_the_run_and_records_nothing(client, lead, technician, draft):
    ToolFactory(person=lead, label="TW-03")
    step_acts.add_step(by=by(lead), version=draft, **{**WHEEL, "critical": True, "reuse": "new"})
    step_acts.add_step(by=by(lead), version=draft, **{**WHEEL, "title": "Without stages", "stages": []})
    client.force_login(technician)
    url = reverse("jobs:version-preview", args=[draft.pk])
    text = client.get(url).content.decode()
    assert "Nothing is recorded here." in text
    assert "Stage 1 of 2" in text
    assert "<fieldset disabled>" in text
    assert "TW-03" in text
    assert "used once only" in text
    stage = draft.steps.get(order=1).stages.get(order=2)
    text = client.get(url, {"stage": stage.pk, "fastener": "4"}).content.decode()
    assert "Stage 2 of 2" in text
    assert "5th of 5" in text
    assert TorqueReading.objects.count() == 0


def test_the_preview_of_nothing_says_so(client, lead, draft):
    client.force_login(lead)
    assert (
        "There is no stage to tighten yet"
        in client.get(reverse("jobs:version-preview", args=[draft.pk])).content.decode()
    )


# The library ----------------------------------------------------------------------------------------------


def test_the_library_is_searched_and_filtered(client, lead):
    ProcedureFactory(person=lead, title="Wheel nuts, five", area="wheels", applies_to="Halden Drayman")
    brakes = ProcedureFactory(person=lead, title="Caliper", area="brakes")
    acts.copy_released(by=by(lead), procedure=brakes)
    gone = ProcedureFactory(person=lead, title="Old hub", area="wheels")
    acts.withdraw_procedure(by=by(lead), procedure=gone, seen_version=1, withdrawn_because="recalled")
    client.force_login(lead)

    def found(**query):
        return [str(row) for row in client.get(reverse("jobs:procedures"), query).context["page_obj"]]

    assert found() == ["Caliper", "Wheel nuts, five"]
    assert found(q="drayman five") == ["Wheel nuts, five"]
    assert found(q="sheet 40-2", area="brakes") == ["Caliper"]
    assert found(show="drafts") == ["Caliper"]
    assert found(show="withdrawn") == ["Old hub"]
    assert found(show="all", area="wheels") == ["Old hub", "Wheel nuts, five"]
    assert found(area="nonsense", show="nonsense") == ["Caliper", "Wheel nuts, five"]
    assert (
        "No procedure fits this search"
        in client.get(reverse("jobs:procedures"), {"q": "zzz"}).content.decode()
    )
    part = client.get(reverse("jobs:procedures"), {"q": "caliper"}, headers={"HX-Request": "true"})
    assert "<h1" not in part.content.decode()


@pytest.mark.every_database
def test_withdrawn_and_taken_up_again(client, lead):
    procedure = ProcedureFactory(person=lead)
    acts.withdraw_procedure(by=by(lead), procedure=procedure, seen_version=1, withdrawn_because="recalled")
    client.force_login(lead)
    form = client.get(procedure.get_absolute_url()).context["take_up"]
    data = {"key": form["key"].value(), "seen_version": form["seen_version"].value()}
    assert client.post(reverse("jobs:procedure-take-up", args=[procedure.pk]), data).status_code == 302
    procedure.refresh_from_db()
    assert procedure.withdrawn_because == ""
    with pytest.raises(ValidationError, match="is in use"):
        acts.take_up_procedure(by=by(lead), procedure=procedure, seen_version=procedure.version)


def test_the_name_stays_once_a_version_is_released(lead):
    ProcedureFactory(person=lead, title="Hub")
    procedure = Procedure.objects.get()
    with pytest.raises(ValidationError) as refusal:
        acts.write_procedure(by=by(lead), procedure=procedure, seen_version=1, title="Hubs", area="engine")
    assert "prints carry that name" in refusal.value.message_dict["title"][0]
    acts.write_procedure(
        by=by(lead), procedure=procedure, seen_version=1, title="Hub", area="brakes", applies_to="Veldt"
    )
    with pytest.raises(ChangedMeanwhile):
        acts.write_procedure(by=by(lead), procedure=procedure, seen_version=1, title="Hub", area="fuel")


def test_the_editor_asks_no_more_with_more_stages(client, lead, draft, django_assert_max_num_queries):
    few = step_acts.add_step(by=by(lead), version=draft, **WHEEL)
    many = step_acts.add_step(
        by=by(lead),
        version=draft,
        **{
            **WHEEL,
            "title": "Many",
            "stages": [{**WHEEL["stages"][0], "name": f"Round {n}"} for n in range(12)],
        },
    )
    client.force_login(lead)
    client.get(reverse("jobs:step-write", args=[few.pk]))
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as little:
        client.get(reverse("jobs:step-write", args=[few.pk]))
    with django_assert_max_num_queries(len(little)):
        client.get(reverse("jobs:step-write", args=[many.pk]))
    assert len(little) < 25
