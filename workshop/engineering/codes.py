"""Codes on and out of a car, by their structure: a tyre's date, a trouble code, the parts of a VIN.

Tyre date: 49 CFR 574.5 (week and year, four figures since 2000; three before). Trouble codes: SAE J2012 and
ISO 15031-6 (letter and figures), ISO 14229 (the third byte). What a maker means by his own codes stands in his
data: here is only what the structure says.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from workshop.engineering.errors import EngineeringError
from workshop.engineering.identity import normalise_number


class CodeError(EngineeringError):
    """A code that has not the structure; the sentence says what it looks like."""


@dataclass(frozen=True)
class TyreDate:
    """`year` None: three figures, made before 2000, and which ten years is not said. `years` are the candidates."""

    week: int
    year: int | None
    years: tuple[int, ...]
    sentence: str

    @property
    def monday(self) -> date | None:
        """The Monday of that week by ISO 8601: no more exact than the week. None without a year."""
        if self.year is None:
            return None
        # Counted on from the first: a year with 53 weeks by the marking need not have them by ISO 8601.
        return date.fromordinal(date.fromisocalendar(self.year, 1, 1).toordinal() + 7 * (self.week - 1))

    def age(self, on: date) -> float | None:
        """Years between that week and a day, or None without a year."""
        monday = self.monday
        return None if monday is None else (on - monday).days / 365.25


# The last four figures are the date since this year; three before.
FOUR_FIGURES_SINCE = 2000


def tyre_date(text: str, on: date | None = None) -> TyreDate:
    """The week in which a tyre was made, from its date code or its whole DOT code.

    `on`: the day of looking; a date code after it is refused. Refuses with `CodeError` what is no date code.
    """
    tidy = re.sub(r"[^A-Z0-9]+", " ", text.upper()).strip()
    match = re.fullmatch(r"(?:.*[^0-9])?([0-9]{3,4})", tidy)
    if match is None:
        raise CodeError("A date code is the last four figures behind DOT, such as 3519: week 35 of 2019.")
    figures = match[1]
    week = int(figures[:2])
    if not 1 <= week <= 53:
        raise CodeError(f"“{figures}” would be week {week}: weeks go from 01 to 53. Read it again.")
    if len(figures) == 3:
        last = int(figures[2])
        years = (1970 + last, 1980 + last, 1990 + last)
        return TyreDate(
            week,
            None,
            years,
            f"Week {week} of a year before 2000 that ends in {last}: {years[1]} or {years[2]}, or older still. Which one "
            "the code does not say. Such a tyre is older than any advice on the age of tyres allows.",
        )
    year = FOUR_FIGURES_SINCE + int(figures[2:])
    if week == 53 and not has_week_53(year):
        raise CodeError(
            f"“{figures}” would be week 53 of {year}, which has 52 weeks, counted from Monday (ISO 8601) or from Sunday "
            "(49 CFR 574.5). Read it again."
        )
    found = TyreDate(week, year, (year,), f"Made in week {week} of {year}.")
    monday = found.monday
    if on is not None and monday is not None and monday > on:
        raise CodeError(f"“{figures}” would be week {week} of {year}, which is still to come. Read it again.")
    return found


def has_week_53(year: int) -> bool:
    """Whether a year has a week 53: by ISO 8601, or as 49 CFR 574.5 counts (01 is the first full week from Sunday).

    A maker marks by either, so a week 53 is refused only where both have 52.
    """
    by_iso = date(year, 12, 28).isocalendar().week == 53
    first, last = date(year, 1, 1).toordinal(), date(year, 12, 31).toordinal()
    # Ordinal 7 is a Sunday: the Sundays of the year are the weeks that begin in it.
    return by_iso or last // 7 - (first - 1) // 7 == 53


LETTERS = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}
_WITH_LETTER = re.compile(r"([PCBU])([0-3])([0-9A-F]{3})(?:-?([0-9A-F]{2}))?")
_BYTES = re.compile(r"([0-9A-F]{4})([0-9A-F]{2})?")

# Whose code it is, by letter and first figure. P0 and P1 are widely published; the rest from memory.
_STANDARD = "defined by the standard, the same for all makers"
_MAKER = "the maker's own: look it up in the maker's data"
_RESERVED = "reserved by the standard"
_OWNER = {
    "P0": _STANDARD, "P1": _MAKER, "P2": _STANDARD,
    "C0": _STANDARD, "C1": _MAKER, "C2": _MAKER, "C3": _RESERVED,
    "B0": _STANDARD, "B1": _MAKER, "B2": _MAKER, "B3": _RESERVED,
    "U0": _STANDARD, "U1": _MAKER, "U2": _MAKER, "U3": "defined by the standard or reserved, by its edition",
}  # fmt: skip

# Third character of P0. From memory.
_P0_SYSTEM = {
    **dict.fromkeys("012", "fuel and air metering"),
    "3": "ignition and misfire",
    "4": "auxiliary emission control",
    "5": "speed, idle and auxiliary inputs",
    "6": "control unit and its outputs",
    **dict.fromkeys("789", "transmission"),
    **dict.fromkeys("ABC", "hybrid drive"),
}

# Failure type, the third byte: the upper half names the kind. From memory.
_FAILURE_KIND = {
    "0": "general", "1": "electrical", "2": "signal", "3": "frequency or pulse width", "4": "internal",
    "5": "programming", "6": "algorithm", "7": "mechanical", "8": "bus or message", "9": "component",
}  # fmt: skip
_FAILURE = {
    "00": "no failure type given",
    "11": "circuit short to ground",
    "12": "circuit short to battery",
    "13": "circuit open",
    "16": "circuit voltage below its threshold",
    "17": "circuit voltage above its threshold",
}


@dataclass(frozen=True)
class TroubleCode:
    """`code` is how it is kept: "P0133" or "P0133-1C". `meanings` are what the structure says, in sentences' parts."""

    code: str
    letter: str
    system: str
    whose: str
    part: str
    failure_type: str
    failure: str
    from_bytes: bool

    @property
    def is_makers(self) -> bool:
        return self.whose == _MAKER

    @property
    def sentence(self) -> str:
        """What the structure says, in one sentence."""
        text = f"{self.system.capitalize()}{f', {self.part}' if self.part else ''}; {self.whose}."
        return f"{text[:-1]}; failure type {self.failure_type}: {self.failure}." if self.failure else text


