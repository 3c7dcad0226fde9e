"""A text to send with the PDF: what it is, what is still outstanding, and where to see that it is the one issued."""

from __future__ import annotations

import json
from dataclasses import dataclass
from urllib.parse import quote

from jobs.models import SheetRevision
from jobs.models.handover import SheetKind
from jobs.sheets.printing import confirm_address
from jobs.sheets.words import day_of


@dataclass(frozen=True)
class Mail:
    """`href` opens the mail program with all of it; the PDF is attached by the person."""

    to: str
    subject: str
    body: str

    @property
    def href(self) -> str:
        # By RFC 6068 a line break is %0D%0A, and a space never a plus.
        body = quote(self.body.replace("\n", "\r\n"), safe="")
        return f"mailto:{quote(self.to, safe='@')}?subject={quote(self.subject, safe='')}&body={body}"


def mail(sheet: SheetRevision, to: str) -> Mail:
    """Names the car, the visit and what is outstanding; no person, and no price."""
    technical = json.loads(sheet.technical)
    head, body = technical["sheet"], technical["body"]
    car = body["vehicle"]
    name = " ".join(part for part in (car["name"], car["plate"]) if part)
    what = "the handover sheet" if sheet.kind == SheetKind.HANDOVER else "the sheet of the unfinished visit"
    lines = [
        "Hello,",
        "",
        f"attached is {what} of your car: {name}, job {head['number']}, revision {head['revision']}, issued "
        f"{head['issued']}.",
    ]
    if head.get("changes"):
        lines += [
            "",
            f"It takes the place of revision {head['previous_revision']}. {head['changes']['note']}",
        ]
    if warnings := body["glance"]["warnings"]:
        lines += ["", "Before this car moves:", *(f"- {text}" for text in warnings)]
    if items := body["glance"]["outstanding"]:
        lines += ["", "Still outstanding, by our own judgement:"]
        lines += [
            f"- {item['label']}: {item['title']}" + (f", {item['due']}" if item["due"] else "")
            for item in items
        ]
    lines += [
        "",
        "Whether the sheet in your hand is the one that we issued can be seen here; the page names neither car nor "
        "people:",
        confirm_address(sheet.token),
        "",
        "The last page, with names and prices, is yours. Take it off before you pass the sheet on with the car.",
        "",
        *filter(None, (head["shop"]["name"], head["shop"]["phone"])),
    ]
    return Mail(to, f"{head['title']} {head['number']}, {car['name']}", "\n".join(lines))


def file_name(sheet: SheetRevision) -> str:
    """By number, revision and day, and nobody's name: "2026-0014-handover-sheet-revision-1-2026-03-12.pdf"."""
    kind = "handover-sheet" if sheet.kind == SheetKind.HANDOVER else "collected-unfinished"
    return f"{sheet.job.number}-{kind}-revision-{sheet.revision}-{day_of(sheet.made_at):%Y-%m-%d}.pdf"
