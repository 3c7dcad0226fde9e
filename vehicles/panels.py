"""The vehicle page is a head, a first answer (what needs attention, and some glances), and a row of panels.

Each subject adds its own, so that this room need not know the rooms above: jobs hang their panel, their next step,
their tags and their buttons here by themselves. Panels are gathered first; what stands above them is made from what
they gathered, so that nothing is asked twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
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


# What the panels gathered, by slug.
Gathered = dict[str, dict[str, Any]]


@dataclass(frozen=True)
class Need:
    """Something on this car that waits for somebody. `rank`: 0 is the most urgent. `hand`: needs a hand now."""

    rank: int
    title: str
    url: str
    text: str = ""
    severity: str = ""
    state: str = ""
    hand: bool = False


@dataclass(frozen=True)
class Glance:
    """A few lines of the first answer, under a heading: what is not factory, the last visits. Drawn when `gather`
    answers a context, with `vehicle` and `glance` besides."""

    order: int
    slug: str
    title: str
    template: str
    gather: Callable[[HttpRequest, Vehicle, Gathered], dict[str, Any] | None]


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
_needs: dict[str, Callable[[HttpRequest, Vehicle, Gathered], Iterable[Need]]] = {}
_glances: dict[str, Glance] = {}


def add_panel(panel: Panel) -> None:
    """Call in an app's `ready()` or beside the views of the subject."""
    _panels[panel.slug] = panel


def add_head_note(head_note: HeadNote) -> None:
    _head_notes[head_note.slug] = head_note


def add_needs(slug: str, gather: Callable[[HttpRequest, Vehicle, Gathered], Iterable[Need]]) -> None:
    """`gather` answers what waits for somebody, in a fixed number of queries besides those of the panels."""
    _needs[slug] = gather


def add_glance(glance: Glance) -> None:
    _glances[glance.slug] = glance


def add_action(action: Action) -> None:
    _actions[action.url_name] = action


def in_order() -> list[Panel]:
    return sorted(_panels.values(), key=lambda panel: panel.order)


def gather(request: HttpRequest, vehicle: Vehicle) -> Gathered:
    """What every panel shows, by its slug, in the order of the panels."""
    return {panel.slug: panel.gather(request, vehicle) for panel in in_order()}


def draw(request: HttpRequest, vehicle: Vehicle, gathered: Gathered) -> list[SafeString]:
    """The panels of the page, drawn, in their order."""
    return [
        _drawn(panel.template, request, vehicle, {"panel": panel, **gathered[panel.slug]})
        for panel in in_order()
    ]


def for_vehicle(request: HttpRequest, vehicle: Vehicle) -> list[SafeString]:
    return draw(request, vehicle, gather(request, vehicle))


def needs(request: HttpRequest, vehicle: Vehicle, gathered: Gathered) -> list[Need]:
    """What waits for somebody, the most urgent first."""
    found = [need for gather_needs in _needs.values() for need in gather_needs(request, vehicle, gathered)]
    return sorted(found, key=lambda need: need.rank)


def glances(request: HttpRequest, vehicle: Vehicle, gathered: Gathered) -> list[SafeString]:
    """The glances that have something to say, drawn."""
    drawn = []
    for glance in sorted(_glances.values(), key=lambda each: each.order):
        context = glance.gather(request, vehicle, gathered)
        if context is not None:
            drawn.append(_drawn(glance.template, request, vehicle, {"glance": glance, **context}))
    return drawn


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
