"""What this room tells of a car's history: identity, people, odometer, faults, outstanding items, parts, photos."""

from __future__ import annotations

from collections.abc import Iterator

from vehicles.fault_story import with_reading
from vehicles.models import (
    Attachment,
    DiagnosisStep,
    FaultCode,
    Instrument,
    Possibility,
    PossibilityFinding,
    RootCause,
    Telling,
    Vehicle,
)
from vehicles.timeline import Entry, Source, Window, add_source, at_day
from workshop.engineering.numbers import plain


def faults_reported(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.rows(vehicle.faults.select_related("made_by", "job", "reported_by", "place")):
        told = [row.words and f"“{row.words}”", row.conditions, row.where]
        yield Entry(
            row.made_at, row.pk, f"{row} reported", " · ".join(filter(None, told)), row.get_absolute_url(),
            by=str(row.reported_by or row.made_by), job=row.job, severity="" if row.end else row.severity,
        )  # fmt: skip


def faults_ended(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.faults.exclude(end="").select_related(
        "ended_by", "fixed_by_line__job", "outstanding_item", "same_as", "job"
    )
    for row in window.rows(rows, "ended_at"):
        how = {
            "fixed": f"Check made: {row.check_made}",
            "no_fault_found": row.tried,
            "outstanding": str(row.outstanding_item or ""),
            "normal": f"Source: {row.normal_source}",
            "same_as": f"The same as {row.same_as}",
            "error": row.error_reason,
        }[row.end]
        job = row.fixed_by_line.job if row.fixed_by_line_id else row.job
        yield Entry(
            row.ended_at, row.pk, f"{row}: {row.end_words.lower()}", how, row.get_absolute_url(),
            by=str(row.ended_by), job=job, checked=row.end == "fixed",
        )  # fmt: skip


def steps(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = DiagnosisStep.objects.filter(fault__vehicle=vehicle).select_related("made_by", "job", "fault__job")
    for row in window.rows(rows):
        yield Entry(
            row.made_at, row.pk, f"Tried: {row.tried}", f"{row.seen} ({row.fault})", row.fault.get_absolute_url(),
            by=str(row.made_by), job=row.job or row.fault.job, figure=with_reading(row),
        )  # fmt: skip


def codes(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = FaultCode.objects.filter(fault__vehicle=vehicle).select_related("made_by", "fault__job")
    for row in window.rows(rows):
        state = "present" if row.present else "stored"
        source = f", {row.control_unit}" if row.control_unit else ""
        yield Entry(
            row.made_at, row.pk, f"Trouble code {row.code}", f"{state}{source} ({row.fault})",
            row.fault.get_absolute_url(), by=str(row.made_by), job=row.fault.job,
        )  # fmt: skip


def drain_tests(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.drain_tests.select_related("made_by", "job", "fault__job")
    for row in window.rows(rows):
        told = [row.conclusion or "not ended yet", row.fault and f"({row.fault})"]
        yield Entry(
            row.made_at, row.pk, str(row), " ".join(filter(None, told)), row.get_absolute_url(),
            by=str(row.made_by), job=row.job or (row.fault and row.fault.job),
            figure=str(row.amount or ""),
        )  # fmt: skip


def possibilities(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Possibility.objects.filter(fault__vehicle=vehicle).select_related("made_by", "fault__job")
    for row in window.rows(rows):
        yield Entry(
            row.made_at, row.pk, f"It could be: {row.what}", f"({row.fault})",
            f"{row.fault.get_absolute_url()}#possible", by=str(row.made_by), job=row.fault.job,
        )  # fmt: skip


def possibility_findings(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = PossibilityFinding.objects.filter(possibility__fault__vehicle=vehicle).select_related(
        "made_by", "possibility__fault__job"
    )
    for row in window.rows(rows):
        fault = row.possibility.fault
        yield Entry(
            row.made_at, row.pk, f"{row.possibility.what}: {row.get_finding_display().lower()}",
            f"{row.because} ({fault})", f"{fault.get_absolute_url()}#possible", by=str(row.made_by), job=fault.job,
        )  # fmt: skip


def causes(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = RootCause.objects.filter(vehicle=vehicle).select_related("made_by").prefetch_related("faults__job")
    for row in window.rows(rows):
        explained = list(row.faults.all())
        yield Entry(
            row.made_at, row.pk, f"Cause: {row.description}",
            "explains " + ", ".join(map(str, explained)) if explained else "withdrawn since",
            f"{explained[0].get_absolute_url()}#cause" if explained else "", by=str(row.made_by),
            job=explained[0].job if explained else None,
        )  # fmt: skip


def items_raised(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.rows(vehicle.outstanding_items.select_related("made_by", "raised_in")):
        told = [row.get_reason_display(), row.due_words and f"due {row.due_words}", row.detail]
        yield Entry(
            row.made_at, row.pk, f"{row} left outstanding", " · ".join(filter(None, told)),
            row.get_absolute_url(), by=str(row.made_by), job=row.raised_in, severity="" if row.end else row.severity,
        )  # fmt: skip


def items_told(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Telling.objects.filter(item__vehicle=vehicle).select_related("told_to", "item", "made_by", "job")
    for row in window.rows(rows):
        said = f"; “{row.answer_words}”" if row.answer_words else ""
        yield Entry(
            row.made_at, row.pk, f"Told {row.told_to} of {row.item}",
            f"{row.get_channel_display()}: {row.told} · {row.get_answer_display()}{said}",
            row.item.get_absolute_url(), by=str(row.made_by), job=row.job,
        )  # fmt: skip


def items_ended(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.outstanding_items.exclude(end="").select_related("ended_by_line__job", "left_by")
    for row in window.rows(rows, "ended_at"):
        how = [row.ended_finding, row.left_by and str(row.left_by), row.left_words and f"“{row.left_words}”"]
        yield Entry(
            row.ended_at, row.pk, f"{row}: {row.get_end_display().lower()}", " · ".join(filter(None, how)),
            row.get_absolute_url(), job=row.ended_by_line.job if row.ended_by_line_id else None,
            checked=row.end != "left",
        )  # fmt: skip


def parts_on(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.parts.filter(fitted_at__isnull=False, entered_in_error="")
    for row in window.rows(rows.select_related("place", "made_by", "fitted_by_line__job"), "fitted_at"):
        told = [row.where, row.get_provenance_display(), row.part_number]
        yield Entry(
            row.fitted_at, row.pk, f"Fitted: {row.description}", " · ".join(filter(None, told)),
            row.get_absolute_url(), by=str(row.made_by),
            job=row.fitted_by_line.job if row.fitted_by_line_id else None,
        )  # fmt: skip


def parts_found(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.parts.filter(fitted_at=None, entered_in_error="")
    for row in window.rows(rows.select_related("place", "made_by")):
        told = [row.where, row.get_provenance_display(), row.get_confidence_display().lower()]
        yield Entry(
            row.made_at, row.pk, f"Found on the car: {row.description}", " · ".join(told),
            row.get_absolute_url(), by=str(row.made_by),
        )  # fmt: skip


def parts_off(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.parts.filter(removed_at__isnull=False, entered_in_error="")
    for row in window.rows(rows.select_related("place", "removed_by_line__job"), "removed_at"):
        went = row.get_whereabouts_display() if row.whereabouts else "where it went was not said"
        yield Entry(
            row.removed_at, row.pk, f"Came off: {row.description}", f"{row.where} · {went}",
            row.get_absolute_url(), job=row.removed_by_line.job if row.removed_by_line_id else None,
        )  # fmt: skip


def surveys(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.surveys.filter(finished_at__isnull=False).select_related("finished_by", "job")
    for row in window.rows(rows, "finished_at"):
        yield Entry(
            row.finished_at, row.pk, "Walkaround survey finished", row.summary, row.get_absolute_url(),
            by=str(row.finished_by), job=row.job,
        )  # fmt: skip


def readings(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.odometer_readings.select_related("instrument", "made_by", "job")
    address = f"{vehicle.get_absolute_url()}odometer/"
    for row in window.rows(rows, "read_at"):
        told = [
            row.misread_because and f"set aside: {row.misread_because}",
            row.lower_because and f"out of order: {row.lower_because}",
            row.falsified_by and f"not true: {row.falsified_by}",
        ]
        yield Entry(
            row.read_at, row.pk, "Odometer" if row.value is not None else f"Odometer {row}",
            " · ".join(filter(None, told)), address, by=str(row.made_by), job=row.job,
            figure=str(row) if row.value is not None else "",
        )  # fmt: skip


def instruments(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """A car has but a few: all of them, one query."""
    for row in window.few(Instrument.objects.filter(vehicle=vehicle, order__gt=1).select_related("made_by")):
        first = "not known" if row.first is None else f"{plain(row.first)} {row.unit}"
        yield Entry(
            at_day(row.fitted_on, row.made_at), row.pk, "Instrument replaced", f"the new one began at {first}",
            f"{vehicle.get_absolute_url()}odometer/", by=str(row.made_by),
        )  # fmt: skip


def plates(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """A car has but a few: all of them, one query."""
    for row in window.few(vehicle.registrations.select_related("made_by")):
        begun = "Registered as" if row.from_on else "Written down: bears the plate"
        yield Entry(
            at_day(row.from_on, row.made_at), row.pk, f"{begun} {row.plate}", row.country,
            by=str(row.made_by),
        )  # fmt: skip


def plates_ended(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.few(vehicle.registrations.filter(until_on__isnull=False)):
        yield Entry(at_day(row.until_on, row.made_at), row.pk, f"No longer {row.plate}", row.country)


def numbers(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.rows(vehicle.identity_readings.select_related("made_by")):
        told = row.number or f"not readable: {row.not_readable_because}"
        if row.number and vehicle.number and row.number != vehicle.number:
            told += ", differs from the number on record"
        yield Entry(
            row.made_at, row.pk, f"Number read: {row.get_source_display().lower()}", told, by=str(row.made_by)
        )


def people(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """A car has some dozens of these at most: all of them, one query."""
    for row in window.few(vehicle.keepers.select_related("keeper", "made_by")):
        yield Entry(
            at_day(row.from_on, row.made_at), row.pk, f"{row.keeper}: {row.get_part_display().lower()}",
            "" if row.from_on else "since when was not said", row.keeper.get_absolute_url(), by=str(row.made_by),
        )  # fmt: skip


def people_ended(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.few(vehicle.keepers.filter(until_on__isnull=False).select_related("keeper")):
        yield Entry(
            at_day(row.until_on, row.made_at), row.pk,
            f"{row.keeper}: no longer {row.get_part_display().lower()}", url=row.keeper.get_absolute_url(),
        )  # fmt: skip


def taken_on(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """No query but one for the name."""
    yield Entry(vehicle.made_at, vehicle.pk, "The car was taken on record", by=str(vehicle.made_by))


def photos(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Attachment.objects.shown().filter(vehicle=vehicle).select_related("made_by", "job")
    for row in window.rows(rows):
        yield Entry(
            row.made_at, row.pk, row.caption or row.get_kind_display(), url=row.get_absolute_url(),
            by=str(row.made_by), job=row.job, photo=row,
        )  # fmt: skip


def past_work(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """Stands where it was done, which may be years before it was written down."""
    rows = vehicle.past_work.filter(entered_in_error="").select_related("odometer__instrument", "made_by")
    for row in window.few(rows):
        told = [row.day_words if row.day_known != "day" else "", row.text, row.who_did, row.source]
        yield Entry(
            at_day(row.done_on, row.made_at), row.pk, row.title, " · ".join(filter(None, told)),
            row.get_absolute_url(), by=f"written down by {row.made_by}", figure=str(row.odometer or ""),
        )  # fmt: skip


def _of_fault(way: str = "") -> dict[str, str]:
    return {"system": f"{way}place__zone", "severity": f"{way}severity"}


# Who did it, the system and the severity, where a source has one: see `timeline.Source`.
WAYS: dict[str, dict[str, str]] = {
    "fault-reported": {"person": "made_by", **_of_fault()},
    "fault-step": {"person": "made_by", **_of_fault("fault__")},
    "fault-code": {"person": "made_by", **_of_fault("fault__")},
    "drain-test": {"person": "made_by", **_of_fault("fault__")},
    "fault-possible": {"person": "made_by", **_of_fault("fault__")},
    "fault-possible-found": {"person": "made_by", **_of_fault("possibility__fault__")},
    "fault-ended": {"person": "ended_by", **_of_fault()},
    "item-raised": {"person": "made_by", **_of_fault()},
    "item-told": {"person": "made_by", **_of_fault("item__")},
    "item-ended": {"person": "ended_by_line__technician", **_of_fault()},
    "part-on": {"person": "made_by", "system": "place__zone"},
    "part-found": {"person": "made_by", "system": "place__zone"},
    "part-off": {"person": "removed_by_line__technician", "system": "place__zone"},
    "survey": {"person": "finished_by"},
    "photo": {"person": "made_by", "system": "place__zone"},
    **{
        name: {"person": "made_by"}
        for name in ("fault-cause", "reading", "instrument", "plate", "number", "people", "past-work")
    },
}

for name, kind, label, gather in (
    ("fault-reported", "fault", "Faults", faults_reported),
    ("fault-step", "fault", "Faults", steps),
    ("fault-code", "fault", "Faults", codes),
    ("drain-test", "fault", "Faults", drain_tests),
    ("fault-possible", "fault", "Faults", possibilities),
    ("fault-possible-found", "fault", "Faults", possibility_findings),
    ("fault-cause", "fault", "Faults", causes),
    ("fault-ended", "fault", "Faults", faults_ended),
    ("item-raised", "outstanding", "Outstanding", items_raised),
    ("item-told", "outstanding", "Outstanding", items_told),
    ("item-ended", "outstanding", "Outstanding", items_ended),
    ("part-on", "part", "Parts", parts_on),
    ("part-found", "part", "Parts", parts_found),
    ("part-off", "part", "Parts", parts_off),
    ("survey", "survey", "Surveys", surveys),
    ("reading", "odometer", "Odometer", readings),
    ("instrument", "odometer", "Odometer", instruments),
    ("plate", "identity", "Plates and numbers", plates),
    ("plate-ended", "identity", "Plates and numbers", plates_ended),
    ("number", "identity", "Plates and numbers", numbers),
    ("taken-on", "identity", "Plates and numbers", taken_on),
    ("people", "people", "People", people),
    ("people-ended", "people", "People", people_ended),
    ("photo", "photo", "Photos and papers", photos),
    ("past-work", "past-work", "Past work", past_work),
):
    add_source(Source(name, kind, label, gather, **WAYS.get(name, {})))
