"""The door for car owners: codes typed, links opened, and every one that opens nothing."""

from __future__ import annotations

import logging
import re
from datetime import timedelta

import pytest
from django.conf import settings as django_settings
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.once import cast, made_once
from tests.people import PASSWORD, by
from workshop import mail, pass_tries, passes
from workshop.acts import devices as device_acts
from workshop.acts import passes as acts
from workshop.acts import people as people_acts
from workshop.models import Device, Event, OneTimePass, PassEnd, Person, SignInTry
from workshop.tokens import token_hash

world = made_once(cast)

ENTER, ASK, GO = "/enter/", "/enter/link/", "/enter/go/"


@pytest.fixture(autouse=True)
def site(settings):
    settings.SITE_URL = "https://shop.example"


@pytest.fixture
def mailing(settings, monkeypatch):
    settings.MAIL_URL, settings.MAIL_FROM = "smtp://mail.example", "shop@shop.example"
    monkeypatch.setattr(mail, "later", lambda task: task())


@pytest.fixture
def counter(front_desk, car_owner):
    return acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")


def press(client, token, **more):
    client.get(f"/enter/{token}/")
    return client.post(GO, more)


def signed_in(client) -> str:
    return client.session.get("_auth_user_id", "")


def move(one, **fields):
    """To another hour, below the guards."""
    from workshop import triggers

    with triggers.lifted():
        OneTimePass.objects.filter(pk=one.pk).update(**fields)


def text_of(response) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


# ------------------------------------------------------------------------------------------------------ getting in


def test_opening_a_link_changes_nothing_and_the_button_lets_in(client, counter, car_owner):
    for _ in range(2):  # a mail program looks at it first
        answer = Client().get(f"/enter/{counter.token}/")
        assert answer.status_code == 302
        assert answer.url == GO
    assert OneTimePass.objects.get().used_at is None
    assert not Session.objects.exists()
    answer = client.get(f"/enter/{counter.token}/", follow=True)
    assert "Go to my car" in text_of(answer)
    assert counter.token not in answer.content.decode()
    assert car_owner.name not in text_of(answer), "whoever found the link learns no name from it"
    answer = client.post(GO)
    assert answer.status_code == 302
    assert answer.url == "/"
    assert signed_in(client) == str(car_owner.pk)
    used = OneTimePass.objects.get()
    assert used.used_at is not None
    assert used.used_on == Device.objects.get()
    assert used.used_on.name == "Car owner's desk computer"
    assert '"by":"link"' in Event.objects.get(act="workshop.passes.use_pass").body
    assert 29 < client.session.get_expiry_age() / 86400 <= 30
    assert client.get("/").url == reverse("vehicles:my-cars")


@pytest.mark.parametrize(
    "written", ["A8C5D2EF", "a8c5 d2ef ", " A8C5  D2EF", "A8C5-D2EF", "a8c5.d2ef", "abcs dzef"]
)
def test_a_code_is_forgiven_how_it_is_typed(client, front_desk, car_owner, monkeypatch, written):
    monkeypatch.setattr(passes, "new_code", lambda: "A8C5D2EF")
    acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")
    answer = client.post(ENTER, {"code": written})
    assert answer.status_code == 302
    assert signed_in(client) == str(car_owner.pk)
    event = Event.objects.get(act="workshop.passes.use_pass")
    assert '"by":"code"' in event.body
    assert '"way":"counter"' in event.body
    assert not SignInTry.objects.exists(), "a right code is no try"


def test_on_a_borrowed_device_the_session_ends_with_the_browser(client, counter):
    press(client, counter.token, borrowed="on")
    assert client.session.get_expire_at_browser_close() is True


def test_whoever_is_in_already_and_taps_the_old_link_goes_to_their_cars(client, counter):
    press(client, counter.token)
    assert client.get(f"/enter/{counter.token}/").url == "/"
    assert "used already" in text_of(Client().get(f"/enter/{counter.token}/"))


def test_who_was_signed_in_before_is_told_and_signed_out(client, counter, other_owner, car_owner):
    client.force_login(other_owner)
    before = client.session.session_key
    page = client.get(f"/enter/{counter.token}/", follow=True)
    assert f"{other_owner.name} is signed in. The button signs them out" in text_of(page)
    client.post(GO)
    assert signed_in(client) == str(car_owner.pk)
    assert not Session.objects.filter(pk=before).exists()


# ------------------------------------------------------------------------------------------------- what opens nothing


def test_what_was_never_issued_gets_one_and_the_same_page(client, counter):
    tampered = counter.token[:-1] + ("A" if counter.token[-1] != "A" else "B")
    pages = set()
    for token in ("x" * 22, tampered, counter.token + "x", "ü", "0" * 300, counter.token_hash):
        answer = client.get(f"/enter/{token}/")
        assert answer.status_code == 404
        pages.add(answer.content)
        assert not client.cookies.get("pass")
    assert len(pages) == 1
    assert OneTimePass.objects.get().state == "open"


