"""The search box of every page, and its page: by plate, number, person, job, fault."""

from __future__ import annotations

from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.db.models import Case, Exists, OuterRef, Prefetch, Value, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils.cache import patch_vary_headers

from vehicles import finding, words_found
from vehicles.finding import Found, add_finder
from vehicles.folding import squeezed
from vehicles.models import Fault, Keeper, OutstandingItem, Registration, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.copies import keeps_copy
from workshop.pages import may
from workshop.permissions import May


@may(May.SEE_SHOP)
@keeps_copy
def find(request: HttpRequest) -> HttpResponse:
    """While typing, a script gets the list alone; Enter without one comes to the whole page."""
    while_typing = bool(request.htmx)
    most = finding.MOST_WHILE_TYPING if while_typing else finding.MOST_ON_THE_PAGE
    answer = finding.find(request.GET.get("q", ""), most)
    context = {
        "answer": answer,
        "all_cars": f"{reverse('vehicles:vehicles')}?{urlencode({'q': answer.asked})}",
        "all_keepers": f"{reverse('vehicles:keepers')}?{urlencode({'q': answer.asked})}",
        "new_car": f"{reverse('vehicles:vehicle-add')}?{urlencode(answer.new_car)}"
        if answer.new_car
        else reverse("vehicles:vehicle-add"),
        "carried": next(iter(answer.new_car.values()), ""),
    }
    if not while_typing:
        context["words"], context["words_url"] = in_the_words(answer.asked)
    template = "vehicles/_find_list.html" if while_typing else "vehicles/find.html"
    response = render(request, template, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


# On the page of the box, the words are the last of what is found: a few, and the way to all.
MOST_WORDS = 8


def in_the_words(text: str) -> tuple[words_found.Page | None, str]:
    """The newest records that bear these words, and the page of them all. Two queries; none where nothing is asked."""
    try:
        asked = words_found.Asked(terms=words_found.terms_of(text))
    except ValidationError:
        # The other finders may well know a plate by one letter and its figures.
        return None, ""
    if not asked.terms:
        return None, ""
    address = f"{reverse('vehicles:find-words')}?{urlencode({'q': text})}"
    return words_found.page(asked, most=MOST_WORDS, counted=False), address


def find_vehicles(text: str, most: int) -> list[Found]:
    """By plate, any part of the number, make, model, people and job numbers; a plate that begins so comes first.

    Four queries: the best of those that match, then what is shown of these few alone.
    """
    key = squeezed(text)
    # No key is in no plate: only signs were typed.
    bears = Registration.objects.filter(vehicle=OuterRef("pk"), plate_key__startswith=key.upper() or "\n")
    rank = Case(
        When(Exists(bears.filter(until_on=None)), then=Value(0)),
        When(number__endswith=key.upper() or "\n", then=Value(1)),
        When(Exists(bears), then=Value(2)),
        default=Value(3),
    )
    best = list(
        Vehicle.objects.search(text)
        .order_by(rank, "make", "model", "year", "pk")
        .values_list("pk", flat=True)[:most]
    )
    if not best:
        return []
    holders = VehicleKeeper.objects.now().filter(part__in=HOLDERS).select_related("keeper")
    cars = (
        Vehicle.objects.filter(pk__in=best)
        .with_state()
        .prefetch_related("registrations", Prefetch("keepers", queryset=holders, to_attr="holders"))
    )
    return [_car(car, key) for car in sorted(cars, key=lambda each: best.index(each.pk))]


def _car(car: Vehicle, key: str) -> Found:
    plate = car.current_plate()
    names = list(dict.fromkeys(row.keeper.name for row in car.holders))
    detail = [car.number or "no number", *names]
    for row in car.registrations.all():
        if key and row.plate != plate and key in squeezed(row.plate):
            detail.append(f"{'also' if row.until_on is None else 'earlier'} {row.plate}")
            break
    warnings = [tag.get_kind_display() for tag in car.standing_tags]
    if car.dangerous_items:
        warnings.append("Dangerous")
    return Found(
        title=str(car),
        url=car.get_absolute_url(),
        plain=plate,
        detail=" · ".join(detail),
        warning=", ".join(warnings),
    )


def find_keepers(text: str, most: int) -> list[Found]:
    """By name, phone, e-mail or address. Two queries."""
    held = VehicleKeeper.objects.now().select_related("vehicle").order_by("vehicle__make", "vehicle__model")
    rows = (
        Keeper.objects.filter(erased_at=None)
        .search(text)
        .prefetch_related(Prefetch("vehicles", queryset=held, to_attr="held"))
        .order_by("name", "pk")[:most]
    )
    found = []
    for person in rows:
        cars = list(dict.fromkeys(row.vehicle.name for row in person.held))
        detail = [person.phone, ", ".join(cars[:2]) + (f" and {len(cars) - 2} more" if len(cars) > 2 else "")]
        found.append(Found(person.name, person.get_absolute_url(), detail=" · ".join(filter(None, detail))))
    return found


def find_faults(text: str, most: int) -> list[Found]:
    """Faults and outstanding items by what they are called, the open ones first. Two queries."""
    found = []
    for model in (OutstandingItem, Fault):
        rows = (
            model.objects.search(text)
            .select_related("vehicle")
            .order_by(Case(When(end="", then=Value(0)), default=Value(1)), "-made_at", "pk")[:most]
        )
        found += [
            Found(
                title=row.title,
                url=row.get_absolute_url(),
                plain=row.number,
                detail=f"{row.vehicle.name} · {row.get_end_display().lower() if row.end else 'open'}",
                warning="Dangerous" if row.severity == "dangerous" and not row.end else "",
                past=bool(row.end),
            )
            for row in rows
        ]
    return sorted(found, key=lambda each: each.past)[:most]


add_finder(10, "Cars", find_vehicles)
add_finder(20, "People", find_keepers)
add_finder(40, "Faults and outstanding items", find_faults)

urlpatterns = [path("find/", find, name="find")]
