"""Issuing a numbered print: gathered and set outside any transaction, stored by a short act; and its erasure."""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date

from django.core.exceptions import ValidationError
from django.db.models import Max

from vehicles import issuing
from vehicles.audience import holder_since
from vehicles.models import IssuedPrint, IssuedText, Keeper, PrintKind, Survey, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop import log
from workshop.acting import By, act, create, note
from workshop.canonical import sha256
from workshop.models import Counter, Event
from workshop.permissions import May
from workshop.sheets import Printed
from workshop.tokens import new_token

TRIES = 4


@dataclass(frozen=True)
class _Ready:
    """A print that was set, with where the log stood before it was gathered."""

    made: issuing.Made
    printed: Printed
    seq: int


class _NotPrinted(Exception):
    """Rolls the act back: there is no print in hand that says what the records say."""


class _Stands(Exception):
    """Rolls the act back: this print says what the records say already."""

    def __init__(self, row: IssuedPrint):
        self.row = row
        super().__init__("it was issued already")


_in_hand: ContextVar[_Ready | None] = ContextVar("print_in_hand", default=None)


def issue(
    *,
    by: By,
    kind: str,
    vehicle: Vehicle,
    survey: Survey | None = None,
    run=None,
    made_for: Keeper | None = None,
) -> IssuedPrint:
    """The print of this subject as the records are now: the one that was issued where it still says the same, byte for
    byte; else the next revision. `made_for`: a history report with costs, for a keeper of the car.

    Refuses with ValidationError where nothing can be issued on this server, or the records keep changing.
    """
    subject = {"kind": str(kind), "vehicle": vehicle, "survey": survey, "run": run, "made_for": made_for}
    ready: _Ready | None = None
    for _ in range(TRIES):
        token = _in_hand.set(ready)
        try:
            # The first time nothing is in hand: a key that is known answers at once, who may not is refused.
            return _store(by=by, **subject)
        except _NotPrinted:
            pass
        except _Stands as found:
            return found.row
        finally:
            _in_hand.reset(token)
        asked = asked_for(**subject)
        seq = Event.objects.aggregate(last=Max("seq"))["last"] or 0
        gathered = issuing.kind_of(kind).gather(asked)
        latest = asked.same().first()
        if latest is not None and latest.content_hash == gathered.content_hash and not latest.text.erased_at:
            return latest
        ready = _set(by, asked, gathered, latest, seq)
    raise ValidationError(
        "Somebody kept writing about this car while its print was made. Nothing was issued: ask for it again.",
        code="kept_changing",
    )


issue.may = May.ISSUE_PRINT


def _set(by: By, asked: issuing.Asked, gathered: issuing.Gathered, latest, seq: int) -> _Ready:
    if latest is not None:
        year, serial = latest.year, latest.serial
    else:
        year = by.day.year
        serial = (
            Counter.objects.filter(name=_counter(asked.kind, year)).values_list("last", flat=True).first()
            or 0
        ) + 1
    made = issuing.make(
        asked, gathered, at=by.made_at, token=new_token(), serial=serial, year=year, latest=latest
    )
    return _Ready(made, made.printed(), seq)


def asked_for(*, kind: str, vehicle: Vehicle, survey=None, run=None, made_for=None) -> issuing.Asked:
    """What is asked for, checked: the subject belongs to the kind, and costs to a keeper of the car."""
    about = {"survey": survey, "run": run, "": vehicle}[issuing.kind_of(kind).about]
    if about is None:
        raise ValidationError("Say which survey or run the print is of.")
    if made_for is None:
        return issuing.Asked(kind, vehicle, about)
    if kind != PrintKind.HISTORY:
        raise ValidationError("Only a history report can name costs.")
    return issuing.Asked(kind, vehicle, about, made_for, _costs_from(vehicle, made_for))


def _costs_from(vehicle: Vehicle, keeper: Keeper) -> date:
    rows = VehicleKeeper.objects.filter(vehicle=vehicle, keeper=keeper, part__in=HOLDERS)
    try:
        return holder_since(rows)
    except LookupError:
        raise ValidationError(
            {"made_for": "Costs are for the owner or registered keeper of today: choose one of them."}
        ) from None


def _counter(kind: str, year: int) -> str:
    return f"print-{PrintKind(kind).letter}-{year}"


@act(May.ISSUE_PRINT)
def _store(*, by: By, kind: str, vehicle: Vehicle, survey, run, made_for) -> IssuedPrint:
    """The short act: nobody wrote about the car since, or what they wrote leaves the print as it is."""
    if stopped := issuing.blockers():
        raise ValidationError(stopped, code="blocked")
    ready = _in_hand.get()
    if ready is None:
        raise _NotPrinted
    made = ready.made
    # One after the other for this car: two at once make one number.
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    latest = made.asked.same().first()
    if (latest.revision if latest else 0) != made.revision - 1 or _says_otherwise(ready):
        if (
            latest is not None
            and latest.content_hash == made.gathered.content_hash
            and not latest.text.erased_at
        ):
            raise _Stands(latest)
        raise _NotPrinted
    if latest is None and Counter.draw(_counter(kind, made.year)) != made.serial:
        raise _NotPrinted  # the number went to another car meanwhile
    return _written(by, ready, vehicle, survey, run)


def _says_otherwise(ready: _Ready) -> bool:
    """Whether what was written since it was gathered, about this car or the shop, changes what it says."""
    made = ready.made
    since = Event.objects.filter(seq__gt=ready.seq).exclude(act__startswith="vehicles.issued.")
    if not since.filter(vehicle_ref__in=["", str(made.asked.vehicle.pk)]).exists():
        return False
    return issuing.kind_of(made.asked.kind).gather(made.asked).content_hash != made.gathered.content_hash


def _written(by: By, ready: _Ready, vehicle: Vehicle, survey, run) -> IssuedPrint:
    made, head = ready.made, log.current_head()
    row = create(
        IssuedPrint(
            **by.stamp(),
            kind=made.asked.kind,
            vehicle=vehicle,
            survey=survey,
            run=run,
            subject=made.asked.about.pk,
            made_for=made.asked.made_for,
            costs_from=made.asked.costs_from,
            year=made.year,
            serial=made.serial,
            revision=made.revision,
            token=made.token,
            paper=made.paper,
            content_hash=made.gathered.content_hash,
            data_hash=made.data_hash,
            pdf_hash=sha256(ready.printed.pdf),
            pages=ready.printed.pages,
            changes=made.changes,
            log_seq=head.seq,
            log_hash=head.hash,
        )
    )
    IssuedText.objects.create(print=row, pdf=ready.printed.pdf, data=made.data)
    note(
        row,
        vehicle=vehicle,
        facts={
            "number": row.number,
            "revision": row.revision,
            "content_hash": row.content_hash,
            "data_hash": row.data_hash,
            "pdf_hash": row.pdf_hash,
            "pages": row.pages,
        },
    )
    return row


@act(May.ERASE)
def erase_text(*, by: By, row: IssuedPrint, reason: str) -> IssuedPrint:
    """Empty the bytes and the data of a print; its number and its hashes stay, and its code says that it was erased."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is erased, without naming anybody: it is kept."})
    if not IssuedText.objects.filter(print=row, erased_at=None).update(
        pdf=None, data="", erased_at=by.made_at
    ):
        raise ValidationError("What this print says was erased already.")
    note(
        row,
        vehicle=row.vehicle_id,
        facts={"number": row.number, "revision": row.revision},
        words={"reason": reason.strip()},
    )
    return row
