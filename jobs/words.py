"""Which words of the jobs are kept to be searched, and which are not and why (see `vehicles.words`)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.urls import reverse

from jobs.models import (
    AngleNotPossible,
    CheckIn,
    Damage,
    DamageTelling,
    Disposition,
    FinalCheck,
    Handover,
    Isolation,
    Job,
    JobMove,
    LabourClock,
    LabourEntry,
    LineAnswer,
    Measurement,
    NewFasteners,
    PartChange,
    PartUsed,
    Pass,
    Procedure,
    ProcedureStage,
    ProcedureStep,
    ProcedureVersion,
    RoadTest,
    Run,
    SecondCheck,
    SheetRevision,
    SheetText,
    SignatureInk,
    SignOff,
    StageTarget,
    Tag,
    ThingOut,
    TorqueReading,
    Waiver,
    WorkLine,
)
from jobs.models.procedure import Area
from vehicles.models import Zone
from vehicles.words import Told, add_kind, leave_out, tell
from vehicles.words_told import HASH, NOT_WORDS

KINDS = (
    ("job", "Visits"),
    ("line", "Work"),
    ("measurement", "Measurements"),
    ("run", "Tightening"),
    ("tag", "Tags and isolation"),
    ("damage", "Damage"),
    ("procedure", "Procedures"),
)

# What a procedure tightens, as a system of the car. The suspension is of two axles: it names neither.
SYSTEMS = {
    Area.WHEELS: Zone.WHEELS,
    Area.BRAKES: Zone.BRAKES,
    Area.STEERING: Zone.FRONT_AXLE,
    Area.FUEL: Zone.INDUCTION,
    Area.ENGINE: Zone.ENGINE,
    Area.TRANSMISSION: Zone.TRANSMISSION,
    Area.RESTRAINTS: Zone.CABIN,
    Area.TOWING: Zone.REAR,
    Area.BODY: Zone.BODY,
    Area.ELECTRICAL: Zone.ELECTRICAL,
}
_SYSTEMS = {area.value: zone.value for area, zone in SYSTEMS.items()}


def _at(name: str, key: str) -> Callable[[Any], str]:
    return lambda row: reverse(name, args=[getattr(row, key)])


_job, _line, _run = _at("jobs:job", "job_id"), _at("jobs:line", "line_id"), _at("jobs:run", "run_id")


def _own(row: Any) -> str:
    return row.get_absolute_url()


def _of_job(model, kind: str, what: str, *fields: str, **more: Any) -> None:
    """What hangs on a job and is found on the job's page."""
    given = {"vehicle": "job.vehicle", "along": ("job",), "url": _job, **more}
    tell(Told(model, kind, fields, lambda row: f"{what}, job {row.job.number}", **given))


def _of_line(model, kind: str, what: str, *fields: str, **more: Any) -> None:
    given = {"vehicle": "line.job.vehicle", "along": ("line__job",), "url": _line, **more}
    tell(Told(model, kind, fields, lambda row: f"{what}, job {row.line.job.number}", **given))


def _of_run(model, what: str, *fields: str, **more: Any) -> None:
    given = {
        "vehicle": "run.job.vehicle",
        "along": ("run__job",),
        "url": _run,
        "system": "run.version_used.procedure.area",
        "systems": _SYSTEMS,
        **more,
    }
    tell(Told(model, "run", fields, lambda row: f"{what}, job {row.run.job.number}", **given))


def _jobs() -> None:
    tell(Told(Job, "job", ("title", "complaint", "waiting_note", "standing_at", "cancelled_because"),
              lambda row: f"Job {row.number}", _own))  # fmt: skip
    tell(Told(Job, "job", ("comeback_judgement",), lambda row: f"Comeback judged, job {row.number}", _own,
              part="judged", person="comeback_judged_by"))  # fmt: skip
    _of_job(CheckIn, "job", "Check-in", "keys_where", "belongings", "damage")
    _of_job(JobMove, "job", "Where the job went", "reason")
    _of_job(Pass, "job", "Passed on", "loose", "fasteners")
    _of_job(ThingOut, "job", "Left in or taken out of the car", "what", "where")
    _of_job(Waiver, "job", "Waiver", "text", "reason")
    _of_job(RoadTest, "job", "Road test", "driven", "found", "not_done_because")
    _of_job(FinalCheck, "job", "Final check", "new_damage", "note")
    _of_job(Handover, "job", "Handover", "identified_by", "collects_because", "keys_note", "told",
            "unfinished_because")  # fmt: skip
    _of_job(AngleNotPossible, "photo", "Photo not possible", "because")
    _of_job(SheetRevision, "sheet", "Handover sheet", "change_note", url=_own)
    leave_out(Waiver, NOT_WORDS, "blocker")
    leave_out(Job, NOT_WORDS, "origin")
    leave_out(SheetRevision, HASH, "token", "technical_hash", "personal_hash", "pdf_hash", "log_hash")
    printed = "what was printed of the records, under a hash; the records themselves are searched"
    leave_out(SheetRevision, printed, "technical")
    leave_out(SheetText, printed)
    leave_out(SignOff, HASH)
    leave_out(SignatureInk, "the lines of a drawing")


