"""What is signed for in the shop, signed by its signer with their PIN on whoever's session: second check, final check,
what a lead accepts, waives and releases, calling ready, handing over.
"""

from __future__ import annotations

import json

import pytest
from django.urls import reverse

from jobs.forms.torque import SecondCheckForm
from jobs.models import (
    Disposition,
    FinalCheck,
    Handover,
    JobMove,
    ProcedureVersion,
    SecondCheck,
    SheetRevision,
    SignOff,
    Waiver,
)
from jobs.runs import state_of
from tests.factories.handover import ReadyJobFactory, in_work, to_final_checks
from tests.factories.job import TagFactory
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.run import RunFactory, click, click_all, step_of
from tests.factories.tool import ToolFactory
from tests.factories.work import owner_of
from tests.hand import filled
from tests.once import once
from tests.signing import drawing, shown_on
from tests.tablet import OTHER_PIN, PIN, carry, enrolled, give_pin
from workshop.models import Event, SignInTry


@once
def bay(lead):
    return enrolled(lead)


@once
def tool(lead):
    return ToolFactory(person=lead)


@pytest.fixture
def done(lead, car, technician, tool):
    """A critical step, all of it tightened by the technician."""
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 2, "critical": True}])
    click_all(technician, run, tool)
    return run


@pytest.fixture
def in_hand(client, technician, bay):
    """The shop's tablet, in the technician's session."""
    carry(client, bay)
    client.force_login(technician)
    return client


def check_url(run) -> str:
    return reverse("jobs:second-check", args=[run.pk, step_of(run).pk])


def send_check(client, run, **typed):
    form = client.get(run.get_absolute_url()).context["check_form"]
    data = filled(form, {"method": "mark_sighted", "result": "in_order", "note": "both in line", **typed})
    return client.post(check_url(run), data)


def body_of(row) -> dict:
    return json.loads(Event.objects.get(subject_id=str(row.pk)).body)


def test_the_second_check_is_offered_first_to_who_took_no_reading(
    in_hand, done, technician, other_technician
):
    give_pin(other_technician)
    form = in_hand.get(done.get_absolute_url()).context["check_form"]
    people = list(form.fields["signer"].people.values())
    assert people[-1] == technician
    assert form.fields["signer"].choices[-1][1] == f"{technician} (took readings here, no PIN yet)"
    assert form.initial["signer"] == people[0] == other_technician, "who has a PIN before who has none"
    assert other_technician in form.others
    assert "sign here with their PIN" in in_hand.get(done.get_absolute_url()).text


def test_another_technician_signs_it_on_the_tablet(in_hand, done, technician, other_technician, bay):
    give_pin(other_technician, OTHER_PIN)
    answer = send_check(in_hand, done, signer=other_technician, pin=OTHER_PIN)
    assert answer.url == done.get_absolute_url()
    row = SecondCheck.objects.get()
    assert (row.made_by, row.device, row.note) == (other_technician, bay, "both in line")
    body = body_of(row)
    assert (body["person"], body["session_person"]) == (str(other_technician.pk), str(technician.pk))
    assert body["device"] == str(bay.pk)
    assert state_of(done).complete


def test_a_wrong_pin_brings_the_check_back_where_it_was_typed(in_hand, done, other_technician):
    give_pin(other_technician, OTHER_PIN)
    answer = send_check(in_hand, done, signer=other_technician, pin=PIN)
    assert answer.status_code == 422
    assert "Wrong PIN. Four more tries" in answer.text
    assert 'value="both in line"' in answer.text
    assert PIN not in answer.text
    assert SignInTry.objects.count() == 1
    assert not SecondCheck.objects.exists()


def test_one_s_own_work_is_not_checked_by_oneself_from_another_s_session(
    client, done, technician, other_technician, bay
):
    """Odo's session, but the PIN is of Tamsin, who took the readings."""
    give_pin(technician)
    carry(client, bay)
    client.force_login(other_technician)
    answer = send_check(client, done, signer=technician, pin=PIN)
    assert answer.status_code == 422
    assert f"{technician} took a reading in this step: somebody else does the second check" in answer.text
    assert 'name="alone_because"' in answer.text, "it is said beside the field that answers it"
    assert not SecondCheck.objects.exists()


def test_who_is_alone_signs_themselves(in_hand, done, technician, other_technician):
    give_pin(technician)
    give_pin(other_technician, OTHER_PIN)
    answer = send_check(
        in_hand, done, alone_because="the others are out", signer=other_technician, pin=OTHER_PIN
    )
    assert answer.status_code == 422
    assert f"then {technician}, who took readings, signs it" in answer.text
    answer = send_check(in_hand, done, alone_because="the others are out", signer=technician, pin=PIN)
    assert "at least 10 minutes after the last reading" in answer.text
    assert not SignInTry.objects.exists()


