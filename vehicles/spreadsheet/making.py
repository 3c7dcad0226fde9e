"""Making the records of the rows that are good: all of one kind at once, as a list may have thousands.

The database holds every rule and is asked by the inserts themselves; one that refuses ends the whole act.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import models

from vehicles.acts.past_work import first_day, noon
from vehicles.acts.vehicle import refresh_search_text
from vehicles.folding import folded
from vehicles.models import (
    Instrument,
    Keeper,
    KeeperPart,
    OdometerReading,
    PastWork,
    Registration,
    Vehicle,
    VehicleKeeper,
    Words,
)
from vehicles.odometer import instrument_at
from vehicles.spreadsheet.checking import Choices, Row, keepers_here, who
from workshop.acting import By

# In this order they are made, in the other they go again: each points only at those before it.
MADE = (Vehicle, Registration, Keeper, VehicleKeeper, Instrument, OdometerReading, PastWork)
FALLS = "so in the list that was taken in, and nobody knows why"


class Making:
    def __init__(self, by: By, choices: Choices, source: str):
        self.by, self.choices, self.source = by, choices, source
        self.rows: dict[type[models.Model], list[models.Model]] = {model: [] for model in MADE}
        self.keepers: dict[tuple[str, str], Any] = keepers_here()
        self.plates: dict[Any, list[str]] = {}
        self.names: dict[Any, list[str]] = {}

    def made(self, kind: str, rows: Iterable[Row]) -> dict[str, int]:
        """Insert everything; answers how many records of each kind."""
        rows = list(rows)
        {"cars": self._cars, "keepers": self._keepers, "past": self._past}[kind](rows)
        for car in self.rows[Vehicle]:
            words = [
                car.number,
                car.make,
                car.model,
                car.variant,
                str(car.year),
                car.colour,
                car.engine_number,
            ]
            words += [*self.plates.get(car.pk, []), *self.names.get(car.pk, [])]
            car.search_text = " ".join(folded(each) for each in words if each)
        for model, made in self.rows.items():
            for record in made:
                record.clean_fields(exclude=[each.name for each in model._meta.fields if each.is_relation])
            model.objects.bulk_create(made, batch_size=400)
        return {model._meta.label_lower: len(made) for model, made in self.rows.items() if made}

    def _add(self, model: type[models.Model], /, **fields: Any) -> Any:
        record = model(**self.by.stamp(), **fields)
        self.rows[model].append(record)
        return record

    # ------------------------------------------------------------------------------------------------------- cars
    def _cars(self, rows: list[Row]) -> None:
        for row in rows:
            value = row.values.get
            car = self._add(
                Vehicle,
                number=value("number"),
                identity_key=value("identity_key"),
                number_unknown_because="" if value("number") else "not in the list that was taken in",
                number_questions="\n".join(value("questions", [])),
                as_stamped=bool(value("questions")),
                make=value("make"), model=value("model"), variant=value("variant", ""), year=value("year"),
                engine_number="".join(value("engine_number", "").upper().split()), colour=value("colour", ""),
                body=value("body", ""), notes=value("notes", ""),
            )  # fmt: skip
            if value("plate_key"):
                self._add(
                    Registration, vehicle=car, plate=" ".join(value("plate").upper().split()),
                    plate_key=value("plate_key"), country=value("country", ""),
                )  # fmt: skip
                self.plates[car.pk] = [value("plate"), value("plate_key")]
            if value("owner_name"):
                self._owner(car, row)
            if value("odometer") is not None:
                self._reading(
                    self._instrument(car, value("odometer").unit), row, value("odometer_day") or self.by.day
                )

    def _owner(self, car: Vehicle, row: Row) -> None:
        self._add(
            VehicleKeeper, vehicle=car, keeper_id=self._keeper(row), part=KeeperPart.OWNER,
            from_on=row.values.get("owner_since"),
        )  # fmt: skip
        self.names.setdefault(car.pk, []).append(row.values["owner_name"])

    def _keeper(self, row: Row) -> Any:
        """The person's key: on record, made for an earlier row of this list, or made now."""
        told = {name: row.values.get(f"owner_{name}", "") for name in ("name", "phone", "email", "address")}
        key = who(**told)
        if key not in self.keepers:
            # Its own keeper is known before it is inserted: the keys are ours.
            self.keepers[key] = self._add(Keeper, **told, search_text=Keeper.text_to_find(**told)).pk
        return self.keepers[key]

    # ---------------------------------------------------------------------------------------------------- keepers
    def _keepers(self, rows: list[Row]) -> None:
        touched = []
        for row in rows:
            if row.car is None:
                self._keeper(row)
            else:
                self._owner(row.car, row)
                touched.append((row.car, row.values["owner_name"]))
        for car, name in touched:
            text = f"{car.search_text} {folded(name)}".strip()
            Vehicle.objects.filter(pk=car.pk).update(search_text=text)

    # -------------------------------------------------------------------------------------------------- past work
    def _past(self, rows: list[Row]) -> None:
        cars = {row.car.pk for row in rows}
        known: dict[Any, list[Instrument]] = {}
        every = Instrument.objects.order_by("order")
        for each in every.filter(vehicle__in=cars) if len(cars) <= 500 else every:
            known.setdefault(each.vehicle_id, []).append(each)
        for row in sorted(rows, key=lambda each: (each.values["done_on"], each.line)):
            value, reading = row.values.get, None
            if value("odometer") is not None:
                there = known.setdefault(row.car.pk, [])
                if not there:
                    there.append(self._instrument(row.car, value("odometer").unit))
                reading = self._reading(instrument_at(there, value("done_on")), row, value("done_on"))
            self._add(
                PastWork, vehicle=row.car, done_on=first_day(value("done_on"), value("day_known")),
                day_known=value("day_known"), title=value("title"), text=value("text", ""),
                who_did=value("who_did", ""), amount=value("amount"), odometer=reading,
                source=f"{self.source}, line {row.line}",
            )  # fmt: skip

    def _instrument(self, car: Vehicle, unit: str) -> Instrument:
        return self._add(Instrument, vehicle=car, order=1, unit=unit)

    def _reading(self, instrument: Instrument, row: Row, day: date) -> OdometerReading:
        value: Decimal = row.values["odometer"].value
        return self._add(
            OdometerReading, vehicle_id=instrument.vehicle_id, instrument=instrument, value=value,
            read_at=noon(day, self.by), lower_because=FALLS if row.lower else "",
        )  # fmt: skip


