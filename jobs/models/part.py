"""What a work line did to the parts of the car, act by act."""

from __future__ import annotations

from django.db import models

from workshop.models import Record
from workshop.models.base import one_of


class ChangeKind(models.TextChoices):
    FITTED = "fitted", "Fitted in an empty place"
    REPLACED = "replaced", "Replaced"
    REFITTED = "refitted", "Removed and refitted"
    REMOVED = "removed", "Removed, nothing fitted"
    SWAPPED = "swapped", "Swapped between places"
    ON_TRIAL = "on_trial", "Known-good part on trial"


class PartChange(Record):
    """One change of the car's parts by a work line: which part came off, which went on."""

    line = models.ForeignKey("jobs.WorkLine", on_delete=models.PROTECT, related_name="part_changes")
    kind = models.CharField(max_length=10, choices=ChangeKind)
    part_on = models.ForeignKey(
        "vehicles.FittedPart", on_delete=models.PROTECT, related_name="changes_on", null=True, blank=True
    )
    part_off = models.ForeignKey(
        "vehicles.FittedPart", on_delete=models.PROTECT, related_name="changes_off", null=True, blank=True
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", ChangeKind), name="part_change_kind_is_known"),
            models.CheckConstraint(
                name="part_change_has_its_parts",
                condition=models.Q(kind="fitted", part_on__isnull=False, part_off=None)
                | models.Q(kind__in=["replaced", "swapped"], part_on__isnull=False, part_off__isnull=False)
                | models.Q(kind="on_trial", part_on__isnull=False)
                | models.Q(kind="refitted", part_on__isnull=False, part_off=None)
                | models.Q(kind="removed", part_on=None, part_off__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()
