"""Vehicle identification: what can be asked about a number, its check digit, its model year.

A number is questioned, never refused: the one stamped in the metal is the right one. A passing check
digit proves no identity, for characters of equal value (A, J, 1) exchange unnoticed.

Sources: 49 CFR 565.15 (c) tables III to VI and (d) table VII; form of the number ISO 3779.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from workshop.engineering.errors import EngineeringError

VIN_LENGTH = 17
# 17 characters with a check digit and without I, O and Q: 49 CFR 565, for model years from 1981 on.
FIRST_YEAR_OF_17 = 1981
LONGEST_RUN = 6

_VALUES: dict[str, int] = {
    **{str(n): n for n in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
# No I, O, Q as everywhere, and no U, Z or 0 in position 10.
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
_FIRST_CYCLE, _SECOND_CYCLE = 1980, 2010

_SEPARATORS = re.compile(r"[\s\-\u2010-\u2015\u2212._·*/\\]+")
# Full-width letters and digits, as an East Asian keyboard or a copied document gives them.
_FULL_WIDTH = {wide: wide - 0xFEE0 for wide in range(0xFF01, 0xFF5F)}
_OTHERS = re.compile(r"[^A-Z0-9]")


class VinError(EngineeringError):
    """A number that the asked computation doesn't apply to."""


class CheckDigit(StrEnum):
    PASSES = "passes"
    FAILS = "fails"
    DOES_NOT_APPLY = "does_not_apply"


@dataclass(frozen=True)
class Question:
    """Something to look at again.

    `code` is one of letters_ioq, length, check_digit, repeated, bad_character.
    """

    code: str
    message: str


@dataclass(frozen=True)
class ModelYears:
    """The years that position 10 may stand for, oldest first, and the one that is certain, if any."""

    candidates: tuple[int, ...]
    decided: int | None
    sentence: str


def normalise_number(text: str) -> str:
    """A VIN, chassis or engine number for keeping and comparing: upper case, no blanks or separators.

    Letters are not "mended": an O typed for a zero stays, to be asked about.
    """
    flat = _SEPARATORS.sub("", text.translate(_FULL_WIDTH))
    # One letter stays one letter: "ß".upper() would make two.
    return "".join(c.upper() if len(c.upper()) == 1 else c for c in flat)


def is_full_vin(number: str) -> bool:
    """Whether this is 17 characters out of 0-9 and A-Z without I, O, Q (separators don't matter)."""
    tidy = normalise_number(number)
    return len(tidy) == VIN_LENGTH and all(c in _VALUES for c in tidy)


