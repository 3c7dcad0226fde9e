"""The vehicle owner's own pages: to read; what is answered there is answered on the pages of the work lines."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone
from django.utils.formats import date_format

from vehicles import account, odometer, outstanding
from vehicles.models import OutstandingItem, Severity, Telling, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.pages import may
from workshop.permissions import May

# After Directive 2014/45/EU, Art. 7, in short; "advice" is the shop's own.
SEVERITY_WORDS = (
    ("Dangerous", "an immediate risk to people on the road"),
    ("Major", "may put people at risk or harm the environment"),
    ("Minor", "no significant effect on safety"),
    ("Advice", "no defect, but good to know"),
)


@may(May.SEE_OWN_CARS)
def my_cars(request: HttpRequest) -> HttpResponse:
    cars = _own_cars(request).with_state().prefetch_related("registrations").order_by("make", "model", "year")
    return render(request, "vehicles/my_cars.html", {"cars": cars})


@may(May.SEE_OWN_CARS)
def my_car(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """What must be known first, what the workshop asks, what is outstanding and how soon it matters, what was done."""
    car = get_object_or_404(_own_cars(request).prefetch_related("registrations"), pk=vehicle_id)
    since = _holder_since(request, car)
    items = outstanding.open_items(car, timezone.localdate())
    dangerous = [item for item in items if item.severity == Severity.DANGEROUS]
    first = [*account.first_words(car), *_dangers(dangerous, since)]
    asked = [
        line
        for job in car.jobs.open().prefetch_related("lines")
        for line in job.lines.all()
        if line.is_open and line.amount is not None and (not line.answer or line.above_authority)
    ]
    context = {
        "vehicle": car,
        "first": first,
        "severity_words": SEVERITY_WORDS,
        "dangerous": bool(dangerous),
        "left": account.leavings(car, since) if dangerous else [],
        "asked": asked,
        "open_faults": car.faults.without_end().count(),
        "items": items,
        "chapters": account.account(request, car, since),
        "truth": odometer.truth(car),
        "latest": odometer.latest_reading(car),
    }
    return render(request, "vehicles/my_car.html", context)


def _dangers(items: list[OutstandingItem], since: date) -> Iterator[account.Word]:
    """What is dangerous, by when, and what the workshop last said of it in the reader's own time: one query."""
    told: dict[UUID, Telling] = {}
    if items:
        rows = Telling.objects.filter(item__in=items).order_by("made_at")
        told = {row.item_id: row for row in rows if timezone.localdate(row.made_at) >= since}
    for item in items:
        last = told.get(item.pk)
        said = f"{date_format(timezone.localtime(last.made_at), 'j F Y')}: “{last.told}”" if last else ""
        yield account.Word(item.title, item.detail, item.severity, item.due.words, said)


def _own_cars(request: HttpRequest):
    """Only cars that are this person's by name, also where the person works in the shop."""
    return Vehicle.objects.filter(
        pk__in=VehicleKeeper.objects.now()
        .filter(keeper__account=request.user, part__in=HOLDERS)
        .values("vehicle")
    )


def _holder_since(request: HttpRequest, car: Vehicle) -> date:
    """From which day on the car is this person's; where no day is known, from when it was written down."""
    rows = VehicleKeeper.objects.now().filter(vehicle=car, keeper__account=request.user, part__in=HOLDERS)
    days = [row.from_on or timezone.localdate(row.made_at) for row in rows]
    if not days:
        raise Http404
    return min(days)


urlpatterns = [
    path("my-cars/", my_cars, name="my-cars"),
    path("my-cars/<uuid:vehicle_id>/", my_car, name="my-car"),
]
