"""Damage done in the shop: seen at once, told before the car leaves, settled once, printed, and in the owner's account."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs import damages as reads
from jobs import gate
from jobs.acts import damage as acts
from jobs.models import Damage, DamageTelling, Job
from jobs.sheets import damage as sheet
from tests.factories.handover import done_line, finish, in_work
from tests.factories.job import JobFactory
from tests.factories.keeper import KeeperFactory
from tests.factories.photo import PhotoFactory
from tests.factories.vehicle import VehicleFactory
from tests.factories.work import owner_of
from tests.once import once
from tests.people import PASSWORD, by
from vehicles.acts import keeper as keeper_acts
from workshop.models import Event

pytestmark = pytest.mark.django_db


@once
def keeper(car, lead):
    return owner_of(car, lead)


@once
def job(car, keeper, lead):
    return in_work(car, keeper, lead)


@pytest.fixture
def damage(job, technician):
    return acts.report_damage(
        by=by(technician), job=job, where="Left sill", what="The lift's arm slid along it: a scratch, 12 cm."
    )


def told(damage, person, keeper, **fields):
    given = {"channel": "phone", "told": "We scratched the sill. We are sorry.", **fields}
    return acts.tell_of_damage(by=by(person), damage=damage, told_to=keeper, **given)


def settle(damage, person, **fields):
    damage.refresh_from_db()
    given = {"how": "accepted", "words": "It is a farm car.", **fields}
    return acts.settle_damage(by=by(person), damage=damage, seen_version=damage.version, **given)


def untold(job) -> list[str]:
    found = gate.blockers(Job.objects.get(pk=job.pk))
    return [blocker.url for blocker in found if blocker.code == "damage_untold"]


def test_written_down_by_anybody_and_on_top_of_the_job_page(client, job, technician, lead):
    client.force_login(technician)
    answer = client.post(
        reverse("jobs:damage-add", args=[job.pk]),
        {"key": uuid4(), "where": "Left sill", "what": "Scratched by the lift", "found_by": technician.pk},
    )
    row = Damage.objects.get()
    # The photos come next, and belong to it.
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("vehicles:photo-add", args=[job.vehicle_id]))
    assert f"damage={row.pk}" in answer.url
    assert (row.number, row.found_by, row.vehicle_id) == ("D1", technician, job.vehicle_id)
    client.force_login(lead)
    page = client.get(reverse("jobs:job", args=[job.pk])).content.decode()
    assert "D1 Left sill" in page
    assert "the owner was not told yet" in page
    listed = client.get(reverse("jobs:damages")).content.decode()
    assert "D1 Left sill" in listed


def test_words_stand_beside_the_chain(damage):
    event = Event.objects.get(act="jobs.damage.report_damage")
    assert "scratch" not in event.body
    assert "sill" not in event.body
    assert "scratch" in event.detail.words


def test_untold_it_blocks_until_somebody_with_a_say_was_told(job, damage, keeper, car, lead, front_desk):
    url = reverse("jobs:damage-tell", args=[damage.pk])
    assert untold(job) == [url]
    driver = KeeperFactory.create(front_desk, name="Somebody who drives it")
    with pytest.raises(ValidationError, match="plays no part for this car"):
        told(damage, front_desk, driver)
    keeper_acts.add_part_for(by=by(front_desk), vehicle=car, keeper=driver, part="driver")
    told(damage, front_desk, driver)
    assert untold(job) == [url]  # it stands on record, and counts for nothing
    told(damage, front_desk, keeper, told_by=lead, answered="Touch it up, then.")
    assert untold(job) == []
    row = DamageTelling.objects.get(told_to=keeper)
    assert (row.told_by, row.made_by, row.answered) == (lead, front_desk, "Touch it up, then.")


def test_the_blockers_link_clears_it(client, job, damage, keeper, front_desk):
    client.force_login(front_desk)
    (url,) = untold(job)
    form = client.get(url)
    assert form.status_code == 200
    assert form.context["form"]["told_to"].value() == keeper.pk  # the only one it could be
    answer = client.post(
        url,
        {
            "key": uuid4(),
            "told_to": keeper.pk,
            "channel": "phone",
            "told": "We scratched it.",
            "told_by": front_desk.pk,
        },
    )
    assert (answer.status_code, answer.url) == (302, damage.get_absolute_url())
    assert untold(job) == []


def test_it_is_the_cars_not_the_jobs(job, damage, car, keeper, lead):
    other = in_work(car, keeper, lead)
    assert untold(other) == [reverse("jobs:damage-tell", args=[damage.pk])]


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"how": "repaired"}, "line", "Choose the work line"),
        ({"how": "compensated"}, "agreed_with", "with whom"),
        ({"how": "accepted", "words": " "}, "words", "what was done or agreed"),
        ({"how": "forgotten"}, "how", "how it was settled"),
    ],
)
def test_settling_asks_for_what_belongs_to_it(damage, keeper, lead, fields, field, sentence):
    told(damage, lead, keeper)
    with pytest.raises(ValidationError, match=sentence) as refusal:
        settle(damage, lead, **fields)
    assert field in refusal.value.message_dict


def test_repaired_at_our_cost_names_a_line_that_is_done(job, damage, keeper, lead):
    told(damage, lead, keeper)
    line = done_line(job, keeper, lead, complaint="Paint the sill, at our cost")
    with pytest.raises(ValidationError, match="not done yet"):
        settle(damage, lead, how="repaired", words="Painted", line=line)
    finish(line, lead)
    line.refresh_from_db()
    settle(damage, lead, how="repaired", words="Painted", line=line)
    damage.refresh_from_db()
    assert (damage.settled, damage.settled_line, damage.settled_by) == ("repaired", line, lead)


def test_nothing_is_settled_behind_the_owners_back(damage, keeper, lead, technician):
    with pytest.raises(ValidationError, match="Record what was told first"):
        settle(damage, lead, agreed_with=keeper)
    with pytest.raises(PermissionDenied):
        settle(damage, technician, agreed_with=keeper)
    with pytest.raises(IntegrityError, match="told of a damage before it is settled"), transaction.atomic():
        Damage.objects.filter(pk=damage.pk).update(
            settled="accepted",
            settled_words="x",
            settled_at=timezone.now(),
            settled_by=lead,
            settled_with=keeper,
        )
    told(damage, lead, keeper)
    settle(damage, lead, agreed_with=keeper)
    with pytest.raises(ValidationError, match="was settled on"):
        settle(damage, lead, agreed_with=keeper)
    with pytest.raises(IntegrityError, match="stays as it is"), transaction.atomic():
        Damage.objects.filter(pk=damage.pk).update(settled_words="something else")


def test_what_was_there_before_needs_no_telling_and_is_not_on_the_sheet(job, damage, lead):
    with pytest.raises(ValidationError, match="what shows that it was there before"):
        settle(damage, lead, how="there_before", words="")
    assert sheet.damages(job)
    settle(damage, lead, how="there_before", words="On the check-in picture of the left side.")
    assert untold(job) == []
    assert sheet.damages(job) == []


def test_it_happened_while_the_car_was_here(job, technician, lead, car):
    early = job.check_in.made_at - timedelta(hours=3)
    with pytest.raises(ValidationError, match="The car came in"):
        acts.report_damage(by=by(technician), job=job, where="x", what="y", happened_at=early)
    with pytest.raises(ValidationError, match="after the time at which it was found"):
        acts.report_damage(
            by=by(technician), job=job, where="x", what="y", happened_at=timezone.now() + timedelta(hours=1)
        )
    booked = JobFactory(person=lead, vehicle=VehicleFactory.create(lead))
    with pytest.raises(ValidationError, match="was not here"):
        acts.report_damage(by=by(technician), job=booked, where="x", what="y")


@pytest.mark.every_database
def test_two_people_correct_it(client, damage, technician, lead):
    url = reverse("jobs:damage-correct", args=[damage.pk])
    form = {"where": "Left sill", "found_by": technician.pk, "reason": "measured again", "seen_version": 1}
    client.force_login(lead)
    assert client.post(url, {**form, "key": uuid4(), "what": "A scratch, 14 cm"}).status_code == 302
    client.force_login(technician)
    answer = client.post(url, {**form, "key": uuid4(), "what": "A scratch, 9 cm"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "A scratch, 14 cm" in text
    assert "A scratch, 9 cm" in text
    damage.refresh_from_db()
    assert damage.what == "A scratch, 14 cm"
    assert "12 cm" in Event.objects.get(act="jobs.damage.correct_damage").detail.words


def test_what_was_told_is_never_altered(damage, keeper, lead):
    row = told(damage, lead, keeper)
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        DamageTelling.objects.filter(pk=row.pk).update(told="Something milder")
    for record in (row, damage):
        with pytest.raises(IntegrityError), transaction.atomic():
            type(record).objects.filter(pk=record.pk).delete()


def test_numbers_run_per_car_and_two_forms_are_one_record(job, technician, lead):
    key = uuid4()
    from workshop.acting import By

    first = acts.report_damage(by=By(technician, key=key), job=job, where="Sill", what="Scratch")
    assert acts.report_damage(by=By(technician, key=key), job=job, where="Sill", what="Scratch") == first
    second = acts.report_damage(by=by(technician), job=job, where="Mirror", what="Cracked")
    assert [first.number, second.number] == ["D1", "D2"]


def test_the_cars_owner_reads_it_and_the_next_owner_not_what_was_said(
    client, damage, keeper, lead, front_desk, car
):
    told(damage, lead, keeper, told="Words for the owner alone")
    settle(damage, lead, how="compensated", words="Sixty off the bill", agreed_with=keeper)
    PhotoFactory(person=lead, vehicle=car, damage=damage)
    person = keeper_acts.open_account(
        by=by(front_desk), keeper=keeper, sign_in_name="ashby", password=PASSWORD
    )
    client.force_login(person)
    text = client.get(reverse("vehicles:my-car", args=[car.pk])).content.decode()
    assert "Damaged while it was with us: Left sill" in text
    assert "Words for the owner alone" in text
    assert "Sixty off the bill" in text
    part = car.keepers.get(keeper=keeper)
    today = timezone.localdate()
    keeper_acts.end_part_for(by=by(front_desk), vehicle_keeper=part, until_on=today, reason="car sold")
    buyer = KeeperFactory.create(front_desk, name="Orla Penn")
    keeper_acts.add_part_for(by=by(front_desk), vehicle=car, keeper=buyer, part="owner", from_on=today)
    # Of the day of the sale itself nobody knows the hour: what was said the day before is not the buyer's.
    from vehicles.models import VehicleKeeper
    from workshop import triggers

    with triggers.lifted():
        DamageTelling.objects.update(made_at=timezone.now() - timedelta(days=1))
        Damage.objects.update(settled_at=timezone.now() - timedelta(days=1))
        VehicleKeeper.objects.filter(keeper=buyer).update(from_on=today)
    person = keeper_acts.open_account(by=by(front_desk), keeper=buyer, sign_in_name="penn", password=PASSWORD)
    client.force_login(person)
    text = client.get(reverse("vehicles:my-car", args=[car.pk])).content.decode()
    assert "Damaged while it was with us: Left sill" in text
    assert "Words for the owner alone" not in text
    assert "Sixty off the bill" not in text


def test_only_those_who_answer_for_it_see_the_list(client, damage, technician, car_owner):
    for person in (technician, car_owner):
        client.force_login(person)
        assert client.get(reverse("jobs:damages")).status_code == 403
    client.force_login(car_owner)
    assert client.get(damage.get_absolute_url()).status_code == 403


def test_queries_do_not_grow(client, job, technician, lead, keeper, car):
    def count(url) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        return len(queries)

    def add(times):
        for number in range(times):
            row = acts.report_damage(by=by(technician), job=job, where=f"Panel {number}", what="Scratch")
            told(row, lead, keeper)
            PhotoFactory(person=technician, vehicle=car, damage=row)

    client.force_login(lead)
    urls = [
        reverse("jobs:damages"),
        reverse("jobs:job", args=[job.pk]),
        reverse("vehicles:vehicle", args=[car.pk]),
    ]
    add(2)
    little = [count(url) for url in urls]
    add(12)
    assert [count(url) for url in urls] == little
    with CaptureQueriesContext(connection) as queries:
        assert len(reads.open_by_vehicle([car.pk])[car.pk]) == 14
    assert len(queries) == 1
