"""The shop's own tablet: enrolled by a lead, its door, its lock, and what happens when it is lost."""

from __future__ import annotations

import time
from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.people import PASSWORD, by
from workshop import idle, pins
from workshop.acting import By
from workshop.acts import devices as device_acts
from workshop.acts import pins as acts
from workshop.models import Device, Event, Person, PinLock

PIN, OTHER_PIN, WRONG = "395172", "806413", "111119"
SESSION_COOKIE_NAME = "sessionid"
DOOR, FLOOR = "/tablet/", "/floor/"
SCRIPT = {"Accept": "application/json"}


def key() -> dict[str, str]:
    return {"key": str(uuid4())}


@pytest.fixture
def tablet(client, lead):
    """The client is the shop's tablet, enrolled by the lead on itself; nobody is signed in on it."""
    client.post(reverse("workshop:login"), {"username": lead.sign_in_name, "password": PASSWORD})
    answer = client.post(reverse("workshop:enrol"), {**key(), "name": "Tablet, bay one", "lock_minutes": "5"})
    assert answer.status_code == 302
    client.post(reverse("workshop:logout"))
    return client


@pytest.fixture
def row(tablet):
    return Device.objects.get(name="Tablet, bay one")


@pytest.fixture
def pinned(technician, other_technician):
    acts.set_pin(by=by(technician), pin=PIN)
    acts.set_pin(by=by(other_technician), pin=OTHER_PIN)


def enter(client, person, pin=PIN, **more):
    return client.post(reverse("workshop:enter", args=[person.pk]), {"pin": pin, **more})


def unlock(client, person, **fields):
    sent = {"person": str(getattr(person, "pk", person)), **fields}
    return client.post(reverse("workshop:unlock"), sent, headers=SCRIPT)


def is_in(client, person) -> bool:
    answer = client.get(FLOOR)
    return answer.status_code == 200 and answer.context["user"] == person


def pass_time(client, minutes):
    """The session was touched last so many minutes ago."""
    session = client.session
    session[idle.TOUCHED] = int(time.time()) - int(minutes * 60)
    session.save()


# --------------------------------------------------------------------------------------------------- enrolling


def test_a_lead_enrols_the_tablet_in_hand(client, lead, technician):
    client.force_login(technician)
    assert client.get(reverse("workshop:enrol")).status_code == 403
    client.force_login(lead)
    sent = {**key(), "name": "Tablet, bay one", "lock_minutes": "5"}
    for minutes in ("0", "61", "x", ""):
        answer = client.post(reverse("workshop:enrol"), {**sent, "lock_minutes": minutes})
        assert answer.status_code == 422
        assert answer.context["form"].errors["lock_minutes"]
    answer = client.post(reverse("workshop:enrol"), sent)
    assert answer.url == reverse("workshop:pin")  # the lead has none yet
    device = Device.objects.get()
    assert (device.name, device.lock_minutes, device.enrolled_by, device.is_enrolled) == (
        "Tablet, bay one",
        5,
        lead,
        True,
    )
    event = Event.objects.order_by("-seq").first()
    assert (event.act, event.person, event.device) == ("workshop.devices.enrol_tablet", lead, device)
    assert "data-shared" in client.get(reverse("workshop:devices")).content.decode()


def test_no_tablet_is_enrolled_from_afar(lead):
    here, there = Device.objects.create(name="Desk"), Device.objects.create(name="Tablet")
    with pytest.raises(device_acts.ValidationError, match="on itself"):
        device_acts.enrol_tablet(by=By(lead, device=here), device=there, name="Tablet", lock_minutes=5)


def test_its_lock_time_is_changed_and_its_enrolment_ended(tablet, row, lead, technician, pinned):
    enter(tablet, technician)
    assert is_in(tablet, technician)
    desk = Client()
    desk.force_login(lead)
    desk.post(reverse("workshop:device-lock-time", args=[row.pk]), {**key(), "lock_minutes": "12"})
    row.refresh_from_db()
    assert row.lock_minutes == 12
    desk.post(reverse("workshop:device-end-enrolment", args=[row.pk]), key())
    row.refresh_from_db()
    assert not row.is_enrolled
    # Who was signed in on it is out, and the way in is name and password again.
    assert tablet.get(FLOOR).url.startswith(reverse("workshop:login"))
    assert tablet.get(DOOR).url.startswith(reverse("workshop:login"))
    assert enter(tablet, technician).url.startswith(reverse("workshop:login"))


# ----------------------------------------------------------------------------------------------------- the door


