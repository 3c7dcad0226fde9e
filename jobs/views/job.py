"""The job page, and the forms of the job card."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import NoReverseMatch, path, reverse
from django.utils import timezone

from jobs import floor, sections, states
from jobs.acts import job as acts
from jobs.acts.roadtest import CHANGE_CONSENT
from jobs.forms import job as forms
from jobs.models import CheckIn, Job, WorkLine
from jobs.models.work import LineAnswerKind
from jobs.picture import JobPicture, picture_of
from jobs.views import tag as tag_views
from vehicles import people
from vehicles.models import Vehicle
from vehicles.panels import Action, Panel, add_action, add_panel
from vehicles.views.vehicle import visible_vehicle
from workshop import live
from workshop.copies import keeps_copy
from workshop.models import Shop
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued

JOBS_ON_VEHICLE_PAGE = 8


def visible_job(request: HttpRequest, job_id: UUID) -> Job:
    """The job with its car, when this person may see it; else 404."""
    return get_object_or_404(
        Job.objects.visible_to(request.user).select_related("vehicle", "technician", "lead"), pk=job_id
    )


def about(job: Job) -> dict[str, Any]:
    """The line above the title of a form: which job, which car, and the way back."""
    return {"kicker": f"Job {job.number} · {job.vehicle.name}", "kicker_url": job.get_absolute_url()}


@may(May.SEE_SHOP)
@keeps_copy
def job(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """One visit: what was agreed, what was done, and what still blocks handover."""
    mark = live.mark(request, reverse("jobs:job-live", args=[job_id]))
    return render(request, "jobs/job.html", _page(request, job_id, mark))


@may(May.SEE_SHOP)
def job_live(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """The page's parts, for the poll that `live.still_so` did not answer: something was written since."""
    mark = live.mark(request, request.get_full_path())
    return live.with_mark(render(request, "jobs/_job.html", _page(request, job_id, mark)), mark)


def _page(request: HttpRequest, job_id: UUID, mark: str) -> dict[str, Any]:
    found = get_object_or_404(
        Job.objects.visible_to(request.user)
        .select_related(
            "vehicle",
            "technician",
            "lead",
            "payer",
            "authoriser",
            "limit_given_by",
            "made_by",
            "check_in__odometer__instrument",
            "check_in__brought_by",
            "check_in__made_by",
            "comeback_of__job",
            "comeback_run__version_used__procedure",
            "comeback_judged_by",
        )
        .prefetch_related("vehicle__registrations"),
        pk=job_id,
    )
    picture = found.picture = JobPicture(found, whole=True)
    car, closed = found.vehicle, found.is_closed
    main, side = sections.for_job(request, found)
    return {
        "job": found,
        "car": car,
        "plate": car.current_plate(),
        "tags": tag_views.shown(picture.tags),
        "main": main,
        "side": side,
        "late": bool(found.promised_at and found.promised_at < timezone.now() and not closed),
        "gate": None if closed or found.state == states.JobState.BOOKED else picture.gate,
        "next_step": "" if closed else floor.next_step_of(found),
        "next_url": "" if closed else floor.next_url(found),
        "moves_on": [] if closed else _moves_on(request, found),
        "live_url": reverse("jobs:job-live", args=[found.pk]),
        "live_mark": mark,
    }


def _who_else(car: Vehicle) -> dict[str, Any]:
    """Payer and authoriser where the car has exactly one who may be it: chosen beforehand, to be changed at will."""
    day = timezone.localdate()
    found = {}
    for name, rows in (
        ("payer", people.payers_of(car, day)),
        ("authoriser", people.authorisers_of(car, day)),
    ):
        first = list(rows[:2])
        if len(first) == 1:
            found[name] = first[0].pk
    return found


# Whoever stands at the desk with the car is not asked to look for the booking first.
_THEN = [{"value": "check-in", "label": "The car is here: check it in"}]


def _after_booking(request: HttpRequest):
    def where(job: Job) -> str:
        if request.POST.get("then") == "check-in" and request.user.may(May.CHECK_IN):
            return reverse("jobs:check-in", args=[job.pk])
        return job.get_absolute_url()

    return where


@may(May.BOOK)
def job_book(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.BookForm,
        act=acts.book,
        title="Book a job",
        submit="Book it",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car, "day": timezone.localdate()},
        initial={"limit": Shop.current().default_limit, **_who_else(car)},
        done=_after_booking(request),
        cancel=car,
        said="Booked.",
        template="jobs/act_folded.html",
        context={"then": _THEN, "kicker": car.name, "kicker_url": car.get_absolute_url()},
    )


