"""Pages of the house: signing in, people, settings, the event log."""

from __future__ import annotations

import json
from uuid import UUID

from django.contrib.auth import views as auth
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.views.decorators.debug import sensitive_post_parameters

from workshop import log
from workshop.acts import people as people_acts
from workshop.acts import shop as shop_acts
from workshop.forms import house as forms
from workshop.middleware import DEVICE_COOKIE, DEVICE_COOKIE_AGE
from workshop.models import Device, Event, EventDetail, Person, Shop
from workshop.pages import act_page, may, public
from workshop.permissions import May
from workshop.views import styles, tools

# ---------------------------------------------------------------------------------------------- signing in


class SignIn(auth.LoginView):
    authentication_form = forms.SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form):
        response = super().form_valid(form)
        device = self.request.device
        if not device or not device.pk:
            device = Device.objects.create(name=_device_name(self.request))
        response.set_signed_cookie(
            DEVICE_COOKIE,
            str(device.pk),
            salt="device",
            max_age=DEVICE_COOKIE_AGE,
            httponly=True,
            samesite="Lax",
            secure=self.request.is_secure(),
        )
        return response

    def form_invalid(self, form):
        return self.render_to_response(self.get_context_data(form=form), status=422)


def _device_name(request: HttpRequest) -> str:
    """A name that somebody can tell the device by, until they give it a better one."""
    agent = request.headers.get("User-Agent", "")
    return "Tablet or telephone" if "Mobile" in agent or "Tablet" in agent else "Desk computer"


sign_in = public(sensitive_post_parameters("password")(SignIn.as_view()))
sign_out = public(auth.LogoutView.as_view())


# -------------------------------------------------------------------------------------------------- people


@may(May.SEE_PEOPLE)
def people(request: HttpRequest) -> HttpResponse:
    rows = Person.objects.prefetch_related("roles_held", "competences").order_by("-is_active", "name")
    return render(request, "workshop/people.html", {"people": rows})


@may(May.SEE_PEOPLE)
def person(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = get_object_or_404(Person.objects.prefetch_related("roles_held", "competences"), pk=person_id)
    return render(request, "workshop/person.html", {"person": found})


@may(May.EDIT_PEOPLE)
def person_add(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.PersonForm,
        act=people_acts.add_person,
        title="Add a person",
        done="workshop:people",
    )


def _person(person_id: UUID) -> Person:
    return get_object_or_404(Person.objects.with_roles(), pk=person_id)


@may(May.EDIT_PEOPLE)
def person_change(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _person(person_id)
    return act_page(
        request,
        form_class=forms.ChangePersonForm,
        act=people_acts.change_person,
        title=f"Change {found.name}",
        fixed={"person": found},
        form_kwargs={"instance": found},
        initial={"seen_version": found.version, "roles": [role.value for role in found.roles]},
        done="workshop:people",
    )


@sensitive_post_parameters("password")
def _person_password(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _person(person_id)
    return act_page(
        request,
        form_class=forms.PasswordForm,
        act=people_acts.change_password,
        title=f"New password for {found.name}",
        fixed={"person": found},
        done="workshop:people",
    )


person_password = may(May.EDIT_PEOPLE)(_person_password)


@may(May.EDIT_PEOPLE)
def competence_add(request: HttpRequest, person_id: UUID) -> HttpResponse:
    found = _person(person_id)
    return act_page(
        request,
        form_class=forms.CompetenceForm,
        act=people_acts.add_competence,
        title=f"What {found.name} is qualified for",
        fixed={"person": found},
        done="workshop:people",
    )


# -------------------------------------------------------------------------------------- settings, log, styles


@may(May.SEE_PEOPLE)
def shop(request: HttpRequest) -> HttpResponse:
    return render(request, "workshop/shop.html", {"row": Shop.current()})


@may(May.EDIT_SHOP)
def shop_change(request: HttpRequest) -> HttpResponse:
    row = Shop.current()
    return act_page(
        request,
        form_class=forms.ShopForm,
        act=shop_acts.change_shop,
        title="The shop's settings",
        form_kwargs={"instance": row},
        initial={"seen_version": row.version},
        done="workshop:shop",
    )


@may(May.SEE_LOG)
def event_log(request: HttpRequest) -> HttpResponse:
    """The log, newest first. Checking the whole chain is `manage.py verify_log`."""
    events = Event.objects.select_related("person", "device", "detail").order_by("-seq")
    if act := request.GET.get("act", "").strip():
        events = events.filter(act__contains=act[:80])
    page = Paginator(events, 50).get_page(request.GET.get("page"))
    for event in page:
        event.facts = json.loads(event.body)["facts"]
        detail = getattr(event, "detail", None)
        event.words = json.loads(detail.words) if detail and detail.words else {}
        event.erased = bool(detail and detail.erased_at)
    return render(request, "workshop/log.html", {"page": page, "act": act, "head": log.current_head()})


@may(May.ERASE)
def words_erase(request: HttpRequest, seq: int) -> HttpResponse:
    detail = get_object_or_404(EventDetail.objects.select_related("event"), pk=seq)
    return act_page(
        request,
        form_class=forms.EraseWordsForm,
        act=shop_acts.erase_words,
        title=f"Erase the personal words of event {seq}",
        intro="The words go for good. The event, its technical facts and the chain stay.",
        fixed={"detail": detail},
        submit="Erase the words",
        done="workshop:log",
    )


urlpatterns = [
    path("sign-in/", sign_in, name="login"),
    path("sign-out/", sign_out, name="logout"),
    path("shop/", shop, name="shop"),
    path("shop/change/", shop_change, name="shop-change"),
    path("shop/people/", people, name="people"),
    path("shop/people/add/", person_add, name="person-add"),
    path("shop/people/<uuid:person_id>/", person, name="person"),
    path("shop/people/<uuid:person_id>/change/", person_change, name="person-change"),
    path("shop/people/<uuid:person_id>/password/", person_password, name="person-password"),
    path("shop/people/<uuid:person_id>/competences/add/", competence_add, name="competence-add"),
    path("shop/log/", event_log, name="log"),
    path("shop/log/<int:seq>/erase/", words_erase, name="words-erase"),
    path("styles/", styles.styles, name="styles"),
    *tools.urlpatterns,
]
