from __future__ import annotations

from decimal import Decimal
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone

from vehicles.acts import drain as acts
from vehicles.acts.drain_again import put_asleep_right
from vehicles.drain import picture_of, put_right_from
from vehicles.drain_rules import WORDS
from vehicles.figures import figures_of
from vehicles.forms import drain as forms
from vehicles.models import DrainStep, DrainTest, Vehicle
from vehicles.models.drain import LimitSource
from vehicles.panels import Action, add_action
from vehicles.views.part import about
from vehicles.views.vehicle import visible_vehicle
from vehicles.walk import HIGH_VOLTAGE
from workshop.engineering.drain import USUAL_LIMIT, USUAL_SLEEP, Came
from workshop.engineering.units import Amount
from workshop.pages import act_page, may
from workshop.permissions import May

# Common practice, no source.
CAUTIONS = (
    "Do not start the engine, switch the ignition on or open a door through the meter: its fuse goes, or the meter.",
    "Leave airbags and belt tensioners alone: no fuse of theirs while the ignition is on, and as the maker says.",
)


def visible_test(request: HttpRequest, test_id: UUID) -> DrainTest:
    return get_object_or_404(
        DrainTest.objects.select_related(
            "vehicle", "fault", "job", "made_by", "device", "ended_by", "step"
        ).filter(vehicle__in=Vehicle.objects.visible_to(request.user)),
        pk=test_id,
    )


def cautions_of(car: Vehicle) -> list[str]:
    return [*([HIGH_VOLTAGE] if car.high_voltage else []), *CAUTIONS]


