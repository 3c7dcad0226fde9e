"""Start work and stop work on a line."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from django.utils.formats import date_format

from jobs.acts import clock as acts
from jobs.forms import clock as forms
from jobs.models import Job, LabourClock
from jobs.views.work import line_page, visible_line
from workshop.pages import may
from workshop.permissions import May
from workshop.queued import queued


@may(May.LABOUR)
@queued(acts.start_clock, what="Start of work")
def clock_start(request: HttpRequest, line_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    return line_page(
        request,
        line,
        form_class=forms.StartClockForm,
        act=acts.start_clock,
        title="Start work",
        submit="Start work",
        intro="Your clock runs from now on. Where it runs on another line, it stops there.",
        fixed={"line": line},
        said="Your clock runs.",
    )


@may(May.LABOUR)
@queued(acts.stop_clock, what="End of work")
def clock_stop(request: HttpRequest, clock_id: UUID) -> HttpResponse:
    clock = get_object_or_404(
        LabourClock.objects.select_related("line__job__vehicle", "person").filter(
            line__job__in=Job.objects.visible_to(request.user)
        ),
        pk=clock_id,
    )
    since = date_format(timezone.localtime(clock.made_at), "j M Y H:i")
    return line_page(
        request,
        clock.line,
        form_class=forms.StopClockForm,
        act=acts.stop_clock,
        title="Stop work",
        submit="Stop work",
        intro=f"The clock of {clock.person} runs since {since}. The time becomes labour on this line.",
        fixed={"clock": clock},
        said="The clock is stopped, and its time is written down.",
    )


urlpatterns = [
    path("lines/<uuid:line_id>/clock/start/", clock_start, name="clock-start"),
    path("clocks/<uuid:clock_id>/stop/", clock_stop, name="clock-stop"),
]
