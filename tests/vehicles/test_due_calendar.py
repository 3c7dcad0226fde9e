"""The calendar as other programs read it: parsed by a library that is none of ours, with texts that hurt."""

from __future__ import annotations

from datetime import UTC, date, datetime

import icalendar
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from vehicles.calendar import Event, calendar, folded, text

STAMP = datetime(2026, 11, 29, 8, 30, 5, tzinfo=UTC)


def event(**kwargs) -> Event:
    return Event(
        **{
            "key": "item:1",
            "day": date(2027, 3, 14),
            "summary": "Hose weeps",
            "description": "about 14 March 2027",
            "url": "https://shop.example/outstanding/1/",
            "category": "Outstanding",
            "sequence": 7,
            "stamp": STAMP,
            **kwargs,
        }
    )


def parsed(data: bytes) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(data).walk("VEVENT"))


@pytest.mark.outside("icalendar (Python library), parsing; RFC 5545, 3.6.1, 3.8.2, 3.8.7")
def test_an_event_is_read_as_an_all_day_one(published):
    (row,) = parsed(calendar("Due", [event()]))
    published.same(row.decoded("dtstart"), date(2027, 3, 14))
    published.same(row["dtstart"].params["VALUE"], "DATE")
    # DTEND is the first day that is no longer of it.
    published.same(row.decoded("dtend"), date(2027, 3, 15))
    published.same(row.decoded("dtstamp"), STAMP)
    published.same(int(row["sequence"]), 7)
    published.same(str(row["transp"]), "TRANSPARENT")
    published.same([str(one) for one in row["categories"].cats], ["Outstanding"])


@pytest.mark.outside("icalendar (Python library), parsing; RFC 5545, 3.4, 3.6, 3.7")
def test_the_calendar_says_what_a_calendar_must(published):
    whole = icalendar.Calendar.from_ical(calendar("Due · Quarry Lane", []))
    published.same(str(whole["version"]), "2.0")
    published.same(str(whole["method"]), "PUBLISH")
    published.same(str(whole["x-wr-calname"]), "Due · Quarry Lane")
    published.same(bool(whole["prodid"]), True)
    published.same(whole.subcomponents, [])


@pytest.mark.outside("RFC 5545, 3.3.11: backslash, semicolon and comma are escaped, a line end is \\n")
def test_the_escapes_of_the_standard(published):
    published.same(text("a,b;c\\d\ne"), r"a\,b\;c\\d\ne")
    published.same(text("a\r\nb\rc"), r"a\nb\nc")
    published.same(text("12:30"), "12:30")


@pytest.mark.outside(
    "RFC 5545, 3.1: lines of at most 75 octets without the line break, folded by CRLF and a blank"
)
@pytest.mark.parametrize("length", [74, 75, 76, 148, 149, 150, 151])
def test_lines_fold_at_75_octets(length, published):
    line = "X" * length
    lines = folded(line).decode().split("\r\n")
    published.same(lines.pop(), "")
    published.same(max(map(len, lines)) <= 75, True)
    published.same(len(lines), 1 if length <= 75 else 2 if length <= 75 + 74 else 3)
    published.same("".join([lines[0], *(one[1:] for one in lines[1:])]), line)
    published.same(all(one.startswith(" ") for one in lines[1:]), True)


HURTS = st.text(
    alphabet=st.one_of(
        st.sampled_from(",;:\\\n\"'🚗é漢 \t-"), st.characters(blacklist_categories=("Cs", "Cc"))
    ),
    max_size=200,
)


@settings(max_examples=150, deadline=None)
@given(title=HURTS, said=HURTS)
@example(title="n" * 66 + "🚗" * 40, said="a\nb,c;d\\n")
@example(title="BEGIN:VEVENT\nEND:VCALENDAR", said="\\")
@example(title="a\u2028b\u2029c", said="\ufeffd")
def test_whatever_is_typed_comes_out_as_typed(title, said):
    """Read back by icalendar, a Python library (RFC 5545, 3.1 and 3.3.11)."""
    data = calendar("Due", [event(summary=title, description=said)])
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    assert b"\n" not in data.replace(b"\r\n", b"")
    data.decode()  # folded inside no character
    (row,) = parsed(data)
    assert str(row["summary"]) == title
    assert str(row["description"]) == said


def test_a_key_is_one_event_for_ever():
    """Its UID hangs on the key alone: what moves to another day is moved, not doubled."""
    (first,) = parsed(calendar("Due", [event()]))
    (moved,) = parsed(calendar("Due", [event(day=date(2027, 4, 1), sequence=8, summary="Hose leaks")]))
    (other,) = parsed(calendar("Due", [event(key="item:2")]))
    assert first["uid"] == moved["uid"] != other["uid"]


def test_control_characters_are_left_out():
    (row,) = parsed(calendar("Due", [event(summary="Hose\x00 we\x07eps\x7f\x85")]))
    assert str(row["summary"]) == "Hose weeps"


def test_the_last_day_of_all_has_no_day_after_it():
    (row,) = parsed(calendar("Due", [event(day=date.max)]))
    assert "dtend" not in row
