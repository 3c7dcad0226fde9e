"""Who may do what: roles × acts in one table. Views, acts and templates read the same one."""

from __future__ import annotations

from enum import StrEnum

from django.core.exceptions import PermissionDenied
from django.db import models


class Role(models.TextChoices):
    """A person may hold several: in a small shop one person is owner, lead and technician."""

    TECHNICIAN = "technician", "Technician"
    LEAD = "lead", "Lead technician"
    FRONT_DESK = "front_desk", "Front desk"
    SHOP_OWNER = "shop_owner", "Shop owner"
    VEHICLE_OWNER = "vehicle_owner", "Vehicle owner"


STAFF = frozenset({Role.TECHNICIAN, Role.LEAD, Role.FRONT_DESK, Role.SHOP_OWNER})
_LEADS = frozenset({Role.LEAD, Role.SHOP_OWNER})
_HANDS = frozenset({Role.TECHNICIAN, Role.LEAD, Role.SHOP_OWNER})
_DESK = frozenset({Role.FRONT_DESK, Role.LEAD, Role.SHOP_OWNER})
_OWNER = frozenset({Role.SHOP_OWNER})


class May(StrEnum):
    """One thing that a person may do. The value is how a refusal words it: "You may not <value>"."""

    # seeing
    SEE_OWN_CARS = "see your own cars"
    SEE_SHOP = "see the shop's cars and jobs"
    SEE_PEOPLE = "see the shop's people and settings"
    SEE_LOG = "see the event log"
    # vehicles
    EDIT_VEHICLE = "write down what a car is"
    EDIT_KEEPERS = "write down keepers and owners"
    SHARE = "make and end links to a car's history"
    RECORD_ODOMETER = "record an odometer reading"
    REPLACE_INSTRUMENT = "record an instrument replacement"
    SURVEY = "survey a car and record its parts"
    EDIT_FIGURES = "write down figures of cars, parts and data sheets"
    KEEP_RESULT = "keep the result of a calculation"
    EDIT_PLACES = "add places to the shop's list"
    REPORT_FAULT = "report a fault"
    DIAGNOSE = "examine a fault"
    END_FAULT = "end a fault"
    OUTSTANDING = "raise or end an outstanding item"
    TELL_OWNER = "record what the owner was told"
    RECORD_DUE = "record services and roadworthiness tests"
    OWN_DUE = "have a calendar address of your own"
    # photos and documents
    SEE_FILES = "see a car's photos and documents"
    ADD_FILES = "add photos and documents"
    SET_FILES_ASIDE = "set a photo or document aside"
    REPORT_DAMAGE = "report damage done in the shop"
    SETTLE_DAMAGE = "say how damage done in the shop was settled"
    # jobs
    BOOK = "book a job"
    CHECK_IN = "check a car in"
    MOVE_JOB = "move a job"
    CANCEL_JOB = "cancel a job"
    EDIT_LINE = "write a work line"
    ESTIMATE = "estimate a work line"
    RECORD_ANSWER = "record the owner's answer"
    ANSWER_OWN = "answer for your own car"
    LABOUR = "record labour"
    FINISH_LINE = "say that a work line is done, or reopen it"
    FIT_PARTS = "fit and remove parts"
    MEASURE = "record a measurement"
    TAG = "set a not-to-be-moved tag"
    LIFT_TAG = "lift a not-to-be-moved tag"
    ROAD_TEST = "record a road test"
    FINAL_CHECK = "make the final check"
    ISOLATE = "isolate and re-energise high voltage"
    # tightening
    EDIT_PROCEDURE = "write and release procedures"
    RUN_PROCEDURE = "run a procedure and record readings"
    SECOND_CHECK = "make a second check"
    DISPOSITION = "decide about a reading above its limit"
    EDIT_TOOLS = "write down torque tools and calibrations"
    DROP_TOOL = "report a dropped or damaged tool"
    # closing
    WAIVE = "waive a blocker"
    CALL_READY = "call a car ready"
    HAND_OVER = "hand a car over"
    READ_SHEET = "read a handover sheet"
    ISSUE_PRINT = "issue a numbered print"
    REVISE_SHEET = "issue a corrected sheet"
    # the house
    REVOKE_DEVICE = "revoke a device"
    EDIT_PEOPLE = "change people and their roles"
    EDIT_SHOP = "change the shop's settings"
    ERASE = "erase personal words"
    TAKE_IN = "take in records from elsewhere"
    TAKE_ALONG = "hand out everything about a car"
    EMERGENCY = "use the emergency pages"


