"""Pages of data sheets: the list, a sheet by groups with the history of each figure, and which sheet a car has."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from vehicles.acts import datasheet as acts
from vehicles.figure_pages import next_of, rows_of_sheet
from vehicles.figure_rules import by_group, keys_for
from vehicles.figures import cars_of, chain_of, sheet_record_of
from vehicles.forms import datasheet as forms
from vehicles.forms.figures import FiguresForm
from vehicles.maintenance_plan import plan_context
from vehicles.models import DataSheet, Figure
from vehicles.views.part import about
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May


def found_sheet(sheet_id: UUID) -> DataSheet:
    return get_object_or_404(DataSheet.objects.select_related("based_on__based_on__based_on"), pk=sheet_id)


@may(May.SEE_SHOP)
def data_sheets(request: HttpRequest) -> HttpResponse:
    """Every data sheet with how much it says and on how many cars: four queries."""
    standing = Q(figures__replaced_by=None, figures__withdrawn_because="")
    sheets = list(
        DataSheet.objects.select_related("based_on").annotate(known=Count("figures", filter=standing))
    )
    cars = cars_of()
    for one in sheets:
        one.cars = cars.get(one.pk, [])
    return render(request, "vehicles/data_sheets.html", {"sheets": sheets})


@may(May.SEE_SHOP)
def data_sheet(request: HttpRequest, data_sheet_id: UUID) -> HttpResponse:
    """One sheet by groups: its own figures and those of the sheet that it is based on, who, when, changed how often."""
    sheet = found_sheet(data_sheet_id)
    chain = chain_of(sheet)
    figures = Figure.objects.filter(sheet__in=[one.pk for one in chain]).select_related(
        "made_by", "device", "replaces"
    )
    groups = rows_of_sheet(chain, list(figures))
    return render(
        request,
        "vehicles/data_sheet.html",
        {
            "sheet": sheet,
            "base": chain[1:],
            "groups": groups,
            "known": sum(len(group.known) for group in groups),
            "cars": cars_of(sheet).get(sheet.pk, []),
            "variants": list(sheet.variants.all()),
            **plan_context(chain),
        },
    )


@may(May.EDIT_FIGURES)
def data_sheet_add(request: HttpRequest) -> HttpResponse:
    """A new sheet; with ?vehicle= it holds for that car at once."""
    car = None
    if asked := request.GET.get("vehicle"):
        try:
            car = visible_vehicle(request, UUID(asked))
        except ValueError:
            car = None
    shared: dict[str, Any] = {
        "act": acts.add_sheet,
        "intro": "The factory's values of one type. A variant of a sheet that is here holds only what differs.",
        "submit": "Make the sheet",
        "said": "The data sheet is made. Fill in what its maker states.",
    }
    if car is None:
        return act_page(
            request,
            form_class=forms.SheetForm,
            title="A new data sheet",
            cancel="vehicles:data-sheets",
            **shared,
        )
    return act_page(
        request,
        form_class=forms.SheetOfCarForm,
        title="A new data sheet for this car",
        initial={"name": " ".join(filter(None, [car.make, car.model, str(car.year)]))},
        fixed={"vehicle": car},
        cancel=reverse("vehicles:figures", args=[car.pk]),
        context=about(car),
        **shared,
    )


@may(May.EDIT_FIGURES)
def data_sheet_correct(request: HttpRequest, data_sheet_id: UUID) -> HttpResponse:
    sheet = found_sheet(data_sheet_id)
    return act_page(
        request,
        form_class=forms.CorrectSheetForm,
        act=acts.correct_sheet,
        title="Correct the name of a data sheet",
        fixed={"sheet": sheet},
        form_kwargs={"instance": sheet},
        initial={"seen_version": sheet.version},
        done=sheet,
        said="Corrected.",
        context=about_sheet(sheet),
    )


@may(May.EDIT_FIGURES)
def data_sheet_figures(request: HttpRequest, data_sheet_id: UUID) -> HttpResponse:
    """Several figures of a sheet at once, of all groups or of one (?group=); those that it has are changed one by one."""
    sheet = found_sheet(data_sheet_id)
    group = request.GET.get("group", "")
    standing = set(Figure.objects.current().filter(sheet=sheet).values_list("key_of_item", flat=True))
    groups = by_group(key for key in keys_for(sheet) if key not in standing)
    keys = [key for title, rows in groups for key in rows if group in ("", title)]
    return act_page(
        request,
        form_class=FiguresForm,
        act=acts.record_figures,
        title=f"Figures: {group}" if group and keys else "Figures of the data sheet",
        intro="Fill in what the document states and leave the rest empty. All of these come from one source: send the "
        "form once for each document.",
        fixed={"owner": sheet},
        form_kwargs={"keys": keys},
        done=lambda owner: owner,
        cancel=sheet,
        submit="Save the figures",
        said="The figures are on record.",
        template="vehicles/figures_add.html",
        context=about_sheet(sheet),
    )


@may(May.EDIT_FIGURES)
def data_sheet_choose(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Which data sheet holds for a car."""
    car = visible_vehicle(request, vehicle_id)
    record = sheet_record_of(car)
    back = next_of(request, reverse("vehicles:figures", args=[car.pk]))
    return act_page(
        request,
        form_class=forms.ChooseSheetForm,
        act=acts.choose_sheet,
        title="The data sheet of this car",
        intro="The factory's values of its type and variant. Cars of one type share one sheet.",
        fixed={"vehicle": car},
        initial={"sheet": record.sheet_id if record else None},
        done=lambda _: back,
        cancel=back,
        submit="This sheet holds",
        said="Recorded.",
        template="vehicles/data_sheet_choose.html",
        context=about(car),
    )


def about_sheet(sheet: DataSheet) -> dict[str, Any]:
    return {"kicker": str(sheet), "kicker_url": sheet.get_absolute_url(), "sheet": sheet}


urlpatterns = [
    path("data-sheets/", data_sheets, name="data-sheets"),
    path("data-sheets/add/", data_sheet_add, name="data-sheet-add"),
    path("data-sheets/<uuid:data_sheet_id>/", data_sheet, name="data-sheet"),
    path("data-sheets/<uuid:data_sheet_id>/correct/", data_sheet_correct, name="data-sheet-correct"),
    path("data-sheets/<uuid:data_sheet_id>/figures/add/", data_sheet_figures, name="data-sheet-figures"),
    path("vehicles/<uuid:vehicle_id>/data-sheet/", data_sheet_choose, name="data-sheet-choose"),
]
