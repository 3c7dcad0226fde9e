"""Tags: set on the car and lifted; shown on the floor, the vehicle page and the job page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path, reverse

from jobs.acts import tag as acts
from jobs.acts.roadtest import standing_tags
from jobs.forms import job as forms
from jobs.models import Tag
from vehicles.models import Vehicle
from vehicles.panels import Action, HeadNote, add_action, add_head_note
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May


def shown(tags: Iterable[Tag]) -> list[dict[str, Any]]:
    """Tags for `components/_tag.html`, each with the way to what clears it. No query per tag."""
    rows = []
    for tag in tags:
        if tag.run_id and tag.run.completed_at is None and tag.run.abandoned_at is None:
            url, link = tag.run.get_absolute_url(), "Open the run"
        elif tag.isolation_id and tag.isolation.re_energised_at is None:
            url, link = reverse("jobs:re-energise", args=[tag.isolation_id]), "Re-energise"
        else:
            url, link = reverse("jobs:tag-lift", args=[tag.pk]), "Lift"
        rows.append({"tag": tag, "text": tag.get_kind_display(), "url": url, "link": link})
    return rows


@may(May.TAG)
def tag_set(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    car = visible_vehicle(request, vehicle_id)
    asked = (request.POST or request.GET).get("job", "")
    job = car.jobs.open().filter(pk=asked).first() if _is_uuid(asked) else None
    return act_page(
        request,
        form_class=forms.TagForm,
        act=acts.set_tag,
        title="Set a tag on the car",
        submit="Set the tag",
        fixed={"vehicle": car},
        form_kwargs={"vehicle": car},
        done=job or car,
        said="The tag is set.",
        context={"kicker": car.name, "kicker_url": car.get_absolute_url()},
    )


@may(May.LIFT_TAG)
def tag_lift(request: HttpRequest, tag_id: UUID) -> HttpResponse:
    tag = get_object_or_404(
        Tag.objects.select_related(
            "vehicle", "job", "made_by", "run__version_used__procedure", "isolation"
        ).filter(vehicle__in=Vehicle.objects.visible_to(request.user)),
        pk=tag_id,
    )
    return act_page(
        request,
        form_class=forms.LiftTagForm,
        act=acts.lift_tag,
        title=f"Lift “{tag.get_kind_display()}”",
        submit="Lift the tag",
        intro=f"{tag.because}. Set by {tag.made_by}. {acts.why_it_stays(tag)}",
        fixed={"tag": tag},
        done=tag.job or tag.vehicle,
        said="The tag is lifted.",
        context={"kicker": tag.vehicle.name, "kicker_url": tag.vehicle.get_absolute_url()},
    )


def _is_uuid(text: str) -> bool:
    try:
        UUID(text)
    except ValueError:
        return False
    return True


def _head_note(request: HttpRequest, vehicle: Vehicle) -> dict[str, Any] | None:
    rows = shown(standing_tags(vehicle.pk))
    return {"tags": rows} if rows else None


add_head_note(HeadNote(5, "tags", "jobs/_tags_of_vehicle.html", _head_note))
add_action(Action(60, "Set a tag", "jobs:tag-set", May.TAG))

urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/tags/add/", tag_set, name="tag-set"),
    path("tags/<uuid:tag_id>/lift/", tag_lift, name="tag-lift"),
]