def test_the_door_names_the_staff_and_who_has_no_pin(tablet, row, technician, lead, car_owner, pinned):
    answer = tablet.get(FLOOR)
    assert answer.url == f"{DOOR}?next=/floor/"
    page = tablet.get(answer.url).content.decode()
    for person in (technician, lead):
        assert person.name in page
    assert car_owner.name not in page
    assert page.count("no PIN yet: choose one") == 1  # the lead
    assert f'href="{reverse("workshop:enter", args=[technician.pk])}?next=/floor/"' in page
    assert f'href="{reverse("workshop:login")}?next=/floor/"' in page
    assert tablet.get("/").url == f"{DOOR}?next=/"


def test_elsewhere_there_is_no_door(client, technician, pinned):
    assert client.get(DOOR).url.startswith(reverse("workshop:login"))
    assert enter(client, technician).url.startswith(reverse("workshop:login"))
    assert unlock(client, technician, pin=PIN).status_code == 403
    # A browser that the shop knows, but has not enrolled, has none either.
    client.post(reverse("workshop:login"), {"username": technician.sign_in_name, "password": PASSWORD})
    client.post(reverse("workshop:logout"))
    assert enter(client, technician).url.startswith(reverse("workshop:login"))


def test_name_and_pin_open_the_page_that_was_asked_for(tablet, row, technician, pinned):
    answer = enter(tablet, technician, next=FLOOR)
    assert answer.url == FLOOR
    assert is_in(tablet, technician)
    # What is written names the tablet and the person.
    tablet.post(reverse("workshop:pin"), {**key(), "old_pin": PIN, "pin": "204613", "again": "204613"})
    event = Event.objects.order_by("-seq").first()
    assert (event.act, event.person, event.device) == ("workshop.pins.set_pin", technician, row)


@pytest.mark.parametrize(
    "wanted",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/",
        "/\\elsewhere.example",
        "/tablet/",
        "/sign-out/",
        "javascript:x",
    ],
)
def test_next_leads_nowhere_else(tablet, technician, pinned, wanted):
    assert enter(tablet, technician, next=wanted).url == "/"


def test_a_wrong_pin_is_said_and_the_fifth_locks_the_name(tablet, row, technician, other_technician, pinned):
    answer = enter(tablet, technician, WRONG)
    assert answer.status_code == 422
    assert "Wrong PIN. Four more tries" in answer.content.decode()
    assert WRONG not in answer.content.decode()
    for _ in range(3):
        enter(tablet, technician, WRONG)
    said = tablet.post(reverse("workshop:enter", args=[technician.pk]), {"pin": WRONG}, headers=SCRIPT)
    assert said.status_code == 422
    assert "is locked on this tablet until" in said.json()["error"]
    assert "is locked on this tablet until" in enter(tablet, technician).content.decode()
    assert enter(tablet, other_technician, OTHER_PIN).status_code == 302
    assert PinLock.objects.get().device == row


def test_the_first_pin_takes_name_and_password(tablet, lead, technician, car_owner):
    address = reverse("workshop:pin-first")
    assert tablet.get(reverse("workshop:enter", args=[lead.pk])).url == address
    sent = {"username": lead.sign_in_name, "password": PASSWORD, "pin": PIN, "again": PIN}
    wrong = [
        ({"password": "not it"}, "password"),
        ({"pin": "111111", "again": "111111"}, "pin"),
        ({"again": OTHER_PIN}, "again"),
        ({"username": car_owner.sign_in_name}, "username"),
    ]
    for change, where in wrong:
        answer = tablet.post(address, {**sent, **change, **key()})
        assert answer.status_code == 422
        assert set(answer.context["form"].errors) == {where}
    assert tablet.post(address, {**sent, **key(), "next": FLOOR}).url == FLOOR
    assert is_in(tablet, lead)
    lead.refresh_from_db()
    assert pins.has_pin(lead)
    # Passwords are counted here as at the other door.
    tablet.post(reverse("workshop:logout"))
    for _ in range(5):
        tablet.post(address, {**sent, "username": technician.sign_in_name, "password": "x", **key()})
    answer = tablet.post(address, {**sent, "username": technician.sign_in_name, **key()})
    assert "Too many wrong passwords" in answer.content.decode()


def test_ones_own_pin_needs_the_old_one_or_the_password(client, technician):
    client.force_login(technician)
    address = reverse("workshop:pin")
    sent = {"pin": PIN, "again": PIN}
    assert client.post(address, {**sent, **key()}).status_code == 422
    assert client.post(address, {**sent, **key(), "password": PASSWORD}).status_code == 302
    new = {"pin": OTHER_PIN, "again": OTHER_PIN}
    assert client.post(address, {**new, **key()}).context["form"].errors["old_pin"]
    assert client.post(address, {**new, **key(), "old_pin": WRONG}).status_code == 422
    answer = client.post(address, {**new, **key(), "old_pin": PIN})
    assert answer.status_code == 302, answer.context["form"].errors
    technician.refresh_from_db()
    pins.check(technician, OTHER_PIN, None)


