"""What every record carries: who made it, on which device, when it was made and when it arrived."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class Record(models.Model):
    """Base of everything that an act writes.

    `made_at` is when it happened at the car, `received_at` when the server had it: work written down late or
    without a network is judged at `made_at`. `key` is the submission that made the record; one submission may
    make several records. Acts fill these from `By.stamp()`.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    made_at = models.DateTimeField(editable=False)
    received_at = models.DateTimeField(editable=False)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False
    )
    device = models.ForeignKey(
        "workshop.Device", on_delete=models.PROTECT, related_name="+", null=True, editable=False
    )
    key = models.UUIDField(db_index=True, editable=False)

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                name="%(app_label)s_%(class)s_made_before_arrival",
                condition=Q(made_at__lte=F("received_at")),
                violation_error_message="The time this was done lies in the future. Check the clock of this device.",
            )
        ]

    @property
    def written_down_late(self) -> bool:
        """More than ten minutes between the act and its arrival: pages and prints say so."""
        return (self.received_at - self.made_at).total_seconds() > 600


class Versioned(models.Model):
    """A record that people edit: a save on a version that somebody has changed meanwhile is refused.

    Acts change such a record through `acting.save_changes`, never through `save()`.
    """

    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True


def one_of(field: str, choices: type[models.TextChoices], *, blank: bool = False) -> Q:
    """Condition for a check constraint: the column holds one of the listed words."""
    values = [*choices.values, ""] if blank else list(choices.values)
    return Q(**{f"{field}__in": values})
