"""What a car's history tells of its figures: its own and its parts', which data sheet held, and what changed on that."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse

from vehicles.figures import chain_of, sheet_record_of
from vehicles.models import Figure, SheetOfVehicle, Vehicle
from vehicles.timeline import Entry, Source, Window, add_source

KIND, LABEL = "figure", "Figures"


def own(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """What was measured on the car, one entry for each sitting: two queries."""
    address = reverse("vehicles:figures", args=[vehicle.pk])
    rows = Figure.objects.filter(vehicle=vehicle).select_related("made_by")
    for row, together in _sittings(rows, window, "vehicle"):
        yield _told(row, together, "Figures of this car", address)


def of_parts(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """What its parts say of themselves, one entry for each part and sitting: two queries."""
    rows = Figure.objects.filter(part__vehicle=vehicle, part__entered_in_error="")
    for row, together in _sittings(rows.select_related("part__place", "made_by"), window, "part"):
        yield _told(
            row, together, f"Dimensions of {row.part.description}", f"{row.part.get_absolute_url()}#figures"
        )


def _sittings(rows: QuerySet[Figure], window: Window, owner: str) -> Iterator[tuple[Figure, list[Figure]]]:
    """The first figure of each submission of one owner, by the window, with all that were written with it.

    The database finds the first ones, so that a page of the history is never cut within a sitting.
    """
    before = Figure.objects.filter(key=OuterRef("key"), pk__lt=OuterRef("pk"), **{owner: OuterRef(owner)})
    firsts = window.rows(rows.exclude(Exists(before)))
    found: dict[tuple[UUID, UUID], list[Figure]] = {}
    for row in rows.filter(key__in={one.key for one in firsts}).order_by("key_of_item"):
        found.setdefault((row.key, getattr(row, f"{owner}_id")), []).append(row)
    for one in firsts:
        yield one, found[one.key, getattr(one, f"{owner}_id")]


def _told(row: Figure, together: list[Figure], title: str, url: str) -> Entry:
    values = ", ".join(f"{one.name} {one.shown}" for one in together)
    return Entry(row.made_at, row.pk, title, f"{values} · {_why(row)}", url, by=str(row.made_by))


def sheets(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    address = reverse("vehicles:figures", args=[vehicle.pk])
    for row in window.rows(SheetOfVehicle.objects.filter(vehicle=vehicle).select_related("sheet", "made_by")):
        title = f"Data sheet: {row.sheet}" if row.sheet else "No data sheet holds any more"
        yield Entry(row.made_at, row.pk, title, row.because, address, by=str(row.made_by))


def changed_on_the_sheet(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """What changed on the sheet since it holds for this car: not what was first written there, nor what a nearer
    sheet or the car itself says otherwise. Three queries.
    """
    record = sheet_record_of(vehicle)
    chain = chain_of(record.sheet) if record else []
    if not chain:
        return
    nearest: dict[str, int] = {}
    standing = Figure.objects.current().filter(Q(sheet__in=[one.pk for one in chain]) | Q(vehicle=vehicle))
    order = {one.pk: number for number, one in enumerate(chain)}
    for key, sheet in standing.values_list("key_of_item", "sheet"):
        place = -1 if sheet is None else order[sheet]
        nearest[key] = min(place, nearest.get(key, place))
    hidden = Q(pk=None)
    for number, one in enumerate(chain):
        hidden |= Q(sheet=one.pk, key_of_item__in=[key for key, place in nearest.items() if place < number])
    rows = Figure.objects.filter(
        sheet__in=list(order), replaces__isnull=False, made_at__gte=record.made_at
    ).exclude(hidden)
    for row in window.rows(rows.select_related("sheet", "made_by")):
        yield Entry(
            row.made_at, row.pk, f"Data sheet changed: {row.name} {row.shown}", _why(row),
            row.sheet.get_absolute_url(), by=str(row.made_by),
        )  # fmt: skip


def _why(row: Figure) -> str:
    told = [row.withdrawn_because or row.from_where, row.because]
    return " · ".join(filter(None, told))


for name, gather in (
    ("figure", own),
    ("figure-part", of_parts),
    ("data-sheet", sheets),
    ("data-sheet-changed", changed_on_the_sheet),
):
    add_source(Source(name, KIND, LABEL, gather, person="made_by"))
