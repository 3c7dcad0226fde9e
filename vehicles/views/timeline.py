"""The history of a car: one stream with filters, its whole as a report to print, and what was fitted on a day."""

from __future__ import annotations

from datetime import timedelta
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from vehicles import odometer, prints, timeline, timeline_sources  # noqa: F401  the sources hang themselves in
from vehicles.forms.words import LookForm
from vehicles.models import Vehicle
from workshop.pages import may
from workshop.permissions import May

# The PDF library takes some seconds for as many; a request is not to take longer.
MOST_PRINTED = 1000


class FilterForm(LookForm):
    """What of the history is shown; all of it stands in the page's address."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, kinds=timeline.kinds(), **kwargs)

    def of_stream(self) -> dict:
        """Arguments of `timeline.page`. What is wrong is left out, and said beside its field."""
        asked = self.asked()
        return {
            "terms": asked.terms,
            "only": asked.kinds,
            "since": asked.since,
            "until": asked.until + timedelta(days=1) if asked.until else None,
            "person": asked.person,
            "system": asked.system,
            "severity": asked.severity,
        }


@may(May.SEE_SHOP)
def history(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """One page of the stream, newest first. The way to the older part stands in its address."""
    car = _car(request, vehicle_id)
    form = FilterForm(request.GET)
    form.is_valid()
    before = timeline.Cursor.read(request.GET.get("before", ""))
    asked = form.of_stream()
    page = timeline.page(car, before=before, **asked)
    context = {
        "vehicle": car,
        "form": form,
        "page": page,
        "before": before,
        "filtered": any(asked.values()),
        "said": form.in_words(),
        "today": timezone.localdate(),
    }
    return render(request, "vehicles/history.html", context)


@may(May.SEE_SHOP)
def history_report(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The whole history, or what the filter leaves of it, to be printed by the browser."""
    car = _car(request, vehicle_id)
    form = FilterForm(request.GET)
    form.is_valid()
    context = {
        "vehicle": car,
        "page": timeline.page(car, most=None, **form.of_stream()),
        "only": ", ".join(form.in_words()),
        "truth": odometer.truth(car),
        "latest": odometer.latest_reading(car),
        "now": timezone.now(),
    }
    return render(request, "vehicles/history_report.html", context)


@may(May.SEE_SHOP)
@require_safe
def history_pdf(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The same on paper. What would fill a book is asked for in parts."""
    car = _car(request, vehicle_id)
    form = FilterForm(request.GET)
    form.is_valid()
    page = timeline.page(car, most=None, **form.of_stream())
    back = f"{reverse('vehicles:history-report', args=[car.pk])}?{request.GET.urlencode()}"
    if page.count > MOST_PRINTED:
        messages.warning(
            request,
            f"These are {page.count} entries; a PDF holds {MOST_PRINTED} at most. Choose years or kinds in the filter "
            "of the history, or print this page with the browser.",
        )
        return redirect(back)
    return prints.pdf_answer(request, *prints.history_sheet(car, page, ", ".join(form.in_words())), back=back)


def _car(request: HttpRequest, vehicle_id: UUID) -> Vehicle:
    cars = Vehicle.objects.visible_to(request.user).select_related("made_by")
    return get_object_or_404(cars.prefetch_related("registrations"), pk=vehicle_id)


urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/history/", history, name="history"),
    path("vehicles/<uuid:vehicle_id>/history/report/", history_report, name="history-report"),
    path("vehicles/<uuid:vehicle_id>/history/report/pdf/", history_pdf, name="history-pdf"),
]
