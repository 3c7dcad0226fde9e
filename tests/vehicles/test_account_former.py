"""The next keeper reads the whole technical history and nothing of the former one: no person, word, answer, paper, money.

Every field of the former time that can hold any of that gets an unmistakable needle; all that the new owner can open
is read for them. The former owner reads the same pages first, so that a needle which nobody ever sees is not counted.
"""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from jobs.acts import answer as answer_acts
from jobs.acts import damage as damage_acts
from jobs.acts import handover as handover_acts
from jobs.acts import job as job_acts
from jobs.acts import labour as labour_acts
from jobs.acts import work as work_acts
from tests.factories.fault import FaultFactory
from tests.factories.handover import done_line, finish, leaving, owner_of, to_final_checks
from tests.factories.job import CheckInFactory, JobFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.photo import PhotoFactory
from tests.once import once
from tests.people import PASSWORD, by
from vehicles import account
from vehicles.acts import keeper as keepers
from vehicles.acts import outstanding as items
from vehicles.acts import part as parts
from vehicles.acts import past_work
from vehicles.acts import vehicle as vehicles
from vehicles.audience import Audience
from vehicles.models import IssuedPrint, IssuedText, Place, VehicleKeeper
from workshop.engineering.units import Amount

# Words begin with this; sums of money are these figures, however they are written ("7 391 173.19", "7391173,19"):
# long ones, as a page holds random figures too.
NEEDLE = "zqv"
MONEY = ("739117319", "624726823", "846237129", "517348231", "481959337")
SEEN_THEN = {
    "zqvname", "zqvstreet", "zqvcomplaint", "zqvfaultwords", "zqvtold", "zqvanswered", "zqvhandover", "zqvrefused",
    "zqvdamagetold", "zqvdamageanswer", "zqvsettled", "zqvevidence", "zqvroundphoto", "739117319", "846237129", "517348231", "481959337",
}  # fmt: skip


def found(text: str) -> set[str]:
    """The needles in a page: words, and sums with whatever stands between their figures."""
    digits = re.sub(r"(?<=\d)[\s\u00a0\u202f,.'](?=\d)", "", text)
    return {*re.findall(rf"{NEEDLE}[a-z]+", text.casefold()), *(sum for sum in MONEY if sum in digits)}


