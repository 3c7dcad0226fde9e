"""Judging each row of a list against what is on record: what it would make, what is wrong with it, what is here already."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from vehicles.folding import folded, squeezed
from vehicles.models import (
    Instrument,
    Keeper,
    OdometerReading,
    PastWork,
    Registration,
    Vehicle,
    VehicleKeeper,
)
from vehicles.models.keeper import HOLDERS
from vehicles.models.odometer import HIGHEST_KM
from vehicles.odometer import counting, instrument_at
from vehicles.spreadsheet import cells, columns
from vehicles.spreadsheet.cells import BadCell
from vehicles.spreadsheet.reading import MOST_IN_A_CELL, Table
from workshop.engineering import identity
from workshop.engineering.units import Amount
from workshop.models import Shop

_KEPT = ("number", "identity_key", "make", "year")


@dataclass(frozen=True)
class Choices:
    """How a list is read. `places`: code → place in the head. `unit`: of readings without one. `keep_lower`: readings
    that fall are kept and flagged. `source`: where the list comes from, said of past work.
    """

    places: dict[str, int]
    order: str = ""
    unit: str = ""
    keep_lower: bool = False
    as_stamped: bool = False
    source: str = ""


@dataclass
class Row:
    """`errors` are (label of the column, sentence); with one the row can't be taken in. `here`: it is on record already."""

    line: int
    cells: list[str]
    values: dict[str, Any] = field(default_factory=dict)
    errors: list[tuple[str, str]] = field(default_factory=list)
    here: str = ""
    car: Vehicle | None = None
    lower: str = ""

    @property
    def good(self) -> bool:
        return not self.errors and not self.here


@dataclass
class Checked:
    rows: list[Row]
    missing: list[str]

    @property
    def good(self) -> list[Row]:
        return [row for row in self.rows if row.good]

    @property
    def bad(self) -> list[Row]:
        return [row for row in self.rows if row.errors]

    @property
    def here(self) -> list[Row]:
        return [row for row in self.rows if row.here and not row.errors]


def check(kind: str, table: Table, choices: Choices, today: date) -> Checked:
    """Every row judged, in some ten queries whatever their number."""
    missing = columns.missing(kind, choices.places)
    rows = [Row(line, texts) for line, texts in table.rows]
    if missing:
        return Checked(rows, missing)
    shop = Shop.current()
    for row in rows:
        if len(row.cells) > len(table.head) and any(row.cells[len(table.head) :]):
            row.errors.append(
                ("the row", f"It has {len(row.cells)} cells, and the head has {len(table.head)}: a separator "
                 "stands inside a text, perhaps. Put such a text in quotation marks.")
            )  # fmt: skip
        _read(kind, row, choices, shop)
        for code in ("done_on", "owner_since", "odometer_day"):
            if (there := row.values.get(code)) and there > today:
                row.errors.append((columns.column(kind, code).label, f"{there:%Y-%m-%d} lies in the future."))
    {"cars": _cars, "keepers": _keepers, "past": _past}[kind](rows, choices)
    return Checked(rows, [])


def _read(kind: str, row: Row, choices: Choices, shop: Shop) -> None:
    """The cells of a row, each by its kind."""

    def text(code: str) -> str:
        at = choices.places.get(code)
        return row.cells[at] if at is not None and at < len(row.cells) else ""

    readers: dict[str, Callable[[str], Any]] = {
        "day": lambda one: cells.day(one, choices.order),
        "money": lambda one: cells.money(one, shop.currency),
        "year": cells.year,
        "email": cells.email,
        "unit": cells.unit,
    }
    unit = choices.unit
    for each in columns.COLUMNS[kind]:
        told = text(each.code)
        most = min(each.most, MOST_IN_A_CELL)
        if not told:
            if each.needed:
                row.errors.append((each.label, f"{each.label} is needed in every row."))
            continue
        if len(told) > most:
            row.errors.append((each.label, f"It has {len(told)} characters; at most {most} are kept."))
            continue
        try:
            if each.kind == "rough_day":
                row.values[each.code], row.values["day_known"] = cells.rough_day(told, choices.order)
            elif each.kind == "distance":
                if word := text("odometer_unit"):
                    unit = cells.unit(word)
                row.values[each.code] = Amount(*cells.distance(told, unit))
            elif each.kind == "text":
                row.values[each.code] = told if each.most > 400 else " ".join(told.split())
            else:
                row.values[each.code] = readers[each.kind](told)
        except BadCell as refusal:
            row.errors.append((each.label, str(refusal)))
    amount = row.values.get("odometer")
    if amount is not None and amount.base() > HIGHEST_KM:
        row.errors.append(
            ("Odometer", f"No odometer shows more than {HIGHEST_KM} km: look at the digits again.")
        )


