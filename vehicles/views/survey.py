"""The walkaround survey: one zone on the screen at a time, answered by taps; its report; its print."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_safe

from vehicles.acts import survey as acts
from vehicles.calculations import kept
from vehicles.effects import report_of as effects_of_car
from vehicles.forms import survey as forms
from vehicles.models import FittedPart, Place, Survey, Vehicle, Zone
from vehicles.models.survey import SurveyFinding
from vehicles.parts import said_before
from vehicles.photos import photos_by
from vehicles.prints import pdf_answer, survey_print
from vehicles.survey_report import report_of
from vehicles.views.part import about
from vehicles.views.vehicle import visible_vehicle
from vehicles.walk import Stop, Walk, add_raised, survey_before, walk
from workshop.copies import keeps_copy
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued

# Lines of the computed order that a summary begins with: what does not fit one hand is no longer “first”.
FIRST_LINES = 5


def visible_survey(request: HttpRequest, survey_id: UUID) -> Survey:
    return get_object_or_404(
        Survey.objects.select_related("vehicle", "job", "made_by", "finished_by").filter(
            vehicle__in=Vehicle.objects.visible_to(request.user)
        ),
        pk=survey_id,
    )


@may(May.SURVEY)
def survey_start(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Begin a survey; where one is open, whoever comes goes on with that."""
    car = visible_vehicle(request, vehicle_id)
    if request.method == "GET" and (open_one := car.surveys.filter(finished_at=None).first()):
        messages.info(request, f"A survey is open, begun by {open_one.made_by}. Go on with it.")
        return redirect(open_one)
    return act_page(
        request,
        form_class=forms.StartSurveyForm,
        act=acts.start_survey,
        title="Walkaround survey",
        intro="One pass round the car, zone by zone: what is as the factory made it, what is not, what is open.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        cancel=car,
        submit="Start the survey",
        said="Survey begun. Whoever comes later goes on with it.",
        context=about(car),
    )


@may(May.SEE_SHOP)
@keeps_copy
def survey(request: HttpRequest, survey_id: UUID) -> HttpResponse:
    """The walk while the survey is open, a report once it is finished."""
    row = visible_survey(request, survey_id)
    if row.finished_at:
        return render(
            request,
            "vehicles/survey_report.html",
            {
                "survey": row,
                "vehicle": row.vehicle,
                "report": report_of(row),
                "effects": effects_of_car(row.vehicle),
                "calculations": kept(row.calculations),
                "car_surveys": row.vehicle.surveys.exclude(pk=row.pk),
                "severities": forms.SEVERITIES,
                "key": uuid4,
            },
        )
    return _walk_page(request, row, zone=request.GET.get("zone", ""), apart=request.GET.get("apart", ""))


@may(May.SURVEY)
@queued(acts.record_zone_as_factory, what="Zone of a survey")
def survey_zone(request: HttpRequest, survey_id: UUID, zone: str) -> HttpResponse:
    """All of a zone as the factory made it, with one tap. Opened by itself it shows the zone."""
    row = visible_survey(request, survey_id)
    if zone not in Zone.values:
        raise Http404("The car has no such zone.")
    if request.method != "POST":
        return redirect(f"{row.get_absolute_url()}?zone={zone}")
    form = forms.ZoneForm(request.POST)
    if not (
        form.is_valid() and form.try_act(acts.record_zone_as_factory, request=request, survey=row, zone=zone)
    ):
        return _walk_page(request, row, zone=zone, form=form, status=422)
    return _go_on(request, row, form, zone=Zone(zone))