def trouble_code(text: str) -> TroubleCode:
    """A trouble code with its letter (P0133, P0133-1C) or as two or three bytes (01 33, 0x01331C).

    Small letters, blanks and dots don't matter. Refuses with `CodeError`; two zero bytes are no code but padding.
    """
    tidy = normalise_number(re.sub(r"0[xX]|\$", " ", text))
    # The dash before the failure type goes with the other separators.
    if match := _WITH_LETTER.fullmatch(tidy):
        letter, first, rest, failure = match.groups()
        return _read(letter, first, rest, failure, from_bytes=False)
    if match := _BYTES.fullmatch(tidy):
        if tidy[0] in "BC" and tidy == normalise_number(text) and tidy in text.upper():
            raise CodeError(
                f"“{tidy}” may be a code with a figure missing, or bytes: write the code with all its figures, or the "
                f"bytes apart, such as {tidy[:2]} {tidy[2:4]}."
            )
        return _of_bytes(match[1], match[2])
    raise CodeError(
        "A trouble code is a letter P, C, B or U, a figure 0 to 3 and three figures or letters A to F, such as "
        "P0562 or U0100-87; or its two or three bytes, such as 05 62."
    )


def _of_bytes(two: str, third: str | None) -> TroubleCode:
    number = int(two, 16)
    if number == 0:
        raise CodeError("Two zero bytes are no trouble code: the control unit fills up its answer with them.")
    # Bits 15 and 14 are the letter, 13 and 12 the first figure.
    return _read("PCBU"[number >> 14], str(number >> 12 & 3), two[1:], third, from_bytes=True)


def _read(letter: str, first: str, rest: str, failure: str | None, *, from_bytes: bool) -> TroubleCode:
    kind = letter + first
    whose = _OWNER.get(kind) or (_MAKER if rest < "400" else _STANDARD)
    return TroubleCode(
        code=f"{kind}{rest}-{failure}" if failure else f"{kind}{rest}",
        letter=letter,
        system=LETTERS[letter],
        whose=whose,
        part=_P0_SYSTEM.get(rest[0], "") if kind == "P0" else "",
        failure_type=failure or "",
        failure=_failure_words(failure),
        from_bytes=from_bytes,
    )


def _failure_words(failure: str | None) -> str:
    if not failure:
        return ""
    if failure in _FAILURE:
        return _FAILURE[failure]
    kind = _FAILURE_KIND.get(failure[0])
    return (
        f"{kind} failure, closer in the standard's or the maker's table"
        if kind
        else "not in the standard's kinds"
    )


# Where the maker sits, by the first character (ISO 3780). From memory.
_REGIONS = (
    ("ABCDEFGH", "Africa"), ("JKLMNPR", "Asia"), ("STUVWXYZ", "Europe"),
    ("12345", "North America"), ("67", "Oceania"), ("89", "South America"),
)  # fmt: skip


@dataclass(frozen=True)
class VinParts:
    """The three sections of a VIN (ISO 3779). `small_maker`: named with positions 12 to 14 too."""

    wmi: str
    vds: str
    vis: str
    region: str
    small_maker: str


def vin_parts(vin: str) -> VinParts:
    """The sections of a VIN of 17 characters; refuses others with `CodeError`."""
    tidy = normalise_number(vin)
    if len(tidy) != 17:
        raise CodeError(f"A VIN has 17 characters; this number has {len(tidy)}.")
    region = next((name for letters, name in _REGIONS if tidy[0] in letters), "not assigned")
    return VinParts(tidy[:3], tidy[3:9], tidy[9:], region, tidy[11:14] if tidy[2] == "9" else "")