# ----------------------------------------------------------------------------------------------------------- cars
def _cars(rows: list[Row], choices: Choices) -> None:
    known = set(Vehicle.objects.exclude(identity_key=None).values_list("identity_key", flat=True))
    plates = set(Registration.objects.filter(until_on=None).values_list("plate_key", "country"))
    numbers: dict[str, int] = {}
    borne: dict[tuple[str, str], int] = {}
    for row in rows:
        value = row.values.get
        number = identity.normalise_number(value("number", ""))
        plate = squeezed(value("plate", "")).upper()
        if not number and not plate:
            row.errors.append(("VIN or chassis number", "A car needs its number or a plate to be found by."))
            continue
        if value("plate") and not plate:
            row.errors.append(("Plate", "There is no letter and no digit on this plate."))
        if value("country") and not plate:
            row.errors.append(
                ("Country of the plate", "Give the plate of this country, or leave both empty.")
            )
        if len(number) > 30:
            row.errors.append(("VIN or chassis number", "Without blanks it has more than 30 characters."))
        row.values["number"] = number
        key = Vehicle.key_for(number, value("make", "")) if number else None
        row.values["identity_key"] = key
        if key in known:
            row.here = "A car with this number is on record: it stays as it is."
            continue
        if key in numbers:
            row.errors.append(("VIN or chassis number", f"The same number stands in line {numbers[key]}."))
        elif key:
            numbers[key] = row.line
        if number and (year := value("year")):
            questions = identity.questions(number, year)
            row.values["questions"] = [each.message for each in questions]
            if questions and not choices.as_stamped:
                row.errors.append(
                    ("VIN or chassis number", " ".join(row.values["questions"]) + " Look again; if the list is "
                     "right, say under “How it is read” that questioned numbers are kept as they stand.")
                )  # fmt: skip
        bears = (plate, value("country", ""))
        if plate and bears in plates:
            row.errors.append(("Plate", "This plate is in force on a car on record."))
        elif plate and bears in borne:
            row.errors.append(("Plate", f"The same plate stands in line {borne[bears]}."))
        elif plate:
            borne[bears] = row.line
        row.values["plate_key"] = plate
        for code in ("owner_since", "odometer_day"):
            _not_before_built(row, value("year"), code, "cars")
        if value("odometer_day") and not value("odometer"):
            row.errors.append(("Odometer", "There is a day and no reading."))
        if not value("owner_name") and any(
            value(f"owner_{each}") for each in ("address", "phone", "email", "since")
        ):
            row.errors.append(("Owner’s name", "There is something about an owner, and no name."))


def _not_before_built(row: Row, year: int | None, code: str, kind: str) -> None:
    day = row.values.get(code)
    if day and year and day.year < year - 1:
        row.errors.append(
            (columns.column(kind, code).label, f"The car is of model year {year}: give {year - 1} or later.")
        )


# -------------------------------------------------------------------------------------------------------- keepers
def who(name: str, phone: str = "", email: str = "", address: str = "") -> tuple[str, str]:
    """By what the same person is known in a list: the name, and the first of the other things that is given."""
    return folded(name), squeezed(phone) or folded(email) or folded(address)


def keepers_here() -> dict[tuple[str, str], Any]:
    """Keepers on record by `who`: one query."""
    rows = Keeper.objects.filter(erased_at=None).values_list("name", "phone", "email", "address", "pk")
    found: dict[tuple[str, str], Any] = {}
    for name, phone, email, address, pk in rows:
        for each in (who(name, phone), who(name, "", email), who(name, "", "", address)):
            found.setdefault(each, pk)
    return found


def _keepers(rows: list[Row], choices: Choices) -> None:
    here, cars = keepers_here(), Cars(rows)
    seen: dict[tuple, int] = {}
    held = set(
        VehicleKeeper.objects.filter(part__in=HOLDERS, until_on=None).values_list("vehicle_id", flat=True)
    )
    for row in rows:
        value = row.values.get
        if not value("owner_name"):
            continue
        key = who(*(value(f"owner_{each}", "") for each in ("name", "phone", "email", "address")))
        if value("car"):
            cars.find(row, "keepers")
            if row.car is not None:
                _not_before_built(row, row.car.year, "owner_since", "keepers")
                if row.car.pk in held:
                    row.errors.append(
                        ("VIN or plate of their car", "This car has an owner on record. A change of owner is "
                         "written down on the car's page.")
                    )  # fmt: skip
        elif value("owner_since"):
            row.errors.append(("Owner since", "Say of which car."))
        if key in here and not value("car"):
            row.here = "Somebody of this name and number is on record."
        elif (key, value("car")) in seen:
            row.errors.append(("Name", f"The same person stands in line {seen[key, value('car')]}."))
        else:
            seen[key, value("car")] = row.line


