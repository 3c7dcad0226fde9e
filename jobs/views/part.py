"""The parts of the car as a work line changes them."""

from __future__ import annotations

from itertools import groupby
from uuid import UUID

from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from jobs.acts import part as acts
from jobs.forms import part as forms
from jobs.models import CheckIn, WorkLine
from jobs.views.work import line_page, visible_line
from vehicles.models import FittedPart, Zone
from vehicles.models.part import Whereabouts
from vehicles.parts import part_in_place
from workshop.pages import may
from workshop.permissions import May

CAUTION = (
    "Follow the maker's procedure and its cautions for lifting, springs, fuel, airbags and high voltage. The maker's "
    "data decide which part fits."
)


def _part(line: WorkLine, part_id: UUID) -> FittedPart:
    """A part of the line's car; else 404."""
    return get_object_or_404(
        FittedPart.objects.select_related("place").filter(vehicle=line.job.vehicle_id), pk=part_id
    )


def _on_the_car(request: HttpRequest, line: WorkLine, part_id: UUID) -> FittedPart:
    """The same, while it is on the car. Sent when somebody else took it off meanwhile, the act refuses instead: what
    was typed stays on the page.
    """
    part = _part(line, part_id)
    if request.method != "POST" and (part.removed_at is not None or part.entered_in_error):
        raise Http404("not on the car")
    return part


def _went(line: WorkLine, part: FittedPart) -> dict[str, str]:
    """What is proposed for where the old part goes; asked each time all the same."""
    default = acts.default_whereabouts(line, part.place)
    if not default and CheckIn.objects.filter(job=line.job_id, old_parts_back=True).exists():
        default = Whereabouts.RETURNED
    return {"whereabouts": default}


@may(May.FIT_PARTS)
def parts(request: HttpRequest, line_id: UUID) -> HttpResponse:
    """The parts of the car, to choose which one the line changes; and what came off and may come back. Two queries."""
    line = visible_line(request, line_id)
    asked = " ".join(request.GET.get("q", "").split())
    rows = (
        FittedPart.objects.filter(vehicle=line.job.vehicle_id)
        .fitted_now()
        .select_related("place")
        .order_by("place__order", "place__name", "position")
    )
    if asked:
        rows = rows.filter(
            Q(description__icontains=asked)
            | Q(place__name__icontains=asked)
            | Q(position__icontains=asked.replace(" ", "_"))
        )
    zones = [
        (Zone(zone).label, list(found)) for zone, found in groupby(rows, key=lambda part: part.place.zone)
    ]
    off = (
        FittedPart.objects.filter(
            vehicle=line.job.vehicle_id, removed_by_line__job=line.job_id, later_record=None
        )
        .exclude(whereabouts__in=[Whereabouts.SCRAPPED, Whereabouts.CORE, Whereabouts.HAZARDOUS])
        .exclude(whereabouts=Whereabouts.ON_THE_CAR)
        .select_related("place")
        .order_by("-removed_at")
    )
    return render(
        request,
        "jobs/line_parts.html",
        {"line": line, "job": line.job, "car": line.job.vehicle, "zones": zones, "off": off, "q": asked},
    )


