"""Work lines: their section of the job page, a page of their own, and the form of each act."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import NoReverseMatch, path, reverse
from django.utils import timezone

from jobs import sections, shown
from jobs.acts import answer as answer_acts
from jobs.acts import labour as labour_acts
from jobs.acts import work as acts
from jobs.authority import in_money, why_above_authority
from jobs.forms import work as forms
from jobs.models import Job, WorkLine
from jobs.models.work import LineKind
from jobs.views.job import about, visible_job
from vehicles.audience import Audience, NotTheirs
from vehicles.models import Severity
from vehicles.models.fault import Reproduced
from vehicles.people import authorisers_of
from vehicles.photos import photos_of
from workshop.copies import keeps_copy
from workshop.models import Shop
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued


def visible_line(request: HttpRequest, line_id: UUID) -> WorkLine:
    """The line with its job and car, when this person may see it; else 404."""
    return get_object_or_404(
        WorkLine.objects.select_related("job__vehicle", "technician", "qualified__person").filter(
            job__in=Job.objects.visible_to(request.user)
        ),
        pk=line_id,
    )


def about_line(line: WorkLine) -> dict[str, Any]:
    """The line above a form's title: which line of which job, and the way back."""
    return {
        "kicker": f"Line {line} · {line.complaint[:80]}",
        "kicker_url": line.get_absolute_url(),
    }


def back_to(request: HttpRequest, line: WorkLine) -> str:
    """Where a form of a line leads: to the line on the job page where it was opened there, else to the line's page."""
    if request.GET.get("from") == "job":
        return f"{line.job.get_absolute_url()}#line-{line.pk}"
    return line.get_absolute_url()


def line_page(
    request: HttpRequest,
    line: WorkLine,
    *,
    form_kwargs: dict[str, Any] | None = None,
    context: dict[str, Any] | None = None,
    **options: Any,
) -> HttpResponse:
    """`act_page` for a form of a line, which the job page can open under the line (`static/js/inline.js`).

    Opened there, its fields get names of their own, and it says where it is sent.
    """
    if hasattr(options["form_class"], "folded_groups"):
        options.setdefault("template", "jobs/act_folded.html")
    ids = {"auto_id": f"l{line.pk.hex[:8]}_%s"} if request.htmx else {}
    return act_page(
        request,
        form_kwargs={**ids, **(form_kwargs or {})},
        done=back_to(request, line),
        context={"action": request.get_full_path(), **about_line(line), **(context or {})},
        **options,
    )


def currency() -> str:
    return Shop.current().currency


# --- pages ------------------------------------------------------------------------------------------------


@may(May.SEE_SHOP)
@keeps_copy
def line(request: HttpRequest, line_id: UUID) -> HttpResponse:
    """One line: what is asked, what the owner answered, what was done."""
    found = get_object_or_404(
        shown.with_everything(
            WorkLine.objects.select_related("job__vehicle").filter(
                job__in=Job.objects.visible_to(request.user)
            )
        ),
        pk=line_id,
    )
    (one,) = shown.shown(found.job, [found])
    one.photos.extend(photos_of(found.job.vehicle_id, line=found))
    return render(
        request,
        "jobs/line.html",
        {
            "shown": one,
            "line": found,
            "job": found.job,
            "car": found.job.vehicle,
            "why_above": why_above_authority(found),
        },
    )


def _lines_section(request: HttpRequest, job: Job) -> dict[str, Any]:
    return {"lines": shown.lines_of(job)}


sections.add_section(20, "lines", "jobs/_lines.html", _lines_section, of_parts=True)


# --- writing a line ---------------------------------------------------------------------------------------


@may(May.EDIT_LINE)
def line_add(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.AddLineForm,
        act=acts.add_line,
        title="New work line",
        submit="Add the line",
        fixed={"job": job},
        form_kwargs={"job": job, "currency": currency()},
        done=lambda line: f"{job.get_absolute_url()}#line-{line.pk}",
        cancel=job,
        said="Line added.",
        template="jobs/act_folded.html",
        context=about(job),
    )