# ------------------------------------------------------------------------------------------------------ past work
class Cars:
    """The cars that a list names, by number or plate: two queries."""

    def __init__(self, rows: list[Row]):
        asked = {squeezed(row.values.get("car", "")).upper() for row in rows} - {""}
        self.found: dict[str, set] = {}
        self.cars: dict[Any, Vehicle] = {}
        for part in _parts(sorted(asked)):
            for car in Vehicle.objects.filter(number__in=part):
                self.cars[car.pk] = car
                self.found.setdefault(car.number, set()).add(car.pk)
            for row in Registration.objects.filter(plate_key__in=part).select_related("vehicle"):
                self.cars[row.vehicle_id] = row.vehicle
                self.found.setdefault(row.plate_key, set()).add(row.vehicle_id)

    def find(self, row: Row, kind: str) -> None:
        label = columns.column(kind, "car").label
        pks = self.found.get(squeezed(row.values["car"]).upper(), set())
        if len(pks) == 1:
            row.car = self.cars[next(iter(pks))]
        elif pks:
            row.errors.append((label, "Several cars have borne this: give the VIN."))
        else:
            row.errors.append((label, "No car on record bears this number or plate. Take in the cars first."))


def _parts(values: list, most: int = 500) -> list[list]:
    """SQLite takes so many values in one query."""
    return [values[at : at + most] for at in range(0, len(values), most)]


def _past(rows: list[Row], choices: Choices) -> None:
    cars = Cars(rows)
    seen: dict[tuple, int] = {}
    for row in rows:
        if row.values.get("car"):
            cars.find(row, "past")
    named = sorted(cars.cars)
    here = {
        (car, day, folded(title), amount)
        for part in _parts(named)
        for car, day, title, amount in PastWork.objects.filter(
            vehicle__in=part, entered_in_error=""
        ).values_list("vehicle_id", "done_on", "title", "amount")
    }
    for row in rows:
        value = row.values.get
        if row.car is None or not value("done_on"):
            continue
        _not_before_built(row, row.car.year, "done_on", "past")
        if value("odometer") is not None and value("day_known") != "day":
            row.errors.append(
                ("Odometer", "A reading needs its day: give the day, or leave the reading out.")
            )
        key = (row.car.pk, value("done_on"), folded(value("title", "")), value("amount"))
        if key in here:
            row.here = "The same work of that day is on record."
        elif key in seen:
            row.errors.append(("What was done", f"The same stands in line {seen[key]}."))
        else:
            seen[key] = row.line
    _falling(rows, named, choices)


def _falling(rows: list[Row], named: list, choices: Choices) -> None:
    """Units that are not the instrument's, and readings that fall, beside each other and those on record."""
    instruments: dict[Any, list[Instrument]] = {}
    read: dict[Any, list[tuple[date, Decimal, str]]] = {}
    for part in _parts(named):
        for each in Instrument.objects.filter(vehicle__in=part).order_by("order"):
            instruments.setdefault(each.vehicle_id, []).append(each)
        for each in counting(OdometerReading.objects.filter(vehicle__in=part)):
            day = each.read_at.date()
            read.setdefault(each.instrument_id, []).append((day, each.value, "on record"))
    by_car: dict[Any, list[Row]] = {}
    for row in rows:
        if row.good and row.values.get("odometer") is not None:
            by_car.setdefault(row.car.pk, []).append(row)
    for car, found in by_car.items():
        units: dict[Any, str] = {}
        for row in sorted(found, key=lambda each: (each.values["done_on"], each.line)):
            day, amount = row.values["done_on"], row.values["odometer"]
            chosen = instrument_at(instruments[car], day) if car in instruments else None
            place = chosen.pk if chosen else car
            counts_in = chosen.unit if chosen else units.setdefault(place, amount.unit)
            if amount.unit != counts_in:
                row.errors.append(
                    ("Odometer", f"This car's odometer counts in {counts_in} on that day. Where it was replaced, "
                     "record the replacement on the car's page first; else write the reading as it was shown.")
                )  # fmt: skip
                continue
            others = read.setdefault(place, [])
            higher = next((one for one in others if one[0] <= day and one[1] > amount.value), None)
            lower = next((one for one in others if one[0] > day and one[1] < amount.value), None)
            others.append((day, amount.value, f"line {row.line}"))
            if doubt := higher or lower:
                said = f"{amount.value} {amount.unit} does not go with {doubt[1]} of {doubt[0]:%Y-%m-%d} ({doubt[2]})."
                if choices.keep_lower:
                    row.lower = said
                else:
                    row.errors.append(
                        ("Odometer", f"{said} Look again; or say under “How it is read” that readings that fall are kept and flagged.")
                    )  # fmt: skip
