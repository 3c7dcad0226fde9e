"""The tablet's queue, on the server: what a tablet kept while there was no network is sent to the same form
addresses later, and counts once, for the person who made it, at the time when it was made.

For those who build on it:

- `@queued(acts.add_labour, what="Labour")` under `@may` marks a view whose POST may come from the queue
  (`static/js/outbox.js`). With the acts named, a key is answered again only for one of them. `what` stands as
  `request.queueing`, by which `components/_form.html` gives its form `data-queue`; a form drawn elsewhere writes
  `data-queue="…"` itself. Never mark an act that signs (second check, sign-off, handing over): it needs the network.
- **Grant** (`grant_of(request)`, in the page as `<body data-grant>`): signed, of person, device and a piece of the
  person's session hash. A POST with it in `X-Grant`, on the very device, acts as that person whoever is signed in,
  also while the session is locked: then `request.granted` is True, and whatever locks a session lets it pass. What
  such a request leaves in session or messages is thrown away: they are somebody else's.
- Request: `X-Outbox` with the words `1`, and `first` (never sent before: the act's own look at the key decides) or
  `later` (nobody waits for the answer: no message is left for the next page); `X-Person`; `X-Sent-At` (ms since the
  epoch, by the device's clock, at sending); field `device_time` (ISO with offset, by the device's clock, when made).
- Answer: saved is 200 with `X-Saved-Key`, `X-Location` where the form would lead on to, and `X-Verdict` (words,
  percent-encoded) where the record has a `verdict_said`; a script that asked for a
  part of the page (`HX-Request`) or for JSON has it as the body. Refused is a 4xx with `X-Refused`, and
  `X-Reasons` (JSON, a list of sentences) where an act refused. Everything else
  is neither: the tablet keeps it and says why (`X-Outbox-Wait` with a sentence as plain text).
- `clock_of(request)` gives the times for `By`: the device's own, and when that was by the server's clock.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from importlib import import_module
from typing import Any
from urllib.parse import quote
from uuid import UUID

from django.conf import settings
from django.contrib.messages.storage.base import BaseStorage
from django.core import signing
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.deprecation import MiddlewareMixin

from workshop.models import Person, Submission

SALT = "workshop.grant"
OLDEST = timedelta(days=60)  # what lay longer on a tablet, somebody looks at and sends again
MOST_HEADER = 4000
# Made and sent in one go: then it was made when it arrived. So short that two things made one after the other never
# change places, where one of them waited a little and the other did not.
JUST_NOW = timedelta(milliseconds=100)
AGREE = timedelta(seconds=2)  # two clocks that are right
ON_THE_WAY = timedelta(seconds=6)  # a request through a bad network
# Answers of the app that say no for good. Not among them: signed out, locked, too many, and everything from 500 on.
REFUSES = frozenset({400, 403, 404, 405, 409, 410, 413, 415, 422})


# --------------------------------------------------------------------------------------------------- grants


def grant_of(request: HttpRequest) -> str:
    """The grant for whoever is signed in on this device; empty where nobody is, or the device is not known."""
    person, device = getattr(request, "user", None), getattr(request, "device", None)
    if not (person and person.is_authenticated and device and device.pk) or _is_locked(request):
        return ""
    return signing.dumps([str(person.pk), str(device.pk), _piece(person)], salt=SALT)


def _piece(person: Person) -> str:
    """Changes with the password, so a grant ends where the person's sessions end."""
    return person.get_session_auth_hash()[:20]


def _is_locked(request: HttpRequest) -> bool:
    return bool(getattr(request, "session", {}).get("locked"))


class NotNow(Exception):
    """Neither saved nor refused: it stays on the tablet, with this sentence."""

    def __init__(self, sentence: str, status: int = 403):
        super().__init__(sentence)
        self.status = status

    def answer(self) -> HttpResponse:
        return _words(str(self), self.status, {"X-Outbox-Wait": "1"})


def _words(sentence: str, status: int, headers: dict[str, str] | None = None) -> HttpResponse:
    return HttpResponse(sentence, status=status, content_type="text/plain; charset=utf-8", headers=headers)


