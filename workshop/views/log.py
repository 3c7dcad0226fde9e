"""The event log: who did what, when, to which car and job; newest first, by filters, a page at a time."""

from __future__ import annotations

import json
import re
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone

from workshop import acting, log
from workshop.acts import shop as acts
from workshop.forms.fields import DayField
from workshop.forms.house import EraseWordsForm
from workshop.models import Event, EventDetail, Person
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.refs import keys_for, names_of

PER_PAGE = 30


class LogFilter(forms.Form):
    person = forms.ModelChoiceField(Person.objects.order_by("name"), required=False, empty_label="anybody")
    vehicle = forms.CharField(required=False, max_length=60, label="Car", help_text="plate, number or name")
    job = forms.CharField(required=False, max_length=20, label="Job", help_text="its number")
    act = forms.CharField(required=False, max_length=80, widget=forms.TextInput(attrs={"list": "acts"}))
    day = DayField(required=False, help_text="the day it was written down")


def _found(form: LogFilter):
    events = Event.objects.select_related("person", "device", "detail").order_by("-seq")
    wanted = form.cleaned_data if form.is_valid() else {}
    if person := wanted.get("person"):
        events = events.filter(person=person)
    if text := wanted.get("vehicle", "").strip():
        events = events.filter(vehicle_ref__in=keys_for("vehicle", text))
    if text := wanted.get("job", "").strip():
        events = events.filter(job_ref__in=keys_for("job", text))
    if text := wanted.get("act", "").strip():
        events = events.filter(act__icontains=text.replace(" ", "_"))
    if day := wanted.get("day"):
        start = timezone.make_aware(datetime.combine(day, time.min))
        events = events.filter(received_at__gte=start, received_at__lt=start + timedelta(days=1))
    return events


@may(May.SEE_LOG)
def event_log(request: HttpRequest) -> HttpResponse:
    """A fixed number of queries. Checking the whole chain is `manage.py verify_log`."""
    form = LogFilter(request.GET or None)
    page = Paginator(_found(form), PER_PAGE).get_page(request.GET.get("page"))
    cars = names_of("vehicle", {event.vehicle_ref for event in page})
    jobs = names_of("job", {event.job_ref for event in page})
    # Mostly nobody's but their own: then this asks nothing.
    sessions = {event.seq: whose for event in page if (whose := log.session_person_of(event))}
    people = Person.objects.in_bulk(set(sessions.values())) if sessions else {}
    for event in page:
        event.on_session_of = people.get(UUID(sessions[event.seq])) if event.seq in sessions else None
        event.words_of_act = act_words(event.act)
        event.car, event.job = cars.get(event.vehicle_ref), jobs.get(event.job_ref)
        event.late = (event.received_at - event.made_at).total_seconds() > 60
        body = json.loads(event.body)
        event.facts = list(_flat(body["facts"]))
        event.clock = _clock_words(event, body.get("device_time"))
        detail = getattr(event, "detail", None)
        event.words = list(_flat(json.loads(detail.words))) if detail and detail.words else []
        event.erased = bool(detail and detail.erased_at)
    context = {
        "page": page,
        "filter": form,
        "filtered": any(request.GET.get(name) for name in form.fields),
        "acts": sorted(name.split(".", 1)[1].replace("_", " ") for name in acting.names()),
        "head": log.current_head(),
    }
    return render(request, "workshop/log.html", context)


_OFF = timedelta(minutes=1)


def _clock_words(event: Event, device_time: str | None) -> str:
    """What the device's own clock said, where that is another time: it may have been wrong by an hour."""
    if not device_time:
        return ""
    shown = datetime.fromisoformat(device_time)
    off = shown - event.made_at
    if abs(off) <= _OFF:
        return ""
    # Typed in, a time stands at the full minute; then the device's clock tells when it was typed, and between
    # the two it may well have been right.
    typed = event.made_at.second == 0 and event.made_at.microsecond == 0
    whose = "the tablet's clock" if event.device and event.device.enrolled_at else "the device's clock"
    if typed and event.made_at < shown <= event.received_at + _OFF:
        just_now = abs(shown - event.received_at) <= _OFF
        return "" if just_now else f"by {whose} typed in at {timezone.localtime(shown):%H:%M}"
    minutes = round(abs(off).total_seconds() / 60)
    how_much = f"{minutes} minutes" if minutes < 120 else f"{minutes / 60:.0f} hours"
    if minutes >= 48 * 60:
        how_much = f"{minutes / 60 / 24:.0f} days"
    return f"{whose} was {how_much} {'ahead' if off > timedelta() else 'behind'}"


def act_words(name: str) -> str:
    """`jobs.torque.record_reading` as people say it: Record reading."""
    return re.sub(r"\bpin(s?)\b", r"PIN\1", name.rpartition(".")[2].replace("_", " ").capitalize())


def _flat(value: Any, name: str = ""):
    """(name, text) for each leaf: what changed stands as “before → after”."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{name} {key}".strip().replace("_", " "))
    elif isinstance(value, list) and len(value) == 2 and not any(isinstance(part, dict) for part in value):
        before, after = (_text(part) for part in value)
        yield name, f"{before} → {after}"
    else:
        yield name, _text(value)


def _text(value: Any) -> str:
    if value in (None, "", [], {}):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_text(part) for part in value)
    if isinstance(value, dict):
        return "; ".join(f"{key}: {_text(inner)}" for key, inner in value.items())
    return str(value)


@may(May.ERASE)
def words_erase(request: HttpRequest, seq: int) -> HttpResponse:
    detail = get_object_or_404(EventDetail.objects.select_related("event"), pk=seq)
    return act_page(
        request,
        form_class=EraseWordsForm,
        act=acts.erase_words,
        title=f"Erase the personal words of event {seq}",
        intro="The words go for good. The event, its technical facts and the chain stay.",
        fixed={"detail": detail},
        submit="Erase the words",
        done="workshop:log",
        cancel="workshop:log",
    )


urlpatterns = [
    path("shop/log/", event_log, name="log"),
    path("shop/log/<int:seq>/erase/", words_erase, name="words-erase"),
]