def test_the_password_door_asks_for_a_pin_next(tablet, technician):
    answer = tablet.post(
        reverse("workshop:login"), {"username": technician.sign_in_name, "password": PASSWORD, "next": FLOOR}
    )
    assert answer.url == f"{reverse('workshop:pin')}?next=%2Ffloor%2F"
    assert "Names and PINs of this tablet" not in tablet.get(FLOOR).content.decode()
    tablet.post(reverse("workshop:logout"))
    assert "Names and PINs of this tablet" in tablet.get(reverse("workshop:login")).content.decode()


def test_the_door_wants_its_token(tablet, technician, pinned):
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = tablet.cookies
    for name, arguments in (("enter", [technician.pk]), ("unlock", []), ("lock", []), ("pin-first", [])):
        assert strict.post(reverse(f"workshop:{name}", args=arguments), {"pin": PIN}).status_code == 403


# ------------------------------------------------------------------------------------------------------ the lock


def test_a_locked_session_opens_nothing_but_its_door(tablet, technician, pinned):
    enter(tablet, technician)
    session_key = tablet.cookies[SESSION_COOKIE_NAME].value
    assert tablet.post(reverse("workshop:lock"), headers=SCRIPT).status_code == 204
    assert tablet.get(FLOOR).url == f"{DOOR}?next=%2Ffloor%2F"
    script = tablet.get("/floor/rows/?mine=0", headers={"HX-Request": "true"})
    assert (script.status_code, script.headers["X-Locked"]) == (423, "1")
    answer = tablet.post(
        reverse("workshop:pin"), {**key(), "pin": PIN}, headers={"Referer": "http://testserver/tablet/pin/"}
    )
    assert answer.url == f"{DOOR}?next=%2Ftablet%2Fpin%2F"
    page = tablet.get(answer.url)
    assert "nothing was saved" in page.content.decode()
    # The door is nobody's: no name in its head, no grant, no navigation.
    assert "data-person" not in page.content.decode()
    assert "Sign out" not in page.content.decode()
    assert tablet.get(reverse("workshop:login")).status_code == 200
    assert "Sign out" not in tablet.get(reverse("workshop:login")).content.decode()
    for name in ("health", "workshop:waiting"):
        assert tablet.get(reverse(name)).status_code == 200
    # The same person goes on in the same session.
    assert unlock(tablet, technician, pin=WRONG).status_code == 422
    opened = unlock(tablet, technician, pin=PIN)
    assert opened.status_code == 200
    technician.refresh_from_db()
    assert opened.json() == {"mark": pins.mark(technician)}
    assert tablet.cookies[SESSION_COOKIE_NAME].value == session_key
    assert is_in(tablet, technician)


def test_unlocking_keeps_the_token_of_the_page(tablet, technician, pinned):
    enter(tablet, technician)
    tablet.get(FLOOR)
    token = tablet.cookies["csrftoken"].value
    tablet.post(reverse("workshop:lock"))
    unlock(tablet, technician, pin=PIN)
    assert tablet.cookies["csrftoken"].value == token
    tablet.post(reverse("workshop:lock"))
    assert unlock(tablet, technician, password=PASSWORD).json() == {"mark": ""}
    assert is_in(tablet, technician)


def test_without_scripts_the_button_leads_to_the_door_and_back(tablet, technician, pinned):
    enter(tablet, technician)
    answer = tablet.post(reverse("workshop:lock"), headers={"Referer": "http://testserver/tools/?x=1"})
    assert answer.url == f"{DOOR}?next=%2Ftools%2F%3Fx%3D1"
    page = tablet.get(answer.url).content.decode()
    assert "was here last: goes on where it was" in page
    assert enter(tablet, technician, next="/tools/?x=1").url == "/tools/?x=1"
    assert is_in(tablet, technician)


def test_somebody_else_ends_the_first_session(tablet, technician, other_technician, pinned):
    enter(tablet, technician)
    first = tablet.cookies[SESSION_COOKIE_NAME].value
    tablet.post(reverse("workshop:lock"))
    page = tablet.get(reverse("workshop:enter", args=[other_technician.pk])).content.decode()
    assert f"{technician.name} is signed in here now" in page
    enter(tablet, other_technician, OTHER_PIN)
    assert is_in(tablet, other_technician)
    assert tablet.cookies[SESSION_COOKIE_NAME].value != first
    tablet.cookies[SESSION_COOKIE_NAME] = first
    assert not is_in(tablet, technician)


