"""Torque tools: taken on, calibrated, withdrawn, dropped. What a failed tool tightened is checked again."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils.formats import date_format

from workshop.acting import By, act, create, note, save_changes
from workshop.acting import note as say
from workshop.engineering.numbers import plain
from workshop.engineering.tools import TOOL_CLASSES, permissible_deviation
from workshop.engineering.units import Amount, show
from workshop.models import Calibration, ToolFailure, TorqueTool
from workshop.models.tools import FailureKind, ToolKind
from workshop.permissions import May
from workshop.tools_hooks import tool_failed


@act(May.EDIT_TOOLS)
def add_tool(
    *,
    by: By,
    label: str,
    name: str,
    kind: str,
    iso_class: str = "",
    serial: str = "",
    unit: str = "N.m",
    scale_low: Decimal | None = None,
    scale_high: Decimal | None = None,
) -> TorqueTool:
    """Take on a tool. Its label is the number that stands on it. A gauge has no scale and no class."""
    label = label.strip()
    if TorqueTool.objects.filter(label__iexact=label).exists():
        raise ValidationError(
            {"label": f"A tool numbered “{label}” is on record already. Give this one another."}
        )
    _check_class(kind, iso_class)
    if kind == ToolKind.ANGLE:
        scale_low = scale_high = None
    tool = create(
        TorqueTool(
            **by.stamp(),
            label=label,
            name=name.strip(),
            kind=kind,
            iso_class=iso_class,
            serial=serial.strip(),
            unit=unit,
            scale_low=scale_low,
            scale_high=scale_high,
        )
    )
    note(
        tool,
        facts={
            "label": label,
            "kind": kind,
            "class": iso_class,
            "serial": tool.serial,
            "unit": unit,
            "scale": [scale_low, scale_high],
        },
        words={"name": tool.name},
    )
    return tool


@act(May.EDIT_TOOLS)
def correct_tool(
    *,
    by: By,
    tool: TorqueTool,
    seen_version: int,
    reason: str,
    name: str,
    iso_class: str = "",
    serial: str = "",
) -> TorqueTool:
    """Correct what was written of a tool. Number, kind and scale stay: readings were judged by them."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why this is corrected."})
    _check_class(tool.kind, iso_class)
    changes = save_changes(
        tool, seen_version=seen_version, name=name.strip(), iso_class=iso_class, serial=serial.strip()
    )
    note(
        tool,
        facts={"changes": {key: changes[key] for key in changes if key != "name"}},
        words={"name": changes.get("name"), "reason": reason.strip()},
    )
    return tool


def _check_class(kind: str, iso_class: str) -> None:
    if not iso_class:
        return
    known = TOOL_CLASSES.get(iso_class)
    if known is None or kind == ToolKind.ANGLE:
        raise ValidationError(
            {"iso_class": "Choose a class of ISO 6789-1 that goes with the kind of tool; none for a gauge."}
        )
    if known.sets != (kind == ToolKind.SETTING):
        other = "sets a value and releases" if known.sets else "indicates a value"
        raise ValidationError(
            {"iso_class": f"{known.designation} {other}: choose the kind or the class anew."}
        )


@act(May.EDIT_TOOLS)
def add_calibration(
    *,
    by: By,
    tool: TorqueTool,
    calibrated_on: date,
    due_on: date,
    laboratory: str,
    certificate: str,
    deviation_percent: Decimal | None = None,
    range_low: Decimal | None = None,
    range_high: Decimal | None = None,
    passed: bool = True,
    note: str = "",
) -> Calibration:
    """Record a calibration. Without a deviation, the one that ISO 6789-1 permits the tool's class is taken.

    A failed one puts the tool out of use and raises re-checks of what it tightened since its last good one; a
    passed one puts a dropped or withdrawn tool back in use.
    """
    tool = TorqueTool.objects.select_for_update(no_key=True).get(pk=tool.pk)
    check_calibration_day(calibrated_on, by.day)
    if tool.kind == ToolKind.ANGLE:
        range_low = range_high = None
    check_range(tool, range_high)
    row = create(
        Calibration(
            **by.stamp(),
            tool=tool,
            calibrated_on=calibrated_on,
            due_on=due_on,
            laboratory=laboratory.strip(),
            certificate=certificate.strip(),
            deviation_percent=deviation_of(tool, deviation_percent),
            range_low=range_low,
            range_high=range_high,
            passed=passed,
            note=note,
        )
    )
    say(
        row,
        facts={
            "tool": tool.label,
            "certificate": row.certificate,
            "calibrated_on": calibrated_on,
            "due_on": due_on,
            "deviation_percent": row.deviation_percent,
            "passed": passed,
        },
        words={"laboratory": row.laboratory, "note": row.note},
    )
    if not passed:
        _fail(by, tool, FailureKind.FAILED, f"certificate {row.certificate}", calibrated_on)
    elif tool.withdrawn_at and tool.failure_on(by.day) is None:
        was = tool.withdrawn_because
        save_changes(tool, withdrawn_at=None, withdrawn_because="")
        say(tool, facts={"back_in_use": row.certificate}, words={"was_out_because": was})
    return row


