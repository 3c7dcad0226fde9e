"""The data of one revision of a sheet, what changed since the one before, and whether the next one is due."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from jobs.models import Job, SheetRevision
from jobs.models.handover import SheetKind
from jobs.sheets import closing, head, outstanding, tightening, work
from jobs.sheets.personal import personal
from jobs.sheets.records import Records
from jobs.sheets.words import in_minutes
from workshop.canonical import canonical, plain, sha256

# Sections of the technical part, in the order of the print, with their titles.
SECTIONS = {
    "vehicle": "The car",
    "odometer": "Odometer",
    "asked": "What you asked for",
    "lines": "What we found and did",
    "faults": "Other faults, and how each ended",
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
    body = _body(Records(job, kind))
    top = head.head(job, kind, revision, issued_at)
    if previous is not None:
        top["previous_revision"] = previous.revision
        top["changes"] = {
            "note": change_note,
            "sections": changed_sections(json.loads(previous.technical)["body"], body),
        }
    # Only what JSON holds, so that the template can't reach past the data that is hashed.
    return SheetData(
        plain({"sheet": top, "body": body}),
        plain({"sheet": _short(top), **personal(job, top["shop"]["currency"])}),
    )


def redacted(previous: SheetRevision, *, revision: int, issued_at: datetime, reason: str) -> SheetData:
    """The same technical part again, without the personal one: what an erasure issues."""
    technical = json.loads(previous.technical)
    top = technical["sheet"]
    top.update(
        revision=revision,
        previous_revision=previous.revision,
        issued=in_minutes(issued_at),
        issued_at=issued_at,
        redacted=True,
    )
    top["changes"] = {"note": reason, "sections": ["Keeper and prices"]}
    return SheetData(plain(technical), plain({"sheet": _short(top), "erased": True}))


def _short(top: dict[str, Any]) -> dict[str, Any]:
    """Which sheet the personal page belongs to."""
    return {name: top[name] for name in ("number", "revision", "title", "issued")}


def changed_sections(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """Titles of the sections that say something else now."""
    return [title for name, title in SECTIONS.items() if before.get(name) != after.get(name)]


def revision_due(job: Job) -> list[str]:
    """What was written down for a job since its sheet was frozen, by section; empty where the sheet stands.

    Outstanding items live on after the job, so of them only which ones there were, and from what, counts.
    """
    latest = job.sheets.order_by("-revision").first() if job.is_closed else None
    if latest is None:
        return []
    before = json.loads(latest.technical)["body"]
    after = plain(
        gather(job, revision=latest.revision, issued_at=latest.made_at, kind=latest.kind).technical
    )["body"]
    for body in (before, after):
        body["outstanding"] = sorted([item["title"], *item.get("from", [])] for item in body["outstanding"])
    return changed_sections(before, after)


def _body(of: Records) -> dict[str, Any]:
    job = of.job
    return {
        "vehicle": head.vehicle(of),
        "odometer": head.odometer(of),
        "asked": head.asked(of),
        "glance": head.glance(of),
        "lines": work.lines(of),
        "faults": work.other_faults(of),
        "not_done": work.not_done(of),
        "outstanding": outstanding.outstanding(of),
        "parts": work.parts(job),
        "runs": tightening.tightening(of.runs),
        "tools": tightening.tools(of.runs),
        "rules": tightening.rules(of.runs),
        "measurements": work.measurements(job),
        "road_test": closing.road_test(job),
        "waivers": closing.waivers(job),
        "advice": outstanding.advice(of),
        "leaving": closing.leaving(of),
        "lead": closing.signing_lead(of),
    }
