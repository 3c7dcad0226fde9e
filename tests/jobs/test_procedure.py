"""The library of procedures: drafts, questions with their numbers, and released versions that never
change.
"""

from __future__ import annotations

from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from jobs.acts import procedure as acts
from jobs.acts import procedure_step as procedure_step_acts
from jobs.models import Procedure, ProcedureStage, ProcedureStep, ProcedureVersion, StageTarget
from jobs.step_questions import load_words
from jobs.versions import content_hash, seen_step_text, why_not_whole
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.people import by
from workshop.models import Shop


@pytest.fixture
def draft(lead):
    procedure = acts.add_procedure(by=by(lead), title="Wheel nuts", area="wheels")
    return acts.start_version(by=by(lead), procedure=procedure, source="Halden sheet 40-2")


def step(lead, draft, **fields):
    return procedure_step_acts.add_step(by=by(lead), version=draft, **{**WHEEL, **fields})


def stage(**fields):
    return [{"name": "Final", "unit": "N.m", **fields}]


def target(step) -> StageTarget:
    return StageTarget.objects.get(stage__step=step)


def test_a_draft_takes_steps_and_is_released_once(lead, draft):
    made = step(lead, draft)
    assert made.sequence == [1, 3, 5, 2, 4]
    acts.release_version(by=by(lead), version=draft)
    draft.refresh_from_db()
    assert draft.released_by == lead
    for late in (
        lambda: step(lead, draft),
        lambda: procedure_step_acts.remove_step(by=by(lead), step=made),
        lambda: procedure_step_acts.rewrite_step(by=by(lead), step=made, stages=stage(value="5")),
        lambda: procedure_step_acts.copy_step(by=by(lead), step=made),
        lambda: procedure_step_acts.change_step(by=by(lead), step=made, title="Other"),
        lambda: acts.write_version(by=by(lead), version=draft, source="other"),
        lambda: acts.release_version(by=by(lead), version=draft),
    ):
        with pytest.raises(ValidationError, match="is released and never changes"):
            late()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE jobs_procedureversion SET source = 'x'",
        "DELETE FROM jobs_procedureversion",
        "UPDATE jobs_procedurestep SET fasteners = 4",
        "DELETE FROM jobs_procedurestep",
        "UPDATE jobs_procedurestage SET name = 'x'",
        "DELETE FROM jobs_procedurestage",
        "UPDATE jobs_stagetarget SET base_low = 1",
        "DELETE FROM jobs_stagetarget",
        'INSERT INTO jobs_stagetarget (stage_id, "group", "limit", unit, tolerance_is_shops)'
        " SELECT id, 'x', 'none', 'N.m', FALSE FROM jobs_procedurestage",
    ],
)
def test_the_database_itself_keeps_a_released_version(lead, statement):
    ProcedureFactory(person=lead)
    with (
        pytest.raises(DatabaseError, match="A released version of a procedure never changes"),
        transaction.atomic(),
    ):
        connection.cursor().execute(statement)


def test_editing_makes_a_new_version_that_begins_as_a_copy(lead):
    procedure = ProcedureFactory(person=lead)
    old = procedure.released()
    new = acts.start_version(by=by(lead), procedure=procedure, source="sheet 41")
    assert new.number == 2
    assert [s.title for s in new.steps.all()] == [s.title for s in old.steps.all()]
    assert StageTarget.objects.filter(stage__step__version=new).count() == 2
    with pytest.raises(ValidationError, match="There is a draft already"):
        acts.start_version(by=by(lead), procedure=procedure, source="sheet 42", change_note="x")
    procedure_step_acts.remove_step(by=by(lead), step=new.steps.get())
    assert old.steps.count() == 1
    with pytest.raises(ValidationError, match="without steps"):
        acts.release_version(by=by(lead), version=new)
    assert Procedure.objects.get(pk=procedure.pk).released() == old


def test_two_people_do_not_begin_two_drafts(lead, draft):
    """Also past the act: the rule stands in the database."""
    with pytest.raises(DatabaseError), transaction.atomic():
        ProcedureVersion.objects.create(
            **by(lead).stamp(), procedure=draft.procedure, number=9, source="other"
        )


