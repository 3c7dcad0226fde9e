from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import urlencode

from vehicles import outstanding as reads
from vehicles.acts import outstanding as acts
from vehicles.fault_story import NextStep
from vehicles.forms import outstanding as forms
from vehicles.models import OutstandingItem, Severity, Vehicle
from vehicles.panels import Gathered, Need, Panel, add_needs, add_panel
from vehicles.views.part import about
from vehicles.views.vehicle import visible_vehicle
from workshop.engineering.units import Amount
from workshop.pages import act_page, may
from workshop.permissions import May


def visible_item(request: HttpRequest, item_id: UUID) -> OutstandingItem:
    return get_object_or_404(
        OutstandingItem.objects.select_related(
            "vehicle",
            "place",
            "made_by",
            "device",
            "raised_in",
            "raised_by_line__job",
            "from_reading__instrument",
            "ended_by_line__job",
            "left_by",
        ).filter(vehicle__in=Vehicle.objects.visible_to(request.user)),
        pk=item_id,
    )


@may(May.SEE_SHOP)
def items(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """All items of the car: what is open, and what ended how."""
    car = visible_vehicle(request, vehicle_id)
    return render(
        request,
        "vehicles/outstanding_items.html",
        {
            "vehicle": car,
            "items": reads.open_items(car, timezone.localdate()),
            "ended": car.outstanding_items.exclude(end="")
            .select_related("left_by", "ended_by_line__job")
            .order_by("-ended_at"),
        },
    )


@may(May.SEE_SHOP)
def item(request: HttpRequest, item_id: UUID) -> HttpResponse:
    row = visible_item(request, item_id)
    reads.add_due(row.vehicle, [row], timezone.localdate())
    return render(
        request,
        "vehicles/outstanding.html",
        {
            "item": row,
            "vehicle": row.vehicle,
            "tellings": row.tellings.select_related(
                "told_to", "witness", "made_by", "device", "job"
            ).order_by("-made_at"),
            "lines": row.lines.select_related("job"),
            "faults": row.faults.all(),
            "may_be_left": Severity(row.severity).owner_may_leave_it,
            "next_step": _next(request, row),
        },
    )


def _next(request: HttpRequest, row: OutstandingItem) -> NextStep | None:
    """What is to be done next where something is: a danger nobody was told of, an item that is due. Two queries."""
    if row.end:
        return None
    step = None
    if row.severity == Severity.DANGEROUS and not row.tellings.exists():
        step = NextStep(
            "It is dangerous, and nobody was told yet.",
            reverse("vehicles:outstanding-tell", args=[row.pk]),
            "Tell, and record it",
            May.TELL_OWNER,
        )
    elif row.due.now or row.severity == Severity.DANGEROUS:
        if any(line.is_open for line in row.lines.all()):
            return None
        why = "It is due now" if row.due.now else "It is dangerous"
        if (job := row.vehicle.jobs.open().first()) is not None:
            asked = urlencode({"items": row.pk, "complaint": row.title})
            step = NextStep(
                f"{why}: put it on a work line of the open job.",
                f"{reverse('jobs:line-add', args=[job.pk])}?{asked}",
                f"Work line on job {job}",
                May.EDIT_LINE,
            )
        else:
            step = NextStep(
                f"{why}: the car should come in.",
                reverse("jobs:job-book", args=[row.vehicle_id]),
                "Book a job",
                May.BOOK,
            )
    return step if step is not None and request.user.may(step.may) else None


@may(May.OUTSTANDING)
def item_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.ItemForm,
        act=acts.raise_item,
        title="Outstanding on this car",
        intro="It belongs to the car and comes up on every later job until it is done or settled.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        cancel=car,
        submit="Write it down",
        context=about(car),
    )


def _on_item(request, item_id, *, form_class, act, title, initial=None, kwargs=None, **page):
    """The page of one act on an item: it comes back to the item."""
    row = visible_item(request, item_id)
    start = {"seen_version": row.version} if "seen_version" in form_class.base_fields else {}
    return act_page(
        request,
        form_class=form_class,
        act=act,
        title=title,
        fixed={"item": row},
        form_kwargs=kwargs(row) if kwargs else None,
        initial={**start, **(initial(row) if initial else {})},
        done=row,
        context={
            "kicker": f"{row} · {row.vehicle.name}",
            "kicker_url": row.get_absolute_url(),
            "vehicle": row.vehicle,
        },
        **page,
    )


