"""Road test and final check."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import path

from jobs.acts import roadtest as acts
from jobs.forms import roadtest as forms
from jobs.views.job import about, visible_job
from workshop.models import Shop
from workshop.pages import act_page, may
from workshop.permissions import May

CAUTIONS = (
    "Brakes first, at walking pace, before the car leaves the yard.",
    "Wheel bolts tightened and checked; nothing loose in the car; lights, tyres and steering looked at.",
)


@may(May.ROAD_TEST)
def road_test(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.RoadTestForm,
        act=acts.record_road_test,
        title="Road test",
        cautions=CAUTIONS,
        fixed={"job": job},
        initial={"driver": request.user, "distance": ["", Shop.current().distance_unit]},
        done=job,
        said="The road test is on record.",
        template="jobs/road_test.html",
        context={"standing": acts.why_not_on_the_road(job), **about(job)},
    )


@may(May.FINAL_CHECK)
def final_check(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.FinalCheckForm,
        act=acts.final_check,
        title="Final check",
        fixed={"job": job},
        form_kwargs={"request": request},
        done=job,
        said="The final check is on record.",
        template="jobs/final_check.html",
        context={
            "check_in": getattr(job, "check_in", None),
            "things": job.things_out.filter(back_at=None),
            **about(job),
        },
    )


urlpatterns = [
    path("jobs/<uuid:job_id>/road-test/", road_test, name="road-test"),
    path("jobs/<uuid:job_id>/final-check/", final_check, name="final-check"),
]
