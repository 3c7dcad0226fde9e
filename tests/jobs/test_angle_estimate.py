"""Torque plus angle: the preload that the angle adds, estimated in the editor, on the version and at the run."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from jobs.acts import procedure as acts
from jobs.acts import procedure_step as step_acts
from jobs.angle_estimate import estimates
from jobs.models import ProcedureStage, ProcedureStep, StageTarget
from jobs.step_questions import load_questions, load_words, unit_offers
from jobs.versions import _step_says, content_hash
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.run import RunFactory, click_all
from tests.factories.tool import ToolFactory
from tests.people import by

BOLT = {
    "thread": "M10",
    "property_class": "10.9",
    "nut_factor": D("0.164"),
    "clamped_length": D(50),
}
STAGES = [
    {"name": "Snug", "value": "20", "plus": "2", "unit": "N.m"},
    {"name": "Turn 45°", "kind": "angle", "value": "45", "plus": "5"},
]
STEP = {"title": "Main caps", "fasteners": 2, "pattern": "line", "stages": STAGES, **BOLT}


def step(**changes):
    return ProcedureStep(**{"title": "Main caps", "fasteners": 1, **BOLT, **changes})


def rows(*angles, snug="20", of=None):
    of = of or step()
    made = [(ProcedureStage(step=of, kind="torque", name="Snug"), StageTarget(value=D(snug), unit="N.m"))]
    for angle in angles:
        made.append(
            (ProcedureStage(step=of, kind="angle", name="Turn"), StageTarget(value=D(angle), unit="deg"))
        )
    return made


# The joint of the estimate: M10×1.5 threaded all through 50 mm, a steel sleeve of 14.63 + 5 mm round an 11 mm hole.
# δS = (5/78.54 + 50/52.30 + 5/52.30 + 4/78.54)/205000, δP = 50/(205000·207.6), both mm/N: 606.9 N for each degree.
@pytest.mark.outside("VDI 2230-1, compliance of an M10 threaded all through, worked by hand (from memory)")
def test_the_gain_of_the_angle(published):
    (one,) = estimates(step(), rows(45))
    published.close(one.gain.snug, 12195, rel=0.001, unit="N")
    published.close(one.gain.per_degree, 606.9, rel=0.001, unit="N per degree")
    assert "45° from the snug torque takes the preload from about 12.2 kN to about 39" in one.words
    assert "estimated" in one.words


def test_two_angles_add_up_and_end_at_the_yield():
    first, second = estimates(step(), rows(45, 45))
    assert not first.gain.yields
    assert second.gain.yields
    assert "90° from the snug torque" in second.words
    assert "yield, about 54.5 kN" in second.words
    assert "used once" in second.words


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"clamped_length": None}, "give clamped length"),
        ({"nut_factor": None, "thread": ""}, "give thread and friction"),
        ({"thread": "M11"}, "M11 is not in the thread table"),
        ({"property_class": "3.6"}, "is not a property class"),
        ({"property_class": "9.8", "thread": "M20"}, "up to M16 only"),
    ],
)
def test_what_is_missing_is_said(changes, said):
    of = step(**changes)
    (one,) = estimates(of, rows(45, of=of))
    assert one.gain is None
    assert said in one.words


def test_without_a_snug_torque_or_above_yield_nothing_is_estimated():
    of = step()
    (alone,) = estimates(of, rows(45)[1:])
    assert "no snug torque" in alone.words
    (over,) = estimates(of, rows(45, snug="200"))
    assert "yields at 54.5 kN" in over.words
    loosened = [rows(45)[0], (ProcedureStage(step=of, kind="loosen", name="Loosen"), None), rows(45)[1]]
    assert "no snug torque" in estimates(of, loosened)[0].words


def test_above_the_proof_load_it_is_questioned_unless_declared(lead):
    procedure = acts.add_procedure(by=by(lead), title="Main caps", area="engine")
    draft = acts.start_version(by=by(lead), procedure=procedure, source="Halden sheet 11-4")
    turned = {**STEP, "stages": [STAGES[0], {**STAGES[1], "name": "Turn 90°", "value": "90"}]}
    with pytest.raises(ValidationError) as refusal:
        step_acts.add_step(by=by(lead), version=draft, **turned)
    assert "above the proof load 48.1 kN" in " ".join(refusal.value.message_dict["kept_because"])
    declared = step_acts.add_step(by=by(lead), version=draft, **turned, to_yield=True)
    assert declared.questioned == ""


@pytest.mark.parametrize("length", [D("2.9"), D(501), D(-1)])
def test_a_clamped_length_that_can_not_be_is_refused(lead, length):
    procedure = acts.add_procedure(by=by(lead), title="Main caps", area="engine")
    draft = acts.start_version(by=by(lead), procedure=procedure, source="Halden sheet 11-4")
    with pytest.raises(ValidationError, match="between 3 and 500 mm"):
        step_acts.add_step(by=by(lead), version=draft, **{**STEP, "clamped_length": length}, to_yield=True)


@pytest.mark.parametrize("length", ["2", "600"])
def test_the_editor_says_so_beside_the_field(client, lead, length):
    client.force_login(lead)
    draft = ProcedureFactory(person=lead, steps=[WHEEL], released=False).versions.get()
    url = reverse("jobs:step-write", args=[draft.steps.get().pk])
    form = client.get(url).context["form"]
    typed = {
        "key": form["key"].value(), "seen": form["seen"].value(), "title": "Wheel nuts", "fasteners": "5",
        "pattern": "circle", "order_of_work": "stage_by_stage", "reuse": "reusable", "stage_count": "1",
        "stage-0-name": "Final", "stage-0-kind": "torque", "stage-0-t0-limit": "tolerance",
        "stage-0-t0-unit": "N.m", "stage-0-t0-value": "120", "stage-0-t0-plus": "10", "clamped_length": length,
    }  # fmt: skip
    answer = client.post(url, typed)
    assert answer.status_code == 422
    assert answer.context["form"].errors["clamped_length"] == ["A clamped length lies between 3 and 500 mm."]
    assert answer.context["form"]["clamped_length"].value() == length


def test_the_database_keeps_it_sane(lead):
    draft = ProcedureFactory(person=lead, steps=[WHEEL], released=False).versions.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        draft.steps.update(clamped_length=D(2))


def test_a_version_without_it_keeps_its_hash_and_one_with_it_has_another(lead):
    draft = ProcedureFactory(person=lead, steps=[WHEEL], released=False).versions.get()
    one = draft.steps.get()
    assert "clamped_length" not in _step_says(one)
    before = content_hash(draft)
    step_acts.change_step(by=by(lead), step=one, clamped_length=D(40))
    assert content_hash(draft) != before


def test_the_version_and_the_preview_say_it(client, lead):
    client.force_login(lead)
    procedure = ProcedureFactory(person=lead, steps=[STEP])
    page = client.get(procedure.released().get_absolute_url()).content.decode()
    assert "Turn 45°: 45° from the snug torque takes the preload" in page
    assert "Clamped length" in page
    draft = acts.start_version(by=by(lead), procedure=acts.add_procedure(by=by(lead), title="Caps", area="engine"),
                               source="Halden sheet 11-4")  # fmt: skip
    typed = {
        "title": "Caps", "fasteners": "2", "pattern": "line", "order_of_work": "stage_by_stage", "reuse": "reusable",
        "thread": "M10", "property_class": "10.9", "nut_factor": "0.164", "clamped_length": "50", "stage_count": "2",
        "stage-0-name": "Snug", "stage-0-kind": "torque", "stage-0-t0-limit": "tolerance", "stage-0-t0-unit": "N.m",
        "stage-0-t0-value": "20", "stage-1-name": "Turn", "stage-1-kind": "angle", "stage-1-t0-limit": "tolerance",
        "stage-1-t0-unit": "deg", "stage-1-t0-value": "45",
    }  # fmt: skip
    seen = client.post(reverse("jobs:step-preview", args=[draft.pk]), typed).content.decode()
    assert "Turn: 45° from the snug torque takes the preload" in seen
    missing = client.post(reverse("jobs:step-preview", args=[draft.pk]), {**typed, "clamped_length": ""})
    assert "give clamped length" in missing.content.decode()


def test_the_run_says_it_at_the_angle(client, lead, technician, car):
    run = RunFactory(person=lead, vehicle=car, steps=[STEP])
    click_all(technician, run, ToolFactory(person=lead, scale_low=D(10), scale_high=D(100)), values=(20,))
    client.force_login(technician)
    page = client.get(f"{run.get_absolute_url()}?angle_tool=paint_mark").content.decode()
    assert "45° from the snug torque takes the preload" in page


# A target in the wrong unit, in the editor ----------------------------------------------------------------


def test_the_editor_offers_the_other_unit_and_takes_it_with_one_tap(client, lead):
    client.force_login(lead)
    draft = acts.start_version(by=by(lead), procedure=acts.add_procedure(by=by(lead), title="Bar", area="engine"),
                               source="Halden sheet 40-2")  # fmt: skip
    url = reverse("jobs:step-add", args=[draft.pk])
    typed = {
        "key": client.get(url).context["form"]["key"].value(),
        "title": "Bracket", "fasteners": "2", "pattern": "line", "order_of_work": "stage_by_stage",
        "reuse": "reusable", "thread": "M8", "property_class": "8.8", "nut_factor": "0.2", "stage_count": "1",
        "stage-0-name": "Final", "stage-0-kind": "torque", "stage-0-t0-limit": "tolerance",
        "stage-0-t0-unit": "lbf.ft", "stage-0-t0-value": "30", "stage-0-t0-plus": "3", "note": "typed before",
    }  # fmt: skip
    page = client.post(url, typed).content.decode()
    assert "In N·m the number would be usual" in page
    assert '<button class="btn propose" name="op" value="unit=0-0:N.m">Final: it is 30 N·m</button>' in page
    changed = client.post(url, {**typed, "op": "unit=0-0:N.m"})
    form = changed.context["form"]
    assert form.stage_rows[0].targets[0]["unit"].value() == "N.m"
    assert form["note"].value() == "typed before"
    assert changed.context["preview"]["questions"] == []
    odd = client.post(url, {**typed, "op": "unit=7-x:furlong"})
    assert odd.status_code == 200


# Yield while twisted, M10 10.9 at µ 0.12: about 48.3 kN (VDI 2230-1); 61° take the preload to 12.2 + 61 · 0.607 = 49.2.
def test_between_the_two_yields_it_is_not_called_elastic():
    (one,) = estimates(step(), rows(61))
    assert one.gain.may_yield
    assert "may already yield" in one.words
    assert "elastic" not in one.words
    assert "stays elastic" in estimates(step(), rows(55))[0].words


def test_a_class_that_ends_below_the_thread_asks_nothing_and_breaks_nothing():
    of = step(property_class="9.8", thread="M20")
    stage, target = rows(45, of=of)[0]
    target.stage = stage
    assert load_questions(of, [target]) == []
    assert unit_offers(of, [target]) == []
    assert "up to M16 only" in load_words(of, [target])