@may(May.DIAGNOSE)
def drain_begin(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """What to do before, then the limit. Where a test is open, it goes on with that one."""
    car = visible_vehicle(request, vehicle_id)
    running = car.drain_tests.filter(ended_at=None).first()
    if running is not None and request.method == "GET":
        return redirect(running)
    return act_page(
        request,
        form_class=forms.BeginForm,
        act=acts.begin_drain_test,
        title="Parasitic drain test",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        initial=_known(car) if request.method == "GET" else None,
        cancel=car,
        submit="It is locked: begin",
        said="Begun. Now let it fall asleep.",
        cautions=cautions_of(car),
        template="vehicles/drain_begin.html",
        context=about(car),
    )


def _known(car: Vehicle) -> dict:
    """What the data sheet and the fitted parts say of limit and battery; else the limit of common practice."""
    known = figures_of(car).now
    limit, capacity = known.get("quiescent_current"), known.get("battery_capacity")
    open_jobs = list(car.jobs.open()[:2])
    return {
        "limit": limit.value if limit else Amount(Decimal(int(USUAL_LIMIT)), "mA"),
        "limit_source": LimitSource.SHEET if limit else LimitSource.PRACTICE,
        "limit_words": limit.words[:WORDS] if limit else "",
        "capacity": capacity.value if capacity else None,
        "job": open_jobs[0].pk if len(open_jobs) == 1 else None,
    }


@may(May.SEE_SHOP)
def drain(request: HttpRequest, test_id: UUID) -> HttpResponse:
    """The test as it stands, with the form of what comes next for those who may."""
    test = visible_test(request, test_id)
    page = _page(test)
    if test.ended_at is None and request.user.may(May.DIAGNOSE):
        page |= _next_form(test, page["picture"])
    return render(request, "vehicles/drain.html", page)


def _page(test: DrainTest) -> dict:
    return {
        "test": test,
        "vehicle": test.vehicle,
        "picture": picture_of(test),
        "put_right_from": put_right_from(test) if test.baseline is not None else None,
        "cautions": cautions_of(test.vehicle),
        "since": _minutes_since(test),
        "usual_sleep": f"{USUAL_SLEEP:.0f}",
    }


def _minutes_since(test: DrainTest) -> int:
    return max(int((timezone.now() - test.made_at).total_seconds() // 60), 0)


def _next_form(test: DrainTest, picture) -> dict:
    if test.baseline is None:
        return {
            "form": forms.AsleepForm(initial={"asleep_after": min(_minutes_since(test), 1440)}),
            "action": reverse("vehicles:drain-asleep", args=[test.pk]),
            "submit_label": "Keep this reading",
        }
    return {
        "form": forms.PullForm(),
        "action": reverse("vehicles:drain-pull", args=[test.pk]),
        "submit_label": "Keep it, next fuse",
    }


def _on_test(request: HttpRequest, test_id: UUID, *, form_class, act, submit, said, **more) -> HttpResponse:
    """One act on a test: refused, the guided page comes back with the form as it was filled."""
    test = visible_test(request, test_id)
    template = more.pop("template", "vehicles/drain.html")
    page = _page(test)
    if template == "act.html":
        # A page of its own: the cautions stand where the meter is read.
        page |= {"kicker": test.vehicle.name, "kicker_url": test.get_absolute_url(), "cautions": ()}
    return act_page(
        request,
        form_class=form_class,
        act=act,
        title="Parasitic drain test",
        fixed={"test": test, **more.pop("fixed", {})},
        done=more.pop("done", None) or f"{test.get_absolute_url()}#next",
        cancel=test,
        submit=submit,
        said=said,
        template=template,
        context=page,
        **more,
    )


@may(May.DIAGNOSE)
def drain_asleep(request: HttpRequest, test_id: UUID) -> HttpResponse:
    return _on_test(
        request,
        test_id,
        form_class=forms.AsleepForm,
        act=acts.read_asleep,
        submit="Keep this reading",
        said="Kept.",
    )


@may(May.DIAGNOSE)
def drain_asleep_put_right(request: HttpRequest, test_id: UUID) -> HttpResponse:
    """A slip in the current asleep: the test goes on as another one, with the fuses pulled so far."""
    test = visible_test(request, test_id)
    if test.ended_at is not None or test.baseline is None:
        return redirect(test)
    return _on_test(
        request,
        test_id,
        form_class=forms.AsleepForm,
        act=put_asleep_right,
        submit="Put it right",
        said="Put right. The test goes on here, with the fuses pulled so far.",
        template="act.html",
        initial={"reading": test.amount, "asleep_after": test.asleep_after},
        intro=f"{test.amount} is on record, {test.asleep_after} min after it was locked. It stays readable in the test as it "
        "was; the test goes on as another one, with the same fuses. Did the current change by itself? Then leave this "
        "as it is, and give the new reading at a fuse that “stays low”.",
        done=lambda again: f"{again.get_absolute_url()}#next",
    )


@may(May.DIAGNOSE)
def drain_pull(request: HttpRequest, test_id: UUID) -> HttpResponse:
    return _on_test(
        request,
        test_id,
        form_class=forms.PullForm,
        act=acts.pull_fuse,
        submit="Keep it, next fuse",
        said=lambda step: f"{step}: kept." + ("" if step.came == Came.LEFT_OUT else " Its fuse is back in."),
    )


@may(May.DIAGNOSE)
def drain_put_right(request: HttpRequest, drain_step_id: UUID) -> HttpResponse:
    """A slip in one reading: another reading in its place; the first stays readable."""
    step = get_object_or_404(
        DrainStep.objects.select_related("test").filter(
            test__vehicle__in=Vehicle.objects.visible_to(request.user)
        ),
        pk=drain_step_id,
    )
    return _on_test(
        request,
        step.test_id,
        form_class=forms.PullForm,
        act=acts.pull_fuse,
        submit="Put it right",
        said="Put right.",
        template="act.html",
        fixed={"instead_of": step},
        initial={
            "circuit": step.circuit,
            "reading": step.amount,
            "came": step.came,
            "after": step.after_amount,
            "remark": step.remark,
        },
        intro=f"“{step.circuit}” is on record with {step.amount}. What you save here counts in its place.",
    )


@may(May.DIAGNOSE)
def drain_end(request: HttpRequest, test_id: UUID) -> HttpResponse:
    test = visible_test(request, test_id)
    all_tried = bool(request.GET.get("all_tried"))
    picture = picture_of(test, all_tried=all_tried)
    said = picture.findings.sentence if picture.findings else ""
    return _on_test(
        request,
        test_id,
        form_class=forms.EndForm,
        act=acts.end_drain_test,
        form_kwargs={"test": test, "found": picture.found},
        submit="End the test",
        said="Written down. Take the meter out, see that every fuse is back, and close the battery's clamp.",
        template="act.html",
        initial={
            "conclusion": said.removesuffix(" Pull the next fuse."),
            "all_tried": all_tried,
            "on_fault": True,
        },
        intro=_still_out(picture.left_out),
        done=test.fault.get_absolute_url() + "#try" if test.fault_id else test,
    )


def _still_out(left_out: tuple[str, ...]) -> str:
    if not left_out:
        return "Put into your own words what it is. What the readings say is taken over."
    return f"Put back first what is still out: {', '.join(left_out)}. Then say what it is."


add_action(Action(30, "Drain test", "vehicles:drain-begin", May.DIAGNOSE))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/drain-test/", drain_begin, name="drain-begin"),
    path("drain-tests/<uuid:test_id>/", drain, name="drain"),
    path("drain-tests/<uuid:test_id>/asleep/", drain_asleep, name="drain-asleep"),
    path(
        "drain-tests/<uuid:test_id>/asleep/put-right/", drain_asleep_put_right, name="drain-asleep-put-right"
    ),
    path("drain-tests/<uuid:test_id>/fuses/add/", drain_pull, name="drain-pull"),
    path("drain-tests/<uuid:test_id>/end/", drain_end, name="drain-end"),
    path("drain-steps/<uuid:drain_step_id>/put-right/", drain_put_right, name="drain-put-right"),
]
