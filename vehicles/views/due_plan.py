"""The maintenance plan on a data sheet's page: its intervals, one more, one changed, one that does not apply."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import path

from vehicles.acts import due as acts
from vehicles.forms import due as forms
from vehicles.maintenance_plan import Plan
from vehicles.models import DataSheet, MaintenanceInterval
from vehicles.views.datasheet import about_sheet, found_sheet
from workshop.engineering.units import Amount
from workshop.pages import act_page, may
from workshop.permissions import May


def _held(sheet: DataSheet, interval_id: UUID) -> MaintenanceInterval:
    """What stands in the sheet's plan under this key now, or what came in its stead."""
    row = MaintenanceInterval.objects.filter(pk=interval_id).first()
    held = Plan.read().of(sheet.pk).get(row.line) if row is not None else None
    if held is None:
        raise Http404
    return held


@may(May.EDIT_FIGURES)
def interval_add(request: HttpRequest, data_sheet_id: UUID) -> HttpResponse:
    sheet = found_sheet(data_sheet_id)
    return act_page(
        request,
        form_class=forms.IntervalForm,
        act=acts.add_interval,
        title="An interval of the maintenance plan",
        intro="What is to be done every so far or every so many months, whichever comes first. It holds for every car of "
        "this sheet, and for its variants.",
        fixed={"sheet": sheet},
        done=sheet,
        said="In the plan.",
        context=about_sheet(sheet),
    )


@may(May.EDIT_FIGURES)
def interval_change(request: HttpRequest, data_sheet_id: UUID, interval_id: UUID) -> HttpResponse:
    sheet = found_sheet(data_sheet_id)
    row = _held(sheet, interval_id)
    distance = None if row.every_km is None else Amount(row.every_km, "km").to(row.every_unit)
    return act_page(
        request,
        form_class=forms.ChangeIntervalForm,
        act=acts.change_interval,
        title=f"Change: {row.title}",
        intro=f"On record: {row.every_words}, {row.from_where}. It stays readable."
        + (
            ""
            if row.sheet_id == sheet.pk
            else " It comes from another sheet: here it is changed for this one alone."
        ),
        fixed={"sheet": sheet, "interval": row},
        initial={
            "title": row.title,
            "every_distance": distance,
            "every_months": row.every_months,
            "source": row.source,
            "source_words": row.source_words,
            "seen": row.pk,
        },
        done=sheet,
        said=f"{row.title}: changed.",
        context=about_sheet(sheet),
    )


@may(May.EDIT_FIGURES)
def interval_withdraw(request: HttpRequest, data_sheet_id: UUID, interval_id: UUID) -> HttpResponse:
    sheet = found_sheet(data_sheet_id)
    row = _held(sheet, interval_id)
    return act_page(
        request,
        form_class=forms.WithdrawIntervalForm,
        act=acts.withdraw_interval,
        title=f"Take out of the plan: {row.title}",
        intro=f"On record: {row.every_words}, {row.from_where}. It stays readable, and comes due no more.",
        fixed={"sheet": sheet, "interval": row},
        initial={"seen": row.pk},
        done=sheet,
        submit="Take it out",
        said=f"{row.title}: taken out of the plan.",
        context=about_sheet(sheet),
    )


urlpatterns = [
    path("data-sheets/<uuid:data_sheet_id>/plan/add/", interval_add, name="interval-add"),
    path(
        "data-sheets/<uuid:data_sheet_id>/plan/<uuid:interval_id>/change/",
        interval_change,
        name="interval-change",
    ),
    path(
        "data-sheets/<uuid:data_sheet_id>/plan/<uuid:interval_id>/withdraw/",
        interval_withdraw,
        name="interval-withdraw",
    ),
]
