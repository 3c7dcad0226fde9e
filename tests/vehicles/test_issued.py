"""Numbered prints: issued once for the same words, revised when they change, frozen, confirmed, erased."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from tests.people import by
from vehicles import issuing
from vehicles.acts import issued as acts
from vehicles.models import IssuedPrint, IssuedText, PrintKind

pytestmark = pytest.mark.django_db


@pytest.fixture
def kind(monkeypatch, settings):
    settings.SITE_URL = "https://shop.example"
    said = {"words": "one"}
    monkeypatch.setattr(issuing, "confirm_address", lambda token: f"https://shop.example/confirm/{token}/")
    monkeypatch.setitem(
        issuing._kinds,
        "build",
        issuing.Kind(
            PrintKind.BUILD,
            "sheets/_sheet.html",
            lambda asked: issuing.Gathered(dict(said), {"part": len(said)}),
        ),
    )
    return said


def test_the_same_words_are_the_same_print_and_others_the_next_revision(kind, lead, car):
    one = acts.issue(by=by(lead), kind="build", vehicle=car)
    assert one.number.startswith("B ")
    assert one.revision == 1
    again = acts.issue(by=by(lead), kind="build", vehicle=car)
    assert again.pk == one.pk
    assert IssuedPrint.objects.count() == 1
    kind["more"] = "two"
    two = acts.issue(by=by(lead), kind="build", vehicle=car)
    assert (two.number, two.revision, two.changes) == (one.number, 2, "1 part added")
    c = issuing.confirmed(one.token)
    assert (c.revision, c.latest, c.erased) == (1, 2, None)
    assert issuing.confirmed("nothing") is None
    for change in (
        lambda: IssuedPrint.objects.update(pages=9),
        lambda: IssuedText.objects.update(data="x"),
        lambda: IssuedText.objects.all()._raw_delete("default"),
        lambda: IssuedPrint.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_without_an_address_nothing_is_issued(kind, lead, car, settings):
    settings.SITE_URL = ""
    with pytest.raises(ValidationError, match="SITE_URL"):
        acts.issue(by=by(lead), kind="build", vehicle=car)


def test_what_was_erased_keeps_its_number_and_says_so(kind, lead, shop_owner, car):
    one = acts.issue(by=by(lead), kind="build", vehicle=car)
    acts.erase_text(by=by(shop_owner), row=one, reason="asked for")
    assert issuing.confirmed(one.token).erased
    two = acts.issue(by=by(lead), kind="build", vehicle=car)
    assert two.revision == 2
    assert two.changes == "the revision before was erased"
