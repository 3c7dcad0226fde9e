"""The people who sign in: who they are, what they may do, what they are qualified for and until when."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import UUID

from django.db.models import OuterRef, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.debug import sensitive_post_parameters

from workshop.acts import people as acts
from workshop.acts import pins as pin_acts
from workshop.competence_hooks import work_under
from workshop.forms import house as forms
from workshop.forms.tablet import NothingForm
from workshop.models import Competence, Event, Person
from workshop.pages import act_page, may
from workshop.permissions import May

# How long before the end of a certificate it is shown as due: common practice, no source.
RENEW_WITHIN = timedelta(days=60)


def _people():
    last = Event.objects.filter(person=OuterRef("pk")).order_by("-seq")
    return Person.objects.prefetch_related("roles_held", "competences__withdrawn_by").annotate(
        last_act_at=Subquery(last.values("received_at")[:1])
    )


def _told(row: Competence, today: date) -> Competence:
    """Adds `state` and `due` for the template: what a certificate is worth today, in words."""
    days = (row.expires_on - today).days if row.expires_on else None
    row.due = False
    if row.withdrawn_on:
        row.state = "withdrawn"
    elif days is None:
        row.state = "no end"
    elif days < 0:
        row.state, row.due = f"expired {-days} day{'' if days == -1 else 's'} ago", True
    elif days <= RENEW_WITHIN.days:
        row.state, row.due = (
            ("ends today" if days == 0 else f"{days} day{'' if days == 1 else 's'} left"),
            True,
        )
    else:
        row.state = "valid"
    return row


def _with_states(person: Person, today: date) -> Person:
    # A newer certificate of the same kind ends the worry about an older one.
    told = [_told(row, today) for row in person.competences.all()]
    for row in told:
        row.superseded = any(
            other.kind == row.kind
            and other is not row
            and not other.withdrawn_on
            and (other.expires_on or date.max) > (row.expires_on or date.max)
            for other in told
        )
        row.due = row.due and not row.superseded
    person.told = told
    person.held = [row for row in told if not row.superseded and row.state != "withdrawn"]
    return person


def due_count(today: date) -> int:
    """Certificates of staff that end soon or have ended, and that no newer one replaces: three queries."""
    rows = Person.objects.active_staff().prefetch_related("roles_held", "competences__withdrawn_by")
    return sum(held.due for row in rows for held in _with_states(row, today).held)


@may(May.SEE_PEOPLE)
def people(request: HttpRequest) -> HttpResponse:
    """Staff first, then the owners of cars, then who may no longer sign in. A fixed number of queries."""
    today = timezone.localdate()
    rows = [_with_states(person, today) for person in _people().order_by("name")]
    context = {
        "staff": [row for row in rows if row.is_staff_member],
        "owners": [row for row in rows if row.is_active and not row.is_staff_member],
        "past": [row for row in rows if not row.is_active],
        "due": [(row, held) for row in rows if row.is_staff_member for held in row.held if held.due],
    }
    return render(request, "workshop/people.html", context)


@may(May.SEE_PEOPLE)
def person(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _with_states(get_object_or_404(_people(), pk=person_id), timezone.localdate())
    return render(request, "workshop/person.html", {"person": found})


@may(May.EDIT_PEOPLE)
def person_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.PersonForm,
        act=acts.add_person,
        title="Add a person",
        submit="Add",
        cancel="workshop:people",
        said="They can sign in now, with the name and password you gave.",
    )


def _person(person_id: UUID) -> Person:
    return get_object_or_404(Person.objects.with_roles(), pk=person_id)


@may(May.EDIT_PEOPLE)
def person_change(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _person(person_id)
    return act_page(
        request,
        form_class=forms.ChangePersonForm,
        act=acts.change_person,
        title=f"Change {found.name}",
        fixed={"person": found},
        form_kwargs={"instance": found},
        initial={"seen_version": found.version, "roles": [role.value for role in found.roles]},
        done=found,
        said="Changed.",
    )


@sensitive_post_parameters("password")
def _person_password(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _person(person_id)
    return act_page(
        request,
        form_class=forms.PasswordForm,
        act=acts.change_password,
        title=f"New password for {found.name}",
        intro="Tell them in person. Wherever they are signed in, they have to sign in again.",
        submit="Set the password",
        fixed={"person": found},
        done=found,
        said=f"{found.name} has a new password.",
    )


person_password = may(May.EDIT_PEOPLE)(_person_password)


@may(May.EDIT_PEOPLE)
def person_pin_clear(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _person(person_id)
    return act_page(
        request,
        form_class=NothingForm,
        act=pin_acts.clear_pin,
        title=f"Clear the PIN of {found.name}",
        intro="For somebody who forgot it and the password too, or whose PIN others have seen. They choose another one "
        "on a tablet, with their name and password. You can neither see a PIN nor set one for somebody else.",
        submit="Clear it",
        fixed={"person": found},
        done=found,
        said=f"{found.name} has no PIN now.",
    )


@may(May.EDIT_PEOPLE)
def competence_add(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _person(person_id)
    return act_page(
        request,
        form_class=forms.CompetenceForm,
        act=acts.add_competence,
        title=f"What {found.name} is qualified for",
        intro="As the certificate says it. Work that needs the competence names who holds it on its day.",
        submit="Record it",
        fixed={"person": found},
        done=found,
        said="The competence is on record.",
    )


def _needed_by(row: Competence) -> list[str]:
    """A sentence for each open piece of work that names this certificate."""
    if row.withdrawn_on:
        return []
    return [
        format_html(
            '<a href="{}">Line {}</a>, “{}”, names it: say there who else is qualified before the work goes on.',
            work.get_absolute_url(),
            work,
            work.complaint,
        )
        for work in work_under(row)
    ]


@may(May.EDIT_PEOPLE)
def competence_withdraw(request: HttpRequest, competence_id: UUID) -> HttpResponse:
    row = get_object_or_404(Competence.objects.select_related("person"), pk=competence_id)
    return act_page(
        request,
        form_class=forms.WithdrawCompetenceForm,
        act=acts.withdraw_competence,
        title=f"Withdraw: {row.get_kind_display()}, {row.person}",
        intro=f"Certificate {row.certificate}. What was done under it before that day stands as it was; from that day "
        "on no work can be done under it.",
        submit="Withdraw it",
        cautions=_needed_by(row),
        fixed={"competence": row},
        initial={"from_on": timezone.localdate()},
        done=row.person,
        said="The competence is withdrawn.",
    )


urlpatterns = [
    path("shop/people/", people, name="people"),
    path("shop/people/add/", person_add, name="person-add"),
    path("shop/people/<uuid:person_id>/", person, name="person"),
    path("shop/people/<uuid:person_id>/change/", person_change, name="person-change"),
    path("shop/people/<uuid:person_id>/password/", person_password, name="person-password"),
    path("shop/people/<uuid:person_id>/pin/", person_pin_clear, name="person-pin-clear"),
    path("shop/people/<uuid:person_id>/competences/add/", competence_add, name="competence-add"),
    path("shop/competences/<uuid:competence_id>/withdraw/", competence_withdraw, name="competence-withdraw"),
]
