"""Taking somebody's words out of the records: whole texts, and their name wherever it stands in one.

What is bound by a hash (events, frozen sheets, released procedures) is never altered: `occurrences` names it, so
that the page can say what stays and why. Personal words of events stand beside the chain and go whole.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from django.apps import apps
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import Count, Q, Value
from django.utils import timezone

from workshop import triggers
from workshop.models import Erasing, Event, EventDetail, Person, RoleHeld, SignInTry

# Never longer than what it stands for, so that it fits wherever that did.
INSTEAD = "(…)"
LEAST = 4  # letters of a word that is looked for in other people's texts
# Names of those who work here stand on what they did; who signs in is told apart by hand.
_APART = {Erasing, Event, EventDetail, Person, RoleHeld, Session, SignInTry}


def apart(*models_: type[models.Model]) -> None:
    """Leave these tables alone: they only copy others, and follow when these change."""
    _APART.update(models_)


@dataclass(frozen=True)
class Occurrence:
    """So many rows of one column hold one of the words. `frozen`: a hash is taken of them, and they stay."""

    model: type[models.Model]
    column: str
    rows: int
    frozen: bool

    @property
    def words(self) -> str:
        return f"{self.model._meta.verbose_name}, {self.model._meta.get_field(self.column).verbose_name}"


def worth_looking_for(texts: Iterable[str]) -> list[str]:
    """Without repeats and too short ones, the longest first: a name inside an address is taken with it."""
    known = {" ".join(text.split()) if "\n" not in text else text.strip() for text in texts if text}
    return sorted((text for text in known if len(text) >= LEAST), key=len, reverse=True)


def _tables(*, with_frozen: bool) -> Iterator[tuple[type[models.Model], list[str]]]:
    for model in apps.get_models():
        meta = model._meta
        if model in _APART or not meta.managed or (triggers.is_frozen(meta.db_table) and not with_frozen):
            continue
        names = [
            each.name
            for each in meta.local_concrete_fields
            if triggers.is_words(each) and (with_frozen or not triggers.is_frozen(meta.db_table, each.column))
        ]
        if names:
            yield model, names


def _holding(names: Iterable[str], needles: Iterable[str]) -> Q:
    found = Q(pk__in=[])
    for name in names:
        for needle in needles:
            found |= Q(**{f"{name}__icontains": needle})
    return found


def occurrences(needles: list[str]) -> list[Occurrence]:
    """Where the words stand now, by column."""
    return occurrences_of([needles])[0]


# Columns that are looked into by one query; SQLite takes up to 500 selects in a union.
_AT_ONCE = 80


def occurrences_of(sets: list[list[str]]) -> list[list[Occurrence]]:
    """For each set of words where it stands now. Reads every text column, in a handful of queries: for an owner's
    rare act, not for a page of every day.
    """
    places = [
        (model, name, triggers.is_frozen(model._meta.db_table, model._meta.get_field(name).column))
        for model, names in _tables(with_frozen=True)
        for name in names
    ]
    # Emptied by an act of its own, and not altered otherwise: what is erased there is no remainder.
    places = [
        (model, name, frozen)
        for model, name, frozen in places
        if not (frozen and any(each.name == "erased_at" for each in model._meta.local_concrete_fields))
    ]
    places.append((Event, "body", True))
    found: list[list[Occurrence]] = [[] for _ in sets]
    for start in range(0, len(places), _AT_ONCE):
        part = places[start : start + _AT_ONCE]
        selects = [_counted(model, name, place, sets) for place, (model, name, _) in enumerate(part)]
        for row in selects[0].union(*selects[1:], all=True):
            model, name, frozen = part[row["searched_column"]]
            for number in range(len(sets)):
                if rows := row[f"searched_set_{number}"]:
                    found[number].append(Occurrence(model, name, rows, frozen))
    return found


def _counted(model: type[models.Model], name: str, place: int, sets: list[list[str]]) -> models.QuerySet:
    counts = {
        f"searched_set_{number}": Count("pk", filter=_holding([name], needles) if needles else Q(pk__in=[]))
        for number, needles in enumerate(sets)
    }
    rows = model._base_manager.order_by().annotate(searched_column=Value(place)).values("searched_column")
    return rows.annotate(**counts).values("searched_column", *counts)


def details_with(needles: Iterable[str]) -> models.QuerySet[EventDetail]:
    """Personal words of events, not erased yet, that hold one of the words."""
    escaped = [json.dumps(needle, ensure_ascii=False)[1:-1] for needle in needles]
    return EventDetail.objects.filter(_holding(["words"], escaped), erased_at=None)


@dataclass
class Eraser:
    """What one erasure does to texts; counts rows by kind."""

    counts: dict[str, int] = field(default_factory=dict)

    def whole(self, rows: models.QuerySet, *names: str) -> None:
        """Replace these texts whole, however they are guarded. Empty ones stay empty."""
        for row in rows:
            changes = {name: INSTEAD for name in names if getattr(row, name) not in ("", None, INSTEAD)}
            if not changes:
                continue
            _allow(getattr(row, name) for name in changes)
            type(row)._base_manager.filter(pk=row.pk).update(**changes)
            self._count(type(row))

    def everywhere(self, needles: list[str]) -> None:
        """Replace these words in every text of every table that no hash is taken of."""
        if not needles:
            return
        pattern = re.compile("|".join(re.escape(needle) for needle in needles), re.IGNORECASE)
        for model, names in _tables(with_frozen=False):
            rows = model._base_manager.filter(_holding(names, needles))
            for row in rows.values("pk", *names):
                if _replace(model, row, names, pattern):
                    self._count(model)

    def details(self, rows: models.QuerySet[EventDetail]) -> None:
        erased = rows.filter(erased_at=None).update(words="", salt="", erased_at=timezone.now())
        self.counts["event words"] = self.counts.get("event words", 0) + erased

    def _count(self, model: type[models.Model]) -> None:
        name = model._meta.label_lower
        self.counts[name] = self.counts.get(name, 0) + 1


def _allow(texts: Iterable[str]) -> None:
    Erasing.objects.bulk_create(Erasing(needle=text, instead=INSTEAD) for text in set(texts))


def _replace(model: type[models.Model], row: dict, names: list[str], pattern: re.Pattern) -> bool:
    """One spelling at a time, as the guards want to see it."""
    changed = False
    for name in names:
        text = row[name] or ""
        for spelling in sorted(set(pattern.findall(text)), key=len, reverse=True):
            if spelling not in text:
                continue
            _allow([spelling])
            text = text.replace(spelling, INSTEAD)
            model._base_manager.filter(pk=row["pk"]).update(**{name: text})
            changed = True
    return changed


@contextmanager
def erasing() -> Iterator[Eraser]:
    """Inside an act's transaction: the guards let this erasure through, and are shut again at its end."""
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("erasing outside a transaction")
    yield Eraser()
    Erasing.objects.all().delete()


def refuse_named(reason: str, needles: Iterable[str]) -> None:
    """The reason is kept and printed: it must not bring the name back."""
    for needle in needles:
        if needle.casefold() in reason.casefold():
            raise ValidationError({"reason": f"Leave “{needle}” out of the reason: it is kept and printed."})
