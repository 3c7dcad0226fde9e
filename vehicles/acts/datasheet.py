"""Acts on what is known in numbers: data sheets of types, and figures of sheets, cars and fitted parts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.figure_rules import check_key, check_row, field_of, most_sure
from vehicles.figures import MOST_LEVELS, chain_of, sheet_record_of
from vehicles.models import DataSheet, Figure, FittedPart, SheetOfVehicle, Vehicle
from workshop.acting import By, ChangedMeanwhile, act, create, note, save_changes
from workshop.engineering.units import Amount
from workshop.permissions import May

Owner = DataSheet | Vehicle | FittedPart
# What the log and a refusal call the columns of a figure.
_COLUMNS = ("value", "unit", "low", "high", "text", "source", "confidence")


@act(May.EDIT_FIGURES)
def add_sheet(
    *,
    by: By,
    name: str,
    based_on: DataSheet | None = None,
    note: str = "",
    vehicle: Vehicle | None = None,
    because: str = "",
) -> DataSheet:
    """A data sheet of a type; with `based_on` of a variant, that holds only what differs.

    With `vehicle` it holds for that car at once; `because` says how that is known.
    """
    name = _own_name(name)
    if based_on is not None and len(chain_of(based_on)) >= MOST_LEVELS:
        raise ValidationError(
            {
                "based_on": f"“{based_on.name}” is itself a variant of a variant: with more than {MOST_LEVELS} sheets in "
                "a row nobody finds a figure again. Base it on an earlier one."
            }
        )
    sheet = create(DataSheet(**by.stamp(), name=name, based_on=based_on, note=note.strip()))
    _note(sheet, facts={"based_on": based_on}, words={"name": name, "note": sheet.note})
    if vehicle is not None:
        choose_sheet(by=by, vehicle=vehicle, sheet=sheet, because=because)
    return sheet


@act(May.EDIT_FIGURES)
def correct_sheet(*, by: By, sheet: DataSheet, seen_version: int, name: str, note: str = "") -> DataSheet:
    """Correct a sheet's name or remark. What it is based on stays: another base is another sheet."""
    name = _own_name(name, sheet)
    changes = save_changes(sheet, seen_version=seen_version, name=name, note=note.strip())
    _note(sheet, facts={"changed": sorted(changes)}, words=changes)
    return sheet


@act(May.EDIT_FIGURES)
def choose_sheet(*, by: By, vehicle: Vehicle, sheet: DataSheet | None, because: str = "") -> SheetOfVehicle:
    """Say which data sheet holds for a car, or (without one) that none does any more."""
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    because = because.strip()
    before = sheet_record_of(vehicle)
    held = before.sheet if before else None
    if held == sheet:
        raise ValidationError(
            {
                "sheet": f"“{sheet}” holds for this car already."
                if sheet
                else "No data sheet holds for this car."
            }
        )
    if not because:
        raise ValidationError(
            {"because": "Say how it is known that this car is of that type, or why the sheet does not hold."}
        )
    if before is not None and by.made_at < before.made_at:
        when = date_format(timezone.localtime(before.made_at), "j M Y H:i")
        raise ValidationError(
            {"sheet": f"Since {when} another choice is on record. Look at the car's figures as they are now."}
        )
    record = create(SheetOfVehicle(**by.stamp(), vehicle=vehicle, sheet=sheet, because=because))
    _note(record, vehicle=vehicle, facts={"sheet": sheet, "before": held}, words={"because": because})
    return record


