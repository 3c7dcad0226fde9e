"""The library of procedures: the list, a procedure with its versions, what two of them differ in, the
release.
"""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse

from jobs import patterns
from jobs import run_panel as panel
from jobs import run_screen as screen
from jobs.acts import procedure as acts
from jobs.angle_estimate import of_targets
from jobs.forms import procedure as forms
from jobs.models import Procedure, ProcedureVersion
from jobs.models.procedure import Area
from jobs.runs import state_of_version
from jobs.step_questions import load_words
from jobs.version_compare import compare
from jobs.versions import lacks_of, seen_order, why_not_whole
from workshop.copies import keeps_copy
from workshop.pages import act_page, may
from workshop.permissions import May

PER_PAGE = 40
SHOWN = {"": "In use", "drafts": "With a draft", "withdrawn": "Withdrawn", "all": "All"}


@may(May.SEE_SHOP)
def procedures(request: HttpRequest) -> HttpResponse:
    """The library by area, searched by `q`, `area` and `show`. A fixed number of queries, whatever its
    size.
    """
    asked, area, show = (request.GET.get(name, "").strip() for name in ("q", "area", "show"))
    show = show if show in SHOWN else ""
    rows = Procedure.objects.prefetch_related("versions__released_by", "versions__made_by")
    rows = rows.annotate(runs=Count("versions__runs", filter=Q(versions__runs__abandoned_at=None))).order_by(
        "title"
    )
    for word in asked.split()[:8]:
        rows = rows.filter(
            Q(title__icontains=word)
            | Q(applies_to__icontains=word)
            | Q(pk__in=ProcedureVersion.objects.filter(source__icontains=word).values("procedure"))
        )
    if area in Area.values:
        rows = rows.filter(area=area)
    if show == "withdrawn":
        rows = rows.exclude(withdrawn_because="")
    elif show == "drafts":
        rows = rows.filter(pk__in=ProcedureVersion.objects.filter(released_at=None).values("procedure"))
    elif show == "":
        rows = rows.filter(withdrawn_because="")
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    for row in page.object_list:
        row.newest = row.released()
        row.draft = next((one for one in row.versions.all() if one.released_at is None), None)
    context = {
        "page_obj": page,
        "asked": asked,
        "area": area,
        "areas": Area.choices,
        "show": show,
        "shown": SHOWN.items(),
        "any": page.paginator.count > 0 or Procedure.objects.exists(),
    }
    return render(request, "jobs/_procedures.html" if request.htmx else "jobs/procedures.html", context)


@may(May.SEE_SHOP)
@keeps_copy
def procedure(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    """One procedure: its newest version in full, and the earlier ones."""
    row = get_object_or_404(
        Procedure.objects.prefetch_related("versions__made_by", "versions__released_by"), pk=procedure_id
    )
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
            "plain": forms.PlainForm(),
            "take_up": forms.TakeUpForm(initial={"seen_version": row.version}),
        },
    )


def steps_of(version: ProcedureVersion, *, writes: bool = False) -> list[dict]:
    """Steps with drawing, stages and what the load comes to: three queries; one more with what moves them."""
    rows = list(version.steps.prefetch_related("stages__targets").order_by("order"))
    order = seen_order(version) if writes else ""
    found = []
    for step in rows:
        stages = list(step.stages.all())
        targets = []
        for stage in stages:
            for target in stage.targets.all():
                target.stage = stage
                targets.append(target)
        found.append(
            {
                "step": step,
                "stages": stages,
                "drawing": patterns.drawing(step),
                "groups": [(name, step.groups[name]) for name in step.group_names],
                "load": load_words(step, targets),
                "estimates": of_targets(step, targets),
                "lacks": why_not_whole(step),
                "up": forms.MoveForm(initial={"up": True, "seen": order}) if writes else None,
                "down": forms.MoveForm(initial={"up": "", "seen": order}) if writes else None,
                "copy": forms.PlainForm() if writes else None,
            }
        )
    return found


@may(May.SEE_SHOP)
@keeps_copy
def procedure_version(request: HttpRequest, version_id: UUID) -> HttpResponse:
    """One version in full; a draft with what changes it and what it still lacks."""
    version = get_object_or_404(
        ProcedureVersion.objects.select_related("procedure", "made_by", "released_by"), pk=version_id
    )
    writes = version.released_at is None and request.user.may(May.EDIT_PROCEDURE)
    steps = steps_of(version, writes=writes)
    others = list(version.procedure.versions.exclude(pk=version.pk).order_by("-number"))
    earlier = next((one for one in others if one.number < version.number), None)
    return render(
        request,
        "jobs/procedure_version.html",
        {
            "version": version,
            "procedure": version.procedure,
            "steps": steps,
            "writes": writes,
            "lacks": lacks_of(version, [row["step"] for row in steps]) if version.released_at is None else [],
            "earlier": earlier,
            "newest": next((one for one in others if one.released_at), None),
            "new_version": forms.PlainForm()
            if version.released_at
            and request.user.may(May.EDIT_PROCEDURE)
            and all(one.released_at and one.number < version.number for one in others)
            else None,
        },
    )


