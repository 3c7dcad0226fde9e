"""Pages of figures: a car's own and all that counts for it, a part's, one that was missing, changed or withdrawn."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.http import urlencode

from vehicles import figure_timeline  # noqa: F401  it hangs its sources into the history
from vehicles.acts import datasheet as acts
from vehicles.figure_pages import FigureRow, Group, next_of, rows_of
from vehicles.figure_rules import by_group, keys_for
from vehicles.figures import chain_of, fitted_on, gathered, sheet_of, sheet_record_of
from vehicles.forms import figures as forms
from vehicles.missing_figures import target_of
from vehicles.models import Figure, FittedPart, Vehicle
from vehicles.panels import Panel, add_panel
from vehicles.views.datasheet import about_sheet
from vehicles.views.part import about, visible_part
from vehicles.views.vehicle import visible_vehicle
from workshop.engineering.effect import CarFigures, Missing, effects_of
from workshop.engineering.items import KEYS, items_at, key_name
from workshop.pages import act_page, may
from workshop.permissions import May


@may(May.SEE_SHOP)
def figures(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """All that is known of one car in numbers, what counts, and what its parts would still need."""
    car = visible_vehicle(request, vehicle_id)
    record, fitted = sheet_record_of(car), fitted_on(car)
    sheet = record.sheet if record else None
    known = gathered(car, sheet, fitted)
    rows = list(
        Figure.objects.filter(Q(vehicle=car) | Q(part__in=[one.pk for one in fitted])).select_related(
            "made_by", "device"
        )
    )
    of_part: dict[UUID | None, list[Figure]] = {}
    for row in rows:
        of_part.setdefault(row.part_id, []).append(row)
    return render(
        request,
        "vehicles/figures.html",
        {
            "vehicle": car,
            "record": record,
            "sheet": sheet,
            "chain": chain_of(sheet),
            "known": counting(known),
            "disagreeing": known.disagreeing,
            "own": Group("Of this car", rows_of(car, of_part.get(None, []))),
            "parts": alike(
                (one, rows_of(one, of_part.get(one.pk, [])))
                for one in fitted
                if (not one.is_factory and items_at(one.place_id)) or one.pk in of_part
            ),
            "missing": missing_of(known),
            "next": request.path,
        },
    )


def alike(parts: Iterable[tuple[FittedPart, list[FigureRow]]]) -> list[dict[str, Any]]:
    """Parts with their rows; the same part with the same figures in several places is one entry."""
    found: dict[tuple, dict[str, Any]] = {}
    for part, rows in parts:
        told = [row for row in rows if row.is_known]
        mark = (part.place_id, part.description, tuple((row.key, row.now.shown) for row in told))
        entry = found.setdefault(
            mark,
            {"first": part, "parts": [], "told": told, "open": [row for row in rows if not row.is_known]},
        )
        entry["parts"].append(part)
    return list(found.values())


def counting(known: CarFigures) -> dict[str, Any]:
    """What counts for the car now, by group: apart, what is other than the factory's figure."""
    now = known.now
    rows = {
        key: {
            "label": key_name(key),
            "figure": figure,
            "shown": _words(key, figure.shown),
            "factory": _words(key, known.factory[key].shown) if key in known.factory else "",
        }
        for key, figure in now.items()
        if key in KEYS
    }
    other = [key for key in KEYS if key in rows and rows[key]["shown"] != rows[key]["factory"]]
    return {
        "other": [rows[key] for key in other],
        "same": [
            {"title": group, "rows": [rows[key] for key in keys]}
            for group, keys in by_group(key for key in KEYS if key in rows and key not in other)
        ],
        "same_count": len(rows) - len(other),
    }


def _words(key: str, shown: str) -> str:
    return dict(KEYS[key].choices).get(shown, shown)


def missing_of(known: CarFigures) -> list[Missing]:
    """What the effects of this car's parts would need. A figure wanted twice is asked for once, see `targets_of`."""
    return [one for topic in effects_of(known) for one in topic.missing]


