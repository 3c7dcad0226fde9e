"""Outstanding items: they belong to the car, are told again and again, and end only in a recorded way."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.acts import work
from tests.factories.handover import in_work, owner_of
from tests.factories.job import JobFactory
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.vehicle import VehicleFactory
from tests.hand import Hand
from tests.people import by
from tests.vehicles_forms import form_of
from vehicles import outstanding as reads
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import odometer
from vehicles.acts import outstanding as acts
from vehicles.models import OutstandingItem, Telling
from workshop.acting import ChangedMeanwhile
from workshop.engineering.units import Amount
from workshop.models import Event

DAYS = timedelta(days=1)


def amount(value, unit="km") -> Amount:
    return Amount(Decimal(value), unit)


def refusal(act, **arguments) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        act(**arguments)
    return caught.value.message_dict


def now_of(item) -> OutstandingItem:
    return OutstandingItem.objects.get(pk=item.pk)


@pytest.fixture
def item(lead, car):
    return ItemFactory(person=lead, vehicle=car, title="Hose weeps")


@pytest.fixture
def owner(lead, car):
    keeper = KeeperFactory(person=lead, name="Corin Ashby")
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part="owner")
    return keeper


@pytest.fixture
def driver(lead, car):
    keeper = KeeperFactory(person=lead, name="Orla Penn")
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part="driver")
    return keeper


# --- raised -----------------------------------------------------------------------------------------------------


def test_items_are_numbered_per_car(lead, car, item):
    assert str(item) == "O1 Hose weeps"
    assert ItemFactory(person=lead, vehicle=car).order == 2
    assert ItemFactory(person=lead, vehicle=VehicleFactory(person=lead)).order == 1


@pytest.mark.parametrize(("unit", "km"), [("km", "500"), ("mi", "804.672")])
def test_a_due_distance_is_kept_in_km_and_shown_as_typed(lead, car, unit, km):
    item = now_of(ItemFactory(person=lead, vehicle=car, due_distance=amount(500, unit)))
    assert item.due_km == Decimal(km)
    assert item.due_words == f"after 500 {unit}"


def test_a_due_distance_counts_from_the_latest_reading(lead, car):
    odometer.record_reading(
        by=by(lead), vehicle=car, amount=amount(100_000), read_at=timezone.now() - 2 * DAYS
    )
    latest = odometer.record_reading(by=by(lead), vehicle=car, amount=amount(100_100))
    assert ItemFactory(person=lead, vehicle=car, due_distance=amount(50)).from_reading == latest
    assert ItemFactory(person=lead, vehicle=car, due_on=by(lead).day).from_reading is None


def test_due_before_it_was_made_or_a_lifetime_ahead_is_refused(lead, car):
    with pytest.raises(ValidationError) as caught:
        ItemFactory(person=lead, vehicle=car, due_on=by(lead).day - DAYS)
    assert "lies before the day the item was made" in caught.value.message_dict["due_on"][0]
    with pytest.raises(ValidationError) as caught:
        ItemFactory(person=lead, vehicle=car, due_on=by(lead).day + 30 * 366 * DAYS)
    assert "more than 20 years ahead" in caught.value.message_dict["due_on"][0]


def test_an_item_written_down_late_is_judged_on_its_own_day(lead, car):
    made_at = timezone.now() - timedelta(days=10)
    due_on = timezone.localdate() - timedelta(days=3)
    item = ItemFactory(person=lead, vehicle=car, made_at=made_at, due_on=due_on)
    assert item.raised_on == timezone.localtime(made_at).date()


def test_a_recheck_says_when(lead, car):
    with pytest.raises(ValidationError, match="A re-check needs a date, a distance, hours or runs"):
        ItemFactory(person=lead, vehicle=car, reason="recheck")
    assert ItemFactory(person=lead, vehicle=car, reason="recheck", due_runs=2).due_words == "after 2 runs"


@pytest.mark.parametrize(("value", "unit"), [("0", "km"), ("-5", "km"), ("1000001", "km"), ("5", "m")])
def test_an_impossible_due_distance_is_refused(lead, car, value, unit):
    with pytest.raises(ValidationError) as caught:
        ItemFactory(person=lead, vehicle=car, due_distance=amount(value, unit))
    assert list(caught.value.message_dict) == ["due_distance"]


def test_an_item_stays_with_its_car(lead, car):
    job = JobFactory(person=lead, vehicle=VehicleFactory(person=lead))
    with pytest.raises(ValidationError, match="is on another car"):
        ItemFactory(person=lead, vehicle=car, raised_in=job)


def test_an_item_of_a_line_names_its_job(lead, car):
    job = JobFactory(person=lead, vehicle=car)
    line = work.add_line(by=by(lead), job=job, complaint="Hose", kind="diagnosis")
    assert ItemFactory(person=lead, vehicle=car, raised_by_line=line).raised_in == job


def test_the_same_key_twice_is_one_item(lead, car):
    key = uuid4()
    for _ in range(2):
        acts.raise_item(by=by(lead, key=key), vehicle=car, title="Hose", severity="minor", reason="parts")
    assert OutstandingItem.objects.count() == 1


def test_the_front_desk_raises_none_but_tells(front_desk, lead, car, item, owner):
    with pytest.raises(PermissionDenied, match="You may not raise or end an outstanding item"):
        ItemFactory(person=front_desk, vehicle=car)
    assert tell(front_desk, item, owner).pk


# --- how soon ---------------------------------------------------------------------------------------------------


def due_now(car, item, day=None) -> reads.Due:
    row = OutstandingItem.objects.select_related("from_reading").get(pk=item.pk)
    reads.add_due(car, [row], day or timezone.localdate())
    return row.due


def test_due_by_date(lead, car):
    today = by(lead).day
    item = ItemFactory(person=lead, vehicle=car, due_on=today + 5 * DAYS)
    assert due_now(car, item).left == "in 5 days"
    assert due_now(car, item, today + 4 * DAYS).left == "in 1 day"
    assert due_now(car, item, today + 5 * DAYS).now
    assert due_now(car, item, today + 6 * DAYS).left == "1 day past"


def test_due_by_distance_in_the_unit_typed(lead, car):
    odometer.record_reading(
        by=by(lead), vehicle=car, amount=amount(100_000), read_at=timezone.now() - 2 * DAYS
    )
    item = ItemFactory(
        person=lead, vehicle=car, due_distance=amount(100, "mi"), made_at=timezone.now() - DAYS
    )
    assert (due_now(car, item).left, due_now(car, item).now) == ("100 mi to go", False)
    # 100 mi are 160.9344 km: exact by the definition of the mile.
    odometer.record_reading(by=by(lead), vehicle=car, amount=amount("100160.9"))
    assert not due_now(car, item).now
    odometer.record_reading(by=by(lead), vehicle=car, amount=amount(100_161))
    assert due_now(car, item).now


def test_due_by_distance_goes_on_over_a_replaced_instrument(lead, car):
    long_ago, lately = timezone.now() - 30 * DAYS, timezone.now() - 20 * DAYS
    odometer.record_reading(by=by(lead), vehicle=car, amount=amount(100_000), read_at=long_ago)
    item = ItemFactory(person=lead, vehicle=car, due_distance=amount(500), made_at=long_ago + DAYS)
    odometer.replace_instrument(
        by=by(lead),
        vehicle=car,
        replaced_on=lately.date(),
        old_last=amount(100_300),
        new_first=amount(0, "mi"),
        replaced_because="dead display",
    )
    odometer.record_reading(by=by(lead), vehicle=car, amount=amount(100, "mi"))
    # 300 km on the old instrument and 160.9344 km on the new one.
    assert due_now(car, item).left == "39 km to go"


def test_a_distance_that_is_not_known_says_so(lead, car):
    item = ItemFactory(person=lead, vehicle=car, due_distance=amount(50))
    due = due_now(car, item)
    assert (due.now, due.left) == (False, "distance since then not known")


def test_hours_are_counted_by_hand(lead, car):
    item = ItemFactory(person=lead, vehicle=car, due_hours=Decimal(50))
    due = due_now(car, item)
    assert (due.words, due.left) == ("after 50 running hours", "hours and runs are counted by hand")


def test_the_most_severe_comes_first(lead, car):
    for severity in ("advice", "dangerous", "minor", "major"):
        ItemFactory(person=lead, vehicle=car, severity=severity)
    rows = reads.open_items(car, timezone.localdate())
    assert [row.severity for row in rows] == ["dangerous", "major", "minor", "advice"]


# --- changed ----------------------------------------------------------------------------------------------------


def test_the_due_date_is_changed_with_a_reason(lead, technician, car, item):
    day = item.raised_on + 7 * DAYS
    assert "reason" in refusal(acts.change_due, by=by(lead), item=item, seen_version=1, reason="", due_on=day)
    stale = now_of(item)
    acts.change_due(by=by(lead), item=item, seen_version=1, reason="parts come then", due_on=day)
    assert now_of(item).due_on == day
    with pytest.raises(ChangedMeanwhile) as caught:
        acts.change_due(by=by(technician), item=stale, seen_version=1, reason="later", due_on=day + DAYS)
    assert caught.value.current["due_on"] == day
    assert "due_on" in refusal(
        acts.change_due, by=by(lead), item=item, seen_version=2, reason="x", due_on=item.raised_on - DAYS
    )


def test_a_changed_distance_counts_on_or_from_now(lead, car):
    first = odometer.record_reading(
        by=by(lead), vehicle=car, amount=amount(1000), read_at=timezone.now() - 2 * DAYS
    )
    item = ItemFactory(person=lead, vehicle=car, due_distance=amount(50), made_at=timezone.now() - DAYS)
    latest = odometer.record_reading(by=by(lead), vehicle=car, amount=amount(1040))
    acts.change_due(by=by(lead), item=item, seen_version=1, reason="more", due_distance=amount(90))
    assert now_of(item).from_reading == first
    acts.change_due(
        by=by(lead), item=item, seen_version=2, reason="driven so", due_distance=amount(90), from_now=True
    )
    assert now_of(item).from_reading == latest
    acts.change_due(by=by(lead), item=item, seen_version=3, reason="by date", due_on=item.raised_on + DAYS)
    assert now_of(item).from_reading is None


def test_judged_anew_with_a_reason(lead, item):
    acts.change_severity(
        by=by(lead),
        item=item,
        seen_version=1,
        severity="dangerous",
        reason="load index below the axle weight",
    )
    assert now_of(item).severity == "dangerous"
    assert "load index" in Event.objects.latest("seq").detail.words


# --- told -------------------------------------------------------------------------------------------------------


def tell(person, item, keeper, **changes) -> Telling:
    arguments = {"channel": "phone", "told": "The hose weeps.", "answer": "declined"} | changes
    return acts.tell(by=by(person), item=item, told_to=keeper, **arguments)


def test_declining_is_an_answer_and_no_ending(lead, item, owner):
    tell(lead, item, owner, answer_words="Not this month.")
    tell(lead, item, owner, answer="deferred")
    assert now_of(item).end == ""
    assert [row.answer for row in item.tellings.all()] == ["declined", "deferred"]
    event = Event.objects.order_by("seq").filter(act="vehicles.outstanding.tell").first()
    assert "Not this month." not in event.body
    assert "Not this month." in event.detail.words


def test_declined_to_sign_needs_a_witness_who_is_another_person(lead, technician, item, owner):
    def refused(**changes):
        with pytest.raises(ValidationError) as caught:
            tell(lead, item, owner, answer="not_signed", **changes)
        return caught.value

    assert "name the witness" in refused().message_dict["witness"][0]
    assert "somebody else than who writes this down" in str(refused(witness=lead))
    assert tell(lead, item, owner, answer="not_signed", witness=technician).witness == technician


def test_only_people_around_the_car_are_told(lead, item):
    stranger = KeeperFactory(person=lead, name="Somebody Else")
    with pytest.raises(ValidationError, match="plays no part for this car"):
        tell(lead, item, stranger)


def test_who_sold_the_car_is_told_nothing_any_more(lead, car, item, owner):
    now = timezone.now()
    old = ItemFactory(person=lead, vehicle=car, made_at=now - 20 * DAYS)
    keeper_acts.end_part_for(
        by=by(lead),
        vehicle_keeper=car.keepers.get(),
        until_on=timezone.localdate() - 10 * DAYS,
        reason="sold",
    )
    with pytest.raises(ValidationError) as caught:
        tell(lead, old, owner)
    assert "Corin Ashby plays a part for this car at other times, but not on" in caught.value.messages[0]
    late = acts.tell(by=by(lead, made_at=now - 15 * DAYS), item=old, told_to=owner, channel="phone",
                     told="Weeps.", answer="declined")  # fmt: skip
    assert late.told_to == owner, "told while the car was theirs, and written down late"


@pytest.mark.parametrize(
    ("part", "counts"),
    [
        ("owner", True),
        ("registered_keeper", True),
        ("authoriser", True),
        ("payer", True),
        ("collector", True),
        ("driver", False),
    ],
)
def test_whose_answer_counts(lead, car, item, part, counts):
    keeper = KeeperFactory(person=lead)
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part=part)
    told = tell(lead, item, keeper)
    assert list(Telling.objects.counting(car)) == ([told] if counts else [])


def test_what_counts_is_judged_on_the_day_of_the_telling(lead, car, driver):
    now, today = timezone.now(), timezone.localdate()
    item = ItemFactory(person=lead, vehicle=car, made_at=now - 20 * DAYS)
    buyer, seller = KeeperFactory(person=lead), KeeperFactory(person=lead)
    for keeper, days in ((seller, {"until_on": today - 10 * DAYS}), (buyer, {"from_on": today - 10 * DAYS})):
        keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=keeper, part="owner", **days)
    keeper_acts.add_part_for(by=by(lead), vehicle=car, keeper=seller, part="driver")

    def told(keeper, days_ago, answer="acknowledged"):
        when = by(lead, made_at=now - days_ago * DAYS)
        return acts.tell(by=when, item=item, told_to=keeper, channel="phone", told="Weeps.", answer=answer)

    counting = {told(seller, 12), told(buyer, 9)}
    # Afterwards the seller only drives it; nobody answered; another car.
    told(seller, 3)
    told(buyer, 2, answer="no_answer")
    assert set(Telling.objects.counting(car)) == counting
    assert not Telling.objects.counting(VehicleFactory(person=lead)).exists()


def test_nothing_is_told_or_ended_before_the_item_was_raised(lead, item, owner):
    early = by(lead, made_at=timezone.now() - timedelta(minutes=5))
    said = refusal(
        acts.tell, by=early, item=item, told_to=owner, channel="phone", told="x", answer="declined"
    )
    assert "The item was raised on" in said["made_at"][0]
    said = refusal(acts.leave_so, by=early, item=item, seen_version=1, left_by=owner)
    assert "Give that time or a later one" in said["made_at"][0]
    assert now_of(item).end == ""


# --- ended ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("severity", ["minor", "advice"])
def test_left_so_at_the_owners_wish(lead, car, owner, severity):
    item = ItemFactory(person=lead, vehicle=car, severity=severity)
    acts.leave_so(by=by(lead), item=item, seen_version=1, left_by=owner, words="It is for the scrap yard.")
    item = now_of(item)
    assert (item.end, item.left_by, item.left_words) == ("left", owner, "It is for the scrap yard.")


@pytest.mark.parametrize("severity", ["dangerous", "major"])
def test_what_is_dangerous_or_major_is_not_left_so(lead, car, owner, severity):
    item = ItemFactory(person=lead, vehicle=car, severity=severity)
    with pytest.raises(
        ValidationError, match=f"This item is {severity}: it can't be left so .* others are put"
    ):
        acts.leave_so(by=by(lead), item=item, seen_version=1, left_by=owner)
    with pytest.raises(IntegrityError), transaction.atomic():
        OutstandingItem.objects.filter(pk=item.pk).update(end="left", ended_at=timezone.now(), left_by=owner)


def test_a_driver_does_not_decide(lead, item, driver):
    said = refusal(acts.leave_so, by=by(lead), item=item, seen_version=1, left_by=driver)
    assert (
        "Orla Penn is not the owner, the registered keeper or somebody who may authorise"
        in said["left_by"][0]
    )


def test_settled_by_a_finding(lead, item):
    assert "ended_finding" in refusal(
        acts.end_by_finding, by=by(lead), item=item, seen_version=1, ended_finding=""
    )
    acts.end_by_finding(by=by(lead), item=item, seen_version=1, ended_finding="Dry after 200 km.")
    assert now_of(item).get_end_display() == "Settled by a later finding"


def test_done_by_a_line_of_this_car(lead, car, item):
    line = work.add_line(by=by(lead), job=JobFactory(person=lead, vehicle=car), complaint="Hose")
    stranger = ItemFactory(person=lead, vehicle=VehicleFactory(person=lead))
    assert "another car" in refusal(acts.end_by_line, by=by(lead), item=stranger, line=line)["line"][0]
    acts.end_by_line(by=by(lead), item=item, line=line, finding="dry")
    assert (now_of(item).ended_by_line, now_of(item).ended_finding) == (line, "dry")


def test_an_ended_item_is_left_alone_until_it_is_taken_back(lead, car, item, owner):
    acts.end_by_finding(by=by(lead), item=item, seen_version=1, ended_finding="Dry.")
    item = now_of(item)
    for act, arguments in (
        (acts.end_by_finding, {"seen_version": 2, "ended_finding": "Again."}),
        (acts.leave_so, {"seen_version": 2, "left_by": owner}),
        (acts.change_due, {"seen_version": 2, "reason": "x", "due_runs": 1}),
        (acts.change_severity, {"seen_version": 2, "reason": "x", "severity": "advice"}),
    ):
        with pytest.raises(ValidationError, match="This item ended on"):
            act(by=by(lead), item=item, **arguments)
    with pytest.raises(ValidationError, match="This item ended on"):
        tell(lead, item, owner)
    assert "reason" in refusal(acts.reopen_item, by=by(lead), item=item, seen_version=2, reason="")
    acts.reopen_item(by=by(lead), item=item, seen_version=2, reason="wet again")
    assert now_of(item).end == ""
    event = Event.objects.latest("seq")
    assert '"end":"finding"' in event.body
    assert "Dry." in event.detail.words
    with pytest.raises(ValidationError, match="nothing to take back"):
        acts.reopen_item(by=by(lead), item=now_of(item), seen_version=3, reason="x")


def test_two_people_end_one_item(lead, technician, item, owner):
    stale = now_of(item)
    acts.change_severity(by=by(lead), item=item, seen_version=1, severity="advice", reason="dry")
    with pytest.raises(ChangedMeanwhile):
        acts.leave_so(by=by(technician), item=stale, seen_version=1, left_by=owner)
    assert now_of(item).end == ""


# --- the database keeps the rules when the form is bypassed -------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"end": "finding"},
        {"end": "line", "ended_at": datetime(2026, 1, 1, tzinfo=UTC)},
        {"end": "left", "ended_at": datetime(2026, 1, 1, tzinfo=UTC)},
        {"ended_finding": "dry"},
        {"left_words": "as it is"},
        {"due_on": date(2000, 1, 1)},
        {"due_km": 5},
        {"due_km": 0, "due_km_unit": "km"},
        {"due_runs": 0},
        {"reason": "recheck"},
        {"severity": "awful"},
        {"title": ""},
    ],
)
def test_the_database_refuses(item, change):
    with pytest.raises(IntegrityError), transaction.atomic():
        OutstandingItem.objects.filter(pk=item.pk).update(**change)


def test_a_telling_is_never_altered(lead, item, owner):
    tell(lead, item, owner)
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        Telling.objects.update(answer="acknowledged")


# --- screens --------------------------------------------------------------------------------------------------


def test_raised_on_the_screen(client, technician, car):
    client.force_login(technician)
    url = reverse("vehicles:outstanding-add", args=[car.pk])
    sent = form_of(client, url) | {
        "title": "Wheel nuts again",
        "severity": "major",
        "reason": "recheck",
        "due_distance_value": "50",
        "due_distance_unit": "km",
    }
    answer = client.post(url, sent)
    item = OutstandingItem.objects.get()
    assert answer.url == item.get_absolute_url()
    assert "after 50 km" in client.get(answer.url).content.decode()
    # The same form sent again, after a lost answer, is the same item.
    assert client.post(url, sent).url == answer.url
    assert OutstandingItem.objects.count() == 1


def test_a_refused_item_comes_back_filled(client, technician, car):
    client.force_login(technician)
    url = reverse("vehicles:outstanding-add", args=[car.pk])
    answer = client.post(
        url, form_of(client, url) | {"title": "Wheel nuts again", "severity": "major", "reason": "recheck"}
    )
    assert answer.status_code == 422
    assert "A re-check needs a date" in answer.context["form"].errors["due_on"][0]
    assert "Wheel nuts again" in answer.content.decode()


def test_the_other_screens_of_an_item(client, technician, item, owner):
    client.force_login(technician)
    for name, fields in (
        ("tell", {"told_to": owner.pk, "channel": "phone", "told": "It weeps.", "answer": "declined"}),
        ("due", {"due_distance_value": "100", "due_distance_unit": "mi", "reason": "so far"}),
        ("severity", {"severity": "advice", "reason": "dry"}),
        ("found", {"ended_finding": "dry"}),
        ("reopen", {"reason": "wet"}),
        ("leave", {"left_by": owner.pk, "words": "Leave it."}),
    ):
        url = reverse(f"vehicles:outstanding-{name}", args=[item.pk])
        answer = client.post(url, form_of(client, url) | fields)
        assert answer.status_code == 302, (name, answer.context["form"].errors)
        assert answer.url == item.get_absolute_url()
        assert client.get(answer.url).status_code == 200
    assert now_of(item).end == "left"
    assert "Leave it." in client.get(item.get_absolute_url()).content.decode()


def test_what_is_major_offers_no_leaving(client, technician, lead, car, owner):
    item = ItemFactory(person=lead, vehicle=car, severity="major")
    client.force_login(technician)
    leave = reverse("vehicles:outstanding-leave", args=[item.pk])
    assert leave not in client.get(item.get_absolute_url()).content.decode()
    answer = client.post(leave, form_of(client, leave) | {"left_by": owner.pk})
    assert answer.status_code == 422
    assert "can&#x27;t be left so" in answer.content.decode()


def test_who_may_not_gets_no_page(client, front_desk, car_owner, item):
    client.force_login(front_desk)
    assert client.get(reverse("vehicles:outstanding-found", args=[item.pk])).status_code == 403
    client.force_login(car_owner)
    assert client.get(item.get_absolute_url()).status_code in (403, 404)


def test_the_panel_shows_severity_due_and_the_last_answer(client, technician, lead, car, owner):
    item = ItemFactory(person=lead, vehicle=car, severity="dangerous", due_on=by(lead).day)
    tell(lead, item, owner)
    tell(lead, item, owner, answer="acknowledged")
    client.force_login(technician)
    page = client.get(car.get_absolute_url()).content.decode()
    assert "Due now" in page
    assert "Told Corin Ashby" in page
    assert ": acknowledged" in page


def test_queries_do_not_grow_with_the_history(client, technician, lead, car, item, owner):
    client.force_login(technician)
    urls = [
        car.get_absolute_url(),
        reverse("vehicles:outstanding-items", args=[car.pk]),
        item.get_absolute_url(),
    ]

    def count(url):
        with CaptureQueriesContext(connection) as caught:
            assert client.get(url).status_code == 200
        return len(caught)

    def grow(times):
        for number in range(times):
            odometer.record_reading(
                by=by(lead), vehicle=car, amount=amount(1000 + car.odometer_readings.count())
            )
            row = ItemFactory(person=lead, vehicle=car, due_distance=amount(50 + number))
            tell(lead, row, owner)
            tell(lead, item, owner)
            done = ItemFactory(person=lead, vehicle=car)
            acts.end_by_finding(by=by(lead), item=done, seen_version=1, ended_finding="dry")

    grow(2)
    few = [count(url) for url in urls]
    grow(8)
    assert [count(url) for url in urls] == few


def test_what_is_next_on_an_item(lead, front_desk, car):
    """A danger nobody was told of is told; what is due goes on a work line, or the car is booked in; else nothing."""
    hand = Hand(lead)

    def step(item):
        return hand.client.get(item.get_absolute_url()).context["next_step"]

    quiet = ItemFactory(person=lead, vehicle=car, severity="minor")
    danger = ItemFactory(person=lead, vehicle=car, severity="dangerous")
    then = timezone.now() - timedelta(days=30)
    due = ItemFactory(
        person=lead, vehicle=car, severity="advice", made_at=then, due_on=(then + timedelta(days=2)).date()
    )
    assert step(quiet) is None
    assert step(danger).url == reverse("vehicles:outstanding-tell", args=[danger.pk])
    assert step(due).url == reverse("jobs:job-book", args=[car.pk])
    keeper = owner_of(car, lead)
    job = in_work(car, keeper, lead)
    acts.tell(
        by=by(lead),
        item=danger,
        told_to=keeper,
        channel="phone",
        told="Do not drive it.",
        answer="acknowledged",
    )
    for item in (danger, due):
        assert step(item).url.startswith(reverse("jobs:line-add", args=[job.pk]))
        assert str(item.pk) in str(hand.client.get(step(item).url).context["form"]["items"].value())
    acts.end_by_finding(by=by(lead), item=due, seen_version=1, ended_finding="was done elsewhere")
    due.refresh_from_db()
    assert step(due) is None
    assert "Next</h2>" not in hand.see("vehicles:outstanding", due)
