"""The editor of a draft's steps: one page for a step with its stages, drawn while it is typed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from jobs.acts import procedure_step as acts
from jobs.forms import procedure as forms
from jobs.forms.procedure_step import StepEditor, pictures, preview_of
from jobs.models import ProcedureStep, ProcedureVersion
from workshop.acting import By
from workshop.pages import act_page, answered, may
from workshop.permissions import May


def _version(version_id: UUID) -> ProcedureVersion:
    return get_object_or_404(ProcedureVersion.objects.select_related("procedure"), pk=version_id)


def _step(step_id: int) -> ProcedureStep:
    return get_object_or_404(ProcedureStep.objects.select_related("version__procedure"), pk=step_id)


@may(May.EDIT_PROCEDURE)
def step_add(request: HttpRequest, version_id: UUID) -> HttpResponse:
    return _editor(request, _version(version_id), None)


@may(May.EDIT_PROCEDURE)
def step_write(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    return _editor(request, step.version, step)


def _editor(request: HttpRequest, version: ProcedureVersion, step: ProcedureStep | None) -> HttpResponse:
    """The form of a step. A button named `op` only changes the form (a stage more, a sequence taken over); the
    others save it.
    """
    if version.released_at is not None:
        messages.warning(request, f"{version} is released and never changes. Make a new version of it.")
        return redirect(version)
    status = 200
    if request.method != "POST":
        form = StepEditor(instance=step)
    elif request.POST.get("op"):
        form = _changed(request, step)
    else:
        form = StepEditor(request.POST, instance=step)
        if form.is_valid() and _saved(request, form, version, step):
            again = request.POST.get("then") == "stay"
            messages.success(request, f"Step {form.answer.order}, {form.answer.title}: saved.")
            target = reverse("jobs:step-write", args=[form.answer.pk]) if again else version
            return answered(request, target, form)
        status = 422
    return render(request, "jobs/procedure_step.html", _context(request, form, version, step), status=status)


def _saved(request, form: StepEditor, version: ProcedureVersion, step: ProcedureStep | None) -> bool:
    if step is None:
        return form.try_act(acts.add_step, request=request, version=version)
    return form.try_act(acts.rewrite_step, request=request, step=step)


def _changed(request: HttpRequest, step: ProcedureStep | None) -> StepEditor:
    what, _, value = request.POST["op"].partition("=")
    changes = {what: value} if what in ("sequence", "rows", "unit") else {}
    return StepEditor.typed(request.POST, instance=step, **changes)


def _context(
    request: HttpRequest, form: StepEditor, version: ProcedureVersion, step: ProcedureStep | None
) -> dict[str, Any]:
    return {
        "form": form,
        "version": version,
        "procedure": version.procedure,
        "step": step,
        "title": f"Step {step.order}: {step.title}" if step else "A new step",
        "pictures": pictures(),
        "preview": preview_of(form, By(request.user)),
    }


@may(May.EDIT_PROCEDURE)
def step_preview(request: HttpRequest, version_id: UUID) -> HttpResponse:
    """What is typed so far, drawn and in sentences. Writes nothing."""
    version = _version(version_id)
    if request.method != "POST":
        return redirect(version)
    form = StepEditor.typed(request.POST)
    return render(
        request,
        "jobs/_step_preview.html",
        {"form": form, "version": version, "preview": preview_of(form, By(request.user))},
    )


@may(May.EDIT_PROCEDURE)
def step_remove(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    return act_page(
        request,
        form_class=forms.PlainForm,
        act=acts.remove_step,
        title=f"Take out step {step.order}, {step.title}",
        intro="It goes out of the draft with its stages. What was released before keeps it.",
        submit="Take it out",
        fixed={"step": step},
        done=step.version,
    )


@may(May.EDIT_PROCEDURE)
def step_copy(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    return act_page(
        request,
        form_class=forms.PlainForm,
        act=acts.copy_step,
        title=f"Copy step {step.order}, {step.title}",
        intro="The copy stands directly after it, with the same stages and values.",
        submit="Copy it",
        fixed={"step": step},
        done=lambda made: reverse("jobs:step-write", args=[made.pk]),
        cancel=step.version,
        said="Copied. Give the copy its own title, and change what differs.",
    )


@may(May.EDIT_PROCEDURE)
def step_move(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    up = request.GET.get("up") or request.POST.get("up")
    return act_page(
        request,
        form_class=forms.MoveForm,
        act=acts.move_step,
        title=f"Move step {step.order}, {step.title}",
        intro=f"It changes places with the one {'before' if up else 'after'} it.",
        submit="Move it",
        fixed={"step": step},
        done=f"{step.version.get_absolute_url()}#steps",
        said=f"{step.title}: moved {'up' if up else 'down'}.",
    )


urlpatterns = [
    path("procedures/versions/<uuid:version_id>/steps/add/", step_add, name="step-add"),
    path("procedures/versions/<uuid:version_id>/steps/preview/", step_preview, name="step-preview"),
    path("procedures/steps/<int:step_id>/write/", step_write, name="step-write"),
    path("procedures/steps/<int:step_id>/remove/", step_remove, name="step-remove"),
    path("procedures/steps/<int:step_id>/copy/", step_copy, name="step-copy"),
    path("procedures/steps/<int:step_id>/move/", step_move, name="step-move"),
]
