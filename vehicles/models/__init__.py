from vehicles.models.archive import ArchiveImport, Flavour, ForeignEvent
from vehicles.models.calculation import Calculation
from vehicles.models.datasheet import DataSheet, Figure, FigureSource, SheetOfVehicle
from vehicles.models.drain import DrainStep, DrainTest
from vehicles.models.due import (
    DueMail,
    DueReader,
    FeedAddress,
    MaintenanceDone,
    MaintenanceInterval,
    RoadworthinessResult,
    RoadworthinessTest,
)
from vehicles.models.fault import (
    DiagnosisStep,
    Fault,
    FaultCode,
    FaultEnd,
    Possibility,
    PossibilityFinding,
    RootCause,
    Severity,
)
from vehicles.models.issued import IssuedPrint, IssuedText, PrintKind
from vehicles.models.keeper import Keeper, KeeperPart, VehicleKeeper
from vehicles.models.odometer import Instrument, OdometerReading
from vehicles.models.outstanding import OutstandingItem, Telling
from vehicles.models.part import Confidence, Evidence, FittedPart, Place, Provenance, Zone
from vehicles.models.past_work import DayKnown, PastWork
from vehicles.models.photo import Angle, Attachment, AttachmentKind, Moment, Occasion
from vehicles.models.share import Opened, OpenedOn, Share, ShareEnd, ShareOpening, ShareState
from vehicles.models.spreadsheet import ListKind, ListState, SpreadsheetList
from vehicles.models.survey import Survey, SurveyEntry
from vehicles.models.vehicle import IdentityReading, Registration, Vehicle
from vehicles.models.words import Words, WordsDue

__all__ = [
    "Angle",
    "ArchiveImport",
    "Attachment",
    "AttachmentKind",
    "Calculation",
    "Confidence",
    "DataSheet",
    "DayKnown",
    "DiagnosisStep",
    "DrainStep",
    "DrainTest",
    "DueMail",
    "DueReader",
    "Evidence",
    "Fault",
    "FaultCode",
    "FaultEnd",
    "FeedAddress",
    "Figure",
    "FigureSource",
    "FittedPart",
    "Flavour",
    "ForeignEvent",
    "IdentityReading",
    "Instrument",
    "IssuedPrint",
    "IssuedText",
    "Keeper",
    "KeeperPart",
    "ListKind",
    "ListState",
    "MaintenanceDone",
    "MaintenanceInterval",
    "Moment",
    "Occasion",
    "OdometerReading",
    "Opened",
    "OpenedOn",
    "OutstandingItem",
    "PastWork",
    "Place",
    "Possibility",
    "PossibilityFinding",
    "PrintKind",
    "Provenance",
    "Registration",
    "RoadworthinessResult",
    "RoadworthinessTest",
    "RootCause",
    "Severity",
    "Share",
    "ShareEnd",
    "ShareOpening",
    "ShareState",
    "SheetOfVehicle",
    "SpreadsheetList",
    "Survey",
    "SurveyEntry",
    "Telling",
    "Vehicle",
    "VehicleKeeper",
    "Words",
    "WordsDue",
    "Zone",
]
