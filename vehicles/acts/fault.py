"""Acts on faults: reported, examined, and ended in exactly one way."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal, localcontext

from django.core.exceptions import ValidationError
from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format

from vehicles.acts import outstanding
from vehicles.acts.moments import refuse_before, refuse_before_built
from vehicles.acts.part import check_position
from vehicles.folding import folded
from vehicles.models import (
    DiagnosisStep,
    Fault,
    FaultCode,
    FaultEnd,
    Keeper,
    OutstandingItem,
    Place,
    Possibility,
    PossibilityFinding,
    RootCause,
    Severity,
    Vehicle,
)
from vehicles.models.fault import PossibilityEnd
from workshop.acting import By, act, create, note, save_changes
from workshop.engineering.codes import CodeError, trouble_code
from workshop.engineering.units import WORKING_DIGITS, Amount
from workshop.permissions import May

# What belongs to an end; empty on a fault without one.
END_FIELDS = {
    "end": "",
    "ended_at": None,
    "ended_by": None,
    "fixed_by_line": None,
    "check_made": "",
    "recheck_item": None,
    "tried": "",
    "outstanding_item": None,
    "normal_source": "",
    "same_as": None,
    "error_reason": "",
}
# Of these, what people typed: it stands beside the chain of events, not in it.
_WORDS = ("check_made", "tried", "normal_source", "error_reason")
_DECIMALS = 4


@act(May.REPORT_FAULT)
def report_fault(
    *,
    by: By,
    vehicle: Vehicle,
    kind: str,
    title: str,
    severity: str,
    words: str = "",
    reported_by: Keeper | None = None,
    conditions: str = "",
    place: Place | None = None,
    position: str = "",
    job=None,
) -> Fault:
    """Report a fault: what was said, as said, and when it shows.

    It waits for a handover of the car that is under way, so that a danger can't slip past it.
    """
    refuse_before_built(by, vehicle, "nothing was wrong with it")
    if position and place is None:
        raise ValidationError({"place": "Choose the place that this position belongs to."})
    if position:
        check_position(place, position)
    if job is not None and job.vehicle_id != vehicle.pk:
        raise ValidationError({"job": f"Job {job} is on another car. Choose a job of this one."})
    if reported_by is not None and not vehicle.keepers.filter(keeper=reported_by).exists():
        raise ValidationError(
            {
                "reported_by": f"{reported_by} plays no part for this car. Write that part down first, or leave "
                "this empty."
            }
        )
    # One row to lock per car, so that two people at once draw two numbers.
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    _refuse_closed(job)
    number = (vehicle.faults.aggregate(last=Max("order"))["last"] or 0) + 1
    fault = create(
        Fault(
            **by.stamp(),
            vehicle=vehicle,
            order=number,
            job=job,
            kind=kind,
            title=title.strip(),
            search_text=folded(title),
            words=words,
            reported_by=reported_by,
            conditions=conditions,
            place=place,
            position=position,
            severity=severity,
        )
    )
    note(
        fault,
        vehicle=vehicle,
        job=job,
        facts={
            "fault": fault.number,
            "kind": kind,
            "severity": severity,
            "place": place,
            "position": position,
            "reported_by": reported_by,
        },
        words={
            "title": fault.title,
            "words": words,
            "conditions": conditions,
            "reported_by": reported_by.name if reported_by else "",
        },
    )
    return fault


@act(May.DIAGNOSE)
def add_code(*, by: By, fault: Fault, code: str, control_unit: str = "", present: bool = True) -> FaultCode:
    """Add a trouble code as a control unit gave it: with its letter, or its bytes (see `engineering.codes`)."""
    refuse_before(by, fault, "the fault was reported")
    _refuse_after_end(by, fault)
    try:
        read = trouble_code(code)
    except CodeError as error:
        raise ValidationError({"code": str(error)}) from error
    row = create(
        FaultCode(
            **by.stamp(),
            fault=fault,
            code=read.code,
            control_unit=control_unit.strip(),
            present=present,
        )
    )
    note(
        row,
        vehicle=fault.vehicle_id,
        job=fault.job_id,
        facts={"fault": fault.number, "code": row.code, "present": present},
        words={"from": row.control_unit},
    )
    return row


@act(May.DIAGNOSE)
def add_step(
    *, by: By, fault: Fault, tried: str, seen: str, reading: Amount | None = None, job=None
) -> DiagnosisStep:
    """Add what was tried and what was seen, with a reading in its unit where there is one."""
    refuse_before(by, fault, "the fault was reported")
    _refuse_after_end(by, fault)
    if job is not None and job.vehicle_id != fault.vehicle_id:
        raise ValidationError({"job": f"Job {job} is on another car. Choose a job of this one."})
    for name, text in (("tried", tried), ("seen", seen)):
        if not text.strip():
            raise ValidationError({name: "Say what was tried and what was seen."})
    step = create(
        DiagnosisStep(
            **by.stamp(), fault=fault, job=job, tried=tried.strip(), seen=seen.strip(), **_reading(reading)
        )
    )
    note(
        step,
        vehicle=fault.vehicle_id,
        job=job or fault.job_id,
        facts={"fault": fault.number, "reading": reading},
        words={"tried": step.tried, "seen": step.seen},
    )
    return step


@act(May.DIAGNOSE)
def add_possibility(*, by: By, fault: Fault, what: str) -> Possibility:
    """Note what else it could be, so that the thought is not lost while something else is tried."""
    refuse_before(by, fault, "the fault was reported")
    _refuse_after_end(by, fault)
    if not what.strip():
        raise ValidationError({"what": "Say what it could be."})
    row = create(Possibility(**by.stamp(), fault=fault, what=what.strip()))
    note(
        row,
        vehicle=fault.vehicle_id,
        job=fault.job_id,
        facts={"fault": fault.number},
        words={"what": row.what},
    )
    return row


@act(May.DIAGNOSE)
def rule_out(*, by: By, possibility: Possibility, because: str) -> PossibilityFinding:
    """It is not that: on these grounds. One that was confirmed is ruled out once its cause is withdrawn."""
    if (found := _finding(possibility)) == PossibilityEnd.RULED_OUT:
        raise ValidationError("This is ruled out already.")
    if found == PossibilityEnd.CONFIRMED and possibility.fault.root_cause_id is not None:
        raise ValidationError(
            "This was confirmed as the cause. Say first that the cause does not explain the fault, then rule it out."
        )
    return _find(by, possibility, PossibilityEnd.RULED_OUT, because, "Say what rules it out.")


@act(May.DIAGNOSE)
def confirm_possibility(*, by: By, possibility: Possibility, because: str) -> PossibilityFinding:
    """It is that: on these grounds it becomes the fault's cause."""
    if _finding(possibility) == PossibilityEnd.CONFIRMED:
        raise ValidationError("This is confirmed already.")
    if not because.strip():
        raise ValidationError({"because": "Say what proves it."})
    fault = possibility.fault
    _refuse_after_end(by, fault)
    cause = name_cause(by=by, faults=[fault], description=possibility.what)
    return _find(by, possibility, PossibilityEnd.CONFIRMED, because, "Say what proves it.", cause)


