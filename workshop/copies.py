"""Copies of pages on the device: which pages may be kept for when the network is gone, and by whom they were seen.

The service worker (`templates/sw.js`) keeps an answer only when it bears `X-Keep-Copy: <key of the person>`, beside
those of that person alone. Pages with money, people, settings or the log do not bear it.

What was erased (a photo, a person, words of an event) must not live on in a copy: each such answer also says how many
erasures the log holds (`X-Erasures`), and with another number than before the worker throws all copies away, of
everybody on that device. The number comes with the row of whoever is signed in (`workshop.signin`), so it costs no
query; it is read before the page is, so a page that says it shows nothing that was erased until then.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from functools import wraps

from django.contrib.messages.storage.base import BaseStorage
from django.db.models import F, Func, IntegerField, Subquery
from django.http import HttpRequest, HttpResponse

from workshop import acting
from workshop.models import Event
from workshop.permissions import May

KEEP = "X-Keep-Copy"
DROP = "X-Drop-Copies"
ERASURES = "X-Erasures"
# Asked by the worker once its copies are thrown away: the answer has the browser forget the pictures it holds besides.
FORGET = "X-Forget"
# A page fetched by the worker itself, to be kept: nobody looks at this answer.
FOR_COPY = "X-For-Copy"
# The part of a page that a script asks for anew and that may be kept by itself: the work area of a run. Lists that
# come while somebody types a search would only push pages out of the copies.
PART = "work"


def erasures() -> Subquery:
    """How many erasures the log holds, by its index of acts. It only grows, as nothing is taken out of the log; after
    a backup was brought back it may be less, which is another number too.
    """
    rows = Event.objects.filter(act__in=sorted(acting.names(May.ERASE))).order_by()
    return Subquery(rows.values(count=Func(F("seq"), function="COUNT")), output_field=IntegerField())


class _Unread(BaseStorage):
    """In place of the person's messages: they wait for the page that somebody looks at."""

    def _get(self, *args, **kwargs):
        return [], True

    def _store(self, messages, response, *args, **kwargs):
        return []


def _unseen(view: Callable[..., HttpResponse], request: HttpRequest, *args, **kwargs) -> HttpResponse:
    """The page as it would be, and nothing changed by it: messages and saved keys wait for somebody who looks, and
    what an address chooses (a tool) is not chosen.
    """
    request._messages = _Unread(request)
    request.for_copy = True
    session = request.session
    held, modified = deepcopy(dict(session.items())), session.modified
    response = view(request, *args, **kwargs)
    session.clear()
    session.update(held)
    session.modified = modified
    return response


def keeps_copy(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Mark a page as one whose last copy the device of the person who opens it keeps."""

    @wraps(view)
    def marked(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        for_copy = FOR_COPY in request.headers
        response = _unseen(view, request, *args, **kwargs) if for_copy else view(request, *args, **kwargs)
        part = request.headers.get("HX-Target", "") if "HX-Request" in request.headers else PART
        if (
            request.method == "GET"
            and response.status_code == 200
            and part == PART
            and request.user.is_authenticated
        ):
            response.headers[KEEP] = str(request.user.pk)
            if (told := getattr(request.user, "erasures", None)) is not None:
                response.headers[ERASURES] = str(told)
        return response

    return marked


def drops_copies(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Mark the doors. Who sees one without a session is signed out: the copies of whoever was here last go from the
    device. On a device that was revoked everybody's go. A locked session is still a session.
    """

    @wraps(view)
    def marked(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        response = view(request, *args, **kwargs)
        device = request.device
        if device and device.revoked_at is not None:
            response.headers[DROP] = "all"
        elif request.method == "GET" and response.status_code == 200 and not request.user.is_authenticated:
            response.headers[DROP] = "last"
        return response

    return marked
