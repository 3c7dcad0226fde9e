"""All the words ever written about a car or in the shop, kept to be searched: what belongs to it, and how it is kept.

Each room says of its models which fields hold words (`tell`), and of the other text columns why they are left out
(`leave_out`); a test goes through every text column there is. Triggers write down what is written (`WordsDue`), and at
the end of each act, before it is committed, what is due is copied into `Words`: no act has to think of it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction
from django.db.models import Q

from vehicles.folding import folded
from vehicles.models import Words, WordsDue
from vehicles.timeline import at_day
from workshop import acting, erasing, triggers

CHUNK = 400
_LONGEST = 200  # of title and address


@dataclass(frozen=True)
class Told:
    """One group of fields of a model whose words belong together, and how the rest is found out.

    Paths are attributes joined by points, such as "fault.place.zone"; "" is nothing, and of "vehicle|part.vehicle" the
    first counts that leads somewhere. `at` may lead to a day; where it leads nowhere it is `made_at`. `systems` says
    which system (a zone of the car) the word stands for that `system` leads to. `title` and `url` may use nothing that
    is ever changed, but for columns in `reads`.
    """

    model: type[models.Model]
    kind: str
    fields: tuple[str, ...]
    title: Callable[[Any], str]
    url: Callable[[Any], str]
    part: str = ""
    vehicle: str = "vehicle"
    at: str = "made_at"
    person: str = "made_by"
    system: str = ""
    severity: str = ""
    systems: Mapping[str, str] | None = None
    along: tuple[str, ...] = ()
    reads: tuple[str, ...] = ()

    def words(self, row: Any) -> Words | None:
        """What is kept of this record; None where nothing was written."""
        texts = [text for text in (str(getattr(row, name) or "").strip() for name in self.fields) if text]
        if not texts:
            return None
        return Words(
            subject_kind=self.model._meta.label_lower,
            subject_id=str(row.pk),
            part=self.part,
            kind=self.kind,
            vehicle_id=_key(row, self.vehicle),
            at=_moment(row, self.at),
            person_id=_key(row, self.person),
            system=self._system(row),
            severity=_value(row, self.severity) or "",
            title=self.title(row)[:_LONGEST],
            url=self.url(row)[:_LONGEST],
            text="\n".join(texts),
            # A phrase is not to be found across two fields.
            folded="\n".join(filter(None, map(folded, texts))),
        )

    def _system(self, row: Any) -> str:
        found = _value(row, self.system) or ""
        return found if self.systems is None else self.systems.get(found, "")

    @property
    def paths(self) -> list[str]:
        every = (self.vehicle, self.at, self.person, self.system, self.severity)
        return [way for path in every for way in path.split("|") if way]


def _value(row: Any, path: str) -> Any:
    for name in path.split(".") if path else ():
        row = getattr(row, name, None) if row is not None else None
    return row if path else None


def _key(row: Any, path: str) -> Any:
    """The key of what the path leads to, without reading it."""
    for way in path.split("|") if path else ():
        *before, last = way.split(".")
        owner = _value(row, ".".join(before)) if before else row
        if owner is not None and (key := getattr(owner, f"{last}_id")) is not None:
            return key
    return None


def _moment(row: Any, path: str) -> datetime:
    found = _value(row, path) or _value(row, "made_at")
    return found if isinstance(found, datetime) or not isinstance(found, date) else at_day(found, found)


_told: dict[type[models.Model], list[Told]] = defaultdict(list)
_left_out: dict[tuple[type[models.Model], str], str] = {}
_kinds: dict[str, str] = {}


def add_kind(code: str, label: str) -> None:
    """A kind of words, as the filter offers it."""
    _kinds[code] = label


def kinds() -> list[tuple[str, str]]:
    return list(_kinds.items())


def tell(told: Told) -> None:
    """Say what of a model belongs into the words: call it in an app's `ready()`."""
    known = _told[told.model]
    if any(each.part == told.part for each in known):
        return
    known.append(told)


def leave_out(model: type[models.Model], because: str, *fields: str) -> None:
    """Say why text columns of a model are not searched; without `fields`, all that are not told."""
    for name in fields or ("*",):
        _left_out[model, name] = because


