"""What the file says of itself to whoever opens it, in plain words."""

from __future__ import annotations

from vehicles.archive import VERSION
from vehicles.archive.redacting import Reader
from vehicles.models import Vehicle
from workshop.models import Shop

_HEAD = """\
EVERYTHING ABOUT ONE CAR

{car}{number}
Written down by: {shop}
Records: {records}. Events of the log: {events}.

This file holds what the workshop knows of the car, so that you can keep it, or give it to the next workshop.
Nothing but ordinary programs is needed to read it.

WHAT IS IN IT

photos/         the photos; photos/small/ holds small copies of the same
documents/      papers that were kept with the car, as PDF
prints/         handover sheets and other prints as they were issued, as PDF
tables/         each kind of record as a table (CSV, UTF-8) for a spreadsheet program
records/        the same records for another program (JSON), whole and exact
events.json     what was written down about the car, when, each with its hash
car.json        what car this is, whose file, and how many records of each kind
schema.json     what each column is (JSON Schema, draft 2020-12), for version {version} of this form
checksums.txt   the SHA-256 of every other file here

Photos, documents and prints are named by their own SHA-256. Which photo shows what stands in
tables/vehicles.attachment.csv, in the columns "file" and "caption". Which print is which stands in
tables/jobs.sheetrevision.csv and tables/vehicles.issuedprint.csv, in the column "pdf_hash".

Times are in UTC. Numbers have a point before the decimals. Amounts of money are in {currency}.
In the tables, a cell that a spreadsheet program would take for a formula begins with an apostrophe; the
records have it as it was written.

HOW TO SEE THAT NOTHING WAS ALTERED

Unpack the file, open a terminal in its folder, and run:

    sha256sum -c checksums.txt

It says OK for each file, or names the one that is not as it was. The workshop's own log holds the SHA-256 of the
whole file as it was handed out.
"""

_WORKSHOP = """
FOR THE NEXT WORKSHOP

It is whole: names and addresses of the car's keepers are in it. Treat them as you treat your own customers'.
Another installation of this program can check the file and says what is wrong with it.
"""

_OWNER = """
FOR THE OWNER

What was done to the car is whole. What concerns persons and money is in it from {since} on, since when the car is
yours. Of earlier keepers there is neither name nor address nor price, and what they said reads "(…)".
Of some events only the place in the log is given, not what they say.
"""


def readme(
    vehicle: Vehicle, shop: Shop, reader: Reader | None, counts: dict[str, int], missing: list[str]
) -> str:
    text = _HEAD.format(
        car=vehicle,
        number=f"\nVIN or chassis number: {vehicle.number}" if vehicle.number else "",
        shop=shop.name,
        records=sum(count for name, count in counts.items() if name != "events"),
        events=counts["events"],
        version=VERSION,
        currency=shop.currency,
    )
    text += _OWNER.format(since=reader.since.isoformat()) if reader is not None else _WORKSHOP
    if missing:
        text += "\nWHAT IS MISSING\n\nThese files could not be read at the workshop any more:\n\n"
        text += "".join(f"    {name}\n" for name in missing)
    return text