@act(May.DIAGNOSE)
def take_up_again(*, by: By, possibility: Possibility, because: str) -> PossibilityFinding:
    """Ruled out, or confirmed, too early: it is possible again."""
    if _finding(possibility) in ("", PossibilityEnd.OPEN_AGAIN):
        raise ValidationError("This is still possible: nothing was found about it yet.")
    return _find(by, possibility, PossibilityEnd.OPEN_AGAIN, because, "Say why it is possible again.")


def _finding(possibility: Possibility) -> str:
    """What counts of a possibility, under the lock of its fault: two people may find at once."""
    Fault.objects.select_for_update(no_key=True).get(pk=possibility.fault_id)
    last = possibility.findings.order_by("-order").first()
    return last.finding if last else ""


def _find(
    by: By,
    possibility: Possibility,
    finding: PossibilityEnd,
    because: str,
    missing: str,
    cause: RootCause | None = None,
) -> PossibilityFinding:
    fault = possibility.fault
    refuse_before(by, possibility, "this was thought of")
    _refuse_after_end(by, fault)
    if not because.strip():
        raise ValidationError({"because": missing})
    number = (possibility.findings.aggregate(last=Max("order"))["last"] or 0) + 1
    row = create(
        PossibilityFinding(
            **by.stamp(),
            possibility=possibility,
            order=number,
            finding=finding.value,
            because=because.strip(),
            root_cause=cause,
        )
    )
    note(
        row,
        vehicle=fault.vehicle_id,
        job=fault.job_id,
        facts={"fault": fault.number, "possibility": possibility, "finding": finding.value, "cause": cause},
        words={"what": possibility.what, "because": row.because},
    )
    return row


