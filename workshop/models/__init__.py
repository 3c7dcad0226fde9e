from workshop.models.base import Record, Versioned
from workshop.models.erasing import Erasing
from workshop.models.events import Event, EventDetail, LogHead, Submission
from workshop.models.people import (
    Competence,
    CompetenceKind,
    Device,
    Person,
    PinLock,
    RoleHeld,
    SignInTry,
    TriedWith,
)
from workshop.models.shop import Counter, Shop
from workshop.models.tools import Calibration, ToolFailure, TorqueTool

__all__ = [
    "Calibration",
    "Competence",
    "CompetenceKind",
    "Counter",
    "Device",
    "Erasing",
    "Event",
    "EventDetail",
    "LogHead",
    "Person",
    "PinLock",
    "Record",
    "RoleHeld",
    "Shop",
    "SignInTry",
    "Submission",
    "ToolFailure",
    "TorqueTool",
    "TriedWith",
    "Versioned",
]