@act(May.EDIT_FIGURES)
def record_figures(
    *,
    by: By,
    owner: Owner,
    figures: list[Mapping[str, Any]],
    source: str,
    source_words: str = "",
    confidence: str = "",
) -> Owner:
    """Write down several figures from one source, all or none.

    Each is a mapping: `key` (of a part the item's bare code), `value` (an `Amount`, or a text), optionally `low`
    and `high` (decimals in the value's unit). Without `confidence` each is as sure as its source makes it. A
    refusal names the row: "front-track", "front-track-low".
    """
    if not figures:
        raise ValidationError("Fill in at least one figure.")
    errors: dict[str, list[str]] = {}
    standing = _locked_lines(owner, [str(row["key"]) for row in figures])
    made = []
    for row in figures:
        key = str(row["key"])
        try:
            figure = _figure(
                by, owner, key, row["value"], row.get("low"), row.get("high"),
                source=source, source_words=source_words, confidence=confidence,
            )  # fmt: skip
            if (last := standing.get(key)) is not None:
                if not last.withdrawn_because:
                    raise ValidationError({"value": _stands(last)})
                figure.replaces, figure.because = last, "given again after it was withdrawn"
            if any(one.key_of_item == key for one in made):
                raise ValidationError({"value": "This is given twice."})
        except ValidationError as refusal:
            for name, sentences in refusal.message_dict.items():
                if name in ("value", "low", "high"):
                    name = field_of(key) if name == "value" else f"{field_of(key)}-{name}"
                errors.setdefault(name, [])
                errors[name] += [one for one in sentences if one not in errors[name]]
            continue
        made.append(figure)
    if errors:
        raise ValidationError(errors)
    for figure in made:
        create(figure)
        _note_figure(figure, owner)
    return owner


@act(May.EDIT_FIGURES)
def give_figure(
    *,
    by: By,
    owner: Owner,
    key: str,
    value: Amount | str,
    low: Decimal | None = None,
    high: Decimal | None = None,
    source: str,
    source_words: str = "",
    confidence: str = "",
) -> Figure:
    """Write down one figure that was missing, from the place where it was missed."""
    figure = _figure(by, owner, key, value, low, high, source=source, source_words=source_words,
                     confidence=confidence)  # fmt: skip
    if (last := _locked_lines(owner, [key]).get(key)) is not None:
        if not last.withdrawn_because:
            raise ValidationError({"value": _stands(last)})
        figure.replaces, figure.because = last, "given again after it was withdrawn"
    create(figure)
    _note_figure(figure, owner)
    return figure


@act(May.EDIT_FIGURES)
def change_figure(
    *,
    by: By,
    figure: Figure,
    because: str,
    value: Amount | str,
    low: Decimal | None = None,
    high: Decimal | None = None,
    source: str,
    source_words: str = "",
    confidence: str = "",
    seen: UUID | None = None,
) -> Figure:
    """Put a later value in a figure's stead and say why. The earlier one stays readable.

    `seen` is the figure that the writer saw; when somebody changed it meanwhile, `ChangedMeanwhile` shows theirs.
    """
    last = _last_of(figure, seen)
    if not because.strip():
        raise ValidationError({"because": "Say why this figure is changed."})
    new = _figure(by, owner_of(last), last.key_of_item, value, low, high, source=source,
                  source_words=source_words, confidence=confidence)  # fmt: skip
    if all(getattr(new, name) == getattr(last, name) for name in (*_COLUMNS, "source_words")):
        raise ValidationError({"value": f"That is what stands already: {last.shown}, {last.from_where}."})
    new.replaces, new.because = last, because.strip()
    create(new)
    _note_figure(new, owner_of(last), before=last)
    return new


@act(May.EDIT_FIGURES)
def withdraw_figure(*, by: By, figure: Figure, because: str, seen: UUID | None = None) -> Figure:
    """End a figure without a new value: it is not known after all. It stays readable, with the reason."""
    last = _last_of(figure, seen)
    if last.withdrawn_because:
        raise ValidationError({"because": f"It was withdrawn already: {last.withdrawn_because}."})
    if not because.strip():
        raise ValidationError({"because": "Say why this figure is withdrawn."})
    ended = Figure(
        **by.stamp(),
        sheet_id=last.sheet_id,
        vehicle_id=last.vehicle_id,
        part_id=last.part_id,
        key_of_item=last.key_of_item,
        source=last.source,
        confidence=last.confidence,
        replaces=last,
        withdrawn_because=because.strip(),
    )
    create(ended)
    _note_figure(ended, owner_of(last), before=last)
    return ended


def carry_figures(by: By, old: FittedPart, new: FittedPart) -> None:
    """Inside an act that opens another record of the same part: what was measured on it comes with it."""
    for row in Figure.objects.current().filter(part=old):
        again = Figure(
            **by.stamp(),
            part=new,
            **{name: getattr(row, name) for name in (*_COLUMNS, "key_of_item", "source_words")},
        )
        again.base_value = row.base_value
        create(again)
        _note_figure(again, new)


