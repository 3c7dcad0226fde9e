"""Lists from a spreadsheet: sent, looked at row by row, taken in whole, undone while nothing hangs on them."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone

from vehicles.acts import spreadsheet as acts
from vehicles.forms import spreadsheet as forms
from vehicles.models import ListKind, ListState, SpreadsheetList
from vehicles.spreadsheet import reading
from vehicles.spreadsheet.checking import Checked, Row, check
from vehicles.spreadsheet.columns import COLUMNS, Column
from vehicles.spreadsheet.giving import csv_text
from workshop.models import Shop
from workshop.pages import act_page, may
from workshop.permissions import May

PER_PAGE = 50
SHOWS = {"wrong": "Wrong", "good": "Good", "here": "On record already"}


@may(May.TAKE_IN)
def lists(request: HttpRequest) -> HttpResponse:
    """What was sent so far, newest first."""
    rows = SpreadsheetList.objects.select_related("made_by", "taken_by", "undone_by").defer("content")
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    kinds = [(kind, kind.label, COLUMNS[kind]) for kind in ListKind]
    return render(
        request, "vehicles/lists.html", {"page_obj": page, "kinds": kinds, "most": reading.MOST_ROWS}
    )


@may(May.TAKE_IN)
def list_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.ListForm,
        act=acts.put_down,
        title="A list from a spreadsheet",
        intro="Nothing is taken in yet: you see first what each row would make, and what is wrong with it.",
        cancel="vehicles:lists",
        submit="Look at it",
        said="Read. Look through it, then take it in.",
    )


@may(May.TAKE_IN)
def list_empty(request: HttpRequest, kind: str) -> HttpResponse:
    """A file with the head alone, to fill in."""
    if kind not in ListKind.values:
        raise Http404
    return _csv(f"{kind}.csv", csv_text([each.label for each in COLUMNS[kind]], []))


def _one(list_id: UUID) -> SpreadsheetList:
    return get_object_or_404(
        SpreadsheetList.objects.select_related("made_by", "taken_by", "undone_by"), pk=list_id
    )


def _judged(listed: SpreadsheetList) -> tuple[reading.Table, Checked]:
    table = reading.table_of(listed.content)
    return table, check(listed.kind, table, acts.choices_of(listed), timezone.localdate())


@may(May.TAKE_IN)
def list_one(request: HttpRequest, list_id: UUID) -> HttpResponse:
    """A draft with what each row would make; one that was taken in with what came of it."""
    listed = _one(list_id)
    context: dict[str, Any] = {"listed": listed, "made": named(listed.made)}
    if listed.state == ListState.DRAFT:
        context |= _preview(request, listed)
    return render(request, "vehicles/list.html", context)


def _preview(request: HttpRequest, listed: SpreadsheetList) -> dict[str, Any]:
    table, judged = _judged(listed)
    found = {"wrong": judged.bad, "good": judged.good, "here": judged.here}
    counts = {each: len(rows) for each, rows in found.items()}
    shown = request.GET.get("show")
    if shown not in found:
        shown = "wrong" if counts["wrong"] else "good" if counts["good"] else "here"
    page = Paginator(found[shown], PER_PAGE).get_page(request.GET.get("page"))
    places = listed.choices["places"]
    columns = [each for each in COLUMNS[listed.kind] if each.code in places]
    currency = Shop.current().currency
    page.object_list = [_told(row, columns, places, currency) for row in page.object_list]
    unused = [name or f"column {at + 1}" for at, name in enumerate(table.head) if at not in places.values()]
    return {
        "page_obj": page,
        "columns": columns,
        "missing": judged.missing,
        "counts": counts,
        "shown": shown,
        "tabs": [(each, label, counts[each]) for each, label in SHOWS.items()],
        "unused": unused,
        "delimiter": table.delimiter_name,
    }


def _told(row: Row, columns: list[Column], places: dict[str, int], currency: str) -> dict[str, Any]:
    """One row as it was understood; what could not be is shown as it stands in the list."""
    cells = []
    wrong = {label for label, _ in row.errors}
    for each in columns:
        value = row.values.get(each.code)
        typed = row.cells[places[each.code]] if places[each.code] < len(row.cells) else ""
        understood = value is not None and each.label not in wrong
        cells.append(
            (
                each,
                _words(value, each, row, currency) if understood else typed,
                not understood and bool(typed),
            )
        )
    return {"line": row.line, "cells": cells, "errors": row.errors, "here": row.here, "lower": row.lower}


def _words(value: Any, column: Column, row: Row, currency: str) -> str:
    match column.kind:
        case "day":
            return f"{value:%Y-%m-%d}"
        case "rough_day":
            return value.strftime(
                {"year": "%Y", "month": "%Y-%m"}.get(row.values.get("day_known"), "%Y-%m-%d")
            )
        case "distance":
            return f"{value.value} {value.unit}"
        case "money":
            return f"{value} {currency}"
    return str(value)


@may(May.TAKE_IN)
def list_choose(request: HttpRequest, list_id: UUID) -> HttpResponse:
    listed = _draft(list_id)
    head = reading.table_of(listed.content).head
    return act_page(
        request,
        form_class=forms.ChooseForm,
        act=acts.choose,
        title="How this list is read",
        fixed={"listed": listed},
        form_kwargs={"listed": listed, "head": head},
        initial={"seen_version": listed.version},
        done=listed,
        said="Read anew.",
        context=_kicker(listed),
    )


@may(May.TAKE_IN)
def list_take_in(request: HttpRequest, list_id: UUID) -> HttpResponse:
    listed = _draft(list_id)
    _, judged = _judged(listed)
    good, bad, here = len(judged.good), len(judged.bad), len(judged.here)
    intro = f"{good} row{'' if good == 1 else 's'} will be taken in, all or none."
    if here:
        intro += f" {here} stay{'s' if here == 1 else ''} out: on record already."
    if bad:
        intro += f" {bad} can't be taken in as {'it is' if bad == 1 else 'they are'}; what is left out can be fetched afterwards as a list with the reasons."
    return act_page(
        request,
        form_class=forms.TakeInForm,
        act=acts.take_in,
        title="Take in this list",
        intro=intro,
        fixed={"listed": listed},
        form_kwargs={"bad": bad},
        initial={"seen_version": listed.version},
        done=listed,
        submit="Take it in",
        said="Taken in.",
        context=_kicker(listed),
    )


@may(May.TAKE_IN)
def list_undo(request: HttpRequest, list_id: UUID) -> HttpResponse:
    listed = _one(list_id)
    return act_page(
        request,
        form_class=forms.UndoListForm,
        act=acts.undo,
        title="Undo this list",
        intro="Everything that it brought is taken out again. That goes as long as nothing else was written on it.",
        fixed={"listed": listed},
        done=listed,
        submit="Undo it",
        said="Undone.",
        context=_kicker(listed),
    )


@may(May.TAKE_IN)
def list_drop(request: HttpRequest, list_id: UUID) -> HttpResponse:
    listed = _one(list_id)
    return act_page(
        request,
        form_class=forms.DropListForm,
        act=acts.drop,
        title="Throw this list away",
        intro="What it holds goes; that it was sent stays in the log."
        if listed.state == ListState.DRAFT
        else "The rows that were left out go; what was taken in stays.",
        fixed={"listed": listed},
        done="vehicles:lists",
        cancel=listed,
        submit="Throw it away",
        said="Thrown away.",
        context=_kicker(listed),
    )


@may(May.TAKE_IN)
def list_left_out(request: HttpRequest, list_id: UUID) -> HttpResponse:
    """The rows that stay out, as they were sent, with what is wrong with each: to be mended and sent again."""
    listed = _one(list_id)
    if listed.state == ListState.DRAFT:
        table, judged = _judged(listed)
        text = acts.left_out(table, judged)
    elif listed.content:
        text = listed.content
    else:
        raise Http404
    return _csv("left-out.csv", text)


def _csv(name: str, text: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return HttpResponse(text, content_type="text/csv; charset=utf-8", headers=headers)


def _draft(list_id: UUID) -> SpreadsheetList:
    listed = _one(list_id)
    if listed.state != ListState.DRAFT:
        raise Http404
    return listed


def _kicker(listed: SpreadsheetList) -> dict[str, str]:
    return {"kicker": str(listed), "kicker_url": listed.get_absolute_url()}


def named(made: dict[str, int]) -> list[tuple[int, str]]:
    """How many of what, in words."""
    return [(count, acts.name_of(label, count)) for label, count in made.items()]


urlpatterns = [
    path("lists/", lists, name="lists"),
    path("lists/add/", list_add, name="list-add"),
    path("lists/empty/<slug:kind>.csv", list_empty, name="list-empty"),
    path("lists/<uuid:list_id>/", list_one, name="list"),
    path("lists/<uuid:list_id>/choose/", list_choose, name="list-choose"),
    path("lists/<uuid:list_id>/take-in/", list_take_in, name="list-take-in"),
    path("lists/<uuid:list_id>/undo/", list_undo, name="list-undo"),
    path("lists/<uuid:list_id>/throw-away/", list_drop, name="list-drop"),
    path("lists/<uuid:list_id>/left-out.csv", list_left_out, name="list-left-out"),
]
