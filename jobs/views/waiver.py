"""A lead lets a blocker go."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import path

from jobs.acts import waiver as acts
from jobs.forms import job as forms
from jobs.views.job import about, visible_job
from workshop.pages import act_page, may
from workshop.permissions import May


@may(May.WAIVE)
def waive(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """The blocker is named by its key in the address: `?blocker=code:subject`."""
    job = visible_job(request, job_id)
    key = (request.POST if request.method == "POST" else request.GET).get("blocker", "")
    blocker = acts.find_blocker(job, key)
    return act_page(
        request,
        form_class=forms.WaiveForm,
        act=acts.waive,
        title="Waive",
        submit="Waive it",
        intro=blocker.text if blocker else "",
        fixed={"job": job},
        form_kwargs={"request": request},
        done=job,
        said="Waived.",
        context=about(job),
    )


urlpatterns = [path("jobs/<uuid:job_id>/waive/", waive, name="waive")]
