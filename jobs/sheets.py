"""What a handover sheet says, gathered from the records into plain data.

The template draws from this data alone, and its hash is what the sheet prints: what was hashed is what is read.
Two parts. The technical one goes with the car and names nobody outside the shop. The personal one (keeper, prices,
the owner's own words) can be taken off, and erased without touching the technical part.

For a job that is closed the data is gathered as of its handover: what happens to the car later, on other jobs,
does not change it; what is written down late for this job does (`revision_due`).
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Prefetch, Q
from django.utils import timezone
from django.utils.formats import date_format

from jobs import gate
from jobs import runs as run_reads
from jobs.models import (
    Handover,
    Job,
    LabourEntry,
    LineAnswer,
    Measurement,
    PartChange,
    PartUsed,
    Run,
    SheetRevision,
    Tag,
    TorqueReading,
    WorkLine,
)
from jobs.models.handover import SheetKind
from jobs.models.part import ChangeKind
from jobs.models.torque import DispositionKind
from jobs.models.work import LineAnswerKind, LineKind, time_words
from jobs.runs import RunState, StageState, StepState
from vehicles import odometer
from vehicles.models import Fault, FaultEnd, KeeperPart, OutstandingItem, Severity, VehicleKeeper
from vehicles.models.fault import FaultKind
from vehicles.models.part import SuppliedBy
from workshop.canonical import canonical, plain, sha256
from workshop.engineering.units import Amount, show
from workshop.engineering.verdict import DecisionRule
from workshop.models import Shop

# Sections of the technical part, in the order of the print, with their titles.
SECTIONS = {
    "vehicle": "The car",
    "odometer": "Odometer",
    "asked": "What you asked for",
    "lines": "What we found and did",
    "faults": "Faults, and how each ended",
    "not_done": "Not done",
    "outstanding": "Still outstanding",
    "parts": "Parts fitted and removed",
    "runs": "Tightening",
    "measurements": "Measurements",
    "road_test": "Road test and final check",
    "waivers": "Let go by the lead",
    "advice": "Good to know",
    "leaving": "How the car left",
}


@dataclass(frozen=True)
class SheetData:
    """Both parts as plain data (text, numbers as text, lists, dicts), each with its canonical text and hash."""

    technical: dict[str, Any]
    personal: dict[str, Any]

    @property
    def technical_text(self) -> str:
        return canonical(self.technical)

    @property
    def personal_text(self) -> str:
        return canonical(self.personal)

    @property
    def hashes(self) -> tuple[str, str]:
        return sha256(self.technical_text), sha256(self.personal_text)


def gather(
    job: Job,
    *,
    revision: int,
    issued_at: datetime,
    kind: str = SheetKind.HANDOVER,
    change_note: str = "",
    previous: SheetRevision | None = None,
) -> SheetData:
    """Everything that one revision of a job's sheet says. A fixed number of queries, whatever the job holds."""
    job = Job.objects.select_related(
        "vehicle",
        "lead",
        "technician",
        "payer",
        "authoriser",
        "check_in__odometer__instrument",
        "check_in__brought_by",
        "handover__odometer__instrument",
        "handover__collected_by",
        "handover__made_by",
    ).get(pk=job.pk)
    body = _Gathering(job, kind).body()
    head = _head(job, kind, revision, issued_at)
    technical = {"sheet": head, "body": body}
    if previous is not None:
        head["previous_revision"] = previous.revision
        head["changes"] = {
            "note": change_note,
            "sections": changed_sections(json.loads(previous.technical)["body"], body),
        }
    personal = {
        "sheet": {name: head[name] for name in ("number", "revision", "title", "issued")},
        **_personal(job, head["shop"]["currency"]),
    }
    # Only what JSON holds, so that the template can't reach past the data that is hashed.
    return SheetData(plain(technical), plain(personal))


