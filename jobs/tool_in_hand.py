"""Which tool is in the hand at a run: the last used ones, one named by its label, and why one may not be used."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

from django.http import HttpRequest
from django.urls import Resolver404, resolve

from jobs.models import TorqueReading
from jobs.models.procedure import StageKind
from jobs.models.torque import AngleBy
from workshop.engineering.units import Amount
from workshop.models import Person, TorqueTool
from workshop.models.tools import ToolKind
from workshop.permissions import TABLE, May

# The tool in hand is chosen once and kept for the next readings of this person on this device.
KEPT_TOOL = {StageKind.TORQUE: "torque_tool", StageKind.ANGLE: "angle_tool"}
# That tool, where somebody said that it is written down all the same though it is not in order.
USED_UNFIT = "unfit_tool"
LOOKED_BACK = 30  # readings
SHOWN_AS_LAST = 3

# What a code of this shop leads to, where it is none of a tool.
CODES = {
    "vehicle": "a vehicle",
    "job": "a job",
    "run": "a run",
    "part": "a part",
    "sheet": "a sheet",
    "confirm": "a sheet",
    "line": "a work line",
    "key": "a key",
}


def keep(request: HttpRequest, kind: str) -> str:
    """Keep the tool that was chosen, typed or scanned; a sentence where none is known by what was read."""
    for name in KEPT_TOOL.values():
        if wanted := request.GET.get(name):
            request.session.pop(USED_UNFIT, None)
            if wanted == "none":
                request.session.pop(name, None)
                continue
            request.session[name] = wanted[:40]
            if request.GET.get("all_the_same"):
                request.session[USED_UNFIT] = wanted[:40]
    text = request.GET.get("tool_label", "").strip()[:300]
    if not text:
        return ""
    tool, why = named(text)
    if tool is None:
        return why
    angle = tool.kind == ToolKind.ANGLE
    if angle != (kind == StageKind.ANGLE):
        measures = (
            "measures angles, and this stage is tightened by torque"
            if angle
            else "measures torque, and this stage is turned by an angle"
        )
        return f"{tool} {measures}. Take another tool."
    request.session.pop(USED_UNFIT, None)
    request.session[KEPT_TOOL[kind]] = str(tool.pk)
    return ""


def named(text: str) -> tuple[TorqueTool | None, str]:
    """The tool whose label was typed or scanned, or none with the reason: one or two queries."""
    if (led := _leads_to(text)) is not None:
        key, what = led
        if key is not None and (tool := TorqueTool.objects.filter(pk=key).first()) is not None:
            return tool, ""
        return None, f"This is the label of {what}, not of a torque tool. Scan the label on the tool."
    plain = _plain(text)
    for tool in TorqueTool.objects.order_by("label"):
        if plain in (_plain(tool.label), _plain(tool.serial)) and plain:
            return tool, ""
    shown = text if len(text) <= 40 else f"{text[:40]}…"
    return (
        None,
        f"No tool of this shop has the number “{shown}”. Look at its label, or choose it from the list.",
    )


def _plain(text: str) -> str:
    return "".join(text.split()).replace("-", "").casefold()


def _leads_to(text: str) -> tuple[UUID | None, str] | None:
    """What an address in a code leads to: the key of a tool, or the name of another thing."""
    try:
        address = urlsplit(text)
    except ValueError:
        return None
    if not address.path.startswith("/") or not (address.netloc or text.startswith("/")):
        return None
    try:
        found = resolve(address.path)
    except Resolver404:
        return None, "something else"
    for value in found.kwargs.values():
        if isinstance(value, UUID) and "tool" in (found.url_name or ""):
            return value, "a tool that is not on record here"
    name = found.url_name or ""
    return None, next((words for part, words in CODES.items() if part in name), "something else")


def last_used(request: HttpRequest, readings: Sequence[TorqueReading]) -> list[Any]:
    """Keys of the tools in the order in which they were used last: in this run, then by this person on this
    device. One query.
    """
    device = getattr(request, "device", None)
    rows = (
        TorqueReading.objects.filter(made_by=request.user, device=device if device and device.pk else None)
        .order_by("-received_at")
        .values_list("tool_id", flat=True)[:LOOKED_BACK]
    )
    mine = [row.tool_id for row in reversed(readings) if row.made_by_id == request.user.pk]
    others = [row.tool_id for row in reversed(readings)]
    return list(dict.fromkeys(key for key in (*mine, *rows, *others) if key is not None))


def chosen(request: HttpRequest, kind: str, rows: list[dict], form) -> tuple[dict | None, str]:
    """(the row of the tool in hand or None, how an angle is turned without one)."""
    name = KEPT_TOOL.get(kind)
    if not name:
        return None, ""
    wanted = request.session.get(name)
    if form is not None and form.is_bound:
        wanted = form.data.get("tool") or form.data.get("angle_by") or wanted
    if kind == StageKind.ANGLE and wanted == AngleBy.PAINT_MARK:
        return None, AngleBy.PAINT_MARK.value
    return next((row for row in rows if str(row["tool"].pk) == wanted), None), ""


def is_refused(request: HttpRequest, row: dict | None) -> bool:
    """Not in order, and nobody has said that it is written down all the same."""
    return bool(row and row["unfit"] and request.session.get(USED_UNFIT) != str(row["tool"].pk))


def refusal(row: dict, aim: Amount | None, on: date) -> dict[str, Any]:
    """Why it may not be used, and who can clear that: {tool, why, clears, reach}.

    `reach`: only its range is in the way; through an extension it may be set to something else.
    """
    tool: TorqueTool = row["tool"]
    reach = not tool.unfit_because(None, on=on)
    if reach:
        clears = "Nobody has to clear this: take a tool whose range takes in the target."
    else:
        leads = [person.name for person in Person.objects.holding(*TABLE[May.EDIT_TOOLS]).order_by("name")]
        who = " or ".join([", ".join(leads[:-1]), leads[-1]] if len(leads) > 1 else leads) or "a lead"
        clears = f"It is cleared when a lead writes down a calibration that it passed: {who}."
    return {"tool": tool, "why": row["unfit"], "clears": clears, "reach": reach}