@pytest.mark.parametrize(
    ("what", "sentence"),
    [
        ("used", "used already"),
        ("expired", "has run out"),
        ("newer", "Use the newest"),
        ("ended", "workshop ended"),
        ("not_sent", "could not be sent"),
        ("inactive", "workshop ended"),
        ("staff", "name and password"),
    ],
)
def test_what_was_issued_says_why_it_opens_nothing(
    client, counter, car_owner, front_desk, shop_owner, what, sentence
):
    if what == "used":
        press(Client(), counter.token)
    elif what == "expired":
        past = timezone.now() - timedelta(hours=1)
        move(counter, made_at=past, received_at=past, expires_at=past + timedelta(minutes=15))
    elif what == "newer":
        acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")
    elif what == "ended":
        acts.end_access(by=by(front_desk), person=car_owner)
    elif what == "not_sent":
        acts.void_unsent(by=by(front_desk), one=counter)
    elif what == "inactive":
        Person.objects.filter(pk=car_owner.pk).update(is_active=False)
    else:
        car_owner.roles_held.create(role="technician")
    opened = client.get(f"/enter/{counter.token}/")
    assert opened.status_code == 410
    assert sentence in text_of(opened)
    assert "Ask the workshop for a new link or a code" in text_of(opened)
    client.cookies["pass"] = counter.token
    pressed = client.post(GO)
    assert pressed.status_code == 410
    assert sentence in text_of(pressed)
    typed = client.post(ENTER, {"code": counter.code})
    assert typed.status_code == 422
    assert sentence in text_of(typed)
    assert not signed_in(client)


@pytest.mark.parametrize(
    ("code", "sentence"),
    [("", "needed"), ("A8C5", "This has 4"), ("A8C5D2E1", "has no “1”"), ("A8C5D2EFG", "This has 9")],
)
def test_what_can_be_no_code_is_said_and_is_no_try(client, db, code, sentence):
    answer = client.post(ENTER, {"code": code})
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert not SignInTry.objects.exists()


def test_guessing_is_stopped_for_that_place_and_says_when_to_go_on(client, counter, settings):
    for left in (4, 3, 2, 1, 0):
        answer = client.post(ENTER, {"code": "AAAA AAAA"})
        assert answer.status_code == 422
        assert ("This was the last try" if not left else f"You have {left} more") in text_of(answer)
    answer = client.post(ENTER, {"code": counter.code})
    assert answer.status_code == 429
    assert re.search(r"Try again at \d\d:\d\d", text_of(answer))
    assert not signed_in(client), "also the right one waits"
    elsewhere = Client(REMOTE_ADDR="192.0.2.7")
    assert elsewhere.post(ENTER, {"code": counter.code}).status_code == 302


def test_a_household_is_one_place():
    """RFC 4291, section 2.5.4: the last 64 bits are the device's own. RFC 5952 writes addresses; 2001:db8::/32 is for examples."""
    same = {
        pass_tries.place_of(text)
        for text in ("2001:db8:1:2::1", "2001:db8:1:2:ffff::9", "2001:DB8:1:2:3::4%eth0")
    }
    assert len(same) == 1
    assert pass_tries.place_of("2001:db8:1:3::1") not in same
    assert (
        pass_tries.place_of("::ffff:192.0.2.1")
        == pass_tries.place_of("192.0.2.1")
        != pass_tries.place_of("192.0.2.2")
    )


def test_a_shops_tablet_lets_no_owner_in_and_keeps_its_own_session(client, counter, lead, car_owner):
    client.post("/sign-in/", {"username": lead.sign_in_name, "password": PASSWORD})
    device = Device.objects.get()
    assert signed_in(client) == str(lead.pk)
    for answer in (press(client, counter.token), client.post(ENTER, {"code": counter.code})):
        assert answer.status_code == 403
        assert "who works here" in text_of(answer)
    device_acts.enrol_tablet(by=by(lead, device=device), device=device, name="Bay two", lock_minutes=5)
    for answer in (press(client, counter.token), client.post(ENTER, {"code": counter.code})):
        assert answer.status_code == 403
        assert "tablet of the workshop" in text_of(answer)
    client.post("/tablet/lock/")
    assert client.post(ENTER, {"code": counter.code}).status_code == 403
    assert signed_in(client) == str(lead.pk)
    assert OneTimePass.objects.get().state == "open", "it still opens on their own device"
    client.post("/sign-out/")
    assert client.post(ENTER, {"code": counter.code}).status_code == 403