def redacted(previous: SheetRevision, *, revision: int, issued_at: datetime, reason: str) -> SheetData:
    """The same technical part again, without the personal one: what an erasure issues."""
    technical = json.loads(previous.technical)
    head = technical["sheet"]
    head.update(
        revision=revision,
        previous_revision=previous.revision,
        issued=_moment(issued_at),
        issued_at=issued_at,
        redacted=True,
    )
    head["changes"] = {"note": reason, "sections": ["Keeper and prices"]}
    personal = {
        "sheet": {name: head[name] for name in ("number", "revision", "title", "issued")},
        "erased": True,
    }
    return SheetData(plain(technical), plain(personal))


def changed_sections(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """Titles of the sections that say something else now."""
    return [title for name, title in SECTIONS.items() if before.get(name) != after.get(name)]


def revision_due(job: Job) -> list[str]:
    """What was written down for a job since its sheet was frozen, by section; empty where the sheet stands.

    Outstanding items live on after the job, so of them only which ones there were counts.
    """
    latest = job.sheets.order_by("-revision").first() if job.is_closed else None
    if latest is None:
        return []
    before = json.loads(latest.technical)["body"]
    after = plain(
        gather(job, revision=latest.revision, issued_at=latest.made_at, kind=latest.kind).technical
    )["body"]
    for body in (before, after):
        body["outstanding"] = sorted(item["title"] for item in body["outstanding"])
    return changed_sections(before, after)


def _head(job: Job, kind: str, revision: int, issued_at: datetime) -> dict[str, Any]:
    shop = Shop.current()
    return {
        "number": job.number,
        "title": "Handover sheet" if kind == SheetKind.HANDOVER else "Collected unfinished",
        "kind": kind,
        "revision": revision,
        "issued": _moment(issued_at),
        "issued_at": issued_at,
        "paper": shop.paper,
        "shop": {
            "name": shop.name,
            "address": _on_one_line(shop.address),
            "phone": shop.phone,
            "email": shop.email,
            "currency": shop.currency,
        },
    }


class _Gathering:
    """One pass over a job's records: each method answers one section."""

    def __init__(self, job: Job, kind: str):
        self.job = job
        self.kind = kind
        self.handover: Handover | None = getattr(job, "handover", None)
        # As of when: the handover, or now.
        self.moment: datetime | None = self.handover.made_at if self.handover else None
        self.lines = list(
            job.lines.order_by("order")
            .select_related("technician", "qualified__person", "told_owner")
            .prefetch_related(
                "faults", "items", Prefetch("answers", LineAnswer.objects.order_by("answered_at"))
            )
        )
        self.faults = list(
            Fault.objects.filter(Q(job=job) | Q(lines__job=job))
            .distinct()
            .order_by("order")
            .select_related(
                "fixed_by_line__job", "outstanding_item", "same_as", "recheck_item", "place", "root_cause"
            )
        )
        self.runs = _runs_of(job)
        self.items = self._items()
        self.tags = self._tags()

    def body(self) -> dict[str, Any]:
        return {
            "vehicle": self.vehicle(),
            "odometer": self.odometer(),
            "asked": self.asked(),
            "glance": self.glance(),
            "lines": [self.line(line) for line in self.lines],
            "faults": [_fault(fault) for fault in self.faults if fault.end != FaultEnd.ERROR],
            "not_done": self.not_done(),
            "outstanding": [_item(item, self.job) for item in self.items],
            "parts": self.parts(),
            "runs": [_run(run) for run in self.runs],
            "tools": list(dict.fromkeys(text for run in self.runs for text in run.state.tool_words)),
            "rules": sorted(
                {DecisionRule(row.rule).label for run in self.runs for row in _judged(run.state)}
            ),
            "measurements": self.measurements(),
            "road_test": self.road_test(),
            "waivers": self.waivers(),
            "advice": self.advice(),
            "leaving": self.leaving(),
            "lead": str(self.job.lead or (self.handover.made_by if self.handover else "")),
        }

    def _items(self) -> list[OutstandingItem]:
        rows = OutstandingItem.objects.filter(vehicle=self.job.vehicle_id)
        if self.moment is None:
            rows = rows.filter(end="")
        else:
            # What was open then; and what this job raised afterwards and is open still, such as by a late reading.
            then = Q(made_at__lte=self.moment) & (Q(ended_at=None) | Q(ended_at__gt=self.moment))
            rows = rows.filter(then | Q(raised_in=self.job, end=""))
        return list(
            rows.annotate(rank=Severity.order())
            .order_by("rank", "due_on", "made_at", "order")
            .prefetch_related("tellings__witness")
        )

    def _tags(self) -> list[Tag]:
        rows = Tag.objects.filter(vehicle=self.job.vehicle_id).order_by("made_at", "kind")
        if self.moment is None:
            return list(rows.filter(lifted_at=None))
        return list(
            rows.filter(made_at__lte=self.moment).filter(Q(lifted_at=None) | Q(lifted_at__gt=self.moment))
        )

    def vehicle(self) -> dict[str, Any]:
        car = self.job.vehicle
        on = _day_of(self.moment) if self.moment else None
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
            "number_note": car.number_unknown_because
            or ("The number was questioned; the car bears it exactly so." if car.number_questions else ""),
            "plate": plate.plate if plate else "",
            "engine_number": car.engine_number,
            "colour": car.colour,
        }

    def odometer(self) -> dict[str, Any]:
        check_in = getattr(self.job, "check_in", None)
        came = check_in.odometer if check_in else None
        left = self.handover.odometer if self.handover else gate.odometer_out(self.job)
        last = left or came
        truth = odometer.truth_at(last) if last else odometer.NO_READING
        return {
            "in": _reading(came),
            "out": _reading(left),
            "truth": _plain_days(truth.sentence),
            "flags": [_plain_days(flag.message) for flag in truth.flags if flag.code == "lower_reading"],
        }

    def asked(self) -> dict[str, Any]:
        return {
            "title": self.job.title,
            "complaints": [
                fault.title
                for fault in self.faults
                if fault.kind == FaultKind.COMPLAINT
                and fault.job_id == self.job.pk
                and fault.end != FaultEnd.ERROR
            ],
        }

    def glance(self) -> dict[str, Any]:
        """The answer to "what about my car?": at the top, in short."""
        fixed = [fault for fault in self.faults if fault.end == FaultEnd.FIXED]
        told = {fault.fixed_by_line_id for fault in fixed}
        done = [
            fault.title + (" (repaired, not yet confirmed)" if fault.recheck_item_id else "")
            for fault in fixed
        ]
        done += [line.complaint for line in self.lines if line.done_at and line.pk not in told]
        return {
            "fixed": done,
            "outstanding": [
                {"severity": item.severity, "label": item.get_severity_display(), "title": item.title}
                for item in self.items
            ],
            "next": [f"{item.title}: {item.due_words}" for item in self.items if item.due_words],
            "warnings": self.warnings(),
        }

    def warnings(self) -> list[str]:
        """What keeps the car from being driven: said first and largest."""
        said = [
            f"{tag.get_kind_display()}: {tag.because}." if not tag.because.endswith(".") else
            f"{tag.get_kind_display()}: {tag.because}"
            for tag in self.tags
        ]  # fmt: skip
        for run in self.runs:
            if any(problem.critical for problem in run.state.problems):
                said.append(
                    f"Not to be driven: the tightening “{run}” is not finished or not proven, on a joint on which "
                    "safety depends."
                )
        return said

    def line(self, line: WorkLine) -> dict[str, Any]:
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
            "qualified": f"{line.get_competence_display()}: {line.qualified.person}"
            if line.qualified
            else "",
        }

    def not_done(self) -> list[str]:
        if self.kind != SheetKind.UNFINISHED:
            return []
        said = []
        for line in self.lines:
            if line.is_open and line.answer not in (LineAnswerKind.NO, LineAnswerKind.LATER):
                begun = " Begun; what was done so far stands above." if line.correction else ""
                said.append(f"“{line.complaint}” is not finished.{begun}")
        for run in self.runs:
            if run.abandoned_at is None and run.completed_at is None:
                said.append(f"The tightening “{run}” is not completed.")
        if not self.job.road_tests.all():
            said.append("No road test was made.")
        return said

    def parts(self) -> list[dict[str, Any]]:
        changes = PartChange.objects.filter(line__job=self.job).select_related(
            "line", "part_on__place", "part_off__place"
        )
        return [_part_change(change) for change in changes.order_by("line__order", "made_at")]

    def measurements(self) -> list[dict[str, Any]]:
        rows = (
            Measurement.objects.counting()
            .filter(line__job=self.job)
            .select_related("place")
            .order_by("line__order", "made_at")
        )
        return _measured(rows)

    def road_test(self) -> dict[str, Any]:
        tests = [
            {
                "driven": row.driven,
                "found": row.found,
                "distance": row.distance_words,
                "driver": str(row.driver or ""),
                "not_done": row.not_done_because,
                "when": _day(row.made_at),
            }
            for row in self.job.road_tests.select_related("driver").order_by("made_at")
        ]
        check = self.job.final_checks.select_related("made_by").order_by("-made_at").first()
        return {
            "tests": tests,
            "check": {
                "new_damage": check.new_damage.rstrip(". "),
                "complete": check.tools_complete and check.parts_complete,
                "note": check.note,
                "by": str(check.made_by),
                "when": _day(check.made_at),
            }
            if check
            else None,
        }

    def waivers(self) -> list[dict[str, Any]]:
        return [
            {"what": row.text, "reason": row.reason, "by": str(row.made_by), "when": _day(row.made_at)}
            for row in self.job.waivers.select_related("made_by").order_by("made_at")
        ]

    def advice(self) -> list[str]:
        said = []
        raised = {item.raised_by_run_id for item in self.items}
        for run in self.runs:
            version = run.version_used
            if run.completed_at and version.recheck_km and run.pk not in raised:
                what = version.recheck_note or f"{run}: tightness"
                said.append(f"Have checked again after {show(Amount(version.recheck_km, 'km'))}: {what}.")
        if any(item.severity == Severity.DANGEROUS for item in self.items):
            said.append(
                "Dangerous means: an immediate risk to people on the road. Have it put right before the car is used."
            )
        return said

    def leaving(self) -> dict[str, Any] | None:
        if self.handover is None:
            return None
        row = self.handover
        keys = getattr(self.job, "check_in", None)
        return {
            "how": row.get_left_how_display(),
            "when": _moment(row.made_at),
            "keys": f"{row.keys_returned} of {keys.keys} handed in" if keys else str(row.keys_returned),
            "keys_note": row.keys_note,
            "unfinished_because": row.unfinished_because,
            "by": str(row.made_by),
        }


