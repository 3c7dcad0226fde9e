"""High-voltage isolation and re-energising."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone

from jobs.acts import isolation as acts
from jobs.forms import isolation as forms
from jobs.models import Isolation, Job
from jobs.views.job import about, visible_job
from workshop.pages import act_page, may
from workshop.permissions import May

CAUTIONS = (
    "High voltage kills. Only people with the licence that the law here asks for work on it.",
    "The maker's data for this very car decide: order of steps, waiting time, test points, protective gear.",
    "Dead is what was proved dead, all poles, with a tester proved before and after. A switch is no proof.",
    "A crashed, flooded or smoking battery is not dead: keep away, call the fire brigade, follow the maker's guidance.",
)
CAUTIONS_BACK = (
    "The maker's data decide the order. Covers, plugs and interlocks first, the service disconnect last.",
    "Nobody at the car, no tool in it, before the lock comes off. Whoever hung the lock takes it off.",
)


@may(May.ISOLATE)
def isolate(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.IsolationForm,
        act=acts.isolate,
        title="High-voltage isolation",
        submit="It is isolated and proved dead",
        cautions=CAUTIONS,
        fixed={"job": job},
        form_kwargs={"holders": _holders()},
        done=job,
        said="Isolated. The car bears “Do not start”.",
        context=about(job),
    )


@may(May.ISOLATE)
def re_energise(request: HttpRequest, isolation_id: UUID) -> HttpResponse:
    isolation = get_object_or_404(
        Isolation.objects.select_related("job__vehicle", "isolated_by").filter(
            job__in=Job.objects.visible_to(request.user)
        ),
        pk=isolation_id,
    )
    return act_page(
        request,
        form_class=forms.ReEnergiseForm,
        act=acts.re_energise,
        title="Re-energise",
        submit="It is re-energised",
        intro=f"Isolated by {isolation.isolated_by}, locked with {isolation.locked_with}.",
        cautions=CAUTIONS_BACK,
        fixed={"isolation": isolation},
        form_kwargs={"holders": _holders()},
        done=isolation.job,
        said="Re-energised; its tag is lifted.",
        context=about(isolation.job),
    )


def _holders() -> list[str]:
    return sorted({str(row.person) for row in acts.qualified_on(timezone.localdate())})


urlpatterns = [
    path("jobs/<uuid:job_id>/isolate/", isolate, name="isolate"),
    path("isolations/<uuid:isolation_id>/re-energise/", re_energise, name="re-energise"),
]
