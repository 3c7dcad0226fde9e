"""Acts: the only way in which anything is written.

An act is a function decorated with `@act(May.…)`. The screens, the demo and the tests call the same ones:

    job = check_in(by=By(person, device=tablet, key=form_key), job=job, fuel="half", …)

The decorator opens one transaction in which it claims the submission's key (a repeated key answers with the
first record; the same key with other content is refused), runs the function, and appends what it noted to the
event log as the last thing. An act called inside another act joins it: one claim, one transaction, one permission.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, OperationalError, models, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.crypto import salted_hmac

from workshop import log
from workshop.canonical import canonical
from workshop.models import Device, Person, Submission
from workshop.permissions import May, require


@dataclass(frozen=True)
class By:
    """Who acts, on which device, when it was made at the car and when it arrived, under which key.

    `again` is false where a browser without our scripts may have sent the same form twice under two keys: the act
    then asks once (`SentBefore`); true once the person has said that it is a second one; None asks nothing.

    `session_person`: whose session it was, where somebody else signed on it with their PIN; else None.
    """

    person: Person
    device: Device | None = None
    made_at: datetime | None = None
    key: UUID = field(default_factory=uuid4)
    device_time: datetime | None = None
    received_at: datetime | None = None
    again: bool | None = None
    session_person: Person | None = None

    def __post_init__(self) -> None:
        if self.session_person is not None and self.session_person.pk == self.person.pk:
            object.__setattr__(self, "session_person", None)
        # Frozen: what is not given is settled once, here, so that all records of one act agree.
        now = self.received_at or timezone.now()
        object.__setattr__(self, "received_at", now)
        object.__setattr__(self, "made_at", self.made_at or now)

    @property
    def day(self) -> date:
        """The day on which it was made, in the shop's time zone: what calibrations and due dates are judged at."""
        return timezone.localtime(self.made_at).date()

    def stamp(self) -> dict[str, Any]:
        """Arguments for every `Record`."""
        return {
            "made_at": self.made_at,
            "received_at": self.received_at,
            "made_by": self.person,
            "device": self.device,
            "key": self.key,
        }


class ChangedMeanwhile(ValidationError):
    """Somebody saved a newer version. `current` holds the fields as they are on record now."""

    # Who is shown it: what one changed oneself, in another window, is said otherwise.
    reader: Person | None = None

    def __init__(self, record: models.Model, current: dict[str, Any]):
        self.record = record
        self.current = current
        super().__init__(
            "Somebody else changed this while you were writing. Both texts are shown: "
            "put right what you typed and save again.",
            code="changed_meanwhile",
        )


class AlreadySent(ValidationError):
    def __init__(self) -> None:
        super().__init__(
            "This form was sent already, with other content. What was sent first is kept, and nothing was added to it. "
            "If what stands here is to be written down as well, send it again.",
            code="already_sent",
        )


class SentBefore(ValidationError):
    """The very same content came from the same person a moment ago, under another key."""

    def __init__(self, first: Submission):
        when = timezone.localtime(first.received_at).strftime("%H:%M")
        super().__init__(
            f"The very same was sent at {when} and is on record. If this is a second one, send it again; "
            "if not, there is nothing more to do.",
            code="sent_before",
        )


# Back, then the button once more: that is minutes, not hours.
SENT_AGAIN_WITHIN = timedelta(minutes=10)


def is_busy(error: OperationalError) -> bool:
    """The database was busy for too long, or two acts waited for each other: nothing was written, try again."""
    text = str(error)
    return any(word in text for word in ("locked", "deadlock", "timeout", "couldn't get a connection"))


@dataclass
class _Running:
    by: By
    names: list[str]
    noted: list[log.Entry] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)


_running: ContextVar[_Running | None] = ContextVar("running_act", default=None)


_names: dict[str, May] = {}


def names(may: May | None = None) -> frozenset[str]:
    """Every act's name, as the log has it; or of those alone that need this right."""
    return frozenset(name for name, needed in _names.items() if may in (None, needed))


