"""A car with a former and a present keeper, in whose records every text and every amount is an unmistakable needle.

What a reader may see of a car can then be measured and not only argued: whatever column a page took something from,
its needle stands on the page.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal

from django.apps import apps
from django.db import DatabaseError, models, transaction
from django.utils import timezone

from jobs.acts import answer as answer_acts
from jobs.acts import damage as damage_acts
from jobs.acts import handover as handover_acts
from jobs.acts import job as job_acts
from jobs.acts import work as work_acts
from tests.factories.fault import FaultFactory
from tests.factories.handover import ReadyJobFactory, leaving, owner_of, rich_job
from tests.factories.job import CheckInFactory, JobFactory, TagFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.photo import PhotoFactory, picture
from tests.people import by
from vehicles.acts import outstanding as outstanding_acts
from vehicles.acts.due import record_test
from vehicles.acts.past_work import add_past_work
from vehicles.models import Keeper, OdometerReading, Vehicle
from workshop import triggers
from workshop.models import Person

BACK = timedelta(days=400)
# Not words though they are text: units, keys and codes that the app reads, lists that are no car's.
CODED = (
    "unit",
    "_unit",
    "base",
    "_base",
    "key_of_item",
    "line_of",
    "token",
    "hash",
    "search_text",
    "identity_key",
    "file",
    "thumb",
)
# Filled in, these take a record out of sight, or say that something happened: only where they hold words already.
MEANS_SOMETHING = ("because", "in_error", "reason", "media_type", "erased", "falsified_by", "origin")
OF_NO_CAR = {
    "Place",
    "Procedure",
    "ProcedureVersion",
    "ProcedureStep",
    "ProcedureStage",
    "StageTarget",
    "Words",
}


# One column that holds two things: as its keeper said it, and as the shop found it.
TWO_THINGS = {"Fault.words": "kind"}


@dataclass
class Planted:
    """Needle → (column, era): era "A" is the former keeper's, "B" the present one's."""

    car: Vehicle
    keeper: Keeper
    needles: dict[str, tuple[str, str]] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)

    def found_in(self, text: str) -> set[tuple[str, str]]:
        return {where for needle, where in self.needles.items() if needle in text}


def planted_car(car, lead, technician, other, desk) -> Planted:
    former = owner_of(car, desk, name="Quill Marden", address="1 Old Rise", phone="0000 9999")
    _former_time(car, former, lead, technician, desk)
    with triggers.lifted():
        _put_back()
    job = rich_job(car, lead, technician, other, desk)
    keeper = Keeper.objects.get(name="Corin Ashby")
    _present_time(car, keeper, job, lead, technician, desk)
    found = Planted(car, keeper)
    with triggers.lifted():
        _plant(found)
    car.refresh_from_db()
    keeper.refresh_from_db()
    return found


def _former_time(car: Vehicle, former: Keeper, lead: Person, technician: Person, desk: Person) -> None:
    """A visit with a sheet, a damage, what was left open and told, past work, photos of each kind."""
    job = ReadyJobFactory(person=lead, vehicle=car, keeper=former)
    _beside(car, former, job, lead, technician, desk)
    handover_acts.hand_over(by=by(lead), job=job, **leaving(former))


def _present_time(car: Vehicle, keeper: Keeper, job, lead: Person, technician: Person, desk: Person) -> None:
    """The rich visit is handed over, and another one is going on: agreed, put off, waiting for an answer."""
    _beside(car, keeper, job, lead, technician, desk)
    handover_acts.call_ready(by=by(lead), job=job)
    job.refresh_from_db()
    handover_acts.hand_over(by=by(lead), job=job, **leaving(keeper))
    TagFactory(person=lead, vehicle=car, kind="no_road", because="no brake fluid")
    now = JobFactory(
        person=lead,
        vehicle=car,
        payer=keeper,
        authoriser=keeper,
        title="Going on",
        complaint="It pulls to the left.",
    )
    CheckInFactory(
        person=lead,
        job=now,
        keys=2,
        brought_by=keeper,
        lower_because="Typed one too high.",
        belongings="A bag.",
    )
    job_acts.move(by=by(lead), job=now, to_state="in_work")
    for answer in ("yes", "later", ""):
        line = work_acts.add_line(by=by(lead), job=now, complaint=f"Still to do {answer}")
        answer_acts.estimate_line(by=by(lead), line=line, seen_version=line.version, estimate=Decimal(90))
        if answer:
            answer_acts.record_answer(
                by=by(desk), line=line, answer=answer, given_by=keeper, right="owner", channel="phone",
                amount=Decimal(90) if answer == "yes" else None, words="As you say.",
            )  # fmt: skip


def _beside(car: Vehicle, keeper: Keeper, job, lead: Person, technician: Person, desk: Person) -> None:
    FaultFactory(person=technician, vehicle=car, title="Looked into")
    fault = FaultFactory(person=technician, vehicle=car, kind="finding", title="Noticed")
    item = ItemFactory(person=lead, vehicle=car, severity="major", detail="More of it.", reason="deferred")
    outstanding_acts.tell(
        by=by(lead), item=item, told_to=keeper, channel="phone", told="Told so.", answer="deferred",
        answer_words="Answered so.",
    )  # fmt: skip
    damage = damage_acts.report_damage(by=by(technician), job=job, where="Left sill", what="Scratched")
    damage_acts.tell_of_damage(
        by=by(desk), damage=damage, told_to=keeper, channel="phone", told="We scratched it.", answered="Oh."
    )
    add_past_work(
        by=by(desk), vehicle=car, done_on=by(desk).day, title="Belt", source="Service book", who_did="Elsewhere",
        text="With the pump.", amount=Decimal(200),
    )  # fmt: skip
    record_test(
        by=by(desk), vehicle=car, done_on=by(desk).day, result="major", by_whom="Test centre", certificate="C 1",
        deficiencies="Play in a joint.", source_words="certificate seen",
    )  # fmt: skip
    line = job.lines.first()
    for kind in (
        {"line": line, "moment": "before"},
        {"line": line, "moment": "after"},
        {"fault": fault},
        {"item": item},
        {"damage": damage},
        {"job": job, "occasion": "check_in", "angle": "cabin"},
        {"job": job},
    ):
        PhotoFactory(person=technician, vehicle=car, caption="A photo", **kind)
    PhotoFactory(
        person=technician,
        vehicle=car,
        job=job,
        caption="A paper",
        kind="document",
        data=picture(size=(40, 40)),
    )


def _put_back() -> None:
    """All that was written so far happened so many days earlier, and so many kilometres before."""
    for model in _models():
        days = [each.name for each in model._meta.concrete_fields if isinstance(each, models.DateField)]
        for row in model._base_manager.values("pk", *days) if days else ():
            changes = {name: row[name] - BACK for name in days if row[name] is not None}
            if changes:
                model._base_manager.filter(pk=row["pk"]).update(**changes)
    OdometerReading.objects.exclude(value=None).update(value=models.F("value") - 20_000)


def _models() -> list[type[models.Model]]:
    return [
        model
        for label in ("vehicles", "jobs")
        for model in apps.get_app_config(label).get_models()
        if model.__name__ not in OF_NO_CAR
    ]


def _plant(found: Planted) -> None:
    """A needle for each column and era, the same in all of its rows; where a rule of the column refuses it, none."""
    number = 0
    for model in [*_models(), Person]:
        for column in model._meta.concrete_fields:
            money = isinstance(column, models.DecimalField) and column.decimal_places == 2
            if not money and not (triggers.is_words(column) and not _coded(column)):
                continue
            if triggers.is_frozen(model._meta.db_table, column.column):
                continue
            name = f"{model.__name__}.{column.name}"
            apart = TWO_THINGS.get(name)
            for value in sorted(set(model._base_manager.values_list(apart, flat=True))) if apart else [""]:
                number += 1
                rows = model._base_manager.filter(**{apart: value}) if apart else model._base_manager.all()
                called = f"{name} of a {value}" if apart else name
                for era in "AB":
                    _plant_column(found, rows, column, era, number, called, money)


def _coded(column: models.Field) -> bool:
    return column.name.endswith(CODED)


def _plant_column(found: Planted, rows, column, era: str, number: int, called: str, money: bool) -> None:
    needle = f"{300 + number}.{41 if era == 'A' else 42}" if money else f"Nd{number:03d}{era}x"
    if column.max_length and len(needle) > column.max_length:
        return
    rows = rows.exclude(**{f"{column.name}__isnull": True})
    if not money and column.name.endswith(MEANS_SOMETHING):
        rows = rows.exclude(**{column.name: ""})
    keys = [row.pk for row in rows if _era(row) == era]
    if not keys:
        return
    try:
        with transaction.atomic():
            rows.model._base_manager.filter(pk__in=keys).update(
                **{column.name: Decimal(needle) if money else needle}
            )
    except DatabaseError:
        # A rule says that it stays empty here, or holds one of some words; what filled rows hold is planted again.
        _plant_filled(found, rows, column, era, needle, called, keys)
        return
    found.needles[needle] = (called, era)


def _plant_filled(found: Planted, rows, column, era: str, needle: str, called: str, keys: list) -> None:
    filled = rows.model._base_manager.filter(pk__in=keys).exclude(**{column.name: ""})
    try:
        with transaction.atomic():
            if filled.update(**{column.name: needle}):
                found.needles[needle] = (called, era)
            else:
                found.refused.add(called)
    except DatabaseError:
        found.refused.add(called)


def _era(row: models.Model) -> str:
    """By when it was made; a row without a time goes with what it belongs to."""
    for name in ("made_at", "at", "started_at"):
        if (at := getattr(row, name, None)) is not None:
            return "A" if at < timezone.now() - BACK / 2 else "B"
    return "B"