TABLE: dict[May, frozenset[Role]] = {
    May.SEE_OWN_CARS: frozenset({Role.VEHICLE_OWNER}),
    May.SEE_SHOP: STAFF,
    May.SEE_PEOPLE: _LEADS,
    May.SEE_LOG: _LEADS,
    May.EDIT_VEHICLE: STAFF,
    May.EDIT_KEEPERS: _DESK,
    May.SHARE: _DESK | {Role.VEHICLE_OWNER},
    May.RECORD_ODOMETER: STAFF,
    May.REPLACE_INSTRUMENT: _HANDS,
    May.SURVEY: _HANDS,
    May.EDIT_FIGURES: _HANDS,
    May.KEEP_RESULT: _HANDS,
    May.EDIT_PLACES: _LEADS,
    May.REPORT_FAULT: STAFF,
    May.DIAGNOSE: _HANDS,
    May.END_FAULT: _HANDS,
    May.OUTSTANDING: _HANDS,
    May.TELL_OWNER: STAFF,
    May.RECORD_DUE: STAFF,
    May.OWN_DUE: STAFF | {Role.VEHICLE_OWNER},
    May.SEE_FILES: STAFF | {Role.VEHICLE_OWNER},
    May.ADD_FILES: STAFF,
    May.SET_FILES_ASIDE: _LEADS,
    May.REPORT_DAMAGE: STAFF,
    May.SETTLE_DAMAGE: _LEADS,
    May.BOOK: STAFF,
    May.CHECK_IN: STAFF,
    May.MOVE_JOB: _HANDS,
    May.CANCEL_JOB: _DESK,
    May.EDIT_LINE: STAFF,
    May.ESTIMATE: STAFF,
    May.RECORD_ANSWER: _DESK,
    May.ANSWER_OWN: frozenset({Role.VEHICLE_OWNER}),
    May.LABOUR: _HANDS,
    May.FINISH_LINE: _HANDS,
    May.FIT_PARTS: _HANDS,
    May.MEASURE: _HANDS,
    May.TAG: STAFF,
    May.LIFT_TAG: _HANDS,
    May.ROAD_TEST: _HANDS,
    May.FINAL_CHECK: _HANDS,
    May.ISOLATE: _HANDS,
    May.EDIT_PROCEDURE: _LEADS,
    May.RUN_PROCEDURE: _HANDS,
    May.SECOND_CHECK: _HANDS,
    May.DISPOSITION: _LEADS,
    May.EDIT_TOOLS: _LEADS,
    May.DROP_TOOL: _HANDS,
    May.WAIVE: _LEADS,
    May.CALL_READY: _LEADS,
    May.HAND_OVER: _LEADS,
    May.ISSUE_PRINT: STAFF,
    May.READ_SHEET: STAFF | {Role.VEHICLE_OWNER},
    May.REVISE_SHEET: _LEADS,
    May.REVOKE_DEVICE: _LEADS,
    May.EDIT_PEOPLE: _OWNER,
    May.EDIT_SHOP: _OWNER,
    May.ERASE: _OWNER,
    May.TAKE_IN: _LEADS,
    May.TAKE_ALONG: _DESK,
    May.EMERGENCY: _OWNER,
}


def allowed(person, may: May) -> bool:
    """Reads the person's roles: one query unless they are loaded (the sign-in backend loads them)."""
    return bool(getattr(person, "is_active", False)) and bool(TABLE[may] & person.roles)


def require(person, may: May) -> None:
    """Refuse in words when the person may not."""
    if not allowed(person, may):
        who = ", ".join(sorted(role.label.lower() for role in TABLE[may]))
        raise PermissionDenied(f"You may not {may.value}. These roles may: {who}.")