@may(May.BOOK)
def comeback_book(request: HttpRequest, line_id: UUID) -> HttpResponse:
    """A new job for work that the car has come back with."""
    line = get_object_or_404(
        WorkLine.objects.select_related("job__vehicle").filter(job__in=Job.objects.visible_to(request.user)),
        pk=line_id,
    )
    car = line.job.vehicle
    return act_page(
        request,
        form_class=forms.ComebackForm,
        act=acts.book,
        title="Book a comeback",
        submit="Book it",
        intro=f"For line {line}: {line.complaint}. Somebody who did not do that line judges what it turns out to be.",
        fixed={"vehicle": car, "comeback_of": line},
        form_kwargs={
            "vehicle": car,
            "day": timezone.localdate(),
            "runs": line.runs.select_related("version_used__procedure"),
        },
        initial={
            "title": f"Comeback: {line.complaint}"[:120],
            "limit": Shop.current().default_limit,
            **_who_else(car),
        },
        done=_after_booking(request),
        cancel=line.job,
        said="Booked.",
        template="jobs/act_folded.html",
        context={"then": _THEN, **about(line.job)},
    )


@may(May.BOOK)
def job_agree(request: HttpRequest, job_id: UUID) -> HttpResponse:
    found = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.AgreeAnewForm,
        act=acts.agree_anew,
        title="Change title, payer, limit",
        intro="What was agreed when booking. What changes here stands in the log, with why.",
        fixed={"job": found},
        form_kwargs={
            "instance": found,
            "vehicle": found.vehicle,
            "day": timezone.localdate(),
        },
        initial={"seen_version": found.version, "limit": found.limit},
        done=found,
        context=about(found),
    )


def _brings_it(car: Vehicle):
    """Who is around the car, where that is one person only: chosen beforehand, to be changed at will."""
    found = list(people.people_of(car, timezone.localdate())[:2])
    return found[0].pk if len(found) == 1 else None


def _last_check_in(job: Job) -> CheckIn | None:
    """Of the car's last visit: its damage is compared with, and never copied, as it is to be seen anew."""
    return CheckIn.objects.filter(job__vehicle=job.vehicle_id).exclude(job=job).order_by("-made_at").first()


@may(May.CHECK_IN)
def check_in(request: HttpRequest, job_id: UUID) -> HttpResponse:
    found = visible_job(request, job_id)
    latest = (
        found.vehicle.odometer_readings.select_related("instrument")
        .filter(value__isnull=False)
        .order_by("-read_at")
        .first()
    )
    return act_page(
        request,
        form_class=forms.CheckInForm,
        act=acts.check_in,
        title="Check-in",
        submit="Check the car in",
        fixed={"job": found},
        form_kwargs={"vehicle": found.vehicle, "day": timezone.localdate()},
        initial={
            "odometer": ["", latest.instrument.unit if latest else Shop.current().distance_unit],
            "brought_by": _brings_it(found.vehicle),
        },
        done=found,
        said="Checked in.",
        template="jobs/check_in.html",
        context={
            "latest": latest,
            "before": _last_check_in(found),
            "angle_url": _angles(found),
            **about(found),
        },
    )


@may(May.CHECK_IN)
def check_in_change(request: HttpRequest, job_id: UUID) -> HttpResponse:
    found = visible_job(request, job_id)
    row = getattr(found, "check_in", None)
    if row is None:
        raise Http404("not checked in")
    return act_page(
        request,
        form_class=forms.CheckInChangeForm,
        act=acts.change_check_in,
        title=CHANGE_CONSENT,
        intro="Odometer, fuel and damage stand as they were seen. What changes here stands in the log, with why.",
        fixed={"check_in": row},
        form_kwargs={"instance": row},
        initial={"seen_version": row.version},
        done=found,
        context=about(found),
    )


@may(May.SEE_SHOP)
def job_move(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """One move by hand; those that go back ask why."""
    found = visible_job(request, job_id)
    asked = (request.POST if request.method == "POST" else request.GET).get("to_state", "")
    known = {(move.from_state, move.to_state): move for move in states.MOVES}
    move = known.get((found.state, asked))
    # Without such a move from here the act refuses in words; the form still asks what moves there ask.
    back = (
        move.needs_reason
        if move
        else any(each.needs_reason and each.by_hand and each.to_state == asked for each in states.MOVES)
    )
    return act_page(
        request,
        form_class=forms.MoveBackForm if back else forms.MoveForm,
        act=acts.move,
        title=move.label if move else "Move the job",
        submit=move.label if move else "Move it",
        fixed={"job": found},
        done=found,
        said=f"{move.to_state.label}." if move else "Moved.",
        intro=f"Now: {found.get_state_display().lower()}.",
        template="jobs/move.html",
        context={
            "open_lines": open_lines(found) if asked == states.JobState.FINAL_CHECKS else [],
            **about(found),
        },
    )


@may(May.BOOK)
def job_plan(request: HttpRequest, job_id: UUID) -> HttpResponse:
    found = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.PlanForm,
        act=acts.plan,
        title="Plan",
        fixed={"job": found},
        form_kwargs={"instance": found},
        initial={"seen_version": found.version},
        done=found,
        context=about(found),
    )


