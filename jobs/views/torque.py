from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone

from jobs import run_screen as screen
from jobs.acts import disposition as disposition_acts
from jobs.acts import second_check as second_check_acts
from jobs.acts import torque as acts
from jobs.forms import torque as forms
from jobs.models import Run, TorqueReading, WorkLine
from jobs.models.procedure import StageKind
from jobs.models.torque import AngleBy, DispositionKind
from jobs.run_state import FastenerState, RunState, StepState
from jobs.runs import state_of
from workshop.engineering.units import show
from workshop.pages import act_page, may
from workshop.permissions import May

# The tool in hand is chosen once and kept for the next readings of this person on this device.
KEPT_TOOL = {StageKind.TORQUE: "torque_tool", StageKind.ANGLE: "angle_tool"}


def _run(run_id: UUID) -> Run:
    return get_object_or_404(
        Run.objects.select_related("job__vehicle", "line", "version_used__procedure", "made_by"), pk=run_id
    )


def _step(state: RunState, step_id: int) -> StepState:
    from django.http import Http404

    found = next((one for one in state.steps if one.step.pk == step_id), None)
    if found is None:
        raise Http404
    return found


@may(May.RUN_PROCEDURE)
def run_start(request: HttpRequest, line_id: UUID) -> HttpResponse:
    line = get_object_or_404(WorkLine.objects.select_related("job__vehicle"), pk=line_id)
    return act_page(
        request,
        form_class=forms.StartRunForm,
        act=acts.start_run,
        title="Start a tightening procedure",
        submit="Start",
        fixed={"line": line},
        cancel=line,
        said="Started.",
        context={"kicker": f"{line}: {line.complaint}", "kicker_url": line.get_absolute_url()},
    )