def _person_by(request: HttpRequest, text: str) -> Person:
    """Whose grant this is, when it holds here and now. Two queries."""
    try:
        person_id, device_id, piece = signing.loads(
            text, salt=SALT, max_age=timedelta(seconds=settings.SESSION_COOKIE_AGE)
        )
    except signing.SignatureExpired:
        raise NotNow("It lay here for too long to be sent by itself: sign in as whoever made it.") from None
    except (signing.BadSignature, ValueError, TypeError):
        raise NotNow("The server can't read whose this is: sign in as whoever made it.", 400) from None
    device = request.device
    if not device or str(device.pk) != device_id:
        raise NotNow("This was made on another tablet, or this one was signed in anew: sign in here again.")
    if device.revoked_at is not None:
        raise NotNow("This tablet was revoked: ask the lead to let it in again.")
    person = Person.objects.with_roles().filter(pk=person_id).first()
    if person is None or not person.is_active:
        name = person.name if person else "Whoever made this"
        raise NotNow(f"{name} may no longer sign in: ask the lead.")
    if not constant_time_compare(piece, _piece(person)):
        raise NotNow(f"{person.name} has another password since: {person.name} signs in here once more.")
    return person


# ----------------------------------------------------------------------------------------------- the middleware


class _Silent(BaseStorage):
    """Messages of a request that nobody looks at."""

    def _get(self, *_: Any, **__: Any):
        return [], True

    def _store(self, *_: Any, **__: Any):
        return []


class Queue(MiddlewareMixin):
    """Lets what a tablet kept act as the person who made it, and says of every answer to it what it is worth.

    After `AuthenticationMiddleware`, before `SignedIn` and whatever locks a session.
    """

    def process_view(self, request: HttpRequest, view: Callable, args: Any, kwargs: Any):
        if request.method != "POST" or not {"X-Outbox", "X-Grant"} & request.headers.keys():
            return None
        request.queue_let_in = True
        try:
            self._let_in(request, view)
        except NotNow as reason:
            return reason.answer()
        return None

    def _let_in(self, request: HttpRequest, view: Callable) -> None:
        text = request.headers.get("X-Grant", "")
        wanted = request.headers.get("X-Person", "")
        if not text:
            if wanted and request.user.is_authenticated and str(request.user.pk) != wanted:
                raise NotNow("This is somebody else's: it is sent when they sign in here.")
            return
        if not getattr(view, "queued", False):
            raise NotNow("This is not done from what a tablet kept: it needs the person and the network.")
        person = _person_by(request, text)
        own = request.user.is_authenticated and request.user.pk == person.pk and not _is_locked(request)
        request.granted = True
        if not own:
            request.user = person
        if not own or "later" in request.headers.get("X-Outbox", "").split():
            request.session_kept_aside = request.session
            request.session = import_module(settings.SESSION_ENGINE).SessionStore()
            request._messages = _Silent(request)

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        if (session := getattr(request, "session_kept_aside", None)) is not None:
            request.session = session
        if is_queued(request):
            response.headers["X-Server-Time"] = str(int(timezone.now().timestamp() * 1000))
            # What was stopped before it came here (a token that is too old) was not looked at by anything.
            looked_at = getattr(request, "queue_let_in", False) and "X-Outbox-Wait" not in response.headers
            if looked_at and response.status_code in REFUSES:
                response.headers["X-Refused"] = "1"
                if reasons := getattr(request, "refusals", None):
                    response.headers["X-Reasons"] = json.dumps(reasons)[:MOST_HEADER]
        return response


def is_queued(request: HttpRequest) -> bool:
    """Whether this was sent by the tablet's queue, which keeps each thing's key itself."""
    return request.method == "POST" and "X-Outbox" in request.headers


# ------------------------------------------------------------------------------------------------ the decorator


