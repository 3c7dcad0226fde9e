"""What was found and done: work lines with the faults they fixed, other faults, parts, measurements."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from jobs.models import Job, LineAnswer, Measurement, PartChange, WorkLine
from jobs.models.handover import SheetKind
from jobs.models.part import ChangeKind
from jobs.models.work import LineAnswerKind, LineKind
from jobs.sheets.records import Records
from jobs.sheets.words import in_days, lower_first
from vehicles.models import Fault, FaultEnd
from vehicles.models.fault import FaultKind
from vehicles.models.part import SuppliedBy


def lines(of: Records) -> list[dict[str, Any]]:
    return [_line(line, of.fixed_by(line)) for line in of.lines]


def _line(line: WorkLine, fixed: list[Fault]) -> dict[str, Any]:
    answer = next((row for row in reversed(line.answers.all()) if row.answer == line.answer), None)
    return {
        "order": line.order,
        "kind": line.get_kind_display() if line.kind == LineKind.SERVICE else "",
        "complaint": line.complaint,
        "cause": line.cause,
        "correction": line.correction,
        "state": _line_state(line, answer),
        "done": line.done_at is not None,
        "authority": _line_authority(line, answer),
        "by": str(line.technician) if line.technician else "",
        "qualified": f"{line.get_competence_display()}: {line.qualified.person}" if line.qualified else "",
        "faults": [
            {
                "kind": _kind(fault),
                "title": fault.title,
                "end": lower_first(fault.end_words),
                "cause": str(fault.root_cause or ""),
                "check": fault.check_made,
            }
            for fault in fixed
        ],
    }


def _kind(fault: Fault) -> str:
    return "Complaint" if fault.kind == FaultKind.COMPLAINT else "Finding"


def _line_state(line: WorkLine, answer: LineAnswer | None) -> str:
    if line.done_at:
        return f"Done {in_days(line.done_at)}"
    if line.dropped_because:
        return f"Not done: {line.dropped_because}"
    if line.answer == LineAnswerKind.NO:
        return f"Declined {in_days(answer.answered_at)}" if answer else "Declined"
    if line.answer == LineAnswerKind.LATER:
        return f"Put off {in_days(answer.answered_at)}" if answer else "Put off"
    return "Not finished"


def _line_authority(line: WorkLine, answer: LineAnswer | None) -> str:
    if line.answer == LineAnswerKind.YES and answer is not None:
        return f"authorised {in_days(answer.answered_at)} {lower_first(answer.get_channel_display())}"
    if line.answer or line.dropped_because:
        return ""
    if line.kind == LineKind.MAKE_SAFE:
        told = f"; the owner was told {in_days(line.told_owner_at)}" if line.told_owner_at else ""
        late = f" (not the same day: {line.told_late_because})" if line.told_late_because else ""
        return f"making safe needs no authority{told}{late}"
    if line.kind == LineKind.DIAGNOSIS:
        return "covered by what was agreed without asking"
    return ""


def other_faults(of: Records) -> list[dict[str, Any]]:
    """Faults that stand neither under the line that fixed them nor under what is still outstanding."""
    return [_fault(fault) for fault in of.other_faults]


def _fault(fault: Fault) -> dict[str, Any]:
    detail = {
        FaultEnd.FIXED: f"Checked afterwards: {fault.check_made}",
        FaultEnd.NO_FAULT_FOUND: f"Tried and seen: {fault.tried}",
        FaultEnd.NORMAL: f"Source: {fault.normal_source}",
        FaultEnd.SAME_AS: f"The same as “{fault.same_as.title if fault.same_as else ''}”.",
    }.get(fault.end, "")
    elsewhere = fault.end == FaultEnd.FIXED and fault.fixed_by_line
    return {
        "kind": _kind(fault),
        "title": fault.title,
        "where": fault.where,
        "end": fault.end_words,
        "on": fault.fixed_by_line.job.number if elsewhere else "",
        "cause": str(fault.root_cause or ""),
        "detail": detail,
    }


def not_done(of: Records) -> list[str]:
    if of.kind != SheetKind.UNFINISHED:
        return []
    said = []
    for line in of.lines:
        if line.is_open and line.answer not in (LineAnswerKind.NO, LineAnswerKind.LATER):
            begun = " Begun; what was done so far stands above." if line.correction else ""
            said.append(f"“{line.complaint}” is not finished.{begun}")
    for run in of.runs:
        if run.abandoned_at is None and run.completed_at is None:
            said.append(f"The tightening “{run}” is not completed.")
    if not of.job.road_tests.all():
        said.append("No road test was made.")
    return said


def parts(job: Job) -> list[dict[str, Any]]:
    changes = PartChange.objects.filter(line__job=job).select_related(
        "line", "part_on__place", "part_off__place"
    )
    return [_part_change(change) for change in changes.order_by("line__order", "made_at")]


def _part_change(change: PartChange) -> dict[str, Any]:
    on, off = change.part_on, change.part_off
    if change.kind == ChangeKind.REFITTED:
        return {
            "kind": change.get_kind_display(),
            "where": on.where,
            "on": on.description,
            "facts": "",
            "off": "",
            "note": change.note,
            "line": change.line.order,
        }
    facts = []
    if on is not None:
        facts.append(on.get_provenance_display())
        if on.supply_quality != "not_known":
            facts.append(on.get_supply_quality_display().lower())
        facts.append(
            "supplied by you: no parts warranty"
            + ("" if on.specification_known else ", specification not known")
            if on.supplied_by == SuppliedBy.OWNER
            else f"supplied by {on.get_supplied_by_display().lower()}"
        )
        facts.append(f"{on.get_confidence_display().lower()}")
    gone = ""
    if off is not None:
        where = off.get_whereabouts_display() if off.whereabouts else "not recorded where it went"
        gone = f"{off.description}: {lower_first(where)}" + (
            f" ({off.whereabouts_note})" if off.whereabouts_note else ""
        )
    return {
        "kind": change.get_kind_display(),
        "where": (on or off).where,
        "on": f"{on.description}{', no. ' + on.part_number if on.part_number else ''}" if on else "",
        "facts": "; ".join(facts),
        "off": gone,
        "note": change.note,
        "line": change.line.order,
    }


def measurements(job: Job) -> list[dict[str, Any]]:
    rows = Measurement.objects.counting().filter(line__job=job).select_related("place")
    return measured(rows.order_by("line__order", "made_at"))


def measured(rows: Iterable[Measurement]) -> list[dict[str, Any]]:
    """One row for what was measured at one place: before and after side by side. Measured again, the last counts."""
    found: dict[tuple, dict[str, Any]] = {}
    for row in rows:
        key = (row.what, row.place_id, row.position)
        entry = found.setdefault(
            key,
            {
                "what": row.what,
                "where": _where(row),
                "before": "",
                "after": "",
                "limits": "",
                "source": "",
                "verdict": "",
                "verdict_label": "",
                "instrument": "",
                "note": "",
            },
        )
        entry[row.phase] = row.reading
        entry.update(
            limits=row.limits_words or entry["limits"],
            source=row.limit_source or entry["source"],
            verdict="none" if row.verdict == "no_limit" else row.verdict,
            verdict_label=row.get_verdict_display(),
            instrument=row.instrument or entry["instrument"],
            note=row.note or entry["note"],
        )
    return list(found.values())


def _where(row: Measurement) -> str:
    """The place, unless what was measured names it already."""
    if row.place is None or (not row.position and row.place.name.casefold() in row.what.casefold()):
        return ""
    return row.place.with_position(row.position)