def told_models() -> list[type[models.Model]]:
    return [model for model, known in _told.items() if known]


def is_text(field: models.Field) -> bool:
    """A column that may hold what somebody wrote: free text, or a list of texts."""
    return triggers.is_words(field) or isinstance(field, models.JSONField)


def forgotten() -> Iterator[str]:
    """Text columns that are neither told nor left out for a reason: there is to be none."""
    for model in apps.get_models():
        if model._meta.app_label not in ("workshop", "vehicles", "jobs"):
            continue
        told = {name for each in _told.get(model, ()) for name in each.fields}
        for field in model._meta.local_concrete_fields:
            known = field.name in told or (model, field.name) in _left_out or (model, "*") in _left_out
            if is_text(field) and not known:
                yield f"{model._meta.label}.{field.name}"


def start() -> None:
    """When all rooms have told theirs: watch the tables, and copy what is due at the end of each act."""
    for model, known in _told.items():
        triggers.watch(
            triggers.Watch(
                table=model._meta.db_table,
                kind=model._meta.label_lower,
                columns=tuple(sorted(_columns(model, known))),
                into=WordsDue._meta.db_table,
            )
        )
    acting.at_end(index_due)
    erasing.apart(Words, WordsDue)


def _columns(model: type[models.Model], known: list[Told]) -> set[str]:
    """Columns of the table itself that the words depend on."""
    names = {name for told in known for name in (*told.fields, *told.reads)}
    names |= {path.split(".")[0] for told in known for path in told.paths}
    return {model._meta.get_field(name).column for name in names}


# ------------------------------------------------------------------------------------------------------- keeping it


def index_due(most: int | None = None) -> int:
    """Copy what is due. Inside a transaction: it is committed with what was written. Answers how many were due."""
    count = 0
    while True:
        due = WordsDue.objects.order_by("pk")
        if connection.features.has_select_for_update_skip_locked:
            # What another act is about to copy is its own.
            due = due.select_for_update(skip_locked=True, no_key=True)
        rows = list(due[:CHUNK])
        if not rows:
            return count
        keys: dict[str, dict[str, bool]] = defaultdict(dict)
        for row in rows:
            keys[row.kind][row.record] = row.new or keys[row.kind].get(row.record, False)
        WordsDue.objects.filter(pk__in=[row.pk for row in rows]).delete()
        for kind, records in keys.items():
            index(apps.get_model(kind), records, new={key for key, new in records.items() if new})
        count += len(rows)
        if len(rows) < CHUNK:
            return count


def index(
    model: type[models.Model],
    keys: Iterable[Any],
    *,
    new: Iterable[Any] = (),
    follow: bool = True,
    lock: bool = False,
) -> None:
    """Copy the words of these records anew. Of those in `new` nothing is kept yet.

    `follow`: what takes its system or severity from one of them as well, where that has changed.
    """
    to_key = model._meta.pk.to_python
    asked = {to_key(key) for key in keys}
    known = {str(key) for key in asked} - {str(to_key(key)) for key in new}
    wanted = {_place(words): words for words in reckoned(model, asked, lock=lock)}
    before = {_place(row): row for row in _kept(model, known)} if known else {}
    gone = [row.pk for place, row in before.items() if place not in wanted]
    if gone:
        Words.objects.filter(pk__in=gone).delete()
    changed = [words for place, words in wanted.items() if not _same(words, before.get(place))]
    if changed:
        Words.objects.bulk_create(
            changed, update_conflicts=True, unique_fields=list(_PLACE), update_fields=list(_CONTENT)
        )
    moved = {
        words.subject_id
        for place, words in wanted.items()
        if (old := before.get(place)) and (old.system, old.severity) != (words.system, words.severity)
    }
    for other, path in _followers(model) if moved and follow else ():
        followers = other._base_manager.filter(**{f"{path}__in": [to_key(key) for key in moved]})
        for part in _parts(list(followers.values_list("pk", flat=True))):
            index(other, part, follow=False)


_PLACE = ("subject_kind", "subject_id", "part")
_CONTENT = ("vehicle", "at", "kind", "system", "severity", "person", "title", "url", "text", "folded")


