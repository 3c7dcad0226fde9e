"""The torque record of a run as a draft. Issued with a number it is through the papers of the car."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.views.decorators.http import require_safe

from jobs.models import Run
from jobs.torque_record import TEMPLATE, gather
from vehicles import issuing
from vehicles.models import PrintKind
from workshop.checks import pdf_problem
from workshop.models import Shop
from workshop.models.shop import Paper
from workshop.pages import may, pdf_answer
from workshop.permissions import May
from workshop.sheets import print_pdf


@may(May.SEE_SHOP)
@require_safe
def run_record(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """The draft of the record as a PDF, on the shop's paper or on `paper`; without the PDF library, or with `as=page`, as a page
    for the browser's own print. A fixed number of queries.
    """
    found = get_object_or_404(Run.objects.select_related("job__vehicle"), pk=run_id)
    shop = Shop.current()
    paper = next(
        (each.value for each in Paper if each.value.lower() == request.GET.get("paper", "").lower()),
        shop.paper,
    )
    asked = issuing.Asked(PrintKind.TORQUE, found.job.vehicle, found)
    gathered = gather(asked)
    context = issuing.draft_context(asked, gathered, paper)
    # As it stood when it was last written to: two drafts of the same record are alike.
    context["sheet"]["created"] = gathered.body["record"]["last_at"]
    context["sheet"]["footnote"] = f"As it stood {gathered.body['as_it_stood']}"
    context["head"]["issued"] = gathered.body["as_it_stood"]
    as_page = request.GET.get("as") == "page" or bool(pdf_problem())
    if as_page:
        response = render(request, TEMPLATE, context)
        response.headers["Cache-Control"] = "private, no-store"
        return response
    return pdf_answer(print_pdf(TEMPLATE, context, paper).pdf, f"torque-record-{found.job.number}.pdf")


urlpatterns = [path("runs/<uuid:run_id>/record/", run_record, name="run-record")]
