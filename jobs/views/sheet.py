"""Sheets: the page of one revision, its PDF as stored, the draft, the next revision, signatures, the confirmation."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from jobs import sheets
from jobs.acts import sheet as acts
from jobs.forms import handover as forms
from jobs.models import Job, SheetRevision
from jobs.models.handover import SheetKind, SignerPart
from jobs.sections import add_section
from jobs.views.job import about, visible_job
from workshop.forms.base import ActForm
from workshop.pages import act_page, may, public
from workshop.permissions import May
from workshop.sheets import in_groups


def visible_sheet(request: HttpRequest, sheet_id: UUID) -> SheetRevision:
    """The revision, when this person may see its car; else 404."""
    rows = SheetRevision.objects.visible_to(request.user).select_related(
        "job__vehicle", "made_by", "text", "job__handover__collected_by"
    )
    return get_object_or_404(rows.defer("text__pdf", "technical"), pk=sheet_id)


@may(May.READ_SHEET)
def sheet(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """One revision: its PDF, who signed it, what came before and after."""
    found = visible_sheet(request, sheet_id)
    revisions = list(_revisions(found.job))
    latest = revisions[0]
    signatures = {
        row.signer_part: row for row in found.signatures.select_related("person", "keeper", "witness")
    }
    current = latest.pk == found.pk
    own = getattr(request.user, "keeper", None)
    page = {
        "sheet": found,
        "job": found.job,
        "car": found.job.vehicle,
        "revisions": revisions,
        "latest": latest,
        "current": current,
        "erased": found.text.erased_at,
        "technical_hash": in_groups(found.technical_hash),
        "personal_hash": in_groups(found.personal_hash),
        "pdf_hash": in_groups(found.pdf_hash),
        "confirm": sheets.confirm_address(found.token),
        "signers": [
            {
                "part": part.value,
                "label": part.label,
                "signature": signatures.get(part.value),
            }
            for part in SignerPart
        ],
        "may_sign": current and request.user.may(May.HAND_OVER),
        "own_form": ActForm(auto_id=False)
        if current
        and own is not None
        and found.job.handover.collected_by_id == own.pk
        and SignerPart.COLLECTOR not in signatures
        else None,
        "due": sheets.revision_due(found.job) if current and request.user.may(May.SEE_SHOP) else [],
    }
    return render(request, "jobs/sheet.html", page)


def _revisions(job: Job):
    return (
        job.sheets.order_by("-revision")
        .select_related("made_by", "text")
        .defer("text__pdf", "text__personal", "technical")
    )


@may(May.READ_SHEET)
@require_safe
def sheet_pdf(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """The bytes as they were stored: what is downloaded today is what was printed then."""
    found = get_object_or_404(
        SheetRevision.objects.visible_to(request.user).select_related("job", "text"), pk=sheet_id
    )
    if found.text.pdf is None:
        raise Http404("erased")
    return HttpResponse(
        bytes(found.text.pdf),
        headers={
            "Content-Type": "application/pdf",
            "Content-Disposition": f'inline; filename="sheet-{found.job.number}-revision-{found.revision}.pdf"',
            "Content-Security-Policy": "default-src 'none'; object-src 'self'",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-cache",
        },
    )


@may(May.SEE_SHOP)
def sheet_draft(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """The same template for the browser's own print, marked as a draft: needs neither PDF library nor address."""
    job = visible_job(request, job_id)
    kind = request.GET.get("kind")
    data = sheets.gather(
        job,
        revision=1,
        issued_at=timezone.now(),
        kind=kind if kind in SheetKind.values else SheetKind.HANDOVER,
    )
    context = sheets.sheet_context(json.loads(data.technical_text), json.loads(data.personal_text))
    response = render(request, sheets.TEMPLATE, context)
    response.headers["Cache-Control"] = "private, no-store"
    return response