@may(May.MOVE_JOB)
@queued(acts.pass_on, what="Job handed on")
def job_pass(request: HttpRequest, job_id: UUID) -> HttpResponse:
    found = visible_job(request, job_id)
    who = f"{found.technician} has it now." if found.technician else "Nobody has it now."
    return act_page(
        request,
        form_class=forms.PassForm,
        act=acts.pass_on,
        title="Hand the job on",
        submit="Hand it on",
        intro=f"{who} Whoever takes it on must know what is not tight.",
        fixed={"job": found},
        form_kwargs={"job": found},
        done=found,
        context=about(found),
    )


@may(May.CANCEL_JOB)
def job_cancel(request: HttpRequest, job_id: UUID) -> HttpResponse:
    found = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.CancelForm,
        act=acts.cancel,
        title="Cancel the booking",
        submit="Cancel the booking",
        intro="The job keeps its number and stays on record.",
        fixed={"job": found},
        done=found,
        said="Cancelled.",
        context={"cancel_label": "Leave it", **about(found)},
    )


@may(May.DIAGNOSE)
def comeback_judge(request: HttpRequest, job_id: UUID) -> HttpResponse:
    found = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.JudgeForm,
        act=acts.judge_comeback,
        title="Judge the comeback",
        fixed={"job": found},
        done=found,
        context=about(found),
    )


# The sections of the job page that belong to the job card. Others add theirs beside their own views.


def _check_in_section(request: HttpRequest, job: Job) -> dict:
    check_in = getattr(job, "check_in", None)
    return {"check_in": check_in, "photos": [], "angle_url": _angles(job) if check_in else ""}


def _angles(job: Job) -> str:
    """The photos of the car all round at check-in."""
    try:
        return reverse("jobs:angles", args=[job.pk, "check_in"])
    except NoReverseMatch:
        return ""


def _comeback_section(request: HttpRequest, job: Job) -> dict | None:
    return {} if job.comeback_of_id else None


def _tests_section(request: HttpRequest, job: Job) -> dict | None:
    if job.state == states.JobState.BOOKED:
        return None
    picture = picture_of(job)
    return {"road_tests": picture.road_tests, "final_checks": picture.final_checks}


def _things_section(request: HttpRequest, job: Job) -> dict | None:
    rows = [thing for thing in picture_of(job).things if thing.job_id == job.pk]
    if not rows and (job.state == states.JobState.BOOKED or job.is_closed):
        return None
    return {"things": rows}


def _passes_section(request: HttpRequest, job: Job) -> dict | None:
    rows = list(job.passes.select_related("from_person", "to_person"))
    return {"passes": rows} if rows else None


def _isolations_section(request: HttpRequest, job: Job) -> dict | None:
    # One that still stands is the car's, whichever job it was made on.
    rows = picture_of(job).isolations
    if not job.vehicle.high_voltage and not rows:
        return None
    return {"isolations": rows, "isolated": any(row.re_energised_at is None for row in rows)}


def _surveys_section(request: HttpRequest, job: Job) -> dict | None:
    rows = list(job.surveys.select_related("made_by"))
    if not rows and (job.state == states.JobState.BOOKED or job.is_closed):
        return None
    return {"surveys": rows}


def _faults_section(request: HttpRequest, job: Job) -> dict | None:
    picture = picture_of(job)
    on_lines: dict = {}
    for line in picture.lines:
        for fault in line.faults.all():
            on_lines.setdefault(fault.pk, []).append(str(line.order))
    for fault in picture.faults:
        fault.on_lines = ", ".join(on_lines.get(fault.pk, []))
    return {"faults": picture.faults}


def _moves_section(request: HttpRequest, job: Job) -> dict | None:
    rows = list(job.moves.select_related("made_by"))
    return {"moves": rows} if rows else None


def _blockers_section(request: HttpRequest, job: Job) -> dict | None:
    if job.is_closed or job.state == states.JobState.BOOKED:
        return None
    waive = f"{reverse('jobs:waive', args=[job.pk])}?" if request.user.may(May.WAIVE) else ""
    picture = picture_of(job)
    return {"gate": picture.gate, "waive": waive, "waivers": picture.waivers}


def _next_section(request: HttpRequest, job: Job) -> dict | None:
    """The forms that the state allows besides the step to take now; `moves_on` is the page's."""
    return None if job.is_closed else {}


def open_lines(job: Job) -> list[WorkLine]:
    """Lines that are neither done nor dropped although they may or must still be: undecided, or authorised."""
    return _still_open(job.lines.order_by("order"))


