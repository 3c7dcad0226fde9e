"""Photos on any page: a strip of thumbnails, the way to add some, and an uploader that stays on the page.

{% load photos %}
{% photo_add_url vehicle line=line.pk next=request.path as add %}
{% photo_strip photos add=add label="Photos of this line" %}
{% photo_input vehicle survey=survey.pk place=place.pk position="left" label="Photo of the left mirror" %}
"""

from __future__ import annotations

from typing import Any

from django import template
from django.urls import reverse
from django.utils.http import urlencode

from vehicles import photos as reads
from vehicles.models import Attachment
from workshop.permissions import May

register = template.Library()


@register.simple_tag
def photo_add_url(vehicle, **query: Any) -> str:
    """The upload page; `query` as `views.photo` reads it: job, line, fault, place, position, moment, kind, next …"""
    return _add_url(vehicle, query)


@register.simple_tag(takes_context=True)
def takes_photos(context) -> str:
    """Say that this page takes photos: its script is loaded then (at the foot of base.html), elsewhere not."""
    if (request := context.get("request")) is not None:
        request.takes_photos = True
    return ""


@register.inclusion_tag("components/_photo_strip.html", takes_context=True)
def photo_strip(
    context,
    photos,
    add: str = "",
    label: str = "Photos",
    button: str = "Add photos",
    hand: bool = False,
    most: int = 8,
) -> dict[str, Any]:
    """Thumbnails that lead to each photo's own page, those above `most` folded away (-2: one alone, too).

    With `add`, an uploader for who may; nothing at all without photos and `add`.
    """
    user, rows = context.get("user"), list(photos or ())
    adds = bool(add) and _may(user, May.ADD_FILES)
    if adds:
        takes_photos(context)
    # One more row is no longer than the words that would fold it away.
    shown = max(most, 0) if len(rows) > most + 2 else len(rows)
    return {
        "photos": rows[:shown],
        "more": rows[shown:],
        "add": add if adds else "",
        "label": label,
        "button": button,
        "hand": hand,
    }


@register.inclusion_tag("components/_photo_input.html", takes_context=True)
def photo_input(
    context, vehicle, label: str = "Add photos", many: bool = True, hand: bool = False, **query: Any
) -> dict[str, Any]:
    """Camera and chooser that send on choice and stay on the page. Without script: a link to the upload page."""
    user, request = context.get("user"), context.get("request")
    takes_photos(context)
    if request is not None:
        query.setdefault("next", request.path)
    return {
        "add": _add_url(vehicle, query) if _may(user, May.ADD_FILES) else "",
        "label": label,
        "many": many,
        "hand": hand,
    }


@register.filter
def before_after(photos: list[Attachment]):
    """`{% for before, after in photos|before_after %}`: pairs to stand beside each other."""
    return reads.pairs(photos)


def _add_url(vehicle, query: dict[str, Any]) -> str:
    named = {name: value for name, value in query.items() if value not in (None, "")}
    address = reverse("vehicles:photo-add", args=[getattr(vehicle, "pk", vehicle)])
    return f"{address}?{urlencode(named)}" if named else address


def _may(user, what: May) -> bool:
    return bool(user is not None and user.is_authenticated and user.may(what))