def check_calibration_day(day: date, today: date) -> None:
    if day > today:
        raise ValidationError(
            {"calibrated_on": f"This day lies in the future: give {date_format(today)} or earlier."}
        )


def check_range(tool: TorqueTool, high: Decimal | None) -> None:
    if high is not None and high > tool.scale_high:
        top = show(Amount(tool.scale_high, tool.unit))
        raise ValidationError(
            {"range_high": f"The scale of {tool} ends at {top}: the certified range can't go above."}
        )


def deviation_of(tool: TorqueTool, given: Decimal | None) -> Decimal:
    if given is not None:
        return given
    if tool.kind == ToolKind.ANGLE:
        return Decimal(0)
    if not tool.iso_class:
        raise ValidationError(
            {"deviation_percent": "Give the deviation from the certificate: the tool has no class on record."}
        )
    return permissible_deviation(tool.iso_class, Amount(tool.scale_high, tool.unit).base())


@act(May.EDIT_TOOLS)
def withdraw_tool(*, by: By, tool: TorqueTool, reason: str, readings_doubted: bool = True) -> TorqueTool:
    """Take a tool out of use. Where its readings are in doubt, what it tightened is listed and checked
    again.
    """
    tool = _in_use(tool)
    if not reason.strip():
        raise ValidationError({"reason": "Say why the tool is withdrawn."})
    _withdraw(by, tool, reason)
    _fail(by, tool, FailureKind.WITHDRAWN, reason, by.day, doubted=readings_doubted)
    return tool


@act(May.DROP_TOOL)
def report_drop(*, by: By, tool: TorqueTool, what: str) -> TorqueTool:
    """A tool was dropped, overloaded or damaged: out of use until it is calibrated again, whoever reports
    it.
    """
    tool = _in_use(tool)
    if not what.strip():
        raise ValidationError({"what": "Say what happened to the tool."})
    _withdraw(by, tool, f"dropped or damaged: {what.strip()}")
    _fail(by, tool, FailureKind.DROPPED, what, by.day)
    return tool


def _in_use(tool: TorqueTool) -> TorqueTool:
    tool = TorqueTool.objects.select_for_update(no_key=True).get(pk=tool.pk)
    if tool.withdrawn_at:
        raise ValidationError(
            f"{tool} is out of use already since {date_format(tool.withdrawn_at)}: {tool.withdrawn_because}. "
            "A passed calibration puts it back."
        )
    return tool


def _withdraw(by: By, tool: TorqueTool, because: str) -> None:
    save_changes(tool, withdrawn_at=by.made_at, withdrawn_because=because.strip()[:200])


def _fail(by: By, tool: TorqueTool, kind: str, what: str, day: date, *, doubted: bool = True) -> ToolFailure:
    good = tool.last_good_calibration(before=day) if kind == FailureKind.FAILED else _last_good(tool, day)
    since = good.calibrated_on if good else None
    row = create(
        ToolFailure(
            **by.stamp(), tool=tool, kind=kind, what=what.strip()[:200], since=since, readings_doubted=doubted
        )
    )
    say(
        row,
        facts={"tool": tool.label, "kind": kind, "since": since, "doubted": doubted},
        words={"what": row.what},
    )
    if doubted:
        tool_failed(by, tool, since)
    return row


def _last_good(tool: TorqueTool, day: date) -> Calibration | None:
    """Dropped on the very day of its calibration: that one was still good when it was made."""
    rows = [row for row in tool.calibrations.all() if row.passed and row.calibrated_on <= day]
    return max(rows, key=lambda row: (row.calibrated_on, row.made_at), default=None)


def deviation_words(tool: TorqueTool) -> str:
    """What ISO 6789-1 permits the tool's class, for the form; empty without a class."""
    if not tool.iso_class or tool.scale_high is None:
        return ""
    top = Amount(tool.scale_high, tool.unit).base()
    return (
        f"{TOOL_CLASSES[tool.iso_class].designation}: ±{plain(permissible_deviation(tool.iso_class, top))} %"
    )
