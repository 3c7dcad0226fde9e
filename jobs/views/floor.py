"""The floor: what is in the building now, and what comes next. Looked at all day, so asking again costs little."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone

from jobs import floor as reads
from jobs.models import JobState
from workshop import live
from workshop.copies import keeps_copy
from workshop.pages import may
from workshop.permissions import May

MINE = "floor_mine"


def _mine(request: HttpRequest) -> bool:
    """Whether only this person's own work is to stand out. Asked for once, it is so until it is put back."""
    asked = request.GET.get("mine", "")
    if asked in ("0", "1") and request.session.get(MINE, False) != (asked == "1"):
        request.session[MINE] = asked == "1"
    return asked == "1" if asked else request.session.get(MINE, False)


def _live_url(mine: bool) -> str:
    return f"{reverse('jobs:floor-rows')}?mine={int(mine)}"


def _rows(request: HttpRequest, mark: str, mine: bool) -> dict[str, Any]:
    now, today = timezone.now(), timezone.localdate()
    here, coming = list(reads.in_the_building()), list(reads.booked())
    reads.look_at_runs(here)
    for job in (*here, *coming):
        job.next_step = reads.next_step(job)
        job.late = reads.late_words(job.promised_at, now)
        job.mine = reads.is_work_of(request.user, job)
        job.expected = job.booked_for is not None and timezone.localdate(job.booked_for) <= today
    ready = [job for job in here if job.state == JobState.READY]
    return {
        "here": here,
        "working": [job for job in here if job.state != JobState.READY],
        "ready": ready,
        "coming": coming,
        "expected": [job for job in coming if job.expected],
        "later": [job for job in coming if not job.expected],
        "late": sum(bool(job.late) for job in here),
        "tagged": list(reads.tagged_without_a_job()),
        "today": today,
        "mine": mine,
        "my_count": sum(job.mine for job in here),
        "live_url": _live_url(mine),
        "live_mark": mark,
    }


@may(May.SEE_SHOP)
@keeps_copy
def floor(request: HttpRequest) -> HttpResponse:
    mine = _mine(request)
    mark = live.mark(request, _live_url(mine))
    return render(request, "jobs/floor.html", _rows(request, mark, mine))


@may(May.SEE_SHOP)
def floor_rows(request: HttpRequest) -> HttpResponse:
    """The list alone, for the poll that `live.still_so` did not answer: something was written since."""
    mine = request.GET.get("mine") == "1"
    mark = live.mark(request, request.get_full_path())
    return live.with_mark(render(request, "jobs/_floor_rows.html", _rows(request, mark, mine)), mark)


urlpatterns = [
    path("floor/", floor, name="floor"),
    path("floor/rows/", floor_rows, name="floor-rows"),
]
