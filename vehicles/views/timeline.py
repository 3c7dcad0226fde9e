"""The history of a car: one stream with filters, its whole as a report to print, and what was fitted on a day."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from vehicles import odometer, prints, timeline, timeline_sources  # noqa: F401  the sources hang themselves in
from vehicles.folding import MOST_ASKED, too_long_to_search
from vehicles.models import Vehicle
from workshop.forms.base import speak
from workshop.pages import may
from workshop.permissions import May

_FIRST_YEAR, _LAST_YEAR = 1885, 2100
# The PDF library takes some seconds for as many; a request is not to take longer.
MOST_PRINTED = 1000


class YearField(forms.IntegerField):
    def __init__(self, **kwargs):
        super().__init__(
            required=False,
            min_value=_FIRST_YEAR,
            max_value=_LAST_YEAR,
            widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            error_messages={"invalid": "Give a year, such as 2019."},
            **kwargs,
        )


class FilterForm(forms.Form):
    """What of the history is shown; all of it stands in the page's address."""

    q = forms.CharField(label="Words", required=False, max_length=1000)
    kind = forms.MultipleChoiceField(label="Only", required=False, widget=forms.CheckboxSelectMultiple)
    since = YearField(label="From year")
    until = YearField(label="To year")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = timeline.kinds()
        for name, field in self.fields.items():
            speak(field, field.label or name)

    def clean_q(self) -> str:
        words = self.cleaned_data["q"].strip()
        if too_long_to_search(words):
            raise forms.ValidationError(f"Give at most {MOST_ASKED} characters to search for.")
        return words

    def clean(self):
        found = super().clean()
        since, until = found.get("since"), found.get("until")
        if since and until and until < since:
            self.add_error("until", f"Give {since} or a later year: it ends where it begins, or after.")
        return found

    def asked(self) -> dict:
        """Arguments of `timeline.page`. What is wrong is left out, and said beside its field."""
        good = getattr(self, "cleaned_data", {})
        return {
            "words": good.get("q", ""),
            "only": good.get("kind") or (),
            "since": date(good["since"], 1, 1) if good.get("since") else None,
            "until": date(good["until"] + 1, 1, 1) if good.get("until") else None,
        }

    def in_words(self) -> str:
        """What of the history this is; empty where it is all."""
        good = getattr(self, "cleaned_data", {})
        chosen = good.get("kind") or ()
        words = []
        if chosen:
            words.append(
                "only " + ", ".join(label.lower() for code, label in timeline.kinds() if code in chosen)
            )
        if good.get("q"):
            words.append(f"only with “{good['q']}”")
        if good.get("since"):
            words.append(f"from {good['since']}")
        if good.get("until"):
            words.append(f"up to the end of {good['until']}")
        return ", ".join(words)


@may(May.SEE_SHOP)
def history(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """One page of the stream, newest first. The way to the older part stands in its address."""
    car = _car(request, vehicle_id)
    form = FilterForm(request.GET)
    form.is_valid()
    before = timeline.Cursor.read(request.GET.get("before", ""))
    asked = form.asked()
    page = timeline.page(car, before=before, **asked)
    context = {
        "vehicle": car,
        "form": form,
        "page": page,
        "before": before,
        "filtered": any(asked.values()),
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
        "page": timeline.page(car, most=None, **form.asked()),
        "only": form.in_words(),
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
    page = timeline.page(car, most=None, **form.asked())
    back = f"{reverse('vehicles:history-report', args=[car.pk])}?{request.GET.urlencode()}"
    if page.count > MOST_PRINTED:
        messages.warning(
            request,
            f"These are {page.count} entries; a PDF holds {MOST_PRINTED} at most. Choose years or kinds in the filter "
            "of the history, or print this page with the browser.",
        )
        return redirect(back)
    return prints.pdf_answer(request, *prints.history_sheet(car, page, form.in_words()), back=back)


def _car(request: HttpRequest, vehicle_id: UUID) -> Vehicle:
    cars = Vehicle.objects.visible_to(request.user).select_related("made_by")
    return get_object_or_404(cars.prefetch_related("registrations"), pk=vehicle_id)


urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/history/", history, name="history"),
    path("vehicles/<uuid:vehicle_id>/history/report/", history_report, name="history-report"),
    path("vehicles/<uuid:vehicle_id>/history/report/pdf/", history_pdf, name="history-pdf"),
]