@act(May.DIAGNOSE)
def set_reproduced(*, by: By, fault: Fault, seen_version: int, reproduced: str) -> Fault:
    """Say whether the fault showed itself in the workshop."""
    _refuse_ended(fault)
    changes = save_changes(fault, seen_version=seen_version, reproduced=reproduced)
    note(
        fault,
        vehicle=fault.vehicle_id,
        job=fault.job_id,
        facts={"fault": fault.number, "changes": changes},
    )
    return fault


@act(May.DIAGNOSE)
def set_severity(*, by: By, fault: Fault, seen_version: int, severity: str, reason: str) -> Fault:
    """Assess the fault again, with the reason."""
    _refuse_ended(fault)
    if not reason.strip():
        raise ValidationError({"reason": "Say what makes it more or less severe."})
    changes = save_changes(fault, seen_version=seen_version, severity=severity)
    note(
        fault,
        vehicle=fault.vehicle_id,
        job=fault.job_id,
        facts={"fault": fault.number, "changes": changes},
        words={"reason": reason},
    )
    return fault


@act(May.DIAGNOSE)
def name_cause(
    *, by: By, faults: list[Fault], description: str = "", cause: RootCause | None = None
) -> RootCause:
    """Name one cause that explains these faults of one car: a new one, or one that is on record (`cause`)."""
    faults = list(faults)
    if not faults:
        raise ValidationError({"faults": "Choose the faults that this cause explains."})
    cars = {fault.vehicle_id for fault in faults} | ({cause.vehicle_id} if cause else set())
    if len(cars) > 1:
        raise ValidationError({"faults": "One cause explains faults of one car: these are of several."})
    if cause is None:
        if not description.strip():
            raise ValidationError({"description": "Say what the cause is."})
        cause = create(RootCause(**by.stamp(), vehicle=faults[0].vehicle, description=description.strip()))
    changes = {fault.number: save_changes(fault, root_cause=cause) for fault in faults}
    note(
        cause,
        vehicle=cause.vehicle_id,
        facts={"faults": changes},
        words={"cause": cause.description},
    )
    return cause


@act(May.DIAGNOSE)
def withdraw_cause(*, by: By, fault: Fault, seen_version: int, reason: str) -> Fault:
    """The cause named does not explain this fault after all."""
    if fault.root_cause_id is None:
        raise ValidationError("No cause was named for this fault.")
    if not reason.strip():
        raise ValidationError({"reason": "Say why the cause does not explain this fault."})
    before = fault.root_cause
    save_changes(fault, seen_version=seen_version, root_cause=None)
    note(
        fault,
        vehicle=fault.vehicle_id,
        job=fault.job_id,
        facts={"fault": fault.number, "was": before},
        words={"reason": reason, "was": before.description},
    )
    return fault


@act(May.END_FAULT)
def end_fixed(
    *,
    by: By,
    fault: Fault,
    line,
    check_made: str,
    recheck_item: OutstandingItem | None = None,
    seen_version: int | None = None,
) -> Fault:
    """Fixed by a work line, with the check made afterwards. Called by the acts on work lines, in the same act.

    With `recheck_item`, an open item of the same car, it is repaired and not yet confirmed.
    """
    if line.job.vehicle_id != fault.vehicle_id:
        raise ValidationError({"line": f"Work line {line} is on another car."})
    if not check_made.strip():
        raise ValidationError({"check_made": "Name the check that was made afterwards, and what it showed."})
    if recheck_item is not None:
        recheck_item = _open_item(fault, recheck_item, "recheck_item")
    return _end(
        by,
        fault,
        seen_version,
        FaultEnd.FIXED,
        fixed_by_line=line,
        check_made=check_made.strip(),
        recheck_item=recheck_item,
    )


