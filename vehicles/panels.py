"""The vehicle page is a head and a row of panels. Each subject adds its own, so that this room need not know the
rooms above: jobs hang their panel, their tags and their buttons here by themselves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.safestring import SafeString

from vehicles.models import Vehicle
from workshop.permissions import May


@dataclass(frozen=True)
class Panel:
    """One `<section class="panel" id="{{ panel.slug }}">` of the page: the template draws the whole section, with
    its heading and its buttons. It has what `gather(request, vehicle)` answers, in a fixed number of queries, and
    besides `vehicle`, `panel` and `request`."""

    order: int
    slug: str
    title: str
    template: str
    gather: Callable[[HttpRequest, Vehicle], dict[str, Any]]


@dataclass(frozen=True)
class HeadNote:
    """Something to be seen before all else: a not-to-be-moved tag. `gather` answers the template's context, or
    None when there is nothing to say."""

    order: int
    slug: str
    template: str
    gather: Callable[[HttpRequest, Vehicle], dict[str, Any] | None]


@dataclass(frozen=True)
class Action:
    """A button in the head: shown to who may; its URL takes the car as `vehicle_id`. `main` is the dark one."""

    order: int
    label: str
    url_name: str
    may: May
    main: bool = False


_panels: dict[str, Panel] = {}
_head_notes: dict[str, HeadNote] = {}
_actions: dict[str, Action] = {}


def add_panel(panel: Panel) -> None:
    """Call in an app's `ready()` or beside the views of the subject."""
    _panels[panel.slug] = panel


def add_head_note(head_note: HeadNote) -> None:
    _head_notes[head_note.slug] = head_note


def add_action(action: Action) -> None:
    _actions[action.url_name] = action


def for_vehicle(request: HttpRequest, vehicle: Vehicle) -> list[SafeString]:
    """The panels of the page, drawn, in their order."""
    return [
        _drawn(panel.template, request, vehicle, {"panel": panel, **panel.gather(request, vehicle)})
        for panel in sorted(_panels.values(), key=lambda panel: panel.order)
    ]


def head_notes(request: HttpRequest, vehicle: Vehicle) -> list[SafeString]:
    """The notes that have something to say, drawn."""
    gathered = [
        (head_note, head_note.gather(request, vehicle))
        for head_note in sorted(_head_notes.values(), key=lambda each: each.order)
    ]
    return [
        _drawn(head_note.template, request, vehicle, context)
        for head_note, context in gathered
        if context is not None
    ]


def _drawn(template: str, request: HttpRequest, vehicle: Vehicle, context: dict[str, Any]) -> SafeString:
    return render_to_string(template, {"vehicle": vehicle, **context}, request)


def actions_for(request: HttpRequest, vehicle: Vehicle) -> list[dict[str, Any]]:
    return [
        {
            "label": action.label,
            "url": reverse(action.url_name, kwargs={"vehicle_id": vehicle.pk}),
            "main": action.main,
        }
        for action in sorted(_actions.values(), key=lambda action: action.order)
        if request.user.may(action.may)
    ]
