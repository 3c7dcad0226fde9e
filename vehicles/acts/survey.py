"""Acts of the walkaround survey: begun by one, carried on by another, finished with a summary."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.acts.moments import refuse_before, refuse_before_built
from vehicles.acts.part import check_position, record_part
from vehicles.models import FittedPart, Place, Provenance, Survey, SurveyEntry, Vehicle
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
        said = set(survey.entries.filter(place=place).values_list("position", flat=True))
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
def record_part_seen(
    *, by: By, survey: Survey, place: Place, position: str = "", note: str = "", **part_fields
) -> FittedPart:
    """Record a part that the survey found, with the survey's entry for its place and its `note`, in one act.

    `part_fields` are those of `record_part`. A part of unknown provenance makes the entry an open question.
    """
    survey = _open_survey(by, survey)
    part = record_part(by=by, vehicle=survey.vehicle, place=place, position=position, **part_fields)
    if part.is_factory:
        finding = SurveyFinding.AS_FACTORY
    elif part.provenance == Provenance.UNKNOWN:
        finding = SurveyFinding.OPEN
    else:
        finding = SurveyFinding.NOT_FACTORY
    record_entry(
        by=by, survey=survey, place=place, position=position, finding=finding.value, part=part, note=note
    )
    return part


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
                    "finding": f"{part.description} is on record in this place. If it was taken off, record that on "
                    "a work line; if it never was there, mark it as entered in error."
                }
            )
        return None
    return part