@may(May.SURVEY)
@queued(acts.record_entry, what="Answer of a survey")
def survey_entry(request: HttpRequest, survey_id: UUID, place_slug: str) -> HttpResponse:
    """What is in one place: a tap in the walk, or the panel for a remark, a question, an answer once more.

    “Not as the factory made it” without a part on record leads on to the part.
    """
    row = visible_survey(request, survey_id)
    place = get_object_or_404(Place, pk=place_slug)
    if request.method != "POST":
        form = forms.EntryForm(place=place, initial=_asked(request, place, "finding", "note"))
        return _walk_page(request, row, place=place, panel="entry", form=form)
    form = forms.EntryForm(request.POST, place=place)
    if form.is_valid():
        if form.cleaned_data["finding"] == SurveyFinding.NOT_FACTORY and not row.finished_at:
            position = form.cleaned_data.get("position", "")
            there = FittedPart.objects.filter(vehicle=row.vehicle, place=place).fitted_now()
            if not (there.filter(position=position) if position else there).exists():
                # The remark goes along: it is the entry's, whichever form it is sent from.
                return _to_the_part(request, row, place, position, form.cleaned_data["note"])
        if form.try_act(acts.record_entry, request=request, survey=row, place=place):
            return _go_on(request, row, form, place=place)
    return _walk_page(request, row, place=place, panel="entry", form=form, status=422)


@may(May.SURVEY)
@queued(acts.record_part_seen, what="Part seen in a survey")
def survey_part(request: HttpRequest, survey_id: UUID, place_slug: str) -> HttpResponse:
    """The part that stands in a place instead of the factory's: part and entry in one act, then on with the walk."""
    row = visible_survey(request, survey_id)
    place = get_object_or_404(Place, pk=place_slug)
    if request.method != "POST":
        form = forms.PartSeenForm(
            place=place, there=_there(row, place), initial=_part_initial(request, row, place)
        )
        return _walk_page(request, row, place=place, panel="part", form=form)
    form = forms.PartSeenForm(request.POST, place=place, there=_there(row, place))
    if form.is_valid() and form.try_act(acts.record_part_seen, request=request, survey=row, place=place):
        return _go_on(request, row, form, place=place)
    return _walk_page(request, row, place=place, panel="part", form=form, status=422)


@may(May.SURVEY)
@queued(acts.look_into, what="Look into it")
def survey_look(request: HttpRequest, survey_id: UUID, place_slug: str) -> HttpResponse:
    """“Look into it”: one tap on how serious it is raises a fault on what the survey says of a place."""
    row = visible_survey(request, survey_id)
    place = get_object_or_404(Place, pk=place_slug)
    if request.htmx and request.method == "POST" and not row.finished_at:
        form = forms.LookIntoForm(request.POST, place=place)
        if form.is_valid() and form.try_act(acts.look_into, request=request, survey=row, place=place):
            return _go_on(request, row, form, place=place, said=f"Raised: {form.answer}.", stay=True)
        return _walk_page(request, row, place=place, form=form, status=422)
    back = row.get_absolute_url() if row.finished_at else f"{row.get_absolute_url()}?zone={place.zone}"
    return act_page(
        request,
        form_class=forms.LookIntoForm,
        act=acts.look_into,
        title=f"Look into it: {place.name}",
        fixed={"survey": row, "place": place},
        form_kwargs={"place": place},
        done=lambda _: f"{back}#{place.pk}",
        cancel=f"{back}#{place.pk}",
        said=f"{place.name}: raised.",
        submit="Raise it",
        context={"kicker": f"Survey of {row.vehicle.name}", "kicker_url": row.get_absolute_url()},
    )


@may(May.SURVEY)
def survey_finish(request: HttpRequest, survey_id: UUID) -> HttpResponse:
    row = visible_survey(request, survey_id)
    report = report_of(row)
    left = report.walk.asked - report.walk.said
    lines = [f"{n}. {_in_short(one)}" for n, one in enumerate(report.first[:FIRST_LINES], 1)]
    return act_page(
        request,
        form_class=forms.FinishSurveyForm,
        act=acts.finish_survey,
        title="Finish the survey",
        intro=f"{left} of {report.walk.asked} places are not spoken of: the report will say so."
        if left
        else "",
        fixed={"survey": row},
        initial={"summary": "\n".join(lines)},
        done=row,
        submit="Finish the survey",
        template="vehicles/survey_finish.html",
        context={
            "kicker": f"Survey of {row.vehicle.name}",
            "kicker_url": row.get_absolute_url(),
            "report": report,
            "severities": forms.SEVERITIES,
            "key": uuid4,
        },
    )


