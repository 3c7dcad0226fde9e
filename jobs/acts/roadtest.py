"""Road test, or why there was none; and the last look before a car is called ready."""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db.models import Q

from jobs.models import FinalCheck, Job, RoadTest, Tag
from jobs.models.job import ThingKind
from jobs.open_job import lock, refuse_before_check_in, refuse_outside
from workshop.acting import By, act, create
from workshop.acting import note as say
from workshop.engineering.units import Amount
from workshop.models import Person
from workshop.permissions import May

_TENTH = Decimal("0.1")
# The link on the job's page that leads there, and the page's title: refusals name it.
CHANGE_CONSENT = "Change consent, plates, keys"


@act(May.ROAD_TEST)
def record_road_test(
    *,
    by: By,
    job: Job,
    driver: Person | None = None,
    driven: str = "",
    found: str = "",
    distance: Amount | None = None,
    licence_and_insurance: bool = False,
    not_done_because: str = "",
) -> RoadTest:
    """Write down what was driven and found, or "no road test, because". What stood at the time decides."""
    locked = lock(job)
    refuse_outside(locked)
    refuse_before_check_in(by, locked)
    driven, found, not_done_because = driven.strip(), found.strip(), not_done_because.strip()
    if not_done_because:
        if driver or driven or found or distance:
            raise ValidationError(
                {
                    "not_done_because": "Either it was driven, or not. Take this out, or what was driven and found."
                }
            )
        licence_and_insurance = False
    else:
        _refuse_driving(by, locked, driver=driver, driven=driven, found=found, licensed=licence_and_insurance)
    row = create(
        RoadTest(
            **by.stamp(),
            job=locked,
            driver=driver,
            driven=driven,
            found=found,
            distance_km=distance.base().quantize(_TENTH) if distance else None,
            distance_unit=distance.unit if distance else "",
            licence_and_insurance=licence_and_insurance,
            not_done_because=not_done_because,
        )
    )
    say(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={
            "driver": driver.pk if driver else None,
            "distance": distance,
        },
        words={"driven": driven, "found": found, "not_done_because": not_done_because},
    )
    return row


@act(May.FINAL_CHECK)
def final_check(
    *,
    by: By,
    job: Job,
    new_damage: str,
    tools_complete: bool,
    parts_complete: bool,
    note: str = "",
) -> FinalCheck:
    """The last look. What is missing is said; what is on record as out can't be called complete."""
    locked = lock(job)
    refuse_outside(locked)
    refuse_before_check_in(by, locked)
    if not new_damage.strip():
        raise ValidationError(
            {"new_damage": "Describe damage that was not there at check-in, or write that there is none."}
        )
    out = list(locked.things_out.filter(back_at=None))
    problems = {}
    for field, ticked, kinds in (
        ("tools_complete", tools_complete, (ThingKind.SPECIAL_TOOL, ThingKind.LOCK_KEY)),
        ("parts_complete", parts_complete, (ThingKind.CAR_PART,)),
    ):
        still = ", ".join(str(thing) for thing in out if thing.kind in kinds)
        if ticked and still:
            problems[field] = f"Still out: {still}. Write down that it is back, or take the tick out."
    if not (tools_complete and parts_complete) and not note.strip():
        problems["note"] = (
            "Say what is missing and where it may be. The car can't be called ready before it is found."
        )
    if problems:
        raise ValidationError(problems)
    row = create(
        FinalCheck(
            **by.stamp(),
            job=locked,
            new_damage=new_damage.strip(),
            tools_complete=tools_complete,
            parts_complete=parts_complete,
            note=note.strip(),
        )
    )
    say(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={
            "tools_complete": tools_complete,
            "parts_complete": parts_complete,
        },
        words={"new_damage": row.new_damage, "note": row.note},
    )
    return row


def standing_tags(vehicle_id, moment=None):
    """Tags on the car now, or those that stood at a moment."""
    rows = Tag.objects.filter(vehicle=vehicle_id).select_related(
        "run__version_used__procedure", "isolation", "made_by", "job"
    )
    if moment is None:
        return rows.filter(lifted_at=None)
    return rows.filter(Q(lifted_at=None) | Q(lifted_at__gt=moment), made_at__lte=moment)


def why_not_on_the_road(job: Job, moment=None) -> list[str]:
    """Everything that keeps this car off the road, each with what to do. Two queries."""
    sentences = []
    for tag in standing_tags(job.vehicle_id, moment):
        if tag.run_id and tag.run.completed_at is None and tag.run.abandoned_at is None:
            todo = "Complete that run first."
        elif tag.isolation_id and tag.isolation.re_energised_at is None:
            todo = "Have it re-energised by a qualified person first."
        else:
            todo = "Have the tag lifted first, with the reason."
        sentences.append(f"The car bears the tag “{tag.get_kind_display()}”: {tag.because}. {todo}")
    check_in = getattr(job, "check_in", None)
    if check_in is None or not check_in.road_test_consent:
        sentences.append(
            "There is no consent to road-test this car. Ask, write the consent down under "
            f"“{CHANGE_CONSENT}” on the job's page, then drive; or record why there was no road test."
        )
    if check_in is None or not check_in.plates_legal:
        sentences.append(
            "Nobody has seen that plates and insurance allow this car on the road. Look, write it down under "
            f"“{CHANGE_CONSENT}” on the job's page, then drive; or record why there was no road test."
        )
    return sentences


def _refuse_driving(
    by: By, job: Job, *, driver: Person | None, driven: str, found: str, licensed: bool
) -> None:
    problems: dict[str, list[str]] = {}
    if standing := why_not_on_the_road(job, by.made_at):
        problems["driven"] = standing
    if driver is None:
        problems["driver"] = ["Choose who drove, or say below why there was no road test."]
    elif not driver.is_staff_member:
        problems["driver"] = [f"{driver} is not of this shop now. Choose somebody from the list."]
    if not licensed:
        problems["licence_and_insurance"] = [
            "Only somebody licensed and insured for this car drives it. Tick when you have made sure; else let "
            "somebody drive who is, or say below why there was no road test."
        ]
    if not driven:
        problems.setdefault("driven", []).append("Say what was driven: roads, speeds, for how long.")
    if not found:
        problems["found"] = ["Say what was found; “nothing to find fault with” is a finding too."]
    if problems:
        raise ValidationError(problems)