@once
def world(front_desk, lead, technician, car):
    """A visit, a damage, a fault, an item, past work and an open job, all of the former owner's time; then it is sold."""
    former = owner_of(
        car, front_desk, name="Zqvname Marden", address="3 Zqvstreet\nOver Tarn", phone="00 zqvphone",
        email="zqvmail@tarn.example",
    )  # fmt: skip
    person = keepers.open_account(by=by(front_desk), keeper=former, sign_in_name="zqvsign", password=PASSWORD)
    VehicleKeeper.objects.filter(keeper=former).update(from_on=by(lead).day - timedelta(days=1000))
    vehicles.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=1, reason="seen", notes="zqvnotes: pays late"
    )
    job = JobFactory(
        person=lead, vehicle=car, payer=former, authoriser=former, title="Brakes", complaint="zqvcomplaint",
        limit=Decimal("6247268.23"),
    )  # fmt: skip
    CheckInFactory(
        person=lead, job=job, keys=2, keys_where="zqvhook", belongings="zqvbelongings", brought_by=former,
        damage="Dent in the left door",
    )  # fmt: skip
    job_acts.move(by=by(lead), job=job, to_state="in_work")
    job.refresh_from_db()
    fault = FaultFactory(
        person=front_desk,
        vehicle=car,
        job=job,
        title="Squeal at the front",
        words="zqvfaultwords",
        reported_by=former,
    )
    line = done_line(job, former, lead, amount="7391173.19", faults=[fault])
    labour_acts.use_part(
        by=by(technician), line=line, description="Pads", quantity=Decimal(1), price=Decimal("6247268.23")
    )
    finish(line, lead)
    work_acts.end_fixed(by=by(lead), fault=fault, line=line, check_made="Ten stops, no squeal")
    refused = work_acts.add_line(by=by(lead), job=job, complaint="New hoses: zqvrefused")
    answer_acts.estimate_line(
        by=by(lead), line=refused, seen_version=1, estimate=Decimal("6247268.23"), cost=None
    )
    answer_acts.record_answer(
        by=by(lead), line=refused, answer="no", given_by=former, right="owner", channel="phone", words="zqvno"
    )
    item = ItemFactory(
        person=lead, vehicle=car, title="Hoses perished", detail="Cracks in both.", severity="major", reason="declined",
        raised_in=job, raised_by_line=refused,
    )  # fmt: skip
    items.tell(
        by=by(lead), item=item, told_to=former, channel="phone", told="zqvtold", answer="declined",
        answer_words="zqvanswered",
    )  # fmt: skip
    left = ItemFactory(person=lead, vehicle=car, title="Wiper smears", severity="advice")
    items.tell(by=by(lead), item=left, told_to=former, channel="phone", told="zqvtold", answer="declined")
    left.refresh_from_db()
    items.leave_so(by=by(lead), item=left, seen_version=left.version, left_by=former, words="zqvleft")
    damage = damage_acts.report_damage(by=by(lead), job=job, where="Left sill", what="A scratch, 12 cm.")
    damage_acts.tell_of_damage(
        by=by(lead),
        damage=damage,
        told_to=former,
        channel="phone",
        told="zqvdamagetold",
        answered="zqvdamageanswer",
    )
    damage.refresh_from_db()
    damage_acts.settle_damage(
        by=by(lead), damage=damage, seen_version=damage.version, how="compensated",
        words="zqvsettled: 4819593.37 off the bill", agreed_with=former,
    )  # fmt: skip
    PhotoFactory(
        person=lead, vehicle=car, job=job, occasion="check_in", angle="cabin", caption="zqvroundphoto"
    )
    PhotoFactory(person=lead, vehicle=car, job=job, line=line, caption="Worn pads", moment="before")
    bar = parts.record_part(
        by=by(lead), vehicle=car, place=Place.objects.get(pk="tow-bar"), description="Tow bar, maker unknown",
        provenance="aftermarket", confidence="likely", evidence=[("owner_statement", "zqvevidence: bought it at a fair")],
    )  # fmt: skip
    past_work.add_past_work(
        by=by(lead), vehicle=car, done_on=by(lead).day - timedelta(days=700), title="Timing belt renewed",
        source="service book", amount=Decimal("8462371.29"),
    )  # fmt: skip
    to_final_checks(job, lead)
    handover_acts.call_ready(by=by(lead), job=job)
    job.refresh_from_db()
    sheet = handover_acts.hand_over(
        by=by(lead), job=job,
        **leaving(former, told="zqvhandover", identified_by="zqvpapers", collects_because="zqvcollects"),
    )  # fmt: skip
    going_on = JobFactory(
        person=lead, vehicle=car, payer=former, title="Clutch", complaint="zqvcomplaint again"
    )
    CheckInFactory(person=lead, job=going_on, odometer=Amount(Decimal(148_300), "km"))
    job_acts.move(by=by(lead), job=going_on, to_state="in_work")
    more = work_acts.add_line(by=by(lead), job=going_on, complaint="New clutch")
    answer_acts.estimate_line(
        by=by(lead), line=more, seen_version=1, estimate=Decimal("5173482.31"), cost=None
    )
    answer_acts.record_answer(
        by=by(lead), line=more, answer="yes", given_by=former, right="owner", channel="phone", words="zqvyes",
        amount=Decimal("5173482.31"),
    )  # fmt: skip
    more.refresh_from_db()
    answer_acts.estimate_line(
        by=by(lead),
        line=more,
        seen_version=more.version,
        estimate=Decimal("5173482.31"),
        cost=Decimal("5999999"),
    )
    return {
        "person": person, "former": former, "sheet": sheet, "line": more, "item": item, "bar": bar, "job": job,
        "going_on": going_on,
    }  # fmt: skip


@pytest.fixture
def new_owner(world, car, front_desk):
    """The car is sold; the new owner's part begins the day after all of it."""
    for part in VehicleKeeper.objects.filter(keeper=world["former"]):
        keepers.end_part_for(
            by=by(front_desk), vehicle_keeper=part, until_on=by(front_desk).day, reason="sold"
        )
    keeper = owner_of(car, front_desk, name="Orla Penn", address="9 Low Quay")
    VehicleKeeper.objects.filter(keeper=keeper).update(from_on=by(front_desk).day + timedelta(days=1))
    return keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="penn", password=PASSWORD)


@once
def printed(world, lead, car):
    """A build sheet, and a history report with the former owner's costs."""
    found = {}
    for serial, (kind, fields) in enumerate(
        {"build": {}, "history": {"made_for": world["former"], "costs_from": by(lead).day}}.items(), start=1
    ):
        row = IssuedPrint.objects.create(
            **by(lead).stamp(), kind=kind, vehicle=car, subject=car.pk, year=2026, serial=serial, revision=1,
            token=f"{serial:032d}", paper="A4", content_hash="0" * 64, data_hash="0" * 64, pdf_hash="0" * 64, pages=1,
            log_seq=0, log_hash="0" * 64, **fields,
        )  # fmt: skip
        IssuedText.objects.create(print=row, pdf=b"%PDF-1.7", data="{}")
        found[kind] = reverse("vehicles:issued", args=[row.pk])
    return found


