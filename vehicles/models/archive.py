"""Where records came from that were taken in from another installation, and what its log said of them."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from workshop.models import Record
from workshop.models.base import one_of


class Flavour(models.TextChoices):
    """For whom the file was made."""

    WORKSHOP = "workshop", "The next workshop: whole"
    OWNER = "owner", "The car's owner: without other people and their money"


class ArchiveImport(Record):
    """One archive of a car that was taken in: from which workshop, which file, what was in it. Never altered."""

    vehicle = models.ForeignKey(
        "vehicles.Vehicle", on_delete=models.PROTECT, related_name="archives_taken_in"
    )
    origin = models.CharField("came from", max_length=60)
    flavour = models.CharField("made for", max_length=8, choices=Flavour)
    sha256 = models.CharField("SHA-256 of the file", max_length=64, unique=True)
    records = models.PositiveIntegerField()
    events = models.PositiveIntegerField()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("flavour", Flavour), name="archive_flavour_is_known"),
            models.CheckConstraint(condition=~Q(origin=""), name="archive_came_from_somewhere"),
        ]

    def __str__(self) -> str:
        return f"archive from {self.origin}"


class ForeignEvent(models.Model):
    """One event of another installation's log, as it was hashed there. `body` is empty where it was withheld.

    Each is checked by itself: its hash is of the hash before it and its text. Never altered.
    """

    archive = models.ForeignKey(ArchiveImport, on_delete=models.PROTECT, related_name="foreign_events")
    seq = models.BigIntegerField()
    act = models.CharField(max_length=80, blank=True)
    subject_kind = models.CharField(max_length=60, blank=True)
    subject_id = models.CharField(max_length=40, blank=True)
    body = models.TextField(blank=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["archive", "seq"]
        constraints = [
            models.UniqueConstraint(fields=["archive", "seq"], name="foreign_event_stands_once"),
        ]
        indexes = [models.Index(fields=["act"], name="foreign_event_by_act")]

    def __str__(self) -> str:
        return f"{self.archive}, event {self.seq}"
