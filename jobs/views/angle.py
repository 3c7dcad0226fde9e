"""The car photographed all round: the guided page of each occasion, why one is not possible, both sets side by side."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from jobs import angles, sections
from jobs.acts import angle as acts
from jobs.forms.angle import NotPossibleForm
from jobs.models import Job, JobState
from vehicles.models import Angle, Attachment, Occasion
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued


def visible_job(request: HttpRequest, job_id: UUID) -> Job:
    return get_object_or_404(
        Job.objects.visible_to(request.user).select_related("vehicle", "check_in"), pk=job_id
    )


@may(May.SEE_SHOP)
def round_page(request: HttpRequest, job_id: UUID, occasion: str) -> HttpResponse:
    """One tile for each angle: a tap takes the picture. Anybody goes on where somebody else stopped."""
    job = visible_job(request, job_id)
    if occasion not in Occasion.values:
        raise Http404
    found = angles.rounds(job)
    this = found[occasion]
    for shot in this.shots:
        if shot.photo:
            shot.late = angles.late_words(shot.photo, job)
    context = {
        "job": job,
        "vehicle": job.vehicle,
        "round": this,
        "other": next(each for key, each in found.items() if key != occasion),
        "may_add": not job.is_closed and request.user.may(May.ADD_FILES),
    }
    return render(request, "jobs/angles.html", context)


@may(May.ADD_FILES)
@queued(acts.angle_not_possible, what="No picture of this")
def not_possible(request: HttpRequest, job_id: UUID, occasion: str, angle: str) -> HttpResponse:
    job = visible_job(request, job_id)
    if occasion not in Occasion.values or angle not in Angle.values:
        raise Http404
    done = f"{reverse('jobs:angles', args=[job.pk, occasion])}#{angle}"
    return act_page(
        request,
        form_class=NotPossibleForm,
        act=acts.angle_not_possible,
        title="No picture of this",
        intro=f"{Angle(angle).label}, {Occasion(occasion).label.lower()}. A picture taken later counts instead.",
        fixed={"job": job, "occasion": occasion, "angle": angle},
        done=done,
        said="Noted.",
        context={"kicker": f"Job {job.number} · {job.vehicle.name}", "kicker_url": job.get_absolute_url()},
    )


@may(May.SEE_SHOP)
def compare(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Both dated sets side by side: what the car looked like when it came, and before it left."""
    job = visible_job(request, job_id)
    found = angles.rounds(job)
    first, second = found[Occasion.CHECK_IN], found[Occasion.BEFORE_HANDOVER]
    rows = list(zip(first.shots, second.shots, strict=True))
    for shot, _ in rows:
        if shot.photo:
            shot.late = angles.late_words(shot.photo, job)
    context = {"job": job, "vehicle": job.vehicle, "rows": rows, "rounds": (first, second)}
    return render(request, "jobs/angles_compare.html", context)


def _section(request: HttpRequest, job: Job) -> dict[str, Any] | None:
    """Both sets' progress, and the job's other photos: two queries."""
    if job.state == JobState.CANCELLED:
        return None
    taken = Attachment.objects.shown().filter(job=job, line=None, damage=None).select_related("made_by")
    every = list(taken)
    found = angles.rounds(job, [photo for photo in every if photo.angle])
    photos = [photo for photo in every if not photo.angle]
    rows = [
        {
            "round": each,
            "url": reverse("jobs:angles", args=[job.pk, key]),
            # The set that is to be taken now: the first at check-in, the second once work is done.
            "now": not job.is_closed
            and not each.complete
            and (
                (key == Occasion.CHECK_IN and job.state in (JobState.BOOKED, JobState.CHECKED_IN))
                or (key == Occasion.BEFORE_HANDOVER and job.state in (JobState.FINAL_CHECKS, JobState.READY))
            ),
        }
        for key, each in found.items()
    ]
    if job.is_closed and not photos and not any(each.begun for each in found.values()):
        return None
    return {
        "rounds": rows,
        "photos": photos,
        "both": all(row["round"].photos for row in rows),
    }


sections.add_section(25, "photos", "jobs/_photos.html", _section)

urlpatterns = [
    path("jobs/<uuid:job_id>/photos/compare/", compare, name="angles-compare"),
    path("jobs/<uuid:job_id>/photos/<slug:occasion>/", round_page, name="angles"),
    path(
        "jobs/<uuid:job_id>/photos/<slug:occasion>/<slug:angle>/not-possible/",
        not_possible,
        name="angle-not-possible",
    ),
]
