from __future__ import annotations

from uuid import UUID

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from jobs import patterns
from jobs.acts import procedure as acts
from jobs.acts import procedure_step as procedure_step_acts
from jobs.forms import procedure as forms
from jobs.models import Procedure, ProcedureStage, ProcedureStep, ProcedureVersion
from jobs.models.procedure import Area
from jobs.step_questions import load_words
from jobs.versions import VERSION_FIELDS, why_not_whole
from workshop.pages import act_page, may
from workshop.permissions import May


@may(May.SEE_SHOP)
def procedures(request: HttpRequest) -> HttpResponse:
    """The library by area. Three queries, whatever its size."""
    rows = (
        Procedure.objects.prefetch_related("versions")
        .annotate(runs=Count("versions__runs", filter=Q(versions__runs__abandoned_at=None)))
        .order_by("title")
    )
    areas: dict[str, list] = {}
    for row in rows:
        row.newest = row.released()
        row.draft = next((one for one in row.versions.all() if one.released_at is None), None)
        areas.setdefault(Area(row.area).label, []).append(row)
    return render(request, "jobs/procedures.html", {"areas": sorted(areas.items()), "count": len(rows)})


@may(May.SEE_SHOP)
def procedure(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    """One procedure: its newest version in full, and the earlier ones."""
    row = get_object_or_404(Procedure.objects.prefetch_related("versions__made_by"), pk=procedure_id)
    versions = sorted(row.versions.all(), key=lambda one: -one.number)
    newest = row.released()
    draft = next((one for one in versions if one.released_at is None), None)
    shown = newest or draft
    return render(
        request,
        "jobs/procedure.html",
        {
            "procedure": row,
            "versions": versions,
            "newest": newest,
            "draft": draft,
            "version": shown,
            "steps": steps_of(shown) if shown else [],
        },
    )


def steps_of(version: ProcedureVersion) -> list[dict]:
    """Steps with drawing, stages and what the load comes to: three queries."""
    rows = version.steps.prefetch_related("stages__targets").order_by("order")
    found = []
    for step in rows:
        stages = list(step.stages.all())
        targets = []
        for stage in stages:
            for target in stage.targets.all():
                target.stage = stage
                targets.append(target)
            named = {target.group for target in stage.targets.all()}
            stage.missing_groups = [] if "" in named else [g for g in step.group_names if g not in named]
        found.append(
            {
                "step": step,
                "stages": stages,
                "drawing": patterns.drawing(step),
                "groups": [(name, step.groups[name]) for name in step.group_names],
                "load": load_words(step, targets),
                "lacks": why_not_whole(step),
            }
        )
    return found


@may(May.SEE_SHOP)
def procedure_version(request: HttpRequest, version_id: UUID) -> HttpResponse:
    """One version in full; a draft with what changes it."""
    version = get_object_or_404(
        ProcedureVersion.objects.select_related("procedure", "made_by", "released_by"), pk=version_id
    )
    return render(
        request,
        "jobs/procedure_version.html",
        {
            "version": version,
            "procedure": version.procedure,
            "steps": steps_of(version),
            "writes": version.released_at is None and request.user.may(May.EDIT_PROCEDURE),
            "plain": forms.PlainForm(),
        },
    )


@may(May.EDIT_PROCEDURE)
def procedure_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.ProcedureForm,
        act=acts.add_procedure,
        title="A new procedure",
        submit="Add it",
        cancel="jobs:procedures",
        done=lambda row: reverse("jobs:version-add", args=[row.pk]),
    )


