"""Reading a CSV file and its cells: what can be read in two ways is refused, never guessed."""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicles.spreadsheet import cells, columns, giving, reading

pytestmark = pytest.mark.filterwarnings("error")


@given(st.dates(date(1885, 1, 1), date(2100, 12, 31)))
def test_a_day_in_the_standard_form_is_that_day(day):
    """ISO 8601-1:2019, 5.2.2.1, calendar date, extended format, as the standard library writes it."""
    assert cells.day(day.isoformat()) == day


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("2019-03-04", "", date(2019, 3, 4)),
        ("2019/3/4", "", date(2019, 3, 4)),
        ("2019-03-04 10:22:00", "", date(2019, 3, 4)),
        ("04.03.2019", "", date(2019, 3, 4)),
        ("4 March 2019", "", date(2019, 3, 4)),
        ("4. Mar 2019", "", date(2019, 3, 4)),
        ("25/03/2019", "", date(2019, 3, 25)),  # there is no 25th month
        ("03/25/2019", "", date(2019, 3, 25)),
        ("04/04/2019", "", date(2019, 4, 4)),
        ("03/04/2019", "day", date(2019, 4, 3)),
        ("03/04/2019", "month", date(2019, 3, 4)),
    ],
)
def test_days_in_several_styles(text, order, expected):
    assert cells.day(text, order) == expected


@pytest.mark.parametrize(
    ("text", "order", "said"),
    [
        ("03/04/2019", "", "two ways"),
        ("25/03/2019", "month", "no day of the calendar"),
        ("31.02.2019", "", "no day of the calendar"),
        ("4.3.19", "", "four digits"),
        ("43528", "", "counts days"),
        ("last spring", "", "is no day"),
        ("1019-03-04", "", "1885 to 2100"),
    ],
)
def test_days_that_are_refused(text, order, said):
    with pytest.raises(cells.BadCell, match=said):
        cells.day(text, order)


@pytest.mark.parametrize(
    ("text", "otherwise", "expected"),
    [
        ("120000", "km", (Decimal(120000), "km")),
        ("74565 mi", "km", (Decimal(74565), "mi")),
        ("120000km", "", (Decimal(120000), "km")),
        ("120000,5 km", "", (Decimal("120000.5"), "km")),
    ],
)
def test_distances(text, otherwise, expected):
    assert cells.distance(text, otherwise) == expected


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("120000", "has no unit"),
        ("120.000 km", "write 120000"),
        ("120 000 km", "write 120000"),
        ("120'000 km", "write 120000"),
        ("120,000 mi", "write 120000"),
        ("12 leagues", "no unit of an odometer"),
        ("many", "no odometer reading"),
        ("-5 km", "0 or more"),
        ("1.25 km", "at most one decimal"),
    ],
)
def test_distances_that_are_refused(text, said):
    with pytest.raises(cells.BadCell, match=said):
        cells.distance(text)


@pytest.mark.parametrize(
    ("text", "expected"), [("120", "120"), ("€ 120,50", "120.50"), ("120.5 EUR", "120.5"), ("0", "0")]
)
def test_money(text, expected):
    assert cells.money(text, "EUR") == Decimal(expected)


@pytest.mark.parametrize(
    ("text", "said"),
    [("$ 12", "not in EUR"), ("12 GBP", "not in EUR"), ("1.200", "two ways"), ("-3", "0 or more"),
     ("1.234", "two ways"), ("1.2345", "two decimals"), ("gratis", "number")],
)  # fmt: skip
def test_money_that_is_refused(text, said):
    with pytest.raises(cells.BadCell, match=said):
        cells.money(text, "EUR")


# ------------------------------------------------------------------------------------------------------------ files
@pytest.mark.outside(
    "RFC 4180, section 2, rules 5 to 7: quoted fields, line breaks and doubled quotes in them"
)
def test_the_quoting_of_the_published_format(published):
    table = reading.table_of('"aaa","b\r\nbb","ccc"\r\nzzz,"y""y, y",xxx\r\n')
    published.same(table.head, ["aaa", "b\r\nbb", "ccc"])
    published.same(table.rows[0][1], ["zzz", 'y"y, y', "xxx"])
    assert table.rows[0][0] == 3  # the line of the file in which the row begins


@given(
    st.lists(
        st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=12), min_size=2, max_size=5),
        min_size=2,
        max_size=6,
    )
)  # fmt: skip
def test_what_another_writer_writes_is_read_as_it_is(rows):
    """The independent writer is the standard library's, in its most guarded form."""
    rows = [["head", "two"], *rows]
    out = io.StringIO(newline="")
    csv.writer(out, quoting=csv.QUOTE_ALL).writerows(rows)
    expected = [[cell.strip() for cell in row] for row in rows[1:]]
    expected = [row for row in expected if any(row)]
    try:
        table = reading.table_of(out.getvalue())
    except reading.BadFile:
        assert not expected
        return
    assert [cells_ for _, cells_ in table.rows] == expected


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("parted", [",", ";", "\t"])
def test_encodings_and_separators(code, parted):
    data = parted.join(["Näme", "Make"]).encode(code) + parted.join(["\r\nJösé", "Halden"]).encode(
        "utf-16-le" if code == "utf-16" else "utf-8" if code == "utf-8-sig" else code
    )
    table = reading.table_of(reading.text_of(data))
    assert table.head == ["Näme", "Make"]
    assert table.rows[0][1] == ["Jösé", "Halden"]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04rest", "spreadsheet program's own file"),
        (b"a,b\x00c", "no text"),
        (b"", "is empty"),
        (b"a,b\r\n", "no row below"),
        (b'a,b\r\n"1,2\r\n', "quotation mark"),
        (b"a,b\r\n" + b"1,2\r\n" * (reading.MOST_ROWS + 1), "more than 5000 rows"),
        (b"x" * (reading.MOST_BYTES + 1), "at most 6 MB"),
        (b",".join([b"c"] * 61) + b"\r\n1", "at most 60"),
    ],
    ids=["own-format", "binary", "empty", "head-alone", "open-quote", "rows", "bytes", "columns"],
)
def test_files_that_are_refused(data, said):
    with pytest.raises(reading.BadFile, match=said):
        reading.table_of(reading.text_of(data))


def test_columns_are_found_by_their_common_names():
    places = columns.mapped("past", ["Details", "Nickname", "When", "Work", "cost", "Mileage"])
    assert places == {"text": 0, "done_on": 2, "title": 3, "amount": 4, "odometer": 5}
    assert columns.missing("past", places) == ["VIN or plate of the car"]


@pytest.mark.parametrize("cell", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_formula_is_neutralised_on_export(cell):
    """Spreadsheets run cells that begin with these signs (OWASP, “CSV Injection”, from memory)."""
    text = giving.csv_text(["a"], [[cell]])
    assert next(csv.reader(io.StringIO(text.split("\r\n", 1)[1], newline="")))[0] == f"'{cell}"


def test_negative_numbers_stay_numbers():
    assert giving.plain_cell("-12.5") == "-12.5"
