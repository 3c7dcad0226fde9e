"""Who sees which field by a share link: every text and amount of a car's records, against every choice of what it shows.

`SHOWN` is the one declaration. Each column of each record of the car holds a needle of its own, one for the former
keeper's time and one for the present keeper's; whatever a link's page shows, its needle is on it. A column that is not
declared is never to be seen: a new column, or a page that shows more than before, fails here until it is declared.

`python -m pytest -s -k readable tests/vehicles/test_share_matrix.py` prints the table.
"""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.models import SheetRevision
from jobs.plots import COSTS_TITLE
from tests.once import once
from tests.people import by
from tests.vehicles.planted_car import BACK, planted_car
from vehicles.acts import share as acts
from vehicles.audience import DEFAULT, Shows
from vehicles.models import Attachment, Share
from vehicles.plots_items import TITLE

WORK, PARTS, FAULTS, OPEN, PHOTOS = Shows.WORK, Shows.PARTS, Shows.FAULTS, Shows.OUTSTANDING, Shows.PHOTOS
PEOPLE, COSTS, PAPERS, KEEPER, PLOTS = Shows.PEOPLE, Shows.COSTS, Shows.PAPERS, Shows.KEEPER, Shows.PLOTS

# How far it reaches. CAR: what the car is, at any time. HISTORY: the technical history, which goes with the car, up to
# `until`. THEIRS: of the time since which it is the present keeper's. NOW: only where the link reads to the present.
CAR, HISTORY, THEIRS, NOW = "the car", "any time", "since theirs", "now"

SHOWN: dict[str, tuple[str, tuple[Shows, ...]]] = {
    # what the car is
    "Vehicle.make": (CAR, (WORK,)),
    "Vehicle.model": (CAR, (WORK,)),
    "Vehicle.variant": (CAR, (WORK,)),
    "Vehicle.body": (CAR, (WORK,)),
    "Vehicle.colour": (CAR, (WORK,)),
    "Vehicle.number": (CAR, (PARTS,)),
    "Vehicle.engine_number": (CAR, (PARTS,)),
    "FittedPart.factory_fits": (HISTORY, (PARTS,)),
    "FittedPart.follows": (HISTORY, (PARTS,)),
    "Evidence.what": (HISTORY, (PARTS,)),
    # what was done
    "Job.title": (HISTORY, (WORK,)),
    "WorkLine.complaint": (HISTORY, (WORK,)),
    "WorkLine.cause": (HISTORY, (WORK,)),
    "WorkLine.correction": (HISTORY, (WORK,)),
    "FittedPart.description": (HISTORY, (WORK,)),
    "Measurement.what": (HISTORY, (WORK,)),
    "RoadTest.driven": (HISTORY, (WORK,)),
    "RoadTest.found": (HISTORY, (WORK,)),
    "PastWork.title": (HISTORY, (WORK,)),
    "PastWork.text": (HISTORY, (WORK,)),
    "PastWork.source": (HISTORY, (WORK,)),
    "RoadworthinessTest.source_words": (HISTORY, (WORK,)),
    # photos
    "Attachment.caption": (HISTORY, (PHOTOS,)),
    # what is outstanding
    "OutstandingItem.title": (HISTORY, (OPEN,)),
    "OutstandingItem.detail": (HISTORY, (OPEN,)),
    "Tag.because": (NOW, (OPEN,)),
    # faults and complaints, damage
    "Fault.title": (HISTORY, (FAULTS,)),
    "Fault.conditions": (HISTORY, (FAULTS,)),
    "Fault.check_made": (HISTORY, (FAULTS,)),
    "Fault.normal_source": (HISTORY, (FAULTS,)),
    "Fault.words of a finding": (HISTORY, (FAULTS,)),
    "CheckIn.damage": (HISTORY, (FAULTS,)),
    "Damage.where": (HISTORY, (FAULTS,)),
    "Damage.what": (HISTORY, (FAULTS,)),
    "RoadworthinessTest.deficiencies": (HISTORY, (FAULTS,)),
    # who did it
    "Person.name": (CAR, (PEOPLE,)),
    "PastWork.who_did": (HISTORY, (PEOPLE,)),
    "RoadworthinessTest.by_whom": (HISTORY, (PEOPLE,)),
    # money
    "WorkLine.estimate": (THEIRS, (COSTS,)),
    "PastWork.amount": (THEIRS, (COSTS,)),
    # the keeper: name, address, plate, and what was said
    "Keeper.name": (NOW, (KEEPER,)),
    "Keeper.address": (NOW, (KEEPER,)),
    "Registration.plate": (NOW, (KEEPER,)),
    "Job.complaint": (THEIRS, (KEEPER,)),
    "Handover.told": (THEIRS, (KEEPER,)),
    "Fault.words of a complaint": (THEIRS, (FAULTS, KEEPER)),
    "DamageTelling.told": (THEIRS, (FAULTS, KEEPER)),
    "DamageTelling.answered": (THEIRS, (FAULTS, KEEPER)),
    "Telling.told": (THEIRS, (OPEN, KEEPER)),
    "Telling.answer_words": (THEIRS, (OPEN, KEEPER)),
    # no columns, but told apart as such
    "(plots)": (CAR, (PLOTS,)),
    "(plot of costs)": (CAR, (PLOTS, COSTS)),
    "(plot of what is outstanding)": (CAR, (PLOTS, OPEN)),
    "(handover sheet)": (THEIRS, (PAPERS, PEOPLE, COSTS, KEEPER)),
}
# Planted, and seen by nobody who comes by a link: the shop's own notes, numbers that lead to a person, answers to
# estimates, what was agreed at the counter.
NEVER_IN_ANY_CASE = {
    "Vehicle.notes", "Keeper.phone", "Keeper.email", "Person.email", "LineAnswer.words", "CheckIn.belongings",
    "CheckIn.keys_where", "Handover.identified_by", "Handover.keys_note", "LabourEntry.note", "PartUsed.price",
    "Job.waiting_note", "Job.limit",
}  # fmt: skip