@may(May.SEE_SHOP)
@require_safe
def survey_pdf(request: HttpRequest, survey_id: UUID) -> HttpResponse:
    """The report on paper, made from the record at the time of asking."""
    row = visible_survey(request, survey_id)
    return pdf_answer(request, *survey_print(row), back=row)


# --- the walk on the screen -----------------------------------------------------------------------------------


def _walk_page(
    request: HttpRequest,
    row: Survey,
    *,
    zone: str = "",
    place: Place | None = None,
    apart: str = "",
    panel: str = "",
    form: BaseForm | None = None,
    found: Walk | None = None,
    here: Stop | None = None,
    said: str = "",
    status: int = 200,
) -> HttpResponse:
    """One zone of the walk with the rail of all; for a script only that part of the page, which it puts in place.

    `panel` "entry" or "part" opens a form at `place`; `form` is that form, or the one that was refused.
    """
    found = found or _found(row)
    one = found.zone(place.zone if place else zone)
    if one is None:
        ahead = found.next_stop
        one = found.zone(ahead.place.zone) if ahead else found.zones[0]
    if here is None and not panel:
        nearest = found.next_from(place, one.zone)
        here = nearest if nearest in one.stops else None
    photos = photos_by(row.vehicle_id, "place_id", survey=row)
    for stop in one.stops:
        stop.key, stop.look_key = uuid4(), uuid4()
        stop.photos = photos.get(stop.place.pk, [])
        for spot in stop.spots:
            spot.key = uuid4()
    number = found.zones.index(one)
    page = {
        "survey": row,
        "vehicle": row.vehicle,
        "walk": found,
        "zone": one,
        "zone_key": uuid4(),
        "previous_zone": found.zones[number - 1] if number else None,
        "next_zone": found.zones[number + 1] if number + 1 < len(found.zones) else None,
        "opened": place.pk if panel else apart,
        "panel": panel or ("apart" if apart else ""),
        "place": place,
        "form": form,
        "here": here.place.pk if here else "",
        "said": said,
        "problems": form.non_field_errors() if form is not None and form.is_bound and not panel else [],
        "severities": forms.SEVERITIES,
        "questions": forms.QUESTIONS,
        "suggestions": said_before(row.vehicle, place) if panel == "part" else [],
    }
    part_of_page = request.htmx and not request.htmx.history_restore_request
    template = "vehicles/_survey_walk.html" if part_of_page else "vehicles/survey.html"
    return render(request, template, page, status=status)


def _found(row: Survey) -> Walk:
    found = walk(row, survey_before(row))
    add_raised(row, found)
    return found


def _go_on(
    request: HttpRequest,
    row: Survey,
    form: BaseForm,
    *,
    place: Place | None = None,
    zone: Zone | None = None,
    said: str = "",
    stay: bool = False,
) -> HttpResponse:
    """After an answer: what was said, and the next place that nobody has spoken of."""
    found = _found(row)
    here = found.next_from(place, zone)
    if place and (stay or _corrected(found, place, form.cleaned_data["key"])):
        # Whoever puts an answer right wants to see it: the walk goes on from there when they do.
        shown = found.zone(place.zone)
        address, anchor = f"{row.get_absolute_url()}?zone={place.zone}", place.pk
    else:
        shown = found.zone(here.place.zone if here else place.zone if place else zone)
        address = f"{row.get_absolute_url()}?zone={shown.zone.value}"
        anchor = here.place.pk if here else ""
    said = said or (_said_of_place(found, place) if place else _said_of_zone(found, zone))
    if request.htmx:
        here = here if here in shown.stops else None
        response = _walk_page(request, row, zone=shown.zone.value, found=found, here=here, said=said)
        response.headers["HX-Replace-Url"] = address
    else:
        messages.success(request, said)
        response = redirect(f"{address}#{anchor}" if anchor else address)
    response.headers["X-Saved-Key"] = str(form.cleaned_data["key"])
    return response


def _corrected(found: Walk, place: Place, key: UUID) -> bool:
    """Whether this submission spoke of what had been spoken of before."""
    stop = next(one for one in found.zone(place.zone).stops if one.place.pk == place.pk)
    return any(spot.entry and spot.entry.key == key and spot.earlier for spot in stop.spots)