@may(May.EDIT_PROCEDURE)
def procedure_withdraw(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    row = get_object_or_404(Procedure, pk=procedure_id)
    return act_page(
        request,
        form_class=forms.WithdrawForm,
        act=acts.withdraw_procedure,
        title=f"Withdraw {row}",
        intro="No new run starts with it. Its versions and runs stay on record.",
        submit="Withdraw it",
        fixed={"procedure": row},
        initial={"seen_version": row.version},
        done=row,
    )


@may(May.EDIT_PROCEDURE)
def version_add(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    row = get_object_or_404(Procedure.objects.prefetch_related("versions"), pk=procedure_id)
    newest = row.released()
    copied = (
        {name: getattr(newest, name) for name in VERSION_FIELDS if name != "change_note"} if newest else {}
    )
    return act_page(
        request,
        form_class=forms.VersionForm,
        act=acts.start_version,
        title=f"{row}: a new version",
        intro=f"A draft that begins as a copy of version {newest.number}." if newest else "",
        submit="Begin the draft",
        fixed={"procedure": row},
        form_kwargs={"area": row.area},
        initial=copied,
        cancel=row,
    )


def _draft(version_id: UUID) -> ProcedureVersion:
    return get_object_or_404(ProcedureVersion.objects.select_related("procedure"), pk=version_id)


def _step(step_id: int) -> ProcedureStep:
    return get_object_or_404(ProcedureStep.objects.select_related("version__procedure"), pk=step_id)


def _stage(stage_id: int) -> ProcedureStage:
    return get_object_or_404(ProcedureStage.objects.select_related("step__version__procedure"), pk=stage_id)


@may(May.EDIT_PROCEDURE)
def version_write(request: HttpRequest, version_id: UUID) -> HttpResponse:
    version = _draft(version_id)
    return act_page(
        request,
        form_class=forms.WriteVersionForm,
        act=acts.write_version,
        title=f"{version}: source and cautions",
        fixed={"version": version},
        form_kwargs={"instance": version, "area": version.procedure.area},
        done=version,
    )


@may(May.EDIT_PROCEDURE)
def version_release(request: HttpRequest, version_id: UUID) -> HttpResponse:
    version = _draft(version_id)
    return act_page(
        request,
        form_class=forms.PlainForm,
        act=acts.release_version,
        title=f"Release {version}",
        intro="From then on nothing of it changes, and new runs work by it. Compare every value with "
        "its source first.",
        submit="Release it",
        fixed={"version": version},
        done=version,
        said=f"{version} is released.",
    )


@may(May.EDIT_PROCEDURE)
def step_add(request: HttpRequest, version_id: UUID) -> HttpResponse:
    version = _draft(version_id)
    return act_page(
        request,
        form_class=forms.StepForm,
        act=procedure_step_acts.add_step,
        title=f"{version}: a step",
        submit="Add the step",
        fixed={"version": version},
        cancel=version,
        done=lambda step: reverse("jobs:stage-add", args=[step.pk]),
        said="The step is in the draft. Now its first stage.",
    )


@may(May.EDIT_PROCEDURE)
def step_write(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    return act_page(
        request,
        form_class=forms.ChangeStepForm,
        act=procedure_step_acts.change_step,
        title=f"{step.version}: step {step.order}",
        fixed={"step": step},
        form_kwargs={"instance": step},
        done=step.version,
    )


@may(May.EDIT_PROCEDURE)
def step_remove(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    return act_page(
        request,
        form_class=forms.PlainForm,
        act=procedure_step_acts.remove_step,
        title=f"Take out step {step.order}, {step.title}",
        intro="It goes out of the draft with its stages. What was released before keeps it.",
        submit="Take it out",
        fixed={"step": step},
        done=step.version,
    )


@may(May.EDIT_PROCEDURE)
def step_move(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    return act_page(
        request,
        form_class=forms.MoveForm,
        act=procedure_step_acts.move_step,
        title=f"Move step {step.order}, {step.title}",
        intro="It changes places with the one before it."
        if request.GET.get("up") or request.POST.get("up")
        else "It changes places with the one after it.",
        submit="Move it",
        fixed={"step": step},
        done=step.version,
    )


@may(May.EDIT_PROCEDURE)
def stage_add(request: HttpRequest, step_id: int) -> HttpResponse:
    step = _step(step_id)
    return act_page(
        request,
        form_class=forms.StageForm,
        act=procedure_step_acts.add_stage,
        title=f"Step {step.order}, {step.title}: a stage",
        submit="Add the stage",
        fixed={"step": step},
        form_kwargs={"step": step},
        done=step.version,
    )


@may(May.EDIT_PROCEDURE)
def target_add(request: HttpRequest, stage_id: int) -> HttpResponse:
    stage = _stage(stage_id)
    return act_page(
        request,
        form_class=forms.TargetForm,
        act=procedure_step_acts.add_target,
        title=f"{stage.step.title}, {stage.name}: target of another group",
        submit="Add the target",
        fixed={"stage": stage, **({} if stage.step.groups else {"group": ""})},
        form_kwargs={"step": stage.step, "kind": stage.kind},
        done=stage.step.version,
    )


@may(May.EDIT_PROCEDURE)
def stage_remove(request: HttpRequest, stage_id: int) -> HttpResponse:
    stage = _stage(stage_id)
    return act_page(
        request,
        form_class=forms.PlainForm,
        act=procedure_step_acts.remove_stage,
        title=f"Take out stage {stage.order}, {stage.name}",
        submit="Take it out",
        fixed={"stage": stage},
        done=stage.step.version,
    )


urlpatterns = [
    path("procedures/", procedures, name="procedures"),
    path("procedures/add/", procedure_add, name="procedure-add"),
    path("procedures/<uuid:procedure_id>/", procedure, name="procedure"),
    path("procedures/<uuid:procedure_id>/withdraw/", procedure_withdraw, name="procedure-withdraw"),
    path("procedures/<uuid:procedure_id>/versions/add/", version_add, name="version-add"),
    path("procedures/versions/<uuid:version_id>/", procedure_version, name="procedure-version"),
    path("procedures/versions/<uuid:version_id>/write/", version_write, name="version-write"),
    path("procedures/versions/<uuid:version_id>/release/", version_release, name="version-release"),
    path("procedures/versions/<uuid:version_id>/steps/add/", step_add, name="step-add"),
    path("procedures/steps/<int:step_id>/write/", step_write, name="step-write"),
    path("procedures/steps/<int:step_id>/remove/", step_remove, name="step-remove"),
    path("procedures/steps/<int:step_id>/move/", step_move, name="step-move"),
    path("procedures/steps/<int:step_id>/stages/add/", stage_add, name="stage-add"),
    path("procedures/stages/<int:stage_id>/targets/add/", target_add, name="target-add"),
    path("procedures/stages/<int:stage_id>/remove/", stage_remove, name="stage-remove"),
]
