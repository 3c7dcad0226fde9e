"""PINs: what is refused as too weak, five wrong ones, what a lock is of and what outlives what. Never in the log."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.auth.hashers import identify_hasher
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from tests.people import by
from workshop import pins
from workshop.acts import pins as acts
from workshop.models import Device, Event, EventDetail, Person, PinLock, SignInTry, Submission
from workshop.models.people import TriedWith

PIN, OTHER_PIN, WRONG = "395172", "806413", "111119"


def enrolled(lead, name="Tablet, bay one"):
    return Device.objects.create(name=name, enrolled_at=timezone.now(), enrolled_by=lead)


@pytest.fixture
def tablet_device(lead):
    return enrolled(lead)


def with_pin(person, pin=PIN):
    acts.set_pin(by=by(person), pin=pin)
    return Person.objects.get(pk=person.pk)


def refusal(person, pin, device) -> ValidationError:
    with pytest.raises(ValidationError) as refused:
        pins.check(person, pin, device)
    return refused.value


def wrong(person, device, times):
    return [refusal(person, WRONG, device) for _ in range(times)]


@pytest.mark.parametrize(
    ("pin", "why"),
    [
        ("12345", "six digits"),
        ("1234567", "six digits"),
        ("12a456", "something else"),
        ("", "has none"),
        ("٣٩٥١٧٢", "something else"),
        ("777777", "same digit"),
        ("123456", "run up or down"),
        ("654321", "run up or down"),
        ("890123", "run up or down"),
        ("210987", "run up or down"),
    ],
)
def test_a_weak_pin_is_refused_in_words(pin, why):
    with pytest.raises(ValidationError, match=why):
        pins.refuse_weak(pin)


@pytest.mark.parametrize("pin", ["395172", "112233", "135791", " 395 172 "])
def test_any_other_six_digits_will_do(pin):
    pins.refuse_weak(pin)


def test_the_right_pin_passes_and_forgets_the_wrong_ones(technician, tablet_device):
    person = with_pin(technician)
    assert pins.has_pin(person)
    said = [each.messages[0] for each in wrong(person, tablet_device, 4)]
    assert [text.split(", then")[0] for text in said] == [
        "Wrong PIN. Four more tries",
        "Wrong PIN. Three more tries",
        "Wrong PIN. Two more tries",
        "Wrong PIN. One more try",
    ]
    pins.check(person, PIN, tablet_device)
    assert not SignInTry.objects.exists()
    assert "Four more tries" in refusal(person, WRONG, tablet_device).messages[0]


def test_five_wrong_lock_this_name_on_this_tablet_alone(technician, other_technician, lead, tablet_device):
    person, colleague, elsewhere = (
        with_pin(technician),
        with_pin(other_technician),
        enrolled(lead, "Tablet, bay two"),
    )
    fifth = wrong(person, tablet_device, 5)[-1]
    lock = PinLock.objects.get()
    assert (lock.person, lock.device, lock.count) == (person, tablet_device, 5)
    assert lock.locked_until - lock.locked_at == timedelta(minutes=settings.SIGN_IN_LOCK_MINUTES)
    until = f"until {timezone.localtime(lock.locked_until):%H:%M}"
    assert fifth.code == "pin_locked"
    assert until in fifth.messages[0]
    assert "The lead is told" in fifth.messages[0]
    # Even the right one, while it lasts; and nothing more is counted.
    locked = refusal(person, PIN, tablet_device)
    assert locked.code == "pin_locked"
    assert until in locked.messages[0]
    assert SignInTry.objects.count() == 5
    assert PinLock.objects.count() == 1
    pins.check(colleague, PIN, tablet_device)
    pins.check(person, PIN, elsewhere)
    pins.check(person, PIN, None)


def test_the_lock_ends_by_its_time(technician, tablet_device):
    person = with_pin(technician)
    wrong(person, tablet_device, 5)
    past = timedelta(minutes=settings.SIGN_IN_LOCK_MINUTES, seconds=1)
    for row in SignInTry.objects.all():
        SignInTry.objects.filter(pk=row.pk).update(at=row.at - past)
    lock = PinLock.objects.get()
    PinLock.objects.update(locked_at=lock.locked_at - past, locked_until=lock.locked_until - past)
    assert "Four more" in refusal(person, WRONG, tablet_device).messages[0]
    pins.check(person, PIN, tablet_device)


def test_what_is_no_pin_at_all_costs_no_try(technician, tablet_device):
    person = with_pin(technician)
    for typed in ("", "39517", "abcdef", "3951722"):
        assert "six digits" in refusal(person, typed, tablet_device).messages[0]
    assert not SignInTry.objects.exists()


def test_who_has_none_or_may_not_is_told_so(technician, other_technician, tablet_device):
    assert refusal(technician, PIN, tablet_device).code == "no_pin"
    person = with_pin(other_technician)
    Person.objects.filter(pk=person.pk).update(is_active=False)
    person.refresh_from_db()
    assert "no longer" in refusal(person, PIN, tablet_device).messages[0]


def test_on_a_revoked_device_no_pin_counts(technician, tablet_device):
    person = with_pin(technician)
    Device.objects.update(revoked_at=timezone.now(), revoked_because="Lost")
    tablet_device.refresh_from_db()
    assert refusal(person, PIN, tablet_device).code == "revoked"


@pytest.mark.django_db(transaction=True)
def test_a_check_inside_a_transaction_is_a_mistake_of_ours(technician, tablet_device):
    """There a form that comes back would take the count with it."""
    person = with_pin(technician)
    with pytest.raises(RuntimeError, match="durable"), transaction.atomic():
        pins.check(person, WRONG, tablet_device)
    # Where it is meant to be called, what comes after it may be rolled back.
    refusal(person, WRONG, tablet_device)
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        1 / 0  # noqa: B018
    assert SignInTry.objects.filter(what=TriedWith.PIN).count() == 1


def test_wrong_passwords_and_wrong_pins_are_counted_apart(client, technician, tablet_device):
    from workshop import signin

    person = with_pin(technician)
    wrong(person, tablet_device, 4)
    assert not signin.is_locked(person.sign_in_name, tablet_device)
    for _ in range(5):
        signin.count_wrong_try(person.sign_in_name, tablet_device)
    assert signin.is_locked(person.sign_in_name, tablet_device)
    pins.check(person, PIN, tablet_device)
    assert signin.is_locked(person.sign_in_name, tablet_device)


def test_a_new_pin_opens_the_lock_of_the_old_one(technician, tablet_device):
    person = with_pin(technician)
    wrong(person, tablet_device, 5)
    person = with_pin(person, OTHER_PIN)
    pins.check(person, OTHER_PIN, tablet_device)
    assert refusal(person, PIN, tablet_device).code == "wrong_pin"


def test_the_log_says_that_and_never_what(technician, shop_owner, lead, tablet_device):
    person = acts.set_pin(by=by(technician, device=tablet_device), pin=PIN)
    wrong(person, tablet_device, 5)
    acts.acknowledge_pin_lock(by=by(lead, device=tablet_device), lock=PinLock.objects.get())
    acts.clear_pin(by=by(shop_owner), person=person)
    rows = Event.objects.order_by("seq")
    said = [(row.act, row.person, row.device) for row in rows]
    assert said == [
        ("workshop.pins.set_pin", technician, tablet_device),
        ("workshop.pins.name_locked_after_wrong_pins", technician, tablet_device),
        ("workshop.pins.acknowledge_pin_lock", lead, tablet_device),
        ("workshop.pins.clear_pin", shop_owner, None),
    ]
    everything = json.dumps(
        [*rows.values_list("body", flat=True), *EventDetail.objects.values_list("words", flat=True)]
    )
    for secret in (PIN, WRONG, person.pin):
        assert secret not in everything
    # Nor does the submission's hash hold it: two PINs under one key are one submission.
    mine = by(technician)
    acts.set_pin(by=mine, pin=PIN)
    acts.set_pin(by=mine, pin=OTHER_PIN)
    assert Submission.objects.filter(key=mine.key).count() == 1


def test_nobody_sets_the_pin_of_another_and_the_owner_alone_clears_it(
    technician, lead, shop_owner, car_owner
):
    person = with_pin(technician)
    with pytest.raises(PermissionDenied):
        acts.clear_pin(by=by(lead), person=person)
    with pytest.raises(PermissionDenied):
        acts.set_pin(by=by(car_owner), pin=PIN)
    acts.clear_pin(by=by(shop_owner), person=person)
    person.refresh_from_db()
    assert not pins.has_pin(person)
    with pytest.raises(ValidationError, match="has no PIN"):
        acts.clear_pin(by=by(shop_owner), person=person)


def test_a_lock_is_seen_once_and_by_a_lead(technician, lead, shop_owner, tablet_device):
    person = with_pin(technician)
    wrong(person, tablet_device, 5)
    row = PinLock.objects.get()
    with pytest.raises(PermissionDenied):
        acts.acknowledge_pin_lock(by=by(technician), lock=row)
    acts.acknowledge_pin_lock(by=by(lead), lock=row)
    row.refresh_from_db()
    assert row.told_to == lead
    with pytest.raises(ValidationError, match="seen this already"):
        acts.acknowledge_pin_lock(by=by(shop_owner), lock=row)


def test_the_database_keeps_the_rules_too(technician, lead, tablet_device):
    now = timezone.now()
    broken = [
        lambda: Person.objects.filter(pk=technician.pk).update(pin=PIN),
        lambda: Device.objects.update(lock_minutes=0),
        lambda: Device.objects.update(lock_minutes=61),
        lambda: Device.objects.update(enrolled_by=None),
        lambda: SignInTry.objects.create(sign_in_name="x", at=now, what="eye"),
        lambda: PinLock.objects.create(
            person=technician, device=tablet_device, locked_at=now, locked_until=now - timedelta(1), count=5
        ),
        lambda: PinLock.objects.create(
            person=technician, device=tablet_device, locked_at=now, locked_until=now, count=0
        ),
        lambda: PinLock.objects.create(
            person=technician, device=tablet_device, locked_at=now, locked_until=now, count=5, told_at=now
        ),
    ]
    for attempt in broken:
        with pytest.raises(IntegrityError), transaction.atomic():
            attempt()


def test_a_shop_hashes_pins_with_argon2id(technician, monkeypatch):
    """The tests' own hasher is quick; the shop's settings name Argon2 first, and RFC 9106 recommends its id variant."""
    from workshop import settings as shop

    monkeypatch.setattr(settings, "PASSWORD_HASHERS", shop.PASSWORD_HASHERS)
    from django.contrib.auth import hashers

    hashers.get_hashers.cache_clear()
    hashers.get_hashers_by_algorithm.cache_clear()
    try:
        person = with_pin(technician)
        assert identify_hasher(person.pin).algorithm == "argon2"
        assert person.pin.startswith("argon2$argon2id$")
        pins.check(person, PIN, None)
    finally:
        monkeypatch.undo()
        hashers.get_hashers.cache_clear()
        hashers.get_hashers_by_algorithm.cache_clear()
