"""Date codes, trouble codes and the parts of a VIN, against the rules and another library."""

import calendar
from datetime import date

import pytest
import vininfo
from hypothesis import given
from hypothesis import strategies as st

from tests.worked import worked
from workshop.engineering.codes import CodeError, has_week_53, trouble_code, tyre_date, vin_parts
from workshop.engineering.declare import InputErrors


@pytest.mark.outside("49 CFR 574.5 and Federal Register, 8 July 1999: date code of a tyre")
def test_date_codes(published):
    found = tyre_date("3519")
    published.same((found.week, found.year), (35, 2019))
    old = tyre_date("358")
    published.same((old.week, old.year), (35, None))
    published.same({1988, 1998} <= set(old.years), True, "the years that it may be")
    published.same(tyre_date("DOT 4F7Z ABCDEF 0100").year, 2000, "the first year of four figures")


@pytest.mark.outside("ISO 8601, by Python's calendar: week 35 of 2019")
def test_the_week_begins_on_a_monday(published):
    published.same(tyre_date("3519").monday, date.fromisocalendar(2019, 35, 1))
    published.same(tyre_date("3519").monday, date(2019, 8, 26))


def test_the_age_and_a_code_still_to_come():
    found = tyre_date("3519", on=date(2026, 5, 31))
    assert found.age(date(2026, 5, 31)) == pytest.approx(6.76, abs=0.01)
    assert tyre_date("358").age(date(2026, 5, 31)) is None
    with pytest.raises(CodeError, match="still to come"):
        tyre_date("3599", on=date(2026, 5, 31))


@pytest.mark.outside(
    "ISO 8601, by Python's calendar; 49 CFR 574.5, first full week from Sunday (from memory), by Python's"
)
def test_week_53_only_where_a_year_has_one(published):
    for year in range(2000, 2060):
        iso = date.fromordinal(date(year + 1, 1, 4).toordinal() - 7).isocalendar().week == 53
        begin = [date(year, 1, 1).toordinal() + n for n in range(366 if calendar.isleap(year) else 365)]
        by_sundays = sum(date.fromordinal(day).isoweekday() == 7 for day in begin) == 53
        published.same(has_week_53(year), iso or by_sundays, str(year))
    for text in ("5320", "5323"):
        published.same(tyre_date(text).week, 53, text)
    with pytest.raises(CodeError, match="week 53 of 2019, which has 52 weeks"):
        tyre_date("5319")
    assert tyre_date("5320").monday == date(2020, 12, 28)


def test_the_future_is_a_question_of_the_day_of_looking():
    assert worked("tyre-date-code", code="3540").values["made"] == "week 35 of 2040"
    with pytest.raises(InputErrors, match="still to come"):
        worked("tyre-date-code", code="3540", day="2026-05-31")


@pytest.mark.parametrize("text", ["5419", "0019", "548", "000", "", "ABC", "12", "35 19 X", "DOT ABCD"])
def test_no_date_code(text):
    with pytest.raises(CodeError):
        tyre_date(text)


def test_the_page_of_a_date_code():
    result = worked("tyre-date-code", code="3519", day="2026-05-31")
    assert result.values == {"made": "week 35 of 2019", "age": "6.8 years"}
    assert not result.outcome.odd
    old = worked("tyre-date-code", code="358")
    assert old.values["made"] == "before 2000"
    assert old.outcome.odd
    assert "1988 or 1998" in old.outcome.verdict
    assert "ten years" in worked("tyre-date-code", code="0110", day="2026-05-31").outcome.notes[0]
    assert not worked("tyre-date-code", code="5320").outcome.notes
    assert any("week 53" in note for note in worked("tyre-date-code", code="538").outcome.notes)
    with pytest.raises(InputErrors, match="year-month-day"):
        worked("tyre-date-code", code="3519", day="31.05.2026")
    with pytest.raises(InputErrors, match="week 54"):
        worked("tyre-date-code", code="5419")


# Decoded by an on-board-diagnosis library's own two-byte decoding (release 0.7.3), written down here.
BYTES = [
    ("01 33", "P0133"), ("04 20", "P0420"), ("41 23", "C0123"), ("15 00", "P1500"), ("24 0A", "P240A"),
    ("C1 00", "U0100"), ("92 34", "B1234"), ("2A 00", "P2A00"), ("D1 58", "U1158"),
]  # fmt: skip


@pytest.mark.outside("The Python package obd 0.7.3, its decoding of two bytes (SAE J2012)")
@pytest.mark.parametrize(("two", "code"), BYTES)
def test_two_bytes(published, two, code):
    found = trouble_code(two)
    published.same(found.code, code)
    assert found.from_bytes
    assert trouble_code(code.lower()).code == code
    assert not trouble_code(code).from_bytes
    assert trouble_code("0x" + two.replace(" ", " 0x")).code == code


@pytest.mark.outside("SAE J2012 and ISO 15031-6: whose code it is, P0 and P1 (the others from memory)")
@pytest.mark.parametrize(
    ("code", "system", "makers"),
    [
        ("P0133", "powertrain", False), ("P1500", "powertrain", True), ("P2A00", "powertrain", False),
        ("P3100", "powertrain", True), ("P3400", "powertrain", False), ("C0123", "chassis", False),
        ("C1234", "chassis", True), ("B2345", "body", True), ("U0100", "network", False), ("U1158", "network", True),
    ],
)  # fmt: skip
def test_whose_code_it_is(published, code, system, makers):
    found = trouble_code(code)
    published.same(found.system, system)
    published.same(found.is_makers, makers)
    assert found.whose in found.sentence


