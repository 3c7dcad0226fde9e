"""The shop's own tablet: its door with the names, the PIN, the lock, and choosing a PIN."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from workshop import idle, pins
from workshop.acting import By
from workshop.acts import devices as device_acts
from workshop.acts import pins as acts
from workshop.acts.devices import SESSION_DEVICE
from workshop.copies import drops_copies
from workshop.devices import device_of, remember, take_on
from workshop.forms import tablet as forms
from workshop.middleware import page_of
from workshop.models import Device, Person
from workshop.pages import act_page, may, public
from workshop.permissions import May

# The door is nobody's page, also while somebody's session waits behind it.
NOBODY: dict[str, Any] = {"user": AnonymousUser(), "nav": [], "shared": None, "grant": "", "saved_keys": []}
BACKEND = "workshop.signin.PersonBackend"


def _next(request: HttpRequest) -> str:
    """Where to go afterwards: a page of ours, never another site's, never a door."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    absolute = (
        request.build_absolute_uri(asked) if asked.startswith("/") and asked[1:2] not in ("/", "\\") else ""
    )
    return page_of(request, absolute)


def _with_next(name: str, next_url: str, *arguments) -> str:
    address = reverse(name, args=arguments)
    return f"{address}?{urlencode({'next': next_url})}" if next_url else address


def _staff():
    return Person.objects.active_staff().order_by("name")


def _closed(request: HttpRequest) -> HttpResponse | None:
    """The answer where PINs count for nothing: a tablet that was revoked, a browser that was never enrolled."""
    device = device_of(request)
    if device is None or device.enrolled_at is None:
        return redirect(_with_next("workshop:login", _next(request)))
    if device.revoked_at is not None:
        if not idle.wants_page(request):
            return JsonResponse({"error": _REVOKED, "revoked": True}, status=403)
        return render(request, "tablet/revoked.html", {"device": device, **NOBODY}, status=403)
    return None


_REVOKED = "This tablet was revoked. What waits on it stays on it. Ask the lead to let it in again."


def _holder(request: HttpRequest) -> Person | None:
    """Whose session this tablet has now, open or locked."""
    return request.user if request.user.is_authenticated else None


@public
@never_cache
@drops_copies
def door(request: HttpRequest) -> HttpResponse:
    """Everybody who works here, to be tapped."""
    if (closed := _closed(request)) is not None:
        return closed
    context = {
        "device": device_of(request),
        "people": _staff(),
        "holder": _holder(request),
        "next": _next(request),
        **NOBODY,
    }
    return render(request, "tablet/door.html", context)


@public
@never_cache
@sensitive_post_parameters("pin")
def enter(request: HttpRequest, person_id: UUID) -> HttpResponse:
    """The PIN of one person: a page with big keys, a plain form without scripts; JSON for a script."""
    if (closed := _closed(request)) is not None:
        return closed
    person = _staff().filter(pk=person_id).first()
    next_url = _next(request)
    if person is None:
        messages.warning(request, "This name is not on the tablet any more. Tap yours.")
        return redirect(_with_next("workshop:door", next_url))
    if not pins.has_pin(person):
        return redirect(f"{_with_next('workshop:pin-first', next_url)}")
    form = forms.EnterForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            pins.check(person, form.cleaned_data["pin"], device_of(request))
        except ValidationError as refusal:
            form.add_error("pin", refusal)
        else:
            _begin(request, person)
            target = next_url or reverse("home")
            if idle.wants_page(request):
                return redirect(target)
            return JsonResponse({"next": target, "mark": pins.mark(person)})
    if request.method == "POST" and not idle.wants_page(request):
        return JsonResponse({"error": " ".join(form.errors.get("pin", []))}, status=422)
    context = {"form": form, "person": person, "holder": _holder(request), "next": next_url, **NOBODY}
    return render(request, "tablet/enter.html", context, status=422 if form.errors else 200)


def _begin(request: HttpRequest, person: Person) -> None:
    """Open this person's session: the one that was locked, or a new one, which ends whatever was here before."""
    if _holder(request) != person:
        login(request, person, backend=BACKEND)
    request.session[SESSION_DEVICE] = str(request.device.pk)
    idle.unlock(request)


@public
@require_POST
@sensitive_post_parameters("pin", "password")
def unlock(request: HttpRequest) -> HttpResponse:
    """The lock on a page is opened, by PIN or password: the page stays as it is, so the answer is for its script."""
    device = device_of(request)
    if device is None or device.enrolled_at is None:
        return JsonResponse({"error": "This tablet is not enrolled any more.", "door": True}, status=403)
    if (closed := _closed(request)) is not None:
        return closed
    try:
        person = _staff().filter(pk=UUID(request.POST.get("person", ""))).first()
    except ValueError:
        person = None
    if person is None:
        return JsonResponse(
            {"error": "You may no longer sign in here. Ask the lead.", "door": True}, status=403
        )
    try:
        if password := request.POST.get("password"):
            forms.person_by_password(request, person.sign_in_name, password, device)
        else:
            pins.check(person, request.POST.get("pin", ""), device)
    except ValidationError as refusal:
        return JsonResponse({"error": " ".join(refusal.messages)}, status=422)
    _begin(request, person)
    # The mark is for a PIN that was typed just now: a password says nothing of it.
    return JsonResponse({"mark": "" if password else pins.mark(person)})