# ------------------------------------------------------------------------------------------------------------ undo
def hanging_on(key: Any) -> Counter:
    """What was written since on records that came with this key: how many of each kind. A list can't be undone then."""
    found: Counter = Counter()
    for model in MADE:
        ours = model.objects.filter(key=key)
        if any(each.name == "version" for each in model._meta.fields):
            found[f"{model._meta.verbose_name}, changed since"] += ours.filter(version__gt=1).count()
        for relation in _pointing_at(model):
            other = relation.related_model
            rows = other._base_manager.filter(**{f"{relation.field.name}__in": ours.values("pk")})
            if any(each.name == "key" for each in other._meta.fields):
                rows = rows.exclude(key=key)
            found[str(other._meta.verbose_name_plural)] += rows.count()
    return +found


def _pointing_at(model: type[models.Model]) -> list[Any]:
    """Every relation that leads to it, also those without a name; the copy of its words goes with it."""
    return [
        field
        for field in model._meta.get_fields(include_hidden=True)
        if field.auto_created and not field.concrete and field.related_model is not Words
    ]


def take_out(key: Any) -> dict[str, int]:
    """Delete what came with this key; the guards let nothing else go (`workshop.models.Undoing`)."""
    gone = {}
    # Cars that were here before are no longer found by the names of the keepers that go.
    named = VehicleKeeper.objects.filter(key=key).values("vehicle")
    kept = list(Vehicle.objects.filter(pk__in=named).exclude(key=key))
    for model in reversed(MADE):
        rows = model.objects.filter(key=key)
        if count := rows.count():
            gone_keys = [str(pk) for pk in rows.values_list("pk", flat=True)]
            for at in range(0, count, 500):
                Words.objects.filter(
                    subject_kind=model._meta.label_lower, subject_id__in=gone_keys[at : at + 500]
                ).delete()
            rows._raw_delete(rows.db)
            gone[model._meta.label_lower] = count
    for car in kept:
        refresh_search_text(car)
    return gone