def _still_open(lines: Iterable[WorkLine]) -> list[WorkLine]:
    settled = (LineAnswerKind.NO, LineAnswerKind.LATER)
    return [line for line in lines if line.is_open and line.answer not in settled]


def _moves_on(request: HttpRequest, job: Job) -> list[dict[str, Any]]:
    pages = {
        "check_in": "check-in",
        "cancel": "job-cancel",
        "call_ready": "handover",
        "hand_over": "handover",
        "collect_unfinished": "collect-unfinished",
    }
    found = []
    for number, move in enumerate(states.moves_from(job.state, request.user)):
        # Back, or out of the shop, is never the step to take now, whoever looks and may do nothing else.
        first = number == 0 and not move.needs_reason
        entry: dict[str, Any] = {"label": move.label, "first": first, "back": move.needs_reason}
        lines = picture_of(job).lines if move.to_state == states.JobState.FINAL_CHECKS else []
        early = bool(_still_open(lines))
        if move.to_state == states.JobState.FINAL_CHECKS and (early or not lines):
            entry["first"] = (
                False  # nothing was done yet, or not all: it may be, and is not the step to take now
            )
        if early:
            # The page lists the lines that are still open.
            entry["url"] = f"{reverse('jobs:job-move', args=[job.pk])}?to_state={move.to_state.value}"
        elif move.by_hand and not move.needs_reason:
            entry["form"] = forms.MoveForm(initial={"to_state": move.to_state.value}, auto_id=False)
            entry["url"] = reverse("jobs:job-move", args=[job.pk])
        elif move.by_hand:
            entry["url"] = f"{reverse('jobs:job-move', args=[job.pk])}?to_state={move.to_state.value}"
        else:
            try:
                entry["url"] = reverse(f"jobs:{pages.get(move.way, 'handover')}", args=[job.pk])
            except NoReverseMatch:
                continue
        found.append(entry)
    return found


def _outstanding_section(request: HttpRequest, job: Job) -> dict:
    return {"items": picture_of(job).items}


sections.add_section(10, "check-in", "jobs/_check_in.html", _check_in_section)
sections.add_section(15, "comeback", "jobs/_comeback.html", _comeback_section)
sections.add_section(40, "isolations", "jobs/_isolations.html", _isolations_section)
sections.add_section(50, "tests", "jobs/_tests.html", _tests_section)
sections.add_section(60, "things", "jobs/_things.html", _things_section)
sections.add_section(70, "passes", "jobs/_passes.html", _passes_section)
sections.add_section(75, "surveys", "jobs/_surveys.html", _surveys_section)
sections.add_section(80, "faults", "jobs/_faults.html", _faults_section)
sections.add_section(95, "moves", "jobs/_moves.html", _moves_section)
sections.add_section(10, "blockers", "jobs/_blockers.html", _blockers_section, side=True)
sections.add_section(40, "else", "jobs/_next.html", _next_section, side=True)
sections.add_section(30, "outstanding", "jobs/_outstanding.html", _outstanding_section, side=True)


def _jobs_panel(request: HttpRequest, vehicle) -> dict:
    """All of the car's jobs, the older ones folded away: twenty years are some dozens of rows. One query."""
    rows = list(vehicle.jobs.select_related("technician"))
    return {
        "jobs": rows[:JOBS_ON_VEHICLE_PAGE],
        "older": rows[JOBS_ON_VEHICLE_PAGE:],
        "total": len(rows),
    }


add_panel(Panel(50, "jobs", "Jobs", "jobs/_jobs_of_vehicle.html", _jobs_panel))
add_action(Action(10, "Book a job", "jobs:job-book", May.BOOK, main=True))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/book/", job_book, name="job-book"),
    path("lines/<uuid:line_id>/comeback/", comeback_book, name="comeback-book"),
    path("jobs/<uuid:job_id>/", job, name="job"),
    path("jobs/<uuid:job_id>/live/", job_live, name="job-live"),
    path("jobs/<uuid:job_id>/agree/", job_agree, name="job-agree"),
    path("jobs/<uuid:job_id>/check-in/", check_in, name="check-in"),
    path("jobs/<uuid:job_id>/check-in/change/", check_in_change, name="check-in-change"),
    path("jobs/<uuid:job_id>/move/", job_move, name="job-move"),
    path("jobs/<uuid:job_id>/plan/", job_plan, name="job-plan"),
    path("jobs/<uuid:job_id>/pass/", job_pass, name="job-pass"),
    path("jobs/<uuid:job_id>/cancel/", job_cancel, name="job-cancel"),
    path("jobs/<uuid:job_id>/judge/", comeback_judge, name="comeback-judge"),
]
