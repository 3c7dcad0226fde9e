"""Take it along: everything about a car in one file, for the next workshop or for its owner; and the check of one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils.text import slugify
from django.views.decorators.http import require_POST

from vehicles.acts import archive as acts
from vehicles.archive import checking, declare, incoming, making, reading, taking
from vehicles.archive.redacting import Reader
from vehicles.audience import Audience, NotTheirs
from vehicles.forms.archive import ArchiveFileForm
from vehicles.models import Attachment, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from vehicles.panels import Panel, add_panel
from vehicles.views.vehicle import visible_vehicle
from workshop.acting import By
from workshop.pages import may
from workshop.permissions import May

TOO_LARGE = "This car's photos and papers are more than one file can hold (4 GB). Ask whoever looks after this installation."
NO_ROOM = "The server's disk is full: the file can't be made. Tell whoever looks after this installation."


@may(May.TAKE_ALONG)
def archive(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """What would be in the file, and the file itself when it is asked for."""
    car = visible_vehicle(request, vehicle_id)
    context = {"vehicle": car, "photos": Attachment.objects.filter(vehicle=car, erased_at=None).count()}
    if request.method != "POST":
        return render(request, "vehicles/archive.html", context)
    return _sent(request, car, None, acts.take_along, {}, "vehicles/archive.html", context)


@may(May.SEE_OWN_CARS)
def own_archive(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """The same for the car's owner or registered keeper: nobody else's person or money is in it."""
    held = VehicleKeeper.objects.now().filter(keeper__account=request.user, part__in=HOLDERS)
    car = get_object_or_404(Vehicle.objects.filter(pk__in=held.values("vehicle")), pk=vehicle_id)
    try:
        since = Audience.of_owner(request.user, car).since
    except NotTheirs as error:
        raise Http404 from error
    context = {"vehicle": car, "since": since}
    if request.method != "POST":
        return render(request, "vehicles/own_archive.html", context)
    reader = Reader(car, request.user.keeper, since)
    return _sent(
        request, car, reader, acts.take_own_along, {"since": since}, "vehicles/own_archive.html", context
    )


def _sent(
    request: HttpRequest,
    car: Vehicle,
    reader: Reader | None,
    act: Callable,
    more: dict[str, Any],
    template: str,
    context: dict[str, Any],
) -> HttpResponse:
    """Make the file, note its hash, then send it bit by bit. Asked for twice, it is two files and noted twice."""
    try:
        made = making.make(car, reader)
    except making.TooLarge:
        return render(request, template, {**context, "trouble": TOO_LARGE}, status=422)
    except OSError:
        return render(request, template, {**context, "trouble": NO_ROOM}, status=507)
    try:
        device = request.device if request.device and request.device.pk else None
        act(
            by=By(request.user, device=device),
            vehicle=car,
            sha256=made.sha256,
            size=made.size,
            records=made.records,
            **more,
        )
    except BaseException:
        made.file.close()
        raise
    name = f"{slugify(car.name)}{f'-{slugify(car.number)}' if car.number else ''}-archive.zip"
    answer = FileResponse(made.file, as_attachment=True, filename=name, content_type="application/zip")
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["X-Archive-SHA256"] = made.sha256
    return answer


@may(May.TAKE_IN)
def archive_check(request: HttpRequest) -> HttpResponse:
    """Whether a file that somebody brought is whole, and what is in it. Nothing of it is written down yet."""
    sent = request.method == "POST"
    form = ArchiveFileForm(request.POST, request.FILES) if sent else ArchiveFileForm()
    context: dict[str, Any] = {"form": form, "checked": None}
    if sent and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            opened = reading.open_archive(file.file)
            context |= _told(opened, checking.check(opened))
            taking.refuse_what_is_here(opened)
        except reading.NotAnArchive as refused:
            if context["checked"] is None:
                form.add_error("file", str(refused))
            else:
                context["not_here"] = str(refused)
        else:
            try:
                context["sha256"] = incoming.keep(file.file)
            except OSError:
                context["not_here"] = NO_ROOM
    return render(request, "vehicles/archive_check.html", context, status=422 if form.errors else 200)


def _told(opened: reading.Opened, checked: checking.Checked) -> dict[str, Any]:
    kinds = [
        {"name": table.model._meta.verbose_name_plural, "count": count}
        for table in declare.tables()
        if (count := checked.counts[table.label.lower()])
    ]
    return {
        "checked": checked,
        "kinds": kinds,
        "sha256": "",
        "whole_sha256": checking.digest_of(opened.zip.fp),
    }


@may(May.TAKE_IN)
@require_POST
def archive_take_in(request: HttpRequest) -> HttpResponse:
    """Take in the file that was looked at. It is read and checked once more: days may lie between."""
    sha256 = request.POST.get("sha256", "")
    try:
        with incoming.opened(sha256) as file:
            opened = reading.open_archive(file)
            device = request.device if request.device and request.device.pk else None
            car = acts.take_in(
                by=By(request.user, device=device),
                opened=opened,
                checked=checking.check(opened),
                sha256=sha256,
            )
    except (incoming.Gone, reading.NotAnArchive, ValidationError) as refused:
        sentence = " ".join(refused.messages) if isinstance(refused, ValidationError) else str(refused)
        messages.error(request, sentence)
        return redirect("vehicles:archive-check")
    except OSError:
        messages.error(request, NO_ROOM)
        return redirect("vehicles:archive-check")
    incoming.throw_away(sha256)
    messages.success(request, "Taken in: everything of this car is on record here now.")
    return redirect(car)


def _panel(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """One query."""
    return {"archives": list(car.archives_taken_in.select_related("made_by"))}


add_panel(Panel(95, "came-from", "This car’s record", "vehicles/_archive_panel.html", _panel))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/archive/", archive, name="archive"),
    path("my-cars/<uuid:vehicle_id>/archive/", own_archive, name="own-archive"),
    path("archives/check/", archive_check, name="archive-check"),
    path("archives/take-in/", archive_take_in, name="archive-take-in"),
]
