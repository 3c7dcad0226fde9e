from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone

from jobs import run_panel as panel
from jobs import run_screen as screen
from jobs import tool_in_hand
from jobs.acts import disposition as disposition_acts
from jobs.acts import second_check as second_check_acts
from jobs.acts import torque as acts
from jobs.forms import torque as forms
from jobs.models import Run, TorqueReading, WorkLine
from jobs.models.torque import DispositionKind
from jobs.run_state import FastenerState, RunState, StepState
from jobs.runs import state_of
from jobs.tool_in_hand import KEPT_TOOL
from workshop.copies import keeps_copy
from workshop.forms.base import ActForm
from workshop.pages import act_page, answered, may
from workshop.permissions import May
from workshop.queued import queued


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
@keeps_copy
def run(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """The run: pattern, keypad, what was recorded, what still blocks. A fixed number of queries.

    `do`: "again" (record this fastener again), "correct" and "undo" (with `reading`), "check" (second check of
    the step). `torque_tool`, `angle_tool` or `tool_label` (typed or scanned) choose the tool.
    """
    found = _run(run_id)
    state = state_of(found)
    wrong = _wrong(state, request) if request.GET.get("do") in ("correct", "undo") else None
    place = screen.place_of(state, panel.asked_for(wrong) if wrong else request.GET)
    said = tool_in_hand.keep(request, place.stage.stage.kind)
    return _answer(request, panel.context(request, state, place, wrong=wrong, tool_said=said))


def _answer(request: HttpRequest, context: dict[str, Any], status: int = 200) -> HttpResponse:
    template = "jobs/_run_work.html" if request.htmx else "jobs/run.html"
    response = render(request, template, context, status=status)
    # Whoever comes back to it sees the run as it is by then, not as the browser kept it.
    response.headers["Cache-Control"] = "private, no-store"
    return response


def _wrong(state: RunState, request: HttpRequest) -> TorqueReading | None:
    """The reading that is to be put right; None, with the reason, where it was put right meanwhile."""
    row = next((row for row in state.readings if str(row.pk) == request.GET.get("reading")), None)
    if row is not None and not row.stands_for_work:
        messages.warning(request, "This reading was put right already. The run is shown as it is now.")
        return None
    return row


@may(May.RUN_PROCEDURE)
@queued(acts.record_reading, what="Torque reading")
def reading_add(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """One reading, one request. Answers the run's work area as it stands then, or the keypad filled (422)."""
    found = _run(run_id)
    if request.method != "POST":
        return redirect(found)
    state = state_of(found)
    place = screen.place_of(state, request.POST)
    form = forms.ReadingForm(request.POST, state=state, of=place.step, stage=place.stage)
    if (op := request.POST.get("op")) in ("through", "without"):
        # Nothing is recorded: what the wrench is set to stands in the form that comes back.
        worked = form.work_out(screen.aim_of(place.target), without=op == "without")
        return _answer(
            request, panel.context(request, state, place, form=form), status=200 if worked else 422
        )
    if form.is_valid() and form.try_act(acts.record_reading, request=request, run=found):
        if name := KEPT_TOOL.get(place.stage.stage.kind):
            row: TorqueReading = form.answer
            request.session[name] = str(row.tool_id) if row.tool_id else row.angle_by
        return _recorded(request, found, form)
    state = state_of(found)  # somebody else's reading may be the reason of the refusal: show it
    place = screen.place_of(state, request.POST)
    return _answer(request, panel.context(request, state, place, form=form), status=422)


@may(May.RUN_PROCEDURE)
@queued(acts.correct_reading, what="Torque reading put right")
def reading_correct(request: HttpRequest, reading_id: UUID) -> HttpResponse:
    """Put right what was written down wrong: on the run screen, with its keypad."""
    row = get_object_or_404(TorqueReading.objects.only("pk", "run_id"), pk=reading_id)
    found = _run(row.run_id)
    if request.method != "POST":
        return redirect(f"{found.get_absolute_url()}?do=correct&reading={row.pk}#work")
    state = state_of(found)
    wrong = next(one for one in state.readings if one.pk == row.pk)
    place = screen.place_of(state, panel.asked_for(wrong))
    form = forms.CorrectionForm(request.POST, wrong=wrong, state=state, of=place.step, stage=place.stage)
    if form.is_valid() and form.try_act(acts.correct_reading, request=request, corrected=wrong):
        return _recorded(request, found, form)
    return _answer(request, panel.context(request, state, place, form=form, wrong=wrong), status=422)


def _recorded(request: HttpRequest, found: Run, form: ActForm) -> HttpResponse:
    if request.htmx:
        state = state_of(found)
        page = _answer(request, panel.context(request, state, screen.place_of(state, {})))
    else:
        page = redirect(found)
    page.headers["X-Saved-Key"] = str(form.cleaned_data["key"])
    return page


@may(May.RUN_PROCEDURE)
@queued(acts.record_round, what="Torque readings, several at once")
def round_add(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """Several fasteners of one stage at once."""
    found = _run(run_id)
    state = state_of(found)
    place = screen.place_of(state, request.POST or request.GET)
    rows = screen.tools_for(place, timezone.localdate(), state.readings)
    chosen, angle_by = tool_in_hand.chosen(request, place.stage.stage.kind, rows, None)
    tool = chosen["tool"] if chosen else None
    taken = screen.through_before(state, place, tool)
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
            "reading": screen.to_set(state, place, tool, taken) or panel.empty(place, tool),
            **(taken.amounts if taken else {}),
        },
        done=found,
        said="Recorded, entered together.",
        context={"kicker": str(found), "kicker_url": found.get_absolute_url()},
    )


@may(May.RUN_PROCEDURE)
@queued(acts.say_new_fitted, what="New fasteners")
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
    if request.method == "POST":
        form = forms.SecondCheckForm(request.POST, of=of, request=request)
        if form.is_valid() and form.try_act(
            second_check_acts.second_check, request=request, run=found, step=of.step
        ):
            messages.success(request, "The second check is on record.")
            return answered(request, found, form)
        state = state_of(found)
        place = screen.place_of(state, {"step": step_id})
        shown = panel.context(request, state, place, check_form=form)
        if shown["check_form"] is form:
            return _answer(request, shown, status=422)
    # Opened by itself, or refused where the run has no such check to show any more.
    return act_page(
        request,
        form_class=forms.SecondCheckForm,
        act=second_check_acts.second_check,
        title=f"Second check: {of.step.title}",
        intro=""
        if screen.may_check(of, request.user, state.readings)
        else "You took readings in this step: somebody else does the second check.",
        submit="Checked",
        fixed={"run": found, "step": of.step},
        form_kwargs={"of": of, "request": request},
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
        form_kwargs={"of": of, "one": one, "request": request},
        done=row.run,
        said=f"{row.step.title}, {row.stage.name}, fastener {row.fastener}: {decided.lower()}.",
        template="jobs/run_dispose.html",
        context={
            "kicker": str(row.run),
            "kicker_url": row.run.get_absolute_url(),
            "row": row,
            "signing_only": "accepted",
            "signing_hint": "Accepted as it is: a lead signs for that.",
        },
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
        cancel=f"{found.get_absolute_url()}#stop",  # the focus is where it was before
        said="The run is stopped.",
    )


urlpatterns = [
    path("lines/<uuid:line_id>/runs/start/", run_start, name="run-start"),
    path("runs/<uuid:run_id>/", run, name="run"),
    path("runs/<uuid:run_id>/readings/add/", reading_add, name="reading-add"),
    path("readings/<uuid:reading_id>/correct/", reading_correct, name="reading-correct"),
    path("runs/<uuid:run_id>/rounds/add/", round_add, name="round-add"),
    path("runs/<uuid:run_id>/steps/<int:step_id>/new/", new_fitted, name="new-fitted"),
    path("runs/<uuid:run_id>/steps/<int:step_id>/check/", second_check, name="second-check"),
    path("runs/<uuid:run_id>/complete/", run_complete, name="run-complete"),
    path("runs/<uuid:run_id>/abandon/", run_abandon, name="run-abandon"),
    path("readings/<uuid:reading_id>/dispose/", dispose, name="dispose"),
]
