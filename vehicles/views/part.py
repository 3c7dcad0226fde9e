from __future__ import annotations

from itertools import groupby
from uuid import UUID

from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils.formats import date_format
from django.views.decorators.http import require_safe

from vehicles import parts as reads
from vehicles import prints
from vehicles.acts import part as acts
from vehicles.calculations import kept
from vehicles.figure_pages import figures_of_part
from vehicles.forms import part as forms
from vehicles.models import Confidence, FittedPart, Place, SurveyEntry, Vehicle, Zone
from vehicles.panels import Panel, add_panel
from vehicles.photos import photos_of
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May

# What the vehicle's page shows of each zone; the rest is one link away.
PANEL_ROWS = 12
SHOW = {"": "All", "not_factory": "Not factory", "open": "Open questions", "removed": "Removed"}
# Of a long history so many are listed; each place has all of its own.
MOST_REMOVED, MOST_ENTRIES = 60, 40


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
    """The parts on the car by zone, now or as of a date; those that are not the factory's, open, or came off."""
    car = visible_vehicle(request, vehicle_id)
    show = request.GET.get("show", "")
    show = show if show in SHOW else ""
    zone = request.GET.get("zone", "")
    zone = zone if zone in Zone.values else ""
    as_of = forms.AsOfForm(request.GET) if "on" in request.GET else forms.AsOfForm()
    day, place = None, None
    if as_of.is_bound and as_of.is_valid():
        day, place = as_of.cleaned_data["on"], as_of.cleaned_data["place"]
    gone = FittedPart.objects.filter(vehicle=car, entered_in_error="", removed_at__isnull=False)
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
        "removed": gone.count(),
    }
    older = 0
    surveys = list(car.surveys.select_related("made_by", "finished_by")[:3])
    open_places = 0 if day else reads.open_places(surveys[0] if surveys else None, rows)
    counts["open"] += open_places
    if show == "removed":
        # A long history: the latest are shown, the rest stands with each place.
        rows = list(gone.select_related("place").order_by("-removed_at")[:MOST_REMOVED])
        older = counts["removed"] - len(rows)
        rows.sort(key=lambda part: (part.place.order, part.place.name))
    elif show == "not_factory":
        rows = [part for part in rows if not part.is_factory]
    elif show == "open":
        rows = [part for part in rows if part.confidence == Confidence.OPEN]
    if place:
        rows = [part for part in rows if part.place_id == place.pk]
    in_zone: dict[str, int] = {}
    for part in rows:
        in_zone[part.place.zone] = in_zone.get(part.place.zone, 0) + 1
    if zone:
        rows = [part for part in rows if part.place.zone == zone]
    evidence = reads.evidence_of(rows)
    for part in rows:
        part.pieces = evidence.get(part.pk, [])
        part.since = reads.since_when(part)
        if day and not part.proven:
            part.since += f"; that it was there on {date_format(day)} is taken, not proven"
    return render(
        request,
        "vehicles/parts.html",
        {
            "vehicle": car,
            "zones": by_zone(rows),
            "show": show,
            "filters": [(code, label, counts[code]) for code, label in SHOW.items()],
            "zone": zone,
            "zone_label": Zone(zone).label if zone else "",
            "zone_filters": _zone_filters(in_zone, zone),
            "older": older,
            "as_of": as_of,
            "day": day,
            "place": place,
            "surveys": surveys,
            "open_places": open_places,
        },
    )


def _zone_filters(count: dict[str, int], chosen: str) -> list[tuple[str, str, int]]:
    """(code, label, count) of each zone that has any, and of the chosen one; none where there is nothing to choose."""
    if len(count) < 2 and not chosen:
        return []
    return [(one.value, one.label, count.get(one, 0)) for one in Zone if one in count or one == chosen]


@may(May.SEE_SHOP)
def place(request: HttpRequest, vehicle_id: UUID, place_slug: str) -> HttpResponse:
    """One place of one car: what is there, all that ever was, what surveys said, faults and items there."""
    car = visible_vehicle(request, vehicle_id)
    where = get_object_or_404(Place, pk=place_slug)
    rows = list(
        FittedPart.objects.filter(vehicle=car, place=where)
        .select_related("place", "made_by")
        .order_by(F("removed_at").desc(nulls_first=True), "-made_at")
    )
    for part in rows:
        part.since = reads.since_when(part)
    entries = (
        SurveyEntry.objects.filter(survey__vehicle=car, place=where)
        .select_related("survey", "part__place", "made_by")
        .order_by("-made_at")[:MOST_ENTRIES]
    )
    return render(
        request,
        "vehicles/place.html",
        {
            "vehicle": car,
            "place": where,
            "zone": Zone(where.zone).label,
            "now": [part for part in rows if part.is_on_the_car],
            "past": [part for part in rows if not part.is_on_the_car],
            "entries": entries,
            "faults": car.faults.filter(place=where),
            "items": car.outstanding_items.filter(place=where),
            "photos": photos_of(car, place=where),
        },
    )


