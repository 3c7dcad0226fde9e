"""High-voltage isolation: who isolated, how it was proved dead, what locks it, who re-energised."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from workshop.models import Record, Versioned


class Isolation(Record, Versioned):
    """`vehicle` is the job's: kept here so that the database lets a car be isolated once at a time, by any job."""

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="isolations")
    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="isolations")
    isolated_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    competence = models.ForeignKey("workshop.Competence", on_delete=models.PROTECT, related_name="+")
    method = models.CharField("how it was isolated", max_length=200)
    proved_dead = models.CharField("how and with what it was proved dead", max_length=200)
    locked_with = models.CharField("what locks it, and who has the key", max_length=200)
    re_energised_at = models.DateTimeField(null=True, blank=True)
    re_energised_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    re_energised_note = models.CharField("what was checked before", max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(method="") & ~Q(proved_dead="") & ~Q(locked_with=""),
                name="isolation_is_proved_and_locked",
                violation_error_message="Say how it was isolated, how it was proved dead and what locks it.",
            ),
            models.CheckConstraint(
                condition=Q(re_energised_at=None, re_energised_by=None, re_energised_note="")
                | Q(re_energised_at__isnull=False, re_energised_by__isnull=False) & ~Q(re_energised_note=""),
                name="re_energised_by_a_named_person",
                violation_error_message="Say who re-energises and what was checked before.",
            ),
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=Q(re_energised_at=None),
                name="one_open_isolation_per_car",
                violation_error_message="The high-voltage system of this car is isolated already.",
            ),
        ]

    def __str__(self) -> str:
        return f"isolation on {self.job} by {self.isolated_by}"
