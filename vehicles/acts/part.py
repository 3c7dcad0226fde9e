"""Acts on the parts of a car: found on it, assessed again, proven, ended and opened, entered in error."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import slugify

from vehicles.acts.datasheet import carry_figures, record_figures
from vehicles.acts.moments import refuse_before_built
from vehicles.models import Confidence, Evidence, FittedPart, Place, Provenance, Vehicle, Zone
from vehicles.models.part import EvidenceKind, Position, Positions, Whereabouts
from vehicles.parts import stronger, supported
from vehicles.places import SHOP_STEP, zone_order
from workshop.acting import By, act, create, note, save_changes
from workshop.permissions import May

# What may be assessed again of a part that is on record; place, position and dates of removal may not.
ASSESSED = (
    "description",
    "part_number",
    "provenance",
    "confidence",
    "supply_quality",
    "supplied_by",
    "specification_known",
    "condition",
    "condition_note",
    "factory_fits",
    "follows",
    "fitted_at",
)
# Of these, what people typed in words: it stands beside the chain of events, not in it.
_WORDS = frozenset({"description", "condition_note", "factory_fits", "follows", "whereabouts_note"})
CAN_SUPPORT = {
    Confidence.OPEN: "an open question",
    Confidence.LIKELY: "likely",
    Confidence.CONFIRMED: "confirmed",
}


@act(May.SURVEY)
def record_part(
    *,
    by: By,
    vehicle: Vehicle,
    place: Place,
    position: str = "",
    description: str,
    provenance: str,
    evidence: list[tuple[str, str]] | None = None,
    confidence: str = "",
    fitted_at: datetime | None = None,
    figures: dict[str, Any] | None = None,
    **fields,
) -> FittedPart:
    """Record a part found on the car. `evidence` is a list of (kind, what was seen or said).

    Without `confidence` it is the most that the evidence supports; more than that is refused. `figures` are its
    dimensions: the arguments of `record_figures` without the owner. `fields` are part_number, supply_quality,
    supplied_by, specification_known, condition, condition_note, factory_fits, follows.
    """
    part = _open(
        by,
        vehicle=vehicle,
        place=place,
        position=position,
        description=description,
        provenance=provenance,
        evidence=evidence,
        confidence=confidence,
        fitted_at=fitted_at,
        **fields,
    )
    if figures:
        record_figures(by=by, owner=part, **figures)
    return part


@act(May.FIT_PARTS)
def open_part(
    *,
    by: By,
    vehicle: Vehicle,
    place: Place,
    position: str = "",
    line=None,
    replaces: FittedPart | None = None,
    earlier_record: FittedPart | None = None,
    on_trial: bool = False,
    fitted_at: datetime | None = None,
    evidence: list[tuple[str, str]] | None = None,
    confidence: str = "",
    **fields,
) -> FittedPart:
    """Begin the record of a part that `line` fitted, by default at the time of the act.

    End what was in the place before (`end_part`) in the same act and name it as `replaces`. `earlier_record` is the
    ended record of the same part, when it moved or comes back: what is not given is taken over from it, and its
    evidence counts.
    """
    fitted_at = fitted_at or by.made_at
    if earlier_record is not None:
        if earlier_record.vehicle_id != vehicle.pk or earlier_record.removed_at is None:
            raise ValidationError(
                {
                    "earlier_record": "Choose a part that came off this car; one that is on it now must come off first."
                }
            )
        for name in (*ASSESSED, "best_evidence"):
            if name not in ("confidence", "fitted_at"):
                fields.setdefault(name, getattr(earlier_record, name))
        confidence = confidence or earlier_record.confidence
    if replaces is not None and (replaces.vehicle_id, replaces.place_id, replaces.position) != (
        vehicle.pk,
        place.pk,
        position,
    ):
        raise ValidationError({"replaces": f"{replaces} was in another place: name what was in this one."})
    return _open(
        by,
        vehicle=vehicle,
        place=place,
        position=position,
        evidence=evidence,
        confidence=confidence,
        fitted_at=fitted_at,
        fitted_by_line=line,
        replaces=replaces,
        earlier_record=earlier_record,
        on_trial=on_trial,
        **fields,
    )


@act(May.FIT_PARTS)
def end_part(
    *,
    by: By,
    part: FittedPart,
    line=None,
    removed_at: datetime | None = None,
    whereabouts: str = "",
    whereabouts_note: str = "",
    seen_version: int | None = None,
) -> FittedPart:
    """End the record of a part that came off, by default at the time of the act, with where it went.

    `whereabouts` may be settled later (`say_whereabouts`): until then it is missing at handover. Without a `line`
    it came off elsewhere and was found gone.
    """
    # The car before the part: a handover under way and a part coming off can't pass each other.
    Vehicle.objects.select_for_update(no_key=True).get(pk=part.vehicle_id)
    current = FittedPart.objects.select_for_update(no_key=True).select_related("place").get(pk=part.pk)
    _refuse_unless_on_the_car(current)
    removed_at = removed_at or by.made_at
    if removed_at > by.received_at:
        raise ValidationError({"removed_at": "This time lies in the future. Give when the part came off."})
    changes = save_changes(
        part,
        seen_version=seen_version,
        removed_at=removed_at,
        removed_by_line=line,
        whereabouts=whereabouts,
        whereabouts_note=whereabouts_note,
    )
    _note_changes(part, changes, job=_job_of(line))
    return part


@act(May.FIT_PARTS)
def say_whereabouts(
    *, by: By, part: FittedPart, seen_version: int, whereabouts: str, whereabouts_note: str = ""
) -> FittedPart:
    """Say, or correct, where a removed part went."""
    if part.removed_at is None:
        raise ValidationError({"whereabouts": "This part is on the car: take it off on a work line first."})
    if whereabouts not in Whereabouts.values:
        raise ValidationError({"whereabouts": "Say where the part went."})
    changes = save_changes(
        part, seen_version=seen_version, whereabouts=whereabouts, whereabouts_note=whereabouts_note
    )
    _note_changes(part, changes, job=_job_of(part.removed_by_line))
    return part


@act(May.SURVEY)
def assess_part(*, by: By, part: FittedPart, seen_version: int, reason: str, **fields) -> FittedPart:
    """Assess a part again, with a reason. What was written before stands in the log."""
    if unknown := set(fields) - set(ASSESSED):
        raise TypeError(f"assess_part() got unexpected arguments: {', '.join(sorted(unknown))}")
    _refuse_error(part)
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is assessed again."})
    provenance = fields.get("provenance", part.provenance)
    asked = fields.get("confidence", part.confidence)
    if "confidence" not in fields or not asked:
        # Not said: it stays, unless the provenance now on record makes it less.
        asked = min(part.confidence, supported(part.best_evidence, provenance), key=_sureness)
    fields["confidence"] = _checked_confidence(asked, part.best_evidence, provenance)
    if "fitted_at" in fields:
        _refuse_bad_fitting(by, fields["fitted_at"], part.vehicle, part.place, part.position, part)
    changes = save_changes(part, seen_version=seen_version, **fields)
    _note_changes(part, changes, reason=reason)
    return part


@act(May.SURVEY)
def add_evidence(*, by: By, part: FittedPart, kind: str, what: str) -> Evidence:
    """Add a piece of evidence. Where the confidence stood at what the evidence so far supported, it rises with it."""
    _refuse_error(part)
    refuse_before_built(by, part.vehicle, "there was nothing to be seen of it")
    piece = create(Evidence(**by.stamp(), part=part, kind=kind, what=what.strip()))
    part = FittedPart.objects.select_for_update(no_key=True).select_related("place").get(pk=part.pk)
    best = stronger(part.best_evidence, kind)
    changes = {"best_evidence": best}
    if part.confidence == supported(part.best_evidence, part.provenance):
        changes["confidence"] = supported(best, part.provenance)
    changed = save_changes(part, **changes)
    note(
        piece,
        vehicle=part.vehicle_id,
        facts={"part": part, "kind": kind, "changes": changed},
        words={"what": piece.what},
    )
    return piece


@act(May.SURVEY)
def correct_in_error(*, by: By, part: FittedPart, reason: str, seen_version: int | None = None) -> FittedPart:
    """Mark a record as entered in error: it stays readable and counts no more."""
    _refuse_error(part)
    if not reason.strip():
        raise ValidationError({"reason": "Say why this record is wrong."})
    if part.fitted_by_line_id or part.removed_by_line_id:
        line = part.fitted_by_line or part.removed_by_line
        raise ValidationError(
            {
                "reason": f"Work line {line} fitted or removed this part, so it was on the car. Assess it again "
                "to correct what was written of it, or correct the work on that line."
            }
        )
    changes = save_changes(part, seen_version=seen_version, entered_in_error=reason.strip())
    note(
        part,
        vehicle=part.vehicle_id,
        facts={"in_error": bool(changes)},
        words={"reason": reason},
    )
    return part


@act(May.EDIT_PLACES)
def add_place(
    *, by: By, zone: str, name: str, positions: str = "", consumable: bool = False, safety: bool = False
) -> Place:
    """Add a place of the shop's own at the end of a zone."""
    name = " ".join(name.split())
    if not name:
        raise ValidationError({"name": "Give the place a name in the trade's words."})
    if zone not in Zone.values:
        raise ValidationError({"zone": "Choose the zone that the place lies in."})
    if positions not in Positions.values:
        raise ValidationError({"positions": "Choose how many there are of it."})
    same = [place for place in Place.objects.filter(zone=zone) if place.name.casefold() == name.casefold()]
    if same:
        raise ValidationError({"name": f"“{same[0].name}” is in this zone already: use that place."})
    last = Place.objects.filter(zone=zone, added_by_shop=True).aggregate(last=Max("order"))["last"]
    order = last + 1 if last is not None else zone_order(Zone(zone)) + SHOP_STEP
    slug = f"own-{slugify(name)[:40].strip('-') or 'place'}"
    if Place.objects.filter(slug=slug).exists():
        slug = f"{slug[:40]}-{uuid4().hex[:8]}"
    place = create(
        Place(
            slug=slug,
            zone=zone,
            name=name,
            order=order,
            positions=positions,
            consumable=consumable,
            safety=safety,
            added_by_shop=True,
        )
    )
    note(place, facts={"zone": zone, "name": name, "positions": positions})
    return place


