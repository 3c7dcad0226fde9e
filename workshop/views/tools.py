from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone

from workshop.acts import tools as acts
from workshop.forms import tools as forms
from workshop.models import TorqueTool
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.tools_hooks import runs_of


def _tools():
    return TorqueTool.objects.prefetch_related("calibrations", "failures__made_by")


@may(May.SEE_SHOP)
def tools(request: HttpRequest) -> HttpResponse:
    """All torque tools: in order or not today, until when, working range. A fixed number of queries."""
    today = timezone.localdate()
    rows = [_row(tool, today) for tool in _tools()]
    rows.sort(key=lambda row: (bool(row["unfit"]), row["tool"].label))
    return render(request, "workshop/tools.html", {"rows": rows})


def _row(tool: TorqueTool, today) -> dict:
    calibration = tool.calibration_on(today)
    return {
        "tool": tool,
        "calibration": calibration,
        "unfit": tool.unfit_because(None, on=today),
        "range": tool.working_range(today) if tool.scale_high is not None else None,
        "days_left": (calibration.due_on - today).days if calibration else None,
    }


@may(May.SEE_SHOP)
def tool(request: HttpRequest, tool_id: UUID) -> HttpResponse:
    """One tool: its state, calibrations, what happened to it, and what it tightened since it was last
    good.
    """
    row = get_object_or_404(_tools(), pk=tool_id)
    doubts = [
        {"failure": failure, "runs": runs_of(row, failure.since, failure.made_at)}
        for failure in row.failures.all()
        if failure.readings_doubted
    ]
    return render(request, "workshop/tool.html", {**_row(row, timezone.localdate()), "doubts": doubts})


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
        fixed={"tool": row},
        done=row,
    )


urlpatterns = [
    path("tools/", tools, name="tools"),
    path("tools/add/", tool_add, name="tool-add"),
    path("tools/<uuid:tool_id>/", tool, name="tool"),
    path("tools/<uuid:tool_id>/correct/", tool_correct, name="tool-correct"),
    path("tools/<uuid:tool_id>/calibrations/add/", calibration_add, name="calibration-add"),
    path("tools/<uuid:tool_id>/withdraw/", tool_withdraw, name="tool-withdraw"),
    path("tools/<uuid:tool_id>/drop/", tool_drop, name="tool-drop"),
]
