"""People, their certificates and the devices they use: pages, acts, and what the database itself refuses."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.factories.run import OpenLineFactory
from tests.people import PASSWORD, by, make_person
from workshop import log
from workshop.acts import devices, people
from workshop.models import Competence, Device, Event, EventDetail, Person
from workshop.permissions import Role


def today():
    return timezone.localdate()


def certificate(owner, person, kind="high_voltage", *, began=400, days=365, number="HV-1"):
    return people.add_competence(
        by=by(owner),
        person=person,
        kind=kind,
        certificate=number,
        valid_from=today() - timedelta(days=began),
        expires_on=today() + timedelta(days=days) if days is not None else None,
    )


def test_what_runs_out_stands_first_and_in_words(client, shop_owner, technician):
    certificate(shop_owner, technician, days=12)
    client.force_login(shop_owner)
    page = client.get(reverse("workshop:people")).text
    assert "Certificates to renew" in page
    assert "12 days left" in page
    certificate(shop_owner, technician, days=700, number="HV-2")
    assert "Certificates to renew" not in client.get(reverse("workshop:people")).text, (
        "a newer one replaces it"
    )
    told = client.get(reverse("workshop:person", args=[technician.pk])).text
    assert "replaced by a newer one" in told


def test_a_withdrawn_certificate_is_judged_by_the_day(shop_owner, technician):
    row = certificate(shop_owner, technician)
    day = today() - timedelta(days=3)
    people.withdraw_competence(by=by(shop_owner), competence=row, from_on=day, reason="Refresher not taken.")
    before, after = (Competence.objects.valid_on(on) for on in (day - timedelta(days=1), day))
    assert before.count() == 1, "what was done before stands"
    assert after.count() == 0
    row.refresh_from_db()
    assert row.lapsed_on(day)
    assert not row.lapsed_on(day - timedelta(days=1))
    assert log.first_broken_link() is None


def test_the_refusal_of_work_says_that_it_was_withdrawn(shop_owner, technician):
    from jobs.authority import why_competence_refused

    row = certificate(shop_owner, technician)
    assert why_competence_refused("high_voltage", row, by(technician)) == ""
    row = people.withdraw_competence(by=by(shop_owner), competence=row, from_on=today(), reason="Mislaid.")
    assert "was withdrawn on" in why_competence_refused("high_voltage", row, by(technician))


@pytest.mark.parametrize(
    ("shift", "reason", "sentence"),
    [(1, "Why not", "lies in the future"), (-500, "Why not", "is valid from"), (0, " ", "Say why")],
)
def test_a_withdrawal_that_makes_no_sense_is_refused(shop_owner, technician, shift, reason, sentence):
    row = certificate(shop_owner, technician)
    with pytest.raises(ValidationError, match=sentence):
        people.withdraw_competence(
            by=by(shop_owner), competence=row, from_on=today() + timedelta(days=shift), reason=reason
        )


def test_a_certificate_is_withdrawn_once_and_never_altered(shop_owner, technician):
    row = certificate(shop_owner, technician)
    for change in ({"certificate": "HV-9"}, {"expires_on": None}, {"person": shop_owner}):
        with pytest.raises(DatabaseError), transaction.atomic():
            Competence.objects.filter(pk=row.pk).update(**change)
    people.withdraw_competence(by=by(shop_owner), competence=row, from_on=today(), reason="Lapsed.")
    with pytest.raises(ValidationError, match="withdrawn already"):
        people.withdraw_competence(by=by(shop_owner), competence=row, from_on=today(), reason="Again.")
    with pytest.raises(DatabaseError), transaction.atomic():
        Competence.objects.filter(pk=row.pk).update(
            withdrawn_on=None, withdrawn_because="", withdrawn_by=None
        )
    with pytest.raises(DatabaseError), transaction.atomic():
        Competence.objects.filter(pk=row.pk).delete()


def test_only_the_shop_owner_withdraws(lead, shop_owner, technician):
    row = certificate(shop_owner, technician)
    with pytest.raises(PermissionDenied):
        people.withdraw_competence(by=by(lead), competence=row, from_on=today(), reason="Because.")


def test_the_page_withdraws_with_a_reason(client, shop_owner, technician):
    row = certificate(shop_owner, technician)
    client.force_login(shop_owner)
    url = reverse("workshop:competence-withdraw", args=[row.pk])
    form = client.get(url).context["form"]
    data = {"key": str(form["key"].value()), "from_on": today().isoformat(), "reason": ""}
    assert client.post(url, data).status_code == 422
    answer = client.post(url, {**data, "reason": "Refresher not taken."})
    assert answer.url == reverse("workshop:person", args=[technician.pk])
    assert "Refresher not taken." in client.get(answer.url).text


def test_the_people_page_asks_as_much_for_forty_as_for_five(client, shop_owner, django_assert_num_queries):
    client.force_login(shop_owner)
    url = reverse("workshop:people")
    with django_assert_num_queries(7):
        client.get(url)
    for number in range(40):
        person = make_person(f"Nell Arden {number}", Role.TECHNICIAN)
        certificate(shop_owner, person, days=20, number=f"HV-{number}")
    with django_assert_num_queries(7):
        client.get(url)


def test_somebody_who_left_is_shown_apart_and_signs_in_no_more(client, shop_owner, technician):
    people.change_person(
        by=by(shop_owner), person=technician, seen_version=1, name=technician.name, email="",
        roles=["technician"], is_active=False,
    )  # fmt: skip
    client.force_login(shop_owner)
    assert "May no longer sign in" in client.get(reverse("workshop:people")).text
    assert Client().post(reverse("workshop:login"), {"username": technician.sign_in_name, "password": PASSWORD}).status_code == 422  # fmt: skip


# --------------------------------------------------------------------------------------------------- devices


def signed_in(person) -> Client:
    client = Client()
    answer = client.post(reverse("workshop:login"), {"username": person.sign_in_name, "password": PASSWORD})
    assert answer.status_code == 302
    return client


@pytest.fixture
def tablet(technician):
    """A tablet on which a technician is signed in: the client, and the device."""
    client = signed_in(technician)
    return client, Device.objects.get()


def test_a_revoked_device_is_out_at_its_next_request(tablet, lead, technician):
    client, device = tablet
    assert client.get(reverse("jobs:floor")).status_code == 200
    devices.revoke_device(by=by(lead), device=device, reason="Lost on a road test.")
    answer = client.get(reverse("jobs:floor"))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("workshop:login"))
    again = client.post(
        reverse("workshop:login"), {"username": technician.sign_in_name, "password": PASSWORD}
    )
    assert again.status_code == 422
    assert "This device was revoked" in again.text
    assert log.first_broken_link() is None


def test_other_devices_stay_signed_in(tablet, lead):
    _, device = tablet
    other = signed_in(lead)
    devices.revoke_device(by=by(lead), device=device, reason="Sold.")
    assert other.get(reverse("jobs:floor")).status_code == 200
    assert Session.objects.count() == 1


def test_an_act_from_a_revoked_device_is_refused(tablet, lead, technician, car):
    from vehicles.acts import fault

    _, device = tablet
    devices.revoke_device(by=by(lead), device=device, reason="Stolen.")
    device.refresh_from_db()
    with pytest.raises(PermissionDenied, match="This device was revoked"):
        fault.report_fault(
            by=by(technician, device=device), vehicle=car, title="Clunk", kind="complaint", severity="minor"
        )


def test_let_in_again_people_sign_in_on_it(tablet, lead, technician):
    client, device = tablet
    devices.revoke_device(by=by(lead), device=device, reason="Lost.")
    devices.readmit_device(by=by(lead), device=device, reason="It lay under the seat.")
    assert client.post(reverse("workshop:login"), {"username": technician.sign_in_name, "password": PASSWORD}).status_code == 302  # fmt: skip


def test_nobody_revokes_the_device_in_their_own_hands(lead, tablet):
    _, device = tablet
    with pytest.raises(ValidationError, match="in your hands"):
        devices.revoke_device(by=by(lead, device=device), device=device, reason="Oh.")


def test_only_leads_name_and_revoke(technician, tablet):
    _, device = tablet
    with pytest.raises(PermissionDenied):
        devices.revoke_device(by=by(technician), device=device, reason="Mine now.")
    with pytest.raises(PermissionDenied):
        devices.rename_device(by=by(technician), device=device, name="Mine")


def test_two_devices_do_not_bear_one_name(lead, tablet, technician):
    _, device = tablet
    devices.rename_device(by=by(lead), device=device, name="  Tablet,   bay two ")
    device.refresh_from_db()
    assert device.name == "Tablet, bay two"
    signed_in(technician)
    other = Device.objects.exclude(pk=device.pk).get()
    with pytest.raises(ValidationError, match="is called"):
        devices.rename_device(by=by(lead), device=other, name="tablet, BAY two")


def test_the_pages_of_devices(client, lead, tablet, django_assert_num_queries):
    _, device = tablet
    client.force_login(lead)
    with django_assert_num_queries(6):  # one of them: names locked after wrong PINs
        page = client.get(reverse("workshop:devices")).text
    assert "nothing written on it yet" in page
    Device.objects.bulk_create(Device(name=f"Tablet {number}") for number in range(30))
    with django_assert_num_queries(6):
        client.get(reverse("workshop:devices"))
    url = reverse("workshop:device-rename", args=[device.pk])
    key = client.get(url).context["form"]["key"].value()
    assert client.post(url, {"key": str(key), "name": "Tablet, bay two"}).status_code == 302
    assert "Tablet, bay two" in client.get(reverse("workshop:devices")).text
    url = reverse("workshop:device-revoke", args=[device.pk])
    key = client.get(url).context["form"]["key"].value()
    assert client.post(url, {"key": str(key), "reason": ""}).status_code == 422
    assert client.post(url, {"key": str(key), "reason": "Lost."}).status_code == 302
    page = client.get(reverse("workshop:device", args=[device.pk])).text
    assert "Nobody signs in on it" in page
    assert Person.objects.filter(pk=lead.pk).exists()


def test_what_is_wrong_with_a_new_person_is_said_at_once(client, shop_owner, technician):
    client.force_login(shop_owner)
    url = reverse("workshop:person-add")
    typed = {
        "key": client.get(url).context["form"]["key"].value(),
        "name": "Rowan Pell",
        "sign_in_name": technician.sign_in_name.upper(),
        "password": "short",
    }
    answer = client.post(url, typed)
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"sign_in_name", "password", "roles"}
    assert "Roles are needed here." in answer.text
    answer = client.post(url, {**typed, "sign_in_name": "rowan pell"})
    assert "Write it without spaces, such as “rowan.pell”." in answer.text


def test_the_act_refuses_a_name_with_a_blank_too(shop_owner):
    with pytest.raises(ValidationError, match="without spaces"):
        people.add_person(
            by=by(shop_owner),
            name="Rowan Pell",
            sign_in_name="rowan pell",
            password=PASSWORD,
            roles=[Role.TECHNICIAN],
        )


def test_what_is_wrong_with_the_settings_is_said_at_once(client, shop_owner):
    client.force_login(shop_owner)
    url = reverse("workshop:shop-change")
    form = client.get(url).context["form"]
    typed = {field.html_name: field.value() or "" for field in form}
    answer = client.post(url, {**typed, "currency": "euros", "default_tolerance_percent": "150"})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"currency", "default_tolerance_percent"}
    assert "three letters of the currency" in answer.text
    assert answer.text.count("Use a tolerance above 0 and up to 30 percent.") > 0


def test_withdrawing_a_certificate_warns_of_the_work_that_names_it(client, shop_owner, lead, technician, car):
    row = certificate(shop_owner, technician)
    line = OpenLineFactory(person=lead, vehicle=car)
    client.force_login(shop_owner)
    url = reverse("workshop:competence-withdraw", args=[row.pk])
    assert "names it" not in client.get(url).text
    type(line).objects.filter(pk=line.pk).update(competence="high_voltage", qualified=row)
    page = client.get(url).text
    assert f"Line {line}" in page
    assert line.get_absolute_url() in page
    type(line).objects.filter(pk=line.pk).update(dropped_because="not wanted")
    assert "names it" not in client.get(url).text


def test_browsers_that_ask_for_the_mark_by_habit_get_it(client):
    answer = client.get("/favicon.ico")
    assert answer.status_code == 302
    assert "img/mark" in answer.url


def test_a_new_password_is_set_and_the_old_one_opens_nothing(client, shop_owner, lead, technician):
    theirs = Client()
    assert theirs.login(username=technician.sign_in_name, password=PASSWORD)
    client.force_login(shop_owner)
    url = reverse("workshop:person-password", args=[technician.pk])
    typed = {"key": client.get(url).context["form"]["key"].value(), "password": "short"}
    answer = client.post(url, typed)
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"password"}
    assert theirs.get(reverse("jobs:floor")).status_code == 200, "nothing was changed"

    new = "five studs and a bleed nipple"
    answer = client.post(url, {**typed, "password": new}, follow=True)
    assert f"{technician.name} has a new password." in answer.text
    assert theirs.get(reverse("jobs:floor")).url.startswith(reverse("workshop:login")), (
        "signed out everywhere"
    )
    assert not Client().login(username=technician.sign_in_name, password=PASSWORD)
    assert Client().login(username=technician.sign_in_name, password=new)
    told = Event.objects.order_by("seq").last()
    assert (told.act, told.person) == ("workshop.people.change_password", shop_owner)
    assert not EventDetail.objects.filter(words__contains=new).exists()
    assert new not in str(list(Event.objects.values()))
    with pytest.raises(PermissionDenied):
        people.change_password(by=by(lead), person=technician, password=new)
