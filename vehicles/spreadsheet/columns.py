"""What a list may hold: the columns of each kind of list, and finding them by the names in its head. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from vehicles.folding import squeezed


@dataclass(frozen=True)
class Column:
    """One thing that a list may say. `names` are further names by which its column is known; `most` characters."""

    code: str
    label: str
    kind: str = "text"  # text, day, rough_day, distance, unit, money, year, email
    needed: bool = False
    names: tuple[str, ...] = ()
    most: int = 120


_OWNER = (
    Column("owner_name", "Owner’s name", names=("owner", "keeper", "customer", "name of owner", "client")),
    Column("owner_address", "Owner’s address", names=("address", "street"), most=400),
    Column("owner_phone", "Owner’s telephone", names=("phone", "telephone", "mobile"), most=40),
    Column("owner_email", "Owner’s e-mail", "email", names=("e-mail", "email", "mail"), most=254),
)
_ODOMETER = (
    Column(
        "odometer", "Odometer", "distance", names=("km", "mileage", "miles", "reading", "distance", "odo")
    ),
    Column("odometer_unit", "Unit of the odometer", "unit", names=("unit", "km or mi"), most=10),
)
COLUMNS: dict[str, tuple[Column, ...]] = {
    "cars": (
        Column("number", "VIN or chassis number", names=("vin", "chassis number", "chassis", "frame number"), most=40),
        Column("plate", "Plate", names=("registration", "registration plate", "licence plate", "reg"), most=20),
        Column("country", "Country of the plate", names=("country", "region"), most=40),
        Column("make", "Make", needed=True, names=("maker", "manufacturer", "brand"), most=60),
        Column("model", "Model", needed=True, most=80),
        Column("variant", "Variant", names=("version", "trim")),
        Column("year", "Model year", "year", needed=True, names=("year", "built", "year of make"), most=10),
        Column("engine_number", "Engine number", names=("engine no",), most=40),
        Column("colour", "Colour", names=("color", "paint"), most=60),
        Column("body", "Body", names=("body style",), most=80),
        Column("notes", "Notes", names=("remarks", "comment", "comments"), most=4000),
        *_ODOMETER,
        Column("odometer_day", "Day of the odometer reading", "day", names=("read on", "date of reading"), most=20),
        *_OWNER,
        Column("owner_since", "Owner since", "day", names=("bought", "since", "date of purchase"), most=20),
    ),
    "keepers": (
        Column("owner_name", "Name", needed=True, names=("customer", "keeper", "owner", "client")),
        Column("owner_address", "Address", names=("street",), most=400),
        Column("owner_phone", "Telephone", names=("phone", "mobile"), most=40),
        Column("owner_email", "E-mail", "email", names=("email", "mail"), most=254),
        Column("car", "VIN or plate of their car", names=("vin", "plate", "registration", "reg", "car", "chassis number", "licence plate"), most=40),
        Column("owner_since", "Owner since", "day", names=("since", "bought"), most=20),
    ),
    "past": (
        Column("car", "VIN or plate of the car", needed=True, names=("vin", "plate", "registration", "reg", "car", "chassis number", "licence plate"), most=40),
        Column("done_on", "Date", "rough_day", needed=True, names=("day", "when", "done on"), most=20),
        Column("title", "What was done", needed=True, names=("work", "job", "description", "title"), most=200),
        Column("text", "More about it", names=("details", "notes", "remarks", "text"), most=4000),
        Column("who_did", "Which workshop did it", names=("workshop", "garage", "by", "done by")),
        Column("amount", "What it cost", "money", names=("cost", "price", "amount", "total", "sum"), most=30),
        *_ODOMETER,
    ),
}  # fmt: skip
LABELS = {"cars": "Cars, with their owners", "keepers": "Keepers", "past": "Past work"}


def column(kind: str, code: str) -> Column:
    return next(each for each in COLUMNS[kind] if each.code == code)


def mapped(kind: str, head: list[str]) -> dict[str, int]:
    """Code → place in the head, by the columns' own names first and by their further names then."""
    places = {}
    for at, name in reversed(list(enumerate(squeezed(each) for each in head))):
        if name:
            places[name] = at
    found: dict[str, int] = {}
    for names_of in (lambda each: (each.code, each.label), lambda each: each.names):
        for each in COLUMNS[kind]:
            if each.code in found:
                continue
            for name in names_of(each):
                at = places.get(squeezed(name))
                if at is not None and at not in found.values():
                    found[each.code] = at
                    break
    return found


def missing(kind: str, places: dict[str, int]) -> list[str]:
    """Labels of the columns without which nothing can be taken in."""
    return [each.label for each in COLUMNS[kind] if each.needed and each.code not in places]
