"""Calculators on the screen: the list, one calculator, the same for a car, and the results that were kept."""

from __future__ import annotations

from itertools import groupby
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from vehicles import calculations as reads
from vehicles import panels, prints
from vehicles.acts import calculation as acts
from vehicles.finding import Found, add_finder
from vehicles.folding import folded, too_long_to_search
from vehicles.forms import calculator as forms
from vehicles.forms.calculation import KeepForm, SetAsideForm
from vehicles.models import Calculation, Vehicle
from vehicles.views.vehicle import visible_vehicle
from workshop.engineering.catalogue import calculators as every_calculator
from workshop.engineering.catalogue import find
from workshop.engineering.declare import INFORMS, LOCAL_APPROVAL, Calculator
from workshop.engineering.effect import Missing
from workshop.engineering.items import KEYS
from workshop.pages import act_page, answered, may
from workshop.permissions import May

PANEL_ROWS = 5
MOST_MISSING = 8


@may(May.SEE_SHOP)
@require_safe
def calculators(request: HttpRequest) -> HttpResponse:
    """Every calculator by group, or those in which every word that was asked for occurs."""
    return render(request, "vehicles/calculators.html", _listed(request))


@may(May.SEE_SHOP)
@require_safe
def calculator(request: HttpRequest, calculator_slug: str) -> HttpResponse:
    """One calculator. Its result is this address with the inputs in it, so that it can be sent."""
    chosen = _found(calculator_slug)
    form = forms.CalculatorForm(chosen, request.GET)
    return _page(request, chosen, form, {"action": request.path})


