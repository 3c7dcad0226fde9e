"""The fault's page as a story: what is next, steps written on the page, possibilities raised, ruled out, confirmed."""

from __future__ import annotations

import re

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import Error, transaction
from django.urls import reverse

from tests.factories.fault import FaultFactory
from tests.factories.handover import authorised, finish, in_work, owner_of
from tests.hand import Hand, filled
from tests.once import once
from tests.people import by
from vehicles.acts import fault as acts
from vehicles.fault_story import possibilities_of
from vehicles.models import Possibility, PossibilityFinding
from workshop.log import problems
from workshop.models import Event


@once
def fault(lead, car):
    return FaultFactory(person=lead, vehicle=car, title="Battery flat", words="I leave it on Sunday.")


def page_of(hand, fault):
    return hand.see("vehicles:fault", fault)


def next_of(hand, fault):
    response = hand.client.get(fault.get_absolute_url())
    return response.context["next_step"]


def test_a_possibility_is_noted_on_the_page_and_ruled_out_there(technician, fault):
    hand = Hand(technician)
    hand.do(
        "vehicles:fault-possibility",
        fault,
        opens="vehicles:fault",
        form="possibility_form",
        what="a bad diode",
    )
    [row] = Possibility.objects.all()
    page = page_of(hand, fault)
    assert "a bad diode" in page
    address = reverse("vehicles:possibility-rule-out", args=[row.pk])
    assert f'action="{address}"' in page
    form = hand.client.get(fault.get_absolute_url()).context["possibilities"][0].form
    answer = hand.client.post(address, filled(form, {"because": "no ripple at 2000 rpm"}))
    assert answer.status_code == 302
    assert answer.url.endswith("#possible")
    page = page_of(hand, fault)
    assert '<span class="crossed">a bad diode</span>' in page
    assert "Ruled out: no ripple at 2000 rpm" in page


def test_a_possibility_that_is_confirmed_becomes_the_cause(technician, fault):
    hand = Hand(technician)
    row = acts.add_possibility(by=by(technician), fault=fault, what="the relay stays on")
    hand.do("vehicles:possibility-confirm", row, because="current falls when it is pulled")
    fault.refresh_from_db()
    assert fault.root_cause.description == "the relay stays on"
    [shown] = possibilities_of(fault)
    assert shown.state == "confirmed"
    assert "the relay stays on" in page_of(hand, fault)
    with pytest.raises(ValidationError, match="confirmed already"):
        acts.confirm_possibility(by=by(technician), possibility=row, because="again")
    with pytest.raises(ValidationError, match="does not explain the fault"):
        acts.rule_out(by=by(technician), possibility=row, because="not after all")
    acts.withdraw_cause(by=by(technician), fault=fault, seen_version=fault.version, reason="it came back")
    assert possibilities_of(fault)[0].state == "was_confirmed"
    acts.rule_out(by=by(technician), possibility=row, because="it came back with the relay out")
    assert possibilities_of(fault)[0].state == "ruled_out"


def test_one_ruled_out_too_early_is_possible_again_and_all_findings_stay(technician, fault):
    row = acts.add_possibility(by=by(technician), fault=fault, what="a bad diode")
    acts.rule_out(by=by(technician), possibility=row, because="no ripple")
    with pytest.raises(ValidationError, match="ruled out already"):
        acts.rule_out(by=by(technician), possibility=row, because="no ripple")
    acts.take_up_again(by=by(technician), possibility=row, because="ripple when hot")
    with pytest.raises(ValidationError, match="still possible"):
        acts.take_up_again(by=by(technician), possibility=row, because="ripple when hot")
    [shown] = possibilities_of(fault)
    assert shown.state == ""
    assert [each.order for each in shown.found] == [2, 1]
    page = page_of(Hand(technician), fault)
    assert "Ruled out: no ripple" in page
    assert "Possible again: ripple when hot" in page


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("rule-out", "", "Say on what grounds."),
        ("confirm", "", "Say on what grounds."),
        ("rule-out", "  ", "Say on what grounds."),
        ("confirm", "x" * 301, "at most 300"),
    ],
)
def test_a_finding_without_grounds_comes_back(technician, fault, name, typed, said):
    row = acts.add_possibility(by=by(technician), fault=fault, what="a bad diode")
    answer = Hand(technician).try_to(f"vehicles:possibility-{name}", row, because=typed)
    assert answer.status_code == 422
    assert said in answer.text
    assert "a bad diode" in answer.text
    assert not PossibilityFinding.objects.exists()