def test_staff_get_no_pass_and_none_opens_their_account(client, front_desk, lead, mailing, mailoutbox):
    Person.objects.filter(pk=lead.pk).update(email="lida@shop.example")
    lead.roles_held.create(role="vehicle_owner")
    client.post(ASK, {"email": "lida@shop.example"})
    assert not mailoutbox
    assert not OneTimePass.objects.exists()


# ------------------------------------------------------------------------------------------------------- by e-mail


def own_address(person, address="corin@example.org"):
    Person.objects.filter(pk=person.pk).update(email=address)


def test_a_link_asked_for_comes_and_lets_in(client, car_owner, mailing, mailoutbox):
    own_address(car_owner)
    answer = client.post(ASK, {"email": " Corin@Example.org "}, follow=True)
    assert "a link is on its way" in text_of(answer)
    (message,) = mailoutbox
    assert message.to == ["corin@example.org"]
    assert "Auto-Submitted" in message.extra_headers
    token = re.search(r"https://shop\.example/enter/([\w-]{22})/\n", message.body)[1]
    assert car_owner.name not in message.body + message.subject
    press(client, token)
    assert signed_in(client) == str(car_owner.pk)


def test_the_answer_tells_nobody_whose_address_is_known(
    car_owner, other_owner, front_desk, mailing, mailoutbox, monkeypatch, django_assert_num_queries
):
    later = []
    monkeypatch.setattr(mail, "later", later.append)
    own_address(car_owner)
    own_address(other_owner, "orla@example.org")
    acts.end_access(by=by(front_desk), person=other_owner)
    shapes = set()
    for address in ("corin@example.org", "nobody@example.org"):
        device = Client()
        with django_assert_num_queries(4):
            answer = device.post(ASK, {"email": address})
        shapes.add(
            (
                answer.status_code,
                answer.url,
                tuple(sorted(answer.headers)),
                device.cookies["messages"].value[:0],
            )
        )
        shapes.add(text_of(device.get(ENTER)))
    assert len(shapes) == 2
    assert not mailoutbox, "looked up and sent after the answer"
    assert len(later) == 2
    for task in later:
        task()
    assert [message.to for message in mailoutbox] == [["corin@example.org"]]


def test_whose_access_the_workshop_ended_is_let_in_only_by_the_workshop(
    client, car_owner, front_desk, mailing, mailoutbox
):
    own_address(car_owner)
    one = acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")
    press(client, one.token)
    acts.end_access(by=by(front_desk), person=car_owner, reason="telephone stolen")
    assert client.get("/").url.startswith("/sign-in/")
    client.post(ASK, {"email": "corin@example.org"})
    assert not mailoutbox
    acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")
    client.post(ASK, {"email": "corin@example.org"})
    assert len(mailoutbox) == 1


def test_how_many_links_are_sent(client, car_owner, mailing, mailoutbox):
    own_address(car_owner)
    pages = {text_of(client.post(ASK, {"email": "corin@example.org"}, follow=True)) for _ in range(4)}
    assert len(mailoutbox) == 3
    assert len(pages) == 1, "nobody sees that the fourth was not sent"
    answers = [client.post(ASK, {"email": f"someone{n}@example.org"}) for n in range(7)]
    assert [answer.status_code for answer in answers] == [302] * 6 + [429]
    assert re.search(r"Try again at \d\d:\d\d", text_of(answers[-1]))


def test_what_could_not_be_sent_opens_nothing(client, car_owner, mailing, settings):
    own_address(car_owner)
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.MAIL_URL = "smtp://127.0.0.1:1"
    client.post(ASK, {"email": "corin@example.org"})
    assert OneTimePass.objects.get().voided_because == PassEnd.NOT_SENT


def test_without_a_mail_server_no_link_is_offered(client, db, mailoutbox):
    assert "E-mail" not in text_of(client.get(ENTER))
    assert client.post(ASK, {"email": "corin@example.org"}).status_code == 302
    assert not mailoutbox
    assert reverse("workshop:pass-enter") in client.get("/sign-in/").content.decode()


@pytest.mark.parametrize(
    "address", ["", "corin", "a@b@c", "x@example.org\r\nBcc: y@example.org", "x" * 400 + "@example.org"]
)
def test_what_is_no_address_is_said(client, db, mailing, mailoutbox, address):
    answer = client.post(ASK, {"email": address})
    assert answer.status_code == 422
    assert not mailoutbox
    assert not SignInTry.objects.exists()


# ------------------------------------------------------------------------------------- nothing is kept that opens it