def test_the_server_counts_the_idle_time_itself(tablet, row, technician, pinned):
    enter(tablet, technician)
    pass_time(tablet, 5)  # the page would lock now; the server gives its script a minute
    assert is_in(tablet, technician)
    pass_time(tablet, 6.1)
    assert tablet.get(FLOOR).url.startswith(DOOR)
    assert tablet.session[idle.LOCKED]


def test_polls_pictures_and_the_queue_are_no_touch(tablet, technician, pinned):
    enter(tablet, technician)
    for headers in (
        {"HX-Request": "true", "If-None-Match": '"live-x"'},
        {"Accept": "image/avif,image/webp,*/*"},
        {"Accept": "*/*"},
    ):
        pass_time(tablet, 4)
        before = tablet.session[idle.TOUCHED]
        assert tablet.get("/floor/rows/?mine=0", headers=headers).status_code == 200
        assert tablet.session[idle.TOUCHED] == before
    for touch in (
        lambda: tablet.get(FLOOR, headers={"Accept": "text/html,*/*"}),
        lambda: tablet.get("/floor/rows/?mine=0", headers={"HX-Request": "true"}),
        lambda: tablet.post(reverse("workshop:awake"), headers=SCRIPT),
    ):
        pass_time(tablet, 4)
        touch()
        assert tablet.session[idle.TOUCHED] > time.time() - 10
    # Once locked, the word that somebody types opens nothing.
    pass_time(tablet, 7)
    assert tablet.post(reverse("workshop:awake"), headers=SCRIPT).status_code == 423


def test_a_browser_that_is_no_tablet_never_locks(client, technician):
    client.post(reverse("workshop:login"), {"username": technician.sign_in_name, "password": PASSWORD})
    assert client.post(reverse("workshop:lock"), headers=SCRIPT).status_code == 204
    pass_time(client, 600)
    assert is_in(client, technician)
    assert "data-shared" not in client.get(FLOOR).content.decode()


def test_a_session_that_ended_meanwhile_is_begun_anew_by_the_pin(
    tablet, technician, other_technician, pinned
):
    tablet.cookies.pop(SESSION_COOKIE_NAME, None)
    assert unlock(tablet, technician, pin=PIN).status_code == 200
    assert is_in(tablet, technician)
    # A page of somebody who was here before brings the session back to them, not to the one who is here.
    assert unlock(tablet, other_technician, pin=OTHER_PIN).status_code == 200
    assert is_in(tablet, other_technician)
    assert unlock(tablet, "nobody", pin=OTHER_PIN).status_code == 403


def test_the_lock_costs_no_query_but_for_the_device(tablet, technician, pinned, django_assert_num_queries):
    enter(tablet, technician)
    tablet.get(reverse("workshop:pin"))
    with django_assert_num_queries(4):  # session, person, roles, device
        tablet.get(reverse("workshop:pin"))


# -------------------------------------------------------------------------------------------------- told and lost


def lock_out(client, person):
    for _ in range(5):
        enter(client, person, WRONG)
    return PinLock.objects.get()


def test_leads_are_told_and_say_that_they_have_seen_it(tablet, row, technician, lead, pinned):
    lock = lock_out(tablet, technician)
    said = f"Five wrong PINs for {technician.name}</strong> on {row.name} at {timezone.localtime(lock.locked_at):%H:%M}"
    desk, bench = Client(), Client()
    desk.force_login(lead)
    bench.force_login(technician)
    for address in (FLOOR, "/floor/rows/?mine=0", reverse("workshop:devices")):
        assert said in desk.get(address).content.decode()
    assert "wrong PINs" not in bench.get(FLOOR).content.decode()
    seen = reverse("workshop:pin-lock-seen", args=[lock.pk])
    assert bench.post(seen, key()).status_code == 403
    answer = desk.post(seen, key(), headers={"Referer": "http://testserver/floor/"})
    assert answer.url == FLOOR
    assert "wrong PINs" not in desk.get(FLOOR).content.decode()
    lock.refresh_from_db()
    assert lock.told_to == lead


