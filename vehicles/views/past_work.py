"""Work done elsewhere, or before there were records here: a car's list of it, one more, one that was wrong."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path

from vehicles import odometer, panels
from vehicles.acts import past_work as acts
from vehicles.forms.past_work import PastWorkAsideForm, PastWorkForm
from vehicles.models import PastWork, Vehicle
from vehicles.views.vehicle import visible_vehicle
from workshop.models import Shop
from workshop.pages import act_page, may
from workshop.permissions import May

PER_PAGE = 50


def _rows(car: Vehicle):
    return car.past_work.select_related("odometer__instrument", "made_by")


@may(May.SEE_SHOP)
def past_work(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Everything that was done before, newest first."""
    car = visible_vehicle(request, vehicle_id)
    page = Paginator(_rows(car), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "vehicle": car,
        "page_obj": page,
        "rows": page.object_list,
        "currency": Shop.current().currency,
        "truth": odometer.truth(car),
    }
    return render(request, "vehicles/past_work.html", context)


@may(May.EDIT_VEHICLE)
def past_work_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=PastWorkForm,
        act=acts.add_past_work,
        title="Past work",
        intro="What was done elsewhere, or here before these records began. It is shown as such, with its source.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        cancel=car,
        said="Written down.",
        context={"kicker": car.name, "kicker_url": car.get_absolute_url()},
    )


@may(May.EDIT_VEHICLE)
def past_work_aside(request: HttpRequest, past_work_id: UUID) -> HttpResponse:
    row = get_object_or_404(PastWork.objects.select_related("vehicle"), pk=past_work_id)
    return act_page(
        request,
        form_class=PastWorkAsideForm,
        act=acts.set_past_work_aside,
        title=f"Entered in error: {row}",
        intro="It stays in sight, struck out, with what you say here.",
        fixed={"past_work": row},
        done=row,
        said="Set aside.",
        context={"kicker": row.vehicle.name, "kicker_url": row.vehicle.get_absolute_url()},
    )


def _panel(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """One query for the newest, one for how many."""
    newest = list(_rows(car)[:4])
    count = car.past_work.count() if len(newest) > 3 else len(newest)
    return {"rows": newest[:3], "count": count}


panels.add_panel(panels.Panel(75, "past-work", "Past work", "vehicles/_past_work_panel.html", _panel))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/past-work/", past_work, name="past-work"),
    path("vehicles/<uuid:vehicle_id>/past-work/add/", past_work_add, name="past-work-add"),
    path("past-work/<uuid:past_work_id>/aside/", past_work_aside, name="past-work-aside"),
]
