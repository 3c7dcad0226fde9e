from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path

from vehicles import odometer as reads
from vehicles import panels
from vehicles.acts import odometer as acts
from vehicles.forms import odometer as forms
from vehicles.models import Instrument, OdometerReading, Vehicle
from vehicles.plots_distance import distance_plot
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued

NEWEST = 5
PER_PAGE = 50


def readings_of(car: Vehicle):
    return car.odometer_readings.select_related("instrument", "made_by").order_by("-read_at", "-made_at")


def odometer_panel(request: HttpRequest, car: Vehicle) -> dict:
    """Three queries, whatever the length of the history: readings, instruments, readings of the instruments."""
    instruments = reads.instruments_of(car)
    rows = sorted(
        (row for instrument in instruments for row in instrument.shown),
        key=lambda row: (row.read_at, row.made_at),
        reverse=True,
    )
    orders = {instrument.pk: instrument for instrument in instruments}
    for row in rows:
        row.instrument = orders[row.instrument_id]
    return {
        "readings": rows[:NEWEST],
        "reading_count": len(rows),
        "latest": next((row for row in rows if row.value is not None and not row.misread_because), None),
        "instruments": instruments,
        "truth": reads.truth(car, instruments),
    }


@may(May.SEE_SHOP)
def odometer(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Every reading, newest first, and every instrument."""
    car = visible_vehicle(request, vehicle_id)
    instruments = reads.instruments_of(car)
    page = Paginator(readings_of(car), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "vehicle": car,
        "page_obj": page,
        "readings": page.object_list,
        "instruments": instruments,
        "truth": reads.truth(car, instruments),
        "plots": [distance_plot(instruments)] if instruments else [],
        "whole": True,
    }
    return render(request, "vehicles/odometer.html", context)


@may(May.RECORD_ODOMETER)
@queued(acts.record_reading, what="Odometer reading")
def odometer_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.ReadingForm,
        act=acts.record_reading,
        title="Odometer reading",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        done=car,
        said="Odometer reading recorded.",
        context=_about(car),
    )


@may(May.REPLACE_INSTRUMENT)
def instrument_replace(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.ReplacementForm,
        act=acts.replace_instrument,
        title="Instrument replaced",
        intro="True distance goes on as the sum over the instruments.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        done=car,
        said="Instrument replacement recorded.",
        context=_about(car),
    )


@may(May.RECORD_ODOMETER)
def instrument_first(request: HttpRequest, instrument_id: UUID) -> HttpResponse:
    row = get_object_or_404(
        Instrument.objects.filter(vehicle__in=Vehicle.objects.visible_to(request.user)).select_related(
            "vehicle"
        ),
        pk=instrument_id,
    )
    return act_page(
        request,
        form_class=forms.FirstForm,
        act=acts.state_first,
        title=f"What instrument {row.order} began at",
        fixed={"instrument": row},
        form_kwargs={"instrument": row},
        done=row.vehicle,
        said="First reading recorded.",
        context=_about(row.vehicle),
    )


@may(May.RECORD_ODOMETER)
def odometer_set_aside(request: HttpRequest, reading_id: UUID) -> HttpResponse:
    row = _visible_reading(request, reading_id)
    return act_page(
        request,
        form_class=forms.SetAsideForm,
        act=acts.set_aside,
        title="Set a reading aside",
        intro=f"{row} of {row.read_at:%Y-%m-%d} stays in sight, with the reason, and counts as nothing.",
        fixed={"reading": row},
        done=row.vehicle,
        submit="Set it aside",
        said="The reading is set aside.",
        context=_about(row.vehicle),
    )


@may(May.RECORD_ODOMETER)
def odometer_falsified(request: HttpRequest, reading_id: UUID) -> HttpResponse:
    row = _visible_reading(request, reading_id)
    return act_page(
        request,
        form_class=forms.FalsifiedForm,
        act=acts.mark_falsified,
        title="The distance shown is not true",
        intro=f"What was shown around {row} of {row.read_at:%Y-%m-%d}, from the reading before to the one after, "
        "is marked and no longer summed as true.",
        fixed={"reading": row},
        done=row.vehicle,
        submit="Mark it",
        said="The distance is marked.",
        context=_about(row.vehicle),
    )


def _visible_reading(request: HttpRequest, reading_id: UUID) -> OdometerReading:
    return get_object_or_404(
        OdometerReading.objects.filter(
            vehicle__in=Vehicle.objects.visible_to(request.user), value__isnull=False
        ).select_related("vehicle", "instrument"),
        pk=reading_id,
    )


def _about(car: Vehicle) -> dict:
    return {"kicker": car.name, "kicker_url": car.get_absolute_url()}


panels.add_panel(panels.Panel(60, "odometer", "Odometer", "vehicles/_odometer_panel.html", odometer_panel))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/odometer/", odometer, name="odometer"),
    path("vehicles/<uuid:vehicle_id>/odometer/add/", odometer_add, name="odometer-add"),
    path("vehicles/<uuid:vehicle_id>/instruments/replace/", instrument_replace, name="instrument-replace"),
    path("instruments/<uuid:instrument_id>/first/", instrument_first, name="instrument-first"),
    path("odometer/<uuid:reading_id>/set-aside/", odometer_set_aside, name="odometer-set-aside"),
    path("odometer/<uuid:reading_id>/falsified/", odometer_falsified, name="odometer-falsified"),
]
