"""Who signs, with which PIN, on whose session: the form that every signing shares, with a real act behind it."""

from __future__ import annotations

import json
from uuid import uuid4

import pytest
from django import forms
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.test import RequestFactory

from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import make_person
from tests.tablet import OTHER_PIN, PIN, enrolled, give_pin
from workshop import log
from workshop.acting import By
from workshop.acts.tools import report_drop
from workshop.forms.signing import MOST_BUTTONS, SignedForm
from workshop.models import Device, Event, Person, SignInTry, Submission, ToolFailure
from workshop.permissions import May, Role


class DropForm(SignedForm):
    right = May.DROP_TOOL
    what = forms.CharField(max_length=20)


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def bay(lead) -> Device:
    return enrolled(lead)


@once
def phone() -> Device:
    return Device.objects.create(name="a telephone of one's own")


def request_of(person: Person, device: Device | None) -> HttpRequest:
    request = RequestFactory().post("/")
    request.user, request.device, request.session, request.htmx = person, device, {}, False
    return request


def sent(person: Person, device: Device | None, signer: Person | None = None, **typed) -> tuple:
    request = request_of(person, device)
    data = {"key": str(uuid4()), "what": "fell off the lift", **typed}
    if signer is not None:
        data["signer"] = str(signer.pk)
    return DropForm(data, request=request), request


def signed(tool, person, device, signer=None, **typed) -> tuple[bool, DropForm]:
    form, request = sent(person, device, signer, **typed)
    return form.is_valid() and form.try_act(report_drop, request=request, tool=tool), form


def drawn(form: DropForm) -> str:
    return render_to_string("components/_form.html", {"form": form})


def last_event() -> dict:
    return json.loads(Event.objects.latest("seq").body)


def test_on_a_tablet_of_the_shop_the_session_s_own_person_types_the_pin_too(tool, technician, bay):
    give_pin(technician)
    done, form = signed(tool, technician, bay, technician)
    assert not done
    assert form.errors["pin"] == [f"{technician} signs: the PIN is needed here."]
    done, form = signed(tool, technician, bay, technician, pin=PIN)
    assert done, form.errors
    row = ToolFailure.objects.get()
    assert (row.made_by, row.device) == (technician, bay)
    assert "session_person" not in last_event(), "their own session needs no word"


def test_another_person_signs_on_somebody_else_s_session(tool, technician, other_technician, bay):
    give_pin(other_technician, OTHER_PIN)
    done, form = signed(tool, technician, bay, other_technician, pin="206 158")
    assert done, form.errors
    row = ToolFailure.objects.get()
    assert (row.made_by, row.device) == (other_technician, bay)
    assert Submission.objects.get(key=row.key).person == other_technician
    body = last_event()
    assert (body["person"], body["session_person"]) == (str(other_technician.pk), str(technician.pk))
    assert list(log.problems()) == []


def test_a_wrong_pin_counts_once_and_the_form_comes_back_filled_but_for_it(
    tool, technician, other_technician, bay
):
    give_pin(other_technician, OTHER_PIN)
    done, form = signed(tool, technician, bay, other_technician, pin=PIN)
    assert not done
    assert form.errors["pin"][0].startswith("Wrong PIN. Four more tries")
    assert SignInTry.objects.filter(sign_in_name=other_technician.sign_in_name).count() == 1
    text = drawn(form)
    assert 'value="fell off the lift"' in text
    assert PIN not in text
    assert f'value="{other_technician.pk}"' in text.split("checked")[0].rsplit("<input", 1)[1]
    assert not ToolFailure.objects.exists()


def test_a_slip_elsewhere_costs_no_try_and_says_that_the_pin_is_typed_once_more(
    tool, technician, other_technician, bay
):
    give_pin(other_technician, OTHER_PIN)
    done, form = signed(tool, technician, bay, other_technician, pin=PIN, what="x" * 30)
    assert not done
    assert list(form.errors) == ["what"]
    assert not SignInTry.objects.exists()
    assert "Type it once more" in drawn(form)


def test_the_fifth_wrong_one_locks_the_name_here_and_not_what_was_typed(
    tool, technician, other_technician, bay
):
    give_pin(other_technician, OTHER_PIN)
    for _ in range(5):
        form = signed(tool, technician, bay, other_technician, pin=PIN)[1]
    assert f"{other_technician} is locked on this tablet until" in form.errors["pin"][0]
    done, form = signed(tool, technician, bay, other_technician, pin=OTHER_PIN)
    assert not done, "the right one does not open a lock"
    assert "is locked on this tablet until" in form.errors["pin"][0]
    assert 'value="fell off the lift"' in drawn(form)
    give_pin(technician)
    assert signed(tool, technician, bay, technician, pin=PIN)[0], "the lock is that name's alone"


def test_who_has_no_pin_is_told_how_to_get_one(tool, technician, other_technician, bay):
    done, form = signed(tool, technician, bay, other_technician, pin=PIN)
    assert not done
    assert form.errors["pin"][0].startswith(f"{other_technician} has no PIN yet")
    assert not SignInTry.objects.exists()


