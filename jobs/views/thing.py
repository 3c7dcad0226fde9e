"""Special tools, parts of the car and locks: out and back."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path

from jobs.acts import thing as acts
from jobs.forms import job as forms
from jobs.models import Job, ThingOut
from jobs.views.job import about, visible_job
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued


@may(May.FIT_PARTS)
@queued(acts.put_out, what="Off the car, or left on it")
def thing_out(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.ThingForm,
        act=acts.put_out,
        title="Note what is off the car or left on it",
        submit="Note it",
        intro="A special tool on the car, a part of the car taken off, a lock: the car does not leave before it is back.",
        fixed={"job": job},
        done=job,
        said="Noted.",
        context=about(job),
    )


@may(May.FIT_PARTS)
@queued(acts.bring_back, what="Back again")
def thing_back(request: HttpRequest, thing_id: UUID) -> HttpResponse:
    thing = get_object_or_404(
        ThingOut.objects.select_related("job__vehicle").filter(job__in=Job.objects.visible_to(request.user)),
        pk=thing_id,
    )
    return act_page(
        request,
        form_class=forms.ThingBackForm,
        act=acts.bring_back,
        title=f"Back: {thing.what}",
        submit="It is back",
        intro=f"{thing.get_kind_display()}, out at: {thing.where}.",
        fixed={"thing": thing},
        done=thing.job,
        said=f"{thing.what}: back.",
        context=about(thing.job),
    )


urlpatterns = [
    path("jobs/<uuid:job_id>/things/add/", thing_out, name="thing-out"),
    path("things/<uuid:thing_id>/back/", thing_back, name="thing-back"),
]