def test_a_print_with_costs_is_its_keepers_and_one_without_goes_with_the_car(
    client, world, printed, car, front_desk, new_owner
):
    preview = reverse("vehicles:owner-view", args=[car.pk])
    for person, address in ((new_owner, reverse("vehicles:my-car", args=[car.pk])), (front_desk, preview)):
        client.force_login(person)
        text = client.get(address).text
        assert "Build sheet, B 2026-001, revision 1" in text
        assert printed["build"] in text
        assert "H 2026-002" not in text
        assert printed["history"] not in text


def test_its_keeper_finds_a_print_with_costs_among_the_papers(client, world, printed, car):
    client.force_login(world["person"])
    text = client.get(reverse("vehicles:my-car", args=[car.pk])).text
    assert printed["build"] in text
    assert printed["history"] in text


def addresses(car, world) -> list[str]:
    return [
        reverse("vehicles:my-cars"),
        reverse("vehicles:my-car", args=[car.pk]),
        f"{reverse('vehicles:my-car', args=[car.pk])}?page=2",
        reverse("jobs:own-answer", args=[world["line"].pk]),
        reverse("vehicles:own-acknowledge", args=[world["item"].pk]),
    ]


def read_all(client, car, world) -> str:
    pages = [client.get(address) for address in addresses(car, world)]
    assert [page.status_code for page in pages] == [200] * len(pages)
    return "\n".join(page.text for page in pages)


def test_the_former_owner_read_all_of_their_own(client, world, car):
    """The other half: the needles are really there to be found, so the next test can fail."""
    client.force_login(world["person"])
    text = read_all(client, car, world)
    assert found(text) >= SEEN_THEN
    # What the shop keeps for itself was never the owner's account.
    assert not found(text) & {"zqvnotes", "zqvhook", "zqvpapers", "zqvcollects", "zqvsign"}


def test_the_new_owner_finds_nothing_of_it_anywhere(client, world, car, new_owner):
    client.force_login(new_owner)
    text = read_all(client, car, world)
    # A work line's own title is what the job is called, for whoever reads it: an open one would stay.
    assert found(text) == set()
    for word in ("Marden", "Declined by the owner", "Compensated", "You told us", "You said", "You put off"):
        assert word not in text, word
    assert reverse("jobs:sheet-pdf", args=[world["sheet"].pk]) not in text


def test_the_new_owner_keeps_the_technical_history(client, world, car, new_owner):
    client.force_login(new_owner)
    text = read_all(client, car, world)
    for word in (
        "Front pads renewed", "Squeal at the front", "Ten stops, no squeal", "Hoses perished", "Not done so far".lower(),
        "Left sill", "Settled at the time", "Dent in the left door", "Worn pads", "Tow bar, maker unknown",
        "Timing belt renewed", "New clutch", "1 sheet from before the car was yours", "148210 km",
    ):  # fmt: skip
        assert word in text, word


def test_no_paper_or_picture_of_the_former_time_opens(client, world, car, new_owner):
    client.force_login(new_owner)
    assert client.get(reverse("jobs:sheet-pdf", args=[world["sheet"].pk])).status_code in (403, 404)
    for photo in car.attachments.exclude(occasion=""):
        assert client.get(photo.file_url()).status_code in (403, 404)


def test_nor_is_any_of_it_in_the_account_that_the_template_is_given(world, car, new_owner):
    """No record is in it, by which a template would reach a former keeper; and no needle in all of its values."""
    told = account.context(Audience.of_owner(new_owner, car), car)["account"]
    values = list(_values(told))
    assert not [value for value in values if hasattr(value, "_meta")]
    assert found("\n".join(map(str, values))) == set()


def test_the_preview_at_the_counter_shows_the_new_owners_account(client, world, car, new_owner, front_desk):
    client.force_login(front_desk)
    page = client.get(reverse("vehicles:owner-view", args=[car.pk])).text
    main = page[page.index("As the owner sees it</h1>") :]
    assert found(main) == set()
    assert "Front pads renewed" in main
    assert reverse("vehicles:own-acknowledge", args=[world["item"].pk]) not in main
    assert reverse("jobs:own-answer", args=[world["line"].pk]) not in main


def _values(thing):
    """Every value in an account, down to the last text."""
    if isinstance(thing, tuple | list | frozenset):
        for one in thing:
            yield from _values(one)
    elif hasattr(thing, "__dataclass_fields__"):
        for name in thing.__dataclass_fields__:
            yield from _values(getattr(thing, name))
    else:
        yield thing