def test_only_who_holds_the_right_is_offered_and_taken(tool, technician, front_desk, car_owner, bay):
    gone = make_person("Gale Norwick", Role.TECHNICIAN)
    gone.is_active = False
    gone.save(update_fields=["is_active"])
    form = DropForm(request=request_of(technician, bay))
    offered = set(form.fields["signer"].people.values())
    assert offered == set(Person.objects.holding(Role.TECHNICIAN, Role.LEAD, Role.SHOP_OWNER))
    assert not offered & {front_desk, car_owner, gone}
    for person in (front_desk, gone):
        done, form = signed(tool, technician, bay, give_pin(person), pin=PIN)
        assert not done
        assert form.errors["signer"] == ["This person may not sign for it. Choose somebody from the list."]
    assert not SignInTry.objects.exists()


def test_a_session_that_may_not_sign_itself_asks_who_does(tool, technician, front_desk, lead, bay):
    form = DropForm(request=request_of(front_desk, bay))
    assert form.initial["signer"] is None, "nobody is proposed where several may"
    done, form = signed(tool, front_desk, bay, pin=PIN)
    assert not done
    assert form.errors["signer"] == ["Choose who signs."]
    give_pin(lead)
    done, form = signed(tool, front_desk, bay, lead, pin=PIN)
    assert done, form.errors
    assert ToolFailure.objects.get().made_by == lead


@pytest.mark.parametrize("known", [True, False])
def test_on_one_s_own_device_one_signs_as_one_is_and_another_with_the_pin(
    tool, technician, other_technician, phone, known
):
    device = phone if known else None
    text = drawn(DropForm(request=request_of(technician, device)))
    assert "<summary>Somebody else signs here</summary>" in text
    give_pin(other_technician, OTHER_PIN)
    done, form = signed(tool, technician, device, other_technician)
    assert not done
    assert "the PIN is needed here" in form.errors["pin"][0]
    assert '<details class="signing" open>' in drawn(form)
    done, form = signed(tool, technician, device, technician)
    assert done, form.errors
    assert ToolFailure.objects.get().made_by == technician


def test_a_revoked_tablet_signs_nothing(tool, technician, bay):
    give_pin(technician)
    bay.revoked_at, bay.revoked_because = bay.enrolled_at, "left in a car"
    bay.save(update_fields=["revoked_at", "revoked_because"])
    other = give_pin(make_person("Hale Brandt", Role.TECHNICIAN))
    done, form = signed(tool, technician, bay, other, pin=PIN)
    assert not done
    assert "revoked" in form.errors["pin"][0]


def test_the_pin_is_in_no_argument_no_report_and_no_field(technician, bay):
    form, request = sent(technician, bay, technician, pin=PIN)
    give_pin(technician)
    assert form.is_valid()
    assert form.act_arguments() == {"what": "fell off the lift"}
    assert request.sensitive_post_parameters == ("pin",)
    pin = str(form["pin"])
    assert 'type="password"' in pin, "what keeps what was typed leaves passwords out"
    assert 'inputmode="numeric"' in pin
    assert 'autocomplete="off"' in pin
    assert PIN not in pin


def test_few_people_are_tiles_and_many_a_list(technician, bay):
    assert 'type="radio"' in drawn(DropForm(request=request_of(technician, bay)))
    for number in range(MOST_BUTTONS):
        make_person(f"Hand {number}", Role.TECHNICIAN)
    text = drawn(DropForm(request=request_of(technician, bay)))
    assert 'type="radio"' not in text
    assert '<select name="signer"' in text


def test_who_may_sign_is_one_question(technician, bay, django_assert_num_queries):
    technician.roles  # noqa: B018 - the sign-in has loaded them
    request = request_of(technician, bay)
    with django_assert_num_queries(1):
        drawn(DropForm(request=request))
    for number in range(40):
        make_person(f"Hand {number}", Role.TECHNICIAN)
    with django_assert_num_queries(1):
        drawn(DropForm(request=request))


def test_by_names_another_s_session_only():
    one, two = Person(name="A"), Person(name="B")
    assert By(one, session_person=one).session_person is None
    assert By(one, session_person=two).session_person is two
    assert By(one).session_person is None


def test_the_log_s_page_says_on_whose_session_it_was(
    client, tool, technician, other_technician, lead, bay, django_assert_num_queries
):
    give_pin(other_technician, OTHER_PIN)
    assert signed(tool, technician, bay, other_technician, pin=OTHER_PIN)[0]
    client.force_login(lead)
    page = client.get("/shop/log/").text
    assert f"{other_technician}, signed on the session of {technician} · Bay 2" in page
    assert page.count("signed on the session of") == 1


def test_verify_log_names_a_session_of_nobody(tool, technician, other_technician, bay):
    give_pin(other_technician, OTHER_PIN)
    assert signed(tool, technician, bay, other_technician, pin=OTHER_PIN)[0]
    event = Event.objects.latest("seq")
    for whose, said in (
        (str(uuid4()), "was signed on the session of somebody who is not on record"),
        (str(other_technician.pk), "names its own person as the other whose session it was"),
    ):
        event.body = event.body.replace(log.session_person_of(event), whose)
        assert any(said in each for each in log._session_problems(event, {str(technician.pk)}))
