"""What a figure may be: its item, its plausible range, its tolerance, and how sure its source makes it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal

from django.core.exceptions import ValidationError

from vehicles.models import Confidence, DataSheet, FigureSource, FittedPart, Vehicle
from vehicles.models.datasheet import NOT_PROVEN_BY
from workshop.engineering.calculate import refusal
from workshop.engineering.codes import tyre_date
from workshop.engineering.declare import Number
from workshop.engineering.errors import EngineeringError
from workshop.engineering.items import GROUPS, ITEMS, KEYS, Item, items_at
from workshop.engineering.result import Given
from workshop.engineering.tyre_size import parse_size, speed_of
from workshop.engineering.units import Amount, show

MOST_DECIMALS = 4
# Documents: one that is not named can't be looked up again, and makes a figure likely at most.
_DOCUMENTS = (FigureSource.MAKER, FigureSource.PART_MAKER, FigureSource.PAPERS)
# Texts with a form of their own: the engineering's readers say what is wrong with one.
_READERS: dict[str, Callable[[str], object]] = {
    "tyre_size": parse_size,
    "speed_symbol": speed_of,
    "tyre_date_code": tyre_date,
}


def field_of(key: str) -> str:
    """A key as the name of a form's field and the end of an id: "front-track"."""
    return key.replace(".", "-")


def keys_for(owner: DataSheet | Vehicle | FittedPart) -> list[str]:
    """The keys that an owner may hold, in the order of the list."""
    if isinstance(owner, FittedPart):
        return [item.code for item in items_at(owner.place_id)]
    of_car = isinstance(owner, Vehicle)
    return [key for key, item in KEYS.items() if item.per != "part" and (of_car or not item.of_car)]


def check_key(owner: DataSheet | Vehicle | FittedPart, key: str) -> Item:
    """The item of a key, or a refusal where this owner holds no such figure."""
    if key in keys_for(owner):
        return ITEMS[key] if isinstance(owner, FittedPart) else KEYS[key]
    item = KEYS.get(key) or ITEMS.get(key)
    if item is None:
        raise ValidationError({"value": f"“{key}” is nothing that is kept of a car."})
    if isinstance(owner, FittedPart):
        raise ValidationError({"value": f"A part in this place has no “{item.name.lower()}”."})
    where = (
        "is measured on the car itself: write it with the car"
        if item.of_car
        else "belongs to one fitted part"
    )
    raise ValidationError({"value": f"“{item.name}” {where}."})


def number_of(item: Item) -> Number:
    """An item as a calculator's input, for its refusals."""
    return Number(item.code, item.name, item.dimension, item.unit, item.low, item.high, whole=item.whole)


def check_row(
    item: Item, value: Amount | str, low: Decimal | None = None, high: Decimal | None = None
) -> Amount | str:
    """The value as it is kept, or a refusal beside `value`, `low` or `high` that names the range."""
    if item.dimension in ("text", "choice"):
        return _checked_text(item, value)
    given = Given(value) if isinstance(value, Amount) else None
    if sentence := refusal(number_of(item), given):
        raise ValidationError({"value": sentence})
    for name, number in (("value", value.value), ("low", low), ("high", high)):
        if number is not None and number != round(number, MOST_DECIMALS):
            raise ValidationError({name: f"Give at most {MOST_DECIMALS} decimals."})
    if low is not None and low > value.value:
        raise ValidationError(
            {"low": f"The lowest is above the value: give {show(value)} or less, in {_unit(value)}."}
        )
    if high is not None and high < value.value:
        raise ValidationError(
            {"high": f"The highest is below the value: give {show(value)} or more, in {_unit(value)}."}
        )
    for name, number in (("low", low), ("high", high)):
        if number is not None and (sentence := refusal(number_of(item), Given(Amount(number, value.unit)))):
            raise ValidationError({name: sentence})
    return value


def _unit(value: Amount) -> str:
    return show(Amount(Decimal(1), value.unit)).removeprefix("1").strip() or "the same plain number"


def _checked_text(item: Item, value: Amount | str) -> str:
    text = " ".join(value.split()) if isinstance(value, str) else ""
    if item.dimension == "choice":
        if text not in dict(item.choices):
            raise ValidationError(
                {"value": f"Choose one of: {', '.join(label for _, label in item.choices)}."}
            )
        return text
    if not text:
        raise ValidationError({"value": f"Write it as it stands there, such as {item.example}."})
    if len(text) > 40:
        raise ValidationError({"value": f"That is too long: at most 40 characters, such as {item.example}."})
    if (read := _READERS.get(item.code)) is not None:
        try:
            read(text)
        except EngineeringError as error:
            raise ValidationError({"value": str(error)}) from error
    return text


def most_sure(source: str, source_words: str, asked: str = "") -> str:
    """How sure a figure is: as asked, where its source supports that; without a wish, the most it supports."""
    if source not in FigureSource.values:
        raise ValidationError({"source": "Say where the figure comes from."})
    if source == FigureSource.ESTIMATE:
        most = Confidence.OPEN
    elif source in NOT_PROVEN_BY or (source in _DOCUMENTS and not source_words):
        most = Confidence.LIKELY
    else:
        most = Confidence.CONFIRMED
    if not asked:
        return most.value
    if asked not in Confidence.values:
        raise ValidationError({"confidence": "Say how sure this is."})
    if asked == Confidence.CONFIRMED and source in NOT_PROVEN_BY:
        raise ValidationError(
            {"confidence": "An owner's statement or an estimate can't make this confirmed."}
        )
    if asked == Confidence.CONFIRMED and most != Confidence.CONFIRMED:
        raise ValidationError(
            {
                "source_words": "Name the document and the place in it, so that it can be looked up: then it is confirmed."
            }
        )
    return asked


def by_group(keys: Iterable[str]) -> list[tuple[str, list[str]]]:
    """Keys by the groups of the list, in its order."""
    keys = list(keys)
    found = {group: [key for key in keys if (KEYS.get(key) or ITEMS[key]).group == group] for group in GROUPS}
    return [(group, rows) for group, rows in found.items() if rows]