TITLES = {"(plot of costs)": COSTS_TITLE, "(plot of what is outstanding)": TITLE}
EVERYTHING = frozenset(Shows)
ON_A_SHEET = {PEOPLE, COSTS, KEEPER}


def with_its_own(what: Shows) -> frozenset[Shows]:
    """One tick alone, with what the form asks for beside it."""
    return frozenset({WORK, what} | (ON_A_SHEET if what == PAPERS else set()))


def without(what: Shows) -> frozenset[Shows]:
    return EVERYTHING - {what} - ({PAPERS} if what in ON_A_SHEET else set())


CHOICES: dict[str, tuple[frozenset[Shows], str]] = {
    "nothing ticked": (frozenset({WORK}), ""),
    "as usual": (DEFAULT, ""),
    "everything": (EVERYTHING, ""),
    **{f"{what.value} alone": (with_its_own(what), "") for what in Shows if what != WORK},
    **{f"all but {what.value}": (without(what), "") for what in (PEOPLE, COSTS, PAPERS, KEEPER)},
    "everything, since tomorrow": (EVERYTHING, "since"),
    # Which parts were on the car then is known of some only later: that is not what this is about.
    "the technical history, until long ago": (EVERYTHING - {PARTS, COSTS, PAPERS, KEEPER}, "until"),
    "the technical history, for nobody": (EVERYTHING - {COSTS, PAPERS, KEEPER}, "nobody"),
}


@once
def planted(car, lead, technician, other_technician, front_desk):
    return planted_car(car, lead, technician, other_technician, front_desk)


@once
def pages(planted, front_desk) -> dict[str, tuple[Share, str]]:
    """Each choice's link with its page, as a stranger gets it."""
    today = timezone.localdate()
    bounds = {"since": {"since": today + timedelta(days=1)}, "until": {"until": today - BACK / 2}}
    found = {}
    for name, (shows, bound) in CHOICES.items():
        share = acts.make_share(
            by=by(front_desk),
            vehicle=planted.car,
            label=name,
            shows=sorted(shows),
            made_for=None if bound == "nobody" else planted.keeper,
            **bounds.get(bound, {}),
        )
        if len(found) % 10 == 9:  # so many links to a car are open at most
            for row in Share.objects.filter(revoked_at=None).exclude(pk=share.pk):
                acts.end_share(by=by(front_desk), share=row)
        answer = Client().get(share.address())
        assert answer.status_code == 200
        found[name] = (share, answer.content.decode())
    return found


def seen(planted, share: Share, text: str) -> set[tuple[str, str]]:
    found = planted.found_in(text)
    if 'id="plots"' in text:
        found.add(("(plots)", "A"))
    for name, title in TITLES.items():
        if title in text:
            found.add((name, "A"))
    for sheet in SheetRevision.objects.all():
        if reverse("jobs:shared-sheet", args=[share.token, sheet.pk]) in text:
            found.add(("(handover sheet)", era_of(sheet.made_at)))
    return found


def era_of(at) -> str:
    return "A" if at < timezone.now() - BACK / 2 else "B"


def planted_columns(planted) -> set[tuple[str, str]]:
    own = {
        ("(handover sheet)", "A"),
        ("(handover sheet)", "B"),
        *((name, "A") for name in ("(plots)", *TITLES)),
    }
    return set(planted.needles.values()) | own