@may(May.FIT_PARTS)
def part_fit(request: HttpRequest, line_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    return line_page(
        request,
        line,
        form_class=forms.FitForm,
        act=acts.fit_part,
        title="Fit a part where none is on record",
        submit="It is fitted",
        intro="A part that takes the place of one on record is fitted from “Parts of the car”. Where another one came "
        "off that was not on record, say below what it was.",
        cautions=[CAUTION],
        fixed={"line": line, "in_place": acts.EMPTY},
        form_kwargs={"replace_url": lambda part: reverse("jobs:part-replace", args=[line.pk, part.pk])},
        said="Fitted.",
    )


@may(May.FIT_PARTS)
def part_replace(request: HttpRequest, line_id: UUID, part_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    part = _on_the_car(request, line, part_id)
    return line_page(
        request,
        line,
        form_class=forms.ReplaceForm,
        act=acts.fit_part,
        title=f"Replace: {part.description}"[:120],
        submit="It is replaced",
        intro=f"{part.where[:1].upper()}{part.where[1:]}. The old part's record ends with where it went, and the new "
        "one's begins.",
        cautions=[CAUTION],
        fixed={"line": line, "place": part.place, "position": part.position, "in_place": str(part.pk)},
        initial={**_went(line, part), "factory_fits": part.factory_fits},
        said="Replaced.",
    )


@may(May.FIT_PARTS)
def part_remove(request: HttpRequest, line_id: UUID, part_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    part = _on_the_car(request, line, part_id)
    return line_page(
        request,
        line,
        form_class=forms.RemoveForm,
        act=acts.remove_part,
        title=f"Take off: {part}"[:120],
        submit="It is off",
        intro="Nothing is fitted in its stead.",
        cautions=[CAUTION],
        fixed={"line": line, "part": part},
        initial=_went(line, part),
        said="Taken off.",
    )


@may(May.FIT_PARTS)
def part_refit(request: HttpRequest, line_id: UUID, part_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    part = _on_the_car(request, line, part_id)
    return line_page(
        request,
        line,
        form_class=forms.RefitForm,
        act=acts.refit_part,
        title=f"Removed and refitted: {part}"[:120],
        submit="It is back",
        intro="It was off for the work and is in its place again.",
        fixed={"line": line, "part": part},
        said="Recorded.",
    )


@may(May.FIT_PARTS)
def part_swap(request: HttpRequest, line_id: UUID, part_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    part = _on_the_car(request, line, part_id)
    return line_page(
        request,
        line,
        form_class=forms.SwapForm,
        act=acts.swap_parts,
        title=f"Swap: {part}"[:120],
        submit="They are swapped",
        intro="Both go on record in each other's place.",
        fixed={"line": line, "part": part},
        form_kwargs={"part": part},
        said="Swapped.",
    )


@may(May.FIT_PARTS)
def part_back(request: HttpRequest, line_id: UUID, part_id: UUID) -> HttpResponse:
    """Fit a part again that came off: after a trial, or back from work elsewhere."""
    line = visible_line(request, line_id)
    part = _part(line, part_id)
    if part.removed_at is None and request.method != "POST":
        raise Http404("on the car")
    now = part_in_place(line.job.vehicle, part.place, part.position)
    return line_page(
        request,
        line,
        form_class=forms.PutBackForm,
        act=acts.put_back,
        title=f"Put back: {part}"[:120],
        submit="It is back",
        intro=f"{now.description} is in the place now and comes off." if now else "The place is empty now.",
        fixed={"line": line, "part": part, "in_place": str(now.pk) if now else acts.EMPTY},
        form_kwargs={"in_place": now},
        initial={"whereabouts": Whereabouts.KEPT} if now and now.on_trial else {},
        said="Put back.",
    )


@may(May.FIT_PARTS)
def trial_keep(request: HttpRequest, line_id: UUID, part_id: UUID) -> HttpResponse:
    line = visible_line(request, line_id)
    part = _on_the_car(request, line, part_id)
    if not part.on_trial and request.method != "POST":
        raise Http404("not on trial")
    old = part.replaces
    return line_page(
        request,
        line,
        form_class=forms.KeepTrialForm,
        act=acts.keep_trial,
        title=f"It stays: {part}"[:120],
        submit="It stays on the car",
        intro="The trial is over; the part is the car's now. Say by what it is known and where the old one went.",
        fixed={"line": line, "part": part},
        initial={"part_number": part.part_number, **(_went(line, old) if old else {})},
        said="It stays.",
    )


urlpatterns = [
    path("lines/<uuid:line_id>/parts/", parts, name="line-parts"),
    path("lines/<uuid:line_id>/parts/fit/", part_fit, name="part-fit"),
    path("lines/<uuid:line_id>/parts/<uuid:part_id>/replace/", part_replace, name="part-replace"),
    path("lines/<uuid:line_id>/parts/<uuid:part_id>/remove/", part_remove, name="part-remove"),
    path("lines/<uuid:line_id>/parts/<uuid:part_id>/refit/", part_refit, name="part-refit"),
    path("lines/<uuid:line_id>/parts/<uuid:part_id>/swap/", part_swap, name="part-swap"),
    path("lines/<uuid:line_id>/parts/<uuid:part_id>/back/", part_back, name="part-back"),
    path("lines/<uuid:line_id>/parts/<uuid:part_id>/keep/", trial_keep, name="trial-keep"),
]