def _personal(job: Job, currency: str) -> dict[str, Any]:
    """The page that can be taken off: people, their words, what they were told, and the money."""
    handover: Handover | None = getattr(job, "handover", None)
    check_in = getattr(job, "check_in", None)
    day = _day_of(handover.made_at) if handover else timezone.localdate()
    holders = (
        VehicleKeeper.objects.on(day)
        .filter(vehicle=job.vehicle_id, part__in=[KeeperPart.OWNER, KeeperPart.REGISTERED_KEEPER])
        .select_related("keeper")
        .order_by("part", "keeper__name", "pk")
    )
    # One person often plays several parts: named once, with all of them.
    played: dict[Any, tuple[Any, list[str], bool]] = {}
    for label, keeper, holds in (
        *((row.get_part_display(), row.keeper, True) for row in holders),
        ("Pays", job.payer, False),
        ("May authorise", job.authoriser, False),
        ("Brought the car", check_in.brought_by if check_in else None, False),
        ("Collected the car", handover.collected_by if handover else None, False),
    ):
        if keeper is not None:
            played.setdefault(keeper.pk, (keeper, [], holds))[1].append(label)
    people = [
        {
            "part": ", ".join([labels[0], *(label[:1].lower() + label[1:] for label in labels[1:])]),
            **(_person(keeper) if holds else {"name": keeper.name}),
        }
        for keeper, labels, holds in played.values()
    ]
    answers = (
        LineAnswer.objects.filter(line__job=job)
        .select_related("line", "by")
        .order_by("answered_at", "made_at", "line__order")
    )
    return {
        "people": people,
        "words": job.complaint,
        "faults": [
            {"title": fault.title, "words": fault.words}
            for fault in job.faults.filter(kind=FaultKind.COMPLAINT).order_by("order")
            if fault.words and fault.end != FaultEnd.ERROR
        ],
        "answers": [
            {
                "line": f"{row.line.order} {row.line.complaint}",
                "answer": row.get_answer_display(),
                "by": row.by.name,
                "right": row.right,
                "how": row.get_channel_display(),
                "when": _day(row.answered_at),
                "amount": _money(row.amount),
                "words": row.words,
            }
            for row in answers
        ],
        "tellings": [
            {
                "item": telling.item.title,
                "to": telling.told_to.name,
                "how": telling.get_channel_display(),
                "when": _day(telling.made_at),
                "told": telling.told,
                "answer": telling.get_answer_display(),
                "words": telling.answer_words,
                "witness": str(telling.witness or ""),
            }
            for telling in job.tellings.select_related("item", "told_to", "witness").order_by(
                "made_at", "item__order"
            )
        ],
        "collection": {
            "by": handover.collected_by.name,
            "known": handover.identified_by,
            "because": handover.collects_because,
            "told": handover.told,
        }
        if handover
        else None,
        "belongings": check_in.belongings if check_in else "",
        "prices": _prices(job, currency),
    }


