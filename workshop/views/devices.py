"""The browsers that people sign in on: their names, who used them last, and shutting out a lost one."""

from __future__ import annotations

from uuid import UUID, uuid4

from django.contrib import messages
from django.db.models import OuterRef, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.views.decorators.http import require_POST

from workshop.acts import devices as acts
from workshop.acts import pins as pin_acts
from workshop.forms import house as forms
from workshop.forms.tablet import LockMinutesForm, NothingForm
from workshop.middleware import page_of
from workshop.models import Device, Event, PinLock
from workshop.pages import act_page, may
from workshop.permissions import May


def _devices():
    last = Event.objects.filter(device=OuterRef("pk")).order_by("-seq")
    return Device.objects.annotate(
        last_at=Subquery(last.values("received_at")[:1]), last_by=Subquery(last.values("person__name")[:1])
    )


@may(May.REVOKE_DEVICE)
def devices(request: HttpRequest) -> HttpResponse:
    """Two queries, however many there are."""
    rows = sorted(_devices(), key=lambda row: row.last_at or row.first_seen_at, reverse=True)
    mine = request.device.pk if request.device else None
    context = {
        "rows": [row for row in rows if row.revoked_at is None],
        "revoked": [row for row in rows if row.revoked_at is not None],
        "mine": mine,
        "key": uuid4(),
    }
    return render(request, "workshop/devices.html", context)


def _device(device_id: UUID) -> Device:
    return get_object_or_404(Device, pk=device_id)


@may(May.REVOKE_DEVICE)
def device(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = get_object_or_404(_devices(), pk=device_id)
    events = Event.objects.filter(device=row).select_related("person").order_by("-seq")[:20]
    mine = request.device.pk if request.device else None
    return render(
        request, "workshop/device.html", {"row": row, "events": events, "mine": mine, "key": uuid4()}
    )


@may(May.REVOKE_DEVICE)
def device_rename(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = _device(device_id)
    return act_page(
        request,
        form_class=forms.DeviceNameForm,
        act=acts.rename_device,
        title=f"Another name for “{row.name}”",
        intro="Every act names the device it was made on: a name that says where it lives helps later.",
        fixed={"device": row},
        initial={"name": row.name},
        done="workshop:devices",
        said="The device has its new name.",
    )


@may(May.REVOKE_DEVICE)
def device_revoke(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = _device(device_id)
    return act_page(
        request,
        form_class=forms.ReasonForm,
        act=acts.revoke_device,
        title=f"Revoke “{row.name}”",
        intro="Whoever is signed in on it is signed out at once, and nobody signs in on it again until it is let in. "
        "What was written on it stays. If it was stolen, give those who used it new passwords too.",
        submit="Revoke it",
        fixed={"device": row},
        done="workshop:devices",
        said="The device is revoked.",
    )


@may(May.REVOKE_DEVICE)
@require_POST
def device_lost(request: HttpRequest, device_id: UUID) -> HttpResponse:
    """A lost tablet, shut out in one tap: nothing to fill in, and undone by letting it in again."""
    row = _device(device_id)
    form = NothingForm(request.POST)
    if form.is_valid() and form.try_act(acts.revoke_device, request=request, device=row, reason="Lost"):
        said = format_html(
            "“{}” is revoked: whoever was signed in on it is out, and nothing that it sends is taken. Found again? "
            '<a href="{}">Let it in again</a>.',
            row.name,
            reverse("workshop:device-readmit", args=[row.pk]),
        )
        messages.success(request, said)
    else:
        _say_why_not(request, form)
    return redirect("workshop:devices")


def _say_why_not(request: HttpRequest, form: NothingForm) -> None:
    for errors in form.errors.values():
        for error in errors:
            messages.error(request, error)


@may(May.REVOKE_DEVICE)
@require_POST
def pin_lock_seen(request: HttpRequest, lock_id: UUID) -> HttpResponse:
    row = get_object_or_404(PinLock, pk=lock_id)
    form = NothingForm(request.POST)
    if not (form.is_valid() and form.try_act(pin_acts.acknowledge_pin_lock, request=request, lock=row)):
        _say_why_not(request, form)
    return redirect(page_of(request, request.headers.get("Referer")) or "workshop:devices")


@may(May.REVOKE_DEVICE)
def device_lock_time(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = _device(device_id)
    return act_page(
        request,
        form_class=LockMinutesForm,
        act=acts.set_lock_minutes,
        title=f"When “{row.name}” locks itself",
        fixed={"device": row},
        initial={"lock_minutes": row.lock_minutes},
        done=row,
        said="The lock has its new time.",
    )


@may(May.REVOKE_DEVICE)
def device_end_enrolment(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = _device(device_id)
    return act_page(
        request,
        form_class=NothingForm,
        act=acts.end_enrolment,
        title=f"“{row.name}” is no tablet of the shop any more",
        intro="PINs count on it no longer, it does not lock itself, and whoever is signed in on it is signed out. People "
        "may still sign in on it with name and password. If it is lost, revoke it instead.",
        submit="End its enrolment",
        fixed={"device": row},
        done=row,
        said="The enrolment has ended.",
    )


@may(May.REVOKE_DEVICE)
def device_readmit(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = _device(device_id)
    return act_page(
        request,
        form_class=forms.ReasonForm,
        act=acts.readmit_device,
        title=f"Let “{row.name}” in again",
        intro="People may sign in on it again"
        + (
            ", each with their PIN. What waits on it is sent then."
            if row.enrolled_at
            else ", each with their own name and password."
        ),
        submit="Let it in",
        fixed={"device": row},
        done="workshop:devices",
        said="The device is let in again.",
    )


urlpatterns = [
    path("shop/devices/", devices, name="devices"),
    path("shop/devices/<uuid:device_id>/", device, name="device"),
    path("shop/devices/<uuid:device_id>/rename/", device_rename, name="device-rename"),
    path("shop/devices/<uuid:device_id>/revoke/", device_revoke, name="device-revoke"),
    path("shop/devices/<uuid:device_id>/lost/", device_lost, name="device-lost"),
    path("shop/devices/<uuid:device_id>/lock-time/", device_lock_time, name="device-lock-time"),
    path("shop/devices/<uuid:device_id>/end/", device_end_enrolment, name="device-end-enrolment"),
    path("shop/devices/pin-locks/<uuid:lock_id>/seen/", pin_lock_seen, name="pin-lock-seen"),
    path("shop/devices/<uuid:device_id>/readmit/", device_readmit, name="device-readmit"),
]
