from workshop.models.base import Record, Versioned
from workshop.models.erasing import Erasing
from workshop.models.events import Event, EventDetail, LogHead, Submission
from workshop.models.passes import OneTimePass, PassEnd, PassWay
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
from workshop.models.undoing import Undoing

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
    "OneTimePass",
    "PassEnd",
    "PassWay",
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
    "Undoing",
    "Versioned",
]
