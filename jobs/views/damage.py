"""Damage done in the shop: written down at once, told to the owner, settled; and the list for those who answer for it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils.http import urlencode

from jobs import damages as reads
from jobs import sections
from jobs.acts import damage as acts
from jobs.forms import damage as forms
from jobs.models import Damage, Job, JobState
from jobs.views.job import about, visible_job
from vehicles.models import Vehicle
from vehicles.panels import HeadNote, add_head_note
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued

PER_PAGE = 25


def visible_damage(request: HttpRequest, damage_id: UUID) -> Damage:
    return get_object_or_404(
        reads.rows().filter(vehicle__in=Vehicle.objects.visible_to(request.user)), pk=damage_id
    )


@may(May.SETTLE_DAMAGE)
def damages(request: HttpRequest) -> HttpResponse:
    """Open ones first, the oldest first: what waits longest stands on top; then what was settled, newest first."""
    rows = reads.rows()
    settled = Paginator(rows.exclude(settled="").order_by("-settled_at"), PER_PAGE)
    context = {
        "open": rows.open().order_by("made_at"),
        "page_obj": settled.get_page(request.GET.get("page")),
    }
    return render(request, "jobs/damages.html", context)


@may(May.SEE_SHOP)
def damage(request: HttpRequest, damage_id: UUID) -> HttpResponse:
    row = visible_damage(request, damage_id)
    context = {"damage": row, "vehicle": row.vehicle, "untold": reads.needs_telling(row)}
    return render(request, "jobs/damage.html", context)


@may(May.REPORT_DAMAGE)
@queued(acts.report_damage, what="Damage done in the shop")
def damage_add(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = visible_job(request, job_id)
    return act_page(
        request,
        form_class=forms.DamageForm,
        act=acts.report_damage,
        title="We damaged it",
        intro="Write it down at once, while it is fresh: the lead and the shop owner see it immediately, and the car's "
        "owner is told before the car leaves. Photos come next.",
        submit="Write it down",
        fixed={"job": job},
        initial={"found_by": request.user},
        done=_photos_next,
        cancel=job,
        said="It is on record. Now its photos: from far, then near, with something beside it that shows the size.",
        context=about(job),
    )


def _photos_next(row: Damage) -> str:
    address = reverse("vehicles:photo-add", args=[row.vehicle_id])
    return f"{address}?{urlencode({'damage': row.pk, 'kind': 'photo', 'next': row.get_absolute_url()})}"


def _on_damage(request: HttpRequest, row: Damage, **page: Any) -> HttpResponse:
    return act_page(
        request,
        fixed={"damage": row},
        done=row,
        template="jobs/damage_act.html",
        context={
            "kicker": f"{row} · {row.vehicle.name}",
            "kicker_url": row.get_absolute_url(),
            "vehicle": row.vehicle,
        },
        **page,
    )


@may(May.REPORT_DAMAGE)
def damage_correct(request: HttpRequest, damage_id: UUID) -> HttpResponse:
    row = visible_damage(request, damage_id)
    return _on_damage(
        request,
        row,
        form_class=forms.CorrectDamageForm,
        act=acts.correct_damage,
        title="Correct what is written of it",
        initial={
            "seen_version": row.version,
            **{
                name: getattr(row, name)
                for name in ("where", "what", "happened_at", "found_by", "at_the_car")
            },
        },
        said="Corrected.",
    )


@may(May.TELL_OWNER)
def damage_tell(request: HttpRequest, damage_id: UUID) -> HttpResponse:
    row = visible_damage(request, damage_id)
    return _on_damage(
        request,
        row,
        form_class=forms.TellForm,
        act=acts.tell_of_damage,
        title="The owner was told of it",
        intro="Each time is a record of its own: to whom, by whom, how, when, in what words.",
        form_kwargs={"vehicle": row.vehicle},
        initial={"told_by": request.user, **_only_holder(row)},
        submit="Record it",
        said="Recorded.",
    )


@may(May.SETTLE_DAMAGE)
def damage_settle(request: HttpRequest, damage_id: UUID) -> HttpResponse:
    row = visible_damage(request, damage_id)
    return _on_damage(
        request,
        row,
        form_class=forms.SettleForm,
        act=acts.settle_damage,
        title="How it was settled",
        form_kwargs={"vehicle": row.vehicle},
        initial={"seen_version": row.version},
        submit="It is settled",
        said="Settled.",
    )


def _only_holder(row: Damage) -> dict[str, Any]:
    """The car's owner where there is exactly one person it could be: chosen beforehand, to be changed at will."""
    found = {
        part.keeper_id for part in row.vehicle.keepers.now().filter(part__in=("owner", "registered_keeper"))
    }
    return {"told_to": found.pop()} if len(found) == 1 else {}


def _section(request: HttpRequest, job: Job) -> dict[str, Any] | None:
    """On top of the job page, where there is any; at most four queries."""
    found = reads.of_job(job)
    return (
        {"damages": found, "untold": [row.pk for row in found if reads.needs_telling(row)]} if found else None
    )


def _side(request: HttpRequest, job: Job) -> dict[str, Any] | None:
    """The way to write it down: on every job of a car that is or was here."""
    here = job.state not in (JobState.BOOKED, JobState.CANCELLED)
    return {} if here and request.user.may(May.REPORT_DAMAGE) else None


def _head_note(request: HttpRequest, vehicle: Vehicle) -> dict[str, Any] | None:
    found = [
        row for row in reads.rows().filter(vehicle=vehicle) if not row.settled or reads.needs_telling(row)
    ]
    return (
        {"damages": found, "untold": [row.pk for row in found if reads.needs_telling(row)]} if found else None
    )


sections.add_section(1, "damage", "jobs/_damages.html", _section)
sections.add_section(90, "damage-add", "jobs/_damage_add.html", _side, side=True)
add_head_note(HeadNote(8, "damage", "jobs/_damages.html", _head_note))

_D = "damage/<uuid:damage_id>/"
urlpatterns = [
    path("damage/", damages, name="damages"),
    path("jobs/<uuid:job_id>/damage/add/", damage_add, name="damage-add"),
    path(_D, damage, name="damage"),
    path(f"{_D}correct/", damage_correct, name="damage-correct"),
    path(f"{_D}tell/", damage_tell, name="damage-tell"),
    path(f"{_D}settle/", damage_settle, name="damage-settle"),
]