@may(May.REVISE_SHEET)
def sheet_revise(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    latest = job.sheets.order_by("-revision").first()
    if latest is None:
        raise Http404("no sheet yet")
    return act_page(
        request,
        form_class=forms.ReviseForm,
        act=acts.revise_sheet,
        title=f"Issue revision {latest.revision + 1}",
        submit="Issue it",
        intro="Earlier revisions stay as they are, and their codes lead to this one. Give the new one to whoever "
        "has the old one.",
        fixed={"job": job},
        cancel=latest,
        template="jobs/sheet_revise.html",
        context={
            "due": sheets.revision_due(job),
            "blocks": [{"text": row.text, "url": row.url} for row in acts.blocks_revision(job)],
            **about(job),
        },
    )


@may(May.HAND_OVER)
def sheet_sign(request: HttpRequest, sheet_id: UUID, part: str) -> HttpResponse:
    found = visible_sheet(request, sheet_id)
    if part not in SignerPart.values:
        raise Http404("no such signer")
    signer = SignerPart(part)
    who = request.user.name if signer == SignerPart.LEAD else found.job.handover.collected_by.name
    return act_page(
        request,
        form_class=forms.SignForm,
        act=acts.sign,
        title=f"Signature: {signer.label.lower()}",
        submit="Write it down",
        intro=f"{who} signs revision {found.revision}. Signing confirms that the sheet was handed over and "
        "explained. It gives up no claim.",
        fixed={"revision": found, "signer_part": signer.value},
        form_kwargs={"signer_part": signer, "person": request.user},
        done=found,
        said="Written down.",
        context=about(found.job),
    )


@may(May.ANSWER_OWN)
def sheet_sign_own(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """Whoever collected the car confirms in their own account."""
    found = visible_sheet(request, sheet_id)
    return act_page(
        request,
        form_class=ActForm,
        act=acts.sign_own,
        title="Confirm that you have this sheet",
        submit="I have this sheet",
        intro="This confirms that the sheet was handed to you. It gives up no claim and accepts no fault.",
        fixed={"revision": found},
        done=found,
        said="Thank you. It is written down.",
    )


@may(May.ERASE)
def sheet_erase(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    found = visible_sheet(request, sheet_id)
    return act_page(
        request,
        form_class=forms.EraseForm,
        act=acts.erase_personal,
        title="Erase keeper and prices",
        submit="Erase for good",
        intro="The page with keeper and prices, and the stored PDF, of every revision of this sheet are erased and "
        "can't be brought back. Numbers and hashes stay. The technical part is issued again as the next revision.",
        fixed={"revision": found},
        cancel=found,
        said="Erased. The technical part was issued as the next revision.",
        context=about(found.job),
    )


@public
@require_safe
def confirm(request: HttpRequest, token: str) -> HttpResponse:
    """Is this sheet the one that was issued? Says number, revision and hashes, and nothing of car or people.

    A code that was not issued here gets one and the same answer, whatever it looks like.
    """
    found = SheetRevision.objects.select_related("job", "text").defer(
        "text__pdf", "text__personal", "technical"
    )
    row = found.filter(token=token).first()
    page: dict[str, Any] = {"found": None}
    if row is not None:
        latest = row.job.sheets.order_by("-revision").only("revision", "token", "made_at").first()
        page = {
            "found": row,
            "number": row.job.number,
            "latest": latest,
            "erased": row.text.erased_at,
            "technical_hash": in_groups(row.technical_hash),
            "personal_hash": in_groups(row.personal_hash),
            "pdf_hash": in_groups(row.pdf_hash),
        }
    response = render(request, "jobs/confirm.html", page, status=200 if row is not None else 404)
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Robots-Tag"] = "noindex, nofollow"
    return response


def _sheets_section(request: HttpRequest, job: Job) -> dict[str, Any] | None:
    revisions = list(_revisions(job))
    if not revisions:
        return None
    return {"revisions": revisions, "due": sheets.revision_due(job)}


add_section(5, "sheets", "jobs/_sheets.html", _sheets_section)


urlpatterns = [
    path("sheets/<uuid:sheet_id>/", sheet, name="sheet"),
    path("sheets/<uuid:sheet_id>/pdf/", sheet_pdf, name="sheet-pdf"),
    path("sheets/<uuid:sheet_id>/sign/<str:part>/", sheet_sign, name="sheet-sign"),
    path("sheets/<uuid:sheet_id>/confirm/", sheet_sign_own, name="sheet-sign-own"),
    path("sheets/<uuid:sheet_id>/erase/", sheet_erase, name="sheet-erase"),
    path("jobs/<uuid:job_id>/sheet/draft/", sheet_draft, name="sheet-draft"),
    path("jobs/<uuid:job_id>/sheet/revise/", sheet_revise, name="sheet-revise"),
    path("confirm/<str:token>/", confirm, name="confirm"),
]
