"""When a tyre was made, by its date code."""

from __future__ import annotations

from datetime import date

from workshop.engineering.codes import CodeError, tyre_date
from workshop.engineering.declare import Calculator, InputErrors, Kind, Outcome, Output, Source, Text


def work(code: str, day: str | None) -> Outcome:
    on = _day(day)
    try:
        found = tyre_date(code, on)
    except CodeError as error:
        raise InputErrors({"code": str(error)}) from error
    values = {
        "made": f"week {found.week} of {found.year}" if found.year else "before 2000",
    }
    notes = []
    verdict, age = found.sentence, found.age(on) if on else None
    if age is not None:
        values["age"] = f"{age:.1f} years"
        verdict += f" On the day of looking it was {age:.1f} years old."
    if found.year is None or (age is not None and age >= 10):
        notes.append(
            "Makers of cars and tyres commonly advise against tyres older than ten years, whatever their tread."
        )
    if found.year is None:
        notes.append("A small triangle behind the three figures was used by many makers for the 1990s.")
    if found.week == 53 and found.year is None:
        notes.append("Not every year has a week 53: read it again.")
    return Outcome(values, verdict, odd=bool(notes), notes=notes)


def _day(text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputErrors({"day": "Write the day as year-month-day, such as 2026-05-31."}) from error


CALCULATOR = Calculator(
    slug="tyre-date-code",
    words=("dot", "tire", "tyre age", "week", "year"),
    name="Date code of a tyre",
    group="Codes",
    question="When was this tyre made?",
    inputs=(
        Text(
            "code",
            "Date code",
            "3519",
            "The last figures behind DOT, or the whole code. On one sidewall only.",
            item="tyre_date_code",
        ),
        Text(
            "day",
            "Day of looking",
            "2026-05-31",
            "Year, month, day. Then its age is worked out.",
            max_length=10,
            optional=True,
        ),
    ),
    outputs=(Output("made", "Made in", main=True), Output("age", "Age")),
    formula="WWYY since 2000: week and year. WWY before: week and the last figure of the year. "
    "A week 53 only in years that have one, counted from Monday (ISO 8601) or from Sunday.",
    sources=(
        Source("49 CFR 574.5", "tyre identification number, date code"),
        Source("49 CFR 574.5", "week 01 is the first full week of the year, from Sunday", Kind.FROM_MEMORY),
        Source("ISO 8601", "weeks of a year"),
        Source("Federal Register, 8 July 1999", "four figures instead of three"),
        Source("Age of tyres and the mark of the 1990s", "", Kind.COMMON_PRACTICE),
    ),
    work=work,
    example={"code": "3519", "day": "2026-05-31"},
)
