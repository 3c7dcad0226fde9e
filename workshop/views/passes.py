"""The door for car owners: a one-time code is typed, or a one-time link opened, and they are in without a password.

Opening a link changes nothing, as mail programs open links by themselves to look at them: it hands the token over in a
cookie to a page of its own address, and the button there uses it. Nothing is told apart that was guessed.
"""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_safe

from workshop import mail, pass_sending, pass_tries, passes
from workshop.acting import By
from workshop.acts import passes as acts
from workshop.copies import drops_copies
from workshop.devices import device_of, remember, take_on
from workshop.forms import passes as forms
from workshop.models import OneTimePass, Person
from workshop.models.passes import LASTS, PassWay
from workshop.pages import public

BACKEND = "workshop.signin.PersonBackend"
# Between opening a link and pressing its button.
COOKIE, COOKIE_SECONDS = "pass", 15 * 60
# A page of nobody: no name stands on it, and no form of ours in its head, which a page without a referrer could not send.
NOBODY: dict[str, Any] = {"user": AnonymousUser(), "nav": [], "shared": None, "grant": "", "saved_keys": []}
UNKNOWN_LINK = "Look whether its address is whole, and whether it is the newest link you have."
UNKNOWN_CODE = (
    "This code is not known here. Compare it letter by letter, and look whether it is the newest one."
)
ASKED = (
    "If this address is on record here, a link is on its way to it. It opens once, within "
    f"{LASTS[PassWay.MAIL].total_seconds() / 3600:.0f} hours. If nothing comes in some minutes, look among the junk; each address gets "
    f"{pass_tries.LINKS_PER_ADDRESS} links an hour at most."
)


def _closed(response: HttpResponse) -> HttpResponse:
    """Kept nowhere on the way, and found by no search engine."""
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Robots-Tag"] = "noindex, nofollow"
    return response


def _not_here(request: HttpRequest) -> str:
    """Why nobody is let in on this browser, whatever they hold; empty where they may be.

    A tablet of the shop passes from hand to hand, and its lock asks for a PIN, which no owner has: their account would
    lie open on it, or be locked away from them. And a session of somebody who works here is not taken over.
    """
    device = device_of(request)
    if device is not None and device.revoked_at is not None:
        return "The workshop shut this device out. Use another one, or ask there."
    if device is not None and device.is_enrolled:
        return (
            "This is a tablet of the workshop, which passes from hand to hand. Scan the code with your own telephone, "
            "or type it there."
        )
    if request.user.is_authenticated and request.user.is_staff_member:
        return (
            f"On this device {request.user} is signed in, who works here. A link or code is for a device of the car's "
            "owner, and was not used."
        )
    return ""


@public
@drops_copies
@sensitive_post_parameters("code")
@sensitive_variables("one", "code")
def enter(request: HttpRequest) -> HttpResponse:
    """Type the code. Below it, where the shop sends e-mail, a link can be asked for."""
    if request.method != "POST" or _not_here(request):
        return _door(request)
    form = forms.CodeForm(request.POST)
    if not form.is_valid():
        return _door(request, code=form)
    try:
        row, left = pass_tries.count_code(request)
    except ValidationError as refusal:
        form.add_error("code", refusal)
        return _door(request, code=form, status=429)
    one = passes.find_code(form.cleaned_data["code"])
    refusal = passes.why_not(one) if one is not None else UNKNOWN_CODE
    if one is not None and not refusal:
        row.delete()
        try:
            return _let_in(request, one, typed=True, borrowed=form.cleaned_data["borrowed"])
        except ValidationError as late:
            refusal = " ".join(late.messages)
    tries = "the last try" if left == 0 else f"{left} more {'try' if left == 1 else 'tries'}"
    form.add_error(
        "code", f"{refusal} {'This was' if left == 0 else 'You have'} {tries} for a quarter of an hour."
    )
    return _door(request, code=form)


@public
def ask(request: HttpRequest) -> HttpResponse:
    """Ask for a link by e-mail. The answer is the same, and takes as long, whoever's address it is."""
    if request.method != "POST" or not pass_sending.can_send() or _not_here(request):
        return redirect("workshop:pass-enter")
    form = forms.AskForm(request.POST)
    if not form.is_valid():
        return _door(request, ask=form)
    address = form.cleaned_data["email"]
    try:
        counted = pass_tries.count_link(request, address)
    except ValidationError as refusal:
        form.add_error("email", refusal)
        return _door(request, ask=form, status=429)
    mail.later(lambda: pass_sending.send_own(address) if counted else None)
    messages.success(request, ASKED)
    return _closed(redirect("workshop:pass-enter"))