def _person(keeper) -> dict[str, Any]:
    return {
        "name": keeper.name,
        "address": _on_one_line(keeper.address),
        "phone": keeper.phone,
        "email": keeper.email,
    }


def _prices(job: Job, currency: str) -> dict[str, Any]:
    lines = job.lines.order_by("order").prefetch_related(
        Prefetch("parts_used", PartUsed.objects.counting().order_by("made_at")),
        Prefetch("labour", LabourEntry.objects.counting()),
    )
    rows, total = [], Decimal(0)
    for line in lines:
        minutes = sum(entry.minutes for entry in line.labour.all())
        if not line.done_at and not minutes and not line.parts_used.all():
            continue
        # An estimate is no price: of what is not done only what it has cost so far counts.
        amount = (line.amount if line.done_at else line.cost) if line.billable else Decimal(0)
        total += amount or Decimal(0)
        rows.append(
            {
                "line": f"{line.order} {line.complaint}",
                "labour": time_words(minutes) if minutes else "",
                "amount": _money(amount or Decimal(0)),
                "note": "" if line.done_at else "not finished",
                "unbilled": not line.billable,
                "parts": [
                    {
                        "what": str(used),
                        "number": used.part_number,
                        "price": "your own part" if used.own_part else _money(used.total),
                    }
                    for used in line.parts_used.all()
                ],
            }
        )
    return {"currency": currency, "lines": rows, "total": _money(total)}


