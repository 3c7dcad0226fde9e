"""All that is known of one car in numbers, gathered for the calculators and the effects."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from functools import cache
from typing import Any

from django.db.models import OuterRef, Q, Subquery, UUIDField

from vehicles.models import DataSheet, Figure, FittedPart, SheetOfVehicle, Vehicle
from workshop.engineering import effect
from workshop.engineering.catalogue import calculators
from workshop.engineering.declare import Calculator
from workshop.engineering.effect import CarFigures, Part
from workshop.engineering.items import ITEMS, KEYS, key_at
from workshop.engineering.result import Origin

# A type, its variant, and a variant of that: with more, nobody finds where a figure stands.
MOST_LEVELS = 4
_CHAIN = "__based_on" * (MOST_LEVELS - 1)


def sheet_record_of(vehicle: Vehicle) -> SheetOfVehicle | None:
    """Which data sheet holds for a car, or held no more, with the sheets that it is based on. One query."""
    return (
        SheetOfVehicle.objects.filter(vehicle=vehicle)
        .select_related(f"sheet{_CHAIN}", "made_by")
        .order_by("-made_at", "-received_at")
        .first()
    )


def sheet_of(vehicle: Vehicle) -> DataSheet | None:
    """The data sheet that holds for a car, with those that it is based on; None where none does. One query."""
    record = sheet_record_of(vehicle)
    return record.sheet if record else None


def chain_of(sheet: DataSheet | None) -> list[DataSheet]:
    """A sheet and those that it is based on, the nearest first. No query where they were selected along."""
    found: list[DataSheet] = []
    while sheet is not None and sheet not in found:
        found.append(sheet)
        sheet = sheet.based_on
    return found


def figures_of(vehicle: Vehicle) -> CarFigures:
    """The figures of the car's data sheet and those it is based on, of the car itself, of its non-factory parts.

    A factory part's own figures change nothing; where the sheet says nothing they stand for the factory's. Three
    queries, whatever the length of the history.
    """
    return gathered(vehicle, sheet_of(vehicle), fitted_on(vehicle))


def fitted_on(vehicle: Vehicle) -> list[FittedPart]:
    """What is on the car now, in the order of the walk. One query."""
    return list(FittedPart.objects.filter(vehicle=vehicle).fitted_now().select_related("place"))


def gathered(vehicle: Vehicle, sheet: DataSheet | None, fitted: list[FittedPart]) -> CarFigures:
    """`figures_of` for who has the sheet and the parts already. One query."""
    chain = chain_of(sheet)
    of_sheet, of_part = defaultdict(dict), defaultdict(dict)
    own: dict[str, effect.Figure] = {}
    for row in Figure.objects.current().filter(
        Q(sheet__in=[one.pk for one in chain]) | Q(vehicle=vehicle) | Q(part__in=[one.pk for one in fitted])
    ):
        if row.key_of_item not in (ITEMS if row.part_id else KEYS):
            continue
        if row.sheet_id is not None:
            of_sheet[row.sheet_id][row.key_of_item] = as_known(row, Origin.DATA_SHEET)
        elif row.vehicle_id is not None:
            own[row.key_of_item] = as_known(row, Origin.CAR)
        else:
            of_part[row.part_id][row.key_of_item] = row
    factory: dict[str, effect.Figure] = {}
    for one in reversed(chain):
        factory |= of_sheet[one.pk]
    parts = []
    for one in fitted:
        if not (rows := of_part.get(one.pk)):
            continue
        if one.is_factory:
            for code, row in rows.items():
                if (key := key_at(code, one.place_id, one.position)) and key not in factory:
                    factory[key] = as_known(row, Origin.PART, f"read off the factory part {one.description}")
        else:
            figures = {code: as_known(row, Origin.PART, one.description) for code, row in rows.items()}
            parts.append(Part(str(one.pk), one.description, one.where, one.place_id, one.position, figures))
    return CarFigures(factory, tuple(parts), own)


def as_known(row: Figure, origin: Origin, of: str = "") -> effect.Figure:
    """A figure on record as the engineering takes it. `of` is put before its source."""
    value = row.amount if row.value is not None else row.text
    words = f"{of}: {row.from_where[:1].lower()}{row.from_where[1:]}" if of else row.from_where
    return effect.Figure(value, origin, words, row.confidence, row.amount_low, row.amount_high)


@cache
def uses() -> dict[str, tuple[Calculator, ...]]:
    """Key → the calculators that take it from what is known of a car."""
    found: dict[str, list[Calculator]] = defaultdict(list)
    for each in calculators().values():
        for key in dict.fromkeys(getattr(of, "item", "") for of in each.inputs):
            if key:
                found[key].append(each)
    return {key: tuple(rows) for key, rows in found.items()}


def used_by(key: str) -> tuple[Calculator, ...]:
    """The calculators that take an item, by its key or, of a part, by its bare code."""
    keys = (key,) if key in KEYS else ITEMS[key].keys if key in ITEMS else ()
    return tuple({each.slug: each for one in keys for each in uses().get(one, ())}.values())


def lines_of(rows: Iterable[Figure]) -> dict[tuple[Any, str], list[Figure]]:
    """(owner's key, item's key) → its figures, the latest first, as each replaced the one before."""
    rows = list(rows)
    later = {row.replaces_id: row for row in rows if row.replaces_id}
    found: dict[tuple[Any, str], list[Figure]] = {}
    for row in rows:
        if row.replaces_id is None:
            line, one = [], row
            while one is not None:
                line.insert(0, one)
                one = later.get(one.pk)
            found[row.sheet_id or row.vehicle_id or row.part_id, row.key_of_item] = line
    return found


def cars_of(sheet: DataSheet | None = None) -> dict[Any, list[Vehicle]]:
    """Sheet's key → the cars for which it holds now; of one sheet, or of all. One query."""
    newest = SheetOfVehicle.objects.filter(vehicle=OuterRef("pk")).order_by("-made_at", "-received_at")
    cars = Vehicle.objects.annotate(
        sheet_now=Subquery(newest.values("sheet_id")[:1], output_field=UUIDField())
    ).exclude(sheet_now=None)
    if sheet is not None:
        cars = cars.filter(sheet_now=sheet.pk)
    found: dict[Any, list[Vehicle]] = defaultdict(list)
    for car in cars.order_by("make", "model", "year", "pk"):
        found[car.sheet_now].append(car)
    return dict(found)
