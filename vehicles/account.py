"""The history as a car's owner reads it: an account in plain words, in chapters, newest first.

Each room tells its own chapters through a door, as on the vehicle page. A teller says nothing of who had the car
before: `since` is the day from which on it is this person's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from vehicles.models import Vehicle


@dataclass(frozen=True)
class Chapter:
    """One visit, or one thing that happened. `first`: it belongs to today and stands above the others."""

    at: datetime
    template: str
    context: dict[str, Any] = field(default_factory=dict)
    first: bool = False


@dataclass(frozen=True)
class Word:
    """What must be read before all else, in plain words: `title` is what to do, or what is wrong."""

    title: str
    text: str = ""
    severity: str = ""
    due: str = ""
    said: str = ""


_tellers: dict[str, Callable[[HttpRequest, Vehicle, date], Iterable[Chapter]]] = {}
_words: dict[str, Callable[[Vehicle], Iterable[Word]]] = {}
_leavings: dict[str, Callable[[Vehicle, date], str]] = {}


def add_teller(slug: str, tell: Callable[[HttpRequest, Vehicle, date], Iterable[Chapter]]) -> None:
    """`tell(request, vehicle, since)` answers chapters in a fixed number of queries."""
    _tellers[slug] = tell


def add_first_words(slug: str, tell: Callable[[Vehicle], Iterable[Word]]) -> None:
    """`tell(vehicle)` answers what keeps the car from being used, such as a tag on it."""
    _words[slug] = tell


def add_leaving(slug: str, tell: Callable[[Vehicle, date], str]) -> None:
    """`tell(vehicle, since)` answers how the car last left the workshop, in one sentence; empty where it did not."""
    _leavings[slug] = tell


def leavings(vehicle: Vehicle, since: date) -> list[str]:
    return [said for tell in _leavings.values() if (said := tell(vehicle, since))]


def first_words(vehicle: Vehicle) -> list[Word]:
    return [word for tell in _words.values() for word in tell(vehicle)]


def account(request: HttpRequest, vehicle: Vehicle, since: date) -> list[SafeString]:
    """The chapters, drawn, newest first."""
    chapters = [chapter for tell in _tellers.values() for chapter in tell(request, vehicle, since)]
    chapters.sort(key=lambda chapter: (chapter.first, chapter.at), reverse=True)
    return [
        render_to_string(chapter.template, {"vehicle": vehicle, **chapter.context}, request)
        for chapter in chapters
    ]