def is_shown(column: str, era: str, shows: frozenset[Shows], bound: str) -> bool:
    """What the declaration says of one needle."""
    if column not in SHOWN:
        return False
    reach, needs = SHOWN[column]
    if not set(needs) <= shows or (set(needs) & {COSTS, PAPERS, KEEPER} and bound in ("until", "nobody")):
        return False
    if reach == CAR:
        return True
    if bound == "until":
        return reach == HISTORY and era == "A"
    if reach == THEIRS:
        return era == "B" and bound != "since"
    return reach == HISTORY or era == "B"


@pytest.mark.parametrize("choice", CHOICES)
def test_a_link_shows_what_is_declared_and_nothing_else(planted, pages, choice):
    share, text = pages[choice]
    shows, bound = CHOICES[choice]
    found = seen(planted, share, text)
    should = {pair for pair in planted_columns(planted) if is_shown(*pair, shows, bound)}
    assert sorted(found - should) == [], "shown and not declared"
    assert sorted(should - found) == [], "declared and not shown"


def test_every_declared_column_was_planted_and_the_telling_ones_of_both_times(planted):
    columns = planted_columns(planted)
    names = {name for name, _ in columns}
    assert set(SHOWN) - names == set()
    assert names >= NEVER_IN_ANY_CASE
    assert not set(SHOWN) & NEVER_IN_ANY_CASE
    of_one_time = {
        name for name, (reach, _) in SHOWN.items() if reach == THEIRS and (name, "A") not in columns
    }
    assert of_one_time == set()


# ------------------------------------------------------------------------------------- what the page leads to


def photos_on(share: Share, text: str) -> set[str]:
    return set(re.findall(rf"/shared/{re.escape(share.token)}/photo/([0-9a-f-]{{36}})/(?:thumb/)?", text))


@pytest.mark.parametrize(
    "choice", ["everything", "as usual", "faults alone", "photos alone", "all but keeper"]
)
def test_every_photo_on_the_page_opens_and_no_other(planted, pages, front_desk, choice):
    """By its address alone nothing is got that the page does not show."""
    shows, _ = CHOICES[choice]
    share = acts.make_share(
        by=by(front_desk), vehicle=planted.car, label="photos", shows=sorted(shows), made_for=planted.keeper
    )
    reader = Client()
    shown = photos_on(share, reader.get(share.address()).content.decode())
    assert bool(shown) == (PHOTOS in shows)
    for photo in Attachment.objects.filter(vehicle=planted.car):
        kept_small = bool(photo.thumb)
        answers = [
            reader.get(reverse("vehicles:shared-photo", args=[share.token, photo.pk])),
            *(
                [reader.get(reverse("vehicles:shared-thumb", args=[share.token, photo.pk]))]
                if kept_small
                else []
            ),
        ]
        expected = 200 if str(photo.pk) in shown else 404
        assert {answer.status_code for answer in answers} == {expected}, (
            photo.kind,
            photo.occasion,
            photo.caption,
        )


def test_a_sheet_opens_where_the_link_shows_it_and_only_of_the_keepers_own_time(planted, front_desk):
    reader = Client()
    sheets = {era_of(sheet.made_at): sheet for sheet in SheetRevision.objects.all()}

    def statuses(shows, **fields) -> list[int]:
        share = acts.make_share(
            by=by(front_desk), vehicle=planted.car, label="sheets", shows=sorted(shows),
            made_for=planted.keeper, **fields,
        )  # fmt: skip
        addresses = [reverse("jobs:shared-sheet", args=[share.token, sheets[era].pk]) for era in "AB"]
        return [reader.get(address).status_code for address in addresses]

    assert statuses(EVERYTHING) == [404, 200]
    assert statuses(EVERYTHING - {PAPERS}) == [404, 404]
    assert statuses(EVERYTHING, since=timezone.localdate() + timedelta(days=1)) == [404, 404]


def readable_table() -> str:
    """Who sees which field: a row for each column, a mark where a tick shows it."""
    ticks = list(Shows)
    head = f"{'field':32}{'of when':14}" + "".join(f"{what.value[:6]:8}" for what in ticks)
    rows = [head, "-" * len(head)]
    for name, (reach, needs) in SHOWN.items():
        marks = "".join(
            f"{('all' if len(needs) > 1 else 'yes') if what in needs else '':8}" for what in ticks
        )
        rows.append(f"{name:32}{reach:14}{marks}".rstrip())
    rows += [
        "",
        "all: these ticks together.  Never, whatever is ticked: " + ", ".join(sorted(NEVER_IN_ANY_CASE)),
    ]
    return "\n".join(rows)


def test_the_readable_table_names_each_tick_and_every_column():
    table = readable_table()
    print(f"\n{table}")
    assert all(name in table for name in [*SHOWN, *NEVER_IN_ANY_CASE])
    # Each tick that can be chosen shows something.
    assert {what for _, needs in SHOWN.values() for what in needs} == set(Shows)