def test_on_one_s_own_telephone_another_signs_with_the_pin_and_oneself_without(
    client, done, technician, other_technician, lead
):
    give_pin(other_technician, OTHER_PIN)
    client.force_login(technician)
    answer = send_check(client, done, signer=other_technician)
    assert answer.status_code == 422
    assert f"{other_technician} signs: the PIN is needed here." in answer.text
    client.force_login(lead)
    assert "Somebody else signs here" in client.get(done.get_absolute_url()).text
    assert send_check(client, done).status_code == 302
    row = SecondCheck.objects.get()
    assert row.made_by == lead
    assert "session_person" not in body_of(row)


def test_the_front_desk_signs_no_check_and_opens_none(client, in_hand, done, front_desk, bay):
    give_pin(front_desk)
    answer = send_check(in_hand, done, signer=front_desk, pin=PIN)
    assert answer.status_code == 422
    assert "This person may not sign for it" in answer.text
    client.force_login(front_desk)
    assert client.get(check_url(done)).status_code == 403


def test_who_may_sign_costs_the_run_one_question(rf, done, technician, bay, django_assert_num_queries):
    request = rf.get("/")
    request.user, request.device = technician, bay
    (of,) = state_of(done).steps
    technician.roles  # noqa: B018 - the sign-in has loaded them
    with django_assert_num_queries(1):
        SecondCheckForm(of=of, request=request)


def test_a_lead_accepts_a_reading_above_its_limit_on_the_technician_s_session(
    in_hand, lead, car, technician, tool
):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 1}])
    click(technician, run, 1, 1, 60, tool)
    above = click(technician, run, 2, 1, 140, tool)
    url = reverse("jobs:dispose", args=[above.pk])
    give_pin(lead)
    typed = {"kind": "accepted", "reason": "thread looks sound", "source": "sheet 40-2"}

    def send(**more):
        return in_hand.post(url, filled(in_hand.get(url).context["form"], {**typed, **more}))

    answer = send(signer=lead)
    assert answer.status_code == 422
    assert "the PIN is needed here" in answer.text
    answer = send(signer=technician, pin=PIN)
    assert "This person may not sign for it" in answer.text
    assert send(signer=lead, pin=PIN).status_code == 302
    row = Disposition.objects.get()
    assert (row.made_by, row.kind) == (lead, "accepted")
    assert body_of(row)["session_person"] == str(technician.pk)


def test_what_is_only_done_again_needs_no_signature(in_hand, lead, car, technician, tool):
    run = RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "fasteners": 1}])
    click(technician, run, 1, 1, 60, tool)
    url = reverse("jobs:dispose", args=[click(technician, run, 2, 1, 140, tool).pk])
    form = in_hand.get(url).context["form"]
    assert in_hand.post(url, filled(form, {"kind": "redone", "reason": "once more"})).status_code == 302
    assert Disposition.objects.get().made_by == technician


def test_the_final_check_is_signed(in_hand, car, lead, technician, other_technician, bay):
    job = in_work(car, owner_of(car, lead), lead)
    url = reverse("jobs:final-check", args=[job.pk])
    give_pin(other_technician, OTHER_PIN)
    typed = {"new_damage": "none", "tools_complete": True, "parts_complete": True, "signer": other_technician}
    form = in_hand.get(url).context["form"]
    answer = in_hand.post(url, filled(form, typed))
    assert answer.status_code == 422
    assert "the PIN is needed here" in answer.text
    assert in_hand.post(url, filled(form, {**typed, "pin": OTHER_PIN})).status_code == 302
    row = FinalCheck.objects.get()
    assert (row.made_by, row.device) == (other_technician, bay)


@pytest.fixture
def desk(client, lead, shop_owner, bay):
    """The tablet in the lead's session; lead and shop owner have a PIN each."""
    give_pin(lead)
    give_pin(shop_owner, OTHER_PIN)
    carry(client, bay)
    client.force_login(lead)
    return client


