"""Fitting a part changes the car: the old record ends with where it went, the new one begins, in one act."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs import gate
from jobs.acts import part as acts
from jobs.lines import trials_open
from jobs.models import PartChange
from tests.factories.job import CheckInFactory, JobFactory, job_in
from tests.factories.vehicle import VehicleFactory
from tests.factories.work import PartFittedFactory, WorkLineFactory, authorised_line, owner_of
from tests.once import once
from tests.people import by
from vehicles.acts import part as part_acts
from vehicles.models import FittedPart, Place
from vehicles.parts import part_in_place


@once
def owner(car, front_desk):
    return owner_of(car, front_desk)


@once
def job(car, lead):
    return job_in("in_work", person=lead, vehicle=car)


@once
def line(job, lead, owner):
    return authorised_line(job=job, person=lead, owner=owner)


@pytest.fixture
def alternator():
    """A part with a name of its own."""
    return Place.objects.get(slug="alternator")


@pytest.fixture
def battery():
    """A consumable."""
    place = Place.objects.get(slug="starter-battery")
    assert place.consumable
    return place


@pytest.fixture
def lamps():
    place = Place.objects.get(slug="headlamps")
    assert place.positions == "side"
    return place


def found(person, car, place, **fields):
    return part_acts.record_part(
        by=by(person),
        vehicle=car,
        place=place,
        **{
            "description": "Old part",
            "provenance": "factory_standard",
            "evidence": [("judgement", "looks it")],
            **fields,
        },
    )


def test_a_part_is_fitted_in_an_empty_place_with_its_evidence(line, car, technician, alternator):
    change = PartFittedFactory(
        person=technician, line=line, place=alternator, description="Alternator 120 A", part_number="AL-120",
        invoice="2026-118 of Marl Supplies", supply_quality="reconditioned", in_place="empty",
    )  # fmt: skip
    part = change.part_on
    assert (change.kind, change.part_off, part.fitted_by_line) == ("fitted", None, line)
    assert (part.supplied_by, part.supply_quality, part.part_number) == ("shop", "reconditioned", "AL-120")
    assert {piece.kind for piece in part.evidence.all()} == {"part_number", "invoice"}
    assert part.confidence == "confirmed"


def test_a_part_that_the_shop_fits_is_known_by_number_or_invoice(line, technician, alternator):
    with pytest.raises(ValidationError, match="part number, or the invoice") as refused:
        PartFittedFactory(person=technician, line=line, place=alternator, part_number="")
    assert "part_number" in refused.value.error_dict
    PartFittedFactory(person=technician, line=line, place=alternator, part_number="", supplied_by="owner")


def test_replacing_ends_the_old_record_and_begins_the_new_one_in_one_act(line, car, technician, alternator):
    old = found(technician, car, alternator, description="Alternator 90 A")
    before = timezone.now()
    change = PartFittedFactory(
        person=technician, line=line, place=alternator, description="Alternator 120 A", whereabouts="core",
        whereabouts_note="to Marl Supplies", in_place=str(old.pk),
    )  # fmt: skip
    old.refresh_from_db()
    new = change.part_on
    assert (change.kind, change.part_off) == ("replaced", old)
    assert (old.whereabouts, old.whereabouts_note, old.removed_by_line) == ("core", "to Marl Supplies", line)
    assert (new.replaces, new.fitted_at) == (old, old.removed_at)
    # What was in this place on that date?
    assert part_in_place(car, alternator, "", before) == old
    assert part_in_place(car, alternator, "", timezone.now()) == new


def test_a_refusal_in_the_middle_leaves_everything_as_it_was(line, car, technician, alternator):
    old = found(technician, car, alternator)
    with pytest.raises(ValidationError):
        PartFittedFactory(person=technician, line=line, place=alternator, provenance="nonsense")
    old.refresh_from_db()
    assert old.removed_at is None
    assert not PartChange.objects.exists()


def test_work_written_down_late_changes_the_car_at_its_time(car, lead, owner, alternator):
    two_days_ago = timezone.now() - timedelta(days=2)
    old = found(lead, car, alternator)
    FittedPart.objects.filter(pk=old.pk).update(made_at=timezone.now() - timedelta(days=9))
    job = JobFactory(person=lead, vehicle=car, made_at=two_days_ago - timedelta(days=1))
    CheckInFactory(person=lead, job=job, made_at=two_days_ago - timedelta(hours=5))
    line = authorised_line(job=job, person=lead, owner=owner)
    change = PartFittedFactory(person=lead, made_at=two_days_ago, line=line, place=alternator)
    assert (change.part_on.fitted_at, change.part_off.removed_at) == (two_days_ago, two_days_ago)
    assert part_in_place(car, alternator, "", timezone.now() - timedelta(days=1)) == change.part_on


# Where the old part went


def test_a_consumable_is_scrapped_unless_old_parts_go_back(line, car, technician, battery):
    found(technician, car, battery)
    change = PartFittedFactory(person=technician, line=line, place=battery, description="Battery 70 Ah")
    assert change.part_off.whereabouts == "scrapped"


def test_old_parts_back_returns_a_consumable(car, lead, owner, battery):
    found(lead, car, battery)
    job = JobFactory(person=lead, vehicle=car)
    CheckInFactory(person=lead, job=job, old_parts_back=True)
    line = authorised_line(job=job, person=lead, owner=owner)
    change = PartFittedFactory(person=lead, line=line, place=battery)
    assert change.part_off.whereabouts == "returned"


def test_a_named_part_stays_open_until_it_is_said_where_it_went(line, car, technician, alternator, client):
    old = found(technician, car, alternator)
    PartFittedFactory(person=technician, line=line, place=alternator)
    old.refresh_from_db()
    assert old.whereabouts == ""
    assert "whereabouts" in [blocker.code for blocker in gate.blockers(line.job)]
    client.force_login(technician)
    link = reverse("vehicles:part-whereabouts", args=[old.pk])
    assert link in client.get(line.get_absolute_url()).content.decode()
    part_acts.say_whereabouts(by=by(technician), part=old, seen_version=old.version, whereabouts="kept")
    assert "whereabouts" not in [blocker.code for blocker in gate.blockers(line.job)]


def test_nothing_went_anywhere_from_an_empty_place(line, technician, alternator):
    with pytest.raises(ValidationError, match="Nothing is on record in this place") as refused:
        PartFittedFactory(person=technician, line=line, place=alternator, whereabouts="scrapped")
    assert "whereabouts" in refused.value.error_dict


# The other ways


def test_removed_with_nothing_fitted(line, car, technician, alternator):
    part = found(technician, car, alternator)
    change = acts.remove_part(
        by=by(technician), line=line, part=part, whereabouts="elsewhere", note="to be rewound"
    )
    assert (change.kind, change.part_on, change.part_off) == ("removed", None, part)
    assert part_in_place(car, alternator) is None
    with pytest.raises(ValidationError, match="came off already"):
        acts.remove_part(by=by(technician), line=line, part=part)


def test_back_from_work_elsewhere_it_is_put_back(line, car, technician, alternator):
    part = found(technician, car, alternator, description="Alternator 90 A")
    acts.remove_part(by=by(technician), line=line, part=part, whereabouts="elsewhere")
    change = acts.put_back(by=by(technician), line=line, part=part, in_place="empty")
    part.refresh_from_db()
    assert (change.kind, change.part_on.earlier_record, change.part_on.description) == (
        "fitted",
        part,
        "Alternator 90 A",
    )
    assert part.whereabouts == "on_the_car"
    with pytest.raises(ValidationError, match="does not come back"):
        acts.put_back(by=by(technician), line=line, part=part)


def test_what_was_scrapped_is_not_put_back(line, car, technician, alternator):
    part = found(technician, car, alternator)
    acts.remove_part(by=by(technician), line=line, part=part, whereabouts="scrapped")
    with pytest.raises(ValidationError, match="does not come back: “Scrapped”"):
        acts.put_back(by=by(technician), line=line, part=part)


def test_removed_and_refitted_is_the_same_record(line, car, technician, alternator):
    part = found(technician, car, alternator)
    change = acts.refit_part(by=by(technician), line=line, part=part, note="off for the timing belt")
    assert (change.kind, change.part_on, change.part_off) == ("refitted", part, None)
    assert part_in_place(car, alternator) == part


def test_two_parts_swap_places_in_one_act(line, car, technician, lamps):
    left = found(technician, car, lamps, position="left", description="Lamp from the left")
    right = found(technician, car, lamps, position="right", description="Lamp from the right")
    change = acts.swap_parts(by=by(technician), line=line, part=left, other=right, note="beam compared")
    assert part_in_place(car, lamps, "left").description == "Lamp from the right"
    assert part_in_place(car, lamps, "right").description == "Lamp from the left"
    assert part_in_place(car, lamps, "left").earlier_record == right
    left.refresh_from_db()
    assert (left.whereabouts, left.whereabouts_note) == ("on_the_car", "now: Headlamp, right")
    assert (change.kind, change.part_off) == ("swapped", left)
    assert line.part_changes.count() == 2
    with pytest.raises(ValidationError, match="not on the car any more"):
        acts.swap_parts(by=by(technician), line=line, part=left, other=right)


def test_a_part_is_not_swapped_with_itself(line, car, technician, alternator):
    part = found(technician, car, alternator)
    with pytest.raises(ValidationError, match="this is the same one") as refused:
        acts.swap_parts(by=by(technician), line=line, part=part, other=part)
    assert "other" in refused.value.error_dict


def test_a_known_good_part_on_trial_goes_back_out(line, car, technician, alternator):
    old = found(technician, car, alternator, description="Alternator 90 A")
    trial = PartFittedFactory(
        person=technician,
        line=line,
        place=alternator,
        description="Shop's own",
        part_number="",
        on_trial=True,
    )
    assert (trial.kind, trial.part_off, trial.part_on.on_trial) == ("on_trial", old, True)
    change = acts.put_back(by=by(technician), line=line, part=old)
    assert (change.part_off, change.part_off.whereabouts) == (trial.part_on, "kept")
    assert part_in_place(car, alternator).earlier_record == old


def test_a_consumable_waits_while_another_is_on_trial(line, car, technician, battery):
    old = found(technician, car, battery)
    PartFittedFactory(person=technician, line=line, place=battery, part_number="", on_trial=True)
    old.refresh_from_db()
    assert old.whereabouts == ""  # not scrapped: it is put back or decided about
    acts.put_back(by=by(technician), line=line, part=old)
    assert part_in_place(car, battery).earlier_record == old


def test_a_known_good_part_on_trial_stays(line, car, technician, alternator):
    old = found(technician, car, alternator)
    trial = PartFittedFactory(
        person=technician, line=line, place=alternator, part_number="", on_trial=True
    ).part_on
    with pytest.raises(ValidationError, match="part number, or the invoice"):
        acts.keep_trial(by=by(technician), line=line, part=trial)
    change = acts.keep_trial(
        by=by(technician), line=line, part=trial, part_number="AL-120", whereabouts="core"
    )
    old.refresh_from_db()
    assert not change.part_on.on_trial
    assert (change.part_on.part_number, change.part_on.best_evidence) == ("AL-120", "part_number")
    assert (change.kind, old.whereabouts) == ("replaced", "core")
    with pytest.raises(ValidationError, match="is not on trial"):
        acts.keep_trial(by=by(technician), line=line, part=change.part_on)


# Refusals


def test_a_part_of_another_car_is_refused(line, technician, lead, alternator):
    strange = found(lead, VehicleFactory(person=lead), alternator)
    for attempt in (
        lambda: acts.remove_part(by=by(technician), line=line, part=strange),
        lambda: acts.refit_part(by=by(technician), line=line, part=strange),
        lambda: acts.put_back(by=by(technician), line=line, part=strange),
    ):
        with pytest.raises(ValidationError, match="is on another car"):
            attempt()


def test_the_front_desk_fits_no_parts(line, front_desk, alternator):
    with pytest.raises(PermissionDenied, match="You may not fit and remove parts"):
        PartFittedFactory(person=front_desk, line=line, place=alternator)


def test_a_line_without_a_yes_changes_no_part(job, car, lead, technician, alternator):
    line = WorkLineFactory(person=lead, job=job)
    part = found(technician, car, alternator)
    for attempt in (
        lambda: PartFittedFactory(person=technician, line=line, place=alternator),
        lambda: acts.remove_part(by=by(technician), line=line, part=part),
    ):
        with pytest.raises(ValidationError, match="not authorised"):
            attempt()


def test_new_parts_on_a_ready_car_send_it_back(line, technician, alternator):
    type(line.job).objects.filter(pk=line.job_id).update(state="ready")
    PartFittedFactory(person=technician, line=line, place=alternator)
    line.job.refresh_from_db()
    assert line.job.state == "in_work"


def test_two_people_at_one_place_do_not_replace_each_others_part(
    line, technician, other_technician, alternator
):
    first = PartFittedFactory(person=technician, line=line, place=alternator, in_place="empty").part_on
    with pytest.raises(ValidationError, match="is in this place") as refused:
        PartFittedFactory(person=other_technician, line=line, place=alternator, in_place="empty")
    assert "place" in refused.value.error_dict
    second = PartFittedFactory(person=technician, line=line, place=alternator, in_place=str(first.pk)).part_on
    with pytest.raises(ValidationError, match="is in this place"):
        PartFittedFactory(person=other_technician, line=line, place=alternator, in_place=str(first.pk))
    assert second.removed_at is None


def test_the_same_key_twice_fits_one_part(line, car, technician, alternator):
    key = uuid4()
    fit = {
        "line": line, "place": alternator, "description": "Alternator", "provenance": "factory_standard",
        "part_number": "AL-120",
    }  # fmt: skip
    first = acts.fit_part(by=by(technician, key=key), **fit)
    assert acts.fit_part(by=by(technician, key=key), **fit) == first
    assert car.parts.count() == 1


def test_the_database_keeps_changes_of_parts(line, technician, alternator):
    change = PartFittedFactory(person=technician, line=line, place=alternator)
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        PartChange.objects.filter(pk=change.pk).update(note="other")
    with pytest.raises(IntegrityError), transaction.atomic():
        PartChange.objects.bulk_create([PartChange(**by(technician).stamp(), line=line, kind="replaced")])


# Forms


def test_the_form_for_an_empty_place_leads_to_replacing(client, line, car, technician, alternator):
    old = found(technician, car, alternator)
    client.force_login(technician)
    typed = {
        "key": str(uuid4()), "place": alternator.pk, "description": "Alternator 120 A", "part_number": "AL-120",
        "provenance": "factory_standard", "supplied_by": "shop", "supply_quality": "matching", "condition": "good",
    }  # fmt: skip
    answer = client.post(reverse("jobs:part-fit", args=[line.pk]), typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    replace = reverse("jobs:part-replace", args=[line.pk, old.pk])
    assert f'href="{replace}"' in page
    assert "Alternator 120 A" in page
    answer = client.post(replace, {**typed, "whereabouts": "core"})
    assert answer.status_code == 302
    old.refresh_from_db()
    assert old.whereabouts == "core"
    # The page was old: the part is off by now.
    assert client.get(replace).status_code == 404


@pytest.mark.parametrize("name", ["part-replace", "part-remove", "part-refit", "part-swap"])
def test_the_forms_of_a_part_on_the_car_open(client, line, car, technician, alternator, name):
    part = found(technician, car, alternator)
    client.force_login(technician)
    assert client.get(reverse(f"jobs:{name}", args=[line.pk, part.pk])).status_code == 200
    assert part.description in client.get(reverse("jobs:line-parts", args=[line.pk])).content.decode()


def test_the_forms_of_a_trial_open(client, line, car, technician, alternator):
    old = found(technician, car, alternator)
    trial = PartFittedFactory(person=technician, line=line, place=alternator, on_trial=True).part_on
    client.force_login(technician)
    page = client.get(line.get_absolute_url()).content.decode()
    for url in (
        reverse("jobs:part-back", args=[line.pk, old.pk]),
        reverse("jobs:trial-keep", args=[line.pk, trial.pk]),
    ):
        assert url in page
        assert client.get(url).status_code == 200


@pytest.mark.parametrize("count", [2, 20])
def test_the_list_of_parts_asks_the_same_questions(
    client, line, car, lead, count, django_assert_max_num_queries
):
    for place in Place.objects.filter(positions="")[:count]:
        found(lead, car, place)
    client.force_login(lead)
    with django_assert_max_num_queries(12):
        assert client.get(reverse("jobs:line-parts", args=[line.pk])).status_code == 200


# What was not on record, and what changed meanwhile


def test_what_came_off_and_was_not_on_record_is_recorded_and_ended_in_one_act(
    client, line, car, technician, alternator
):
    client.force_login(technician)
    url = reverse("jobs:part-fit", args=[line.pk])
    form = client.get(url).context["form"]
    sent = {
        "key": form["key"].value(), "place": alternator.pk, "description": "Alternator 120 A", "part_number": "AL-120",
        "provenance": "aftermarket", "supplied_by": "shop", "supply_quality": "matching", "condition": "good",
        "old_description": "Alternator, no plate on it", "whereabouts": "core",
    }  # fmt: skip
    assert client.post(url, sent).status_code == 302
    new = FittedPart.objects.get(removed_at=None)
    old = FittedPart.objects.exclude(pk=new.pk).get()
    assert (old.description, old.whereabouts, old.removed_by_line) == (
        "Alternator, no plate on it",
        "core",
        line,
    )
    assert (old.provenance, old.confidence, old.fitted_at) == ("unknown", "open", None)
    assert new.replaces == old
    assert PartChange.objects.get().kind == "replaced"


def test_what_is_on_record_is_not_described_anew(line, car, technician, alternator):
    found(technician, car, alternator)
    with pytest.raises(ValidationError, match="its own record ends") as refused:
        PartFittedFactory(person=technician, line=line, place=alternator, old_description="Alternator")
    assert list(refused.value.error_dict) == ["old_description"]
    assert FittedPart.objects.count() == 1


@pytest.mark.parametrize("name", ["part-remove", "part-replace", "part-refit", "part-swap"])
def test_a_part_that_came_off_meanwhile_costs_nobody_what_was_typed(
    name, client, line, car, technician, alternator
):
    part = found(technician, car, alternator)
    client.force_login(technician)
    url = reverse(f"jobs:{name}", args=[line.pk, part.pk])
    key = client.get(url).context["form"]["key"].value()
    acts.remove_part(by=by(technician), line=line, part=part, whereabouts="kept")
    answer = client.post(
        url,
        {
            "key": key, "note": "bearing howls at idle", "description": "x", "part_number": "AL-1", "condition": "good",
            "provenance": "aftermarket", "supplied_by": "shop", "supply_quality": "matching",
        },
    )  # fmt: skip
    assert answer.status_code == 422
    assert "bearing howls at idle" in answer.content.decode()
    assert client.get(url).status_code == 404


def test_a_trial_that_was_decided_meanwhile_costs_nobody_what_was_typed(
    client, line, car, technician, alternator
):
    old = found(technician, car, alternator)
    trial = PartFittedFactory(person=technician, line=line, place=alternator, on_trial=True).part_on
    assert list(trials_open(line.job)) == [trial]
    client.force_login(technician)
    keep, back = (
        reverse(f"jobs:{name}", args=[line.pk, part.pk])
        for name, part in (("trial-keep", trial), ("part-back", old))
    )
    keys = [client.get(url).context["form"]["key"].value() for url in (keep, back)]
    acts.put_back(by=by(technician), line=line, part=old)
    assert not trials_open(line.job).exists()
    for url, key in zip((keep, back), keys, strict=True):
        answer = client.post(url, {"key": key, "note": "charges 14.1 V now", "part_number": "AL-1"})
        assert answer.status_code == 422, url
        assert "charges 14.1 V now" in answer.content.decode()


def test_a_trial_in_an_empty_place_is_found_on_every_job_of_the_car(line, car, lead, technician, alternator):
    trial = PartFittedFactory(person=technician, line=line, place=alternator, on_trial=True).part_on
    assert list(trials_open(job_in("in_work", person=lead, vehicle=car))) == [trial]
    acts.keep_trial(by=by(technician), line=line, part=trial, part_number="AL-1")
    assert not trials_open(line.job).exists()


def test_no_part_is_fitted_before_the_car_came_in(line, technician, alternator):
    with pytest.raises(ValidationError, match="The car came in at") as refused:
        PartFittedFactory(
            person=technician, line=line, place=alternator, made_at=timezone.now() - timedelta(hours=2)
        )
    assert list(refused.value.error_dict) == ["made_at"]
