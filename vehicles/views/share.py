"""Share links: made, listed and ended by the desk or the car's owner."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from vehicles import account, panels, shares
from vehicles.acts import share as acts
from vehicles.audience import Shows
from vehicles.forms.share import EndShareForm, ShareForm
from vehicles.models import Share, Vehicle
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, answered, may
from workshop.permissions import May
from workshop.sheets import qr_svg


def own_url(request: HttpRequest, car: Vehicle) -> str:
    """The car's page, as this person has it."""
    if request.user.may(May.SEE_SHOP):
        return car.get_absolute_url()
    return reverse("vehicles:my-car", args=[car.pk])


def shared_car(request: HttpRequest, vehicle_id: UUID) -> Vehicle:
    """The car, when this person may make links to it; else 404."""
    car = visible_vehicle(request, vehicle_id)
    if not shares.may_share(request.user, car):
        raise Http404
    return car


def visible_share(request: HttpRequest, share_id: UUID) -> Share:
    share = get_object_or_404(Share.objects.select_related("vehicle"), pk=share_id)
    return get_object_or_404(
        shares.seen_by(request.user, shared_car(request, share.vehicle_id)).select_related(
            "vehicle", "made_by", "made_for", "revoked_by"
        ),
        pk=share_id,
    )


def _no_copy(response: HttpResponse) -> HttpResponse:
    response.headers["Cache-Control"] = "no-store"
    return response


@may(May.SHARE)
def links(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """All links to a car that this person may know of, with how often they were opened."""
    car = shared_car(request, vehicle_id)
    rows = shares.listed(shares.seen_by(request.user, car))
    context = {
        "vehicle": car,
        "opening": [share for share in rows if share.is_open],
        "over": [share for share in rows if not share.is_open],
        "car_url": own_url(request, car),
    }
    return _no_copy(render(request, "vehicles/shares.html", context))


@may(May.SHARE)
def share(request: HttpRequest, share_id: UUID) -> HttpResponse:
    """One link: what it shows, until when, and its log."""
    found = visible_share(request, share_id)
    context = {
        "share": found,
        "vehicle": found.vehicle,
        "log": shares.logs_of([found])[found.pk],
        "shows": [what for what in Shows if what in found.shows],
        "hides": [what for what in Shows if what not in found.shows],
        "links_url": reverse("vehicles:shares", args=[found.vehicle_id]),
    }
    return _no_copy(render(request, "vehicles/share.html", context))


@may(May.SHARE)
def share_make(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Choose what a link shows, look at it as its reader will, make it. Its address is shown once: in this answer."""
    car = shared_car(request, vehicle_id)
    own = None if shares.may_share_any(request.user) else shares.own_keeper(request.user, car)
    status = 200
    if request.method == "POST":
        form = ShareForm(request.POST, vehicle=car, own=own)
        step = request.POST.get("step", "")
        if step == "change":
            form = ShareForm(initial=_as_typed(form), vehicle=car, own=own)
        elif form.is_valid():
            if step == "preview":
                return _preview(request, car, form)
            if form.try_act(acts.make_share, request=request, vehicle=car):
                return _made(request, car, form)
            status = 422
        else:
            status = 422
    else:
        form = ShareForm(vehicle=car, own=own)
    return _asked(request, car, form, status)


def _asked(request: HttpRequest, car: Vehicle, form: ShareForm, status: int) -> HttpResponse:
    context = {
        "title": "Make a share link",
        "form": form,
        "vehicle": car,
        "kicker": car.name,
        "kicker_url": own_url(request, car),
        "cancel_url": reverse("vehicles:shares", args=[car.pk]),
    }
    return _no_copy(render(request, "vehicles/share_make.html", context, status=status))


def _as_typed(form: ShareForm) -> dict[str, Any]:
    """What was chosen before the preview, for a form that is not sent yet; with a key of its own."""
    return {field.name: field.value() for field in form if field.name != "key"}


def _preview(request: HttpRequest, car: Vehicle, form: ShareForm) -> HttpResponse:
    """What the reader of such a link will see, and nothing is made."""
    try:
        planned = acts.planned(request.user, car, **form.act_arguments())
    except ValidationError as refusal:
        form.add_refusal(refusal)
        return _asked(request, car, form, 422)
    context = {
        "vehicle": car,
        "form": form,
        "sent": [
            (name, value)
            for name, values in request.POST.lists()
            if name not in ("csrfmiddlewaretoken", "step")
            for value in values
        ],
        "planned": planned,
        # The first page alone: there is no link yet to turn it by.
        "account": replace(account.account(shares.audience_of(planned), car), pages=1),
    }
    return _no_copy(render(request, "vehicles/share_preview.html", context))


def _made(request: HttpRequest, car: Vehicle, form: ShareForm) -> HttpResponse:
    """The only answer that ever has the address. Sent a second time, the form finds the link and not its token."""
    made: Share = form.answer
    if not made.token:
        return answered(request, made, form)
    address = request.build_absolute_uri(made.address())
    context = {
        "share": made,
        "vehicle": car,
        "address": address,
        "qr": qr_svg(address, "The link as a code to be scanned"),
        "links_url": reverse("vehicles:shares", args=[car.pk]),
    }
    response = render(request, "vehicles/share_made.html", context)
    response.headers["X-Saved-Key"] = str(form.cleaned_data["key"])
    return _no_copy(response)


@may(May.SHARE)
def share_end(request: HttpRequest, share_id: UUID) -> HttpResponse:
    found = visible_share(request, share_id)
    back = reverse("vehicles:shares", args=[found.vehicle_id])
    return act_page(
        request,
        form_class=EndShareForm,
        act=acts.end_share,
        title=f"End the link “{found}”",
        intro="From now on it opens nothing any more, wherever it was sent. It can't be brought back; a new one can be "
        "made at any time.",
        submit="End it now",
        fixed={"share": found},
        done=back,
        said="Ended. It opens nothing any more.",
        context={"kicker": found.vehicle.name, "kicker_url": back},
    )


def _panel(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    return shares.few(request.user, car)


panels.add_panel(panels.Panel(78, "shares", "Share links", "vehicles/_shares_panel.html", _panel))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/shares/", links, name="shares"),
    path("vehicles/<uuid:vehicle_id>/shares/make/", share_make, name="share-make"),
    path("shares/<uuid:share_id>/", share, name="share"),
    path("shares/<uuid:share_id>/end/", share_end, name="share-end"),
]