def _line_state(line: WorkLine, answer: LineAnswer | None) -> str:
    if line.done_at:
        return f"Done {_day(line.done_at)}"
    if line.dropped_because:
        return f"Not done: {line.dropped_because}"
    if line.answer == LineAnswerKind.NO:
        return f"Declined {_day(answer.answered_at)}" if answer else "Declined"
    if line.answer == LineAnswerKind.LATER:
        return f"Put off {_day(answer.answered_at)}" if answer else "Put off"
    return "Not finished"


def _line_authority(line: WorkLine, answer: LineAnswer | None) -> str:
    if line.answer == LineAnswerKind.YES and answer is not None:
        return f"authorised {_day(answer.answered_at)} {answer.get_channel_display().lower()}"
    if line.answer or line.dropped_because:
        return ""
    if line.kind == LineKind.MAKE_SAFE:
        told = f"; the owner was told {_day(line.told_owner_at)}" if line.told_owner_at else ""
        late = f" (not the same day: {line.told_late_because})" if line.told_late_because else ""
        return f"making safe needs no authority{told}{late}"
    if line.kind == LineKind.DIAGNOSIS:
        return "covered by what was agreed without asking"
    return ""


def _fault(fault: Fault) -> dict[str, Any]:
    detail = {
        FaultEnd.FIXED: f"Checked afterwards: {fault.check_made}",
        FaultEnd.NO_FAULT_FOUND: f"Tried and seen: {fault.tried}",
        FaultEnd.OUTSTANDING: "" if fault.root_cause else "See “Still outstanding”.",
        FaultEnd.NORMAL: f"Source: {fault.normal_source}",
        FaultEnd.SAME_AS: f"The same as “{fault.same_as.title if fault.same_as else ''}”.",
    }.get(fault.end, "")
    return {
        "title": fault.title,
        "where": fault.where,
        "severity": fault.severity,
        "severity_label": fault.get_severity_display(),
        "end": fault.end_words,
        "cause": str(fault.root_cause or ""),
        "detail": detail,
        "line": str(fault.fixed_by_line.order)
        if fault.fixed_by_line and fault.fixed_by_line.job_id == fault.job_id
        else "",
    }


