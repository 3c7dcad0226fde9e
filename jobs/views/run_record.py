"""The torque record of a run as a print."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.views.decorators.http import require_safe

from jobs.models import Run
from jobs.runs import state_of
from jobs.torque_record import record_of
from workshop.checks import pdf_problem
from workshop.models import Shop
from workshop.models.shop import Paper
from workshop.pages import may
from workshop.permissions import May
from workshop.sheets import print_pdf

TEMPLATE = "sheets/torque_record.html"


@may(May.SEE_SHOP)
@require_safe
def run_record(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """The record as a PDF, on the shop's paper or on `paper`; without the PDF library, or with `as=page`, as a page
    for the browser's own print. A fixed number of queries.
    """
    found = get_object_or_404(
        Run.objects.select_related(
            "job__vehicle", "line", "version_used__procedure", "made_by", "qualified__person"
        ),
        pk=run_id,
    )
    state = state_of(found)
    shop = Shop.current()
    paper = next(
        (each.value for each in Paper if each.value.lower() == request.GET.get("paper", "").lower()),
        shop.paper,
    )
    record = record_of(state)
    as_page = request.GET.get("as") == "page" or bool(pdf_problem())
    context = {
        "sheet": {
            "title": "Torque record",
            "number": found.job.number,
            "revision": None,
            "paper": paper,
            "shop": shop.name,
            "created": record["last_at"],
            "draft": as_page,
        },
        "run": found,
        "version": state.version,
        "car": found.job.vehicle,
        "applies": state.applies_words,
        "record": record,
    }
    if as_page:
        response = render(request, TEMPLATE, context)
        response.headers["Cache-Control"] = "private, no-store"
        return response
    return HttpResponse(
        print_pdf(TEMPLATE, context, paper).pdf,
        headers={
            "Content-Type": "application/pdf",
            "Content-Disposition": f'inline; filename="torque-record-{found.job.number}.pdf"',
            "Content-Security-Policy": "default-src 'none'; object-src 'self'",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )


urlpatterns = [path("runs/<uuid:run_id>/record/", run_record, name="run-record")]
