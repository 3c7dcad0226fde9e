"""What a car looked like on a day, and two days side by side. Only the shop's own people see who kept it then."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from vehicles import as_of as reads
from vehicles import odometer
from vehicles.as_of_changes import compare
from vehicles.forms.as_of import DaysForm
from vehicles.models import Vehicle
from vehicles.plots import plots_of
from workshop.pages import may
from workshop.permissions import May


@may(May.SEE_SHOP)
@require_safe
def as_of(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The days stand in the address; without one, it only asks for it."""
    car = _car(request, vehicle_id)
    whole = reads.Whole.of(car, keepers=True)
    form = DaysForm(request.GET or None)
    states = []
    if form.is_valid():
        for name in ("day", "other"):
            if (day := form.cleaned_data[name]) is not None:
                try:
                    states.append(reads.as_of(car, day, whole=whole))
                except reads.NotKnown as refused:
                    form.add_error(name, str(refused))
    if form.errors:
        states = []
    states.sort(key=lambda state: state.day)
    context = {
        "vehicle": car,
        "form": form,
        "states": states,
        "changes": compare(*states) if len(states) == 2 else None,
        "first": whole.first,
        "truth": odometer.truth_of(whole.instruments) if not states else None,
        "today": timezone.localdate(),
    }
    return render(request, "vehicles/as_of.html", context, status=200)


@may(May.SEE_SHOP)
@require_safe
def plots(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Every plot of a car on one page."""
    car = _car(request, vehicle_id)
    return render(request, "vehicles/plots.html", {"vehicle": car, "plots": plots_of(car)})


def _car(request: HttpRequest, vehicle_id: UUID) -> Vehicle:
    cars = Vehicle.objects.visible_to(request.user).prefetch_related("registrations")
    return get_object_or_404(cars, pk=vehicle_id)


urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/as-of/", as_of, name="as-of"),
    path("vehicles/<uuid:vehicle_id>/plots/", plots, name="plots"),
]