_at_end: list[Callable[[], None]] = []


def at_end(function: Callable[[], None]) -> None:
    """Call this inside the transaction of every act that nobody else began, when its records are written.

    What it writes is committed or rolled back with them. Before the log, whose head all acts queue for.
    """
    if function not in _at_end:
        _at_end.append(function)


def act(may: May) -> Callable[[Callable], Callable]:
    """Make a keyword-only function with `by: By` an act that only people with this right may perform."""

    def decorate(function: Callable) -> Callable:
        name = f"{function.__module__.removesuffix('.__init__').replace('.acts.', '.')}.{function.__name__}"

        @functools.wraps(function)
        def perform(*, by: By, **arguments: Any) -> Any:
            if (outer := _running.get()) is not None:
                outer.names.append(name)
                try:
                    return function(by=by, **arguments)
                finally:
                    outer.names.pop()
            require(by.person, may)
            _refuse_bad_time(by)
            content = _content_hash({"act": name, "person": by.person, "arguments": _hashable(arguments)})
            with transaction.atomic():
                submission, first = _claim(by, name, content)
                if not first:
                    return submission.answer()
                if by.again is False:
                    _refuse_the_same_again(submission)
                running = _Running(by, [name])
                token = _running.set(running)
                try:
                    answer = function(by=by, **arguments)
                finally:
                    _running.reset(token)
                if isinstance(answer, models.Model):
                    submission.answer_kind = answer._meta.label_lower
                    submission.answer_id = str(answer.pk)
                    submission.save(update_fields=["answer_kind", "answer_id"])
                if not running.noted:
                    raise RuntimeError(f"{name} noted nothing: every act stands in the event log")
                for finish in _at_end:
                    finish()
                log.append(by, _with_changed(running))
            return answer

        perform.may = may
        perform.act_name = name
        _names[name] = may
        return perform

    return decorate


def _with_changed(running: _Running) -> list[log.Entry]:
    """The first entry also names the records that the act changed and said nothing of: who changed one is then found."""
    said = {f"{entry.subject_kind}:{entry.subject_id}" for entry in running.noted}
    unsaid = tuple(sorted(each for each in set(running.changed) if each.partition("#")[0] not in said))
    first, *rest = running.noted
    return [replace(first, changed=unsaid), *rest] if unsaid else running.noted


def note(
    subject: models.Model,
    *,
    vehicle: Any = None,
    job: Any = None,
    facts: dict[str, Any] | None = None,
    words: dict[str, Any] | None = None,
) -> None:
    """Say in the running act what it did; the event is appended when the act ends.

    `facts` are technical and stand in the chain. `words` are what people said, names, addresses: they stand
    beside the chain in a detail that can be erased.
    """
    running = _running.get()
    if running is None:
        raise RuntimeError("note() outside an act")
    running.noted.append(
        log.Entry(
            act=running.names[-1],
            subject_kind=subject._meta.label_lower,
            subject_id=str(subject.pk),
            vehicle_ref=str(getattr(vehicle, "pk", vehicle) or ""),
            job_ref=str(getattr(job, "pk", job) or ""),
            facts=facts or {},
            words={key: value for key, value in (words or {}).items() if value not in ("", None)},
        )
    )


def create(record: models.Model) -> models.Model:
    """Insert a record. A rule that it breaks is refused with its sentence.

    The database holds the rules, so it is asked first: each checked beforehand would be a query of its own, and so
    would be each record that this one points at. Only when it refuses are they asked one by one, for the sentences
    of all that are broken.
    """
    try:
        record.full_clean(exclude=_at_hand(record), validate_unique=False, validate_constraints=False)
        with transaction.atomic():
            record.save(force_insert=True)
    except (ValidationError, IntegrityError):
        record.full_clean()
        raise
    return record


def _at_hand(record: models.Model) -> set[str]:
    """The relations whose other end is in memory, so was read: that it exists need not be asked again."""
    relations = (field for field in record._meta.concrete_fields if field.is_relation)
    return {field.name for field in relations if field.is_cached(record) and getattr(record, field.name)}


