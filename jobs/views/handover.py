"""Closing a job: the gate beside the sheet; ready, handed over, collected unfinished; the waivers.

Handing over takes two steps on one address. The first asks what is still to be asked, and rehearses the act: what it
would refuse is shown at once. The second shows the very sheet, and both sign it; then the act is performed. Nothing is
stored in between: what was typed travels along.
"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone

from jobs import gate, leaving, sheets
from jobs.acts import handover as acts
from jobs.forms import handover as forms
from jobs.models import Job, JobState, SheetRevision, Waiver
from jobs.models.handover import LeftHow, SheetKind, SignerPart
from jobs.signing import Shown
from jobs.states import IN_THE_BUILDING
from jobs.views.job import about, visible_job
from vehicles.models import Keeper
from workshop.canonical import plain
from workshop.models import Shop
from workshop.pages import act_page, answered, may
from workshop.permissions import May
from workshop.sheets import in_groups

WAIVERS_ON_A_PAGE = 50
FORMS = {
    SheetKind.HANDOVER: (forms.HandoverForm, forms.SignedHandover, acts.hand_over),
    SheetKind.UNFINISHED: (forms.UnfinishedForm, forms.SignedUnfinished, acts.collect_unfinished),
}
# Where the link of a blocker leads.
WHERE = {
    "site_url": "Read the draft",
    "pdf": "Read the draft",
    "other_job": "Open the other job",
    "tag": "Lift the tag",
    "isolation": "Re-energise",
    "thing": "Say that it is back",
    "line_above": "Open the work line",
    "line_undecided": "Open the work line",
    "line_open": "Open the work line",
    "make_safe_untold": "Write down the telling",
    "fault_open": "Open the fault",
    "run_open": "Open the run",
    "run": "Open the run",
    "line_put_off": "Put it on the list",
    "whereabouts": "Say where the part went",
    "trial": "Open the part",
    "untold": "Tell the owner",
    "odometer_out": "Read the odometer",
    "road_test": "Record the road test",
    "final_check": "Make the final check",
    "tools": "Make the final check",
    "parts": "Make the final check",
    "comeback": "Judge the comeback",
    "damage_untold": "Tell the owner",
}


@may(May.HAND_OVER)
def handover(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """What blocks, what the sheet will say, and the one form that the state allows."""
    job = visible_job(request, job_id)
    if request.method != "POST":
        if job.is_closed:
            return _closed(job)
        if job.state != JobState.READY:
            return render(request, "jobs/handover.html", _with_draft(_page(request, job, SheetKind.HANDOVER)))
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
        form_kwargs={"request": request},
        done=lambda move: reverse("jobs:handover", args=[job.pk]),
        cancel=reverse("jobs:handover", args=[job.pk]),
        said="Ready for collection.",
        context=about(job),
    )


@may(May.HAND_OVER)
def collect_unfinished(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """The car is collected before it is done."""
    job = visible_job(request, job_id)
    if request.method != "POST":
        if job.is_closed:
            return _closed(job)
        if job.state not in IN_THE_BUILDING:
            return render(
                request, "jobs/handover.html", _with_draft(_page(request, job, SheetKind.UNFINISHED))
            )
    return _leaving(request, job, SheetKind.UNFINISHED)


def _closed(job: Job) -> HttpResponse:
    return redirect(_latest_sheet(job) or job)


def _latest_sheet(job: Job) -> SheetRevision | None:
    return job.sheets.order_by("-revision").first()


# --- the two steps -----------------------------------------------------------------------------------------


def _leaving(request: HttpRequest, job: Job, kind: SheetKind) -> HttpResponse:
    page = _page(request, job, kind)
    form_class, signed_class, act = FORMS[kind]
    kwargs = {
        "request": request,
        "job": job,
        "day": timezone.localdate(),
        "dangers": page["dangers"],
        "read": gate.odometer_out(job),
    }
    if request.method != "POST":
        return _first_step(request, page, form_class(initial=_initial(job, page), **kwargs))

    step = request.POST.get("step")
    if step == "change":
        return _first_step(request, page, form_class(request.POST, **kwargs))
    signed, ticket = None, None
    if step == "sign":
        signed = signed_class(request.POST, **kwargs)
        if signed.is_valid() and signed.try_act(act, request=request, job=job):
            said = "Collected unfinished." if kind == SheetKind.UNFINISHED else "Handed over."
            messages.success(request, f"{said} The sheet is issued.")
            return answered(request, signed.answer, signed)
        ticket = signed.ticket

    typed = form_class(request.POST, **kwargs)
    data = typed.rehearsed(act, request=request, moment=ticket and ticket.made_at, job=job)
    changed: list[str] = []
    if data is not None and ticket is not None and ticket.hashes != data.hashes:
        changed = ticket.differs(Shown.of(data, by=typed.by, job=job))
        # What is signed now is of now.
        ticket, typed = None, form_class(request.POST, **kwargs)
        data = typed.rehearsed(act, request=request, job=job)
    if data is None:
        return _first_step(request, page, typed)
    if ticket is not None:
        # What was shown still stands, and with it what was drawn.
        return _second_step(request, page, typed, data, signed)
    empty = signed_class(initial={"signer": typed.signed_by}, **kwargs)
    return _second_step(request, page, typed, data, empty, again=signed, changed=changed)


def _first_step(request: HttpRequest, page: dict[str, Any], form: forms.HandoverForm) -> HttpResponse:
    job = page["job"]
    context = {
        **_with_draft(page),
        "form": form,
        "known_how": forms.KNOWN_HOW,
        "cancel_url": job.get_absolute_url(),
        "issued": _latest_sheet(job) if form.errors else None,
    }
    return render(request, "jobs/handover.html", context, status=422 if form.errors else 200)


def _second_step(
    request: HttpRequest,
    page: dict[str, Any],
    typed: forms.HandoverForm,
    data: sheets.SheetData,
    form: forms.Signatures,
    *,
    again: forms.Signatures | None = None,
    changed: list[str] | None = None,
) -> HttpResponse:
    """The very sheet, and two fields to sign in. `again`: what was signed does not stand, for what it refused."""
    job, kind = page["job"], page["kind"]
    shown = Shown.of(data, by=typed.by, job=job)
    context = {
        **page,
        "form": form,
        "again": again.non_field_errors() if again is not None else [],
        "changed": changed or [],
        "fresh": not form.is_bound,
        "typed": _typed(request, typed),
        "key": (again or typed).data.get("key"),
        "shown": shown.sealed,
        "paper": sheets.sheet_context(plain(data.technical), plain(data.personal), hashes=data.hashes),
        "technical_hash": in_groups(shown.hashes[0]),
        "personal_hash": in_groups(shown.hashes[1]),
        "signers": _signers(form, typed.signed_by.name, typed.cleaned_data["collected_by"]),
        "submit_label": "Let the car go and issue its sheet"
        if kind == SheetKind.UNFINISHED
        else "Hand over and issue the sheet",
    }
    refused = form.is_bound or again is not None
    return render(request, "jobs/handover_sign.html", context, status=422 if refused else 200)


def _signers(form: forms.Signatures, lead: str, collector: Keeper) -> list[dict[str, Any]]:
    return [
        {
            "part": part,
            "name": name,
            "title": title,
            "method": form[f"{part}_signs"],
            "ink": form[f"{part}_ink"],
            "witness": form[f"{part}_witness"] if part == SignerPart.COLLECTOR else None,
        }
        for part, name, title in (
            (SignerPart.LEAD.value, lead, "For the workshop"),
            (SignerPart.COLLECTOR.value, collector.name, "Collects the car"),
        )
    ]


def _typed(request: HttpRequest, form: forms.HandoverForm) -> list[tuple[str, str]]:
    """What was typed in the first step, as it was sent, to travel along with the second."""
    pairs = []
    for name, field in form.fields.items():
        if name == "key":
            continue
        suffixes = getattr(field.widget, "widgets_names", [""])
        pairs += [(f"{name}{each}", request.POST.get(f"{name}{each}", "")) for each in suffixes]
    return pairs


def _initial(job: Job, page: dict[str, Any]) -> dict[str, Any]:
    check_in = getattr(job, "check_in", None)
    unit = check_in.odometer.instrument.unit if check_in else Shop.current().distance_unit
    return {
        "odometer": ["", unit],
        "keys_returned": check_in.keys if check_in else None,
        "collected_by": job.payer,
        "left_how": LeftHow.TRAILER if page["dangers"] or page["tagged"] else LeftHow.DRIVEN,
    }


def _with_draft(page: dict[str, Any]) -> dict[str, Any]:
    """With the sheet as it would be now."""
    draft = sheets.gather(page["job"], revision=1, issued_at=timezone.now(), kind=page["kind"])
    return {**page, "paper": sheets.sheet_context(plain(draft.technical), plain(draft.personal))}


def _page(request: HttpRequest, job: Job, kind: SheetKind) -> dict[str, Any]:
    """The gate, and what else stands around both steps."""
    found = gate.look(job)
    blocks, stays = found.to_clear, []
    if kind == SheetKind.UNFINISHED:
        blocks = [row for row in found.to_clear if not row.may_stay_unfinished]
        stays = [row for row in found.to_clear if row.may_stay_unfinished]
    return {
        "job": job,
        "car": job.vehicle,
        "title": "Collected unfinished" if kind == SheetKind.UNFINISHED else "Handover",
        "kind": kind,
        "blocks": [
            {
                "what": row.what,
                "todo": row.todo,
                "url": row.url,
                "where": WHERE.get(row.code, "Open it"),
                "critical": row.critical,
                "waive": _waive(job, row) if row.waivable else "",
            }
            for row in blocks
        ],
        # The same count in the same words as on the job's page.
        "words": gate.count_words(len(blocks)),
        "stays": stays,
        # What the form itself asks for is no reason to go elsewhere first.
        "asked_here": [row for row in found.at_handover if row.code != "odometer_out"],
        "dangers": leaving.dangers_leaving(job, found.everything, kind),
        "tagged": any(row.code == "tag" for row in found.everything),
        "waivers": job.waivers.select_related("made_by"),
        "can_be_ready": job.state == JobState.FINAL_CHECKS,
        "ready_form": forms.ReadyForm(auto_id="ready_%s", request=request),
        "here": job.state in IN_THE_BUILDING,
        **about(job),
    }


def _waive(job: Job, blocker: gate.Blocker) -> str:
    return reverse("jobs:waive", args=[job.pk], query={"blocker": blocker.key})


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
