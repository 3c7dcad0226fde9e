"""When a person is not erased, or not all of it: what stands in the way, and what stays, is said."""

# ruff: noqa: F811  (a fixture of another file is taken over by its name)
from __future__ import annotations

import io

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management import call_command
from django.urls import reverse

from jobs.models import SheetRevision
from tests.factories.handover import HandedOverFactory, ReadyJobFactory
from tests.people import by
from tests.vehicles.test_erasure import CANARIES, NAME, REASON, keeper, left  # noqa: F401
from vehicles import erasure
from vehicles.acts import erasure as acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.models import Keeper

pytestmark = pytest.mark.words


def test_what_is_frozen_under_a_hash_stays_and_the_page_says_so(car, keeper, lead, shop_owner):
    """A technician typed the name into the technical part of a sheet that was issued: it is not altered there."""
    outstanding_acts.raise_item(
        by=by(lead), vehicle=car, title="Wiper streaks", severity="minor", reason="deferred",
        detail=f"{NAME} was shown it.",
    )  # fmt: skip
    HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    assert NAME in SheetRevision.objects.get().technical
    assert any("frozen under a hash" in line for line in erasure.preview(keeper).stays)
    acts.erase_person(by=by(shop_owner), keeper=keeper, reason=REASON, also=["Zephyrine", "Kanarell"])
    assert {place.split()[0] for place in left(*CANARIES)} == {"jobs_sheetrevision"}
    call_command("verify_records", stdout=io.StringIO())


def test_an_open_job_stands_in_the_way(car, lead, keeper, shop_owner, client):
    job = ReadyJobFactory(person=lead, vehicle=car, keeper=keeper)
    with pytest.raises(ValidationError, match=f"Job {job.number} is open"):
        acts.erase_person(by=by(shop_owner), keeper=keeper, reason=REASON)
    client.force_login(shop_owner)
    page = client.get(reverse("vehicles:keeper-erase", args=[keeper.pk])).text
    assert f"Job {job.number} is open" in page
    assert "Erase this person" not in page
    assert Keeper.objects.get(pk=keeper.pk).name == NAME


def test_who_works_here_is_not_erased_under_their_records(keeper, shop_owner):
    from workshop.acts import people

    people.change_person(
        by=by(shop_owner), person=keeper.account, seen_version=keeper.account.version, name=NAME, email="",
        roles=["technician", "vehicle_owner"], is_active=True,
    )  # fmt: skip
    with pytest.raises(ValidationError, match="works here"):
        acts.erase_person(by=by(shop_owner), keeper=Keeper.objects.get(pk=keeper.pk), reason=REASON)


def test_only_the_shop_owner_erases(keeper, lead):
    with pytest.raises(PermissionDenied, match="You may not erase personal words"):
        acts.erase_person(by=by(lead), keeper=keeper, reason=REASON)


@pytest.mark.parametrize(
    ("reason", "sentence"),
    [(" ", "Say why"), (f"{NAME} wants it", "out of the reason"), ("For kanarell", "out of")],
)
def test_the_reason_is_given_and_names_nobody(keeper, shop_owner, reason, sentence):
    with pytest.raises(ValidationError, match=sentence):
        acts.erase_person(by=by(shop_owner), keeper=keeper, reason=reason)
