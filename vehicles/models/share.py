"""Links by which one car's history is read without signing in, and the log of when they were opened."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from urllib.parse import urlsplit

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from workshop.models import Record
from workshop.models.base import one_of

MOST_DAYS = 365
USUAL_DAYS = 30

# Addresses of the app that have one behind a link's token: (theirs, under which name the key stands in both).
_BEHIND = {
    "vehicles:photo": ("vehicles:shared-photo", "photo_id"),
    "vehicles:photo-file": ("vehicles:shared-photo", "photo_id"),
    "vehicles:photo-thumb": ("vehicles:shared-thumb", "photo_id"),
    "jobs:sheet": ("jobs:shared-sheet", "sheet_id"),
    "jobs:sheet-pdf": ("jobs:shared-sheet", "sheet_id"),
}


def check_shows(value: object) -> None:
    """A list of kinds of things that a reader is shown, each once, the work always among them."""
    from vehicles.audience import ALWAYS, Shows

    known = isinstance(value, list) and all(isinstance(each, str) and each in Shows.values for each in value)
    if not known or len(set(value)) != len(value) or not set(value) >= ALWAYS:
        raise ValidationError("This is no list of what a link may show.")


class ShareEnd(models.TextChoices):
    """Why a link no longer opens, other than by time."""

    ENDED = "ended", "Ended by hand"
    HANDS = "hands", "The car changed hands"
    ERASED = "erased", "The person was erased"


class ShareState(StrEnum):
    OPEN = "open"
    EXPIRED = "expired"
    ENDED = "ended"


class ShareQuerySet(models.QuerySet):
    def open(self) -> ShareQuerySet:
        return self.filter(revoked_at=None, valid_until__gte=timezone.localdate())


class Share(Record):
    """One link to one car. What it shows and until when is settled when it is made; it can be ended, once.

    The token is there (`token`) on the very object that the making act answers, and where a reader came in by it; kept
    is only what it is recognised by. `made_for`: the keeper for whom, and by whose right, it was made.
    """

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="shares")
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    label = models.CharField("who it is for", max_length=80)
    shows = models.JSONField("what it shows", default=list, validators=[check_shows])
    since = models.DateField("of a keeper's time only from", null=True, blank=True)
    until = models.DateField("nothing after", null=True, blank=True)
    days = models.PositiveSmallIntegerField("days it opens", default=USUAL_DAYS)
    valid_until = models.DateField("opens until the end of", editable=False)
    made_for = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="shares", null=True, blank=True
    )
    revoked_at = models.DateTimeField(null=True, blank=True, editable=False)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        editable=False,
    )
    revoked_because = models.CharField(max_length=6, choices=ShareEnd, blank=True, editable=False)

    token = ""

    objects = ShareQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        verbose_name = "share link"
        indexes = [models.Index(fields=["vehicle", "revoked_at", "valid_until"], name="share_of_vehicle")]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=~Q(token_hash=""), name="share_has_a_token"),
            models.CheckConstraint(
                condition=~Q(label=""),
                name="share_says_who_for",
                violation_error_code="field:label",
                violation_error_message="Say who it is for, such as “for the buyer”: you will know it by that.",
            ),
            models.CheckConstraint(
                condition=Q(days__gte=1, days__lte=MOST_DAYS),
                name="share_lasts_a_while",
                violation_error_code="field:days",
                violation_error_message=f"Give 1 to {MOST_DAYS} days.",
            ),
            models.CheckConstraint(
                condition=Q(since=None) | Q(until=None) | Q(until__gte=F("since")),
                name="share_ends_after_it_begins",
                violation_error_code="field:until",
                violation_error_message="Costs and papers would begin after that day: give a later one.",
            ),
            models.CheckConstraint(
                condition=one_of("revoked_because", ShareEnd, blank=True), name="share_end_is_known"
            ),
            models.CheckConstraint(
                condition=Q(revoked_at=None, revoked_by=None, revoked_because="")
                | Q(revoked_at__isnull=False, revoked_by__isnull=False) & ~Q(revoked_because=""),
                name="ended_share_says_who_and_why",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    def get_absolute_url(self) -> str:
        return reverse("vehicles:share", args=[self.pk])

    def state_on(self, day: date) -> ShareState:
        if self.revoked_at is not None:
            return ShareState.ENDED
        return ShareState.EXPIRED if day > self.valid_until else ShareState.OPEN

    @property
    def state(self) -> ShareState:
        return self.state_on(timezone.localdate())

    @property
    def is_open(self) -> bool:
        return self.state == ShareState.OPEN

    def address(self) -> str:
        """The path that is handed on. Only where the token is at hand."""
        return reverse("vehicles:shared", args=[self.token])

    def link(self, url: str) -> str:
        """The address behind the token for an address of the app; "" where a link leads to none of that kind."""
        parts = urlsplit(url)
        try:
            found = resolve(parts.path)
        except Resolver404:
            return ""
        name, key = _BEHIND.get(found.view_name, ("", ""))
        if not name or not self.token:
            return ""
        path = reverse(name, kwargs={"token": self.token, key: found.kwargs[key]})
        return f"{path}?{parts.query}" if parts.query else path


class Opened(models.TextChoices):
    """What of a car was opened by a link."""

    ACCOUNT = "account", "The account"
    PHOTO = "photo", "A photo"
    PAPER = "paper", "A handover sheet"


class OpenedOn(models.TextChoices):
    """A coarse word on what it was opened with: enough to know one's buyer again, too little to know a person by."""

    PHONE = "phone", "Phone"
    TABLET = "tablet", "Tablet"
    COMPUTER = "computer", "Computer"
    PROGRAM = "program", "A program, such as a messenger's preview"
    OTHER = "other", "Something else"


class ShareOpening(models.Model):
    """That a link was opened: one row for each device, hour and kind, which counts. Not an act, as nobody signed in.

    `device` is a keyed hash, of its own for each link, of network address and browser; neither is kept. It is empty
    for what came in an hour after a certain number of devices: then it is only counted, so that a flood fills no disk.
    """

    share = models.ForeignKey(Share, on_delete=models.PROTECT, related_name="openings")
    hour = models.DateTimeField()
    what = models.CharField(max_length=7, choices=Opened)
    opened_on = models.CharField(max_length=8, choices=OpenedOn)
    device = models.CharField(max_length=40, blank=True)
    count = models.PositiveIntegerField(default=1)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()

    class Meta:
        ordering = ["-last_at", "-pk"]
        verbose_name = "opening of a share link"
        constraints = [
            models.UniqueConstraint(
                fields=["share", "hour", "what", "device"], name="share_opening_counts_by_the_hour"
            ),
            models.CheckConstraint(condition=one_of("what", Opened), name="share_opening_is_of_a_kind"),
            models.CheckConstraint(condition=one_of("opened_on", OpenedOn), name="share_opened_on_is_known"),
            models.CheckConstraint(
                condition=Q(count__gte=1, last_at__gte=F("first_at")), name="share_opening_was_counted"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()}, {self.count} ×"