@pytest.mark.outside("SAE J2012-DA and ISO 14229-1, failure type (from memory)")
@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("P0133-11", "P0133-11", "short to ground"), ("P013312", "P0133-12", "short to battery"),
        ("01 33 13", "P0133-13", "open"), ("P0133-16", "P0133-16", "below"), ("P0133-17", "P0133-17", "above"),
        ("C1 00 00", "U0100-00", "no failure type"), ("P0133-49", "P0133-49", "internal failure"),
        ("P0133-FF", "P0133-FF", "not in the standard's kinds"),
    ],
)  # fmt: skip
def test_failure_types(published, text, code, words):
    found = trouble_code(text)
    published.same(found.code, code)
    published.same(words in found.failure, True, words)
    assert f"failure type {found.failure_type}" in found.sentence


def test_the_parts_of_the_powertrain():
    assert trouble_code("P0301").part == "ignition and misfire"
    assert trouble_code("P0A80").part == "hybrid drive"
    assert trouble_code("P0D00").part == ""
    assert trouble_code("C0301").part == ""
    assert "reserved" in trouble_code("B3000").whose


@pytest.mark.parametrize(
    "text", ["", "P01", "X0123", "P4123", "P01G3", "P0133-1", "P0133-123", "0000", "00 00", "12345", "𝟎𝟏𝟑𝟑"]
)
def test_no_trouble_code(text):
    with pytest.raises(CodeError):
        trouble_code(text)


def test_bytes_written_together_that_may_be_a_code_cut_short_are_refused():
    # C0100 with a figure lost, or the bytes C1 00: nobody can know.
    for text in ("C100", "b12341"):
        with pytest.raises(CodeError, match="figure missing"):
            trouble_code(text)
    assert trouble_code("0133").code == "P0133"
    assert trouble_code("0xC1 0x00").code == "U0100"
    assert trouble_code("0xC100").code == "U0100"


@given(st.integers(1, 0xFFFF), st.one_of(st.none(), st.integers(0, 255)))
def test_every_two_bytes_are_a_code_that_reads_back(two, third):
    text = f"{two >> 8:02X} {two & 255:02X}" + (f" {third:02X}" if third is not None else "")
    found = trouble_code(text)
    again = trouble_code(found.code)
    assert (again.code, again.sentence) == (found.code, found.sentence)
    # Back to the bytes.
    number = "PCBU".index(found.code[0]) << 14 | int(found.code[1]) << 12 | int(found.code[2:5], 16)
    assert number == two


@given(st.text(max_size=12))
def test_any_text_is_a_code_or_refused(text):
    try:
        found = trouble_code(text)
    except CodeError:
        return
    assert found.letter in "PCBU"


def test_the_page_of_a_trouble_code():
    result = worked("trouble-code", code="P0133-13")
    assert result.values["kept"] == "P0133-13"
    assert "circuit open" in result.outcome.verdict
    assert "failure" not in worked("trouble-code", code="U0100").values
    with pytest.raises(InputErrors, match="P0562"):
        worked("trouble-code", code="hello")


@pytest.mark.outside("The Python package vininfo: region and sections of a VIN (ISO 3779, ISO 3780)")
@pytest.mark.parametrize(
    "vin", ["1HGCM82633A004352", "JH2RC3605MM101581", "1M8GDM9AXKP042788", "SZZZZZ1HZ3A000017"]
)
def test_sections(published, vin):
    parts, other = vin_parts(vin), vininfo.Vin(vin)
    published.same((parts.wmi, parts.vds, parts.vis), (other.wmi, other.vds, other.vis))
    published.same(parts.region, other.region, "region")


def test_regions_and_small_makers():
    # ISO 3780, from memory.
    first = {
        "A": "Africa",
        "L": "Asia",
        "W": "Europe",
        "3": "North America",
        "6": "Oceania",
        "9": "South America",
    }
    for letter, region in first.items():
        assert vin_parts(letter + "ZZZZZ1HZ3A000017").region == region
    assert vin_parts("0ZZZZZ1HZ3A000017").region == "not assigned"
    assert vin_parts("1Z9ZZZ1HZ3A123017").small_maker == "123"
    with pytest.raises(CodeError, match="this number has 3"):
        vin_parts("ABC")


@pytest.mark.outside("49 CFR 565.15: check digit and model year of published numbers")
@pytest.mark.parametrize(
    ("vin", "check", "years"),
    [
        ("5FNYF5H59HB011946", "passes", "2017"), ("2GCEC19Z0S1245490", "passes", "1995"),
        ("1G4AH59H45G118331", "fails", "2005"), ("1HGCM82633A004353", "fails", "2003"),
    ],
)  # fmt: skip
def test_the_page_of_a_vin(published, vin, check, years):
    result = worked("vin-structure", vin=vin, kind="light")
    published.same(result.values["check"], check)
    published.same(result.values["years"], years)
    assert result.outcome.odd is (check == "fails")


def test_what_a_vin_does_not_say():
    undecided = worked("vin-structure", vin="JH2RC3605MM101581", kind="other")
    assert undecided.values["years"] == "1991 or 2021"
    assert (
        worked("vin-structure", vin="JH2RC3605MM101581", kind="other", latest="2020").values["years"]
        == "1991"
    )
    european = worked("vin-structure", vin="SZ9ZZZ1HZ0A123017", kind="light")
    assert european.values["check"] == "does not apply"
    assert european.values["years"] == "none"
    assert european.values["small"] == "123"
    assert "rule of North America" in european.outcome.verdict
    with pytest.raises(InputErrors, match="16 characters"):
        worked("vin-structure", vin="1HGCM82633A00435", kind="other")
    with pytest.raises(InputErrors, match="looks like 1 or 0"):
        worked("vin-structure", vin="1HGCM82633A0O4352", kind="other")
    # Seventeen alike pass by arithmetic; the repetition is questioned.
    assert worked("vin-structure", vin="11111111111111111", kind="other").outcome.odd
