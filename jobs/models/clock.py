"""The clock of somebody who is working on a line now. Stopped, it becomes labour of that day."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from jobs.models.work import time_words
from workshop.models import Record, Versioned


class LabourClockQuerySet(models.QuerySet):
    def running(self) -> LabourClockQuerySet:
        return self.filter(stopped_at=None)


class LabourClock(Record, Versioned):
    """`made_at` is when work began. A person works on one line at a time.

    `minutes` is what was written down as labour when it was stopped; 0 where it was not counted, or less than one.
    """

    line = models.ForeignKey("jobs.WorkLine", on_delete=models.PROTECT, related_name="clocks")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="clocks")
    stopped_at = models.DateTimeField(null=True, blank=True, editable=False)
    minutes = models.PositiveIntegerField(null=True, blank=True, editable=False)
    not_counted_because = models.CharField("not counted, because", max_length=200, blank=True, editable=False)

    objects = LabourClockQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(stopped_at=None),
                name="one_clock_runs_per_person",
                violation_error_message="A clock of this person is running already. Stop it first.",
            ),
            models.CheckConstraint(
                condition=Q(stopped_at=None) | Q(stopped_at__gte=F("made_at")),
                name="clock_stops_after_its_start",
                violation_error_code="field:made_at",
                violation_error_message="Work can't end before it began.",
            ),
            models.CheckConstraint(
                condition=Q(stopped_at=None, minutes=None, not_counted_because="")
                | Q(stopped_at__isnull=False, minutes__isnull=False)
                & (Q(not_counted_because="") | Q(minutes=0)),
                name="stopped_clock_says_what_it_counted",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} on {self.line}"

    @property
    def words(self) -> str:
        """What became of it; empty while it runs."""
        if self.stopped_at is None:
            return ""
        return (
            f"not counted: {self.not_counted_because}"
            if self.not_counted_because
            else time_words(self.minutes)
        )
