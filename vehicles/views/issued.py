"""Numbered prints about a car: issued by one tap, listed, handed out as they were, and confirmed to whoever holds one."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_safe

from vehicles import issuing, long_prints, panels, prints
from vehicles.acts import issued as acts
from vehicles.forms.issued import IssueForm, WithCostsForm
from vehicles.models import IssuedPrint, PrintKind, Vehicle
from vehicles.views.vehicle import visible_vehicle
from workshop.forms.base import by_of
from workshop.pages import may, pdf_answer
from workshop.permissions import May

# Drafts of what is about the car itself; those of a survey and of a run stand on their pages.
DRAFTS = ((PrintKind.BUILD, "vehicles:build-sheet"), (PrintKind.HISTORY, "vehicles:history-draft"))


def _rows(car: Vehicle):
    rows = IssuedPrint.objects.filter(vehicle=car).select_related(
        "text", "made_by", "made_for", "survey", "run__version_used__procedure", "run__job"
    )
    return rows.defer("text__pdf", "text__data").order_by("-made_at", "-revision")


def _told(rows) -> list[dict[str, Any]]:
    """Each with the number of the revision that superseded it, None for the latest. No query."""
    latest: dict[tuple, int] = {}
    for row in rows:
        key = (row.kind, row.subject, row.made_for_id)
        latest[key] = max(row.revision, latest.get(key, 0))
    told = []
    for row in rows:
        last = latest[row.kind, row.subject, row.made_for_id]
        told.append({"row": row, "superseded_by": last if last != row.revision else None, "of": _of(row)})
    return told


def _of(row: IssuedPrint) -> str:
    """What it is about, where that is not the car."""
    if row.survey_id:
        return f"survey of {row.survey.made_at:%-d %b %Y}"
    if row.run_id:
        return f"{row.run}, job {row.run.job.number}"
    return f"for {row.made_for}" if row.made_for_id else ""


@may(May.SEE_SHOP)
@require_safe
def papers(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Every numbered print of a car, every revision, the latest first."""
    car = visible_vehicle(request, vehicle_id)
    context = {
        "vehicle": car,
        "papers": _told(list(_rows(car))),
        "blockers": issuing.blockers(),
        "offers": _offers(),
        "drafts": [(kind.label, reverse(name, args=[car.pk])) for kind, name in DRAFTS],
    }
    return render(request, "vehicles/papers.html", context)


def _offers() -> list[dict[str, Any]]:
    return [
        {"kind": kind.value, "label": f"Issue {kind.label.lower()}", "key": uuid4()}
        for kind in (PrintKind.BUILD, PrintKind.HISTORY)
    ]


@may(May.ISSUE_PRINT)
def issue(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """One tap issues it. Asked for without a tap, the page says what will be made; with `costs`, it asks for whom."""
    car = visible_vehicle(request, vehicle_id)
    costs = "made_for" in request.POST or "costs" in request.GET
    form_class = WithCostsForm if costs else IssueForm
    status = 200
    if request.method == "POST":
        form = form_class(request.POST, vehicle=car)
        if form.is_valid():
            data = dict(form.act_arguments())
            by = by_of(request, form)
            became = long_prints.start(by.key, lambda: acts.issue(by=by, vehicle=car, **data))
            if became.state in ("making", "done"):
                return _go_on(request, car, by.key, became)
            form.add_error(None, ValidationError(list(became.said) or [_BROKEN]))
        status = 422
    else:
        asked_for = {name: request.GET[name] for name in ("kind", "survey", "run") if name in request.GET}
        form = form_class(initial={"kind": PrintKind.HISTORY, **asked_for}, vehicle=car)
    asked = form["kind"].value()
    label = PrintKind(asked).label if asked in PrintKind.values else "a print"
    context = {
        "vehicle": car,
        "form": form,
        "title": f"Issue {label[:1].lower()}{label[1:]}{' with costs' if costs else ''}",
        "blockers": issuing.blockers(),
        "submit_label": "Issue it",
        "cancel_url": reverse("vehicles:papers", args=[car.pk]),
        "kicker": car.name,
        "kicker_url": car.get_absolute_url(),
    }
    return render(request, "vehicles/issue_print.html", context, status=status)


_BROKEN = "It could not be made: something went wrong on the server, and stands in its log. Nothing was issued. Ask for it again."


def _go_on(request: HttpRequest, car: Vehicle, key: UUID, became: long_prints.Making) -> HttpResponse:
    if became.state == "making":
        return _saved(redirect("vehicles:print-making", car.pk, key), key)
    row = get_object_or_404(IssuedPrint, pk=became.print, vehicle=car)
    if row.key == key:
        messages.success(request, f"{row.title} {row.number}, revision {row.revision}: issued.")
    else:
        messages.success(
            request,
            f"The records say what {row.title.lower()} {row.number}, revision {row.revision} says: it stands, byte "
            "for byte. Nothing new was issued.",
        )
    return _saved(redirect(f"{reverse('vehicles:papers', args=[car.pk])}#p{row.pk}"), key)


def _saved(answer: HttpResponse, key: UUID) -> HttpResponse:
    """The key in the header tells a script that this very form arrived."""
    answer.headers["X-Saved-Key"] = str(key)
    return answer


@may(May.ISSUE_PRINT)
@require_safe
def print_making(request: HttpRequest, vehicle_id: UUID, key: UUID) -> HttpResponse:
    """A long print is being made: looks again by itself, or by its link."""
    car = visible_vehicle(request, vehicle_id)
    became = long_prints.state_of(key)
    if became is not None and became.state == "done":
        answer = _go_on(request, car, key, became)
        if request.htmx:
            return HttpResponse(headers={"HX-Redirect": answer.url})
        return answer
    context = {
        "vehicle": car,
        "making": became is not None and became.state == "making",
        "said": (list(became.said) if became else []) or [_BROKEN],
    }
    return render(request, "vehicles/print_making.html", context)


@may(May.READ_SHEET)
@require_safe
def issued(request: HttpRequest, print_id: UUID) -> HttpResponse:
    """The bytes as they were stored: what is downloaded today is what was issued then. `?download` saves them."""
    row = get_object_or_404(
        IssuedPrint.objects.visible_to(request.user).select_related("text").defer("text__data"), pk=print_id
    )
    if row.text.pdf is None:
        raise Http404("erased")
    return pdf_answer(row.text.pdf, row.file_name, save="download" in request.GET, frozen=True)


@may(May.SEE_SHOP)
@require_safe
def history_draft(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The history report as it would be issued, as a page for the browser's own print: it has no page numbers."""
    car = visible_vehicle(request, vehicle_id)
    template, context, _ = prints.draft_of(PrintKind.HISTORY, car)
    response = render(request, template, context)
    response.headers["Cache-Control"] = "private, no-store"
    return response


def _panel(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """The latest of each print: one query."""
    told = [each for each in _told(list(_rows(car))) if each["superseded_by"] is None]
    return {"papers": told[:4], "count": len(told), "offers": _offers(), "blocked": bool(issuing.blockers())}


panels.add_panel(panels.Panel(78, "papers", "Papers", "vehicles/_papers_panel.html", _panel))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/papers/", papers, name="papers"),
    path("vehicles/<uuid:vehicle_id>/papers/issue/", issue, name="issue-print"),
    path("vehicles/<uuid:vehicle_id>/papers/making/<uuid:key>/", print_making, name="print-making"),
    path("vehicles/<uuid:vehicle_id>/history/draft/", history_draft, name="history-draft"),
    path("papers/<uuid:print_id>/", issued, name="issued"),
]
