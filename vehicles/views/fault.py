from __future__ import annotations

from uuid import UUID

from django.db.models import Count, Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from vehicles.acts import fault as acts
from vehicles.calculations import kept
from vehicles.fault_story import next_step, possibilities_of, with_reading
from vehicles.forms import fault as forms
from vehicles.models import Fault, FaultEnd, Possibility, Severity, Vehicle
from vehicles.models.outstanding import OutstandingReason
from vehicles.panels import Action, Gathered, Need, Panel, add_action, add_needs, add_panel
from vehicles.photos import photos_of
from vehicles.views.part import about
from vehicles.views.vehicle import visible_vehicle
from vehicles.walk import HIGH_VOLTAGE
from workshop.copies import keeps_copy
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued

# Ended faults on the vehicle's page; all of them are one link away.
PANEL_ENDED = 5


def visible_fault(request: HttpRequest, fault_id: UUID) -> Fault:
    return get_object_or_404(
        Fault.objects.select_related(
            "vehicle",
            "job",
            "made_by",
            "device",
            "reported_by",
            "place",
            "root_cause",
            "ended_by",
            "fixed_by_line__job",
            "recheck_item",
            "outstanding_item",
            "same_as",
        ).filter(vehicle__in=Vehicle.objects.visible_to(request.user)),
        pk=fault_id,
    )


def worst_first(faults) -> list[Fault]:
    """Without an end first, then by severity, then the newest."""
    return sorted(faults, key=lambda row: (bool(row.end), Severity(row.severity).rank, -row.order))


def steps_in_words(fault: Fault) -> str:
    """The diagnosis steps as text, one a line: what may be taken over when no fault was found."""
    lines = []
    for step in fault.steps.all():
        read = with_reading(step)
        lines.append(f"{step.tried}: {step.seen}" + (f" ({read})" if read else ""))
    return "\n".join(lines)


# What the owner answered on a work line, as the reason why a fault stays outstanding.
_ANSWERED = {"no": OutstandingReason.DECLINED, "later": OutstandingReason.DEFERRED}


def why_it_stays(fault: Fault) -> str:
    """The reason that the owner's newest answer on one of its work lines gives; empty where it was no refusal."""
    answer = (
        fault.lines.exclude(answer="").order_by("-made_at", "-order").values_list("answer", flat=True).first()
    )
    return _ANSWERED.get(answer, "")