def save_changes(
    record: models.Model, *, seen_version: int | None = None, **changes: Any
) -> dict[str, list[Any]]:
    """Change a versioned record and answer {field: [before, after]} of what differs, for the log.

    The update is claimed by version: when somebody else saved meanwhile, `ChangedMeanwhile` carries what
    stands on record now. Without `seen_version` the record is locked and its latest version is changed.
    """
    model = type(record)
    current = model._default_manager.select_for_update(no_key=True).get(pk=record.pk)
    if seen_version is not None and current.version != seen_version:
        raise ChangedMeanwhile(current, {name: getattr(current, name) for name in changes})
    differing = {name: value for name, value in changes.items() if getattr(current, name) != value}
    before_after = {name: [getattr(current, name), value] for name, value in differing.items()}
    if not differing:
        return {}
    for name, value in differing.items():
        setattr(current, name, value)
    columns = {name: getattr(current, name) for name in differing}
    standing = model._default_manager.filter(pk=record.pk, version=current.version)
    try:
        # What is not changed was found good when it was written.
        kept = {field.name for field in current._meta.concrete_fields} - set(differing)
        current.full_clean(
            exclude=kept | _at_hand(current), validate_unique=False, validate_constraints=False
        )
        with transaction.atomic():
            claimed = standing.update(**columns, version=F("version") + 1)
    except (ValidationError, IntegrityError):
        current.full_clean()  # the database refused: which rules, and in their sentences (see create)
        raise
    if claimed != 1:
        raise ChangedMeanwhile(current, {name: getattr(current, name) for name in changes})
    record.refresh_from_db()
    if (running := _running.get()) is not None:
        running.changed.append(f"{model._meta.label_lower}:{record.pk}#{record.version}")
    return before_after


def _refuse_bad_time(by: By) -> None:
    if by.made_at > by.received_at + timedelta(minutes=2):
        raise ValidationError(
            {"made_at": "This time lies in the future. Give the time at which it was done."},
            code="in_the_future",
        )
    if by.made_at > by.received_at:
        # A clock two minutes fast is no reason to lose what was typed.
        object.__setattr__(by, "made_at", by.received_at)
    if not by.person.is_active:
        raise PermissionDenied(f"{by.person} may no longer sign in.")
    if by.device is not None and by.device.revoked_at is not None:
        raise PermissionDenied("This device was revoked. Ask the lead to enrol it again.")


def _hashable(arguments: dict[str, Any]) -> dict[str, Any]:
    """What the submission's hash is taken of. Password and PIN stay out: a quick hash of them would be kept."""
    return {name: value for name, value in arguments.items() if name not in ("password", "pin")}


def _content_hash(content: dict[str, Any]) -> str:
    """Keyed, so that what is erased later can't be confirmed by hashing a guess."""
    return salted_hmac("workshop.submission", canonical(content), algorithm="sha256").hexdigest()


def _refuse_the_same_again(submission: Submission) -> None:
    """Ask when this content was sent a moment ago under another key: one query, by index."""
    earlier = (
        Submission.objects.filter(
            content_hash=submission.content_hash,
            person=submission.person,
            received_at__gte=submission.received_at - SENT_AGAIN_WITHIN,
        )
        .exclude(key=submission.key)
        .order_by("-received_at")
        .first()
    )
    if earlier is not None:
        raise SentBefore(earlier)


def _claim(by: By, name: str, content: str) -> tuple[Submission, bool]:
    """Insert the key, or wait for whoever holds it and take their answer. True when this is the first."""
    mine = uuid4()
    Submission.objects.bulk_create(
        [
            Submission(
                key=by.key,
                act=name,
                content_hash=content,
                claim=mine,
                person=by.person,
                received_at=by.received_at,
            )
        ],
        ignore_conflicts=True,
    )
    submission = Submission.objects.get(key=by.key)
    if submission.claim == mine:
        return submission, True
    if submission.act != name or submission.content_hash != content:
        raise AlreadySent
    return submission, False
