"""One-time passes: by a link or a code a car's owner signs in without a password, once."""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from workshop.models.base import Record, one_of


class PassWay(models.TextChoices):
    """How it reaches the person; by this it lasts as long as it must."""

    COUNTER = "counter", "Shown at the counter"
    MAIL = "mail", "Sent by e-mail"


# At the counter the person stands there; a message may lie till the next day.
LASTS = {PassWay.COUNTER: timedelta(minutes=15), PassWay.MAIL: timedelta(hours=24)}


class PassEnd(models.TextChoices):
    """Why a pass no longer opens anything, other than by use or time."""

    NEWER = "newer", "A newer one took its place"
    ENDED = "ended", "Ended by the workshop"
    NOT_SENT = "not_sent", "It could not be sent"
    ERASED = "erased", "The person was erased"
    CLOSED = "closed", "The account was closed"
    NO_CAR = "no_car", "They have no car here any more"


class PassState(StrEnum):
    OPEN = "open"
    USED = "used"
    EXPIRED = "expired"
    VOIDED = "voided"


class OneTimePass(Record):
    """Signs one person in, once, until a moment. Link and code are never kept, only what they are recognised by.

    `token` and `code` are there on the very object that the issuing act made, and nowhere else.
    """

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="passes")
    way = models.CharField(max_length=8, choices=PassWay)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    # Keyed, as a code is short; empty where there is a link alone.
    code_hash = models.CharField(max_length=64, blank=True, editable=False)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True, editable=False)
    used_on = models.ForeignKey(
        "workshop.Device", on_delete=models.PROTECT, related_name="+", null=True, blank=True, editable=False
    )
    voided_at = models.DateTimeField(null=True, blank=True, editable=False)
    voided_because = models.CharField(max_length=8, choices=PassEnd, blank=True, editable=False)

    token = ""
    code = ""

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        verbose_name_plural = "one-time passes"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("way", PassWay), name="pass_way_is_known"),
            models.CheckConstraint(
                condition=one_of("voided_because", PassEnd, blank=True), name="pass_end_is_known"
            ),
            models.CheckConstraint(condition=~Q(token_hash=""), name="pass_has_a_token"),
            models.CheckConstraint(condition=Q(expires_at__gt=F("received_at")), name="pass_lasts_a_while"),
            models.CheckConstraint(
                condition=Q(voided_at=None, voided_because="")
                | Q(voided_at__isnull=False) & ~Q(voided_because=""),
                name="voided_pass_says_why",
            ),
            models.CheckConstraint(
                condition=Q(used_at=None, used_on=None)
                | Q(used_at__isnull=False, used_at__lte=F("expires_at")),
                name="pass_used_before_it_expires",
            ),
            models.UniqueConstraint(
                fields=["code_hash"], condition=~Q(code_hash=""), name="pass_code_is_of_one"
            ),
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(used_at=None, voided_at=None),
                name="one_open_pass_for_a_person",
            ),
        ]
        indexes = [models.Index(fields=["person", "-made_at"], name="passes_of_a_person")]

    def __str__(self) -> str:
        return f"{self.get_way_display()} for {self.person}"

    def state_at(self, moment: datetime) -> PassState:
        """What it is worth at a moment. What ended it first is what is said."""
        if self.used_at is not None:
            return PassState.USED
        if self.voided_at is not None and self.voided_at < self.expires_at:
            return PassState.VOIDED
        return PassState.EXPIRED if moment >= self.expires_at else PassState.OPEN

    @property
    def state(self) -> PassState:
        return self.state_at(timezone.now())

    @property
    def in_words(self) -> str:
        """For the desk: what became of it."""
        state = self.state
        if state == PassState.USED:
            return "used"
        if state == PassState.VOIDED:
            return self.get_voided_because_display().lower()
        return "ran out unused" if state == PassState.EXPIRED else "not used yet"
