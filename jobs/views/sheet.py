"""Sheets: the page of one revision, its PDF as stored, the draft, the next revision, signatures, the confirmation."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from jobs import ink, sheets
from jobs.acts import sheet as acts
from jobs.forms import handover as forms
from jobs.models import Job, SheetRevision
from jobs.models.handover import SheetKind, SignatureMethod, SignerPart
from jobs.sections import add_section
from jobs.views.job import about, visible_job
from vehicles import issuing
from vehicles.models import Attachment
from workshop.forms.base import ActForm
from workshop.models import Event
from workshop.pages import act_page, may, pdf_answer
from workshop.permissions import May
from workshop.sheets import in_groups


def visible_sheet(request: HttpRequest, sheet_id: UUID) -> SheetRevision:
    """The revision, when this person may see its car; else 404."""
    rows = SheetRevision.objects.visible_to(request.user).select_related(
        "job__vehicle", "made_by", "text", "job__handover__collected_by"
    )
    return get_object_or_404(rows.defer("text__pdf"), pk=sheet_id)


@may(May.READ_SHEET)
def sheet(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """One revision: its PDF, who signed it, what it says otherwise than the one before."""
    found = visible_sheet(request, sheet_id)
    revisions = list(_revisions(found.job))
    latest = revisions[0]
    current = latest.pk == found.pk
    erased = found.text.erased_at
    redacted = bool(json.loads(found.technical)["sheet"].get("redacted"))
    staff = request.user.may(May.SEE_SHOP)
    # Without keeper and prices there is nobody but the workshop to sign it.
    signers = [row for row in _signers(found) if not redacted or row["part"] == SignerPart.LEAD]
    page = {
        "sheet": found,
        "job": found.job,
        "car": found.job.vehicle,
        "revisions": revisions,
        "latest": latest,
        "current": current,
        "erased": erased,
        "technical_hash": in_groups(found.technical_hash),
        "personal_hash": in_groups(found.personal_hash),
        "pdf_hash": in_groups(found.pdf_hash),
        "confirm": sheets.confirm_address(found.token),
        "signers": signers,
        "unsigned": current and not erased and any(row["signature"] is None for row in signers),
        "papers": _papers(request, found),
        # What was signed on the screen, or by account, needs no paper.
        "wants_paper": current
        and not erased
        and not redacted
        and any(
            row["signature"] is None or row["signature"].method == SignatureMethod.PAPER for row in signers
        ),
        "may_sign": current and request.user.may(May.HAND_OVER),
        "own_form": _own_form(request, found, signers) if current else None,
        "due": sheets.revision_due(found.job) if current and staff else [],
        "redacted": redacted,
        "mail": sheets.mail(found, found.job.handover.collected_by.email)
        if staff and not erased and not redacted
        else None,
        **_compared(found),
    }
    return render(request, "jobs/sheet.html", page)


def _signers(found: SheetRevision) -> list[dict[str, Any]]:
    """Both who sign, with their signature and what was drawn, where there is one. One query."""
    rows = {
        row.signer_part: row for row in found.signatures.select_related("person", "keeper", "witness", "ink")
    }
    answer = []
    for part in SignerPart:
        row = rows.get(part.value)
        drawn = getattr(row, "ink", None) if row is not None else None
        answer.append(
            {
                "part": part.value,
                "label": part.label,
                "signature": row,
                "drawing": ink.drawing(drawn.lines) if drawn and drawn.lines else None,
                "erased": drawn.erased_at if drawn else None,
            }
        )
    return answer


def _papers(request: HttpRequest, found: SheetRevision) -> list[Attachment]:
    """Signed papers that were attached to this revision, as far as this person may see them."""
    rows = Attachment.objects.visible_to(request.user).shown()
    return list(rows.filter(sheet=found).select_related("made_by").order_by("made_at"))


def _own_form(request: HttpRequest, found: SheetRevision, signers: list[dict[str, Any]]) -> ActForm | None:
    """Whoever collected the car, and has an account, confirms it there."""
    own = getattr(request.user, "keeper", None)
    signed = any(row["part"] == SignerPart.COLLECTOR and row["signature"] for row in signers)
    if own is None or signed or found.job.handover.collected_by_id != own.pk:
        return None
    return ActForm(auto_id=False)


def _compared(found: SheetRevision) -> dict[str, Any]:
    """The revision before, and what this one says otherwise."""
    if found.revision == 1:
        return {"before": None, "rows": []}
    before = (
        found.job.sheets.filter(revision=found.revision - 1)
        .select_related("job", "text")
        .defer("text__pdf")
        .get()
    )
    return {"before": before, "rows": sheets.differences(before, found)}


def _revisions(job: Job):
    return (
        job.sheets.order_by("-revision")
        .select_related("made_by", "text")
        .defer("text__pdf", "text__personal", "technical")
    )


@may(May.READ_SHEET)
@require_safe
def sheet_pdf(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """The bytes as they were stored: what is downloaded today is what was printed then. `?download` saves them."""
    found = get_object_or_404(
        SheetRevision.objects.visible_to(request.user).select_related("job", "text"), pk=sheet_id
    )
    if found.text.pdf is None:
        raise Http404("erased")
    return pdf_answer(found.text.pdf, sheets.file_name(found), save="download" in request.GET, frozen=True)


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
    """One of the two signs a sheet that was issued: on the screen, or what was signed on paper is written down."""
    found = visible_sheet(request, sheet_id)
    if part not in SignerPart.values:
        raise Http404("no such signer")
    signer = SignerPart(part)
    if signer == SignerPart.LEAD:
        # On a tablet of the shop it may be somebody else than whose session it is: chosen below.
        who = "the lead" if request.device and request.device.is_enrolled else request.user.name
    else:
        who = found.job.handover.collected_by.name
    return act_page(
        request,
        form_class=forms.SignForm,
        act=acts.sign,
        title=f"Signature: {signer.label.lower()}",
        submit="Write it down",
        fixed={"revision": found, "signer_part": signer.value},
        form_kwargs={"signer_part": signer, "request": request},
        done=found,
        said="Written down.",
        template="jobs/sheet_sign.html",
        context={
            "sheet": found,
            "who": who,
            "technical_hash": in_groups(found.technical_hash),
            "personal_hash": in_groups(found.personal_hash),
            **about(found.job),
        },
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
        intro="The page with keeper and prices, what was drawn to sign, signed papers that were attached, and the "
        "stored PDF of every revision of this sheet are erased and can't be brought back. Numbers and hashes stay. The technical part is issued again as the next revision.",
        fixed={"revision": found},
        cancel=found,
        said="Erased. The technical part was issued as the next revision.",
        context=about(found.job),
    )


def _confirm_sheet(token: str) -> issuing.Confirmed | None:
    """What the page of a sheet's code says: two queries."""
    row = (
        SheetRevision.objects.filter(token=token)
        .select_related("job", "text")
        .defer("text__pdf", "text__personal", "technical")
        .first()
    )
    if row is None:
        return None
    latest = row.job.sheets.order_by("-revision").only("revision", "made_at").first()
    erased = row.text.erased_at
    return issuing.Confirmed(
        title=row.get_kind_display(),
        number=row.job.number,
        revision=row.revision,
        latest=latest.revision,
        latest_on=latest.made_at,
        issued_on=row.made_at,
        pages=row.pages,
        hashes=(
            (
                "SHA-256 of the data of the technical part, printed at its end, beside the code",
                in_groups(row.technical_hash),
                False,
            ),
            (
                "SHA-256 of the data of the part with keeper and prices, printed at its end",
                in_groups(row.personal_hash),
                bool(erased),
            ),
            ("SHA-256 of the PDF file", in_groups(row.pdf_hash), bool(erased)),
        ),
        erased=erased,
        file_hash=row.pdf_hash,
        erased_what="the part with keeper and prices, and the file" if erased else "",
    )


