"""Reading one cell: a day, a distance with its unit, an amount of money, a year. Pure.

What could mean two things is never guessed: it is refused with a sentence (`BadCell`) that says what to write or choose.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal

from workshop.engineering.numbers import NumberError, parse_number

DAY_FIRST, MONTH_FIRST = "day", "month"
UNIT_WORDS = {
    "km": "km", "kms": "km", "kilometer": "km", "kilometers": "km", "kilometre": "km", "kilometres": "km",
    "mi": "mi", "mile": "mi", "miles": "mi",
}  # fmt: skip
_MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan january", "feb february", "mar march", "apr april", "may", "jun june", "jul july", "aug august",
         "sep sept september", "oct october", "nov november", "dec december"), 1,
    )
    for name in names.split()
}  # fmt: skip
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?:[T ]\d{2}:\d{2}(?::\d{2})?)?")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})")
_SLASHED = re.compile(r"(\d{1,2})([/-])(\d{1,2})\2(\d{4})")
_SPELT = re.compile(r"(\d{1,2})\.? ([A-Za-z]{3,9})\.?,? (\d{4})")
_SHORT_YEAR = re.compile(r"\d{1,2}([-/.])\d{1,2}\1\d{2}")
_MONTH = re.compile(r"(?:(\d{4})[-/.](\d{1,2})|(\d{1,2})[-/.](\d{4}))")
_COUNTED = re.compile(r"[2-5]\d{4}")
_THOUSANDS = re.compile(r"\d{1,3}(?:[., '’\u00a0\u202f]\d{3})+")
# ISO 4217; a dollar sign stands for several.
_SIGNS = {"€": {"EUR"}, "£": {"GBP"}, "$": {"USD", "CAD", "AUD", "NZD", "SGD", "HKD"}}
_MONEY_SIGN = re.compile(r"^(?:[A-Z]{3}|[€$£])\s*|\s*(?:[A-Z]{3}|[€$£])$")


class BadCell(Exception):
    """What stands in a cell can't be taken; the sentence says what to do."""


def day(text: str, order: str = "") -> date:
    """A day in one of the usual ways of writing. `order` says what 03/04 means: "day" or "month" first."""
    if found := _YEAR_FIRST.fullmatch(text):
        return _date(text, int(found[1]), int(found[3]), int(found[4]))
    if found := _DOTTED.fullmatch(text):
        return _date(text, int(found[3]), int(found[2]), int(found[1]))
    if (found := _SPELT.fullmatch(text)) and found[2].casefold() in _MONTHS:
        return _date(text, int(found[3]), _MONTHS[found[2].casefold()], int(found[1]))
    if found := _SLASHED.fullmatch(text):
        one, two, year = int(found[1]), int(found[3]), int(found[4])
        if not order and one <= 12 and two <= 12 and one != two:
            raise BadCell(
                f"“{text}” can be read in two ways: say under “How it is read” whether the day or the month stands first."
            )
        month_first = order == MONTH_FIRST or (not order and two > 12)
        return _date(text, year, *((one, two) if month_first else (two, one)))
    if _SHORT_YEAR.fullmatch(text):
        raise BadCell(f"“{text}”: write the year with four digits.")
    if _COUNTED.fullmatch(text):
        raise BadCell(
            f"“{text}” is how a spreadsheet counts days. Give that column the form of a date there, and save again."
        )
    raise BadCell(f"“{text}” is no day: write it as 2019-03-04 or 04.03.2019.")


def rough_day(text: str, order: str = "") -> tuple[date, str]:
    """A day, a month (“2019-03”, “03/2019”) or a year, and which of them: "day", "month", "year"."""
    if re.fullmatch(r"\d{4}", text):
        return _date(text, int(text), 1, 1), "year"
    if found := _MONTH.fullmatch(text):
        year, month = (found[1], found[2]) if found[1] else (found[4], found[3])
        return _date(text, int(year), int(month), 1), "month"
    return day(text, order), "day"


def _date(text: str, year: int, month: int, day_: int) -> date:
    try:
        found = date(year, month, day_)
    except ValueError:
        raise BadCell(f"“{text}” is no day of the calendar.") from None
    if not 1885 <= year <= 2100:
        raise BadCell(f"“{text}”: give a year from 1885 to 2100.")
    return found


def unit(text: str) -> str:
    code = UNIT_WORDS.get(text.casefold().strip(" .()"))
    if code is None:
        raise BadCell(f"“{text}” is no unit of an odometer: write km or mi.")
    return code


def distance(text: str, otherwise: str = "") -> tuple[Decimal, str]:
    """A number and its unit: in the cell itself, else `otherwise` (the unit's own column, or the list's)."""
    found = re.fullmatch(r"(.*?\d)\s*([A-Za-z]+\.?)?", text)
    if not found:
        raise BadCell(f"“{text}” is no odometer reading: write digits, such as 120000.")
    figures, word = found[1], found[2]
    code = unit(word) if word else otherwise
    if _THOUSANDS.fullmatch(figures):
        tidy = re.sub(r"\D", "", figures)
        raise BadCell(
            f"“{figures}” can be read in two ways: write {tidy}, without a sign between the thousands."
        )
    value = _number(figures)
    if not code:
        raise BadCell(
            f"“{text}” has no unit: write km or mi in the list, or say under “How it is read” what it counts in."
        )
    if value < 0 or value != value.quantize(Decimal("0.1")):
        raise BadCell(f"“{text}”: an odometer shows 0 or more, with at most one decimal.")
    return value, code


def money(text: str, currency: str) -> Decimal:
    """An amount in the shop's currency: its letters or sign may stand beside it, another currency's may not."""
    sign = _MONEY_SIGN.search(text)
    if sign and currency not in _SIGNS.get(word := sign[0].strip(), {word}):
        raise BadCell(f"“{text}” is not in {currency}: costs are kept in the shop's own currency.")
    figures = _MONEY_SIGN.sub("", text)
    if _THOUSANDS.fullmatch(figures):
        raise BadCell(f"“{text}” can be read in two ways: write it without a sign between the thousands.")
    value = _number(figures)
    if value < 0:
        raise BadCell(f"“{text}”: give 0 or more.")
    if value != value.quantize(Decimal("0.01")) or value > 99_999_999:
        raise BadCell(f"“{text}”: give at most two decimals and 99999999.")
    return value


def year(text: str) -> int:
    if not re.fullmatch(r"\d{4}", text) or not 1885 <= int(text) <= 2100:
        raise BadCell(f"“{text}” is no model year: write four digits, such as 2006.")
    return int(text)


def email(text: str) -> str:
    if not re.fullmatch(r"[^@\s]+@[^@\s]+\.[^@\s]+", text):
        raise BadCell(f"“{text}” is no e-mail address.")
    return text


def _number(text: str) -> Decimal:
    try:
        return parse_number(text)
    except NumberError as error:
        raise BadCell(str(error)) from error