def _said_of_place(found: Walk, place: Place) -> str:
    stop = next(one for one in found.zone(place.zone).stops if one.place.pk == place.pk)
    if stop.same:
        label = stop.same.get_finding_display()
        every = f", all {len(stop.spots)}" if len(stop.spots) > 1 else ""
        return f"{place.name}: {label[:1].lower()}{label[1:]}{every}."
    left = [spot.label for spot in stop.spots if not spot.entry]
    return f"{place.name}: noted; {', '.join(left)} not spoken of yet." if left else f"{place.name}: noted."


def _said_of_zone(found: Walk, zone: Zone) -> str:
    one = found.zone(zone)
    left = [stop.place.name for stop in one.stops if not stop.said]
    whole = all(stop.same and stop.same.finding == SurveyFinding.AS_FACTORY for stop in one.stops)
    text = f"{zone.label}: {'all' if whole else 'the rest is'} as the factory made it."
    return f"{text} Left for an answer of their own: {'; '.join(left)}." if left else text


def _asked(request: HttpRequest, place: Place, *names: str) -> dict[str, Any]:
    """What the link that opened the form knows; a position that the place does not have is no page."""
    known = {name: request.GET[name] for name in names if name in request.GET}
    position = request.GET.get("position", "")
    if position:
        if position not in place.allowed:
            raise Http404("This place has no such position.")
        known["position"] = position
    return known


def _there(row: Survey, place: Place) -> dict[str, str]:
    """Why a position is not chosen beforehand: position → what is on record there, or was said of it. Two queries."""
    if place.asked == ("",):
        return {}
    said = row.entries.counting().filter(place=place).order_by("made_at", "received_at")
    found = {one.position: f"said: {one.get_finding_display().lower()}" for one in said}
    filled = FittedPart.objects.filter(vehicle=row.vehicle, place=place).fitted_now()
    return found | {part.position: f"on record: {part.description}" for part in filled}


def _part_initial(request: HttpRequest, row: Survey, place: Place, **known: str) -> dict[str, Any]:
    """In which positions the part is likely to be: the one that was asked for, else those not spoken of yet."""
    known = {**_asked(request, place, "note", "description"), **known}
    if position := known.pop("position", ""):
        known["positions"] = [position]
    elif place.asked != ("",):
        said = set(row.entries.counting().filter(place=place).values_list("position", flat=True))
        filled = FittedPart.objects.filter(vehicle=row.vehicle, place=place).fitted_now()
        taken = said | set(filled.values_list("position", flat=True))
        known["positions"] = [one for one in place.asked if one not in taken]
    return known


def _to_the_part(request: HttpRequest, row: Survey, place: Place, position: str, note: str) -> HttpResponse:
    """On to what stands there instead: in place for a script, else by a redirect."""
    asked = {name: value for name, value in {"position": position, "note": note}.items() if value}
    if request.htmx:
        form = forms.PartSeenForm(
            place=place, there=_there(row, place), initial=_part_initial(request, row, place, **asked)
        )
        return _walk_page(request, row, place=place, panel="part", form=form)
    address = reverse("vehicles:survey-part", args=[row.pk, place.pk])
    return redirect(f"{address}?{urlencode(asked)}" if asked else address)


def _in_short(one) -> str:
    what = f" ({one.finding.what})" if one.finding.what else ""
    return f"{one.finding.where}{what}: {one.why}"


urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/surveys/start/", survey_start, name="survey-start"),
    path("surveys/<uuid:survey_id>/", survey, name="survey"),
    path("surveys/<uuid:survey_id>/zones/<slug:zone>/", survey_zone, name="survey-zone"),
    path("surveys/<uuid:survey_id>/places/<slug:place_slug>/", survey_entry, name="survey-entry"),
    path("surveys/<uuid:survey_id>/places/<slug:place_slug>/part/", survey_part, name="survey-part"),
    path("surveys/<uuid:survey_id>/places/<slug:place_slug>/look/", survey_look, name="survey-look"),
    path("surveys/<uuid:survey_id>/finish/", survey_finish, name="survey-finish"),
    path("surveys/<uuid:survey_id>/report.pdf", survey_pdf, name="survey-pdf"),
]