@may(May.SEE_SHOP)
def version_preview(request: HttpRequest, version_id: UUID) -> HttpResponse:
    """The run screen as a technician will see it, with this version; nothing can be recorded."""
    version = get_object_or_404(ProcedureVersion.objects.select_related("procedure"), pk=version_id)
    state = state_of_version(version)
    state.steps = [step for step in state.steps if step.stages]
    page = {"version": version, "procedure": version.procedure, "preview": True}
    if state.steps:
        place = screen.place_of(state, request.GET)
        address = reverse("jobs:version-preview", args=[version.pk])
        page |= panel.context(request, state, place, page=address, preview=True)
    return render(request, "jobs/procedure_preview.html", page)


@may(May.SEE_SHOP)
def versions_compare(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    """What changed between any two versions (`a` and `b`, by number); without them the two newest."""
    row = get_object_or_404(Procedure, pk=procedure_id)
    versions = list(row.versions.select_related("released_by", "made_by").order_by("-number"))
    if len(versions) < 2:
        messages.info(request, "There is one version only: nothing to compare it with yet.")
        return redirect(row)
    by_number = {str(one.number): one for one in versions}
    after = by_number.get(request.GET.get("b", ""), versions[0])
    before = by_number.get(request.GET.get("a", "")) or next(
        (one for one in versions if one.number < after.number), versions[1]
    )
    if before == after:
        raise Http404("the same version twice")
    return render(
        request,
        "jobs/procedure_compare.html",
        {
            "procedure": row,
            "versions": versions,
            "before": before,
            "after": after,
            "found": compare(before, after),
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
def procedure_write(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    row = get_object_or_404(Procedure, pk=procedure_id)
    return act_page(
        request,
        form_class=forms.WriteProcedureForm,
        act=acts.write_procedure,
        title=f"{row}: name, area, cars",
        fixed={"procedure": row},
        form_kwargs={"instance": row},
        initial={"seen_version": row.version},
        done=row,
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
def procedure_take_up(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    row = get_object_or_404(Procedure, pk=procedure_id)
    return act_page(
        request,
        form_class=forms.TakeUpForm,
        act=acts.take_up_procedure,
        title=f"Take {row} into use again",
        intro="New runs may start with its newest released version.",
        submit="Take it into use",
        fixed={"procedure": row},
        initial={"seen_version": row.version},
        done=row,
    )


@may(May.EDIT_PROCEDURE)
def version_add(request: HttpRequest, procedure_id: UUID) -> HttpResponse:
    """The first version is begun with its source; a later one is a copy of the released one, in one tap."""
    row = get_object_or_404(Procedure.objects.prefetch_related("versions"), pk=procedure_id)
    newest = row.released()
    if newest is not None:
        return act_page(
            request,
            form_class=forms.PlainForm,
            act=acts.copy_released,
            title=f"{row}: a new version",
            intro=f"A draft that begins as a copy of version {newest.number}. Runs go on with that one until "
            "the draft is released.",
            submit="Make a new version",
            fixed={"procedure": row},
            cancel=row,
            said=f"A draft, so far the same as version {newest.number}. Change what has to change, then "
            "release it.",
        )
    return act_page(
        request,
        form_class=forms.VersionForm,
        act=acts.start_version,
        title=f"{row}: the first version",
        submit="Begin the draft",
        fixed={"procedure": row},
        form_kwargs={"area": row.area},
        cancel=row,
    )


def _draft(version_id: UUID) -> ProcedureVersion:
    return get_object_or_404(ProcedureVersion.objects.select_related("procedure"), pk=version_id)


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
    """Release a draft; what it lacks stands above the form, each with the way to mend it."""
    version = _draft(version_id)
    steps = list(version.steps.prefetch_related("stages__targets").order_by("order"))
    earlier = version.procedure.versions.filter(number__lt=version.number).order_by("-number").first()
    return act_page(
        request,
        form_class=forms.ReleaseForm,
        act=acts.release_version,
        title=f"Release {version}",
        intro="From then on nothing of it changes, and new runs work by it. Compare every value with "
        "its source first.",
        submit="Release it",
        fixed={"version": version},
        form_kwargs={"version": version, "request": request},
        done=version,
        said=f"{version} is released.",
        template="jobs/procedure_release.html",
        context={
            "lacks": lacks_of(version, steps) if version.released_at is None else [],
            "shown": steps_of(version),
            "found": compare(earlier, version) if earlier else None,
            "earlier": earlier,
        },
    )


urlpatterns = [
    path("procedures/", procedures, name="procedures"),
    path("procedures/add/", procedure_add, name="procedure-add"),
    path("procedures/<uuid:procedure_id>/", procedure, name="procedure"),
    path("procedures/<uuid:procedure_id>/write/", procedure_write, name="procedure-write"),
    path("procedures/<uuid:procedure_id>/withdraw/", procedure_withdraw, name="procedure-withdraw"),
    path("procedures/<uuid:procedure_id>/take-up/", procedure_take_up, name="procedure-take-up"),
    path("procedures/<uuid:procedure_id>/compare/", versions_compare, name="versions-compare"),
    path("procedures/<uuid:procedure_id>/versions/add/", version_add, name="version-add"),
    path("procedures/versions/<uuid:version_id>/", procedure_version, name="procedure-version"),
    path("procedures/versions/<uuid:version_id>/preview/", version_preview, name="version-preview"),
    path("procedures/versions/<uuid:version_id>/write/", version_write, name="version-write"),
    path("procedures/versions/<uuid:version_id>/release/", version_release, name="version-release"),
]
