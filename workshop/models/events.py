"""The append-only event log, chained by hash, and the submissions that make every write happen once.

Triggers (`workshop/triggers.py`) refuse UPDATE and DELETE on events in the database itself.
"""

from __future__ import annotations

from django.apps import apps
from django.conf import settings
from django.db import models
from django.db.models import Q

GENESIS = "0" * 64


class Event(models.Model):
    """One act, as it stands in the chain.

    `body` is the exact text that was hashed (canonical JSON): `hash = SHA-256(previous_hash + "\\n" + body)`.
    The other columns repeat parts of it for queries; `verify_log` compares them. Personal words are not in
    `body`, only their salted hash; they stand in `EventDetail` and can be erased without breaking the chain.
    """

    seq = models.BigIntegerField(primary_key=True)
    act = models.CharField(max_length=80, db_index=True)
    subject_kind = models.CharField(max_length=60)
    subject_id = models.CharField(max_length=40)
    vehicle_ref = models.CharField(max_length=40, blank=True)
    job_ref = models.CharField(max_length=40, blank=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="events")
    device = models.ForeignKey("workshop.Device", on_delete=models.PROTECT, related_name="+", null=True)
    made_at = models.DateTimeField()
    received_at = models.DateTimeField()
    key = models.UUIDField(db_index=True)
    body = models.TextField()
    previous_hash = models.CharField(max_length=64, unique=True)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["seq"]
        indexes = [
            models.Index(fields=["vehicle_ref", "seq"], name="event_of_vehicle"),
            models.Index(fields=["job_ref", "seq"], name="event_of_job"),
            models.Index(fields=["subject_kind", "subject_id", "seq"], name="event_of_subject"),
            models.Index(fields=["received_at"], name="event_by_day"),
            models.Index(fields=["device", "seq"], name="event_of_device"),
            models.Index(fields=["person", "seq"], name="event_of_person"),
        ]
        constraints = [models.CheckConstraint(condition=Q(seq__gte=1), name="event_seq_begins_at_one")]

    def __str__(self) -> str:
        return f"{self.seq} {self.act}"


class EventDetail(models.Model):
    """The personal words of an event. Erasing empties `words` and `salt`; the row and its hash stay."""

    event = models.OneToOneField(Event, on_delete=models.PROTECT, primary_key=True, related_name="detail")
    words = models.TextField(blank=True)
    salt = models.CharField(max_length=64, blank=True)
    words_hash = models.CharField(max_length=64)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(erased_at=None) | Q(words="", salt=""), name="erased_detail_holds_no_words"
            )
        ]

    def __str__(self) -> str:
        return f"words of event {self.event_id}"


class LogHead(models.Model):
    """The one row that says where the chain ends. Locked last in each act: seq = head + 1, so there are no gaps."""

    seq = models.BigIntegerField(default=0)
    hash = models.CharField(max_length=64, default=GENESIS)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="log_has_one_head")]

    def __str__(self) -> str:
        return f"{self.seq} {self.hash[:12]}"


class Submission(models.Model):
    """One form that was sent. Claimed first inside its act's transaction: a repeated key is one record."""

    key = models.UUIDField(primary_key=True)
    act = models.CharField(max_length=80)
    content_hash = models.CharField(max_length=64)
    claim = models.UUIDField()
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField()
    answer_kind = models.CharField(max_length=60, blank=True)
    answer_id = models.CharField(max_length=40, blank=True)

    class Meta:
        # Whether the same was sent a moment ago under another key.
        indexes = [models.Index(fields=["content_hash", "received_at"], name="submission_same_content")]

    def __str__(self) -> str:
        return f"{self.act} {self.key}"

    def answer(self) -> models.Model | None:
        """What the act answered the first time: one query."""
        if not self.answer_kind:
            return None
        return apps.get_model(self.answer_kind)._default_manager.get(pk=self.answer_id)