def test_neither_link_nor_code_stands_anywhere(
    client, counter, car_owner, front_desk, mailing, mailoutbox, caplog
):
    caplog.set_level(logging.DEBUG)
    own_address(car_owner)
    client.post(ENTER, {"code": counter.code})
    Client().get(f"/enter/{counter.token}/")
    Client().post(ASK, {"email": "corin@example.org"})
    token = re.search(r"/enter/([\w-]{22})/", mailoutbox[0].body)[1]
    needles = [counter.token, counter.code, passes.in_two(counter.code), token]
    rows = "\n".join(connection.connection.iterdump()) if connection.vendor == "sqlite" else _dump()
    assert token_hash(token) in rows, "the whole database is looked through"
    assert not [each for each in needles if each in rows]
    kept = [row.get_decoded() for row in Session.objects.all()]
    assert kept
    assert not [each for each in needles if each in str(kept)]
    from workshop.tokens import Masked

    for record in caplog.records:
        Masked().filter(record)
        assert not [each for each in needles if each in record.getMessage()]
    assert Client().get(f"/enter/{token}x/").status_code == 404


def _dump() -> str:
    from django.apps import apps

    return "\n".join(str(list(model._base_manager.values())) for model in apps.get_models())


def test_no_page_with_a_token_is_kept_or_passed_on(client, counter):
    for answer in (client.get(f"/enter/{counter.token}/"), client.get(f"/enter/{'x' * 22}/")):
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"
        assert answer.headers["Cache-Control"] == "no-store"
        assert b"<form" not in answer.content, "a form there would be refused for want of a referrer"
    cookie = client.cookies["pass"]
    assert cookie["httponly"]
    assert cookie["path"] == "/enter/"
    assert cookie["samesite"] == "Lax"
    assert int(cookie["max-age"]) <= 15 * 60
    for address in (GO, ENTER):
        answer = client.get(address)
        assert answer.headers["Cache-Control"] == "no-store"
        assert answer.headers["Referrer-Policy"] == "same-origin"
        assert "X-Keep-Copy" not in answer.headers


def test_the_button_without_the_link_asks_for_it_again(client, db):
    answer = client.get(GO, follow=True)
    assert answer.redirect_chain == [(ENTER, 302)]
    assert "Open the link once more" in text_of(answer)


def test_a_form_from_elsewhere_is_refused(counter):
    strict = Client(enforce_csrf_checks=True)
    strict.get(f"/enter/{counter.token}/")
    assert strict.post(GO).status_code == 403
    assert OneTimePass.objects.get().state == "open"


# ------------------------------------------------------------------------------------------------------ and its end


def test_a_closed_account_ends_links_and_sessions(client, counter, car_owner, front_desk, shop_owner):
    press(client, counter.token)
    waiting = acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")
    change = {"name": car_owner.name, "email": "", "roles": ["vehicle_owner"]}
    people_acts.change_person(by=by(shop_owner), person=car_owner, seen_version=1, is_active=False, **change)
    people_acts.change_person(by=by(shop_owner), person=car_owner, seen_version=2, is_active=True, **change)
    assert client.get("/").url.startswith("/sign-in/"), "opened again, it begins with a new link"
    assert "ended" in passes.why_not(passes.find(waiting.token))


def test_the_database_lets_nobody_alter_a_pass(counter, front_desk, car_owner):
    from django.db import Error, transaction

    rows = OneTimePass.objects.filter(pk=counter.pk)
    later = timezone.now() + timedelta(days=2)
    for change in ({"expires_at": later}, {"code_hash": "x"}, {"token_hash": "y"}, {"way": "mail"}):
        with pytest.raises(Error, match="never altered"), transaction.atomic():
            rows.update(**change)
    acts.use_pass(by=by(car_owner), one=counter)
    for change in ({"used_at": None}, {"used_at": counter.received_at + timedelta(minutes=1)}):
        with pytest.raises(Error, match="never altered"), transaction.atomic():
            rows.update(**change)
    with pytest.raises(Error, match="never deleted"), transaction.atomic():
        rows.delete()
    acts.end_access(by=by(front_desk), person=car_owner)
    with pytest.raises(Error, match="never altered"), transaction.atomic():
        rows.update(voided_at=None, voided_because="")


def test_how_many_queries_the_door_takes(
    client, counter, car_owner, front_desk, django_assert_max_num_queries
):
    """The same for a car owner's first link and for the fortieth."""
    counts = []
    from django.test.utils import CaptureQueriesContext

    for more in (0, 40):
        for _ in range(more):
            acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")
        one = acts.issue_pass(by=by(front_desk), person=car_owner, way="counter")
        device = Client()
        with CaptureQueriesContext(connection) as seen:
            device.get(f"/enter/{one.token}/")
            device.get(GO)
            device.post(GO)
        counts.append(len(seen))
    assert counts[0] == counts[1] <= 45, counts


def test_sessions_outlast_the_usual_fortnight(client, counter):
    press(client, counter.token)
    assert django_settings.SESSION_COOKIE_AGE < passes.SESSION_SECONDS
    assert Session.objects.get(pk=client.session.session_key).expire_date > timezone.now() + timedelta(
        days=29
    )