@may(May.SEE_SHOP)
def run(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """The run: pattern, keypad, what was recorded, what still blocks. A fixed number of queries."""
    found = _run(run_id)
    _keep_tool(request)
    state = state_of(found)
    place = screen.place_of(state, request.GET)
    template = "jobs/_run_work.html" if request.htmx else "jobs/run.html"
    return render(request, template, _context(request, state, place))


def _keep_tool(request: HttpRequest) -> None:
    for name in KEPT_TOOL.values():
        if wanted := request.GET.get(name):
            if wanted == "none":
                request.session.pop(name, None)
            else:
                request.session[name] = wanted[:40]


@may(May.RUN_PROCEDURE)
def reading_add(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """One reading, one request. Answers the run's work area as it stands then, or the keypad filled (422)."""
    found = _run(run_id)
    if request.method != "POST":
        return redirect(found)
    state = state_of(found)
    place = screen.place_of(state, request.POST)
    form = forms.ReadingForm(request.POST, state=state, of=place.step, stage=place.stage)
    if form.is_valid() and form.try_act(acts.record_reading, request=request, run=found):
        if name := KEPT_TOOL.get(place.stage.stage.kind):
            row: TorqueReading = form.answer
            request.session[name] = str(row.tool_id) if row.tool_id else row.angle_by
        state = state_of(found)
        if request.htmx:
            page = render(
                request, "jobs/_run_work.html", _context(request, state, screen.place_of(state, {}))
            )
        else:
            page = redirect(found)
        page.headers["X-Saved-Key"] = str(form.cleaned_data["key"])
        return page
    template = "jobs/_run_work.html" if request.htmx else "jobs/run.html"
    state = state_of(found)  # somebody else's reading may be the reason of the refusal: show it
    place = screen.place_of(state, request.POST)
    return render(request, template, _context(request, state, place, form), status=422)


def _context(
    request: HttpRequest, state: RunState, place: screen.Place, form: forms.ReadingForm | None = None
) -> dict[str, Any]:
    today = timezone.localdate()
    kind = place.stage.stage.kind
    rows = screen.tools_for(place, today)
    chosen, angle_by = _chosen_tool(request, kind, rows, form)
    tool = chosen["tool"] if chosen else None
    may_write = request.user.may(May.RUN_PROCEDURE) and not state.ended and not state.run.job.is_closed
    ready = kind in (StageKind.LOOSEN, StageKind.RESULT) or tool is not None or bool(angle_by)
    if form is None and may_write:
        form = forms.ReadingForm(
            initial={
                "fastener": place.fastener,
                "tool": tool,
                "angle_by": angle_by or (AngleBy.GAUGE if tool else ""),
                "reading": screen.to_set(state, place, tool) or _empty(place, tool),
                "running_torque": [None, tool.unit if tool else "N.m"],
            },
            state=state,
            of=place.step,
            stage=place.stage,
        )
    last = state.readings[-1] if state.readings else None
    # Said for this target: kept by the links of the page and by its form, until another target comes.
    said = request.POST.get("set") or request.GET.get("set")
    refused = form is not None and form.is_bound  # what was typed is shown, not asked for again
    anew = None if refused else screen.to_set_anew(state, place, tool, said)
    said_set = place.target.pk if said and place.target and anew is None else None
    return {
        "run": state.run,
        "state": state,
        "version": state.version,
        "place": place,
        "form": form if may_write else None,
        "needs_tool": not ready,
        "set_anew": show(anew) if anew else "",
        "set_url": screen.url_of(state, place, set=place.target.pk) if anew else "",
        "said_set": said_set,
        "tools": rows,
        "tool": tool,
        "tool_row": chosen,
        "angle_by": angle_by,
        "tool_name": KEPT_TOOL.get(kind, ""),
        "change_tool": screen.url_of(state, place, **{KEPT_TOOL[kind]: "none"}) if kind in KEPT_TOOL else "",
        "here": screen.url_of(state, place),
        "target": screen.target_figure(place.target, tool.unit if tool and kind == StageKind.TORQUE else ""),
        "buttons": screen.buttons_of(place, tool),
        "drawing": screen.drawing(state, place, ended=state.ended or not state.next, said_set=said_set),
        "stages": screen.stage_rows(state, place),
        "last": last,
        "last_one": _standing(state, last),
        "last_stage": _stage_name(state, last),
        "decisions": screen.decisions(state),
        "checks": [
            {"of": one, "mine": screen.may_check(one, request.user, state.readings)}
            for one in state.steps
            if one.step.critical and one.settled and one.check in ("missing", "lapsed", "failed")
        ],
        "new_needed": [one for one in state.steps if one.needs_new and one.held_by is None],
        "steps": [
            {
                "of": one,
                "here": one is place.step,
                "url": f"{reverse('jobs:run', args=[state.run.pk])}?step={one.step.pk}",
            }
            for one in state.steps
        ],
        "complete_form": forms.CompleteForm() if state.complete and may_write else None,
        "readings": _reading_rows(state, place.step),
    }


def _empty(place: screen.Place, tool) -> list:
    """No number, but the unit that is likely."""
    target = place.target
    if place.stage.stage.kind == StageKind.TORQUE and tool is not None:
        return [None, tool.unit]
    return [None, target.unit if target else None]


def _chosen_tool(request, kind, rows, form) -> tuple[dict | None, str]:
    name = KEPT_TOOL.get(kind)
    if not name:
        return None, ""
    wanted = request.session.get(name)
    if form is not None and form.is_bound:
        wanted = form.data.get("tool") or form.data.get("angle_by") or wanted
    if kind == StageKind.ANGLE and wanted == AngleBy.PAINT_MARK:
        return None, AngleBy.PAINT_MARK.value
    return next((row for row in rows if str(row["tool"].pk) == wanted), None), ""


def _standing(state: RunState, reading: TorqueReading | None):
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


def _reading_rows(state: RunState, of: StepState) -> list[dict[str, Any]]:
    """All readings of a step, the newest first; each says whether it stands."""
    names = {stage.stage.pk: stage.stage.name for stage in of.stages}
    standing = {one.reading.pk: one for stage in of.stages for one in stage.fasteners.values() if one.reading}
    decided: dict = {}
    for row in state.dispositions:
        decided.setdefault(row.reading_id, []).append(row)
    return [
        {
            "reading": row,
            "stage": names[row.stage_id],
            "stands": row.pk in standing,
            "one": standing.get(row.pk),
            "dispositions": decided.get(row.pk, []),
        }
        for row in reversed(state.readings)
        if row.step_id == of.step.pk
    ]


@may(May.RUN_PROCEDURE)
def round_add(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """Several fasteners of one stage at once."""
    found = _run(run_id)
    state = state_of(found)
    place = screen.place_of(state, request.POST or request.GET)
    rows = screen.tools_for(place, timezone.localdate())
    chosen, angle_by = _chosen_tool(request, place.stage.stage.kind, rows, None)
    tool = chosen["tool"] if chosen else None
    return act_page(
        request,
        form_class=forms.RoundForm,
        act=acts.record_round,
        title=f"{place.step.step.title}, {place.stage.stage.name}: several at once",
        intro="Each of these readings will say that it was entered together with others.",
        submit="Record them",
        fixed={"run": found},
        form_kwargs={"state": state, "of": place.step, "stage": place.stage},
        initial={
            "tool": tool,
            "angle_by": angle_by,
            "reading": screen.to_set(state, place, tool) or _empty(place, tool),
        },
        done=found,
        said="Recorded, entered together.",
        context={"kicker": str(found), "kicker_url": found.get_absolute_url()},
    )


@may(May.RUN_PROCEDURE)
def new_fitted(request: HttpRequest, run_id: UUID, step_id: int) -> HttpResponse:
    found = _run(run_id)
    of = _step(state_of(found), step_id)
    return act_page(
        request,
        form_class=forms.NewFittedForm,
        act=acts.say_new_fitted,
        title=f"{of.step.title}: new fasteners",
        intro="These fasteners are used once only. Say which new ones were fitted before they are tightened.",
        submit="New ones are fitted",
        fixed={"run": found, "step": of.step},
        done=found,
        context={"kicker": str(found), "kicker_url": found.get_absolute_url()},
    )


@may(May.SECOND_CHECK)
def second_check(request: HttpRequest, run_id: UUID, step_id: int) -> HttpResponse:
    found = _run(run_id)
    state = state_of(found)
    of = _step(state, step_id)
    mine = not screen.may_check(of, request.user, state.readings)
    return act_page(
        request,
        form_class=forms.SecondCheckForm,
        act=second_check_acts.second_check,
        title=f"Second check: {of.step.title}",
        intro="You took readings in this step: somebody else does the second check." if mine else "",
        submit="Checked",
        fixed={"run": found, "step": of.step},
        form_kwargs={"of": of, "mine": mine},
        done=found,
        said="The second check is on record.",
        context={"kicker": str(found), "kicker_url": found.get_absolute_url()},
    )


@may(May.RUN_PROCEDURE)
def dispose(request: HttpRequest, reading_id: UUID) -> HttpResponse:
    row = get_object_or_404(
        TorqueReading.objects.select_related(
            "run__job", "run__version_used__procedure", "step", "stage", "tool", "made_by"
        ),
        pk=reading_id,
    )
    of = _step(state_of(row.run), row.step_id)
    one = of.stage(row.stage).fasteners[row.fastener]
    if one.reading is None or one.reading.pk != row.pk:
        if request.method != "POST":
            messages.warning(
                request, "This reading no longer stands: there is a later one, or it was undone."
            )
            return redirect(row.run)
        # What was typed stays in the form: the act refuses it in words.
        one = FastenerState(row.fastener, reading=row, verdict=row.verdict, counts=not row.counts_not_because)
    decided = dict(DispositionKind.choices).get(request.POST.get("kind"), "")
    return act_page(
        request,
        form_class=forms.DisposeForm,
        act=disposition_acts.dispose,
        title=f"{row.step.title}, fastener {row.fastener}: {one.verdict_label.lower()}",
        submit="Decide",
        fixed={"reading": row},
        form_kwargs={"of": of, "one": one, "person": request.user},
        done=row.run,
        said=f"{row.step.title}, {row.stage.name}, fastener {row.fastener}: {decided.lower()}.",
        template="jobs/run_dispose.html",
        context={"kicker": str(row.run), "kicker_url": row.run.get_absolute_url(), "row": row},
    )


@may(May.RUN_PROCEDURE)
def run_complete(request: HttpRequest, run_id: UUID) -> HttpResponse:
    found = _run(run_id)
    return act_page(
        request,
        form_class=forms.CompleteForm,
        act=acts.complete_run,
        title=f"Complete: {found}",
        intro="Everything is judged and nothing blocks: the tag that this run set on the car is lifted.",
        submit="Complete the run",
        fixed={"run": found},
        done=found,
        said="The run is complete.",
    )


@may(May.RUN_PROCEDURE)
def run_abandon(request: HttpRequest, run_id: UUID) -> HttpResponse:
    found = _run(run_id)
    return act_page(
        request,
        form_class=forms.AbandonForm,
        act=acts.abandon_run,
        title=f"Stop this run: {found}",
        intro="It is not finished and not taken up again. What was recorded stays. The tag on the car stays until somebody lifts it with a reason.",
        submit="Stop this run",
        fixed={"run": found},
        done=found,
        said="The run is stopped.",
    )


urlpatterns = [
    path("lines/<uuid:line_id>/runs/start/", run_start, name="run-start"),
    path("runs/<uuid:run_id>/", run, name="run"),
    path("runs/<uuid:run_id>/readings/add/", reading_add, name="reading-add"),
    path("runs/<uuid:run_id>/rounds/add/", round_add, name="round-add"),
    path("runs/<uuid:run_id>/steps/<int:step_id>/new/", new_fitted, name="new-fitted"),
    path("runs/<uuid:run_id>/steps/<int:step_id>/check/", second_check, name="second-check"),
    path("runs/<uuid:run_id>/complete/", run_complete, name="run-complete"),
    path("runs/<uuid:run_id>/abandon/", run_abandon, name="run-abandon"),
    path("readings/<uuid:reading_id>/dispose/", dispose, name="dispose"),
]
