"""What stands first: whose sheet it is, the answer in short, the car, its odometer, what was asked for."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from jobs import gate
from jobs.models import Job
from jobs.models.handover import SheetKind
from jobs.models.work import LineKind, WorkLine
from jobs.sheets.records import Records
from jobs.sheets.words import closed, day_of, first_sentence, in_minutes, on_one_line
from vehicles import odometer as odometers
from vehicles.models import FaultEnd, Instrument
from vehicles.models.fault import FaultKind
from workshop.engineering.odometer import TrueDistance
from workshop.models import Shop


def head(job: Job, kind: str, revision: int, issued_at: datetime) -> dict[str, Any]:
    shop = Shop.current()
    return {
        "number": job.number,
        "title": "Handover sheet" if kind == SheetKind.HANDOVER else "Collected unfinished",
        "kind": kind,
        "revision": revision,
        "issued": in_minutes(issued_at),
        "issued_at": issued_at,
        "paper": shop.paper,
        "shop": {
            "name": shop.name,
            "address": on_one_line(shop.address),
            "phone": shop.phone,
            "email": shop.email,
            "currency": shop.currency,
        },
    }


def glance(of: Records) -> dict[str, Any]:
    """The answer to "what about my car?": at the top, in short."""
    fixed = [fault for fault in of.faults if fault.end == FaultEnd.FIXED]
    told = {fault.fixed_by_line_id for fault in fixed}
    by_line = {line.pk: line for line in of.lines}
    done = [
        _put_right(by_line.get(fault.fixed_by_line_id), fault.title)
        + (" (repaired, not yet confirmed)" if fault.recheck_item_id else "")
        for fault in fixed
    ]
    known = {fault.pk for fault in of.faults}
    for line in of.lines:
        if not line.done_at or line.pk in told:
            continue
        if line.kind != LineKind.DIAGNOSIS:
            done.append(_put_right(line, line.complaint))
        elif not any(fault.pk in known for fault in line.faults.all()):
            # Where it looked into a fault, that fault says how it came out.
            done.append(f"Looked into: {line.complaint}")
    return {
        "fixed": done,
        "outstanding": [
            {
                "severity": item.severity,
                "label": item.severity_word,
                "title": item.title,
                "due": item.due_words,
            }
            for item in of.items
        ],
        "warnings": warnings(of),
    }


def _put_right(line: WorkLine | None, asked: str) -> str:
    """What was done first, then what it was done for: the complaint alone would read as the fault, still there."""
    did = first_sentence(line.correction).removesuffix(".") if line else ""
    return f"{did} (for: {asked})" if did and did.casefold() != asked.casefold() else asked


def warnings(of: Records) -> list[str]:
    """What keeps the car from being driven: said first and largest."""
    said = [f"{tag.get_kind_display()}: {tag.because.removesuffix('.')}." for tag in of.tags]
    for run in of.runs:
        if any(problem.critical for problem in run.state.problems):
            said.append(
                f"Not to be driven: the tightening “{run}” is not finished or not proven, on a joint on which "
                "safety depends."
            )
    return said


def vehicle(of: Records) -> dict[str, Any]:
    car = of.job.vehicle
    on = day_of(of.moment) if of.moment else None
    plates = [
        row
        for row in car.registrations.all()
        if (row.until_on is None or (on is not None and row.until_on > on))
        and (on is None or row.from_on is None or row.from_on <= on)
    ]
    plate = max(plates, key=lambda row: (row.from_on or date.min, row.made_at), default=None)
    return {
        "name": car.name,
        "variant": car.variant,
        "make": car.make,
        "model": car.model,
        "year": car.year,
        "number": car.number,
        "number_note": closed(car.number_unknown_because)
        or ("The number was questioned; the car bears it exactly so." if car.number_questions else ""),
        "plate": plate.plate if plate else "",
        "engine_number": car.engine_number,
        "colour": car.colour,
    }


def odometer(of: Records) -> dict[str, Any]:
    check_in = getattr(of.job, "check_in", None)
    came = check_in.odometer if check_in else None
    left = of.handover.odometer if of.handover else gate.odometer_out(of.job)
    last = left or came
    instruments = odometers.instruments_of(of.job.vehicle) if last else []
    truth = odometers.truth_at(last, instruments) if last else odometers.NO_READING
    return {
        "in": _reading(came),
        "out": _reading(left),
        "truth": truth.sentence,
        "why": _why_not_true(instruments, truth) if last else "",
        "flags": [flag.message for flag in truth.flags if flag.code == "lower_reading"],
    }


def _why_not_true(instruments: list[Instrument], truth: TrueDistance) -> str:
    """Why the true distance is not known, in a sentence that needs no knowledge of instruments."""
    if truth.km is not None:
        return ""
    if truth.known_since is None:
        return "There is no reading that it could be counted from."
    if any(each.fitted_on == truth.known_since for each in instruments[1:]):
        return (
            "On that day the odometer was replaced, and what the one before it had counted is on no record."
        )
    if any(flag.code == "lower_reading" for flag in truth.flags):
        return (
            "It once showed less than before, and nobody can say which was right: we count from that day on."
        )
    return "That day it was first read here: what came before, nobody here saw."


def _reading(row) -> dict[str, Any] | None:
    if row is None:
        return None
    return {
        "text": str(row)[:1].upper() + str(row)[1:],
        "when": in_minutes(row.read_at),
        "lower_because": row.lower_because,
        "falsified_by": row.falsified_by,
    }


def asked(of: Records) -> dict[str, Any]:
    return {
        "title": of.job.title,
        "complaints": [
            fault.title
            for fault in of.faults
            if fault.kind == FaultKind.COMPLAINT and fault.job_id == of.job.pk
        ],
    }
