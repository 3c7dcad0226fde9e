"""The words for a run, on the screens and on the sheet: readings, limits, verdicts, tools, second checks."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils import timezone
from django.utils.formats import date_format

from jobs import through
from jobs.models import SecondCheck, TorqueReading
from jobs.models.procedure import LimitKind
from jobs.models.torque import SAME_MINUTE, ReadingKind, ReadingVerdict
from workshop.engineering.units import BASE, UNITS, Amount, rounded, show, with_label
from workshop.engineering.verdict import DecisionRule, Limits, judge

if TYPE_CHECKING:
    from jobs.run_state import StepState

# What a reading shows besides its verdict.
FLAGS = {
    "not_counting": "does not count",
    "below": "below",
    "above": "above, to be decided",
    "moved": "moved in the last round: once more",
}
CHECK_WORDS = {
    "none needed": "no second check needed",
    "missing": "second check missing",
    "valid": "second check valid",
    "lapsed": "second check lapsed: a newer reading was added",
    "failed": "second check found it not in order",
}


def reading_words(reading: TorqueReading) -> str:
    """A reading as a print says it: what a tool was set to is never shown as a measured value.

    Through an extension both are said: "set 98.6 N·m, clicked, through … = 110 N·m at the fastener".
    """
    said = _said(reading)
    if (taken := through.of_reading(reading)) is None:
        return said
    return f"{said}, {taken.words} = {show(Amount(reading.value, 'N.m'), reading.unit)} at the fastener"


def _said(reading: TorqueReading) -> str:
    value = "" if reading.typed is None else typed_words(reading.typed, reading.unit)
    match reading.kind:
        case ReadingKind.CLICKED:
            return f"set {value}, clicked"
        case ReadingKind.DID_NOT_MOVE:
            return f"set {value}, clicked at once, did not move"
        case ReadingKind.READ:
            return f"read {value}"
        case ReadingKind.ANGLE:
            how = reading.get_angle_by_display().lower()
            return f"turned {value} ({how})"
        case ReadingKind.LOOSENED:
            return "loosened"
        case ReadingKind.NOT_DONE:
            return f"taken back: {_begun_small(reading.redo_reason)}" if reading.redo_reason else "taken back"
    return f"measured {value}"


def _begun_small(text: str) -> str:
    """Within a sentence: "Tapped by mistake" goes on small, "TW-03 was another one" does not."""
    return text if text[:2].isupper() or not text[1:2].isalpha() else text[0].lower() + text[1:]


def times_words(reading: TorqueReading, *, sent: bool = False) -> str:
    """When a reading was done and when it came onto the record, where these are not one: "written down at 14:20,
    done 13:55". `sent`: the device kept it until it could send it.
    """
    done, written = timezone.localtime(reading.made_at), timezone.localtime(reading.received_at)
    if written - done < SAME_MINUTE:
        return ""
    at = "H:i" if done.date() == written.date() else "j M H:i"
    if reading.corrects_id:
        return f"put right at {date_format(written, at)}"
    if sent:
        return f"kept on the tablet at {date_format(done, at)}, sent at {date_format(written, at)}"
    return f"written down at {date_format(written, at)}, done {date_format(done, at)}"


def typed_words(value: Decimal, unit: str) -> str:
    """With the digits that were typed, without the zeros that the database adds."""
    text = format(value, "f")
    return with_label(text.rstrip("0").rstrip(".") if "." in text else text, unit)


def limits_words(reading: TorqueReading, unit: str | None = None) -> str:
    """The limits that the reading was judged with, in the unit it was typed in."""
    unit = unit or reading.unit

    def shown(value: Decimal) -> str:
        return show(Amount(value, BASE[UNITS[unit].dimension]).to(unit))

    if reading.limit_low is None and reading.limit_high is None:
        return "no limit"
    if reading.limit_low is None:
        return f"at most {shown(reading.limit_high)}"
    if reading.limit_high is None:
        return f"at least {shown(reading.limit_low)}"
    return f"{shown(reading.limit_low)} to {shown(reading.limit_high)}"


def verdict_sentence(reading: TorqueReading) -> str:
    """Why the verdict is what it is, with the numbers it rests on, in the unit of the reading."""
    if reading.counts_not_because:
        then = (
            "It is above its limit all the same: loosen it and do it again with a tool that is in order, or replace it."
            if reading.verdict == ReadingVerdict.ABOVE
            else "Do it again with a tool that is in order."
        )
        return f"Does not count: {reading.counts_not_because} {then}"
    if reading.value is None or reading.verdict == ReadingVerdict.NO_LIMIT:
        return ""
    limits = Limits(reading.limit_low, reading.limit_high)
    if reading.kind == ReadingKind.RESULT or reading.value == 0:
        return f"Limits: {limits_words(reading)}."
    said = judge(
        reading.value,
        limits,
        reading.deviation_percent,
        DecisionRule(reading.rule),
        unit=BASE[UNITS[reading.unit].dimension],
        shown_in=reading.unit,
        **_worked_out(reading),
    ).sentence
    if reading.setting is not None:
        said = f"At the fastener: {said}"
    if reading.kind == ReadingKind.DID_NOT_MOVE:
        said += " It did not move: it holds at least the set value."
        if limits.high is not None and reading.verdict == ReadingVerdict.NOT_PROVEN:
            said += " It may be tighter than the upper limit. Loosen it and tighten it again, or a lead accepts it."
    return said


def _worked_out(reading: TorqueReading) -> dict[str, int]:
    """A torque that is worked out from a setting has no more digits than a tool shows of its unit."""
    if reading.setting is None:
        return {}
    shown = rounded(Amount(reading.value, BASE["torque"]).to(reading.unit).value, reading.unit)
    return {"fewest_decimals": max(0, -shown.as_tuple().exponent)}


def tool_words(reading: TorqueReading) -> str:
    """The tool of a reading with the calibration that it was judged by."""
    if reading.tool is None:
        return ""
    row = reading.calibration
    if row is None:
        return f"{reading.tool}, no calibration on record"
    return (
        f"{reading.tool}, certificate {row.certificate} of {date_format(row.calibrated_on)}, "
        f"due {date_format(row.due_on)}, ±{row.deviation_percent.normalize():f} %"
    )


def check_words(check: SecondCheck) -> str:
    """A second check as a print says it: with what, what was found wrong, and whether it was made alone."""
    when = date_format(timezone.localtime(check.made_at), "j M Y H:i")
    alone = f", alone: {check.alone_because}" if check.alone_because else ""
    tool = f" with {check.tool.label}" if check.tool else ""
    found = f": not in order, {check.found}" if check.failed else ""
    return f"{check.get_method_display()}{tool}, {check.made_by}, {when}{alone}{found}"


def step_summary(step: StepState) -> dict:
    """A step for the sheet: title, fasteners, the targets of its judged stages, verdicts, second check."""
    judged = [s for s in step.stages if any(t.limit != LimitKind.NONE for t in s.targets.values())]
    verdicts: dict[str, int] = {}
    for stage in step.stages:
        for one in stage.fasteners.values():
            if one.reading is not None:
                name = one.verdict_label.lower() if one.counts else "not counting"
                verdicts[name] = verdicts.get(name, 0) + 1
    check = step.valid_check if step.step.critical else None
    return {
        "title": step.step.title,
        "fasteners": step.step.fasteners,
        "stages": [
            {
                "name": stage.stage.name,
                "targets": [
                    f"{group}: {target.words}" if group else target.words
                    for group, target in stage.targets.items()
                ],
            }
            for stage in judged
        ],
        "verdicts": ", ".join(f"{count} {name}" for name, count in verdicts.items()),
        "check": check_words(check) if check else step.check_words,
        "checked_alone": bool(check and check.alone_because),
    }