@public
@require_POST
def lock(request: HttpRequest) -> HttpResponse:
    """Locked at once, by the button or because nobody touched the tablet."""
    device = device_of(request)
    here = page_of(request, request.headers.get("Referer"))
    if request.user.is_authenticated and device is not None and device.is_enrolled:
        idle.lock(request)
        if idle.wants_page(request):
            return redirect(_with_next("workshop:door", here))
    elif idle.wants_page(request):
        return redirect(here or "home")
    return HttpResponse(status=204)


@may(May.SEE_SHOP)
@require_POST
def awake(request: HttpRequest) -> HttpResponse:
    """Somebody types on the page: a touch, though nothing is sent."""
    idle.touch(request)
    return HttpResponse(status=204)


# ------------------------------------------------------------------------------------------------------- PINs


@public
@never_cache
@sensitive_post_parameters("pin", "again", "password")
def pin_first(request: HttpRequest) -> HttpResponse:
    """At the door: a PIN, the first or another after the old one was forgotten, with name and password."""
    if (closed := _closed(request)) is not None:
        return closed
    next_url, device = _next(request), device_of(request)
    if request.method == "POST":
        form = forms.FirstPinForm(request.POST, device=device, request=request)
        if form.is_valid():
            by = By(form.person, device=device, key=form.cleaned_data["key"])
            try:
                acts.set_pin(by=by, **form.act_arguments())
            except ValidationError as refusal:
                form.add_refusal(refusal)
            else:
                _begin(request, form.person)
                messages.success(request, "Your PIN holds from now on, on every tablet of the shop.")
                return redirect(next_url or "home")
    else:
        form = forms.FirstPinForm(device=device, request=request)
    context = {
        "title": "Choose a PIN",
        "form": form,
        "intro": "Your password says once who you are. From then on your name and six digits are enough on this "
        "shop's tablets. Nobody else sees the PIN, and nobody can set it for you.",
        "submit_label": "Take this PIN",
        "cancel_url": _with_next("workshop:door", next_url),
        "cancel_label": "Back to the names",
        **NOBODY,
    }
    return render(request, "tablet/pin.html", context, status=422 if form.errors else 200)


@sensitive_post_parameters("pin", "again", "password", "old_pin")
def _pin(request: HttpRequest) -> HttpResponse:
    next_url = _next(request) or reverse("home")
    return act_page(
        request,
        form_class=forms.OwnPinForm,
        act=acts.set_pin,
        title="Another PIN" if pins.has_pin(request.user) else "Choose a PIN",
        intro="Six digits by which you say on the shop's tablets that it is you: at their door, and where you sign. "
        "Nobody else sees it, and nobody can set it for you.",
        submit="Take this PIN",
        form_kwargs={"device": device_of(request), "request": request},
        done=next_url,
        said="Your PIN holds from now on, on every tablet of the shop.",
        template="tablet/pin.html",
    )


pin = may(May.SEE_SHOP)(_pin)


# --------------------------------------------------------------------------------------------------- enrolling


@may(May.REVOKE_DEVICE)
def enrol(request: HttpRequest) -> HttpResponse:
    """The browser in hand becomes the shop's tablet."""
    device = device_of(request)
    if device is not None and device.enrolled_at is not None:
        messages.info(request, f"“{device.name}” is enrolled already.")
        return redirect(device)
    if request.method == "POST" and device is None:
        device = take_on(request)
    answer = act_page(
        request,
        form_class=forms.EnrolForm,
        act=device_acts.enrol_tablet,
        title="Enrol this tablet",
        intro="For the device in your hands, if it belongs to the shop and passes from hand to hand. From then on "
        "people tap their name and type a PIN of six digits on it, and it locks itself when it lies untouched. "
        "Your own telephone or desk needs none of this.",
        submit="Enrol it",
        fixed={"device": device},
        initial={"name": device.name if device else ""},
        done=_after_enrolling,
        cancel="workshop:devices",
        said=lambda row: (
            f"“{row.name}” is enrolled. Whoever has no PIN yet chooses one on it, with name and password."
        ),
    )
    if request.method == "POST" and device is not None:
        remember(request, answer, device)
    return answer


def _after_enrolling(row: Device) -> str:
    return reverse("workshop:devices") if pins.has_pin(row.enrolled_by) else reverse("workshop:pin")


urlpatterns = [
    path("tablet/", door, name="door"),
    path("tablet/in/<uuid:person_id>/", enter, name="enter"),
    path("tablet/lock/", lock, name="lock"),
    path("tablet/unlock/", unlock, name="unlock"),
    path("tablet/awake/", awake, name="awake"),
    path("tablet/pin/", pin, name="pin"),
    path("tablet/pin/first/", pin_first, name="pin-first"),
    path("tablet/enrol/", enrol, name="enrol"),
]
