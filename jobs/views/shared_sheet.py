"""A handover sheet as whoever has a share link reads it: the PDF as it was issued, where the link shows papers."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import path

from jobs import sheets
from jobs.models import SheetRevision
from vehicles import shares
from vehicles.audience import Shows
from vehicles.models import Opened, Share
from vehicles.views.shared import behind_a_link, count, not_here
from workshop.pages import pdf_answer


@behind_a_link
def shared_sheet(request: HttpRequest, share: Share, sheet_id: UUID) -> HttpResponse:
    row = _sheet(share, sheet_id)
    if row is None:
        return not_here(request)
    count(request, share, Opened.PAPER)
    return pdf_answer(row.text.pdf, sheets.file_name(row))


def _sheet(share: Share, sheet_id: UUID) -> SheetRevision | None:
    """The revision, where it is of this car, of the keeper's own time, and not erased. Two queries.

    A sheet is one file with everybody's names and prices in it: a link that shows it shows these (see
    `vehicles.acts.share.ON_A_SHEET`), and where one does not, the sheet stays away too. Whose time a later revision is
    of, says the day of the first one.
    """
    audience = shares.audience_of(share)
    if not all(audience.sees(what) for what in (Shows.PAPERS, Shows.PEOPLE, Shows.COSTS, Shows.KEEPER)):
        return None
    row = (
        SheetRevision.objects.filter(pk=sheet_id, job__vehicle=share.vehicle_id)
        .select_related("job", "text")
        .first()
    )
    if row is None or row.text.pdf is None or not audience.reaches(row.made_at):
        return None
    first = row.job.sheets.order_by("revision").values_list("made_at", flat=True).first()
    return row if audience.theirs(first) else None


urlpatterns = [path("shared/<str:token>/sheet/<uuid:sheet_id>/", shared_sheet, name="shared-sheet")]
