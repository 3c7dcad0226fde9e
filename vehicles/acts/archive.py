"""A car's archive was handed out, or one from elsewhere is taken in: the log holds whose it was and the file's hash."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from contextvars import ContextVar
from datetime import date

from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError
from django.db.models import QuerySet

from vehicles.acts.vehicle import refresh_search_text
from vehicles.archive import files, taking
from vehicles.archive.checking import Checked
from vehicles.archive.reading import NotAnArchive, Opened
from vehicles.models import ArchiveImport, Vehicle
from workshop.acting import By, act, create, note
from workshop.permissions import May


@act(May.TAKE_ALONG)
def take_along(*, by: By, vehicle: Vehicle, sha256: str, size: int, records: int) -> Vehicle:
    """Note the file for the next workshop. It is made before: nothing is packed inside a transaction."""
    facts = {"flavour": "workshop", "sha256": sha256, "size": size, "records": records}
    note(vehicle, vehicle=vehicle, facts=facts)
    return vehicle


@act(May.SEE_OWN_CARS)
def take_own_along(*, by: By, vehicle: Vehicle, since: date, sha256: str, size: int, records: int) -> Vehicle:
    """Note the file that the car's owner took for themselves."""
    facts = {"flavour": "owner", "since": since, "sha256": sha256, "size": size, "records": records}
    note(vehicle, vehicle=vehicle, facts=facts)
    return vehicle


# What the act below takes in: an open file is no argument of an act.
_in_hand: ContextVar[tuple[Opened, Checked] | None] = ContextVar("archive_in_hand", default=None)


def take_in(*, by: By, opened: Opened, checked: Checked, sha256: str) -> Vehicle:
    """Take a checked archive in: its files first, then all of its records together. Taken in twice, it is one.

    Raises `ValidationError` with a sentence; then nothing of it is here.
    """
    if (earlier := ArchiveImport.objects.filter(sha256=sha256).select_related("vehicle").first()) is not None:
        return earlier.vehicle
    try:
        taking.refuse_what_is_here(opened)
    except NotAnArchive as refused:
        raise ValidationError(str(refused)) from refused
    put = files.put_all(opened)
    token = _in_hand.set((opened, checked))
    try:
        return _take_in(by=by, sha256=sha256)
    except (IntegrityError, DataError, NotAnArchive) as error:
        files.take_away(put)
        sentence = str(error).partition("\n")[0]
        raise ValidationError(
            f"Nothing was taken in: a record of this archive breaks a rule of the records here ({sentence})."
        ) from error
    except BaseException:
        files.take_away(put)
        raise
    finally:
        _in_hand.reset(token)


@act(May.TAKE_IN)
def _take_in(*, by: By, sha256: str) -> Vehicle:
    opened, checked = _in_hand.get()
    origin = _origin(checked.about["shop"]["name"], opened)
    running = taking.Taking(opened, origin)
    running.all()
    vehicle = Vehicle.objects.get(pk=checked.about["vehicle"]["id"])
    refresh_search_text(vehicle)
    archive = create(
        ArchiveImport(
            **by.stamp(),
            vehicle=vehicle,
            origin=origin,
            flavour=checked.about["flavour"],
            sha256=sha256,
            records=checked.records,
            events=checked.events,
        )
    )
    running.events(archive)
    note(
        vehicle,
        vehicle=vehicle,
        facts={
            "sha256": sha256,
            "origin": origin,
            "flavour": archive.flavour,
            "records": archive.records,
            "events": archive.events,
            "last_event": checked.about["last_event"],
        },
    )
    return vehicle


def _origin(name: str, opened: Opened) -> str:
    """The workshop's name; with a number where another workshop of that name has given the same numbers."""
    name = " ".join(name.split())[:50] or "Another workshop"
    for number in itertools.count(1):
        origin = name if number == 1 else f"{name} ({number})"
        others = ArchiveImport.objects.filter(origin=origin)
        if number > 99 or not others.exists() or not _numbers_meet(origin, opened):
            return origin
    raise AssertionError("unreachable")


def _numbers_meet(origin: str, opened: Opened) -> bool:
    """Whether a job or print of that origin here bears a number that this archive has too."""
    found = set(_numbers(ArchiveImport.objects.filter(origin=origin)))
    ours = {(row["year"], row["serial"]) for row in opened.rows("records/jobs.job.json") if not row["origin"]}
    return bool(found & ours)


def _numbers(archives: QuerySet[ArchiveImport]) -> Iterator[tuple[int, int]]:
    for vehicle in Vehicle.objects.filter(archives_taken_in__in=archives):
        yield from vehicle.jobs.exclude(origin="").values_list("year", "serial")