@may(May.SEE_SHOP)
@require_safe
def build_sheet(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """What the car is and which of its parts are not the factory's, on paper, from the record as it is now."""
    car = visible_vehicle(request, vehicle_id)
    return prints.pdf_answer(request, *prints.build_sheet(car), back=reverse("vehicles:parts", args=[car.pk]))


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
            "photos": photos_of(row.vehicle, part=row),
            "calculations": kept(row.calculations),
            **figures_of_part(row),
            "jobs": row.vehicle.jobs.open() if row.is_on_the_car else [],
        },
    )


@may(May.SURVEY)
def part_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """A part found on the car; with ?place= in that place, and then its dimensions are asked for too."""
    car = visible_vehicle(request, vehicle_id)
    where = Place.objects.filter(pk=request.GET.get("place", "")).first()
    return act_page(
        request,
        form_class=forms.PartForm,
        act=acts.record_part,
        title=f"Found on the car: {where.name.lower()}" if where else "A part found on the car",
        intro="A part that the shop fits is written on its work line instead: there the old one is ended with it.",
        fixed={"vehicle": car, "place": where} if where else {"vehicle": car},
        form_kwargs={"place": where},
        cancel=reverse("vehicles:parts", args=[car.pk]),
        submit="Record the part",
        template="vehicles/part_add.html",
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
def part_gone(request: HttpRequest, part_id: UUID) -> HttpResponse:
    """Not on the car any more, and the shop did not take it off: found gone, or somebody says so."""
    row = visible_part(request, part_id)
    return act_page(
        request,
        form_class=forms.PartGoneForm,
        act=acts.end_part,
        title=f"Not on the car any more: {row.description}",
        intro="For a part that came off elsewhere. What the shop takes off is written on its work line, and what "
        "never was on the car is marked as entered in error.",
        fixed={"part": row},
        initial={"seen_version": row.version},
        done=row,
        submit="It is gone",
        said=f"{row.description}: not on the car any more.",
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
    """Parts on the car now: three queries. Not the factory's first, because they are what a survey is for."""
    rows = list(FittedPart.objects.filter(vehicle=car).fitted_now().select_related("place"))
    odd = [one for one in rows if not one.is_factory]
    shown = odd[:PANEL_ROWS]
    survey = car.surveys.select_related("made_by", "finished_by").first()
    return {
        "zones": by_zone(shown),
        "factory": len(rows) - len(odd),
        "odd": len(odd),
        "odd_parts": odd,
        "more": len(odd) - len(shown),
        "open_questions": sum(one.confidence == Confidence.OPEN for one in rows),
        "total": len(rows),
        "open_places": reads.open_places(survey, rows),
        "survey": survey,
    }


add_panel(Panel(30, "parts", "Parts and where they come from", "vehicles/_parts.html", gather))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/parts/", parts, name="parts"),
    path("vehicles/<uuid:vehicle_id>/parts/add/", part_add, name="part-add"),
    path("vehicles/<uuid:vehicle_id>/build-sheet.pdf", build_sheet, name="build-sheet"),
    path("vehicles/<uuid:vehicle_id>/places/<slug:place_slug>/", place, name="place"),
    path("parts/<uuid:part_id>/", part, name="part"),
    path("parts/<uuid:part_id>/assess/", part_assess, name="part-assess"),
    path("parts/<uuid:part_id>/evidence/add/", part_evidence, name="part-evidence"),
    path("parts/<uuid:part_id>/in-error/", part_error, name="part-error"),
    path("parts/<uuid:part_id>/gone/", part_gone, name="part-gone"),
    path("parts/<uuid:part_id>/whereabouts/", part_whereabouts, name="part-whereabouts"),
    path("places/", places, name="places"),
    path("places/add/", place_add, name="place-add"),
]