def test_being_told_costs_leads_one_query_and_others_none(
    tablet, technician, lead, pinned, django_assert_num_queries
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def asked(person) -> int:
        client = Client()
        client.force_login(person)
        client.get(FLOOR)
        with CaptureQueriesContext(connection) as queries:
            client.get(FLOOR)
        return sum("pinlock" in each["sql"] for each in queries)

    assert (asked(lead), asked(technician)) == (1, 0)
    lock_out(tablet, technician)
    assert (asked(lead), asked(technician)) == (1, 0)


def test_a_lost_tablet_is_shut_out_in_one_tap(tablet, row, technician, other_technician, lead, pinned):
    lock_out(tablet, other_technician)
    enter(tablet, technician)
    assert is_in(tablet, technician)
    desk = Client()
    desk.force_login(lead)
    lost = reverse("workshop:device-lost", args=[row.pk])
    for address in (FLOOR, reverse("workshop:devices"), row.get_absolute_url()):
        assert f'action="{lost}"' in desk.get(address).content.decode()
    assert desk.get(lost).status_code == 405
    page = desk.post(lost, key(), follow=True).content.decode()
    assert f"“{row.name}” is revoked" in page
    assert reverse("workshop:device-readmit", args=[row.pk]) in page
    row.refresh_from_db()
    assert row.revoked_because == "Lost"
    # The tablet: signed out, and it says so, whatever is tried.
    answer = tablet.get(FLOOR)
    assert answer.url.startswith(DOOR)
    for answer in (tablet.get(DOOR), enter(tablet, technician), unlock(tablet, technician, pin=PIN)):
        assert answer.status_code == 403
        assert "This tablet was revoked" in answer.content.decode()
    assert "stays on it" in tablet.get(DOOR).content.decode()
    refused = tablet.post(
        reverse("workshop:login"), {"username": technician.sign_in_name, "password": PASSWORD}
    )
    assert refused.status_code == 422
    # Found again, it is the shop's tablet as before.
    desk.post(reverse("workshop:device-readmit", args=[row.pk]), {**key(), "reason": "It lay in the van."})
    assert enter(tablet, technician).status_code == 302


def test_the_tablet_in_hand_is_not_lost(tablet, row, lead):
    acts.set_pin(by=by(lead), pin=PIN)
    enter(tablet, lead)
    page = tablet.post(reverse("workshop:device-lost", args=[row.pk]), key(), follow=True).content.decode()
    assert "in your hands" in page
    row.refresh_from_db()
    assert row.revoked_at is None


def test_the_owner_clears_a_pin_and_nobody_sees_one(client, shop_owner, technician, pinned):
    client.force_login(shop_owner)
    hash_ = Person.objects.get(pk=technician.pk).pin
    page = client.get(technician.get_absolute_url()).content.decode()
    assert "Clear the PIN" in page
    assert hash_ not in page
    answer = client.post(reverse("workshop:person-pin-clear", args=[technician.pk]), key(), follow=True)
    assert f"{technician.name} has no PIN now." in answer.content.decode()
    technician.refresh_from_db()
    assert not technician.pin


# ----------------------------------------------------------------------------------------------- a wrong clock


@pytest.mark.parametrize(
    ("device_clock", "made", "said"),
    [
        (timedelta(minutes=60), timedelta(), "the tablet&#x27;s clock was 60 minutes ahead"),
        (timedelta(minutes=-60), timedelta(), "the tablet&#x27;s clock was 60 minutes behind"),
        (timedelta(days=-3), timedelta(), "the tablet&#x27;s clock was 3 days behind"),
        (timedelta(seconds=40), timedelta(), ""),
        # Kept for half an hour, and sent with the clock of the tablet an hour fast.
        (timedelta(minutes=30), timedelta(minutes=-30), "the tablet&#x27;s clock was 60 minutes ahead"),
    ],
)
def test_the_log_says_by_how_much_the_clock_was_wrong(client, lead, row, device_clock, made, said):
    now = timezone.now().replace(microsecond=123)
    device_acts.set_lock_minutes(
        by=By(lead, device=row, received_at=now, made_at=now + made, device_time=now + device_clock),
        device=row,
        lock_minutes=7,
    )
    client.force_login(lead)
    page = client.get(reverse("workshop:log"), {"act": "set lock minutes"}).content.decode()
    assert said in page
    assert ("#x27;s clock" in page) is bool(said)


def test_a_time_that_was_typed_is_no_wrong_clock(client, lead, row):
    now = timezone.now().replace(second=30)
    typed = (now - timedelta(hours=2)).replace(second=0, microsecond=0)
    device_acts.set_lock_minutes(
        by=By(lead, device=row, received_at=now, made_at=typed, device_time=now), device=row, lock_minutes=7
    )
    client.force_login(lead)
    assert (
        "#x27;s clock"
        not in client.get(reverse("workshop:log"), {"act": "set lock minutes"}).content.decode()
    )
