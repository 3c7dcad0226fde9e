"""The chain of events: appending, checking, and the personal words beside it."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.models import Q

from workshop.canonical import canonical, plain, sha256
from workshop.models import Event, EventDetail, LogHead, Person
from workshop.models.events import GENESIS

if TYPE_CHECKING:
    from workshop.acting import By


@dataclass(frozen=True)
class Entry:
    """What an act noted, before it has its place in the chain."""

    act: str
    subject_kind: str
    subject_id: str
    vehicle_ref: str = ""
    job_ref: str = ""
    facts: dict[str, Any] = field(default_factory=dict)
    words: dict[str, Any] = field(default_factory=dict)
    # Records ("label:key#version") that the act changed besides, of which no entry of it speaks.
    changed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Anchor:
    """A head of the chain that was written down elsewhere (a frozen sheet, a backup): a cut tail shows against it."""

    seq: int
    hash: str
    where: str


_anchor_sources: list[Callable[[], Iterable[Anchor]]] = []


def add_anchor_source(source: Callable[[], Iterable[Anchor]]) -> None:
    if source not in _anchor_sources:
        _anchor_sources.append(source)


def link(previous_hash: str, body: str) -> str:
    return sha256(f"{previous_hash}\n{body}")


def hash_words(salt: str, words: str) -> str:
    return sha256(f"{salt}\n{words}")


def append(by: By, entries: list[Entry]) -> list[Event]:
    """Append events at the end of the chain. Call last in the transaction: it locks the one head row."""
    head = LogHead.objects.select_for_update(no_key=True).get(pk=1)
    events, details = [], []
    for entry in entries:
        seq = head.seq + 1
        words = canonical(entry.words) if entry.words else ""
        salt = secrets.token_hex(32) if words else ""
        # Only where there is any: what was hashed before there was such a thing reads as it did.
        also: dict[str, Any] = {}
        if by.session_person is not None:
            also["session_person"] = str(by.session_person.pk)
        if entry.changed:
            also["changed"] = entry.changed
        body = canonical(
            {
                "seq": seq,
                "act": entry.act,
                "subject": [entry.subject_kind, entry.subject_id],
                "vehicle": entry.vehicle_ref,
                "job": entry.job_ref,
                "person": str(by.person.pk),
                "device": str(by.device.pk) if by.device else "",
                **also,
                "made_at": by.made_at,
                "received_at": by.received_at,
                "device_time": by.device_time,
                "key": by.key,
                "facts": entry.facts,
                "words_hash": hash_words(salt, words) if words else "",
            }
        )
        event = Event(
            seq=seq,
            act=entry.act,
            subject_kind=entry.subject_kind,
            subject_id=entry.subject_id,
            vehicle_ref=entry.vehicle_ref,
            job_ref=entry.job_ref,
            person=by.person,
            device=by.device,
            made_at=by.made_at,
            received_at=by.received_at,
            key=by.key,
            body=body,
            previous_hash=head.hash,
            hash=link(head.hash, body),
        )
        events.append(event)
        if words:
            details.append(
                EventDetail(event=event, words=words, salt=salt, words_hash=hash_words(salt, words))
            )
        head.seq, head.hash = seq, event.hash
    Event.objects.bulk_create(events)
    EventDetail.objects.bulk_create(details)
    head.save(update_fields=["seq", "hash"])
    return events


def current_head() -> LogHead:
    return LogHead.objects.get(pk=1)


def last_change(record: models.Model) -> Event | None:
    """The latest event that is about this record, or that changed it besides; with its person. One query."""
    kind, key = record._meta.label_lower, str(record.pk)
    about = Q(subject_kind=kind, subject_id=key)
    # A text is looked for among the events of one job or car only.
    near = Q(job_ref=key) | Q(vehicle_ref=key)
    if job := getattr(record, "job_id", None):
        near = Q(job_ref=str(job))
    elif vehicle := getattr(record, "vehicle_id", None):
        near = Q(vehicle_ref=str(vehicle))
    about |= near & Q(body__contains=f'"{kind}:{key}#')
    return Event.objects.filter(about).select_related("person").order_by("-seq").first()


def problems() -> Iterator[str]:
    """Everything that is wrong with the chain, first break first. Reads the whole log, in chunks."""
    previous, expected = GENESIS, 1
    people = {str(pk) for pk in Person.objects.values_list("pk", flat=True)}
    anchors: dict[int, list[Anchor]] = {}
    for source in _anchor_sources:
        for anchor in source():
            anchors.setdefault(anchor.seq, []).append(anchor)
    for event in Event.objects.order_by("seq").select_related("detail").iterator(chunk_size=500):
        if event.seq != expected:
            yield f"event {expected} is missing: the next one on record is {event.seq}"
            expected = event.seq
        if event.previous_hash != previous:
            yield f"event {event.seq} does not follow the one before it"
        if link(event.previous_hash, event.body) != event.hash:
            yield f"event {event.seq} was altered: its text does not give its hash"
        yield from _column_problems(event)
        yield from _session_problems(event, people)
        for anchor in anchors.pop(event.seq, []):
            if anchor.hash != event.hash:
                yield f"event {event.seq} is not the one that {anchor.where} names"
        previous, expected = event.hash, event.seq + 1
    head = current_head()
    if (head.seq, head.hash) != (expected - 1, previous):
        yield f"the log ends at event {expected - 1}, but its head says {head.seq}: the tail was cut or the head altered"
    for seq in sorted(anchors):
        for anchor in anchors[seq]:
            if seq > 0:
                yield f"{anchor.where} names event {seq}, which is missing: the tail of the log was cut"


def first_broken_link() -> str | None:
    # Closed at once: a half-read result keeps a cursor open on PostgreSQL.
    with closing(problems()) as found:
        return next(found, None)


def session_person_of(event: Event) -> str:
    """The key of the person on whose session somebody else signed; empty where it was their own."""
    return json.loads(event.body).get("session_person", "")


def _session_problems(event: Event, people: set[str]) -> Iterator[str]:
    body = json.loads(event.body)
    if "session_person" not in body:
        return
    whose = body["session_person"]
    if whose == body["person"]:
        yield f"event {event.seq} names its own person as the other whose session it was"
    elif whose not in people:
        yield f"event {event.seq} was signed on the session of somebody who is not on record"


def _column_problems(event: Event) -> Iterator[str]:
    body = json.loads(event.body)
    columns = {
        "seq": event.seq,
        "act": event.act,
        "subject": [event.subject_kind, event.subject_id],
        "vehicle": event.vehicle_ref,
        "job": event.job_ref,
        "person": str(event.person_id),
        "device": str(event.device_id) if event.device_id else "",
        "made_at": plain(event.made_at),
        "received_at": plain(event.received_at),
        "key": str(event.key),
    }
    for name, value in columns.items():
        if body.get(name) != value:
            yield f"event {event.seq} was altered: its column {name} differs from its text"
    detail = getattr(event, "detail", None)
    if body["words_hash"]:
        if detail is None:
            yield f"event {event.seq} lacks the detail that it names"
        elif detail.words_hash != body["words_hash"]:
            yield f"event {event.seq}: its detail is not the one that it names"
        elif detail.erased_at is None and hash_words(detail.salt, detail.words) != detail.words_hash:
            yield f"event {event.seq}: the words of its detail were altered"
    elif detail is not None:
        yield f"event {event.seq} has a detail that it does not name"