def _work() -> None:
    tell(Told(WorkLine, "line",
              ("complaint", "cause", "correction", "dropped_because", "told_owner_words", "told_late_because"),
              lambda row: f"Work, job {row.job.number}", _own, vehicle="job.vehicle", along=("job",),
              at="done_at", person="technician|made_by"))  # fmt: skip
    _of_line(LineAnswer, "line", "Answer to an estimate", "right", "words", at="answered_at")
    _of_line(LabourEntry, "line", "Labour", "note", "entered_in_error", person="person")
    _of_line(LabourClock, "line", "Clock", "not_counted_because", person="person")
    _of_line(PartUsed, "line", "Part used", "description", "part_number", "entered_in_error")
    _of_line(PartChange, "part", "Part changed", "note", system="part_on.place.zone")
    _of_line(Measurement, "measurement", "Measurement", "what", "limit_source", "instrument", "note",
             "entered_in_error", system="place.zone")  # fmt: skip
    leave_out(PartUsed, NOT_WORDS, "unit")
    leave_out(Measurement, NOT_WORDS, "unit")


def _tightening() -> None:
    tell(Told(Run, "run", ("where", "applies_confirmed", "abandoned_because"),
              lambda row: f"Tightening, job {row.job.number}", _own, vehicle="job.vehicle", along=("job",),
              system="version_used.procedure.area", systems=_SYSTEMS))  # fmt: skip
    _of_run(TorqueReading, "Torque reading", "counts_not_because", "redo_reason")
    _of_run(NewFasteners, "New fasteners", "what")
    _of_run(SecondCheck, "Second check", "found", "alone_because", "note")
    tell(Told(
        Disposition, "run", ("source", "reason"),
        lambda row: f"Decision on a reading, job {row.reading.run.job.number}",
        lambda row: reverse("jobs:run", args=[row.reading.run_id]), vehicle="reading.run.job.vehicle",
        system="reading.run.version_used.procedure.area", systems=_SYSTEMS,
    ))  # fmt: skip
    leave_out(TorqueReading, NOT_WORDS, "unit")


def _procedures() -> None:
    of_procedure = {"vehicle": "", "systems": _SYSTEMS}
    tell(Told(Procedure, "procedure", ("title", "applies_to", "withdrawn_because"), lambda row: "Procedure", _own,
              system="area", **of_procedure))  # fmt: skip
    tell(Told(ProcedureVersion, "procedure", ("source", "change_note", "cautions", "recheck_note"),
              lambda row: f"Procedure, version {row.number}", _own, system="procedure.area",
              **of_procedure))  # fmt: skip
    version = _at("jobs:procedure-version", "version_id")
    tell(Told(ProcedureStep, "procedure", ("title", "friction", "threadlocker", "questioned", "kept_because", "note"),
              lambda row: "Step of a procedure", version, at="version.made_at", person="version.made_by",
              system="version.procedure.area", **of_procedure))  # fmt: skip
    tell(Told(ProcedureStage, "procedure", ("name", "note"), lambda row: "Stage of a procedure",
              lambda row: reverse("jobs:procedure-version", args=[row.step.version_id]), at="step.version.made_at",
              person="step.version.made_by", system="step.version.procedure.area", **of_procedure))  # fmt: skip
    tell(Told(StageTarget, "procedure", ("group", "source"), lambda row: "Target of a procedure",
              lambda row: reverse("jobs:procedure-version", args=[row.stage.step.version_id]),
              at="stage.step.version.made_at", person="stage.step.version.made_by",
              system="stage.step.version.procedure.area", **of_procedure))  # fmt: skip
    leave_out(
        ProcedureStep, "the fasteners as they are drawn: numbers and letters", "points", "sequence", "groups"
    )
    leave_out(ProcedureStep, NOT_WORDS, "thread", "property_class")
    leave_out(StageTarget, NOT_WORDS, "unit")


def _tags_and_damage() -> None:
    its = {"along": ("job",)}
    tell(Told(Tag, "tag", ("because",), lambda row: row.get_kind_display(), _of_tag))
    tell(Told(Tag, "tag", ("lifted_because",), lambda row: f"{row.get_kind_display()}, lifted", _of_tag,
              part="lifted", at="lifted_at", person="lifted_by"))  # fmt: skip
    tell(Told(Isolation, "tag", ("method", "proved_dead", "locked_with"),
              lambda row: f"Isolation, job {row.job.number}", _job, person="isolated_by", **its))  # fmt: skip
    tell(Told(Isolation, "tag", ("re_energised_note",), lambda row: f"Switched on again, job {row.job.number}", _job,
              part="over", at="re_energised_at", person="re_energised_by", **its))  # fmt: skip
    tell(
        Told(Damage, "damage", ("where", "what"), lambda row: f"Damage {row.number}", _own, person="found_by")
    )
    tell(Told(Damage, "damage", ("settled_words",), lambda row: f"Damage {row.number}, how it was settled", _own,
              part="settled", at="settled_at", person="settled_by"))  # fmt: skip
    tell(Told(DamageTelling, "damage", ("told", "answered"), lambda row: f"Told of damage {row.damage.number}",
              _at("jobs:damage", "damage_id"), vehicle="damage.vehicle", person="told_by"))  # fmt: skip


def _of_tag(row: Tag) -> str:
    """A tag stands on the car, and on its job where it has one."""
    return (
        reverse("jobs:job", args=[row.job_id])
        if row.job_id
        else reverse("vehicles:vehicle", args=[row.vehicle_id])
    )


def register() -> None:
    for code, label in KINDS:
        add_kind(code, label)
    for part in (_jobs, _work, _tightening, _procedures, _tags_and_damage):
        part()