def _own_name(name: str, sheet: DataSheet | None = None) -> str:
    """The name without stray blanks; refused where another sheet has it, large or small letters aside."""
    name = " ".join(name.split())
    if not name:
        raise ValidationError({"name": "Name the type and variant, such as “1600 GT, 1990 to 1992”."})
    for one in DataSheet.objects.only("name"):
        if one.name.casefold() == name.casefold() and one != sheet:
            raise ValidationError(
                {"name": f"There is a data sheet “{one.name}”: use that one, or name what tells them apart."}
            )
    return name


def owner_of(figure: Figure) -> Owner:
    return figure.sheet or figure.vehicle or figure.part


def vehicle_of(owner: Owner) -> Any:
    """The car that an owner of figures is, or is on; None for a data sheet, which is of a type."""
    return owner if isinstance(owner, Vehicle) else getattr(owner, "vehicle_id", None)


def _column(owner: Owner) -> str:
    return "sheet" if isinstance(owner, DataSheet) else "vehicle" if isinstance(owner, Vehicle) else "part"


def _figure(
    by: By, owner: Owner, key: str, value: Amount | str, low: Decimal | None, high: Decimal | None, *,
    source: str, source_words: str, confidence: str,
) -> Figure:  # fmt: skip
    """An unsaved figure, every rule looked at; refused beside `value`, `low`, `high`, `source`, `confidence`."""
    if isinstance(owner, FittedPart) and owner.entered_in_error:
        raise ValidationError(
            {"value": "This part was entered in error: record the part anew, then its figures."}
        )
    item = check_key(owner, key)
    source_words = source_words.strip()
    checked = check_row(item, value, low, high)
    amount = checked if isinstance(checked, Amount) else None
    return Figure(
        **by.stamp(),
        **{_column(owner): owner},
        key_of_item=key,
        value=amount.value if amount else None,
        unit=amount.unit if amount else "",
        base_value=amount.base().quantize(Decimal("0.000001")) if amount else None,
        low=low,
        high=high,
        text="" if amount else checked,
        source=source,
        source_words=source_words,
        confidence=most_sure(source, source_words, confidence),
    )


def _locked_lines(owner: Owner, keys: Iterable[str]) -> dict[str, Figure]:
    """Key → the last record of it, the owner locked: two people who give the same figure come one after the other."""
    type(owner)._default_manager.select_for_update(no_key=True).get(pk=owner.pk)
    rows = Figure.objects.filter(**{_column(owner): owner}, key_of_item__in=list(keys), replaced_by=None)
    return {row.key_of_item: row for row in rows.select_related("made_by")}


def _last_of(figure: Figure, seen: UUID | None) -> Figure:
    """The figure that stands now, locked; `ChangedMeanwhile` where it is not the one that was seen."""
    owner = owner_of(figure)
    last = _locked_lines(owner, [figure.key_of_item])[figure.key_of_item]
    if last.pk != (seen or figure.pk):
        raise ChangedMeanwhile(
            last,
            {
                "value": f"{last.shown}, {last.from_where}, by {last.made_by}",
                "low": last.low,
                "high": last.high,
                "because": last.withdrawn_because or last.because,
            },
        )
    return last


def _stands(last: Figure) -> str:
    when = date_format(timezone.localtime(last.made_at), "j M Y H:i")
    return (
        f"{last.shown} is on record, {last.from_where}, by {last.made_by} on {when}. "
        "Change that one and say why."
    )


def _note_figure(figure: Figure, owner: Owner, *, before: Figure | None = None) -> None:
    """Numbers, units and choices in the chain; what was typed beside it."""
    facts = {
        "of": owner,
        "key": figure.key_of_item,
        **{name: getattr(figure, name) for name in _COLUMNS if name != "text"},
    }
    if before is not None:
        facts |= {"replaces": before, "before": [before.value, before.unit]}
    note(
        figure,
        vehicle=vehicle_of(owner),
        facts=facts,
        words={
            name: getattr(figure, name) for name in ("text", "source_words", "because", "withdrawn_because")
        },
    )


_note = note  # for the acts whose own argument is called so
