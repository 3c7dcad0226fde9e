"""The floor: what is in the building now, and what comes next. Looked at all day, so asking again costs little."""

from __future__ import annotations

import json

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import condition

from jobs import floor as reads
from workshop import log
from workshop.pages import may
from workshop.permissions import May


def _etag(request: HttpRequest) -> str:
    """The log's head says whether anything was written; the quarter of an hour, whether a promise is overdue now."""
    quarter = int(timezone.now().timestamp() // 900)
    return f'"{log.current_head().hash[:20]}-{request.user.pk.hex[:8]}-{quarter}"'


def _rows(request: HttpRequest) -> dict:
    now = timezone.now()
    here, coming = list(reads.in_the_building()), list(reads.booked())
    reads.look_at_runs(here)
    for job in (*here, *coming):
        job.next_step = reads.next_step(job)
        job.late = job.promised_at is not None and job.promised_at < now
    return {
        "here": here,
        "coming": coming,
        "tagged": list(reads.tagged_without_a_job()),
        "today": timezone.localdate(),
    }


@may(May.SEE_SHOP)
def floor(request: HttpRequest) -> HttpResponse:
    # Taken before the rows are read: a mark that is too old only makes the next poll answer in full.
    mark = _etag(request)
    return render(request, "jobs/floor.html", {"headers": _headers(mark), **_rows(request)})


@may(May.SEE_SHOP)
@condition(etag_func=_etag)
def floor_rows(request: HttpRequest) -> HttpResponse:
    """The list alone, for the poll. Unchanged: 304 after one small query, and the page keeps what it shows."""
    mark = _etag(request)
    return render(request, "jobs/_floor_rows.html", {"headers": _headers(mark), **_rows(request)})


def _headers(mark: str) -> str:
    return json.dumps({"If-None-Match": mark})


urlpatterns = [
    path("floor/", floor, name="floor"),
    path("floor/rows/", floor_rows, name="floor-rows"),
]