def test_a_waiver_a_release_and_the_call_are_signed(desk, car, lead, shop_owner):
    job = to_final_checks(in_work(car, owner_of(car, lead), lead), lead)
    tag = TagFactory(person=lead, vehicle=car, because="no coolant")
    url = reverse("jobs:waive", args=[job.pk], query={"blocker": f"tag:{tag.pk}"})
    form = desk.get(url).context["form"]
    typed = {"reason": "leaves on a trailer", "signer": shop_owner}
    assert "the PIN is needed here" in desk.post(url, filled(form, typed)).text
    assert desk.post(url, filled(form, {**typed, "pin": OTHER_PIN})).status_code == 302
    assert Waiver.objects.get().made_by == shop_owner

    draft = ProcedureFactory(person=lead, released=False).versions.get()
    url = reverse("jobs:version-release", args=[draft.pk])
    form = desk.get(url).context["form"]
    assert desk.post(url, filled(form, {"signer": lead, "pin": OTHER_PIN})).status_code == 422
    assert desk.post(url, filled(form, {"signer": lead, "pin": PIN})).status_code == 302
    assert ProcedureVersion.objects.get(pk=draft.pk).released_by == lead

    form = desk.get(reverse("jobs:handover", args=[job.pk])).context["ready_form"]
    url = reverse("jobs:call-ready", args=[job.pk])
    assert desk.post(url, filled(form, {"signer": lead})).status_code == 422
    answer = desk.post(url, filled(form, {"signer": lead, "pin": PIN}))
    assert answer.status_code == 302, answer.context["form"].errors
    assert JobMove.objects.get(to_state="ready").made_by == lead


def handed(desk, job, keeper, who, **second):
    """Both steps; answers the page of the first and what came of the second."""
    url = reverse("jobs:handover", args=[job.pk])
    typed = {
        "key": str(desk.get(url).context["form"]["key"].value()),
        "signer": str(who.pk), "collected_by": str(keeper.pk), "identified_by": "by sight",
        "odometer_0": "148223", "odometer_1": "km", "odometer_value": "148223", "odometer_unit": "km",
        "keys_returned": "2", "left_how": "driven",
    }  # fmt: skip
    page = desk.post(url, typed)
    assert page.status_code == 200, page.context["form"].errors
    sent = {**typed, "step": "sign", "shown": shown_on(page), "lead_signs": "glass", "lead_ink": drawing(),
            "collector_signs": "paper", **second}  # fmt: skip
    return page, desk.post(url, sent)


def test_who_hands_over_is_named_on_the_sheet_and_signs_with_their_pin(desk, car, lead, shop_owner, bay):
    keeper = owner_of(car, lead)
    job = ReadyJobFactory(person=lead, vehicle=car, keeper=keeper)
    page, answer = handed(desk, job, keeper, shop_owner)
    assert f"For the workshop: {shop_owner}" in page.text
    assert f"PIN of {shop_owner}" in page.text
    assert answer.status_code == 422
    assert f"{shop_owner} signs: the PIN is needed here." in answer.text
    page, answer = handed(desk, job, keeper, shop_owner, pin=PIN)
    assert answer.status_code == 422
    assert "Wrong PIN" in answer.text
    assert PIN not in answer.text
    assert not SheetRevision.objects.exists()
    page, answer = handed(desk, job, keeper, shop_owner, pin=OTHER_PIN)
    assert answer.status_code == 302
    row = Handover.objects.get()
    assert (row.made_by, row.device) == (shop_owner, bay)
    assert body_of(row)["session_person"] == str(lead.pk)
    assert SignOff.objects.get().person == shop_owner


def test_a_sheet_that_was_shown_to_one_is_not_signed_by_another(desk, car, lead, shop_owner):
    keeper = owner_of(car, lead)
    job = ReadyJobFactory(person=lead, vehicle=car, keeper=keeper)
    _, answer = handed(desk, job, keeper, lead)
    assert answer.status_code == 422
    _, answer = handed(desk, job, keeper, shop_owner, signer=str(lead.pk), pin=PIN)
    assert answer.status_code == 422
    assert "was shown too long ago, or to somebody else" in answer.text
    assert not SheetRevision.objects.exists()
    assert not SignInTry.objects.exists(), "and no PIN was looked at for it"


def test_who_signs_a_sheet_afterwards_types_the_pin(desk, car, lead, shop_owner):
    keeper = owner_of(car, lead)
    job = ReadyJobFactory(person=lead, vehicle=car, keeper=keeper)
    _, answer = handed(desk, job, keeper, lead, pin=PIN, lead_signs="paper")
    assert answer.status_code == 302
    sheet = SheetRevision.objects.get()
    url = reverse("jobs:sheet-sign", args=[sheet.pk, "lead"])
    page = desk.get(url)
    assert "The lead</strong> signs" in page.text
    form = page.context["form"]
    typed = {"method": "account", "signer": shop_owner}
    assert "the PIN is needed here" in desk.post(url, filled(form, typed)).text
    assert desk.post(url, filled(form, {**typed, "pin": OTHER_PIN})).status_code == 302
    assert SignOff.objects.get().person == shop_owner
