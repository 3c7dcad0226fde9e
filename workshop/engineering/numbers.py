"""Reading a number that a person typed, and saying numbers and days in a sentence."""

import re
from datetime import date
from decimal import Decimal

from workshop.engineering.errors import EngineeringError

MOST_DIGITS = 18

# ASCII digits only: Decimal and int() would also take digits of other scripts.
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)")
_BLANKS = re.compile(r"[+-]?[0-9]{1,3}(?:[ \u00a0\u2009\u202f][0-9]{3})+(?:[.,][0-9]+)?")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[ \u00a0\u2009\u202f'.,][0-9]{3})+(?:[.,][0-9]+)?")


class NumberError(EngineeringError):
    """A text that is not one plain number; the sentence says what to type."""


def parse_number(text: str) -> Decimal:
    """A typed number as a Decimal that keeps its digits: "42,50" and "42.50" are both 42.50.

    Point or comma is the decimal sign, a sign may stand before it, and there are no thousands
    separators: "1,234" is one and a bit. Refuses with `NumberError` whatever could mean two things
    ("1.234,5"), isn't plain ("1e3", "nan"), is empty, or has more than 18 digits.
    """
    tidy = text.strip().replace("\u2212", "-")
    if not tidy:
        raise NumberError("Type a number, such as 42 or 42.5.")
    if len(tidy) > 4 * MOST_DIGITS:
        raise NumberError(f"That is too long for a number: type at most {MOST_DIGITS} digits.")
    if _NUMBER.fullmatch(tidy):
        if sum(c.isdigit() for c in tidy) > MOST_DIGITS:
            raise NumberError(f"That number is too long: type at most {MOST_DIGITS} digits.")
        return Decimal(tidy.replace(",", "."))
    if _BLANKS.fullmatch(tidy):
        joined = "".join(tidy.split())
        raise NumberError(f"Type it without the space: {joined}.")
    if _GROUPED.fullmatch(tidy):
        raise NumberError(
            f"“{tidy}” could be read in two ways. Type it without spaces or thousands separators, "
            "with one point or comma for the decimals: 1234.5 or 1234,5."
        )
    raise NumberError(f"“{tidy}” is not a number. Type digits only, such as 42, 42.5 or 42,5.")


def plain(value: Decimal | None, decimals: int = 3) -> str:
    """A number for a sentence: at most so many decimals, no trailing zeros."""
    if value is None:
        return "open"
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th, 11th, 21st."""
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


# Not strftime's %b: that follows the server's language settings.
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_words(day: date) -> str:
    """A day as people write it: 3 May 2024."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
