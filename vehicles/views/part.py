from __future__ import annotations

from itertools import groupby
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils.formats import date_format

from vehicles import parts as reads
from vehicles.acts import part as acts
from vehicles.forms import part as forms
from vehicles.models import Confidence, FittedPart, Place, Vehicle, Zone
from vehicles.panels import Panel, add_panel
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May

# What the vehicle's page shows of each zone; the rest is one link away.
PANEL_ROWS = 12
SHOW = {"": "All", "not_factory": "Not factory", "open": "Open questions"}


def by_zone(parts: list[FittedPart]) -> list[dict]:
    """Parts in the order of the walk, grouped by zone; needs `place` selected along."""
    return [
        {"zone": Zone(zone).label, "parts": list(rows)}
        for zone, rows in groupby(parts, key=lambda part: part.place.zone)
    ]


def visible_part(request: HttpRequest, part_id: UUID) -> FittedPart:
    return get_object_or_404(
        FittedPart.objects.select_related(
            "vehicle", "place", "made_by", "device", "fitted_by_line__job", "removed_by_line__job"
        ).filter(vehicle__in=Vehicle.objects.visible_to(request.user)),
        pk=part_id,
    )


@may(May.SEE_SHOP)
def parts(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The parts on the car by zone, now or as of a date, with what is not the factory's and what is open."""
    car = visible_vehicle(request, vehicle_id)
    show = request.GET.get("show", "")
    as_of = forms.AsOfForm(request.GET) if "on" in request.GET else forms.AsOfForm()
    day, place = None, None
    if as_of.is_bound and as_of.is_valid():
        day, place = as_of.cleaned_data["on"], as_of.cleaned_data["place"]
    if day:
        moment = reads.end_of(day)
        rows = reads.parts_on(car, moment)
        for part in rows:
            part.proven = reads.known_at(part, moment)
    else:
        rows = list(FittedPart.objects.filter(vehicle=car).fitted_now().select_related("place"))
    counts = {
        "": len(rows),
        "not_factory": sum(not part.is_factory for part in rows),
        "open": sum(part.confidence == Confidence.OPEN for part in rows),
    }
    if place:
        rows = [part for part in rows if part.place_id == place.pk]
    if show == "not_factory":
        rows = [part for part in rows if not part.is_factory]
    elif show == "open":
        rows = [part for part in rows if part.confidence == Confidence.OPEN]
    for part in rows:
        part.since = reads.since_when(part)
        if day and not part.proven:
            part.since += f"; that it was there on {date_format(day)} is taken, not proven"
    return render(
        request,
        "vehicles/parts.html",
        {
            "vehicle": car,
            "zones": by_zone(rows),
            "show": show if show in SHOW else "",
            "filters": [(code, label, counts[code]) for code, label in SHOW.items()],
            "as_of": as_of,
            "day": day,
            "place": place,
        },
    )


@may(May.SEE_SHOP)
def part(request: HttpRequest, part_id: UUID) -> HttpResponse:
    row = visible_part(request, part_id)
    history = [
        one for one in reads.history_of_place(row.vehicle, row.place, row.position) if one.pk != row.pk
    ]
    for one in (row, *history):
        one.since = reads.since_when(one)
    return render(
        request,
        "vehicles/part.html",
        {
            "part": row,
            "vehicle": row.vehicle,
            "pieces": row.all_evidence(),
            "history": history,
            "supports": reads.supported(row.best_evidence, row.provenance).label.lower(),
        },
    )


@may(May.SURVEY)
def part_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.PartForm,
        act=acts.record_part,
        title="A part found on the car",
        intro="A part that the shop fits is written on its work line instead: there the old one is ended with it.",
        fixed={"vehicle": car},
        cancel=reverse("vehicles:parts", args=[car.pk]),
        submit="Record the part",
        context=about(car),
    )


@may(May.SURVEY)
def part_assess(request: HttpRequest, part_id: UUID) -> HttpResponse:
    row = visible_part(request, part_id)
    return act_page(
        request,
        form_class=forms.AssessPartForm,
        act=acts.assess_part,
        title=f"Assess again: {row.description}",
        intro="What stands now is kept in the log, with your reason.",
        fixed={"part": row},
        form_kwargs={"instance": row},
        initial={"seen_version": row.version},
        done=row,
        context=about(row.vehicle),
    )