issuing.add_confirmer("sheets", _confirm_sheet)


def _sheets_section(request: HttpRequest, job: Job) -> dict[str, Any] | None:
    revisions = list(_revisions(job))
    if not revisions:
        return None
    due = sheets.revision_due(job) if _touched_since(revisions[0]) else []
    return {"revisions": revisions, "due": due}


def _touched_since(sheet: SheetRevision) -> bool:
    """Whether anything was written about the car or the job since: if not, the sheet stands, and the job page need
    not gather all of it anew to see that. One query.
    """
    job = sheet.job
    about_it = Q(vehicle_ref=str(job.vehicle_id)) | Q(job_ref=str(job.pk))
    later = Event.objects.filter(about_it, seq__gt=sheet.log_seq).exclude(key=sheet.key)
    return later.exclude(act__startswith="jobs.sheet.").exists()


add_section(5, "sheets", "jobs/_sheets.html", _sheets_section)


urlpatterns = [
    path("sheets/<uuid:sheet_id>/", sheet, name="sheet"),
    path("sheets/<uuid:sheet_id>/pdf/", sheet_pdf, name="sheet-pdf"),
    path("sheets/<uuid:sheet_id>/sign/<str:part>/", sheet_sign, name="sheet-sign"),
    path("sheets/<uuid:sheet_id>/confirm/", sheet_sign_own, name="sheet-sign-own"),
    path("sheets/<uuid:sheet_id>/erase/", sheet_erase, name="sheet-erase"),
    path("jobs/<uuid:job_id>/sheet/draft/", sheet_draft, name="sheet-draft"),
    path("jobs/<uuid:job_id>/sheet/revise/", sheet_revise, name="sheet-revise"),
]