@act(May.END_FAULT)
def end_no_fault_found(*, by: By, fault: Fault, seen_version: int, tried: str) -> Fault:
    """No fault found: what was tried and what was seen is said, or it would only be a shrug."""
    if not tried.strip():
        raise ValidationError(
            {"tried": "Say what was tried and what was seen. The steps above may be taken over."}
        )
    return _end(by, fault, seen_version, FaultEnd.NO_FAULT_FOUND, tried=tried.strip())


@act(May.END_FAULT)
def end_outstanding(
    *, by: By, fault: Fault, seen_version: int, item: OutstandingItem | None = None, **new_item
) -> Fault:
    """It stays outstanding: as an item that is open on the car, or as a new one (arguments of `raise_item`).

    The item is at least as severe as the fault: else a dangerous fault could be left so as mere advice.
    """
    # The car before the fault, as everywhere: two acts that lock them crosswise would wait for each other.
    Vehicle.objects.select_for_update(no_key=True).get(pk=fault.vehicle_id)
    _refuse_ended(Fault.objects.select_for_update(no_key=True).get(pk=fault.pk))
    if item is None:
        new_item = {"title": fault.title, "severity": fault.severity, "place": fault.place, **new_item}
        new_item.setdefault("raised_in", fault.job)
        _refuse_milder(fault, new_item["severity"], "severity")
        item = outstanding.raise_item(by=by, vehicle=fault.vehicle, **new_item)
    else:
        item = _open_item(fault, item, "item")
        _refuse_milder(fault, item.severity, "item")
    return _end(by, fault, seen_version, FaultEnd.OUTSTANDING, outstanding_item=item)


@act(May.END_FAULT)
def end_normal(*, by: By, fault: Fault, seen_version: int, normal_source: str) -> Fault:
    """Normal for this car, with the source that says so."""
    if not normal_source.strip():
        raise ValidationError(
            {"normal_source": "Name the source that says so: the maker's data, a bulletin, a known good car."}
        )
    return _end(by, fault, seen_version, FaultEnd.NORMAL, normal_source=normal_source.strip())


@act(May.END_FAULT)
def end_same_as(*, by: By, fault: Fault, seen_version: int, same_as: Fault) -> Fault:
    """The same as another fault of the car, which carries it on. No circle may come of it."""
    if same_as.pk == fault.pk:
        raise ValidationError({"same_as": "A fault can't be the same as itself. Choose another one."})
    if same_as.vehicle_id != fault.vehicle_id:
        raise ValidationError({"same_as": f"{same_as} is a fault of another car. Choose one of this car."})
    # Two people at once, one each way, would close a circle that neither sees.
    Vehicle.objects.select_for_update(no_key=True).get(pk=fault.vehicle_id)
    faults = {row.pk: row for row in Fault.objects.filter(vehicle=fault.vehicle_id)}
    target = faults[same_as.pk]
    if target.end == FaultEnd.ERROR:
        raise ValidationError({"same_as": f"{target} was entered in error. Choose another one."})
    chain = [target]
    while chain[-1].same_as_id is not None:
        chain.append(faults[chain[-1].same_as_id])
        if chain[-1].pk == fault.pk:
            way = ", which is the same as ".join(f"F{row.order}" for row in chain)
            raise ValidationError(
                {"same_as": f"That would go round in a circle: {way}. Choose the fault that is worked on."}
            )
    return _end(by, fault, seen_version, FaultEnd.SAME_AS, same_as=target)


@act(May.END_FAULT)
def end_error(*, by: By, fault: Fault, seen_version: int, error_reason: str) -> Fault:
    """Entered in error; the record stays readable."""
    if not error_reason.strip():
        raise ValidationError({"error_reason": "Say why this was entered in error."})
    Vehicle.objects.select_for_update(no_key=True).get(pk=fault.vehicle_id)
    if (leaning := fault.duplicates.first()) is not None:
        raise ValidationError(
            f"{leaning} is ended as the same as this one. Reopen that one first, or its trace would be lost."
        )
    return _end(by, fault, seen_version, FaultEnd.ERROR, error_reason=error_reason.strip())


