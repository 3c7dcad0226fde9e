"""Acts on a work line that change the parts of the car: what came off, where it went, what went on."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from jobs.acts.job import renamed_fields
from jobs.lines import line_to_work_on
from jobs.models import CheckIn, PartChange, WorkLine
from jobs.models.part import ChangeKind
from vehicles.acts import part as parts
from vehicles.models import FittedPart, Place
from vehicles.models.part import (
    Condition,
    EvidenceKind,
    Provenance,
    SuppliedBy,
    SupplyQuality,
    Whereabouts,
)
from vehicles.parts import part_in_place
from workshop.acting import By, act, create, note, save_changes
from workshop.permissions import May

EMPTY = "empty"
# From there a part does not come back to the car.
_GONE = (Whereabouts.SCRAPPED, Whereabouts.CORE, Whereabouts.HAZARDOUS, Whereabouts.ON_THE_CAR)


def default_whereabouts(line: WorkLine, place: Place) -> str:
    """Where a part of this place goes when nobody says otherwise: consumables only. One query for those."""
    if not place.consumable:
        return ""
    back = CheckIn.objects.filter(job_id=line.job_id, old_parts_back=True).exists()
    return Whereabouts.RETURNED if back else Whereabouts.SCRAPPED


@act(May.FIT_PARTS)
def fit_part(
    *,
    by: By,
    line: WorkLine,
    place: Place,
    position: str = "",
    description: str,
    provenance: str,
    part_number: str = "",
    invoice: str = "",
    evidence: list[tuple[str, str]] | None = None,
    supply_quality: str = SupplyQuality.NOT_KNOWN,
    supplied_by: str = SuppliedBy.SHOP,
    specification_known: bool = False,
    condition: str = Condition.GOOD,
    factory_fits: str = "",
    follows: str = "",
    on_trial: bool = False,
    whereabouts: str = "",
    whereabouts_note: str = "",
    old_description: str = "",
    in_place: str | None = None,
    note: str = "",
) -> PartChange:
    """Fit a part: into an empty place, or in the stead of what is there, whose record ends in the same act.

    `old_description` is what came off a place where nothing was on record: it is recorded as found, and ended.

    `whereabouts` says where the old part went; a consumable's has a default (see `default_whereabouts`), any
    other stays open until it is said. `in_place` is what the writer saw there ("empty", or the part's id): when
    it is something else by now, the act is refused. Without it, whatever is there is replaced.
    """
    line_to_work_on(line, by)
    old = part_in_place(line.job.vehicle, place, position)
    _refuse_other_than_seen(old, in_place)
    if supplied_by == SuppliedBy.EARLIER:
        raise ValidationError(
            {"supplied_by": "It is fitted now: say whether the shop or the owner supplied it."}
        )
    old_description = old_description.strip()
    if old is not None and old_description:
        raise ValidationError(
            {
                "old_description": f"{old.description} is on record in this place: its own record ends. Leave this empty."
            }
        )
    if old is None and not old_description and (whereabouts or whereabouts_note.strip()):
        raise ValidationError(
            {
                "whereabouts": "Nothing is on record in this place. Say what came off, or leave this empty where the "
                "place was empty."
            }
        )
    pieces = _evidence(part_number, invoice, evidence)
    if supplied_by == SuppliedBy.SHOP and not on_trial and not pieces:
        raise ValidationError(
            {
                "part_number": "Say by what the part is known: its part number, or the invoice that it came with."
            }
        )
    if old_description:
        # With what is known of it: that it was there.
        with renamed_fields(description="old_description", fitted_at="made_at"):
            old = parts.record_part(
                by=by,
                vehicle=line.job.vehicle,
                place=place,
                position=position,
                description=old_description,
                provenance=Provenance.UNKNOWN.value,
            )
    if old is not None:
        # During a trial the old part waits to be put back: nothing is taken for granted of it.
        went = whereabouts if on_trial else whereabouts or default_whereabouts(line, place)
        _take_off(by, line, old, went, whereabouts_note)
    new = parts.open_part(
        by=by,
        vehicle=line.job.vehicle,
        place=place,
        position=position,
        line=line,
        replaces=old,
        on_trial=on_trial,
        description=description.strip(),
        provenance=provenance,
        part_number=part_number.strip(),
        evidence=pieces,
        supply_quality=supply_quality,
        supplied_by=supplied_by,
        specification_known=specification_known,
        condition=condition,
        factory_fits=factory_fits.strip(),
        follows=follows.strip(),
    )
    kind = ChangeKind.ON_TRIAL if on_trial else ChangeKind.REPLACED if old is not None else ChangeKind.FITTED
    return _change(by, line, kind, part_on=new, part_off=old, words=note)


@act(May.FIT_PARTS)
def remove_part(
    *,
    by: By,
    line: WorkLine,
    part: FittedPart,
    whereabouts: str = "",
    whereabouts_note: str = "",
    note: str = "",
) -> PartChange:
    """Take a part off and fit nothing in its stead."""
    line_to_work_on(line, by)
    _refuse_other_car(line, part, "part")
    _take_off(by, line, part, whereabouts or default_whereabouts(line, part.place), whereabouts_note)
    return _change(by, line, ChangeKind.REMOVED, part_off=part, words=note)


@act(May.FIT_PARTS)
def refit_part(*, by: By, line: WorkLine, part: FittedPart, note: str = "") -> PartChange:
    """The part was off for the work and is back in its place: its record goes on."""
    line_to_work_on(line, by)
    _refuse_other_car(line, part, "part")
    _refuse_not_on_the_car(part, "part")
    return _change(by, line, ChangeKind.REFITTED, part_on=part, words=note)


@act(May.FIT_PARTS)
def put_back(
    *,
    by: By,
    line: WorkLine,
    part: FittedPart,
    whereabouts: str = "",
    whereabouts_note: str = "",
    in_place: str | None = None,
    note: str = "",
) -> PartChange:
    """Fit a part again that came off this car, into the place it had: after a trial, or back from work elsewhere.

    `whereabouts` is where the part goes that is in the place now, such as the one on trial.
    """
    line_to_work_on(line, by)
    _refuse_other_car(line, part, "part")
    part = FittedPart.objects.select_for_update(no_key=True).get(pk=part.pk)
    if part.removed_at is None:
        raise ValidationError({"part": f"{part} is on the car. Choose a part that came off."})
    if part.whereabouts in _GONE:
        raise ValidationError(
            {
                "part": f"{part} does not come back: “{part.get_whereabouts_display()}” is on record. Fit it as another part."
            }
        )
    old = part_in_place(line.job.vehicle, part.place, part.position)
    _refuse_other_than_seen(old, in_place)
    if old is None and whereabouts:
        raise ValidationError(
            {"whereabouts": "The place is empty: no part came off it now. Leave this empty."}
        )
    if old is not None:
        # A known-good part on trial is the shop's.
        default = Whereabouts.KEPT if old.on_trial else default_whereabouts(line, old.place)
        _take_off(by, line, old, whereabouts or default, whereabouts_note)
    save_changes(part, whereabouts=Whereabouts.ON_THE_CAR, whereabouts_note="fitted again in its place")
    new = parts.open_part(
        by=by,
        vehicle=line.job.vehicle,
        place=part.place,
        position=part.position,
        line=line,
        replaces=old,
        earlier_record=part,
    )
    kind = ChangeKind.FITTED if old is None else ChangeKind.REPLACED
    return _change(by, line, kind, part_on=new, part_off=old, words=note)


@act(May.FIT_PARTS)
def keep_trial(
    *,
    by: By,
    line: WorkLine,
    part: FittedPart,
    part_number: str = "",
    invoice: str = "",
    whereabouts: str = "",
    whereabouts_note: str = "",
    note: str = "",
) -> PartChange:
    """The known-good part on trial stays on the car; where the part it replaced went is said now."""
    line_to_work_on(line, by)
    _refuse_other_car(line, part, "part")
    _refuse_not_on_the_car(part, "part")
    if not part.on_trial:
        raise ValidationError({"part": f"{part} is not on trial."})
    pieces = _evidence(part_number or part.part_number, invoice, None)
    if part.supplied_by == SuppliedBy.SHOP and not pieces:
        raise ValidationError(
            {
                "part_number": "Say by what the part is known: its part number, or the invoice that it came with."
            }
        )
    changes: dict[str, Any] = {"on_trial": False}
    if part_number.strip():
        changes["part_number"] = part_number.strip()
    save_changes(part, **changes)
    known = set(part.evidence.values_list("kind", "what"))
    for kind, what in pieces:
        if (kind, what) not in known:
            parts.add_evidence(by=by, part=part, kind=kind, what=what)
    old = part.replaces
    if old is not None:
        went = whereabouts or old.whereabouts or default_whereabouts(line, old.place)
        save_changes(old, whereabouts=went, whereabouts_note=whereabouts_note or old.whereabouts_note)
    part.refresh_from_db()
    kind = ChangeKind.REPLACED if old is not None else ChangeKind.FITTED
    return _change(by, line, kind, part_on=part, part_off=old, words=note or "the part on trial stays")


@act(May.FIT_PARTS)
def swap_parts(*, by: By, line: WorkLine, part: FittedPart, other: FittedPart, note: str = "") -> PartChange:
    """Swap two parts between their places: both records end, both begin in the other place, in one act.

    Two changes are written, one for each place; the answer is that of the place of `part`.
    """
    line_to_work_on(line, by)
    for name, one in (("part", part), ("other", other)):
        _refuse_other_car(line, one, name)
        _refuse_not_on_the_car(one, name)
    if part.pk == other.pk:
        raise ValidationError({"other": "Choose another part: this is the same one."})
    for one, goes_to in ((part, other), (other, part)):
        _take_off(by, line, one, Whereabouts.ON_THE_CAR, f"now: {goes_to.where}"[:200])
    changes = []
    for gone, comes in ((part, other), (other, part)):
        with renamed_fields(position="other", place="other"):
            new = parts.open_part(
                by=by,
                vehicle=line.job.vehicle,
                place=gone.place,
                position=gone.position,
                line=line,
                replaces=gone,
                earlier_record=comes,
                on_trial=comes.on_trial,
            )
        changes.append(_change(by, line, ChangeKind.SWAPPED, part_on=new, part_off=gone, words=note))
    return changes[0]


def _take_off(by: By, line: WorkLine, part: FittedPart, whereabouts: str, whereabouts_note: str) -> None:
    with renamed_fields(removed_at="made_at"):
        parts.end_part(
            by=by,
            part=part,
            line=line,
            whereabouts=whereabouts,
            whereabouts_note=whereabouts_note.strip(),
        )


def _change(by: By, line: WorkLine, kind: str, *, part_on=None, part_off=None, words: str = "") -> PartChange:
    row = create(
        PartChange(**by.stamp(), line=line, kind=kind, part_on=part_on, part_off=part_off, note=words.strip())
    )
    note(
        row,
        vehicle=line.job.vehicle_id,
        job=line.job,
        facts={
            "line": line,
            "kind": kind,
            "on": part_on,
            "off": part_off,
            "whereabouts": getattr(part_off, "whereabouts", ""),
        },
        words={"note": row.note},
    )
    return row


def _evidence(part_number: str, invoice: str, evidence) -> list[tuple[str, str]]:
    pieces = [(kind, what) for kind, what in evidence or [] if kind or what.strip()]
    if part_number.strip():
        pieces.append((EvidenceKind.PART_NUMBER, part_number.strip()))
    if invoice.strip():
        pieces.append((EvidenceKind.INVOICE, invoice.strip()))
    return pieces


def _refuse_other_than_seen(old: FittedPart | None, in_place: str | None) -> None:
    if in_place is None or in_place == (str(old.pk) if old is not None else EMPTY):
        return
    if old is None:
        raise ValidationError(
            {
                "place": "The part that was here came off meanwhile: the place is empty. Fit the part there anew."
            }
        )
    error = ValidationError(
        f"{old.description} is in this place. Fit the new part in its stead, so that it is on record where the old "
        "one went.",
        code="place_taken",
    )
    error.part = old
    raise ValidationError({"place": error})


def _refuse_other_car(line: WorkLine, part: FittedPart, field: str) -> None:
    if part.vehicle_id != line.job.vehicle_id:
        raise ValidationError({field: f"{part} is on another car. Choose a part of this car."})


def _refuse_not_on_the_car(part: FittedPart, field: str) -> None:
    current = FittedPart.objects.select_for_update(no_key=True).get(pk=part.pk)
    if current.removed_at is not None or current.entered_in_error:
        raise ValidationError(
            {field: f"{part} is not on the car any more. Look at the car's parts as they are now."}
        )