def check_position(place: Place, position: str) -> None:
    """Refuse a position that the place does not have, in words."""
    if position in place.allowed:
        return
    if place.allowed == ("",):
        raise ValidationError(
            {"position": f"“{place.name}” is there once on a car: leave the position empty."}
        )
    has = ", ".join(Position(value).label for value in place.allowed)
    raise ValidationError({"position": f"Say which one: “{place.name}” is {has}."})


def _open(
    by: By,
    *,
    vehicle: Vehicle,
    place: Place,
    position: str,
    provenance: str,
    evidence: list[tuple[str, str]] | None,
    confidence: str,
    fitted_at: datetime | None,
    best_evidence: str = "",
    **fields,
) -> FittedPart:
    refuse_before_built(by, vehicle, "no part was found on it")
    check_position(place, position)
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    _refuse_bad_fitting(by, fitted_at, vehicle, place, position)
    pieces = [(kind, what.strip()) for kind, what in evidence or [] if kind or what.strip()]
    for kind, what in pieces:
        if kind not in EvidenceKind.values or not what:
            raise ValidationError(
                {"evidence": "Each piece of evidence has a kind and says what was seen or said."}
            )
        best_evidence = stronger(best_evidence, kind)
    part = FittedPart(
        **by.stamp(),
        vehicle=vehicle,
        place=place,
        position=position,
        provenance=provenance,
        best_evidence=best_evidence,
        confidence=_checked_confidence(
            confidence or supported(best_evidence, provenance), best_evidence, provenance
        ),
        fitted_at=fitted_at,
        **fields,
    )
    there = FittedPart.objects.filter(vehicle=vehicle, place=place, position=position).fitted_now().first()
    if there is not None:
        raise ValidationError(
            {
                "place": f"{there.description} is on record in this place. If it is still there, assess that record "
                "again; if it was replaced, fit the new part on a work line, so that the old one is ended in the "
                "same act; if it never was there, mark it as entered in error."
            }
        )
    create(part)
    for kind, what in pieces:
        create(Evidence(**by.stamp(), part=part, kind=kind, what=what))
    if (earlier := fields.get("earlier_record")) is not None:
        carry_figures(by, earlier, part)
    note(
        part,
        vehicle=vehicle,
        job=_job_of(fields.get("fitted_by_line")),
        facts={
            "place": place,
            "position": position,
            "part_number": part.part_number,
            "provenance": provenance,
            "confidence": part.confidence,
            "evidence": [kind for kind, _ in pieces],
            "fitted_at": fitted_at,
            "replaces": fields.get("replaces"),
            "earlier_record": fields.get("earlier_record"),
        },
        words={
            **{name: getattr(part, name) for name in sorted(_WORDS)},
            "evidence": [what for _, what in pieces] or "",
        },
    )
    return part