def _item(item: OutstandingItem, job: Job) -> dict[str, Any]:
    told = [row for row in item.tellings.all() if row.job_id == job.pk]
    last = max(told, key=lambda row: row.made_at, default=None)
    return {
        "title": item.title,
        "severity": item.severity,
        "severity_label": item.get_severity_display(),
        "detail": item.detail,
        "why": item.get_reason_display(),
        "due": item.due_words,
        "told": (
            f"Told {_day(last.made_at)}, {last.get_channel_display().lower()}. "
            f"Answer: {last.get_answer_display().lower()}"
            + (f" (witness: {last.witness})" if last.witness else "")
            + "."
            if last
            else ""
        ),
    }


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
        gone = f"{off.description}: {where[:1].lower()}{where[1:]}" + (
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


def _measured(rows: Iterable[Measurement]) -> list[dict[str, Any]]:
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


# --- tightening -------------------------------------------------------------------------------------------


def _runs_of(job: Job) -> list[Run]:
    """The job's runs in the order of its lines, each with how it stands as `state`."""
    rows = list(
        Run.objects.filter(job=job)
        .select_related("line", "version_used__procedure")
        .order_by("line__order", "made_at")
    )
    states = run_reads.states_of(rows)
    for run in rows:
        run.state = states[run.pk]
    return rows


def _run(run: Run) -> dict[str, Any]:
    state: RunState = run.state
    if run.abandoned_at:
        said = f"Given up {_day(run.abandoned_at)}: {run.abandoned_because}"
    elif run.completed_at:
        said = f"Completed {_day(run.completed_at)}"
    else:
        said = "Not completed"
    return {
        "title": str(run),
        "line": run.line.order,
        "version": state.version.number,
        "source": state.version.source,
        "state": said,
        "complete": run.completed_at is not None,
        "open": [problem.text for problem in state.problems],
        "together": any(row.entered_together for row in state.readings),
        "late": any(row.written_down_late for row in state.readings),
        "steps": [_step(step, state) for step in state.steps],
    }


def _judged(state: RunState) -> list[TorqueReading]:
    return [row for row in state.readings if row.limit_low is not None or row.limit_high is not None]


def _step(of: StepState, state: RunState) -> dict[str, Any]:
    mine = [row for row in state.readings if row.step_id == of.step.pk]
    return {
        "title": of.step.title,
        "fasteners": of.step.fasteners,
        "critical": of.step.critical,
        "new": [row.what for row in of.new_fitted],
        "stages": [_stage(stage) for stage in of.stages],
        "by": sorted({str(row.made_by) for row in mine}),
        "with": sorted({row.tool.label for row in mine if row.tool}),
        "check": of.check_words if of.step.critical else "",
        "checks": [_check(row) for row in ([of.valid_check] if of.valid_check else of.checks[-1:])]
        if of.step.critical
        else [],
        "decided": [_disposition(made) for made in state.dispositions if made.reading.step_id == of.step.pk],
        "out_of_sequence": sorted({row.fastener for row in mine if row.out_of_sequence}),
    }


def _stage(of: StageState) -> dict[str, Any]:
    """What stands for a stage: of each fastener the reading that was not undone, the same ones together."""
    words: dict[str, list[int]] = {}
    counts: Counter[str] = Counter()
    for fastener, one in sorted(of.fasteners.items()):
        if one.reading is None:
            counts["open"] += 1
            continue
        words.setdefault(_reading_words(one.reading), []).append(fastener)
        if not one.counts:
            counts[f"not counting ({one.reading.counts_not_because.rstrip('.')})"] += 1
        else:
            word = one.reading.get_verdict_display()
            accepted = ", accepted by the lead" if one.disposition else ""
            counts[f"{word[:1].lower()}{word[1:]}{accepted}"] += 1
    alike = len(of.fasteners) > 1
    return {
        "name": of.stage.name,
        "note": of.stage.note,
        "targets": [f"{group}: {text}" if group else text for group, text in of.target_words.items()],
        "recorded": [f"{text} ({_numbers(numbers)})" if alike else text for text, numbers in words.items()],
        "verdicts": [f"{number} {word}" for word, number in counts.items()],
        "fine": of.settled and set(counts) <= {"within", "recorded"},
    }


def _reading_words(row: TorqueReading) -> str:
    """A click is never printed as a measurement, and no digit is added to what was typed."""
    text = run_reads.reading_words(row)
    if row.running_torque:
        text += f", with a running torque of {show(Amount(row.running_torque, 'N.m'))}"
    return text


def _numbers(numbers: list[int]) -> str:
    """1, 2, 3, 5 as "no. 1 to 3, 5"."""
    parts: list[list[int]] = []
    for number in sorted(numbers):
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    said = [str(part[0]) if len(part) == 1 else f"{part[0]} to {part[-1]}" for part in parts]
    return f"no. {', '.join(said)}"


def _check(row) -> dict[str, Any]:
    return {
        "method": row.get_method_display(),
        "by": str(row.made_by),
        "when": _moment(row.made_at),
        "alone": row.alone_because,
        "note": row.note,
    }


def _disposition(made) -> str:
    what = DispositionKind(made.kind).label
    source = f" ({made.source})" if made.source else ""
    return (
        f"Fastener {made.reading.fastener}, {_reading_words(made.reading)}: {what[:1].lower()}{what[1:]}{source}. "
        f"{made.reason.rstrip('.')}. {made.made_by}"
    )


# --- words ------------------------------------------------------------------------------------------------


def _reading(row) -> dict[str, Any] | None:
    if row is None:
        return None
    return {
        "text": str(row)[:1].upper() + str(row)[1:],
        "when": _moment(row.read_at),
        "lower_because": row.lower_because,
        "falsified_by": row.falsified_by,
    }


def _on_one_line(address: str) -> str:
    return ", ".join(line.strip(" ,") for line in address.splitlines() if line.strip())


def _day_of(moment: datetime) -> date:
    return timezone.localtime(moment).date()


def _day(moment: datetime) -> str:
    return date_format(_day_of(moment), "j M Y")


def _moment(moment: datetime) -> str:
    return date_format(timezone.localtime(moment), "j M Y H:i")


def _plain_days(sentence: str) -> str:
    """Dates of the engineering's sentences as people write them."""
    return re.sub(
        r"\d{4}-\d\d-\d\d", lambda found: date_format(date.fromisoformat(found[0]), "j M Y"), sentence
    )


def _money(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:.2f}"
