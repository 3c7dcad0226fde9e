"""Which audience reads what of a car: each kind of thing appears with its box and is gone without it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from jobs.acts import handover as handover_acts
from jobs.acts import measurement as measurement_acts
from jobs.acts import work as work_acts
from tests.factories.fault import FaultFactory
from tests.factories.handover import done_line, finish, in_work, leaving, owner_of, to_final_checks
from tests.factories.outstanding import ItemFactory
from tests.factories.photo import PhotoFactory
from tests.once import once
from tests.people import by
from vehicles import account
from vehicles.acts import outstanding as items
from vehicles.acts import part as parts
from vehicles.acts import past_work
from vehicles.audience import DEFAULT, EVERYTHING, Audience, Shows
from vehicles.models import Place, VehicleKeeper
from workshop.engineering.units import Amount
from workshop.models import Shop

LONG_AGO = timedelta(days=3650)


@once
def world(front_desk, lead, technician, car):
    """A visit with something of every kind, in the time of one keeper."""
    keeper = owner_of(car, front_desk, name="Corin Ashby", address="2 Mill Rise")
    VehicleKeeper.objects.filter(keeper=keeper).update(from_on=since())
    job = in_work(car, keeper, lead, title="Brakes and tow bar", complaint="It squeals.")
    fault = FaultFactory(person=lead, vehicle=car, job=job, title="Squeal at the front", reported_by=keeper)
    line = done_line(job, keeper, lead, amount="431.70", technician=technician, faults=[fault])
    for phase, thick in (("before", "1.5"), ("after", "11.0")):
        measurement_acts.measure(
            by=by(technician), line=line, what="Pad thickness", phase=phase, reading=Amount(Decimal(thick), "mm"),
            instrument="Caliper",
        )  # fmt: skip
    finish(line, lead)
    work_acts.end_fixed(by=by(lead), fault=fault, line=line, check_made="Ten stops, no squeal")
    item = ItemFactory(
        person=lead, vehicle=car, title="Tyres too weak", severity="dangerous", detail="Index 99."
    )
    items.tell(
        by=by(lead),
        item=item,
        told_to=keeper,
        channel="phone",
        told="Do not load it.",
        answer="acknowledged",
        job=job,
    )
    FaultFactory(person=lead, vehicle=car, title="Ticking when cold", words="")
    PhotoFactory(person=lead, vehicle=car, job=job, line=line, caption="Worn pads", moment="before")
    PhotoFactory(person=lead, vehicle=car, job=job, line=line, caption="New pads", moment="after")
    PhotoFactory(person=lead, vehicle=car, job=job, occasion="check_in", angle="cabin", caption="Cabin")
    parts.record_part(
        by=by(lead), vehicle=car, place=Place.objects.get(pk="tow-bar"), description="Tow bar TB-6640",
        provenance="aftermarket", factory_fits="no tow bar", follows="Papers are needed.",
        evidence=[("part_number", "TB-6640 on the plate")],
    )  # fmt: skip
    past_work.add_past_work(
        by=by(lead), vehicle=car, done_on=by(lead).day - timedelta(days=700), title="Timing belt renewed",
        source="service book", who_did="Low Quay Garage", amount=Decimal("812.40"),
    )  # fmt: skip
    to_final_checks(job, lead)
    handover_acts.call_ready(by=by(lead), job=job)
    job.refresh_from_db()
    sheet = handover_acts.hand_over(by=by(lead), job=job, **leaving(keeper))
    return {"keeper": keeper, "sheet": sheet, "item": item}


# What each box shows, and nothing else does.
SHOWN_BY = {
    Shows.PARTS: ("Tow bar TB-6640", "no tow bar", "Papers are needed.", "TB-6640 on the plate", "Confirmed"),
    Shows.PHOTOS: ("Worn pads", "New pads"),
    Shows.OUTSTANDING: ("Tyres too weak", "Index 99.", "First of all"),
    Shows.FAULTS: ("Squeal at the front", "Ten stops, no squeal", "Ticking when cold"),
    Shows.PLOTS: ('id="plots"',),
    Shows.PEOPLE: ("Tamsin Orrell", "Lida Marchbank", "Low Quay Garage"),
    Shows.COSTS: ("431.70", "812.40"),
    Shows.PAPERS: ("Handover sheet", 'id="papers"'),
    Shows.KEEPER: (
        "Corin Ashby",
        "2 Mill Rise",
        "It squeals.",
        "Do not load it.",
        "Pads run in gently",
        "Cabin",
    ),
}
# A picture that can show a keeper's belongings; what a keeper was told of what is outstanding.
NEEDS_TWO = ("Cabin", "Do not load it.")
# The technical history, whoever reads.
ALWAYS_THERE = (
    "Front pads renewed", "Pads worn to the plate", "Timing belt renewed", "<strong>11 mm</strong> afterwards", "148210 km", "service book",
)  # fmt: skip


def read(audience: Audience, car, page: int = 1) -> str:
    context = account.context(audience, car, page)
    return render_to_string("vehicles/_account.html", {**context, "shop": Shop.current()})


def since() -> object:
    return timezone.localdate() - LONG_AGO


@pytest.mark.parametrize("what", [what for what in Shows if what != Shows.WORK])
def test_each_box_shows_its_own_and_nothing_else(world, car, what):
    alone = read(Audience(frozenset({what}), since=since()), car)
    without = read(Audience(EVERYTHING - {what}, since=since()), car)
    for word in SHOWN_BY[what]:
        if word not in NEEDS_TWO:
            assert word in alone, word
        assert word not in without, word
    for other, words in SHOWN_BY.items():
        if other != what:
            assert [word for word in words if word in alone] == [], other


def test_the_work_is_there_for_everybody(world, car):
    for audience in (Audience(frozenset()), Audience(DEFAULT), Audience(EVERYTHING, since=since())):
        text = read(audience, car)
        assert [word for word in ALWAYS_THERE if word not in text] == []


def test_a_link_by_default_shows_no_money_and_no_person(world, car):
    text = read(Audience(DEFAULT, since=since()), car)
    for what in (Shows.PEOPLE, Shows.COSTS, Shows.PAPERS, Shows.KEEPER):
        assert [word for word in SHOWN_BY[what] if word in text] == [], what


def test_who_only_reads_is_offered_nothing_to_answer(world, car):
    text = read(Audience(EVERYTHING, since=since()), car)
    assert "Tyres too weak" in text
    assert "<form" not in text
    assert "I have read this" not in text


def test_addresses_are_the_readers_own_or_none(world, car):
    """Behind a link every photo and paper stands under the link's own address, or is not shown."""

    def through(address: str) -> str:
        return f"/behind{address}" if "/photos/" in address else ""

    reader = Audience(EVERYTHING, since=since(), link=through)
    text = read(reader, car)
    photo = car.attachments.get(caption="Worn pads")
    assert f'href="/behind{photo.file_url()}"' in text
    assert f'src="/behind{photo.small_url()}"' in text
    assert reverse("jobs:sheet-pdf", args=[world["sheet"].pk]) not in text
    assert f'"{photo.get_absolute_url()}"' not in text
    # The paper is named all the same.
    assert "Handover sheet" in text
    nowhere = read(Audience(EVERYTHING, since=since(), link=lambda address: ""), car)
    assert "Worn pads" not in nowhere


def test_a_link_that_ends_on_a_day_tells_nothing_later(world, car):
    yesterday = timezone.localdate() - timedelta(days=1)
    text = read(Audience(EVERYTHING, since=since(), until=yesterday), car)
    for word in (
        "Front pads renewed",
        "Tyres too weak",
        "Ticking when cold",
        "Tow bar TB-6640",
        "148210",
        "Handover",
    ):
        assert word not in text or word == "Tow bar TB-6640", word
    assert "Timing belt renewed" in text
    assert "This goes as far as" in text


def test_before_and_after_stand_beside_each_other(world, car):
    text = read(Audience(DEFAULT), car)
    pair = text[text.index('aria-label="Before and after"') :]
    assert pair.index("Worn pads") < pair.index("New pads") < pair.index("</ul>")
