"""Closing a job: the gate beside a preview of the sheet; ready, handed over, collected unfinished; the waivers."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone

from jobs import gate, sheets
from jobs.acts import handover as acts
from jobs.forms import handover as forms
from jobs.models import Job, JobState, Run, Waiver
from jobs.models.handover import LeftHow, SheetKind
from jobs.states import IN_THE_BUILDING
from jobs.views.job import about, visible_job
from vehicles.models import Fault, Severity
from workshop.canonical import plain
from workshop.models import Shop
from workshop.pages import act_page, may
from workshop.permissions import May

WAIVERS_ON_A_PAGE = 50


@may(May.HAND_OVER)
def handover(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """What blocks, what the sheet will say, and the one form that the state allows."""
    job = visible_job(request, job_id)
    if job.is_closed:
        return _closed(job)
    if job.state != JobState.READY:
        return render(request, "jobs/handover.html", _page(job, SheetKind.HANDOVER))
    return _leaving(request, job, SheetKind.HANDOVER)


@may(May.CALL_READY)
def call_ready(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.ReadyForm,
        act=acts.call_ready,
        title="Call the car ready",
        submit="Call the car ready",
        fixed={"job": job},
        done=lambda move: reverse("jobs:handover", args=[job.pk]),
        cancel=reverse("jobs:handover", args=[job.pk]),
        said="Ready for collection.",
        context=about(job),
    )


@may(May.HAND_OVER)
def collect_unfinished(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """The car is collected before it is done."""
    job = visible_job(request, job_id)
    if job.is_closed:
        return _closed(job)
    if job.state not in IN_THE_BUILDING:
        return render(request, "jobs/handover.html", _page(job, SheetKind.UNFINISHED))
    return _leaving(request, job, SheetKind.UNFINISHED)


def _closed(job: Job) -> HttpResponse:
    latest = job.sheets.order_by("-revision").first()
    return redirect(latest or job)


def _leaving(request: HttpRequest, job: Job, kind: SheetKind) -> HttpResponse:
    unfinished = kind == SheetKind.UNFINISHED
    page = _page(job, kind)
    read = gate.odometer_out(job)
    check_in = getattr(job, "check_in", None)
    unit = check_in.odometer.instrument.unit if check_in else Shop.current().distance_unit
    return act_page(
        request,
        form_class=forms.UnfinishedForm if unfinished else forms.HandoverForm,
        act=acts.collect_unfinished if unfinished else acts.hand_over,
        title=page.pop("title"),
        submit="Let the car go and issue its sheet" if unfinished else "Hand over and issue the sheet",
        fixed={"job": job},
        form_kwargs={"job": job, "day": timezone.localdate(), "dangers": page["dangers"], "read": read},
        initial={
            "odometer": ["", unit],
            "keys_returned": check_in.keys if check_in else None,
            "collected_by": job.payer,
            "left_how": LeftHow.TRAILER if page["dangers"] or page["tagged"] else LeftHow.DRIVEN,
        },
        cancel=job,
        said="Collected unfinished. The sheet is issued."
        if unfinished
        else "Handed over. The sheet is issued.",
        template="jobs/handover.html",
        context={**page, "hand": not page["blocks"]},
    )


def _page(job: Job, kind: SheetKind) -> dict[str, Any]:
    """What stands around the form."""
    standing = gate.blockers(job)
    if kind == SheetKind.UNFINISHED:
        blocks = [row for row in standing if not row.may_stay_unfinished]
        stays = [row for row in standing if row.may_stay_unfinished]
    else:
        blocks, stays = standing, []
    # What the form itself asks for is no reason to go elsewhere first.
    at_handover = [row for row in blocks if row.code in gate.AT_HANDOVER]
    blocks = [row for row in blocks if row.code not in gate.AT_HANDOVER]
    draft = sheets.gather(job, revision=1, issued_at=timezone.now(), kind=kind)
    return {
        "job": job,
        "car": job.vehicle,
        "title": "Collected unfinished" if kind == SheetKind.UNFINISHED else "Handover",
        "kind": kind,
        "blocks": [
            {"text": row.text, "url": row.url, "waive": _waive(job, row) if row.waivable else ""}
            for row in blocks
        ],
        "stays": stays,
        "asked_here": at_handover,
        "dangers": _dangers(job, kind),
        "tagged": any(row.code == "tag" for row in gate.everything(job)),
        "waivers": job.waivers.select_related("made_by"),
        "draft": plain(draft.technical)["body"],
        "prices": plain(draft.personal)["prices"],
        "can_be_ready": job.state == JobState.FINAL_CHECKS,
        "ready_form": forms.ReadyForm(auto_id=False),
        "here": job.state in IN_THE_BUILDING,
        **about(job),
    }


def _waive(job: Job, blocker: gate.Blocker) -> str:
    return reverse("jobs:waive", args=[job.pk], query={"blocker": blocker.key})


def _dangers(job: Job, kind: SheetKind) -> list[str]:
    """What would leave with the car that is dangerous and that nobody was told of yet."""
    found = gate.everything(job)
    said = [
        f"Tightening not finished or not proven: {run}"
        for run in Run.objects.filter(pk__in=acts.critical_runs(found)).select_related(
            "version_used__procedure"
        )
    ]
    if kind == SheetKind.UNFINISHED:
        open_faults = [row.subject for row in found if row.code == "fault_open"]
        said += [
            str(fault) for fault in Fault.objects.filter(pk__in=open_faults, severity=Severity.DANGEROUS)
        ]
    return said


@may(May.SEE_PEOPLE)
def waivers(request: HttpRequest) -> HttpResponse:
    """Every blocker that a lead let go, newest first."""
    rows = Waiver.objects.select_related("job__vehicle", "made_by").order_by("-made_at")
    page_obj = Paginator(rows, WAIVERS_ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "jobs/waivers.html", {"page_obj": page_obj})


urlpatterns = [
    path("jobs/<uuid:job_id>/handover/", handover, name="handover"),
    path("jobs/<uuid:job_id>/ready/", call_ready, name="call-ready"),
    path("jobs/<uuid:job_id>/unfinished/", collect_unfinished, name="collect-unfinished"),
    path("waivers/", waivers, name="waivers"),
]