@may(May.EDIT_FIGURES)
def figures_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Several figures of the car itself: what was weighed or measured on it."""
    car = visible_vehicle(request, vehicle_id)
    standing = set(Figure.objects.current().filter(vehicle=car).values_list("key_of_item", flat=True))
    keys = [key for key in keys_for(car) if key not in standing]
    # What is only ever measured on the one car comes first.
    keys.sort(key=lambda key: not KEYS[key].of_car)
    return act_page(
        request,
        form_class=forms.FiguresForm,
        act=acts.record_figures,
        title="Figures of this car itself",
        intro="What was weighed or measured on this one car. It counts instead of the data sheet's figure; what the "
        "factory states of the type belongs on the data sheet.",
        fixed={"owner": car},
        form_kwargs={"keys": keys},
        done=lambda _: next_of(request, reverse("vehicles:figures", args=[car.pk])),
        cancel=reverse("vehicles:figures", args=[car.pk]),
        submit="Save the figures",
        said="The figures are on record.",
        template="vehicles/figures_add.html",
        context=about(car),
    )


@may(May.EDIT_FIGURES)
def part_figures(request: HttpRequest, part_id: UUID) -> HttpResponse:
    """Several figures of a fitted part at once; those that it has are changed one by one."""
    part = visible_part(request, part_id)
    standing = set(Figure.objects.current().filter(part=part).values_list("key_of_item", flat=True))
    back = next_of(request, f"{part.get_absolute_url()}#figures")
    return act_page(
        request,
        form_class=forms.FiguresForm,
        act=acts.record_figures,
        title=f"Dimensions of {part.description}",
        intro=f"{part.where}. Fill in what is known and leave the rest empty.",
        fixed={"owner": part},
        form_kwargs={"keys": [key for key in keys_for(part) if key not in standing]},
        done=lambda _: back,
        cancel=back,
        submit="Save the figures",
        said="The figures are on record.",
        template="vehicles/figures_add.html",
        context={**about(part.vehicle), "part": part},
    )


@may(May.EDIT_FIGURES)
def figure_give(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """One figure that something would need (?for=KEY or CODE@PART), and back to where it was missed (?next=)."""
    car = visible_vehicle(request, vehicle_id)
    asked = request.POST.get("for") or request.GET.get("for") or ""
    target = target_of(asked, car, sheet_of(car), fitted_on(car))
    back = next_of(request, reverse("vehicles:figures", args=[car.pk]))
    if target is None:
        raise Http404("Nothing is kept of a car under that name.")
    if not target.owners:
        again = f"{request.path}?{urlencode({'for': asked, 'next': back})}"
        return redirect(
            f"{reverse('vehicles:data-sheet-choose', args=[car.pk])}?{urlencode({'next': again})}"
        )
    return act_page(
        request,
        form_class=forms.GiveFigureForm,
        act=acts.give_figure,
        title=target.label,
        fixed={"key": target.key},
        form_kwargs={"target": target},
        initial={"next": back},
        done=lambda _: back,
        cancel=back,
        submit="Save the figure",
        said=f"{target.label}: saved.",
        context=about(car),
    )


def visible_figure(request: HttpRequest, figure_id: UUID) -> Figure:
    """A figure of a sheet, or of a car that this person may see; its links in one query."""
    cars = Vehicle.objects.visible_to(request.user)
    return get_object_or_404(
        Figure.objects.select_related("sheet", "vehicle", "part__vehicle", "part__place", "made_by").filter(
            Q(sheet__isnull=False) | Q(vehicle__in=cars) | Q(part__vehicle__in=cars)
        ),
        pk=figure_id,
    )


@may(May.EDIT_FIGURES)
def figure_change(request: HttpRequest, figure_id: UUID) -> HttpResponse:
    row = visible_figure(request, figure_id)
    if row.item is None:
        raise Http404("This item is kept no more.")
    back = next_of(request, home_of(row))
    return act_page(
        request,
        form_class=forms.ChangeFigureForm,
        act=acts.change_figure,
        title=f"Change: {row.name}",
        intro=f"On record: {row.shown}. It stays readable with your reason.",
        fixed={"figure": row},
        form_kwargs={"item": row.item, "label": row.name},
        initial=forms.figure_in_form(row),
        done=lambda _: back,
        cancel=back,
        submit="Save the new figure",
        said=f"{row.name}: changed.",
        context=about_owner(row),
    )


@may(May.EDIT_FIGURES)
def figure_withdraw(request: HttpRequest, figure_id: UUID) -> HttpResponse:
    row = visible_figure(request, figure_id)
    back = next_of(request, home_of(row))
    return act_page(
        request,
        form_class=forms.WithdrawFigureForm,
        act=acts.withdraw_figure,
        title=f"Withdraw: {row.name}",
        intro=f"On record: {row.shown}, {row.from_where}. It stays readable, and counts no more.",
        fixed={"figure": row},
        initial={"seen": row.pk},
        done=lambda _: back,
        cancel=back,
        submit="Withdraw it",
        said=f"{row.name}: withdrawn.",
        context=about_owner(row),
    )


def home_of(figure: Figure) -> str:
    """The page on which a figure stands."""
    if figure.sheet is not None:
        return figure.sheet.get_absolute_url()
    if figure.part is not None:
        return f"{figure.part.get_absolute_url()}#figures"
    return reverse("vehicles:figures", args=[figure.vehicle_id])


def about_owner(figure: Figure) -> dict[str, Any]:
    if figure.sheet is not None:
        return about_sheet(figure.sheet)
    return about(figure.vehicle or figure.part.vehicle)


def gather(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """The panel on the car's page: three queries, none of the effects are worked out."""
    sheet, fitted = sheet_of(car), fitted_on(car)
    known = gathered(car, sheet, fitted)
    with_figures = {one.id for one in known.parts}
    bare = [
        one
        for one in fitted
        if not one.is_factory and items_at(one.place_id) and str(one.pk) not in with_figures
    ]
    # Where a part says what it is and nobody says what the factory's was, there is nothing to compare with.
    no_factory = {key for part in known.parts for key in part.keys if key not in known.factory}
    return {
        "sheet": sheet,
        "known_factory": len(known.factory),
        "known_own": len(known.own),
        "measured": len(known.parts),
        "bare": bare,
        "no_factory": [key_name(key) for key in sorted(no_factory)],
        "disagreeing": known.disagreeing,
    }


add_panel(Panel(35, "figures", "Figures", "vehicles/_figures.html", gather))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/figures/", figures, name="figures"),
    path("vehicles/<uuid:vehicle_id>/figures/add/", figures_add, name="figures-add"),
    path("vehicles/<uuid:vehicle_id>/figures/give/", figure_give, name="figure-give"),
    path("parts/<uuid:part_id>/figures/add/", part_figures, name="part-figures"),
    path("figures/<uuid:figure_id>/change/", figure_change, name="figure-change"),
    path("figures/<uuid:figure_id>/withdraw/", figure_withdraw, name="figure-withdraw"),
]