@may(May.EDIT_LINE)
@keeps_copy
@queued(acts.write_line, what="Text of a work line")
def line_write(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    names = ("complaint", "cause", "correction", "technician", "competence", "qualified")
    return line_page(
        request,
        found,
        form_class=forms.WriteLineForm,
        act=acts.write_line,
        title="Complaint, cause, correction",
        fixed={"line": found},
        form_kwargs={"line": found},
        initial={
            "seen_version": found.version,
            **{name: getattr(found, name) for name in names},
            "faults": found.faults.all(),
            "items": found.items.all(),
        },
        said="Written.",
    )


# --- authority --------------------------------------------------------------------------------------------


@may(May.ESTIMATE)
def line_estimate(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    intro = ""
    if found.authorised_amount is not None:
        intro = f"Authorised up to {in_money(found.authorised_amount)}. Above that the owner is asked again."
    return line_page(
        request,
        found,
        form_class=forms.EstimateForm,
        act=answer_acts.estimate_line,
        title="Estimate",
        intro=intro,
        fixed={"line": found},
        form_kwargs={"currency": currency()},
        initial={"seen_version": found.version, "estimate": found.estimate, "cost": found.cost},
        said="Estimated.",
    )


def _who_decides(line: WorkLine):
    """The one named on the job, or the only one who may; None where it has to be chosen."""
    if line.job.authoriser_id:
        return line.job.authoriser_id
    found = list(authorisers_of(line.job.vehicle, timezone.localdate())[:2])
    return found[0].pk if len(found) == 1 else None


@may(May.RECORD_ANSWER)
def line_answer(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    if found.amount is None:
        intro = "This line is not estimated: with a yes, say up to what amount."
    else:
        intro = f"The line comes to {in_money(found.amount)}."
    return line_page(
        request,
        found,
        form_class=forms.AnswerForm,
        act=answer_acts.record_answer,
        title="The owner's answer",
        submit="Record the answer",
        intro=intro,
        fixed={"line": found},
        form_kwargs={"line": found, "currency": currency()},
        initial={
            "seen_version": found.version,
            "answered_at": timezone.localtime().replace(second=0, microsecond=0),
            "given_by": _who_decides(found),
        },
        said="The answer is recorded.",
    )


@may(May.TELL_OWNER)
def line_tell(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    if found.kind != LineKind.MAKE_SAFE:
        raise Http404("only making safe is told of")
    return line_page(
        request,
        found,
        form_class=forms.TellForm,
        act=answer_acts.tell_made_safe,
        title="The owner was told",
        intro="Making safe is done without asking and not charged, and the owner is told the same day.",
        fixed={"line": found},
        form_kwargs={"line": found},
        initial={"told": f"Made safe: {found.complaint}", "told_to": _who_decides(found)},
        said="Recorded.",
    )


@may(May.ANSWER_OWN)
def own_answer(request: HttpRequest, line_id: UUID) -> HttpResponse:
    """The owner's answer to an estimate, in their own account."""
    found = get_object_or_404(
        WorkLine.objects.select_related("job__vehicle").filter(job__in=Job.objects.visible_to(request.user)),
        pk=line_id,
    )
    if found.dropped_because or found.job.is_closed or found.amount is None:
        raise Http404("nothing to answer")
    try:
        audience = Audience.of_owner(request.user, found.job.vehicle)
    except NotTheirs as error:
        raise Http404("not their own car") from error
    # What was answered before the car was theirs is of who had it then.
    given = [row for row in found.answers.select_related("by") if audience.hears(row.answered_at)]
    return act_page(
        request,
        form_class=forms.OwnAnswerForm,
        act=answer_acts.answer_own,
        title="Your answer",
        submit="Send the answer",
        fixed={"line": found},
        form_kwargs={"currency": currency()},
        initial={"seen_version": found.version},
        done=_own_page(found),
        said="Your answer is recorded. Thank you.",
        template="jobs/own_answer.html",
        context={
            "currency": currency(),
            "answers": given,
            "agreed": found.authorised_amount if given and found.above_authority else None,
            "faults": found.faults.order_by("order"),
            "kicker": found.job.vehicle.name,
        },
    )


def _own_page(line: WorkLine) -> str:
    try:
        return reverse("vehicles:my-car", args=[line.job.vehicle_id])
    except NoReverseMatch:
        return reverse("home")


# --- labour and parts used --------------------------------------------------------------------------------


@may(May.LABOUR)
@queued(labour_acts.add_labour, what="Labour")
def labour_add(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    return line_page(
        request,
        found,
        form_class=forms.LabourForm,
        act=labour_acts.add_labour,
        title="Labour",
        fixed={"line": found},
        initial={"person": request.user.pk, "day": timezone.localdate(), "minutes": ["", "h"]},
        said="Labour recorded.",
    )


@may(May.LABOUR)
def labour_strike(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    return line_page(
        request,
        found,
        form_class=forms.StrikeLabourForm,
        act=labour_acts.strike_labour,
        title="Labour entered in error",
        submit="Take it back",
        intro="The entry stays to be seen, and counts as nothing.",
        form_kwargs={"rows": found.labour.counting().select_related("person")},
        said="Taken back.",
    )


@may(May.FIT_PARTS)
def part_use(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    return line_page(
        request,
        found,
        form_class=forms.PartUsedForm,
        act=labour_acts.use_part,
        title="Part or material used",
        intro="What is billed. A part that has its place on the car is fitted there too: “Parts of the car”.",
        fixed={"line": found},
        form_kwargs={"currency": currency()},
        said="Part recorded.",
    )


@may(May.FIT_PARTS)
def part_strike(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    return line_page(
        request,
        found,
        form_class=forms.StrikePartUsedForm,
        act=labour_acts.strike_part_used,
        title="Part entered in error",
        submit="Take it back",
        intro="The entry stays to be seen, and counts as nothing. Correct the line's cost too, where it changed.",
        form_kwargs={"rows": found.parts_used.counting()},
        said="Taken back.",
    )


# --- how a line ends --------------------------------------------------------------------------------------


@may(May.FINISH_LINE)
def line_finish(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    return line_page(
        request,
        found,
        form_class=forms.FinishForm,
        act=acts.finish_line,
        title="Finish the line",
        submit="It is done",
        fixed={"line": found},
        initial={"seen_version": found.version, "correction": found.correction},
        said="The line is done.",
    )


@may(May.EDIT_LINE)
def line_drop(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    return line_page(
        request,
        found,
        form_class=forms.DropForm,
        act=acts.drop_line,
        title="Drop the line",
        submit="Drop it",
        intro="It stays on record as not done. Faults and items that it took on are still open.",
        fixed={"line": found},
        initial={"seen_version": found.version},
        said="The line is dropped.",
    )


@may(May.FINISH_LINE)
def line_reopen(request: HttpRequest, line_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    return line_page(
        request,
        found,
        form_class=forms.ReopenForm,
        act=acts.reopen_line,
        title="Reopen the line",
        submit="Reopen it",
        intro="Faults that it ended stay ended until they are reopened themselves.",
        fixed={"line": found},
        said="The line is open again.",
    )


@may(May.END_FAULT)
def fault_fix(request: HttpRequest, line_id: UUID, fault_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    fault = get_object_or_404(found.faults, pk=fault_id)
    intro = f"{fault}: {Severity(fault.severity).label.lower()}."
    if fault.reproduced in (Reproduced.SOMETIMES, Reproduced.NO):
        intro += (
            f" {fault.get_reproduced_display()}: it is “repaired, not yet confirmed” until it has been looked at "
            "again. Say by when."
        )
    return line_page(
        request,
        found,
        form_class=forms.FixedForm,
        act=acts.end_fixed,
        title="Fixed by this line",
        intro=intro,
        fixed={"line": found, "fault": fault},
        form_kwargs={"fault": fault},
        initial={"seen_version": fault.version, "due_distance": ["", Shop.current().distance_unit]},
        said="The fault has its end.",
    )


@may(May.OUTSTANDING)
def item_done(request: HttpRequest, line_id: UUID, item_id: UUID) -> HttpResponse:
    found = visible_line(request, line_id)
    item = get_object_or_404(found.items, pk=item_id)
    return line_page(
        request,
        found,
        form_class=forms.ItemDoneForm,
        act=acts.end_item_by_line,
        title="Done by this line",
        intro=str(item),
        fixed={"line": found, "item": item},
        initial={"seen_version": item.version},
        said="The item is ended.",
    )


urlpatterns = [
    path("jobs/<uuid:job_id>/lines/add/", line_add, name="line-add"),
    path("lines/<uuid:line_id>/", line, name="line"),
    path("lines/<uuid:line_id>/write/", line_write, name="line-write"),
    path("lines/<uuid:line_id>/estimate/", line_estimate, name="line-estimate"),
    path("lines/<uuid:line_id>/answer/", line_answer, name="line-answer"),
    path("lines/<uuid:line_id>/told/", line_tell, name="line-tell"),
    path("lines/<uuid:line_id>/labour/add/", labour_add, name="labour-add"),
    path("lines/<uuid:line_id>/labour/error/", labour_strike, name="labour-strike"),
    path("lines/<uuid:line_id>/used/add/", part_use, name="part-use"),
    path("lines/<uuid:line_id>/used/error/", part_strike, name="part-strike"),
    path("lines/<uuid:line_id>/finish/", line_finish, name="line-finish"),
    path("lines/<uuid:line_id>/drop/", line_drop, name="line-drop"),
    path("lines/<uuid:line_id>/reopen/", line_reopen, name="line-reopen"),
    path("lines/<uuid:line_id>/faults/<uuid:fault_id>/fixed/", fault_fix, name="fault-fix"),
    path("lines/<uuid:line_id>/items/<uuid:item_id>/done/", item_done, name="item-done"),
    path("mine/lines/<uuid:line_id>/answer/", own_answer, name="own-answer"),
]
