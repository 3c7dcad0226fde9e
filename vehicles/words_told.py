"""Which words of this room, and of the house below, are kept to be searched, and which are not and why."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.urls import reverse

from vehicles.models import (
    ArchiveImport,
    Attachment,
    Calculation,
    DataSheet,
    DiagnosisStep,
    DrainStep,
    DrainTest,
    DueMail,
    Evidence,
    Fault,
    FaultCode,
    FeedAddress,
    Figure,
    FittedPart,
    ForeignEvent,
    IdentityReading,
    Instrument,
    IssuedPrint,
    IssuedText,
    Keeper,
    MaintenanceDone,
    MaintenanceInterval,
    OdometerReading,
    OutstandingItem,
    PastWork,
    Place,
    Possibility,
    PossibilityFinding,
    Registration,
    RoadworthinessTest,
    RootCause,
    Share,
    ShareOpening,
    SheetOfVehicle,
    SpreadsheetList,
    Survey,
    SurveyEntry,
    Telling,
    Vehicle,
    Words,
    WordsDue,
)
from vehicles.words import Told, add_kind, leave_out, tell
from workshop.models import (
    Calibration,
    Competence,
    Counter,
    Device,
    Erasing,
    Event,
    EventDetail,
    LogHead,
    OneTimePass,
    Person,
    Shop,
    SignInTry,
    Submission,
    ToolFailure,
    TorqueTool,
)

NOT_WORDS = "a unit, code or key, not words"
FOLDED = "a folded copy of other columns"
HASH = "a hash, token or file name"
OF_THE_LOG = "the log is read by leads alone, on its own page; what was said stands in the record itself"
OF_PEOPLE = "of the people of the shop: read by leads alone, on their pages"
FOUND_BY_NAME = "found by the search box itself, by name, number or plate"

KINDS = (
    ("fault", "Faults"),
    ("outstanding", "Outstanding"),
    ("part", "Parts"),
    ("survey", "Surveys"),
    ("odometer", "Odometer"),
    ("identity", "What the car is"),
    ("photo", "Photos and papers"),
    ("figure", "Figures and data sheets"),
    ("calculation", "Calculations"),
    ("due", "Services and tests"),
    ("past-work", "Past work"),
    ("sheet", "Sheets and prints"),
    ("tool", "Torque tools"),
)


def _at(name: str, key: str) -> Callable[[Any], str]:
    """The page of what the column points at."""
    return lambda row: reverse(name, args=[getattr(row, key)])


_car = _at("vehicles:vehicle", "vehicle_id")
_fault = _at("vehicles:fault", "fault_id")


def _own(row: Any) -> str:
    return row.get_absolute_url()


def _faults() -> None:
    of_fault = {"vehicle": "fault.vehicle", "system": "fault.place.zone", "severity": "fault.severity"}
    its = {"kind": "fault", "system": "place.zone", "severity": "severity"}
    tell(Told(Fault, fields=("title", "words", "conditions"), title=lambda row: f"Fault {row.number}",
              url=_own, **its))  # fmt: skip
    tell(Told(Fault, part="ended", fields=("check_made", "tried", "normal_source", "error_reason"),
              at="ended_at", person="ended_by", title=lambda row: f"Fault {row.number}, how it ended", url=_own,
              **its))  # fmt: skip
    tell(
        Told(RootCause, "fault", ("description",), lambda row: "Cause", _at("vehicles:faults", "vehicle_id"))
    )
    tell(Told(FaultCode, "fault", ("code", "control_unit"),
              lambda row: f"Trouble code, fault {row.fault.number}", _fault, **of_fault))  # fmt: skip
    tell(Told(DiagnosisStep, "fault", ("tried", "seen"), lambda row: f"Step on fault {row.fault.number}", _fault,
              **of_fault))  # fmt: skip
    tell(Told(Possibility, "fault", ("what",), lambda row: f"Possible cause of fault {row.fault.number}", _fault,
              **of_fault))  # fmt: skip
    tell(Told(
        PossibilityFinding, "fault", ("because",),
        lambda row: f"Finding on a possible cause of fault {row.possibility.fault.number}",
        lambda row: reverse("vehicles:fault", args=[row.possibility.fault_id]), vehicle="possibility.fault.vehicle",
        system="possibility.fault.place.zone", severity="possibility.fault.severity",
    ))  # fmt: skip
    tell(Told(DrainTest, "fault", ("limit_words", "conclusion"), lambda row: "Test of the current at rest", _own,
              system="fault.place.zone"))  # fmt: skip
    tell(Told(DrainStep, "fault", ("circuit", "remark"), lambda row: "Reading of a test of the current at rest",
              _at("vehicles:drain", "test_id"), vehicle="test.vehicle",
              system="test.fault.place.zone"))  # fmt: skip
    leave_out(Fault, FOLDED, "search_text")
    leave_out(DiagnosisStep, NOT_WORDS, "unit")
    leave_out(DrainTest, NOT_WORDS)
    leave_out(DrainStep, NOT_WORDS)


def _outstanding() -> None:
    its = {"kind": "outstanding", "system": "place.zone", "severity": "severity"}
    tell(Told(OutstandingItem, fields=("title", "detail"), title=lambda row: f"Outstanding {row.number}", url=_own,
              **its))  # fmt: skip
    tell(Told(OutstandingItem, part="ended", fields=("ended_finding", "left_words"), at="ended_at",
              person="ended_by_line.technician", title=lambda row: f"Outstanding {row.number}, how it ended", url=_own,
              **its))  # fmt: skip
    tell(Told(Telling, "outstanding", ("told", "answer_words"), lambda row: f"Told of {row.item.number}",
              _at("vehicles:outstanding", "item_id"), vehicle="item.vehicle", system="item.place.zone",
              severity="item.severity"))  # fmt: skip
    leave_out(OutstandingItem, FOLDED, "search_text")
    leave_out(OutstandingItem, NOT_WORDS, "due_km_unit")


def _parts() -> None:
    tell(Told(
        FittedPart, "part",
        ("description", "part_number", "condition_note", "factory_fits", "follows", "whereabouts_note", "entered_in_error"),
        lambda row: f"Part, {row.where}" if row.place_id else "Part", _own, at="fitted_at", system="place.zone",
        reads=("position",),
    ))  # fmt: skip
    tell(Told(Evidence, "part", ("what",), lambda row: "Evidence on a part", _at("vehicles:part", "part_id"),
              vehicle="part.vehicle", system="part.place.zone"))  # fmt: skip
    tell(Told(Survey, "survey", ("summary",), lambda row: "Survey, summary", _own, at="finished_at",
              person="finished_by|made_by"))  # fmt: skip
    tell(Told(SurveyEntry, "survey", ("note",), lambda row: "Survey, note", _at("vehicles:survey", "survey_id"),
              vehicle="survey.vehicle", system="place.zone"))  # fmt: skip
    leave_out(FittedPart, NOT_WORDS, "best_evidence")
    leave_out(Place, "a list to choose from, not what was written about a car")


def _what_the_car_is() -> None:
    tell(Told(
        Vehicle, "identity",
        ("make", "model", "variant", "body", "colour", "engine_number", "number_unknown_because", "notes"),
        lambda row: "What the car is", _own, vehicle="",
    ))  # fmt: skip
    tell(Told(IdentityReading, "identity", ("number", "not_readable_because", "place"),
              lambda row: "Number read off the car", _car))  # fmt: skip
    odometer = _at("vehicles:odometer", "vehicle_id")
    tell(Told(Instrument, "odometer", ("replaced_because", "estimate_note", "notice"),
              lambda row: f"Instrument {row.order}", odometer))  # fmt: skip
    tell(Told(OdometerReading, "odometer",
              ("not_readable_because", "lower_because", "falsified_by", "misread_because"),
              lambda row: "Odometer reading", odometer, at="read_at"))  # fmt: skip
    leave_out(Vehicle, FOUND_BY_NAME, "number", "identity_key")
    leave_out(Vehicle, "what the app asked about the number", "number_questions")
    leave_out(Vehicle, FOLDED, "search_text")
    leave_out(Registration, FOUND_BY_NAME)
    leave_out(Keeper, FOUND_BY_NAME)


def _figures() -> None:
    tell(Told(DataSheet, "figure", ("name", "note"), lambda row: "Data sheet", _own, vehicle=""))
    tell(Told(SheetOfVehicle, "figure", ("because",), lambda row: "Which data sheet holds", _car))
    tell(Told(Figure, "figure", ("text", "source_words", "because", "withdrawn_because"), lambda row: f"Figure, {row.name}",
              _of_figure, vehicle="vehicle|part.vehicle", system="part.place.zone"))  # fmt: skip
    leave_out(Figure, NOT_WORDS, "key_of_item", "unit")
    tell(Told(Calculation, "calculation", ("said", "entered_in_error"), lambda row: "Calculation", _own))
    leave_out(Calculation, "the kept figures, under a hash; what they say stands in “said”", "record")
    leave_out(Calculation, NOT_WORDS, "calculator", "digest")


def _of_figure(row: Figure) -> str:
    if row.sheet_id:
        return reverse("vehicles:data-sheet", args=[row.sheet_id])
    if row.part_id:
        return reverse("vehicles:part", args=[row.part_id])
    return reverse("vehicles:figures", args=[row.vehicle_id])


def _due() -> None:
    tell(Told(MaintenanceInterval, "due", ("title", "source_words", "because", "withdrawn_because"),
              lambda row: "Service interval", _at("vehicles:data-sheet", "sheet_id"), vehicle=""))  # fmt: skip
    tell(Told(MaintenanceDone, "due", ("elsewhere", "source_words", "entered_in_error"), lambda row: "Service done",
              _car, at="done_on"))  # fmt: skip
    tell(Told(RoadworthinessTest, "due", ("by_whom", "certificate", "deficiencies", "source_words", "entered_in_error"),
              lambda row: "Roadworthiness test", _car, at="done_on"))  # fmt: skip
    leave_out(MaintenanceInterval, NOT_WORDS, "line", "every_unit")
    leave_out(MaintenanceDone, NOT_WORDS, "line")
    leave_out(FeedAddress, HASH)
    leave_out(DueMail, "of a mail to one person, not of a car: what it told of stands in the records")
    tell(Told(PastWork, "past-work", ("title", "text", "who_did", "source", "entered_in_error"),
              lambda row: "Past work", _own, at="done_on"))  # fmt: skip


def _papers() -> None:
    tell(Told(Attachment, "photo", ("caption", "set_aside_because", "erased_because"),
              lambda row: row.get_kind_display(), _own, system="place.zone"))  # fmt: skip
    leave_out(Attachment, HASH, "file", "thumb", "media_type")
    tell(Told(IssuedPrint, "sheet", ("changes",), lambda row: "Numbered print", _car))
    leave_out(IssuedPrint, HASH)
    leave_out(
        IssuedText, "what was printed of the records, under a hash; the records themselves are searched"
    )
    leave_out(Share, "of one keeper's link to a car, not of the car")
    leave_out(ShareOpening, NOT_WORDS)
    leave_out(ArchiveImport, HASH)
    leave_out(ForeignEvent, OF_THE_LOG)
    leave_out(
        SpreadsheetList, "a list being taken in, read by leads alone; what it brought stands in the records"
    )


def _house() -> None:
    tell(Told(TorqueTool, "tool", ("label", "name", "serial", "withdrawn_because"), lambda row: "Torque tool", _own,
              vehicle=""))  # fmt: skip
    tool = _at("workshop:tool", "tool_id")
    tell(Told(Calibration, "tool", ("laboratory", "certificate", "note"), lambda row: "Calibration", tool,
              vehicle="", at="calibrated_on"))  # fmt: skip
    tell(Told(ToolFailure, "tool", ("what",), lambda row: "What happened to a tool", tool, vehicle=""))
    leave_out(TorqueTool, NOT_WORDS, "iso_class", "unit")
    leave_out(Shop, "the shop's settings")
    for model in (Event, EventDetail, LogHead, Submission):
        leave_out(model, OF_THE_LOG)
    for model in (Person, Competence, Device, SignInTry):
        leave_out(model, OF_PEOPLE)
    leave_out(OneTimePass, HASH)
    leave_out(Counter, NOT_WORDS)
    leave_out(Erasing, "empty but while a person is erased")
    leave_out(Words, "this is what is searched")
    leave_out(WordsDue, "empty but inside an act")


def register() -> None:
    for code, label in KINDS:
        add_kind(code, label)
    for part in (_faults, _outstanding, _parts, _what_the_car_is, _figures, _due, _papers, _house):
        part()
