"""What a handover sheet says, gathered from the records into plain data.

The template draws from this data alone, and its hash is what the sheet prints: what was hashed is what is read.
Two parts. The technical one goes with the car and names nobody outside the shop. The personal one (keeper, prices,
the owner's own words) can be taken off, and erased without touching the technical part.

For a job that is closed the data is gathered as of its handover: what happens to the car later, on other jobs,
does not change it; what is written down late for this job does (`revision_due`).

`records` reads a job once; `head`, `work`, `tightening`, `outstanding`, `closing` and `personal` each say a subject;
`revisions` puts them together.
"""

from jobs.sheets.mail import file_name, mail
from jobs.sheets.printing import TEMPLATE, confirm_address, print_sheet, sheet_context
from jobs.sheets.revisions import (
    FORMAT,
    PERSONAL_TITLE,
    SECTIONS,
    SheetData,
    changed_sections,
    differences,
    gather,
    redacted,
    revision_due,
)

__all__ = [
    "FORMAT",
    "PERSONAL_TITLE",
    "SECTIONS",
    "TEMPLATE",
    "SheetData",
    "changed_sections",
    "confirm_address",
    "differences",
    "file_name",
    "gather",
    "mail",
    "print_sheet",
    "redacted",
    "revision_due",
    "sheet_context",
]