def _place(row: Words) -> tuple[str, str, str]:
    return row.subject_kind, row.subject_id, row.part


def _same(one: Words, other: Words | None) -> bool:
    columns = [Words._meta.get_field(name).attname for name in _CONTENT]
    return other is not None and all(getattr(one, name) == getattr(other, name) for name in columns)


def _kept(model: type[models.Model], keys: Iterable[str]) -> models.QuerySet[Words]:
    return Words.objects.filter(subject_kind=model._meta.label_lower, subject_id__in=list(keys))


def reckoned(model: type[models.Model], keys: Iterable[Any], *, lock: bool = False) -> list[Words]:
    """What is to be kept of these records: one query. `lock`: nobody changes them before the transaction ends."""
    known = _told[model]
    rows = model._base_manager.filter(pk__in=list(keys)).select_related(*_relations(model))
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    return [words for row in rows for told in known if (words := told.words(row)) is not None]


@cache
def _relations(model: type[models.Model]) -> tuple[str, ...]:
    found = set()
    for told in _told[model]:
        found |= set(told.along)
        found |= {"__".join(path.split(".")[:-1]) for path in told.paths if "." in path}
    return tuple(sorted(found))


@cache
def _followers(model: type[models.Model]) -> tuple[tuple[type[models.Model], str], ...]:
    """Models that take their system or severity from this one, and the way from them to it."""
    found = []
    for other, known in _told.items():
        ways = set()
        for path in {path for told in known for path in (told.system, told.severity) if "." in path}:
            names = path.split(".")[:-1]
            here = other
            for count, name in enumerate(names, 1):
                here = here._meta.get_field(name).related_model
                if here is model:
                    ways.add("__".join(names[:count]))
        found += [(other, way) for way in sorted(ways)]
    return tuple(found)


# ------------------------------------------------------------------------------------------------ all of it, and proof


def rebuild() -> int:
    """Copy the words of every record anew, some at a time, while others work. Answers how many are kept then."""
    for model in told_models():
        for keys in _in_chunks(model._base_manager.order_by("pk")):
            with transaction.atomic():
                index(model, keys, follow=False, lock=True)
    _forget_what_is_gone()
    with transaction.atomic():
        index_due()
    return Words.objects.count()


def _forget_what_is_gone() -> None:
    labels = {model._meta.label_lower: model for model in told_models()}
    Words.objects.exclude(subject_kind__in=labels).delete()
    for label, model in labels.items():
        rows = Words.objects.filter(subject_kind=label)
        kept = set(rows.values_list("subject_id", flat=True))
        there = {str(key) for key in model._base_manager.values_list("pk", flat=True)}
        for keys in _parts(sorted(kept - there)):
            rows.filter(subject_id__in=keys).delete()


def problems() -> Iterator[str]:
    """Records whose words are not kept as they stand: each by name."""
    for model in told_models():
        name = model._meta.verbose_name
        for keys in _in_chunks(model._base_manager.order_by("pk")):
            wanted = {_place(words): words for words in reckoned(model, keys)}
            kept = {_place(row): row for row in _kept(model, map(str, keys))}
            for place in wanted.keys() | kept.keys():
                if place not in wanted or not _same(wanted[place], kept.get(place)):
                    yield f"{name} {place[1]}: its words are not found as they stand. Run: manage.py rebuild_words"
    labels = Q(subject_kind__in=[model._meta.label_lower for model in told_models()])
    if Words.objects.exclude(labels).exists():
        yield "words are kept of records of which none are told. Run: manage.py rebuild_words"


def _in_chunks(rows: models.QuerySet) -> Iterator[list[Any]]:
    """Keys of all rows, by keyset and not by one long cursor: others may write meanwhile."""
    last = None
    while True:
        part = rows if last is None else rows.filter(pk__gt=last)
        keys = list(part.values_list("pk", flat=True)[:CHUNK])
        if not keys:
            return
        yield keys
        last = keys[-1]


def _parts(keys: list[Any]) -> Iterator[list[Any]]:
    for begin in range(0, len(keys), CHUNK):
        yield keys[begin : begin + CHUNK]
