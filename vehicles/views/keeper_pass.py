"""The desk lets a keeper in without a password: a link by e-mail, or a code and its QR on the counter's screen."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.debug import sensitive_variables

from vehicles.acts import keeper_pass as acts
from vehicles.forms import keeper_pass as forms
from vehicles.models import Keeper
from workshop import live, pass_sending, passes
from workshop.acting import By
from workshop.acts import passes as pass_acts
from workshop.devices import device_of
from workshop.models import OneTimePass, PassWay
from workshop.models.passes import LASTS, PassState
from workshop.pages import act_page, answered, may
from workshop.permissions import May
from workshop.sheets import qr_code

# What is shown at the counter stands in no record: the device that made it keeps it, for as long as it opens anything.
COOKIE = "shown-pass"
LAST_SHOWN = 5


@may(May.EDIT_KEEPERS)
@sensitive_variables("form", "one")
def let_in(request: HttpRequest, keeper_id: UUID) -> HttpResponse:
    """The two ways, and what became of the last ones."""
    person = _keeper(keeper_id)
    form = None
    if request.method == "POST":
        form = forms.PassForm(request.POST, auto_id=False)
        if form.is_valid() and form.try_act(acts.keeper_pass, request=request, keeper=person):
            one = form.answer
            if one.way == PassWay.MAIL:
                _send(request, one, person)
                return _closed(answered(request, reverse("vehicles:keeper-pass", args=[person.pk]), form))
            response = answered(request, reverse("vehicles:keeper-pass-shown", args=[one.pk]), form)
            return _closed(_keep(request, response, one))
    rows = []
    if person.account is not None:
        rows = list(person.account.passes.select_related("made_by", "used_on")[:LAST_SHOWN])
    context = {
        "keeper": person,
        "form": form,
        "counter": forms.PassForm(initial={"way": PassWay.COUNTER}, auto_id=False),
        "mail": forms.PassForm(initial={"way": PassWay.MAIL}, auto_id=False),
        "can_send": pass_sending.can_send(),
        "minutes": int(LASTS[PassWay.COUNTER].total_seconds() // 60),
        "hours": int(LASTS[PassWay.MAIL].total_seconds() // 3600),
        "works_here": person.account is not None and person.account.is_staff_member,
        "rows": rows,
    }
    return _closed(
        render(request, "vehicles/keeper_pass.html", context, status=422 if form is not None else 200)
    )


def _send(request: HttpRequest, one: OneTimePass, person: Keeper) -> None:
    if not one.token:
        messages.info(request, "This link was sent already.")
        return
    refusal = pass_sending.send(one, person.email)
    if not refusal:
        messages.success(request, f"A link is on its way to {person.email}.")
        return
    pass_acts.void_unsent(by=By(request.user, device=device_of(request)), one=one)
    messages.error(request, f"{refusal} Nothing was sent: show the code at the counter instead.")


def _keep(request: HttpRequest, response: HttpResponse, one: OneTimePass) -> HttpResponse:
    if one.token:
        response.set_signed_cookie(
            COOKIE,
            f"{one.code}{one.token}",
            salt=f"shown-pass {one.pk}",
            max_age=int(LASTS[PassWay.COUNTER].total_seconds()),
            path=reverse("vehicles:keeper-pass-shown", args=[one.pk]),
            httponly=True,
            samesite="Strict",
            secure=request.is_secure(),
        )
    return response


@may(May.EDIT_KEEPERS)
@sensitive_variables("kept", "code", "token")
def shown(request: HttpRequest, pass_id: UUID) -> HttpResponse:
    """Code and QR in big type, until they are used or run out: the page says so by itself."""
    address = reverse("vehicles:keeper-pass-shown", args=[pass_id])
    # Once it is over nothing changes but by an act; until then the clock counts too, so it is asked in full.
    mark = live.mark(request, address)
    one = get_object_or_404(
        OneTimePass.objects.select_related("person__keeper").filter(way=PassWay.COUNTER), pk=pass_id
    )
    state = one.state
    kept = request.get_signed_cookie(
        COOKIE, default="", salt=f"shown-pass {one.pk}", max_age=LASTS[PassWay.COUNTER]
    )
    code, token = kept[: passes.LETTERS], kept[passes.LETTERS :]
    base = request.build_absolute_uri("/").rstrip("/")
    context = {
        "one": one,
        "keeper": getattr(one.person, "keeper", None),
        "state": state.value,
        "is_open": state == PassState.OPEN,
        "live_url": address,
        "live_mark": '"open"' if state == PassState.OPEN else mark,
        "say": _said(one, state),
    }
    if token and state == PassState.OPEN:
        context |= {
            "code": passes.in_two(code),
            # ISO/IEC 18004: four modules of quiet zone.
            "qr": mark_safe(
                qr_code(pass_sending.link(token, base), "QR code of the link that lets them in", border=4)
            ),
            "door": f"{settings.SITE_URL or base}{reverse('workshop:pass-enter')}",
        }
    template = "vehicles/_keeper_pass_shown.html" if request.htmx else "vehicles/keeper_pass_shown.html"
    return _closed(live.with_mark(render(request, template, context), context["live_mark"]))


def _said(one: OneTimePass, state: PassState) -> str:
    if state == PassState.USED:
        return f"Used at {_clock(one.used_at)}"
    if state == PassState.EXPIRED:
        return f"Ran out at {_clock(one.expires_at)}, unused"
    if state == PassState.VOIDED:
        return f"Holds no longer: {one.get_voided_because_display().lower()}"
    return f"Holds until {_clock(one.expires_at)}"


def _clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"


@may(May.EDIT_KEEPERS)
def access_end(request: HttpRequest, keeper_id: UUID) -> HttpResponse:
    person = _keeper(keeper_id)
    return act_page(
        request,
        form_class=forms.EndAccessForm,
        act=acts.end_keeper_access,
        title="Sign them out everywhere",
        intro="For a telephone that was lost or a link in the wrong hands: every device on which they are signed in is "
        "signed out, and links and codes not used yet open nothing. They can ask for no new one themselves: they get in "
        "again when you let them in."
        + (
            " Their password still holds. Where it may be known to somebody, the shop owner sets another one."
            if person.account is not None and person.account.has_usable_password()
            else ""
        ),
        fixed={"keeper": person},
        done=reverse("vehicles:keeper-pass", args=[person.pk]),
        submit="Sign them out",
        said="Signed out everywhere.",
        context={"kicker": person.name, "kicker_url": person.get_absolute_url()},
    )


def _keeper(keeper_id: UUID) -> Keeper:
    return get_object_or_404(Keeper.objects.select_related("account"), pk=keeper_id)


def _closed(response: HttpResponse) -> HttpResponse:
    response.headers["Cache-Control"] = "no-store"
    return response


urlpatterns = [
    path("keepers/<uuid:keeper_id>/let-in/", let_in, name="keeper-pass"),
    path("keepers/<uuid:keeper_id>/sign-out/", access_end, name="keeper-access-end"),
    path("keepers/passes/<uuid:pass_id>/", shown, name="keeper-pass-shown"),
]