@may(May.SURVEY)
def part_evidence(request: HttpRequest, part_id: UUID) -> HttpResponse:
    row = visible_part(request, part_id)
    return act_page(
        request,
        form_class=forms.EvidenceForm,
        act=acts.add_evidence,
        title=f"Evidence for {row.description}",
        fixed={"part": row},
        done=row,
        submit="Add the evidence",
        context=about(row.vehicle),
    )


@may(May.SURVEY)
def part_error(request: HttpRequest, part_id: UUID) -> HttpResponse:
    row = visible_part(request, part_id)
    return act_page(
        request,
        form_class=forms.PartInErrorForm,
        act=acts.correct_in_error,
        title=f"Entered in error: {row.description}",
        intro="The record stays readable, crossed out. It counts no more, and the place is free for the right one.",
        fixed={"part": row},
        initial={"seen_version": row.version},
        done=row,
        submit="Mark as entered in error",
        context=about(row.vehicle),
    )


@may(May.FIT_PARTS)
def part_whereabouts(request: HttpRequest, part_id: UUID) -> HttpResponse:
    row = visible_part(request, part_id)
    return act_page(
        request,
        form_class=forms.WhereaboutsForm,
        act=acts.say_whereabouts,
        title=f"Where it went: {row.description}",
        fixed={"part": row},
        initial={
            "seen_version": row.version,
            "whereabouts": row.whereabouts,
            "whereabouts_note": row.whereabouts_note,
        },
        done=row,
        context=about(row.vehicle),
    )


@may(May.SEE_SHOP)
def places(request: HttpRequest) -> HttpResponse:
    """The places that a survey looks at, by zone."""
    zones = [
        {"zone": Zone(zone).label, "places": list(rows)}
        for zone, rows in groupby(Place.objects.all(), key=lambda place: place.zone)
    ]
    return render(request, "vehicles/part_places.html", {"zones": zones})


@may(May.EDIT_PLACES)
def place_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.PlaceForm,
        act=acts.add_place,
        title="A place of the shop's own",
        intro="It is asked for in every survey from now on, at the end of its zone.",
        done=lambda place: f"{reverse('vehicles:places')}#{place.pk}",
        cancel="vehicles:places",
        submit="Add the place",
    )


def about(car: Vehicle) -> dict:
    """The line above a form's title: which car this is."""
    return {"kicker": car.name, "kicker_url": car.get_absolute_url(), "vehicle": car}


def gather(request: HttpRequest, car: Vehicle) -> dict:
    """Parts on the car now: two queries. Not the factory's first, because they are what a survey is for."""
    rows = list(FittedPart.objects.filter(vehicle=car).fitted_now().select_related("place"))
    odd = [one for one in rows if not one.is_factory]
    shown = odd[:PANEL_ROWS]
    return {
        "zones": by_zone(shown),
        "factory": len(rows) - len(odd),
        "odd": len(odd),
        "more": len(odd) - len(shown),
        "open_questions": sum(one.confidence == Confidence.OPEN for one in rows),
        "total": len(rows),
        "survey": car.surveys.select_related("made_by", "finished_by").first(),
    }


add_panel(Panel(30, "parts", "Parts and where they come from", "vehicles/_parts.html", gather))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/parts/", parts, name="parts"),
    path("vehicles/<uuid:vehicle_id>/parts/add/", part_add, name="part-add"),
    path("parts/<uuid:part_id>/", part, name="part"),
    path("parts/<uuid:part_id>/assess/", part_assess, name="part-assess"),
    path("parts/<uuid:part_id>/evidence/add/", part_evidence, name="part-evidence"),
    path("parts/<uuid:part_id>/in-error/", part_error, name="part-error"),
    path("parts/<uuid:part_id>/whereabouts/", part_whereabouts, name="part-whereabouts"),
    path("places/", places, name="places"),
    path("places/add/", place_add, name="place-add"),
]