@public
@require_safe
def opened(request: HttpRequest, pass_token: str) -> HttpResponse:
    """A link was opened. Nothing changes by it: on to the button, or a sentence why there is none."""
    one = passes.find(pass_token)
    if one is not None and request.user.is_authenticated and request.user.pk == one.person_id:
        # The message is kept and the link tapped again, weeks later: they are in already.
        return _without_referrer(redirect("home"))
    if one is None or passes.why_not(one):
        return _without_referrer(_gone(request, one))
    response = redirect("workshop:pass-go")
    response.set_cookie(
        COOKIE,
        pass_token,
        max_age=COOKIE_SECONDS,
        path=reverse("workshop:pass-enter"),
        httponly=True,
        samesite="Lax",
        secure=request.is_secure(),
    )
    return _without_referrer(response)


@public
@sensitive_variables("one")
def go(request: HttpRequest) -> HttpResponse:
    """The one button behind a link."""
    token = request.COOKIES.get(COOKIE, "")
    if not token:
        messages.warning(
            request,
            "Open the link once more: this device no longer knows which one it was. If that helps nothing, let the "
            "browser keep cookies, or ask for a code.",
        )
        return redirect("workshop:pass-enter")
    one = passes.find(token)
    if one is None or passes.why_not(one):
        return _forget(_gone(request, one))
    elsewhere = _not_here(request)
    form = forms.PressForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and not elsewhere and form.is_valid():
        try:
            return _forget(_let_in(request, one, typed=False, borrowed=form.cleaned_data["borrowed"]))
        except ValidationError:
            return _forget(_gone(request, passes.find(token)))
    context = {"form": form, "elsewhere": elsewhere, **(NOBODY if elsewhere else {})}
    return _closed(render(request, "workshop/enter_go.html", context, status=403 if form.is_bound else 200))


def _let_in(request: HttpRequest, one: OneTimePass, *, typed: bool, borrowed: bool) -> HttpResponse:
    """Use the pass and begin the session of its person. Raises ValidationError where somebody was quicker."""
    person = Person.objects.with_roles().get(pk=one.person_id)
    # By its name the lead tells it from the shop's own; it names nobody.
    device = take_on(request, whose="Car owner's")
    acts.use_pass(by=By(person, device=device), one=one, typed=typed)
    login(request, person, backend=BACKEND)
    take_on(request)  # in the session that has just begun
    request.session.set_expiry(0 if borrowed else passes.SESSION_SECONDS)
    return _closed(remember(request, redirect("home"), device))


def _door(
    request: HttpRequest, *, code: Form | None = None, ask: Form | None = None, status: int = 422
) -> HttpResponse:
    elsewhere = _not_here(request)
    bound = code is not None or ask is not None
    context = {
        "code": code or forms.CodeForm(),
        "ask": (ask or forms.AskForm()) if pass_sending.can_send() else None,
        "elsewhere": elsewhere,
        **(NOBODY if elsewhere else {}),
    }
    if not bound:
        status = 403 if elsewhere and request.method == "POST" else 200
    return _closed(render(request, "workshop/enter.html", context, status=status))


def _gone(request: HttpRequest, one: OneTimePass | None) -> HttpResponse:
    """It opens nothing: why, and what to do. For all that were never issued one and the same page."""
    context = {
        "known": one is not None,
        "sentence": passes.why_not(one) if one is not None else UNKNOWN_LINK,
        "may_ask": pass_sending.can_send(),
        **NOBODY,
    }
    return _closed(render(request, "workshop/enter_gone.html", context, status=404 if one is None else 410))


def _without_referrer(response: HttpResponse) -> HttpResponse:
    """For what is answered under an address that bears a token: no other page learns it from here."""
    response.headers["Referrer-Policy"] = "no-referrer"
    return _closed(response)


def _forget(response: HttpResponse) -> HttpResponse:
    response.delete_cookie(COOKIE, path=reverse("workshop:pass-enter"), samesite="Lax")
    return response


urlpatterns = [
    path("enter/", enter, name="pass-enter"),
    path("enter/link/", ask, name="pass-ask"),
    path("enter/go/", go, name="pass-go"),
    path("enter/<str:pass_token>/", opened, name="pass"),
]