def _note_changes(part: FittedPart, changes: dict, *, job=None, reason: str = "") -> None:
    """What changed: figures, choices and part numbers in the chain, what was typed in words beside it."""
    note(
        part,
        vehicle=part.vehicle_id,
        job=job,
        facts={
            "place": part.place,
            "position": part.position,
            "changes": {name: pair for name, pair in changes.items() if name not in _WORDS},
        },
        words={"reason": reason, **{name: pair for name, pair in changes.items() if name in _WORDS}},
    )


def _sureness(confidence: str) -> int:
    return [Confidence.OPEN, Confidence.LIKELY, Confidence.CONFIRMED].index(Confidence(confidence))


def _checked_confidence(confidence: str, best_evidence: str, provenance: str) -> str:
    if confidence not in Confidence.values:
        raise ValidationError({"confidence": "Say how sure this is."})
    most = supported(best_evidence, provenance)
    if _sureness(confidence) <= _sureness(most):
        return confidence
    if provenance == Provenance.UNKNOWN:
        sentence = "As long as it is unknown where the part comes from, this is an open question."
    elif not best_evidence:
        sentence = (
            f"Without evidence this can't be {CAN_SUPPORT[Confidence(confidence)]}. Add a piece of evidence, "
            "or leave it an open question."
        )
    else:
        sentence = (
            f"{EvidenceKind(best_evidence).label} alone makes it {CAN_SUPPORT[most]} at most. Add stronger evidence: "
            "a part number, a build record, the maker's word, a known original or an invoice."
        )
    raise ValidationError({"confidence": sentence})


