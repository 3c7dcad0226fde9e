from __future__ import annotations

from datetime import date, timedelta
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html

from workshop.acts import tools as acts
from workshop.copies import keeps_copy
from workshop.forms import tools as forms
from workshop.models import TorqueTool
from workshop.models.tools import FailureKind, ToolKind
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.tools_hooks import runs_of


def _tools():
    return TorqueTool.objects.select_related("made_by").prefetch_related("calibrations", "failures__made_by")


# From so many days before it is due, a calibration is said to be: common practice, no source.
DUE_SOON = 30
USED_LATELY = timedelta(days=30)


@may(May.SEE_SHOP)
@keeps_copy
def tools(request: HttpRequest) -> HttpResponse:
    """All torque tools: what needs a calibration first, then in the order in which they fall due, at last what is
    withdrawn. A fixed number of queries.
    """
    rows = _rows()
    context = {
        "due": [row for row in rows if row["rank"] < 2],
        "in_order": [row for row in rows if row["rank"] == 2],
        "withdrawn": [row for row in rows if row["rank"] == 3],
    }
    return render(request, "workshop/tools.html", context)


@may(May.SEE_SHOP)
def calibrations(request: HttpRequest) -> HttpResponse:
    """The list for the wall and the auditor: each tool with the calibration that holds today."""
    return render(request, "workshop/calibrations.html", {"rows": _rows(), "today": timezone.localdate()})


def _rows() -> list[dict]:
    today = timezone.localdate()
    rows = [_row(tool, today) for tool in _tools()]
    never = date.max
    rows.sort(
        key=lambda row: (
            row["rank"],
            row["calibration"].due_on if row["calibration"] else never,
            row["tool"].label,
        )
    )
    return rows


def _row(tool: TorqueTool, today: date) -> dict:
    calibration = tool.calibration_on(today)
    days_left = (calibration.due_on - today).days if calibration else None
    unfit = tool.unfit_because(None, on=today)
    state, rank = _state(tool, calibration, days_left, unfit)
    return {
        "tool": tool,
        "calibration": calibration,
        "unfit": unfit,
        "range": tool.working_range(today) if tool.scale_high is not None else None,
        "days_left": days_left,
        "state": state,
        "rank": rank,
    }


def _state(tool: TorqueTool, calibration, days: int | None, unfit: str) -> tuple[str, int]:
    """What a tool is worth today, in words; and its place: 0 not to be used, 1 due soon, 2 in order, 3 withdrawn."""
    if tool.withdrawn_at:
        return f"withdrawn since {date_format(timezone.localtime(tool.withdrawn_at))}", 3
    if calibration is None:
        return ("no calibration needed", 2) if tool.kind == ToolKind.ANGLE else ("never calibrated", 0)
    if not calibration.passed:
        return f"failed on {date_format(calibration.calibrated_on)}", 0
    if days < 0:
        return f"expired {_days(-days)} ago", 0
    if unfit:
        return "out of use", 0
    if days == 0:
        return "due today", 1
    if days <= DUE_SOON:
        return f"due in {_days(days)}", 1
    return f"in order until {date_format(calibration.due_on)}", 2


def _days(count: int) -> str:
    return f"{count} day" if count == 1 else f"{count} days"


@may(May.SEE_SHOP)
def tool(request: HttpRequest, tool_id: UUID) -> HttpResponse:
    """One tool: its state, what happened to it, and what it tightened lately and since it was last good."""
    row = get_object_or_404(_tools(), pk=tool_id)
    now = timezone.now()
    doubts = [
        {"failure": failure, "runs": runs_of(row, failure.since, failure.made_at)}
        for failure in row.failures.all()
        if failure.readings_doubted
    ]
    context = {
        **_row(row, timezone.localdate()),
        "doubts": doubts,
        "history": _history(row),
        "lately": runs_of(row, (now - USED_LATELY).date(), now),
    }
    return render(request, "workshop/tool.html", context)


