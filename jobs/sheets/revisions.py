"""The data of one revision of a sheet, what changed since the one before, and whether the next one is due."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from jobs.models import Job, SheetRevision
from jobs.models.handover import SheetKind
from jobs.sheets import calculations, closing, compare, damage, head, outstanding, survey, tightening, work
from jobs.sheets.personal import personal
from jobs.sheets.records import Records
from jobs.sheets.words import in_minutes
from workshop.canonical import canonical, plain, sha256
from workshop.models import Event

# Grows by one when the data says the same records in another way. A sheet of an earlier format is compared with
# what both say alike: a new layout is no reason to issue old sheets anew.
FORMAT = 2
# Sections of earlier formats whose words were changed in this one, so that they can't be compared with them.
REWORDED: dict[int, frozenset[str]] = {2: frozenset({"runs"})}

# Sections of the technical part, in the order of the print, with their titles.
SECTIONS = {
    "vehicle": "The car",
    "odometer": "Odometer",
    "asked": "What you asked for",
    "lines": "What we found and did",
    "faults": "Other faults, and how each ended",
    "not_done": "Not done",
    "outstanding": "Still outstanding",
    "damage": "Damage done in this workshop",
    "survey": "Walk round the car",
    "parts": "Parts fitted and removed",
    "runs": "Tightening",
    "measurements": "Measurements",
    "calculations": "Worked out",
    "road_test": "Road test and final check",
    "waivers": "Let go by the lead",
    "advice": "Good to know",
    "leaving": "How the car left",
}
# The same of the page that can be taken off.
PERSONAL_SECTIONS = {
    "people": "People",
    "words": "In your own words",
    "faults": "In your own words",
    "prices": "What you agreed to, and prices",
    "tellings": "What you were told",
    "collection": "Collected",
    "belongings": "Belongings",
}
PERSONAL_TITLE = "Keeper and prices"


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
    # Only what JSON holds, so that the template can't reach past the data that is hashed.
    body = plain(_body(Records(job, kind)))
    top = {"format": FORMAT, **head.head(job, kind, revision, issued_at)}
    own = plain(personal(job, top["shop"]["currency"]))
    if previous is not None:
        _say_changes(top, body, own, previous, change_note)
    return SheetData(plain({"sheet": top, "body": body}), plain({"sheet": _short(top), **own}))


def _say_changes(
    top: dict[str, Any], body: dict[str, Any], own: dict[str, Any], previous: SheetRevision, note: str
) -> None:
    """Write into both parts what they say otherwise than the revision before; the personal one only names itself
    in the technical one."""
    before = json.loads(previous.technical)
    was, now = comparable(before, {"sheet": top, "body": body})
    top["previous_revision"] = previous.revision
    top["changes"] = {
        "note": note,
        "sections": changed_sections(was, now),
        "rows": compare.changes(was, now, SECTIONS),
    }
    if previous.text.personal:
        rows = personal_changes(json.loads(previous.text.personal), own)
        if rows:
            top["changes"]["sections"].append(PERSONAL_TITLE)
            own["changes"] = {"since": previous.revision, "rows": rows}


def differences(earlier: SheetRevision, later: SheetRevision) -> list[dict[str, str]]:
    """What one revision says otherwise than the one before, in both parts as far as neither was erased."""
    was, now = comparable(json.loads(earlier.technical), json.loads(later.technical))
    rows = compare.changes(was, now, SECTIONS)
    if earlier.text.personal and later.text.personal:
        rows += personal_changes(json.loads(earlier.text.personal), json.loads(later.text.personal))
    return rows


def personal_changes(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, str]]:
    was = _within(before, after)
    return compare.changes(was, _within(after, before), PERSONAL_SECTIONS)


def comparable(before: dict[str, Any], after: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """The bodies of two sheets as far as they can be compared.

    Within one format they are whole. Across formats: what both hold, without the sections that were worded anew.
    """
    was, now = before["body"], after["body"]
    formats = sorted({before["sheet"].get("format", 1), after["sheet"].get("format", 1)})
    if len(formats) == 1:
        return was, now
    reworded = frozenset().union(*(REWORDED.get(n, ()) for n in range(formats[0] + 1, formats[1] + 1)))
    was, now = _within(was, now), _within(now, was)
    return tuple({key: body[key] for key in body if key not in reworded} for body in (was, now))


def _within(one: Any, other: Any) -> Any:
    """`one` without the fields that `other` does not know: what a format adds is no change of what was said."""
    if isinstance(one, dict) and isinstance(other, dict):
        return {key: _within(value, other[key]) for key, value in one.items() if key in other}
    if isinstance(one, list) and isinstance(other, list) and other and isinstance(other[0], dict):
        known = {key for row in other for key in row}
        return [
            {key: value for key, value in row.items() if key in known} if isinstance(row, dict) else row
            for row in one
        ]
    return one


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
    top["changes"] = {"note": reason, "sections": [PERSONAL_TITLE]}
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
    before = json.loads(latest.technical)
    after = gather(job, revision=latest.revision, issued_at=latest.made_at, kind=latest.kind).technical
    other_format = before["sheet"].get("format", 1) != FORMAT
    was, now = comparable(before, after)
    was, now = _with_short_items(was), _with_short_items(now)
    changed = changed_sections(was, now)
    if other_format and not changed and (count := _written_since(latest)):
        # What an earlier layout says in other words can't be compared: that something was written can be said.
        changed = [f"{count} {'entry' if count == 1 else 'entries'} of the log for this job"]
    return changed


def _with_short_items(body: dict[str, Any]) -> dict[str, Any]:
    items = sorted([item["title"], *item.get("from", [])] for item in body.get("outstanding", []))
    return {**body, "outstanding": items}


def _written_since(sheet: SheetRevision) -> int:
    """Acts for the sheet's job that came after its own and are not about the sheet itself."""
    later = Event.objects.filter(job_ref=str(sheet.job_id), seq__gt=sheet.log_seq)
    return later.exclude(act__startswith="jobs.sheet.").exclude(key=sheet.key).count()


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
        "damage": damage.damages(job),
        "survey": survey.surveys(job),
        "parts": work.parts(job),
        "runs": tightening.tightening(of.runs),
        "tools": tightening.tools(of.runs),
        "rules": tightening.rules(of.runs),
        "measurements": work.measurements(job),
        **calculations.calculations(job),
        "road_test": closing.road_test(job),
        "waivers": closing.waivers(job),
        "advice": outstanding.advice(of),
        "leaving": closing.leaving(of),
        "lead": closing.signing_lead(of),
    }
