"""Labels with a QR code: for a car, its keys, the tools, parts taken off. Made when asked for, kept nowhere."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_safe

from jobs import labels as reads
from jobs.forms.label import LabelForm
from vehicles.panels import Action, add_action
from workshop import checks
from workshop.labels import print_labels
from workshop.pages import may, pdf_answer
from workshop.permissions import May

SCOPES = ("car", "job", "tools", "tool", "part", "parts")


def _scope(request: HttpRequest) -> dict[str, str]:
    return {name: request.GET[name] for name in SCOPES if request.GET.get(name)}


@may(May.SEE_SHOP)
@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """What can be labelled of a car, a job, the tools or a part; without any, where to begin."""
    offer = reads.offered(request.user, _scope(request))
    return _page(request, offer, LabelForm(offer=offer) if offer else None)


def _page(request: HttpRequest, offer, form, status: int = 200) -> HttpResponse:
    context = {
        "offer": offer,
        "form": form,
        "asked": bool(_scope(request)),
        "other": f"?tools={'due' if offer.scope.get('tools') == 'all' else 'all'}"
        if offer and "tools" in offer.scope
        else "",
        "site_url": settings.SITE_URL,
        "pdf_problem": checks.pdf_problem(),
    }
    return render(request, "jobs/labels.html", context, status=status)


@may(May.SEE_SHOP)
@require_safe
def labels_pdf(request: HttpRequest) -> HttpResponse:
    offer = reads.offered(request.user, _scope(request))
    if offer is None:
        return redirect("jobs:labels")
    form = LabelForm(request.GET, offer=offer)
    if not settings.SITE_URL or checks.pdf_problem() or not form.is_valid():
        return _page(request, offer, form, 422)
    given = form.cleaned_data
    printed = print_labels(form.chosen(), given["on"], first=given["first"], copies=given["copies"])
    return pdf_answer(printed.pdf, "labels.pdf")


@may(May.SEE_SHOP)
@require_safe
def vehicle_labels(request: HttpRequest, vehicle_id) -> HttpResponse:
    return redirect(f"{reverse('jobs:labels')}?car={vehicle_id}")


add_action(Action(70, "Labels", "jobs:vehicle-labels", May.SEE_SHOP))

urlpatterns = [
    path("labels/", labels, name="labels"),
    path("labels/labels.pdf", labels_pdf, name="labels-pdf"),
    path("vehicles/<uuid:vehicle_id>/labels/", vehicle_labels, name="vehicle-labels"),
]