def _history(tool: TorqueTool) -> list[dict]:
    """Taken on, calibrated, failed, dropped, withdrawn: newest first."""
    rows = [
        {"day": row.calibrated_on, "at": row.made_at, "calibration": row} for row in tool.calibrations.all()
    ]
    # A failed calibration stands there already, with its certificate.
    rows += [
        {"day": row.day, "at": row.made_at, "failure": row}
        for row in tool.failures.all()
        if row.kind != FailureKind.FAILED
    ]
    rows.append({"day": timezone.localtime(tool.made_at).date(), "at": tool.made_at, "taken_on": tool})
    return sorted(rows, key=lambda row: (row["day"], row["at"]), reverse=True)


@may(May.EDIT_TOOLS)
def tool_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.ToolForm,
        act=acts.add_tool,
        title="A new torque tool",
        submit="Take it on",
        cancel="workshop:tools",
        said="The tool is on record. Add its calibration: without one its readings count as nothing.",
    )


@may(May.EDIT_TOOLS)
def tool_correct(request: HttpRequest, tool_id: UUID) -> HttpResponse:
    row = get_object_or_404(TorqueTool, pk=tool_id)
    return act_page(
        request,
        form_class=forms.CorrectToolForm,
        act=acts.correct_tool,
        title=f"Correct {row}",
        fixed={"tool": row},
        form_kwargs={"instance": row},
        initial={"seen_version": row.version},
        done=row,
    )


@may(May.EDIT_TOOLS)
def calibration_add(request: HttpRequest, tool_id: UUID) -> HttpResponse:
    row = get_object_or_404(TorqueTool, pk=tool_id)
    return act_page(
        request,
        form_class=forms.CalibrationForm,
        act=acts.add_calibration,
        title=f"Calibration of {row}",
        fixed={"tool": row},
        form_kwargs={"tool": row},
        done=row,
        said=_calibrated,
    )


def _calibrated(made) -> str:
    """The message after a calibration: a failed one says what it puts in doubt, and where that is listed."""
    if made.passed:
        return "The calibration is on record."
    failure = made.tool.failures.order_by("-made_at").first()
    runs = runs_of(made.tool, failure.since, failure.made_at) if failure else []
    if not runs:
        return "It failed: the tool is out of use. Nothing was tightened with it since its last good calibration."
    count = "1 run is" if len(runs) == 1 else f"{len(runs)} runs are"
    return format_html(
        'It failed: the tool is out of use. <a href="#d-{}">{} in doubt</a>.', failure.pk, count
    )


@may(May.EDIT_TOOLS)
def tool_withdraw(request: HttpRequest, tool_id: UUID) -> HttpResponse:
    row = get_object_or_404(TorqueTool, pk=tool_id)
    return act_page(
        request,
        form_class=forms.WithdrawForm,
        act=acts.withdraw_tool,
        title=f"Withdraw {row}",
        submit="Withdraw it",
        said=f"{row} is withdrawn.",
        fixed={"tool": row},
        done=row,
    )


@may(May.DROP_TOOL)
def tool_drop(request: HttpRequest, tool_id: UUID) -> HttpResponse:
    row = get_object_or_404(TorqueTool, pk=tool_id)
    return act_page(
        request,
        form_class=forms.DropForm,
        act=acts.report_drop,
        title=f"{row} was dropped or damaged",
        submit="Report it",
        said=f"On record: {row} is out of use until it is calibrated again.",
        fixed={"tool": row},
        done=row,
    )


urlpatterns = [
    path("tools/", tools, name="tools"),
    path("tools/calibrations/", calibrations, name="calibrations"),
    path("tools/add/", tool_add, name="tool-add"),
    path("tools/<uuid:tool_id>/", tool, name="tool"),
    path("tools/<uuid:tool_id>/correct/", tool_correct, name="tool-correct"),
    path("tools/<uuid:tool_id>/calibrations/add/", calibration_add, name="calibration-add"),
    path("tools/<uuid:tool_id>/withdraw/", tool_withdraw, name="tool-withdraw"),
    path("tools/<uuid:tool_id>/drop/", tool_drop, name="tool-drop"),
]