def _refuse_bad_fitting(
    by: By,
    fitted_at: datetime | None,
    vehicle: Vehicle,
    place: Place,
    position: str,
    part: FittedPart | None = None,
) -> None:
    """Two parts can't have been in one place at the same time."""
    if fitted_at is None:
        return
    if fitted_at.year < vehicle.year - 1:
        raise ValidationError(
            {
                "fitted_at": f"The car is of model year {vehicle.year}: nothing was fitted to it in {fitted_at.year}. "
                "Leave the time empty where it isn't known."
            }
        )
    if fitted_at > by.received_at:
        raise ValidationError({"fitted_at": "This time lies in the future. Give when the part was fitted."})
    earlier = FittedPart.objects.filter(
        vehicle=vehicle, place=place, position=position, entered_in_error="", removed_at__gt=fitted_at
    )
    if part is not None:
        # Only what came before this part stands in its way.
        earlier = earlier.exclude(pk=part.pk).filter(removed_at__lte=part.removed_at or by.received_at)
    if (before := earlier.order_by("-removed_at").first()) is not None:
        until = date_format(timezone.localtime(before.removed_at), "j M Y H:i")
        raise ValidationError(
            {
                "fitted_at": f"{before.description} was in this place until {until}. Give that time or a later one."
            }
        )


def _refuse_error(part: FittedPart) -> None:
    if part.entered_in_error:
        raise ValidationError(
            f"This record was entered in error ({part.entered_in_error}). Record the part anew."
        )


def _refuse_unless_on_the_car(part: FittedPart) -> None:
    _refuse_error(part)
    if part.removed_at is not None:
        when = date_format(timezone.localtime(part.removed_at), "j M Y H:i")
        raise ValidationError(f"{part} came off already, on {when}.")


def _job_of(line):
    return getattr(line, "job_id", None)
