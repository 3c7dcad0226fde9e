"""What somebody reads who was given a share link: the account of one car, its photos. Nobody is signed in here.

Every answer is checked against the link as it is at that moment, and none of them is kept anywhere on the way.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from uuid import UUID

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_safe

from vehicles import account, shares
from vehicles.audience import Audience, Shows
from vehicles.models import Attachment, AttachmentKind, Opened, Share
from vehicles.views.my_car import page_asked
from vehicles.views.photo import bytes_of
from workshop.pages import public

# What a photo belongs to, the nearest first, and which tick shows that.
_BELONGS = (
    ("damage_id", Shows.FAULTS),
    ("line_id", Shows.WORK),
    ("run_id", Shows.WORK),
    ("fault_id", Shows.FAULTS),
    ("item_id", Shows.OUTSTANDING),
    ("part_id", Shows.PARTS),
    ("survey_id", Shows.PARTS),
    ("job_id", Shows.WORK),
)


def behind_a_link(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A page that everybody opens who has a link's token: `view(request, share, …)` is called while it opens.

    Whoever reads is nobody here, also where the browser is signed in: the page is the one that a stranger gets, and it
    bears no form (a form of a page without a referrer would be refused).
    """

    @public
    @require_safe
    @wraps(view)
    def page(request: HttpRequest, token: str, **which: object) -> HttpResponse:
        request.user = AnonymousUser()
        share = shares.find(token)
        if share is None:
            response = not_here(request)
        elif not share.is_open:
            response = render(request, "vehicles/shared_over.html", {"state": share.state.value}, status=410)
        else:
            response = view(request, share, **which)
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["X-Robots-Tag"] = "noindex, nofollow"
        response.headers["Cache-Control"] = "no-store"
        return response

    return page


def not_here(request: HttpRequest) -> HttpResponse:
    """One and the same for what was never made, and for what this link does not show."""
    return render(request, "vehicles/shared_unknown.html", status=404)


@behind_a_link
def shared(request: HttpRequest, share: Share) -> HttpResponse:
    """The account of the car, read-only. Being opened is counted on GET alone, after the page could be drawn."""
    context = {
        "share": share,
        "vehicle": share.vehicle,
        **account.context(shares.audience_of(share), share.vehicle, page_asked(request)),
    }
    response = render(request, "vehicles/shared.html", context)
    count(request, share, Opened.ACCOUNT)
    return response


@behind_a_link
def shared_photo(request: HttpRequest, share: Share, photo_id: UUID) -> HttpResponse:
    row = _photo(share, photo_id)
    if row is None:
        return not_here(request)
    response = bytes_of(request, row, row.file)
    count(request, share, Opened.PHOTO)
    return response


@behind_a_link
def shared_thumb(request: HttpRequest, share: Share, photo_id: UUID) -> HttpResponse:
    """The small picture on the page; it comes with the account and is not counted by itself."""
    row = _photo(share, photo_id)
    if row is None or not row.thumb:
        return not_here(request)
    return bytes_of(request, row, row.thumb, small="small" in request.GET)


def count(request: HttpRequest, share: Share, what: Opened) -> None:
    if request.method == "GET":
        shares.count_opening(share, request, what)


def _photo(share: Share, photo_id: UUID) -> Attachment | None:
    """The photo, where it is of this car and this link shows it. One query."""
    row = Attachment.objects.shown().filter(pk=photo_id, vehicle=share.vehicle_id).first()
    return row if row is not None and sees_photo(shares.audience_of(share), row) else None


def sees_photo(audience: Audience, row: Attachment) -> bool:
    """Pictures of the car go with the car, each with what it belongs to. Papers and the pictures taken all round can
    show names, addresses and belongings: only with the keeper's own, of the keeper's own time.
    """
    if not audience.sees(Shows.PHOTOS):
        return False
    belongs = next((what for column, what in _BELONGS if getattr(row, column)), Shows.WORK)
    if not audience.sees(belongs):
        return False
    if row.kind == AttachmentKind.PHOTO and not row.occasion:
        return audience.reaches(row.made_at)
    return audience.hears(row.made_at)


urlpatterns = [
    path("shared/<str:token>/", shared, name="shared"),
    path("shared/<str:token>/photo/<uuid:photo_id>/", shared_photo, name="shared-photo"),
    path("shared/<str:token>/photo/<uuid:photo_id>/thumb/", shared_thumb, name="shared-thumb"),
]