def test_an_ended_fault_takes_no_possibility(technician, fault):
    row = acts.add_possibility(by=by(technician), fault=fault, what="a bad diode")
    acts.end_normal(by=by(technician), fault=fault, seen_version=1, normal_source="bulletin")
    fault.refresh_from_db()
    for act in (acts.rule_out, acts.confirm_possibility):
        row = Possibility.objects.get(pk=row.pk)
        with pytest.raises(ValidationError, match="ended on"):
            act(by=by(technician), possibility=row, because="x")
    with pytest.raises(ValidationError, match="ended on"):
        acts.add_possibility(by=by(technician), fault=fault, what="another")
    page = page_of(Hand(technician), fault)
    assert "a bad diode" in page
    assert reverse("vehicles:fault-possibility", args=[fault.pk]) not in page


def test_what_was_thought_and_found_is_never_altered(technician, fault, settings):
    row = acts.add_possibility(by=by(technician), fault=fault, what="a bad diode")
    found = acts.rule_out(by=by(technician), possibility=row, because="no ripple")
    for rows, change in (
        (Possibility.objects.filter(pk=row.pk), {"what": "x"}),
        (PossibilityFinding.objects.filter(pk=found.pk), {"because": "x"}),
    ):
        with pytest.raises(Error), transaction.atomic():
            rows.update(**change)
        with pytest.raises(Error), transaction.atomic():
            rows.delete()


def test_the_words_stand_beside_the_chain(technician, fault):
    row = acts.add_possibility(by=by(technician), fault=fault, what="a bad diode")
    acts.rule_out(by=by(technician), possibility=row, because="no ripple")
    events = Event.objects.filter(subject_kind__contains="possibility").select_related("detail")
    assert len(events) == 2
    for event in events:
        assert "diode" not in event.body
        assert "diode" in event.detail.words
    assert list(problems()) == []


def test_who_may_not_examine_gets_no_form_and_no_act(front_desk, fault):
    hand = Hand(front_desk)
    page = page_of(hand, fault)
    assert reverse("vehicles:fault-possibility", args=[fault.pk]) not in page
    assert hand.client.post(reverse("vehicles:fault-possibility", args=[fault.pk]), {}).status_code == 403
    with pytest.raises(PermissionDenied):
        acts.add_possibility(by=by(front_desk), fault=fault, what="x")


def test_a_step_is_written_on_the_page_with_its_reading(technician, fault):
    hand = Hand(technician)
    answer = hand.do(
        "vehicles:fault-step", fault, opens="vehicles:fault", form="step_form",
        tried="Current at rest", seen="does not fall", reading=["0,35", "A"],
    )  # fmt: skip
    assert answer.url.endswith("#try")
    page = page_of(hand, fault)
    assert "Current at rest" in page
    assert "0.35 A" in page


def test_the_story_is_told_from_top_to_bottom(technician, lead, car, fault):
    acts.add_step(by=by(technician), fault=fault, tried="Fuses pulled", seen="falls with the fridge's")
    acts.name_cause(by=by(technician), faults=[fault], description="relay on permanent live")
    text = page_of(Hand(technician), fault)
    order = ["I leave it on Sunday.", "How it shows", "Fuses pulled", "What else it could be",
             "relay on permanent live", "What was done", "The check afterwards", "How it ended"]  # fmt: skip
    assert [text.index(word) for word in order] == sorted(text.index(word) for word in order)