def queued(*acts: Callable, what: str = "") -> Callable:
    """Mark a view as queueable; see the head of this file. Also bare: `@queued`."""
    names = frozenset(act.act_name for act in acts if hasattr(act, "act_name"))

    def decorate(view: Callable) -> Callable:
        @functools.wraps(view)
        def queueable(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            request.queueing = what
            if not is_queued(request):
                return view(request, *args, **kwargs)
            if (answer := _saved_before(request, names)) is not None:
                return answer
            _settle_days(request)
            return _said(request, view(request, *args, **kwargs))

        queueable.queued = True
        return queueable

    if len(acts) == 1 and not names:
        return decorate(acts[0])
    return decorate


def _saved_before(request: HttpRequest, names: frozenset[str]) -> HttpResponse | None:
    """The answer to what was carried out once and whose answer was lost: before anything that may refuse it by now."""
    if "first" in request.headers["X-Outbox"].split():
        return None
    try:
        key = UUID(request.POST.get("key", ""))
    except ValueError:
        return None
    row = Submission.objects.filter(key=key).first()
    if row is None:
        return None
    if row.person_id != request.user.pk or (names and row.act not in names):
        # Says nothing of whose it is, or what.
        return _words("Its number was used already, for something else. Write it down once more.", 409)
    return _with_verdict(_words("Saved.", 200, {"X-Saved-Key": str(key)}), _answer_of(row))


def _answer_of(row: Submission) -> Any:
    try:
        return row.answer()
    except (ObjectDoesNotExist, LookupError):
        return None  # gone since, or its kind is: saved it was


def _with_verdict(response: HttpResponse, record: Any) -> HttpResponse:
    """What was found of it, so that the tablet's list of what it sent says it beside what was typed."""
    if words := getattr(record, "verdict_said", ""):
        response.headers["X-Verdict"] = quote(words)
    return response


def _said(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """The view's answer, so that a script can tell saved from anything else that looks fine."""
    key = getattr(request, "saved_key", "")
    location = response.headers.get("HX-Redirect") or response.headers.get("Location", "")
    if key and response.status_code < 400:
        if location:
            response = _words("Saved.", 200, {"X-Location": location})
        response.headers["X-Saved-Key"] = key
        _with_verdict(response, getattr(request, "saved_record", None))
    elif response.status_code < 400:
        # It leads on to another question, which only the person can answer.
        if location:
            response = _words("It needs one answer more. Open its page.", 409, {"X-Location": location})
        response.headers["X-Refused"] = "1"
    return response


# ------------------------------------------------------------------------------------------------------- clocks


def clock_of(request: HttpRequest) -> tuple[datetime | None, datetime | None]:
    """(the device's own time, when that was by the server's clock). None each where it is not told, or was just now.

    The device's clock may be wrong by an hour, a day: what it showed at sending, beside the server's time, says by
    how much. Raises `ValidationError` with a sentence for what is no time.
    """
    text = request.POST.get("device_time", "")
    if not text:
        return None, None
    device_time = _moment(text)
    sent = request.headers.get("X-Sent-At", "")
    if not sent:
        return device_time, None
    now = timezone.now()
    lain = _sent_at(sent) - device_time  # between making and sending, both by the device's clock
    if lain > OLDEST:
        raise ValidationError(
            f"By its clock this tablet kept it for {lain.days} days. Look whether its date was right, and type in "
            "what is still to be written down, with the time at which it was done."
        )
    if lain <= -AGREE:
        return device_time, None  # its clock was set back meanwhile: it says nothing
    if -AGREE <= now - _sent_at(sent) <= ON_THE_WAY:
        # Taken as it is: how long an answer took differs from one to the next, and would change their order.
        return device_time, min(device_time, now)
    if lain <= JUST_NOW:
        return device_time, None
    return device_time, now - lain


_NO_TIME = "The time that this tablet sent along can't be read. Write it down once more, with its time."


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text[:40])
        if moment.tzinfo is None or not 1970 <= moment.year <= 2200:
            raise ValueError
        return moment.astimezone(UTC)
    except (ValueError, OverflowError):
        raise ValidationError(_NO_TIME, code="device_time") from None


def _sent_at(text: str) -> datetime:
    try:
        return datetime.fromtimestamp(int(text) / 1000, UTC)
    except (ValueError, OverflowError, OSError):
        raise ValidationError(_NO_TIME, code="device_time") from None


def _settle_days(request: HttpRequest) -> None:
    """“13:55” typed without a day means the day on which it was typed, not the one on which it arrives."""
    try:
        _, made_at = clock_of(request)
    except ValidationError:
        return  # the form says so
    if made_at is None or (day := timezone.localdate(made_at)) == timezone.localdate():
        return
    data = request.POST.copy()
    for name in request.POST:
        of_the_day = f"{name.removesuffix('_time')}_day"
        if name.endswith("_time") and data[name] and of_the_day in data and not data[of_the_day]:
            data[of_the_day] = day.isoformat()
    request.POST = data
