"""How somebody is told what is due: by e-mail each morning, and by a calendar at a private address."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST, require_safe

from vehicles import due_feed
from vehicles.acts import due as acts
from vehicles.forms import due as forms
from vehicles.models import DueMail, DueReader, FeedAddress
from workshop import mail, sheets
from workshop.pages import act_page, may, public
from workshop.permissions import May
from workshop.tokens import new_token, token_hash


def _page(request: HttpRequest, *, status: int = 200, **more) -> HttpResponse:
    reader = DueReader.objects.filter(person=request.user).first()
    chosen = (
        {"wants_mail": reader.wants_mail, "also_when_nothing": reader.also_when_nothing} if reader else {}
    )
    context = {
        "feed": FeedAddress.objects.filter(person=request.user, revoked_at=None)
        .select_related("device")
        .first(),
        "key_form": forms.KeyForm(auto_id="feed-%s"),
        "mail_form": forms.MailForm(initial=chosen),
        "mail_works": mail.configured(),
        "last_mail": DueMail.objects.filter(person=request.user).first(),
        **more,
    }
    answer = render(request, "vehicles/due_mine.html", context, status=status)
    # With a new address in it, this answer is for these eyes once.
    answer.headers["Cache-Control"] = "no-store"
    return answer


@may(May.OWN_DUE)
def due_mine(request: HttpRequest) -> HttpResponse:
    return _page(request)


@may(May.OWN_DUE)
@require_POST
def feed_open(request: HttpRequest) -> HttpResponse:
    """Make a new address and show it in this very answer: it is never shown again, as only its hash is kept."""
    form = forms.KeyForm(request.POST, auto_id="feed-%s")
    token = new_token()
    if not form.is_valid() or not form.try_act(acts.open_feed, request=request, token_hash=token_hash(token)):
        # The same form once more: its address was shown already.
        return _page(request, status=422, refused=form.sentences())
    site = settings.SITE_URL or f"{request.scheme}://{request.get_host()}"
    address = f"{site}{reverse('vehicles:due-feed', args=[token])}"
    # ISO/IEC 18004: four modules of quiet zone.
    code = mark_safe(sheets.qr_code(address, "QR code of your calendar address", border=4))
    answer = _page(request, address=address, code=code)
    answer.headers["X-Saved-Key"] = str(form.cleaned_data["key"])
    return answer


@may(May.OWN_DUE)
def feed_revoke(request: HttpRequest) -> HttpResponse:
    return act_page(
        request,
        form_class=forms.KeyForm,
        act=acts.revoke_feed,
        title="Take the calendar address back",
        intro="Whoever has the address, you included, gets nothing from it from now on. A new one can be made at any time.",
        done="vehicles:due-mine",
        submit="Take it back",
        said="The address holds no more.",
    )


@may(May.OWN_DUE)
@require_POST
def mail_choose(request: HttpRequest) -> HttpResponse:
    form = forms.MailForm(request.POST)
    if form.is_valid() and form.try_act(acts.choose_mail, request=request):
        answer = redirect("vehicles:due-mine")
        answer.headers["X-Saved-Key"] = str(form.cleaned_data["key"])
        return answer
    return _page(request, status=422, mail_form=form)


@public
@require_safe
def feed(request: HttpRequest, feed_token: str) -> HttpResponse:
    """The calendar itself, for programs that ask every hour: 304 after two queries where nothing was written."""
    address = due_feed.address_of(feed_token)
    if address is None:
        answer = render(request, "vehicles/due_feed_gone.html", status=404)
        answer.headers["Cache-Control"] = "no-store"
        return _private(answer)
    mark = due_feed.mark_of(address)
    asked = request.headers.get("If-None-Match", "")
    if good := due_feed.matching(asked, mark):
        answer = HttpResponse(status=304, headers={"ETag": good})
    else:
        body = due_feed.feed_of(address)
        now = due_feed.etag(mark, body)
        if due_feed.matching(asked, body=body):
            answer = HttpResponse(status=304, headers={"ETag": now})
        else:
            answer = HttpResponse(
                body,
                content_type="text/calendar; charset=utf-8",
                headers={"ETag": now, "Content-Disposition": 'inline; filename="due.ics"'},
            )
    # A calendar program keeps its own copy, and must ask whether it still holds; nobody else's cache may keep it.
    answer.headers["Cache-Control"] = "private, no-cache"
    return _private(answer)


def _private(answer: HttpResponse) -> HttpResponse:
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["X-Robots-Tag"] = "noindex, nofollow"
    return answer


urlpatterns = [
    path("due/mine/", due_mine, name="due-mine"),
    path("due/mine/calendar/", feed_open, name="due-feed-open"),
    path("due/mine/calendar/revoke/", feed_revoke, name="due-feed-revoke"),
    path("due/mine/mail/", mail_choose, name="due-mail"),
    path("due/<str:feed_token>.ics", feed, name="due-feed"),
]
