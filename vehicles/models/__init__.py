from vehicles.models.calculation import Calculation
from vehicles.models.datasheet import DataSheet, Figure, FigureSource, SheetOfVehicle
from vehicles.models.drain import DrainStep, DrainTest
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
from vehicles.models.keeper import Keeper, KeeperPart, VehicleKeeper
from vehicles.models.odometer import Instrument, OdometerReading
from vehicles.models.outstanding import OutstandingItem, Telling
from vehicles.models.part import Confidence, Evidence, FittedPart, Place, Provenance, Zone
from vehicles.models.photo import Angle, Attachment, AttachmentKind, Moment, Occasion
from vehicles.models.survey import Survey, SurveyEntry
from vehicles.models.vehicle import IdentityReading, Registration, Vehicle

__all__ = [
    "Angle",
    "Attachment",
    "AttachmentKind",
    "Calculation",
    "Confidence",
    "DataSheet",
    "DiagnosisStep",
    "DrainStep",
    "DrainTest",
    "Evidence",
    "Fault",
    "FaultCode",
    "FaultEnd",
    "Figure",
    "FigureSource",
    "FittedPart",
    "IdentityReading",
    "Instrument",
    "Keeper",
    "KeeperPart",
    "Moment",
    "Occasion",
    "OdometerReading",
    "OutstandingItem",
    "Place",
    "Possibility",
    "PossibilityFinding",
    "Provenance",
    "Registration",
    "RootCause",
    "Severity",
    "SheetOfVehicle",
    "Survey",
    "SurveyEntry",
    "Telling",
    "Vehicle",
    "VehicleKeeper",
    "Zone",
]
