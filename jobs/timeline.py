"""What jobs tell of a car's history: visits, work, answers, measurements, tightening, sheets, damage."""

from __future__ import annotations

from collections.abc import Iterator

from django.urls import reverse

from jobs.models import (
    CheckIn,
    Damage,
    FinalCheck,
    Handover,
    Isolation,
    JobMove,
    LineAnswer,
    Measurement,
    PartChange,
    RoadTest,
    Run,
    SecondCheck,
    SheetRevision,
    Tag,
    Waiver,
    WorkLine,
)
from jobs.models.part import ChangeKind
from jobs.states import JobState
from vehicles.models import Vehicle
from vehicles.timeline import Entry, Source, Window, add_source
from workshop.engineering.units import with_label
from workshop.forms.fields import plain_number


def booked(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.rows(vehicle.jobs.select_related("made_by")):
        told = f"“{row.complaint}”" if row.complaint else ""
        yield Entry(
            row.made_at, row.pk, f"Job {row.number} booked: {row.title}", told, row.get_absolute_url(),
            by=str(row.made_by), job=row,
        )  # fmt: skip


def checked_in(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = CheckIn.objects.filter(job__vehicle=vehicle).select_related("made_by", "job", "brought_by")
    for row in window.rows(rows):
        brought = f"brought by {row.brought_by}" if row.brought_by_id else ""
        told = filter(None, (brought, f"damage: {row.damage}", f"fuel: {row.get_fuel_display().lower()}"))
        yield Entry(
            row.made_at, row.pk, "Checked in", " · ".join(told), row.job.get_absolute_url(),
            by=str(row.made_by), job=row.job,
        )  # fmt: skip


_MOVES_TOLD_ELSEWHERE = (JobState.CHECKED_IN, JobState.HANDED_OVER, JobState.COLLECTED_UNFINISHED)


def moved(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = JobMove.objects.filter(job__vehicle=vehicle).exclude(to_state__in=_MOVES_TOLD_ELSEWHERE)
    for row in window.rows(rows.select_related("made_by", "job")):
        yield Entry(
            row.made_at, row.pk, row.get_to_state_display(), row.reason, row.job.get_absolute_url(),
            by=str(row.made_by), job=row.job,
        )  # fmt: skip


def handed_over(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Handover.objects.filter(job__vehicle=vehicle).select_related("made_by", "job", "collected_by")
    for row in window.rows(rows):
        unfinished = row.unfinished_because and f"unfinished: {row.unfinished_because}"
        told = filter(
            None, (f"to {row.collected_by}", row.get_left_how_display().lower(), unfinished, row.told)
        )
        yield Entry(
            row.made_at, row.pk, "Handed over", " · ".join(told), row.job.get_absolute_url(),
            by=str(row.made_by), job=row.job,
        )  # fmt: skip


def lines_done(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = WorkLine.objects.filter(job__vehicle=vehicle, done_at__isnull=False)
    for row in window.rows(rows.select_related("technician", "job"), "done_at"):
        told = filter(
            None, (row.cause and f"Cause: {row.cause}", row.correction and f"Done: {row.correction}")
        )
        yield Entry(
            row.done_at, row.pk, f"{row.complaint}", " · ".join(told), row.get_absolute_url(),
            by=str(row.technician or ""), job=row.job, checked=True,
        )  # fmt: skip


def answers(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = LineAnswer.objects.filter(line__job__vehicle=vehicle).select_related("by", "line__job")
    for row in window.rows(rows, "answered_at"):
        words = f" · “{row.words}”" if row.words else ""
        yield Entry(
            row.answered_at, row.pk, f"{row.get_answer_display()} by {row.by}: {row.line.complaint}",
            f"{row.get_channel_display()}{words}", row.line.get_absolute_url(), job=row.line.job,
        )  # fmt: skip


def measured(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Measurement.objects.counting().filter(line__job__vehicle=vehicle)
    for row in window.rows(rows.select_related("made_by", "line__job", "place")):
        where = row.place.with_position(row.position) if row.place_id else ""
        told = filter(None, (f"{row.get_phase_display().lower()} the work", where, row.get_verdict_display()))
        yield Entry(
            row.made_at, row.pk, f"Measured: {row.what}", " · ".join(told), row.line.get_absolute_url(),
            by=str(row.made_by), job=row.line.job, figure=with_label(str(plain_number(row.value)), row.unit),
        )  # fmt: skip


def parts_refitted(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """What came off and went on again: every other change stands in the parts' own dates."""
    rows = PartChange.objects.filter(line__job__vehicle=vehicle, kind=ChangeKind.REFITTED)
    for row in window.rows(rows.select_related("made_by", "line__job", "part_on__place")):
        yield Entry(
            row.made_at, row.pk, f"Removed and refitted: {row.part_on.description}",
            " · ".join(filter(None, (row.part_on.where, row.note))), row.part_on.get_absolute_url(),
            by=str(row.made_by), job=row.line.job,
        )  # fmt: skip


_RUN = ("version_used__procedure", "job", "made_by")


def runs_completed(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Run.objects.filter(job__vehicle=vehicle, completed_at__isnull=False).select_related(*_RUN)
    for row in window.rows(rows, "completed_at"):
        yield Entry(
            row.completed_at, row.pk, f"Tightened by procedure: {row}", str(row.version_used),
            row.get_absolute_url(), by=str(row.made_by), job=row.job, checked=True,
        )  # fmt: skip


def runs_stopped(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Run.objects.filter(job__vehicle=vehicle, abandoned_at__isnull=False).select_related(*_RUN)
    for row in window.rows(rows, "abandoned_at"):
        yield Entry(
            row.abandoned_at, row.pk, f"Tightening stopped: {row}", row.abandoned_because,
            row.get_absolute_url(), by=str(row.made_by), job=row.job,
        )  # fmt: skip


def second_checks(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = SecondCheck.objects.filter(run__job__vehicle=vehicle)
    for row in window.rows(
        rows.select_related("made_by", "step", "run__job", "run__version_used__procedure")
    ):
        yield Entry(
            row.made_at, row.pk, f"Second check: {row.step.title}",
            " · ".join(filter(None, (row.get_method_display(), row.get_result_display().lower(), row.found))),
            row.run.get_absolute_url(), by=str(row.made_by), job=row.run.job, checked=row.result == "in_order",
        )  # fmt: skip


def road_tests(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = RoadTest.objects.filter(job__vehicle=vehicle).select_related("made_by", "driver", "job")
    for row in window.rows(rows):
        told = f"{row.driven} · {row.found}" if row.driven else row.not_done_because
        yield Entry(
            row.made_at, row.pk, "Road test" if row.driven else "No road test", told,
            row.job.get_absolute_url(), by=str(row.driver or row.made_by), job=row.job,
            figure=row.distance_words,
        )  # fmt: skip


def final_checks(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = FinalCheck.objects.filter(job__vehicle=vehicle).select_related("made_by", "job")
    for row in window.rows(rows):
        yield Entry(
            row.made_at, row.pk, "Final check", f"new damage: {row.new_damage}", row.job.get_absolute_url(),
            by=str(row.made_by), job=row.job, checked=True,
        )  # fmt: skip


def tags_set(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.rows(Tag.objects.filter(vehicle=vehicle).select_related("made_by", "job")):
        yield Entry(
            row.made_at, row.pk, f"Tag set: {row.get_kind_display().lower()}", row.because,
            by=str(row.made_by), job=row.job,
        )  # fmt: skip


def tags_lifted(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Tag.objects.filter(vehicle=vehicle, lifted_at__isnull=False).select_related("lifted_by", "job")
    for row in window.rows(rows, "lifted_at"):
        yield Entry(
            row.lifted_at, row.pk, f"Tag lifted: {row.get_kind_display().lower()}", row.lifted_because,
            by=str(row.lifted_by), job=row.job,
        )  # fmt: skip


def isolations(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Isolation.objects.filter(vehicle=vehicle).select_related("isolated_by", "job")
    for row in window.rows(rows):
        yield Entry(
            row.made_at, row.pk, "High voltage isolated", f"{row.method} · proved dead: {row.proved_dead}",
            by=str(row.isolated_by), job=row.job,
        )  # fmt: skip


def re_energised(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Isolation.objects.filter(vehicle=vehicle, re_energised_at__isnull=False)
    for row in window.rows(rows.select_related("re_energised_by", "job"), "re_energised_at"):
        yield Entry(
            row.re_energised_at, row.pk, "High voltage switched on again", row.re_energised_note,
            by=str(row.re_energised_by), job=row.job,
        )  # fmt: skip


def waivers(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Waiver.objects.filter(job__vehicle=vehicle).select_related("made_by", "job")
    for row in window.rows(rows):
        yield Entry(
            row.made_at, row.pk, f"Waived: {row.text}", row.reason, row.job.get_absolute_url(),
            by=str(row.made_by), job=row.job,
        )  # fmt: skip


def sheets(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = (
        SheetRevision.objects.filter(job__vehicle=vehicle)
        .select_related("made_by", "job", "text")
        .defer("technical", "text__pdf", "text__personal")
    )
    for row in window.rows(rows):
        paper = None if row.text.erased_at else (reverse("jobs:sheet-pdf", args=[row.pk]), "PDF")
        yield Entry(
            row.made_at, row.pk, f"{row.get_kind_display()}, revision {row.revision}",
            " · ".join(filter(None, (row.change_note, f"hash {row.technical_hash[:8]}"))),
            row.get_absolute_url(), by=str(row.made_by), job=row.job, link=paper,
        )  # fmt: skip


def damages(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    for row in window.rows(Damage.objects.filter(vehicle=vehicle).select_related("found_by", "job")):
        yield Entry(
            row.made_at, row.pk, f"Damage in the workshop: {row}", row.what, row.get_absolute_url(),
            by=str(row.found_by), job=row.job,
        )  # fmt: skip


def damages_settled(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = Damage.objects.filter(vehicle=vehicle, settled_at__isnull=False)
    for row in window.rows(rows.select_related("settled_by", "job"), "settled_at"):
        yield Entry(
            row.settled_at, row.pk, f"{row}: {row.get_settled_display().lower()}", row.settled_words,
            row.get_absolute_url(), by=str(row.settled_by), job=row.job,
        )  # fmt: skip


# Who did it, and the system, where a source has one: see `timeline.Source`.
WAYS: dict[str, dict[str, str]] = {
    "line-done": {"person": "technician"},
    "line-refitted": {"person": "made_by", "system": "part_on__place__zone"},
    "measurement": {"person": "made_by", "system": "place__zone"},
    "job-road-test": {"person": "driver"},
    "tag-lifted": {"person": "lifted_by"},
    "isolation": {"person": "isolated_by"},
    "isolation-over": {"person": "re_energised_by"},
    "damage": {"person": "found_by"},
    "damage-settled": {"person": "settled_by"},
    **{
        name: {"person": "made_by"}
        for name in (
            *(
                "job-booked",
                "job-checked-in",
                "job-moved",
                "job-final-check",
                "job-waiver",
                "job-handed-over",
            ),
            *("line-answer", "run-completed", "run-stopped", "run-second-check", "tag-set", "sheet"),
        )
    },
}

for name, kind, label, gather in (
    ("job-booked", "job", "Visits", booked),
    ("job-checked-in", "job", "Visits", checked_in),
    ("job-moved", "job", "Visits", moved),
    ("job-road-test", "job", "Visits", road_tests),
    ("job-final-check", "job", "Visits", final_checks),
    ("job-waiver", "job", "Visits", waivers),
    ("job-handed-over", "job", "Visits", handed_over),
    ("line-done", "line", "Work", lines_done),
    ("line-answer", "line", "Work", answers),
    ("line-refitted", "part", "Parts", parts_refitted),
    ("measurement", "measurement", "Measurements", measured),
    ("run-completed", "run", "Tightening", runs_completed),
    ("run-stopped", "run", "Tightening", runs_stopped),
    ("run-second-check", "run", "Tightening", second_checks),
    ("tag-set", "tag", "Tags and isolation", tags_set),
    ("tag-lifted", "tag", "Tags and isolation", tags_lifted),
    ("isolation", "tag", "Tags and isolation", isolations),
    ("isolation-over", "tag", "Tags and isolation", re_energised),
    ("sheet", "sheet", "Sheets", sheets),
    ("damage", "damage", "Damage", damages),
    ("damage-settled", "damage", "Damage", damages_settled),
):
    add_source(Source(name, kind, label, gather, **WAYS.get(name, {})))
