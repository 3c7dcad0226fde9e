"""Measurements of a work line."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import path

from jobs.acts import measurement as acts
from jobs.forms import measurement as forms
from jobs.models.measurement import Phase
from jobs.views.work import line_page, visible_line
from workshop.copies import keeps_copy
from workshop.pages import may
from workshop.permissions import May
from workshop.queued import queued


@may(May.MEASURE)
@keeps_copy
@queued(acts.measure, what="Measurement")
def measure(request: HttpRequest, line_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    before = line.measurements.counting().filter(phase=Phase.BEFORE).exists()
    return line_page(
        request,
        line,
        form_class=forms.MeasureForm,
        act=acts.measure,
        title="Measurement",
        submit="Record it",
        intro="The maker's data decide. The verdict compares the reading with the limits given here, and no more.",
        fixed={"line": line},
        # "Measure again after" leads here with what is known; the unit goes into the reading's second control.
        initial={
            "phase": Phase.AFTER if before else Phase.BEFORE,
            "reading": ["", request.GET.get("unit", "")],
        },
        said="Measurement recorded.",
    )


@may(May.MEASURE)
def measurement_strike(request: HttpRequest, line_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    return line_page(
        request,
        line,
        form_class=forms.StrikeMeasurementForm,
        act=acts.strike_measurement,
        title="Measurement entered in error",
        submit="Take it back",
        intro="It stays to be seen, and counts as nothing.",
        form_kwargs={"rows": line.measurements.counting()},
        said="Taken back.",
    )


urlpatterns = [
    path("lines/<uuid:line_id>/measure/", measure, name="measure"),
    path("lines/<uuid:line_id>/measurements/error/", measurement_strike, name="measurement-strike"),
]