@may(May.SEE_SHOP)
def faults(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    rows = worst_first(car.faults.select_related("place", "root_cause", "reported_by", "made_by"))
    return render(
        request,
        "vehicles/faults.html",
        {
            "vehicle": car,
            "open_faults": [row for row in rows if not row.end],
            "ended": sorted((row for row in rows if row.end), key=lambda row: row.ended_at, reverse=True),
        },
    )


@may(May.SEE_SHOP)
@keeps_copy
def fault(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    """The fault as a story: what was said, how it shows, what was tried, the cause, what was done, how it ended."""
    row = visible_fault(request, fault_id)
    steps = list(row.steps.select_related("made_by", "device"))
    for step in steps:
        step.read = with_reading(step)
    codes = list(row.codes.select_related("made_by"))
    for code in codes:
        code.code_read = True
    possibilities = possibilities_of(row)
    lines = list(row.lines.select_related("job", "technician").order_by("job__year", "job__serial", "order"))
    open_jobs = list(row.vehicle.jobs.open())
    step = next_step(
        row,
        steps=len(steps) + len(codes),
        possible=sum(not each.state for each in possibilities),
        lines=lines,
        open_jobs=open_jobs,
    )
    photos = photos_of(row.vehicle, fault=row)
    page = {
        "fault": row,
        "vehicle": row.vehicle,
        "tried": sorted([*steps, *codes], key=lambda each: (each.made_at, each.received_at)),
        "steps": steps,
        "possibilities": possibilities,
        "drain_tests": list(row.drain_tests.select_related("made_by")),
        "next_step": step if step is None or request.user.may(step.may) else None,
        "lines": lines,
        "calculations": kept(row.calculations),
        "photos": photos,
        "photos_before": [photo for photo in photos if photo.moment != "after"],
        "photos_after": [photo for photo in photos if photo.moment == "after"],
        "duplicates": row.duplicates.all(),
        "explained": row.root_cause.faults.exclude(pk=row.pk) if row.root_cause else [],
        "cautions": [HIGH_VOLTAGE] if row.vehicle.high_voltage else [],
    }
    if not row.end and request.user.may(May.DIAGNOSE):
        page |= _forms_of(row, possibilities, open_jobs)
    return render(request, "vehicles/fault.html", page)


def _forms_of(row: Fault, possibilities: list[Possibility], open_jobs: list) -> dict:
    """The forms that stand open on the page; each is sent to the page of its act, which shows it when refused."""
    on = row.job_id if row.job_id in {job.pk for job in open_jobs} else None
    if on is None and len(open_jobs) == 1:
        on = open_jobs[0].pk
    for each in possibilities:
        each.form = forms.PossibilityFindingForm(auto_id=f"found-{each.pk}-%s")
    cause = forms.CauseForm(vehicle=row.vehicle, auto_id="cause-%s", initial={"faults": [row.pk]})
    return {
        "step_form": forms.StepForm(vehicle=row.vehicle, auto_id="step-%s", initial={"job": on}),
        "possibility_form": forms.PossibilityForm(auto_id="possible-%s"),
        "cause_form": cause,
    }


def _asked_on(request: HttpRequest, car: Vehicle):
    """The car's open job from which the form was opened: Cancel leads back there."""
    asked = request.GET.get("job")
    return next((job for job in car.jobs.open() if str(job.pk) == asked), None) if asked else None


@may(May.REPORT_FAULT)
def fault_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    return act_page(
        request,
        form_class=forms.FaultForm,
        act=acts.report_fault,
        title="Report a fault",
        intro="In the words of whoever reports it. What it turns out to be comes later, step by step.",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        cancel=_asked_on(request, car) or car,
        submit="Report the fault",
        said="The fault is on record.",
        context=about(car),
    )


def _on_fault(request, fault_id, *, form_class, act, title, initial=None, kwargs=None, back=None, **page):
    """The page of one act on a fault: it comes back to the fault."""
    row = visible_fault(request, fault_id)
    start = {"seen_version": row.version} if "seen_version" in form_class.base_fields else {}
    return act_page(
        request,
        form_class=form_class,
        act=act,
        title=title,
        fixed={"fault": row},
        form_kwargs=kwargs(row) if kwargs else None,
        initial={**start, **(initial(row) if initial else {})},
        done=back or row,
        context={
            "kicker": f"{row} · {row.vehicle.name}",
            "kicker_url": row.get_absolute_url(),
            "vehicle": row.vehicle,
        },
        **page,
    )


@may(May.DIAGNOSE)
@queued(acts.add_step, what="Diagnosis step")
def fault_step(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    high_voltage = visible_fault(request, fault_id).vehicle.high_voltage
    return _on_fault(
        request,
        fault_id,
        form_class=forms.StepForm,
        act=acts.add_step,
        title="Diagnosis step",
        kwargs=lambda row: {"vehicle": row.vehicle},
        initial=lambda row: {"job": row.job_id},
        cautions=[HIGH_VOLTAGE] if high_voltage else (),
        submit="Add the step",
        back=f"{reverse('vehicles:fault', args=[fault_id])}#try",
    )


@may(May.DIAGNOSE)
def fault_possibility(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    row = visible_fault(request, fault_id)
    return _on_fault(
        request,
        fault_id,
        form_class=forms.PossibilityForm,
        act=acts.add_possibility,
        title="What else could it be",
        submit="Note it",
        said="Noted.",
        back=f"{row.get_absolute_url()}#possible",
    )


def _on_possibility(request, possibility_id, *, act, title, **page):
    """The page of one act on a possibility: it comes back to the fault."""
    row = get_object_or_404(
        Possibility.objects.select_related("fault__vehicle").filter(
            fault__vehicle__in=Vehicle.objects.visible_to(request.user)
        ),
        pk=possibility_id,
    )
    return act_page(
        request,
        form_class=forms.PossibilityFindingForm,
        act=act,
        title=title,
        intro=f"“{row.what}”",
        fixed={"possibility": row},
        done=f"{row.fault.get_absolute_url()}#possible",
        context={
            "kicker": f"{row.fault} · {row.fault.vehicle.name}",
            "kicker_url": row.fault.get_absolute_url(),
            "vehicle": row.fault.vehicle,
        },
        **page,
    )


@may(May.DIAGNOSE)
def possibility_rule_out(request: HttpRequest, possibility_id: UUID) -> HttpResponse:
    return _on_possibility(
        request,
        possibility_id,
        act=acts.rule_out,
        title="Ruled out, because",
        submit="Rule it out",
        said="Ruled out.",
    )


@may(May.DIAGNOSE)
def possibility_confirm(request: HttpRequest, possibility_id: UUID) -> HttpResponse:
    return _on_possibility(
        request,
        possibility_id,
        act=acts.confirm_possibility,
        title="Confirmed as the cause, because",
        submit="It is the cause",
        said="The cause is named.",
    )


@may(May.DIAGNOSE)
def possibility_again(request: HttpRequest, possibility_id: UUID) -> HttpResponse:
    return _on_possibility(
        request,
        possibility_id,
        act=acts.take_up_again,
        title="Possible again, because",
        submit="Take it up",
        said="Taken up.",
    )


@may(May.DIAGNOSE)
def fault_code(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.CodeForm,
        act=acts.add_code,
        title="Trouble code",
        intro="As the control unit gave it. What its structure says is shown with it; what it means on this car is the "
        "maker's to say.",
        submit="Add the code",
    )


@may(May.DIAGNOSE)
def fault_reproduced(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.ReproducedForm,
        act=acts.set_reproduced,
        title="Reproduced or not",
        initial=lambda row: {"reproduced": row.reproduced},
    )


@may(May.DIAGNOSE)
def fault_severity(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.FaultSeverityForm,
        act=acts.set_severity,
        title="Assess the fault again",
        initial=lambda row: {"severity": row.severity},
    )


@may(May.DIAGNOSE)
def fault_cause(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    asked = request.GET.get("fault", "")
    known = list(car.faults.values_list("pk", "end"))
    open_ones = [pk for pk, end in known if not end]
    chosen = [pk for pk, _ in known if str(pk) == asked]
    return act_page(
        request,
        form_class=forms.CauseForm,
        act=acts.name_cause,
        title="One cause for several faults" if len(open_ones) > 1 else "The cause",
        form_kwargs={"vehicle": car},
        initial={"faults": chosen},
        done=reverse("vehicles:fault", args=chosen) if chosen else reverse("vehicles:faults", args=[car.pk]),
        submit="Name the cause",
        context=about(car),
    )


@may(May.DIAGNOSE)
def fault_cause_withdraw(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.WithdrawCauseForm,
        act=acts.withdraw_cause,
        title="This cause does not explain it",
    )


@may(May.END_FAULT)
def fault_no_fault_found(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.NoFaultFoundForm,
        act=acts.end_no_fault_found,
        title="No fault found",
        initial=lambda row: {"tried": steps_in_words(row)},
        submit="End: no fault found",
    )


@may(May.END_FAULT)
def fault_outstanding(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.FaultOutstandingForm,
        act=acts.end_outstanding,
        title="It stays outstanding",
        intro="The item belongs to the car: it comes up on every later job until it is done or settled.",
        kwargs=lambda row: {"vehicle": row.vehicle},
        initial=lambda row: {
            "title": row.title,
            "severity": row.severity,
            "reason": why_it_stays(row),
        },
        submit="End: outstanding",
    )


@may(May.END_FAULT)
def fault_normal(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.NormalForm,
        act=acts.end_normal,
        title="Normal for this car",
        submit="End: normal for this car",
    )


@may(May.END_FAULT)
def fault_same(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.SameAsForm,
        act=acts.end_same_as,
        title="Same as another fault",
        kwargs=lambda row: {"fault": row},
        submit="End: the same as that one",
    )


@may(May.END_FAULT)
def fault_error(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.FaultErrorForm,
        act=acts.end_error,
        title="Entered in error",
        intro="The record stays readable.",
        submit="End: entered in error",
    )


@may(May.END_FAULT)
def fault_reopen(request: HttpRequest, fault_id: UUID) -> HttpResponse:
    return _on_fault(
        request,
        fault_id,
        form_class=forms.ReopenForm,
        act=acts.reopen,
        title="Open the fault again",
        intro="Its end is taken off; it stays readable in the log.",
        submit="Open it again",
    )


def gather(request: HttpRequest, car: Vehicle) -> dict:
    """Open faults and the latest ended ones: three queries."""
    base = car.faults.select_related("place", "root_cause")
    return {
        "open_faults": worst_first(
            base.filter(end="").prefetch_related(Prefetch("codes", to_attr="read_codes"))
        ),
        "ended": list(base.exclude(end="").order_by("-ended_at")[:PANEL_ENDED]),
        "total": car.faults.aggregate(number=Count("pk"))["number"],
        "ends": FaultEnd,
    }


def needs(request: HttpRequest, car: Vehicle, gathered: Gathered) -> list[Need]:
    """Every open fault, the worst first. No query."""
    return [
        Need(
            20 + Severity(row.severity).rank,
            str(row),
            row.get_absolute_url(),
            " · ".join(
                filter(
                    None,
                    (
                        "Open fault",
                        f"cause: {row.root_cause}"
                        if row.root_cause_id
                        else row.get_reproduced_display().lower(),
                        row.where,
                    ),
                )
            ),
            severity=row.severity,
            hand=row.severity == Severity.DANGEROUS,
        )
        for row in gathered["faults"]["open_faults"]
    ]


add_needs("faults", needs)
add_action(Action(20, "Report a fault", "vehicles:fault-add", May.REPORT_FAULT))
add_panel(Panel(40, "faults", "Faults", "vehicles/_faults.html", gather))

_F = "faults/<uuid:fault_id>/"
urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/faults/", faults, name="faults"),
    path("vehicles/<uuid:vehicle_id>/faults/add/", fault_add, name="fault-add"),
    path("vehicles/<uuid:vehicle_id>/faults/cause/", fault_cause, name="fault-cause"),
    path(_F, fault, name="fault"),
    path(f"{_F}steps/add/", fault_step, name="fault-step"),
    path(f"{_F}possibilities/add/", fault_possibility, name="fault-possibility"),
    path("possibilities/<uuid:possibility_id>/rule-out/", possibility_rule_out, name="possibility-rule-out"),
    path("possibilities/<uuid:possibility_id>/confirm/", possibility_confirm, name="possibility-confirm"),
    path("possibilities/<uuid:possibility_id>/again/", possibility_again, name="possibility-again"),
    path(f"{_F}codes/add/", fault_code, name="fault-code"),
    path(f"{_F}reproduced/", fault_reproduced, name="fault-reproduced"),
    path(f"{_F}severity/", fault_severity, name="fault-severity"),
    path(f"{_F}cause/withdraw/", fault_cause_withdraw, name="fault-cause-withdraw"),
    path(f"{_F}end/no-fault-found/", fault_no_fault_found, name="fault-no-fault-found"),
    path(f"{_F}end/outstanding/", fault_outstanding, name="fault-outstanding"),
    path(f"{_F}end/normal/", fault_normal, name="fault-normal"),
    path(f"{_F}end/same/", fault_same, name="fault-same"),
    path(f"{_F}end/error/", fault_error, name="fault-error"),
    path(f"{_F}reopen/", fault_reopen, name="fault-reopen"),
]