def test_only_leads_write_and_everybody_in_the_shop_reads(client, lead, technician, car_owner):
    procedure = ProcedureFactory(person=lead)
    with pytest.raises(PermissionDenied, match="You may not write and release procedures"):
        acts.add_procedure(by=by(technician), title="Mine", area="body")
    client.force_login(technician)
    assert client.get(procedure.get_absolute_url()).status_code == 200
    assert client.get(reverse("jobs:procedures")).status_code == 200
    assert client.get(reverse("jobs:procedure-add")).status_code == 403
    client.force_login(car_owner)
    assert client.get(procedure.get_absolute_url()).status_code == 403


def test_the_same_key_is_one_procedure_and_a_title_is_given_once(lead):
    key = uuid4()
    first = acts.add_procedure(by=by(lead, key=key), title="Caliper", area="brakes")
    assert acts.add_procedure(by=by(lead, key=key), title="Caliper", area="brakes") == first
    with pytest.raises(ValidationError, match="is in the library already"):
        acts.add_procedure(by=by(lead), title="caliper", area="brakes")


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"fasteners": 0}, "fasteners", "between 1 and 60"),
        ({"fasteners": 61}, "fasteners", "between 1 and 60"),
        ({"sequence": [1, 2, 3, 4]}, "sequence", "leaves out 5. Each fastener from 1 to 5"),
        ({"sequence": [1, 2, 3, 4, 4, 5]}, "sequence", "more than once"),
        ({"sequence": [1, 2, 3, 4, 5, 6]}, "sequence", "but there are 5 fasteners"),
        ({"pattern": "grid", "rows": 2, "columns": 2}, "rows", "2 rows of 2 make 4 fasteners, not 5"),
        ({"pattern": "free", "points": [[0, 0]]}, "points", "Give one place for each of the 5 fasteners"),
        ({"groups": {"long": [1, 2]}}, "groups", "belongs to one group"),
        ({"groups": {"long": [1, 2, 3], "short": [3, 4, 5]}}, "groups", "belongs to one group"),
        ({"order_of_work": "by_groups"}, "order_of_work", "needs groups"),
        ({"hold_point": True}, "__all__", "mark the step as critical"),
        ({"nut_factor": Decimal(2)}, "__all__", "A nut factor lies between 0 and 1"),
        ({"stages": stage(value="x")}, "value", "not a number"),
        ({"stages": stage(value="-5")}, "value", "without a minus sign"),
        ({"stages": stage(value="1.2345")}, "value", "at most three decimals"),
        ({"stages": stage(value="0")}, "value", "A target is above 0"),
        ({"stages": stage(value="6000")}, "value", "6000 N·m is above 5000 N·m: look at the unit"),
        ({"stages": stage(value="50", tolerance_percent="5", plus="2")}, "tolerance_percent", "not both"),
        ({"stages": stage(value="5", plus="6")}, "minus", "reaches below 0"),
        ({"stages": stage(low="9", high="8")}, "high", "can't be below the lower one (9)"),
        ({"stages": stage(limit="range", low="9")}, "high", "Give the upper value"),
        ({"stages": stage(value="50", unit="deg")}, "unit", "Choose a unit"),
        ({"stages": stage(value="50", unit="")}, "unit", "Choose a unit"),
        ({"stages": stage(value="50", group="long")}, "group", "is not a group of this step"),
        ({"stages": stage(name="", value="50")}, "name", "Name the stage"),
    ],
)
def test_a_step_that_can_not_be_is_refused_with_its_limit(lead, draft, fields, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        step(lead, draft, **fields)
    assert sentence in " ".join(refusal.value.message_dict[field])
    assert not ProcedureStep.objects.exists()


@pytest.mark.parametrize(
    ("given", "limit", "low", "high"),
    [
        ({"value": "120", "tolerance_percent": "5"}, "tolerance", "114", "126"),
        ({"value": "120", "plus": "6"}, "tolerance", "114", "126"),
        ({"value": "120", "plus": "10", "minus": "0"}, "tolerance", "120", "130"),
        ({"value": "120", "minus": "10"}, "tolerance", "110", "120"),
        ({"low": "100", "high": "130"}, "range", "100", "130"),
        ({"low": "100"}, "minimum", "100", None),
        ({"high": "40"}, "maximum", None, "40"),
        ({}, "none", None, None),
    ],
)
def test_every_kind_of_limit(lead, draft, given, limit, low, high):
    made = target(step(lead, draft, stages=stage(**given)))
    expected = (limit, low and Decimal(low), high and Decimal(high))
    assert (made.limit, made.base_low, made.base_high) == expected
    assert not made.tolerance_is_shops


# NIST SP 811 (2008), Appendix B.8: 1 lbf·ft = 1.355818 N·m, 1 lbf·in = 0.1129848 N·m, 1 kgf·m = 9.80665 N·m.
@pytest.mark.parametrize(
    ("value", "unit", "base"),
    [("75", "lbf.ft", 101.686346), ("250", "lbf.in", 28.246207), ("12", "kgf.m", 117.6798)],
)
def test_the_makers_unit_is_kept_and_the_base_is_stored(lead, draft, value, unit, base):
    made = target(
        step(lead, draft, stages=[{"name": "Final", "value": value, "tolerance_percent": "10", "unit": unit}])
    )
    assert (made.value, made.unit) == (Decimal(value), unit)
    assert float(made.base_value) == pytest.approx(base, rel=1e-6)


def test_one_value_without_a_tolerance_takes_the_shops_and_says_so(lead, draft):
    made = target(step(lead, draft, stages=stage(value="120")))
    assert made.tolerance_is_shops
    assert (made.low, made.high) == (108, 132)
    assert made.words == "120 N·m (108 N·m to 132 N·m, shop's own tolerance)"


# ISO 14253-1 with ±4 %: of 96 to 104 N·m a single point is proven; of 97 to 103 nothing is (computed).
def test_a_default_that_no_tool_could_prove_is_questioned(lead, draft):
    ToolFactory(person=lead)
    Shop.objects.update(default_tolerance_percent=Decimal("3"))
    with pytest.raises(ValidationError) as refusal:
        step(lead, draft, stages=stage(value="100"))
    assert "no torque tool of the shop proves a value within this tolerance" in str(refusal.value)
    kept = step(lead, draft, stages=stage(value="100"), kept_because="a better wrench is ordered")
    assert "no torque tool" in kept.questioned
    fine = ToolFactory(person=lead, calibrated=False, iso_class="")
    CalibrationFactory(person=lead, tool=fine, deviation_percent=Decimal(1))
    assert step(lead, draft, stages=stage(value="100")).questioned == ""
    with pytest.raises(ValidationError, match="no torque tool"):
        step(lead, draft, stages=stage(value="10"))  # outside every working range


def test_the_makers_own_tolerance_is_not_questioned(lead, draft):
    ToolFactory(person=lead)
    assert step(lead, draft, stages=stage(value="100", tolerance_percent="3")).questioned == ""


BOLT = {"thread": "M8", "property_class": "8.8", "nut_factor": Decimal("0.165")}


# ISO 898-1:2013: proof load of M8 8.8 is 21 200 N; 36 N·m with K 0.165 gives 27 273 N (T = K·d·F).
def test_a_torque_above_the_proof_load_is_questioned_with_the_numbers(lead, draft):
    with pytest.raises(ValidationError) as refusal:
        step(lead, draft, **BOLT, stages=stage(value="36", tolerance_percent="10"))
    said = " ".join(refusal.value.message_dict["kept_because"])
    assert "27.3 kN" in said
    assert "128.6 % of its proof load 21.2 kN" in said
    assert "Put it right, or say here why it is kept." in said
    kept = step(
        lead,
        draft,
        **BOLT,
        stages=stage(value="36", tolerance_percent="10"),
        kept_because="as the maker writes",
    )
    assert "128.6 %" in kept.questioned


# VDI 2230-1, 90 % of yield, M8 8.8 at µ 0.12: 24.57 N·m, which is 87.9 % of the proof load (computed).
def test_the_usual_torque_is_not_questioned(lead, draft):
    assert step(lead, draft, **BOLT, stages=stage(value="24.57", tolerance_percent="10")).questioned == ""


def test_declared_tightening_to_yield_is_not_questioned(lead, draft):
    made = step(lead, draft, **BOLT, to_yield=True, stages=stage(value="36", tolerance_percent="10"))
    assert made.questioned == ""
    assert "to yield, as declared" in load_words(made, list(StageTarget.objects.filter(stage__step=made)))


def test_a_named_friction_condition_brings_its_nut_factor(lead, draft):
    made = step(lead, draft, thread="M16", property_class="10.9", friction="oiled")
    assert made.nut_factor == Decimal("0.16")


def test_the_question_returns_with_a_later_stage(lead, draft):
    made = step(lead, draft, **BOLT, stages=stage(value="20", tolerance_percent="10"))
    both = [
        *stage(value="20", tolerance_percent="10"),
        *stage(name="More", value="36", tolerance_percent="10"),
    ]
    with pytest.raises(ValidationError, match="proof load"):
        procedure_step_acts.rewrite_step(by=by(lead), step=made, stages=both)
    assert made.stages.count() == 1
    procedure_step_acts.rewrite_step(by=by(lead), step=made, stages=both, kept_because="tested")
    made.refresh_from_db()
    assert (made.stages.count(), made.kept_because) == (2, "tested")
    procedure_step_acts.rewrite_step(by=by(lead), step=made, stages=both[:1])
    made.refresh_from_db()
    assert made.questioned == ""


def test_the_database_keeps_a_questioned_step_with_its_reason_only(lead, draft):
    made = step(lead, draft)
    with pytest.raises(DatabaseError), transaction.atomic():
        ProcedureStep.objects.filter(pk=made.pk).update(questioned="too high", kept_because="")


def test_groups_have_targets_of_their_own(lead, draft):
    groups = {"long": [1, 2], "short": [3, 4, 5]}
    made = step(lead, draft, groups=groups, stages=stage(value="50", plus="5", group="long"))
    with pytest.raises(ValidationError, match="no target for short"):
        acts.release_version(by=by(lead), version=draft)
    short = {"group": "short", "value": "40", "plus": "4", "unit": "N.m"}
    long = {"group": "long", "value": "50", "plus": "5", "unit": "N.m"}
    with pytest.raises(ValidationError, match="one target for each group"):
        procedure_step_acts.rewrite_step(
            by=by(lead), step=made, groups=groups, stages=[{"name": "Final", "targets": [long, short, short]}]
        )
    procedure_step_acts.rewrite_step(
        by=by(lead), step=made, groups=groups, stages=[{"name": "Final", "targets": [long, short]}]
    )
    acts.release_version(by=by(lead), version=draft)
    assert (made.group_of(2), made.group_of(3), made.group_names) == ("long", "short", ["long", "short"])


def test_torque_loosen_torque_again_and_angle(lead, draft):
    made = step(
        lead,
        draft,
        stages=[
            {"name": "Settle", "value": "50", "plus": "5", "unit": "N.m"},
            {"name": "Back off", "kind": "loosen"},
            {"name": "Again", "value": "30", "plus": "3", "unit": "N.m", "add_running_torque": True},
            {"name": "Turn", "kind": "angle", "value": "90", "plus": "10"},
            {"name": "End float", "kind": "result", "low": "0.05", "high": "0.15", "unit": "mm"},
        ],
    )
    kinds = [(one.kind, one.add_running_torque) for one in made.stages.order_by("order")]
    assert kinds == [
        ("torque", False),
        ("loosen", False),
        ("torque", True),
        ("angle", False),
        ("result", False),
    ]
    assert why_not_whole(made) == ""


def test_a_step_that_tightens_nothing_is_not_released(lead, draft):
    step(lead, draft, stages=[{"name": "Back off", "kind": "loosen"}])
    with pytest.raises(ValidationError, match="tightens nothing yet"):
        acts.release_version(by=by(lead), version=draft)


def test_steps_move_and_close_up(lead, draft):
    titles = ["A", "B", "C"]
    made = [step(lead, draft, title=title) for title in titles]
    procedure_step_acts.move_step(by=by(lead), step=made[2], up=True)
    assert [s.title for s in draft.steps.order_by("order")] == ["A", "C", "B"]
    procedure_step_acts.remove_step(by=by(lead), step=ProcedureStep.objects.get(title="A"))
    assert [(s.order, s.title) for s in draft.steps.order_by("order")] == [(1, "C"), (2, "B")]
    assert ProcedureStage.objects.count() == 4
    with pytest.raises(ValidationError, match="at the end already"):
        procedure_step_acts.move_step(by=by(lead), step=draft.steps.get(order=1), up=True)


def test_a_step_that_somebody_changed_meanwhile_is_not_written_over(lead, shop_owner, draft):
    made = step(lead, draft)
    seen = seen_step_text(made)
    fields = {"sequence": None, "groups": None}
    procedure_step_acts.change_step(
        by=by(lead), step=made, seen=seen, title="Wheel nuts, steel wheel", **fields
    )
    with pytest.raises(ValidationError, match="Somebody else changed this while you were writing"):
        procedure_step_acts.change_step(by=by(shop_owner), step=made, seen=seen, title="Nuts", **fields)
    made.refresh_from_db()
    assert made.title == "Wheel nuts, steel wheel"


def test_the_whole_way_through_the_pages(client, lead):
    client.force_login(lead)

    def send(url, **data):
        key = client.get(url).context["form"]["key"].value()
        return client.post(url, {"key": key, **data})

    answer = send(reverse("jobs:procedure-add"), title="Caliper bolts", area="brakes", applies_to="Drayman")
    answer = send(answer.url, source="Halden sheet 12-1", cautions="Car on stands.")
    version = ProcedureVersion.objects.get()
    assert answer.url == version.get_absolute_url()
    common = {"pattern": "line", "order_of_work": "stage_by_stage", "reuse": "reusable", "critical": "on"}
    blank = {"stage_count": "1", "stage-0-kind": "torque", "stage-0-t0-limit": "tolerance"}
    final = {**blank, "stage-0-name": "Final", "stage-0-t0-unit": "N.m", "stage-0-t0-value": "32,5",
             "stage-0-t0-plus": "3", "stage-0-t0-source": "p. 12-4, edition 2"}  # fmt: skip
    add = reverse("jobs:step-add", args=[version.pk])
    refused = send(add, title="Bolts", fasteners="2", sequence="1 1", **common, **final)
    assert refused.status_code == 422
    assert "leaves out 2" in " ".join(refused.context["form"].errors["sequence"])
    assert refused.context["form"]["title"].value() == "Bolts"
    assert 'value="32,5"' in refused.content.decode()
    refused = send(add, title="Bolts", fasteners="2", fastener_groups="a: 1", **common, **blank)
    assert "belongs to one group" in " ".join(refused.context["form"].errors["fastener_groups"])
    answer = send(add, title="Bolts", fasteners="2", **common, **blank)
    only = ProcedureStep.objects.get()
    page = client.get(answer.url).content.decode()
    assert "tightens nothing yet" in page
    assert "Release it" not in page
    write = reverse("jobs:step-write", args=[only.pk])
    refused = send(write, title="Bolts", fasteners="2", seen=seen_step_text(only), **common,
                   **{**final, "stage-0-t0-value": "thirty"})  # fmt: skip
    assert refused.status_code == 422
    assert "is not a number" in refused.content.decode()
    answer = send(write, title="Caliper bolts", fasteners="2", seen=seen_step_text(only), **common, **final)
    assert answer.url == version.get_absolute_url()
    assert target(only).value == Decimal("32.5")
    page = client.get(answer.url).content.decode()
    assert "Release it" in page
    assert "32.5 N·m (29.5 N·m to 35.5 N·m)" in page
    assert "p. 12-4, edition 2" in page
    send(reverse("jobs:version-release", args=[version.pk]))
    version.refresh_from_db()
    assert version.released_by == lead
    assert "Release it" not in client.get(version.get_absolute_url()).content.decode()


@pytest.mark.every_database
def test_a_withdrawn_procedure_says_why(client, lead):
    procedure = ProcedureFactory(person=lead)
    with pytest.raises(ValidationError, match="Say why the procedure is withdrawn"):
        acts.withdraw_procedure(by=by(lead), procedure=procedure, seen_version=1, withdrawn_because=" ")
    acts.withdraw_procedure(
        by=by(lead), procedure=procedure, seen_version=1, withdrawn_because="sheet recalled"
    )
    client.force_login(lead)
    assert "sheet recalled" in client.get(procedure.get_absolute_url()).content.decode()


def test_the_library_does_not_ask_more_with_more_procedures(client, lead, django_assert_max_num_queries):
    client.force_login(lead)
    for _ in range(3):
        ProcedureFactory(person=lead)
        with django_assert_max_num_queries(8):
            client.get(reverse("jobs:procedures"))
    newest = Procedure.objects.latest("made_at")
    with django_assert_max_num_queries(12):
        client.get(newest.get_absolute_url())


def test_the_hash_of_a_version_names_its_content(lead):
    one, other = ProcedureFactory(person=lead, title="One"), ProcedureFactory(person=lead, title="Other")
    assert content_hash(one.released()) == content_hash(one.released())
    assert content_hash(one.released()) != content_hash(other.released())