def weighted_sum(vin: str) -> int:
    """Sum of value times weight over 17 characters; position 9 has weight 0 and may hold anything."""
    tidy = vin.upper()
    if len(tidy) != VIN_LENGTH:
        raise VinError(f"A check digit needs {VIN_LENGTH} characters; this number has {len(tidy)}.")
    for position, c in enumerate(tidy, start=1):
        if position != 9 and c not in _VALUES:
            raise VinError(f"“{c}” in position {position} has no value in the check digit table.")
    return sum(_VALUES.get(c, 0) * weight for c, weight in zip(tidy, _WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """The check digit that the other 16 characters ask for: "0" to "9" or "X".

    Refuses other lengths and characters with `VinError`.
    """
    remainder = weighted_sum(vin) % 11
    return "X" if remainder == 10 else str(remainder)


def check_digit_state(number: str) -> CheckDigit:
    """Whether position 9 holds the check digit; a letter other than X there can't be one at all."""
    tidy = normalise_number(number)
    if not is_full_vin(tidy):
        return CheckDigit.DOES_NOT_APPLY
    if tidy[8] == check_digit(tidy):
        return CheckDigit.PASSES
    north_american = tidy[0] in "12345"
    return CheckDigit.FAILS if north_american or tidy[8] in "0123456789X" else CheckDigit.DOES_NOT_APPLY


def questions(number: str, year: int | None = None) -> list[Question]:
    """What to look at again before the number is kept; an empty list when nothing stands out.

    `year` is the year of manufacture; before 1981 makers numbered as they liked, so length, letters
    and check digit aren't asked about. Not known counts as 1981 or later.
    """
    tidy = normalise_number(number)
    found: list[Question] = []
    if others := sorted(set(_OTHERS.findall(tidy))):
        found.append(
            Question(
                "bad_character",
                f"{_quoted(others)} is no letter from A to Z and no digit: read it again on the vehicle.",
            )
        )
    if year is None or year >= FIRST_YEAR_OF_17:
        found += _questions_since_1981(tidy, year)
    if tidy and _repeats(tidy):
        found.append(
            Question(
                "repeated",
                "The same character stands many times in a row. Some such numbers pass the check digit "
                "all the same: read it again on the vehicle.",
            )
        )
    return found


def _questions_since_1981(tidy: str, year: int | None) -> list[Question]:
    found = []
    if letters := [c for c in "IOQ" if c in tidy]:
        verb = "isn't" if len(letters) == 1 else "aren't"
        found.append(
            Question(
                "letters_ioq",
                f"{_quoted(letters)} {verb} used in a 17-character VIN, because "
                f"{'it looks' if len(letters) == 1 else 'they look'} like 1 or 0: "
                "read it again on the vehicle.",
            )
        )
    if len(tidy) != VIN_LENGTH:
        when = (
            "" if year else " If this vehicle was built before 1981, enter its year and this question goes."
        )
        found.append(
            Question(
                "length",
                f"This number has {len(tidy)} characters; vehicles since {FIRST_YEAR_OF_17} have "
                f"{VIN_LENGTH} as a rule.{when}",
            )
        )
    if check_digit_state(tidy) is CheckDigit.FAILS:
        found.append(
            Question(
                "check_digit",
                f"Position 9 holds {tidy[8]}, the check digit would be {check_digit(tidy)}. The check "
                "digit is mandatory in North America only; elsewhere this may be right. "
                "Compare with the vehicle.",
            )
        )
    return found


def _quoted(characters: list[str]) -> str:
    return " and ".join(f"“{c}”" for c in characters)


def _repeats(tidy: str) -> bool:
    """One character throughout, or a run longer than a serial number's leading zeros."""
    longest = max(len(run.group()) for run in re.finditer(r"(.)\1*", tidy))
    return longest > LONGEST_RUN or (len(tidy) > 3 and longest == len(tidy))


def model_years(vin: str, *, light_vehicle: bool | None = None, latest: int | None = None) -> ModelYears:
    """The model years that position 10 may stand for.

    Position 7 decides between the two cycles (a digit: 1980 to 2009, a letter: 2010 to 2039), but
    only for cars, multipurpose vehicles and trucks up to 4 536 kg: say so with `light_vehicle=True`.
    For motorcycles, trailers, heavy vehicles, or where the kind isn't known, both years are given,
    less those after `latest` (pass next year). No candidates when position 10 holds no year.
    Refuses what isn't a full VIN with `VinError`.
    """
    tidy = normalise_number(vin)
    if not is_full_vin(tidy):
        raise VinError(f"A model year needs a full VIN of {VIN_LENGTH} characters without I, O and Q.")
    if tidy[9] not in _YEAR_CODES:
        return ModelYears((), None, f"Position 10 holds {tidy[9]}, which stands for no model year.")
    place = _YEAR_CODES.index(tidy[9])
    both = (_FIRST_CYCLE + place, _SECOND_CYCLE + place)
    candidates = tuple(y for y in both if latest is None or y <= latest)
    decided: int | None = None
    if light_vehicle:
        by_position_7 = both[0] if tidy[6].isdigit() else both[1]
        decided = by_position_7 if by_position_7 in candidates else None
    elif len(candidates) == 1:
        decided = candidates[0]
    years = str(decided) if decided else " or ".join(map(str, candidates))
    return ModelYears(
        candidates,
        decided,
        f"Position 10 holds {tidy[9]}: model year {years or 'not possible yet'}, where the maker follows the "
        "North American rule.",
    )
