"""The browsers that people sign in on: their names, who used them last, and shutting out a lost one."""

from __future__ import annotations

from uuid import UUID

from django.db.models import OuterRef, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path

from workshop.acts import devices as acts
from workshop.forms import house as forms
from workshop.models import Device, Event
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
    }
    return render(request, "workshop/devices.html", context)


def _device(device_id: UUID) -> Device:
    return get_object_or_404(Device, pk=device_id)


@may(May.REVOKE_DEVICE)
def device(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = get_object_or_404(_devices(), pk=device_id)
    events = Event.objects.filter(device=row).select_related("person").order_by("-seq")[:20]
    mine = request.device.pk if request.device else None
    return render(request, "workshop/device.html", {"row": row, "events": events, "mine": mine})


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
def device_readmit(request: HttpRequest, device_id: UUID) -> HttpResponse:
    row = _device(device_id)
    return act_page(
        request,
        form_class=forms.ReasonForm,
        act=acts.readmit_device,
        title=f"Let “{row.name}” in again",
        intro="People may sign in on it again, each with their own name and password.",
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
    path("shop/devices/<uuid:device_id>/readmit/", device_readmit, name="device-readmit"),
]