@may(May.SEE_SHOP)
@require_safe
def car_calculators(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The list for one car, with the results that were kept of it."""
    car = visible_vehicle(request, vehicle_id)
    subject = _subject(request, car)
    known = reads.known_of(car, subject.get("part"))
    page = _listed(request)
    for row in page["groups"]:
        row["calculators"] = [(one, len(known.of(one))) for one, _ in row["calculators"]]
    return render(
        request,
        "vehicles/calculators.html",
        {
            **page,
            **_about(car, subject),
            "fills": bool(known.figures.now or known.part),
            "kept": reads.kept_of_car(car),
        },
    )


@may(May.SEE_SHOP)
def car_calculator(request: HttpRequest, vehicle_id: UUID, calculator_slug: str) -> HttpResponse:
    """One calculator, filled from the car's record. A POST keeps the result that the address gives."""
    car = visible_vehicle(request, vehicle_id)
    chosen = _found(calculator_slug)
    subject = _subject(request, car)
    known = reads.known_of(car, subject.get("part"))
    form = forms.CalculatorForm(chosen, request.GET, known=known)
    page = {"action": request.path, **_about(car, subject), "known": known}
    page["other_parts"] = known.parts_for(chosen) if not subject else ()
    if request.user.may(May.EDIT_FIGURES):
        page["missing"] = _missing(form, known)
        page["back"] = _filled_again(request)
    if not form.is_valid():
        return _page(request, chosen, form, page)
    _, digest = acts.frozen(form.result)
    if request.method == "POST":
        keep = KeepForm(request.POST, subject=subject, offered=reads.subjects_offered(car))
        arguments = {"vehicle": car, "calculator": chosen.slug, "inputs": form.inputs}
        if keep.is_valid() and keep.try_act(acts.keep_result, request=request, **arguments):
            messages.success(request, f"Kept with {reads.subject_words(keep.subject)}.")
            return answered(request, keep.answer, keep)
        keep.show(digest)
        return _page(request, chosen, form, {**page, "keep": keep}, status=422)
    if request.user.may(May.KEEP_RESULT):
        page["keep"] = KeepForm(
            initial={"seen": digest}, subject=subject, offered=reads.subjects_offered(car)
        )
    return _page(request, chosen, form, page)


@may(May.SEE_SHOP)
@require_safe
def calculation(request: HttpRequest, calculation_id: UUID) -> HttpResponse:
    """A kept result, from its record alone."""
    row = visible_calculation(request, calculation_id)
    return render(
        request,
        "vehicles/calculation.html",
        {
            "row": row,
            "vehicle": row.vehicle,
            "record": row.data,
            "subject": row.subject,
            "subject_words": reads.subject_words(reads.kept_with(row)),
            "again": _again(row),
            **_sentences(),
        },
    )


@may(May.SEE_SHOP)
@require_safe
def calculation_pdf(request: HttpRequest, calculation_id: UUID) -> HttpResponse:
    row = visible_calculation(request, calculation_id)
    template, context, name = prints.calculation_sheet(row, reads.subject_words(reads.kept_with(row)))
    return prints.pdf_answer(request, template, {**context, **_sentences()}, name, back=row)


@may(May.KEEP_RESULT)
def calculation_error(request: HttpRequest, calculation_id: UUID) -> HttpResponse:
    row = visible_calculation(request, calculation_id)
    return act_page(
        request,
        form_class=SetAsideForm,
        act=acts.set_aside,
        title=f"Kept in error: {row}",
        intro="It stays readable, crossed out, and is printed no more.",
        fixed={"calculation": row},
        done=row,
        submit="Set it aside",
        said="Set aside.",
        context={"kicker": row.vehicle.name, "kicker_url": row.vehicle.get_absolute_url()},
    )


def visible_calculation(request: HttpRequest, calculation_id: UUID) -> Calculation:
    return get_object_or_404(
        Calculation.objects.select_related(
            "vehicle", "made_by", "device", "line__job", "fault", "part__place", "survey"
        ).filter(vehicle__in=Vehicle.objects.visible_to(request.user)),
        pk=calculation_id,
    )


def panel(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """The newest kept results, and the way to the calculators: one query."""
    rows = reads.kept_of_car(car, PANEL_ROWS + 1)
    return {"rows": rows[:PANEL_ROWS], "more": len(rows) > PANEL_ROWS}


def _page(
    request: HttpRequest,
    chosen: Calculator,
    form: forms.CalculatorForm,
    page: dict[str, Any],
    status: int | None = None,
) -> HttpResponse:
    result = getattr(form, "result", None) if form.is_valid() else None
    if status is None:
        status = 422 if form.is_bound and result is None else 200
    context = {
        "calculator": chosen,
        "form": form,
        "record": result.record() if result else None,
        **_sentences(),
        **page,
    }
    return render(request, "vehicles/calculator.html", context, status=status)


def _sentences() -> dict[str, str]:
    return {"informs": INFORMS, "local_approval": LOCAL_APPROVAL}


def _listed(request: HttpRequest) -> dict[str, Any]:
    asked = request.GET.get("q", "").strip()
    too_long = too_long_to_search(asked)
    words = [] if too_long else folded(asked).split()
    found = [each for each in every_calculator().values() if all(word in _told(each) for word in words)]
    return {
        "asked": asked[:200],
        "too_long": too_long,
        "groups": [
            {"group": group, "calculators": [(each, 0) for each in rows]}
            for group, rows in groupby([] if too_long else found, key=lambda each: each.group)
        ],
    }


def _told(of: Calculator) -> str:
    """All that a search of the list looks at."""
    labels = [each.label for each in (*of.inputs, *of.outputs)]
    return folded(" ".join((of.name, of.group, of.question, of.slug.replace("-", " "), *of.words, *labels)))


def _found(slug: str) -> Calculator:
    chosen = find(slug)
    if chosen is None:
        raise Http404("There is no such calculator.")
    return chosen


def _subject(request: HttpRequest, car: Vehicle) -> dict[str, Model]:
    try:
        return reads.subject_named(car, request.GET)
    except LookupError as error:
        raise Http404(str(error)) from error


def _about(car: Vehicle, subject: dict[str, Model]) -> dict[str, Any]:
    """The car, what a result will be kept with, and the query string that carries that on."""
    named = {name: str(row.pk) for name, row in subject.items()}
    return {
        "vehicle": car,
        "subject": next(iter(subject.values()), None),
        "subject_words": reads.subject_words(subject),
        "named": named,
        "carried": f"?{urlencode(named)}" if named else "",
    }


def _missing(form: forms.CalculatorForm, known: reads.Known) -> list[Missing]:
    """Figures of the car that the form would be filled from, were they on record; not more than one can look through."""
    found = []
    for each in form.not_on_record:
        if KEYS[each.item].per != "part":
            found.append(Missing(each.item, each.label))
        elif known.part:
            # Each part has its own: without one nobody can say whose this would be.
            found.append(Missing(f"{each.item}@{known.part}", each.label))
    return found[:MOST_MISSING]


def _filled_again(request: HttpRequest) -> str:
    """This address with what is typed in it: the form comes back filled, and works nothing out by itself."""
    typed = [(name, value) for name, value in request.GET.items() if value and name != "fill"]
    return f"{request.path}?{urlencode([*typed, ('fill', '1')])}"


def _again(row: Calculation) -> str:
    """Where the same inputs are worked out by today's formula; "" where that calculator is no longer offered."""
    if find(row.calculator) is None:
        return ""
    named = {name: str(one.pk) for name, one in reads.kept_with(row).items()}
    inputs = forms.query_of(forms.inputs_in(row.data))
    address = reverse("vehicles:car-calculator", args=[row.vehicle_id, row.calculator])
    return f"{address}?{urlencode({**named, **inputs})}"


def find_calculators(text: str, most: int) -> list[Found]:
    """Calculators whose name, or what else people call it, holds every word; no query."""
    words = folded(text).split()
    found = [
        Found(title=each.name, detail=each.question, url=reverse("vehicles:calculator", args=[each.slug]))
        for each in every_calculator().values()
        if all(word in told for told in [folded(" ".join((each.name, *each.words)))] for word in words)
    ]
    return found[:most]


add_finder(60, "Calculators", find_calculators)
panels.add_panel(panels.Panel(56, "calculations", "Worked out", "vehicles/_calculations_panel.html", panel))

urlpatterns = [
    path("calculators/", calculators, name="calculators"),
    path("calculators/<slug:calculator_slug>/", calculator, name="calculator"),
    path("vehicles/<uuid:vehicle_id>/calculators/", car_calculators, name="car-calculators"),
    path(
        "vehicles/<uuid:vehicle_id>/calculators/<slug:calculator_slug>/",
        car_calculator,
        name="car-calculator",
    ),
    path("calculations/<uuid:calculation_id>/", calculation, name="calculation"),
    path("calculations/<uuid:calculation_id>/calculation.pdf", calculation_pdf, name="calculation-pdf"),
    path("calculations/<uuid:calculation_id>/in-error/", calculation_error, name="calculation-error"),
]
