"""Acts of the walkaround survey: begun by one, carried on by another, finished with a summary."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.acts import fault as faults
from vehicles.acts import outstanding
from vehicles.acts.moments import refuse_before, refuse_before_built
from vehicles.acts.part import check_position, end_part, record_part
from vehicles.models import (
    Fault,
    FittedPart,
    OutstandingItem,
    Place,
    Provenance,
    Severity,
    Survey,
    SurveyEntry,
    Vehicle,
    Zone,
)
from vehicles.models.fault import FaultKind
from vehicles.models.outstanding import OutstandingReason
from vehicles.models.survey import SurveyFinding
from workshop.acting import By, act, create, note
from workshop.permissions import May


@act(May.SURVEY)
def start_survey(*, by: By, vehicle: Vehicle, job=None) -> Survey:
    """Begin a survey; a car has one open survey at a time."""
    refuse_before_built(by, vehicle, "it was not surveyed")
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    if job is not None and job.vehicle_id != vehicle.pk:
        raise ValidationError({"job": f"Job {job} is on another car. Choose a job of this one."})
    if (open_one := vehicle.surveys.filter(finished_at=None).select_related("made_by").first()) is not None:
        began = date_format(timezone.localtime(open_one.made_at), "j M Y")
        raise ValidationError(
            f"A survey of this car is open, begun by {open_one.made_by} on {began}. Go on with that one.",
            code="survey_open",
        )
    survey = create(Survey(**by.stamp(), vehicle=vehicle, job=job))
    note(survey, vehicle=vehicle, job=job)
    return survey


@act(May.SURVEY)
def record_entry(
    *,
    by: By,
    survey: Survey,
    place: Place,
    position: str = "",
    finding: str,
    part: FittedPart | None = None,
    note: str = "",
) -> SurveyEntry:
    """Say what is in one place. A later entry for the same place stands beside the earlier one and counts.

    Without a position, at a place that is there several times, it is said of every position that this survey has
    not spoken of; the last entry is returned. What contradicts the part on record is refused.
    """
    survey = _open_survey(by, survey)
    note = note.strip()
    if finding not in SurveyFinding.values:
        raise ValidationError({"finding": "Say what was found."})
    if part is not None:
        _refuse_other_part(survey, place, position, part)
    positions = [position]
    if not position and place.asked != ("",):
        if part is not None:
            check_position(place, position)
        said = set(survey.entries.counting().filter(place=place).values_list("position", flat=True))
        positions = [one for one in place.asked if one not in said] or list(place.asked)
    else:
        check_position(place, position)
    on_record = {
        row.position: row
        for row in FittedPart.objects.filter(vehicle=survey.vehicle_id, place=place)
        .fitted_now()
        .select_related("place")
    }
    entry = None
    for one in positions:
        entry = create(
            SurveyEntry(
                **by.stamp(),
                survey=survey,
                place=place,
                position=one,
                finding=finding,
                part=_fitting_part(finding, part, on_record.get(one)),
                note=note,
            )
        )
    _note(
        entry,
        vehicle=survey.vehicle_id,
        job=survey.job_id,
        facts={
            "place": place,
            "positions": positions,
            "finding": finding,
            "part": entry.part,
        },
        words={"note": note},
    )
    return entry


@act(May.SURVEY)
def record_zone_as_factory(*, by: By, survey: Survey, zone: str) -> Survey:
    """Say of every place of a zone, in one act, that it is as the factory made it.

    Left for an answer of their own: places of which anything was said, and places with a part on record that is
    not the factory's. Refused where nothing remains. A later answer for a place counts instead of this one.
    """
    survey = _open_survey(by, survey)
    if zone not in Zone.values:
        raise ValidationError({"zone": "Choose the zone that this is said of."})
    said = set(survey.entries.counting().values_list("place_id", flat=True))
    parts = list(
        FittedPart.objects.filter(vehicle=survey.vehicle_id, place__zone=zone)
        .fitted_now()
        .select_related("place")
    )
    odd = {part.place_id for part in parts if not part.is_factory}
    places = [place for place in Place.objects.filter(zone=zone) if place.pk not in said | odd]
    if not places:
        raise ValidationError(
            f"Nothing is left to be said of all “{Zone(zone).label}” at once: each place was spoken of, or has a "
            "part on record that is not the factory's and waits for its own answer.",
            code="zone_said",
        )
    on_record = {(part.place_id, part.position): part for part in parts}
    # Nothing in these was typed, and the database keeps their rules: one insert, not a look at each.
    SurveyEntry.objects.bulk_create(
        SurveyEntry(
            **by.stamp(),
            survey=survey,
            place=place,
            position=position,
            finding=SurveyFinding.AS_FACTORY,
            part=on_record.get((place.pk, position)),
        )
        for place in places
        for position in place.asked
    )
    _note(
        survey,
        vehicle=survey.vehicle_id,
        job=survey.job_id,
        facts={
            "zone": zone,
            "finding": SurveyFinding.AS_FACTORY.value,
            "places": [place.pk for place in places],
        },
    )
    return survey


@act(May.SURVEY)
def record_part_seen(
    *,
    by: By,
    survey: Survey,
    place: Place,
    position: str = "",
    positions: list[str] | None = None,
    note: str = "",
    instead: bool = False,
    look_into: str = "",
    as_item: bool = False,
    **part_fields,
) -> FittedPart:
    """Record a part that the survey found, with the survey's entry for its place and its `note`, in one act.

    The same part in several `positions` is a record in each; the first is returned. `part_fields` are those of
    `record_part`. A part of unknown provenance makes the entry an open question. `instead`: what was on record there
    is gone, it came off elsewhere. With a severity in `look_into` a fault is raised, or with `as_item` an
    outstanding item.
    """
    survey = _open_survey(by, survey)
    parts = []
    for one in positions or [position]:
        there = (
            FittedPart.objects.filter(vehicle=survey.vehicle_id, place=place, position=one)
            .fitted_now()
            .first()
        )
        if instead and there is not None:
            end_part(by=by, part=there, whereabouts_note="found gone in a survey; it came off elsewhere")
        part = record_part(by=by, vehicle=survey.vehicle, place=place, position=one, **part_fields)
        if part.is_factory:
            finding = SurveyFinding.AS_FACTORY
        elif part.provenance == Provenance.UNKNOWN:
            finding = SurveyFinding.OPEN
        else:
            finding = SurveyFinding.NOT_FACTORY
        record_entry(
            by=by, survey=survey, place=place, position=one, finding=finding.value, part=part, note=note
        )
        parts.append(part)
    if look_into:
        _raise(
            by,
            survey,
            place,
            position=parts[0].position if len(parts) == 1 else "",
            severity=look_into,
            as_item=as_item,
            title=parts[0].description,
            detail=parts[0].follows or note,
        )
    return parts[0]


@act(May.SURVEY)
def look_into(
    *,
    by: By,
    survey: Survey,
    place: Place,
    position: str = "",
    severity: str,
    as_item: bool = False,
) -> Fault | OutstandingItem:
    """Raise a fault, or with `as_item` an outstanding item, on what the survey says of a place.

    Also after the survey was finished: its report is where one sees what nobody has taken up.
    """
    said = (
        survey.entries.counting()
        .filter(place=place)
        .select_related("part")
        .order_by("made_at", "received_at")
    )
    if position:
        check_position(place, position)
        said = said.filter(position=position)
    telling = [row for row in said if row.finding in (SurveyFinding.NOT_FACTORY, SurveyFinding.OPEN)]
    if not telling:
        raise ValidationError(
            f"The survey raised nothing at “{place.with_position(position)}”: say first what is there."
        )
    entry = telling[-1]
    part = entry.part
    return _raise(
        by,
        survey,
        place,
        position=position,
        severity=severity,
        as_item=as_item,
        title=part.description if part else entry.note,
        detail=(part.follows if part else "") or (entry.note if part else ""),
    )


def _raise(
    by: By,
    survey: Survey,
    place: Place,
    *,
    position: str,
    severity: str,
    as_item: bool,
    title: str,
    detail: str,
) -> Fault | OutstandingItem:
    if severity not in Severity.values:
        raise ValidationError({"severity": "Say how serious it is, by your own judgement."})
    vehicle = Vehicle.objects.select_for_update(no_key=True).get(pk=survey.vehicle_id)
    job = survey.job if survey.job_id and not survey.job.is_closed else None
    if as_item:
        title = title[:160]
        same = vehicle.outstanding_items.open().filter(place=place, title=title).first()
    else:
        title = title[:120]
        same = vehicle.faults.without_end().filter(place=place, title=title, position=position).first()
    if same is not None:
        raise ValidationError(
            f"{same} stands on this place already, written down by {same.made_by}: go on with that one.",
            code="raised_already",
        )
    if as_item:
        return outstanding.raise_item(
            by=by,
            vehicle=vehicle,
            title=title,
            severity=severity,
            reason=OutstandingReason.BEYOND.value,
            detail=detail,
            place=place,
            raised_in=job,
        )
    return faults.report_fault(
        by=by,
        vehicle=vehicle,
        kind=FaultKind.FINDING.value,
        title=title,
        severity=severity,
        words=detail,
        place=place,
        position=position,
        job=job,
    )


@act(May.SURVEY)
def finish_survey(*, by: By, survey: Survey, summary: str) -> Survey:
    """Finish the survey. Places of which nothing was said stay so, and the report says it."""
    survey = _open_survey(by, survey)
    summary = summary.strip()
    if not summary:
        raise ValidationError(
            {"summary": "Say what should be looked into first, and why; “nothing” is an answer."}
        )
    if not survey.entries.exists():
        raise ValidationError("Nothing was said of any place yet: walk round the car first.")
    survey.finished_at, survey.finished_by, survey.summary = by.made_at, by.person, summary
    survey.full_clean()
    survey.save(update_fields=["finished_at", "finished_by", "summary"])
    note(
        survey,
        vehicle=survey.vehicle_id,
        job=survey.job_id,
        facts={"entries": survey.entries.count()},
        words={"summary": summary},
    )
    return survey


_note = note  # for the acts whose own argument is called so


def _open_survey(by: By, survey: Survey) -> Survey:
    """The survey as it stands now, locked; refused in words when somebody has finished it."""
    survey = (
        Survey.objects.select_for_update(no_key=True, of=("self",))
        .select_related("finished_by", "vehicle")
        .get(pk=survey.pk)
    )
    if survey.finished_at is not None:
        when = date_format(timezone.localtime(survey.finished_at), "j M Y H:i")
        raise ValidationError(
            f"{survey.finished_by} finished this survey on {when}. Start a new one to say more.",
            code="finished",
        )
    refuse_before(by, survey, "the survey was begun")
    return survey


def _refuse_other_part(survey: Survey, place: Place, position: str, part: FittedPart) -> None:
    if part.vehicle_id != survey.vehicle_id or part.place_id != place.pk or part.position != position:
        raise ValidationError(
            {"part": f"{part} is not the part in this place. Choose the one recorded there."}
        )
    if part.removed_at is not None or part.entered_in_error:
        raise ValidationError({"part": f"{part} is not on the car any more. Record what is there now."})


def _fitting_part(finding: str, part: FittedPart | None, on_record: FittedPart | None) -> FittedPart | None:
    """The part that this entry is about; refused where the finding contradicts what is on record."""
    part = part or on_record
    if finding == SurveyFinding.NOT_FACTORY:
        if part is None:
            raise ValidationError({"part": "Record the part first, so that the entry can name it."})
        if part.is_factory:
            raise ValidationError(
                {
                    "finding": f"{part.description} is on record as “{part.get_provenance_display().lower()}”. "
                    "Assess that part again, with a reason, before the place is called not as the factory made it."
                }
            )
    if finding == SurveyFinding.AS_FACTORY and part is not None and not part.is_factory:
        raise ValidationError(
            {
                "finding": f"{part.description} is on record in this place as "
                f"“{part.get_provenance_display().lower()}”. Assess that part again, with a reason, or mark it as "
                "entered in error."
            }
        )
    if finding == SurveyFinding.NOT_PRESENT:
        if part is not None:
            raise ValidationError(
                {
                    "finding": f"{part.description} is on record in this place. If it was taken off here, record that on "
                    "a work line; if it came off elsewhere, say so on the part's page; if it never was there, mark "
                    "it as entered in error."
                }
            )
        return None
    return part