def test_what_is_next_goes_from_trying_to_the_end(lead, car, fault):
    hand = Hand(lead)
    assert next_of(hand, fault).url == reverse("vehicles:fault-reproduced", args=[fault.pk])
    acts.set_reproduced(by=by(lead), fault=fault, seen_version=1, reproduced="yes")
    assert next_of(hand, fault).url == "#try"
    row = acts.add_possibility(by=by(lead), fault=fault, what="a bad diode")
    acts.add_step(by=by(lead), fault=fault, tried="a", seen="b")
    assert "1 possibility" in next_of(hand, fault).words.replace("One possibility is", "1 possibility is")
    acts.rule_out(by=by(lead), possibility=row, because="no ripple")
    assert next_of(hand, fault).url == "#cause"
    acts.name_cause(by=by(lead), faults=[fault], description="relay")
    assert next_of(hand, fault).url == reverse("jobs:job-book", args=[car.pk])
    keeper = owner_of(car, lead)
    job = in_work(car, keeper, lead)
    step = next_of(hand, fault)
    assert step.url.startswith(reverse("jobs:line-add", args=[job.pk]))
    form = hand.client.get(step.url).context["form"]
    assert form["complaint"].value() == "Battery flat"
    assert str(fault.pk) in str(form["faults"].value())
    from jobs.acts import work

    line = work.add_line(by=by(lead), job=job, complaint="Rewire", faults=[fault])
    assert next_of(hand, fault).url == line.get_absolute_url()
    authorised(line, keeper, lead)
    work.write_line(by=by(lead), line=line, seen_version=line.version, cause="c", correction="d")
    finish(line, lead)
    assert next_of(hand, fault).url == reverse("jobs:fault-fix", args=[line.pk, fault.pk])
    fault.refresh_from_db()
    hand.do("jobs:fault-fix", line, fault, check_made="18 mA after 40 minutes")
    assert next_of(hand, fault) is None
    assert '<span class="crossed">18 mA after 40 minutes</span>' in page_of(hand, fault)


def test_several_faults_are_joined_under_one_cause_from_the_page(technician, lead, car, fault):
    other = FaultFactory(person=lead, vehicle=car, title="Lamps dim")
    hand = Hand(technician)
    hand.client.get(fault.get_absolute_url())
    form = hand.client.get(fault.get_absolute_url()).context["cause_form"]
    data = filled(form, {"faults": [fault, other], "description": "earth strap corroded"})
    answer = hand.client.post(f"{reverse('vehicles:fault-cause', args=[car.pk])}?fault={fault.pk}", data)
    assert answer.status_code == 302
    assert answer.url == fault.get_absolute_url()
    for each in (fault, other):
        each.refresh_from_db()
        assert each.root_cause.description == "earth strap corroded"
    assert str(other) in page_of(hand, fault)


def test_a_fault_of_the_past_does_not_shout(technician, lead, car):
    fault = FaultFactory(person=lead, vehicle=car, severity="dangerous")
    acts.end_normal(by=by(lead), fault=fault, seen_version=1, normal_source="bulletin")
    page = page_of(Hand(technician), fault)
    assert re.search(r'<span class="calm">\s*<span class="severity severity-dangerous">', page)


def test_the_page_asks_as_often_for_two_steps_as_for_forty(
    client, lead, car, fault, django_assert_max_num_queries
):
    client.force_login(lead)

    def more(times):
        for _ in range(times):
            acts.add_step(by=by(lead), fault=fault, tried="a", seen="b")
            row = acts.add_possibility(by=by(lead), fault=fault, what="c")
            acts.rule_out(by=by(lead), possibility=row, because="d")
            acts.add_code(by=by(lead), fault=fault, code="P0562")

    def count():
        with django_assert_max_num_queries(40) as captured:
            assert client.get(fault.get_absolute_url()).status_code == 200
        return len(captured)

    more(2)
    few = count()
    more(38)
    assert count() == few
