from __future__ import annotations

from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from vehicles.acts import survey as acts
from vehicles.forms import survey as forms
from vehicles.models import FittedPart, Place, Survey, Vehicle, Zone
from vehicles.models.survey import SurveyFinding
from vehicles.views.part import about
from vehicles.views.vehicle import visible_vehicle
from vehicles.walk import CARE, follow_up, report_groups, walk
from workshop.pages import act_page, may
from workshop.permissions import May


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
        intro="One pass round the car, place by place: what is as the factory made it, what is not, what is open.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        cancel=car,
        submit="Start the survey",
        context=about(car),
    )


@may(May.SEE_SHOP)
def survey(request: HttpRequest, survey_id: UUID) -> HttpResponse:
    """The walk while the survey is open, a report once it is finished."""
    row = visible_survey(request, survey_id)
    found = walk(row)
    page = {
        "survey": row,
        "vehicle": row.vehicle,
        "walk": found,
        "car_surveys": row.vehicle.surveys.exclude(pk=row.pk),
    }
    if row.finished_at:
        page["groups"] = report_groups(found)
        follow_up(row, page["groups"])
        return render(request, "vehicles/survey_report.html", page)
    for zone in found.zones:
        for stop in zone.stops:
            stop.key = uuid4()
    return render(request, "vehicles/survey.html", page)


@may(May.SURVEY)
def survey_entry(request: HttpRequest, survey_id: UUID, place_slug: str) -> HttpResponse:
    """What is in one place. “Not as the factory made it” without a part on record leads on to the part."""
    row = visible_survey(request, survey_id)
    place = get_object_or_404(Place, pk=place_slug)
    back = f"{row.get_absolute_url()}#{place.pk}"
    if request.method == "POST" and request.POST.get("finding") == SurveyFinding.NOT_FACTORY:
        position = request.POST.get("position", "")
        there = FittedPart.objects.filter(vehicle=row.vehicle, place=place).fitted_now()
        if position:
            there = there.filter(position=position)
        typed = forms.EntryForm(request.POST, place=place)
        if not row.finished_at and typed.is_valid() and not there.exists():
            # The remark goes along: it is the entry's, whichever page it is sent from.
            known = {"position": position, "note": typed.cleaned_data["note"]}
            address = reverse("vehicles:survey-part", args=[row.pk, place.pk])
            asked = urlencode({name: value for name, value in known.items() if value})
            return redirect(f"{address}?{asked}" if asked else address)
    return act_page(
        request,
        form_class=forms.EntryForm,
        act=acts.record_entry,
        title=place.name,
        fixed={"survey": row, "place": place},
        form_kwargs={"place": place},
        done=lambda _: back,
        cancel=back,
        said=f"{place.name}: noted.",
        cautions=_cautions(place),
        template="vehicles/survey_entry.html",
        context={
            **_about(row),
            "parts": FittedPart.objects.filter(vehicle=row.vehicle, place=place)
            .fitted_now()
            .select_related("place"),
            "entries": row.entries.filter(place=place).select_related("part__place", "made_by"),
        },
    )


@may(May.SURVEY)
def survey_part(request: HttpRequest, survey_id: UUID, place_slug: str) -> HttpResponse:
    """The part that stands in a place instead of the factory's: part and entry in one act, then back to the walk."""
    row = visible_survey(request, survey_id)
    place = get_object_or_404(Place, pk=place_slug)
    position = request.GET.get("position", "")
    if position and position not in place.allowed:
        raise Http404("This place has no such position.")
    back = f"{row.get_absolute_url()}#{place.pk}"
    return act_page(
        request,
        form_class=forms.PartSeenForm,
        act=acts.record_part_seen,
        title=f"{place.name}: what is there",
        fixed={"survey": row, "place": place},
        form_kwargs={"place": place},
        done=lambda _: back,
        cancel=back,
        said=f"{place.name}: part and entry noted.",
        submit="Record it, back to the walk",
        cautions=_cautions(place),
        context=_about(row),
    )


@may(May.SURVEY)
def survey_finish(request: HttpRequest, survey_id: UUID) -> HttpResponse:
    row = visible_survey(request, survey_id)
    found = walk(row)
    left = found.asked - found.said
    groups = report_groups(found)
    follow_up(row, groups)
    loose = [line for group in groups for line in group["rows"] if line.get("loose")]
    return act_page(
        request,
        form_class=forms.FinishSurveyForm,
        act=acts.finish_survey,
        title="Finish the survey",
        intro=f"{left} of {found.asked} places are not spoken of: the report will say so." if left else "",
        fixed={"survey": row},
        done=row,
        submit="Finish the survey",
        template="vehicles/survey_finish.html",
        context={**_about(row), "loose": loose},
    )


def _about(row: Survey) -> dict:
    return {"kicker": f"Survey of {row.vehicle.name}", "kicker_url": row.get_absolute_url()}


def _cautions(place: Place) -> list[str]:
    care = CARE.get(Zone(place.zone))
    return [care] if care else []


urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/surveys/start/", survey_start, name="survey-start"),
    path("surveys/<uuid:survey_id>/", survey, name="survey"),
    path("surveys/<uuid:survey_id>/places/<slug:place_slug>/", survey_entry, name="survey-entry"),
    path("surveys/<uuid:survey_id>/places/<slug:place_slug>/part/", survey_part, name="survey-part"),
    path("surveys/<uuid:survey_id>/finish/", survey_finish, name="survey-finish"),
]
