"""The re-check by distance that a complete run raises: one for each procedure and job, with all its places."""

from __future__ import annotations

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from jobs.acts import procedure as library
from jobs.acts import second_check as check_acts
from jobs.acts import torque as acts
from jobs.models import Run
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.run import OpenLineFactory, RunFactory, begun, click_all, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from vehicles.acts import outstanding as item_acts
from vehicles.models import OutstandingItem
from workshop.models import Event


@once
def tool(lead):
    return ToolFactory(person=lead)


def completed(hand, tool, **run) -> Run:
    made = RunFactory(**run)
    click_all(hand, made, tool)
    return acts.complete_run(by=by(hand), run=made)


@once
def rear_left(lead, technician, car, tool):
    """Completed on wheels, so that its re-check is raised."""
    procedure = ProcedureFactory(person=lead, title="Wheel nuts, five M14", area="wheels")
    return completed(technician, tool, person=lead, vehicle=car, procedure=procedure, where="rear left")


@pytest.fixture
def again(lead, technician, tool, rear_left):
    """Complete the same procedure on the same job, at another place."""
    same = {"person": lead, "line": rear_left.line, "procedure": rear_left.version_used.procedure}
    return lambda where, **other: completed(technician, tool, **{**same, "where": where, **other})


def test_several_places_of_one_procedure_are_one_recheck(rear_left, again):
    item = OutstandingItem.objects.get()
    assert item.title == "Check again: Wheel nuts, five M14, rear left"
    again("rear right")
    item.refresh_from_db()
    assert item.title == "Check again: Wheel nuts, five M14 (rear left, rear right)"
    assert (item.due_km, item.raised_by_run) == (50, rear_left)
    words = json.loads(Event.objects.get(act="vehicles.outstanding.widen").detail.words)
    assert words["changes"]["title"][0] == "Check again: Wheel nuts, five M14, rear left"
    again("front left")
    again("")
    item.refresh_from_db()
    assert item.title == (
        "Check again: Wheel nuts, five M14 (rear left, rear right, front left, place not given)"
    )
    assert OutstandingItem.objects.get() == item


def test_the_same_place_again_is_named_once(rear_left, again):
    again("rear right")
    again("rear left")
    again("rear")
    assert OutstandingItem.objects.get().title == (
        "Check again: Wheel nuts, five M14 (rear left, rear right, rear)"
    )


def test_a_recheck_that_has_ended_is_not_widened(lead, rear_left, again):
    item = OutstandingItem.objects.get()
    item_acts.end_by_finding(by=by(lead), item=item, seen_version=item.version, ended_finding="all five held")
    second = again("rear right")
    assert OutstandingItem.objects.open().get().raised_by_run == second
    item.refresh_from_db()
    with pytest.raises(ValidationError, match="This item ended on"):
        item_acts.widen(by=by(lead), item=item, title="Check again: all")


def test_another_procedure_job_or_distance_raises_its_own_recheck(
    lead, technician, other_technician, car, tool, rear_left, again
):
    def count():
        return OutstandingItem.objects.count()

    again("rear right", procedure=ProcedureFactory(person=lead, title="Wheel bolts", area="wheels"))
    assert count() == 2
    again("rear right", line=OpenLineFactory(person=lead, vehicle=car))
    assert count() == 3
    procedure = rear_left.version_used.procedure
    draft = library.start_version(
        by=by(lead), procedure=procedure, source="sheet 41", change_note="new", recheck_km=Decimal(25)
    )
    library.release_version(by=by(lead), version=draft)
    again("rear right")
    assert count() == 4
    assert OutstandingItem.objects.latest("order").due_km == 25
    again("front right")
    assert count() == 4


def test_an_independent_check_is_no_recheck_to_be_widened(lead, technician, car, tool):
    steps = [{**WHEEL, "fasteners": 1, "critical": True}]
    procedure = ProcedureFactory(person=lead, area="wheels", steps=steps)
    run = RunFactory(person=lead, vehicle=car, procedure=procedure)
    then = timezone.now() - timedelta(minutes=30)
    click_all(technician, begun(run, then), tool, made_at=then, received_at=then)
    check_acts.second_check(
        by=by(technician), run=run, step=step_of(run), method="mark_sighted", alone_because="nobody else here"
    )
    acts.complete_run(by=by(technician), run=run)
    raised = OutstandingItem.objects.filter(raised_by_run=run)
    titles = list(raised.order_by("order").values_list("title", flat=True))
    assert [title.split(":")[0] for title in titles] == ["Independent check", "Check again"]


def test_a_title_that_holds_no_more_places_begins_a_second_item(again):
    again("rear axle, outer wheel of the twin wheels on the left, seen from behind")
    again("rear axle, outer wheel of the twin wheels on the right, seen from behind")
    titles = OutstandingItem.objects.order_by("order").values_list("title", flat=True)
    assert len(titles) == 2
    assert "on the left" in titles[0]
    assert "on the right" in titles[1]
