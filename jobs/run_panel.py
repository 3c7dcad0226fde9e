"""What the run screen asks for at the place where the hand is, and all that its templates read.

`mode` names the panel beside the drawing: start (cautions), new (single-use fasteners), tool, set
(the wrench anew), enter, correct, undo (take the reading back), lead_only (a correction that only a lead makes), look (a fastener that has a
reading), check, decide, held, through, complete,
ended, read.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from jobs import angle_estimate, run_plan, tool_in_hand
from jobs import run_screen as screen
from jobs.forms import torque as forms
from jobs.models import Disposition, TorqueReading
from jobs.models.procedure import OrderOfWork, StageKind
from jobs.models.torque import AngleBy, ReadingKind, ReadingVerdict
from jobs.run_plan import WHY_BY_FLAG
from jobs.run_screen import Place
from jobs.run_state import AGAIN, FastenerState, RunState
from jobs.tool_in_hand import KEPT_TOOL
from workshop.engineering.units import Amount, show
from workshop.models import TorqueTool
from workshop.permissions import May

# The answers of a correction, on one line each.
SHORT = {
    ReadingKind.CLICKED: "Clicked",
    ReadingKind.DID_NOT_MOVE: "Did not move",
    ReadingKind.READ: "Read off",
    ReadingKind.ANGLE: "Turned",
    ReadingKind.LOOSENED: "Loosened",
    ReadingKind.RESULT: "Measured",
    ReadingKind.NOT_DONE: "Not done",
}
# Offered for a tap, so that nobody types them with gloves on; anything else may be written.
WHY_AGAIN = ("Checked once more", "Another tool", "Part was taken off again")
WHY_UNDONE = ("Tapped by mistake", "Wrong fastener chosen", "It was not done", "It has to be done anew")
WHY_WRONG = ("Wrong number typed", "Wrong fastener chosen", "Wrong tool chosen", "Tapped by mistake")


def asked_for(reading: TorqueReading) -> dict[str, Any]:
    """The place of a reading, as a request would ask for it."""
    return {"step": reading.step_id, "stage": reading.stage_id, "fastener": reading.fastener}


def context(
    request: HttpRequest,
    state: RunState,
    place: Place,
    *,
    form: forms.EntryForm | None = None,
    wrong: TorqueReading | None = None,
    check_form: forms.SecondCheckForm | None = None,
    page: str = "",
    preview: bool = False,
    tool_said: str = "",
) -> dict[str, Any]:
    """All that `jobs/_run_work.html` reads. With `preview` nothing can be recorded: a draft is shown as
    it will be. `tool_said`: why what was typed or scanned is no tool to be used here.
    """
    asked = request.POST if form is not None else request.GET
    if check_form is not None:  # a second check that was refused stays where it was typed
        asked = {"step": place.step.step.pk, "do": "check"}
    page = page or reverse("jobs:run", args=[state.run.pk])
    kind = place.stage.stage.kind
    today = timezone.localdate()
    last = [] if preview or kind not in KEPT_TOOL else tool_in_hand.last_used(request, state.readings)
    rows = screen.tools_for(place, today, state.readings, last)
    chosen, angle_by = tool_in_hand.chosen(request, kind, rows, form)
    refused = None
    if form is None and wrong is None and not preview and tool_in_hand.is_refused(request, chosen):
        refused, chosen = chosen, None
    if preview and chosen is None:
        chosen = next((row for row in rows if not row["unfit"]), None)
    tool = chosen["tool"] if chosen else None
    may_write = preview or (
        request.user.may(May.RUN_PROCEDURE) and not state.ended and not state.run.job.is_closed
    )
    if wrong is not None:
        may_write = request.user.may(May.RUN_PROCEDURE)
    ready = kind in (StageKind.LOOSEN, StageKind.RESULT) or tool is not None or bool(angle_by)
    # Said for this target: kept by the links of the page and by its form, until another target comes.
    said = asked.get("set")
    taken = screen.through_before(state, place, tool)
    anew = (
        None if form is not None or wrong is not None else screen.to_set_anew(state, place, tool, said, taken)
    )
    said_set = place.target.pk if said and place.target and anew is None else None
    checks = [] if preview else screen.checks_due(state, request.user)
    mode = _mode(
        state,
        place,
        asked,
        may_write=may_write,
        bound=form is not None,
        wrong=wrong,
        ready=ready,
        anew=anew is not None,
        checks=checks,
        preview=preview,
    )
    about = wrong or (place.one.reading if mode == "look" else None)
    lead_only = (
        about is not None and about.verdict == ReadingVerdict.ABOVE and not request.user.may(May.DISPOSITION)
    )
    if form is None and mode == "correct" and lead_only:
        mode = "lead_only"  # said before anything is typed for nothing
    if mode == "correct" and asked.get("do") == "undo":
        mode = "undo"
    if form is None and mode in ("correct", "undo"):
        form = forms.CorrectionForm(wrong=wrong, state=state, of=place.step, stage=place.stage)
    elif form is None and may_write:
        form = forms.ReadingForm(
            initial={
                "fastener": place.fastener,
                "tool": tool,
                "angle_by": angle_by or (AngleBy.GAUGE if tool else ""),
                "reading": screen.to_set(state, place, tool, taken) or empty(place, tool),
                **(taken.amounts if taken else {}),
                "running_torque": [None, tool.unit if tool else "N.m"],
                "redo_reason": WHY_BY_FLAG.get(place.one.flag, ""),
            },
            state=state,
            of=place.step,
            stage=place.stage,
        )
    if check_form is not None and mode not in ("check", "held"):
        check_form = None
    check_of = _check_of(mode, place, checks)
    sent = screen.sent_later(state.readings)
    # Links that stay at this fastener: where it has a reading, it is to be recorded again.
    stay = {"do": "again" if place.one.reading is not None else None}
    return {
        "run": state.run,
        "state": state,
        "version": state.version,
        "place": place,
        "where": screen.where(state, place),
        "mode": mode,
        "preview": preview,
        "form": form,
        "may_write": may_write and not preview,
        "lead_only": lead_only,
        "wrong": wrong,
        **_entry(state, place, tool, angle_by, form, wrong),
        "set_anew": show(anew) if anew else "",
        "set_url": screen.url_of(page, place, set=place.target.pk, **stay) if anew else "",
        "said_set": said_set,
        "tools": rows,
        "tool": tool,
        "tool_row": chosen,
        "tool_said": tool_said,
        "tool_refused": tool_in_hand.refusal(refused, _aim_through(refused, state, place), today)
        if refused and mode == "tool"
        else None,
        "angle_by": angle_by,
        "tool_name": KEPT_TOOL.get(kind, ""),
        "change_tool": screen.url_of(page, place, **stay, **{KEPT_TOOL[kind]: "none"})
        if kind in KEPT_TOOL
        else "",
        "here": screen.url_of(page, place, **stay, go=1 if state.version.caution_lines else None),
        "again_url": screen.url_of(page, place, do="again"),
        "page": page,
        "drawing": screen.drawing(
            place,
            page,
            ended=state.ended or mode in ("check", "decide", "through", "complete", "held"),
            said_set=said_set,
        ),
        "stages": screen.stage_rows(place, page),
        "plan": run_plan.plan_of(state, place, tool, form.through if form else None, page)
        if mode == "enter" and not preview
        else "",
        **_last(state),
        "again_kinds": AGAIN,
        # Its room is kept from the first reading on, so that the button stays where it is.
        "show_last": not preview
        and mode not in ("correct", "undo", "look", "lead_only")
        and (asked.get("do") != "again" or bool(place.one.flag)),
        "decisions": [] if preview else screen.decisions(state),
        "checks": checks,
        "check_of": check_of,
        "check_form": check_form or (None if check_of is None else _check_form(request, check_of)),
        "new_needed": [one for one in state.steps if one.needs_new and one.held_by is None],
        "new_form": forms.NewFittedForm() if mode == "new" else None,
        "steps": [
            {"of": one, "here": one is place.step, "url": f"{page}?step={one.step.pk}"} for one in state.steps
        ],
        "complete_form": forms.CompleteForm() if mode == "complete" else None,
        "of_fastener": screen.fastener_rows(place) if mode == "look" else [],
        "record": [
            {"of": one, "readings": screen.reading_rows(state, one, sent)}
            for one in state.steps
            if one.readings or one.checks or one.new_fitted
        ],
    }


def _mode(
    state: RunState,
    place: Place,
    asked: Mapping[str, Any],
    *,
    may_write: bool,
    bound: bool,
    wrong: TorqueReading | None,
    ready: bool,
    anew: bool,
    checks: list[dict[str, Any]],
    preview: bool,
) -> str:
    if wrong is not None:
        return "correct" if may_write else "read"
    tapped = asked.get("fastener") and not bound
    if tapped and place.one.reading is not None and asked.get("do") != "again":
        return "look"
    if state.ended:
        return "ended"
    if not may_write:
        return "read"
    if bound:
        return "enter"
    if asked.get("do") == "check" and any(row["of"] is place.step for row in checks):
        return "check"
    if not tapped and (waits := _waits(state, place, asked, checks)):
        return waits
    if preview:
        return "enter"
    if place.step.held_by is not None:
        return "held"
    if place.needs_new:
        return "new"
    if state.version.caution_lines and not state.readings and not asked.get("go"):
        return "start"
    if not ready:
        return "tool"
    return "set" if anew else "enter"


def _waits(state: RunState, place: Place, asked: Mapping[str, Any], checks: list[dict[str, Any]]) -> str:
    """What is to be done where no hand is at a fastener; empty where one is."""
    if asked.get("step") and not asked.get("stage") and place.step.settled and not state.complete:
        return "check" if any(row["of"] is place.step for row in checks) else "through"
    if state.next is not None or asked.get("stage"):
        return ""
    if screen.decisions(state):
        return "decide"
    if checks:
        return "check"
    return "complete" if state.complete else ""


def _check_of(mode: str, place: Place, checks: list[dict[str, Any]]) -> dict[str, Any] | None:
    if mode not in ("check", "held"):
        return None
    return next((row for row in checks if row["of"] is place.step), checks[0] if checks else None)


def _check_form(request: HttpRequest, row: dict[str, Any]) -> forms.SecondCheckForm | None:
    """None where it was found not in order: the joint is worked on first. One query: who may sign it."""
    return None if row["of"].check == "failed" else forms.SecondCheckForm(of=row["of"], request=request)


def _entry(state, place, tool, angle_by, form, wrong) -> dict[str, Any]:
    """What the keypad asks for: kinds of answer, units, legend, reasons."""
    kind = place.stage.stage.kind
    if wrong is not None:
        # Any answer of the stage: the kind of tool may be what was wrong.
        kinds = [
            {"kind": each.value, "label": SHORT[each], "hint": ""}
            for each in map(ReadingKind, (*forms.KINDS_OF_STAGE[kind], ReadingKind.NOT_DONE))
        ]
    else:
        kinds = screen.kinds_of(place, tool)
    bound = form is not None and form.is_bound
    chosen = form.data.get("kind") if bound else wrong.kind if wrong else ""
    if not any(row["kind"] == chosen for row in kinds):
        chosen = screen.usual_kind(state, place, kinds)
    units = forms.units_for(place.stage)
    taken = form.through if form is not None else None
    unit = _unit_of(form)
    rows = screen.units_of_entry(place, units, tool, taken)
    if unit not in units:
        target_unit = place.target.unit if place.target else ""
        unit = target_unit if kind == StageKind.RESULT and target_unit in units else rows[0]["code"]
    until_still = place.step.step.order_of_work == OrderOfWork.UNTIL_STILL and kind == StageKind.TORQUE
    legend = {StageKind.ANGLE: "Angle turned", StageKind.RESULT: "Measured"}.get(kind, "Torque")
    if wrong is None and kind == StageKind.TORQUE and tool is not None:
        legend = "Value shown" if tool.kind == "indicating" else "Set value"
    aim = screen.aim_of(place.target)
    return {
        "through": taken,
        "set_to": show(screen.setting_of(aim, unit, taken)) if taken and aim else "",
        "extension_fields": [form[name] for name in forms.EXTENSION_LABELS if name in form.fields]
        if form is not None
        else [],
        "estimate": angle_estimate.at_stage(place.step.step, place.step.stages, place.stage, place.fastener)
        if kind == StageKind.ANGLE
        else "",
        "kinds": kinds,
        "kind": chosen,
        "units": rows,
        "unit": unit,
        # In the unit of the number beside it: two units on one screen are read as one.
        "target": screen.target_figure(
            place.target, unit if kind == StageKind.TORQUE and (tool or form is not None) else ""
        ),
        "legend": legend,
        "asks_why": wrong is not None or (place.one.reading is not None and not until_still),
        "reasons": WHY_WRONG if wrong is not None else WHY_AGAIN,
        "why_undone": WHY_UNDONE,
        "action": reverse("jobs:reading-correct", args=[wrong.pk])
        if wrong is not None
        else reverse("jobs:reading-add", args=[state.run.pk]),
    }


def _unit_of(form: forms.EntryForm | None) -> str:
    """The unit of the number that the form holds or begins with: the two are never parted."""
    if form is None or "reading" not in form.fields:
        return ""
    value = form["reading"].value()
    return (value.unit if isinstance(value, Amount) else (value or ["", ""])[1]) or ""


def _last(state: RunState) -> dict[str, Any]:
    """The reading that was written last, with what became of it."""
    last = state.readings[-1] if state.readings else None
    return {
        "last": last,
        "last_one": _standing(state, last),
        "last_stage": _stage_name(state, last),
        "last_decided": _decided(state, last),
    }


def _decided(state: RunState, last: TorqueReading | None) -> Disposition | None:
    """What was decided about this reading: an acceptance, or the work that undid it on the car."""
    found = [
        row
        for row in state.dispositions
        if last is not None
        and row.reading.step_id == last.step_id
        and row.reading.fastener == last.fastener
        and (row.reading_id == last.pk or (row.kind in AGAIN and row.turn > last.turn))
    ]
    return max(found, key=lambda row: row.turn, default=None)


def empty(place: Place, tool: TorqueTool | None) -> list:
    """No number, but the unit that is likely."""
    target = place.target
    if place.stage.stage.kind == StageKind.TORQUE and tool is not None:
        return [None, tool.unit]
    return [None, target.unit if target else None]


def _aim_through(row: dict[str, Any], state: RunState, place: Place) -> Amount | None:
    """What this tool would be set to here: the target, or what the extension of its last reading makes of it."""
    aim = screen.aim_of(place.target) if place.stage.stage.kind == StageKind.TORQUE else None
    taken = screen.through_before(state, place, row["tool"])
    return taken.to_set(aim) if aim and taken else aim


def _standing(state: RunState, reading: TorqueReading | None) -> FastenerState | None:
    """The fastener's state where this reading is the one that stands."""
    for step in state.steps if reading is not None else ():
        for stage in step.stages:
            for one in stage.fasteners.values():
                if one.reading is not None and one.reading.pk == reading.pk:
                    return one
    return None


def _stage_name(state: RunState, reading: TorqueReading | None) -> str:
    if reading is None:
        return ""
    return next(
        stage.stage.name
        for step in state.steps
        for stage in step.stages
        if stage.stage.pk == reading.stage_id
    )
