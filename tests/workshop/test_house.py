"""Signing in, people, settings: who may, what is refused and in which words."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management import CommandError, call_command
from django.urls import reverse

from tests.people import PASSWORD, by
from workshop import log
from workshop.acts import people, shop
from workshop.models import Device, Person, Shop
from workshop.permissions import May, Role

NEW = {
    "name": "Nell Arden",
    "sign_in_name": "Nell",
    "password": "five bolts in a row",
    "roles": ["technician"],
}


def sign_in(client, name, password=PASSWORD):
    return client.post(reverse("workshop:login"), {"username": name, "password": password})


def test_signing_in_enrols_the_device_and_goes_to_the_floor(client, technician):
    response = sign_in(client, "Tamsin.Orrell")
    assert (response.status_code, response.url) == (302, "/")
    assert client.get("/").url == reverse("jobs:floor")
    assert Device.objects.count() == 1
    client.post(reverse("workshop:logout"))
    sign_in(client, "tamsin.orrell")
    assert Device.objects.count() == 1, "the same browser is the same device"


def test_a_wrong_password_is_told_and_the_name_is_kept(client, technician):
    response = sign_in(client, "tamsin.orrell", "wrong")
    assert response.status_code == 422
    assert "Name and password don&#x27;t go together" in response.text
    assert 'value="tamsin.orrell"' in response.text


def test_five_wrong_passwords_lock_the_name_on_this_device_only(
    client, technician, other_technician, settings
):
    sign_in(client, "odo.fennick")
    client.post(reverse("workshop:logout"))
    for _ in range(settings.SIGN_IN_TRIES):
        sign_in(client, "tamsin.orrell", "wrong")
    assert "Too many wrong tries" in sign_in(client, "tamsin.orrell").text
    assert sign_in(client, "odo.fennick").status_code == 302, "nobody else is locked out"
    client.post(reverse("workshop:logout"))
    client.cookies.clear()
    assert sign_in(client, "tamsin.orrell").status_code == 302, "nor the name on another device"


def test_who_is_not_signed_in_is_sent_to_sign_in_and_a_script_gets_401(client):
    url = reverse("workshop:people")
    assert client.get(url).url == f"{reverse('workshop:login')}?next={url}"
    response = client.get(url, headers={"HX-Request": "true"})
    assert response.status_code == 401
    assert response.headers["HX-Redirect"].startswith(reverse("workshop:login"))


def test_every_answer_has_a_policy_without_unsafe(client, technician):
    for url in (reverse("workshop:login"), "/health/", "/no-such-page/"):
        policy = client.get(url).headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy


def test_a_refusal_is_a_page_in_words(client, technician):
    client.force_login(technician)
    response = client.get(reverse("workshop:people"))
    assert response.status_code == 403
    assert (
        "You may not see the shop&#x27;s people and settings. These roles may: lead technician, shop owner."
        in (response.text)
    )


def test_the_owner_adds_a_person_with_two_roles(client, shop_owner):
    client.force_login(shop_owner)
    page = client.get(reverse("workshop:person-add"))
    form = page.context["form"]
    data = {**NEW, "roles": ["technician", "lead"], "key": str(form["key"].value())}
    assert client.post(reverse("workshop:person-add"), data).status_code == 302
    client.post(reverse("workshop:person-add"), data)
    person = Person.objects.get(sign_in_name="nell")
    assert person.roles == {Role.TECHNICIAN, Role.LEAD}
    assert person.may(May.HAND_OVER)
    assert "five bolts in a row" not in "".join(log.Event.objects.values_list("body", flat=True))
    assert client.get(reverse("workshop:people")).status_code == 200
    assert client.get(reverse("workshop:person", args=[person.pk])).status_code == 200


def test_a_weak_password_is_refused_beside_its_field_and_the_rest_is_kept(client, shop_owner):
    client.force_login(shop_owner)
    key = client.get(reverse("workshop:person-add")).context["form"]["key"].value()
    response = client.post(reverse("workshop:person-add"), {**NEW, "password": "short", "key": str(key)})
    assert response.status_code == 422
    assert "at least 10 characters" in str(response.context["form"].errors["password"])
    assert 'value="Nell Arden"' in response.text


def test_the_last_shop_owner_stays(shop_owner, lead):
    with pytest.raises(ValidationError, match="last shop owner"):
        people.change_person(by=by(shop_owner), person=shop_owner, seen_version=1, name=shop_owner.name, email="",
                             roles=["lead"], is_active=True)  # fmt: skip
    people.change_person(by=by(shop_owner), person=lead, seen_version=1, name=lead.name, email="",
                         roles=["lead", "shop_owner"], is_active=True)  # fmt: skip
    people.change_person(by=by(shop_owner), person=shop_owner, seen_version=1, name=shop_owner.name, email="",
                         roles=["lead"], is_active=True)  # fmt: skip
    assert Person.objects.get(pk=shop_owner.pk).roles == {Role.LEAD}


def test_only_the_owner_changes_people(lead):
    with pytest.raises(PermissionDenied, match="You may not change people and their roles"):
        people.add_person(by=by(lead), **NEW)


def test_the_first_person_is_made_on_the_command_line_and_only_then(db, capsys, monkeypatch):
    monkeypatch.setattr("builtins.input", lambda prompt="": "five bolts in a row")
    arguments = ["--name", "Nell Arden", "--sign-in-name", "Nell", "--password-stdin"]
    call_command("create_owner", *arguments)
    assert Person.objects.get().roles == {Role.SHOP_OWNER}
    assert log.first_broken_link() is None
    with pytest.raises(CommandError, match="people on record already"):
        call_command("create_owner", *arguments)


def test_settings_are_changed_with_both_texts_shown_on_a_conflict(client, shop_owner):
    client.force_login(shop_owner)
    url = reverse("workshop:shop-change")
    form = client.get(url).context["form"]
    data = {name: form[name].value() or "" for name in form.fields} | {
        "name": "Quarry Lane",
        "address": "Lane 3",
    }
    shop.change_shop(by=by(shop_owner), seen_version=1, name="Quarry Lane Motor Works")
    response = client.post(url, data)
    assert response.status_code == 422
    assert "You changed this yourself at " in response.text
    assert "Quarry Lane Motor Works" in response.text
    assert "Lane 3" in response.text
    again = {name: response.context["form"][name].value() or "" for name in form.fields}
    assert client.post(url, again).status_code == 302
    assert Shop.current().name == "Quarry Lane"


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("default_tolerance_percent", "45", "tolerance above 0 and up to 30 percent"),
        ("default_tolerance_percent", "ten", "is not a number"),
        ("currency", "E1R", "three letters of the currency"),
    ],
)
def test_settings_that_make_no_sense_are_refused_in_words(client, shop_owner, field, value, sentence):
    client.force_login(shop_owner)
    url = reverse("workshop:shop-change")
    form = client.get(url).context["form"]
    data = {name: form[name].value() or "" for name in form.fields} | {field: value}
    response = client.post(url, data)
    assert response.status_code == 422
    assert sentence in " ".join(str(errors) for errors in response.context["form"].errors.values())


def events(client) -> str:
    """The list itself: among the filters stands whoever signs in, by name."""
    return (
        client.get(reverse("workshop:log")).text.partition('<ol class="rows events"')[2].partition("</ol>")[0]
    )


def test_the_log_page_shows_words_until_they_are_erased(client, shop_owner):
    client.force_login(shop_owner)
    people.add_person(by=by(shop_owner), **NEW)
    assert "Nell Arden" in events(client)
    url = reverse("workshop:words-erase", args=[1])
    key = client.get(url).context["form"]["key"].value()
    assert client.post(url, {"key": str(key), "reason": "left the shop"}).status_code == 302
    assert "Nell Arden" not in events(client)
    assert "were erased" in events(client)