@act(May.END_FAULT)
def reopen(*, by: By, fault: Fault, reason: str, seen_version: int | None = None) -> Fault:
    """Take the end back, with the reason. The old end stands in the log; an outstanding item stays open."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why the fault is opened again."})
    current = Fault.objects.select_for_update(no_key=True).get(pk=fault.pk)
    if not current.end:
        raise ValidationError("This fault has no end: there is nothing to take back.")
    was = {name: getattr(current, name) for name in END_FIELDS}
    save_changes(fault, seen_version=seen_version, **END_FIELDS)
    note(
        fault,
        vehicle=fault.vehicle_id,
        job=fault.job_id,
        facts={"fault": fault.number, "was": {key: was[key] for key in was if key not in _WORDS}},
        words={"reason": reason, **{key: was[key] for key in _WORDS}},
    )
    return fault


def _end(by: By, fault: Fault, seen_version: int | None, end: FaultEnd, **fields) -> Fault:
    refuse_before(by, fault, "the fault was reported")
    _refuse_ended(Fault.objects.select_for_update(no_key=True).get(pk=fault.pk))
    save_changes(
        fault,
        seen_version=seen_version,
        **{**END_FIELDS, "end": end.value, "ended_at": by.made_at, "ended_by": by.person, **fields},
    )
    note(
        fault,
        vehicle=fault.vehicle_id,
        job=fields["fixed_by_line"].job_id if "fixed_by_line" in fields else fault.job_id,
        facts={
            "fault": fault.number,
            "end": end.value,
            **{key: value for key, value in fields.items() if key not in _WORDS},
        },
        words={key: value for key, value in fields.items() if key in _WORDS},
    )
    return fault


def _refuse_ended(fault: Fault) -> None:
    if fault.end:
        when = date_format(timezone.localtime(fault.ended_at), "j M Y H:i")
        raise ValidationError(
            f"This fault ended on {when}: {fault.end_words.lower()}. Reopen it first, with a reason.",
            code="ended",
        )


def _refuse_after_end(by: By, fault: Fault) -> None:
    """What was found before the end may still be written down late; what is found after it needs the fault open."""
    if fault.end and by.made_at > fault.ended_at:
        _refuse_ended(fault)


def _refuse_closed(job) -> None:
    """Read now, under the car's lock: a handover may have closed the job since the page was opened."""
    if job is not None and (current := type(job).objects.get(pk=job.pk)).is_closed:
        raise ValidationError(
            {
                "job": f"Job {current} is {current.get_state_display().lower()}: nothing is added to it. Choose an "
                "open job of this car, or leave this empty."
            }
        )


def _open_item(fault: Fault, item: OutstandingItem, field: str) -> OutstandingItem:
    """The item as it stands now, locked: somebody may have ended it since the page was opened."""
    item = OutstandingItem.objects.select_for_update(no_key=True).get(pk=item.pk)
    if item.vehicle_id != fault.vehicle_id:
        raise ValidationError({field: f"{item} is outstanding on another car. Choose one of this car."})
    if item.end:
        raise ValidationError({field: f"{item} has ended. Choose one that is open, or raise a new one."})
    return item


def _refuse_milder(fault: Fault, severity: str, field: str) -> None:
    if severity in Severity.values and Severity(severity).rank > Severity(fault.severity).rank:
        raise ValidationError(
            {
                field: f"The fault is {fault.severity}, the item would be {severity}. Make the item as severe, or "
                "assess the fault again first, with the reason."
            }
        )


def _reading(reading: Amount | None) -> dict:
    if reading is None:
        return {}
    if -reading.value.as_tuple().exponent > _DECIMALS:
        raise ValidationError({"reading": f"Give at most {_DECIMALS} decimals."})
    if abs(reading.value) >= 10**10:
        raise ValidationError({"reading": "Give a figure below 10000000000: choose a larger unit."})
    with localcontext(prec=WORKING_DIGITS):
        base = reading.base().quantize(Decimal("0.000001"), rounding=ROUND_HALF_EVEN)
    if abs(base) >= 10**12:
        raise ValidationError({"reading": "This figure is too large to be kept. Look at the unit again."})
    return {"value": reading.value, "unit": reading.unit, "base_value": base}