@may(May.TELL_OWNER)
def item_tell(request: HttpRequest, item_id: UUID) -> HttpResponse:
    return _on_item(
        request,
        item_id,
        form_class=forms.TellingForm,
        act=acts.tell,
        title="What was told, and the answer",
        intro="Each time is a record of its own. An answer does not end the item.",
        kwargs=lambda row: {"vehicle": row.vehicle, "person": request.user},
        submit="Record it",
    )


@may(May.OUTSTANDING)
def item_due(request: HttpRequest, item_id: UUID) -> HttpResponse:
    return _on_item(
        request,
        item_id,
        form_class=forms.DueForm,
        act=acts.change_due,
        title="By when",
        initial=lambda row: {
            "due_on": row.due_on,
            "due_distance": Amount(row.due_km, "km").to(row.due_km_unit) if row.due_km is not None else None,
            "due_hours": row.due_hours,
            "due_runs": row.due_runs,
        },
    )


@may(May.OUTSTANDING)
def item_severity(request: HttpRequest, item_id: UUID) -> HttpResponse:
    return _on_item(
        request,
        item_id,
        form_class=forms.ItemSeverityForm,
        act=acts.change_severity,
        title="Assess the item again",
        initial=lambda row: {"severity": row.severity},
    )


@may(May.OUTSTANDING)
def item_found(request: HttpRequest, item_id: UUID) -> HttpResponse:
    return _on_item(
        request,
        item_id,
        form_class=forms.FoundForm,
        act=acts.end_by_finding,
        title="Settled by a later finding",
        submit="End: settled",
    )


@may(May.OUTSTANDING)
def item_leave(request: HttpRequest, item_id: UUID) -> HttpResponse:
    return _on_item(
        request,
        item_id,
        form_class=forms.LeaveSoForm,
        act=acts.leave_so,
        title="Left so at the owner's wish",
        intro="Only for minor items and advice. The owner, the registered keeper or somebody who may authorise work.",
        kwargs=lambda row: {"vehicle": row.vehicle},
        submit="End: left so",
    )


@may(May.OUTSTANDING)
def item_reopen(request: HttpRequest, item_id: UUID) -> HttpResponse:
    return _on_item(
        request,
        item_id,
        form_class=forms.ReopenItemForm,
        act=acts.reopen_item,
        title="Outstanding again",
        intro="Its end is taken off; it stays readable in the log.",
        submit="It is outstanding again",
    )


def gather(request: HttpRequest, car: Vehicle) -> dict:
    """Open items with due and last answer: five queries at most."""
    return {
        "items": reads.open_items(car, timezone.localdate()),
        "ended": car.outstanding_items.exclude(end="").count(),
    }


def needs(request: HttpRequest, car: Vehicle, gathered: Gathered) -> list[Need]:
    """What is dangerous, major or due now, one by one; the rest in one line. No query."""
    found, rest = [], 0
    for row in gathered["outstanding"]["items"]:
        if row.severity in (Severity.DANGEROUS, Severity.MAJOR) or row.due.now:
            told = f"Told {row.told[0].told_to}" if row.told else "Nobody was told yet"
            due = (
                f"due {row.due.words}" + (f" ({row.due.left})" if row.due.left else "")
                if row.due.words
                else ""
            )
            hand = row.severity == Severity.DANGEROUS or row.due.now
            found.append(
                Need(
                    10 + Severity(row.severity).rank,
                    str(row),
                    row.get_absolute_url(),
                    " · ".join(filter(None, (due, told))),
                    severity=row.severity,
                    state="Due now" if row.due.now else "",
                    hand=hand,
                )
            )
        else:
            rest += 1
    if rest:
        found.append(
            Need(40, f"{rest} more outstanding: minor, or advice", f"{car.get_absolute_url()}#outstanding")
        )
    return found


add_needs("outstanding", needs)
add_panel(Panel(20, "outstanding", "Outstanding", "vehicles/_outstanding.html", gather))

_I = "outstanding/<uuid:item_id>/"
urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/outstanding/", items, name="outstanding-items"),
    path("vehicles/<uuid:vehicle_id>/outstanding/add/", item_add, name="outstanding-add"),
    path(_I, item, name="outstanding"),
    path(f"{_I}tell/", item_tell, name="outstanding-tell"),
    path(f"{_I}due/", item_due, name="outstanding-due"),
    path(f"{_I}severity/", item_severity, name="outstanding-severity"),
    path(f"{_I}found/", item_found, name="outstanding-found"),
    path(f"{_I}leave/", item_leave, name="outstanding-leave"),
    path(f"{_I}reopen/", item_reopen, name="outstanding-reopen"),
]
