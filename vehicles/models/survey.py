"""The walkaround survey: one pass round the car, place by place."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from vehicles.models.part import Position
from workshop.models import Record
from workshop.models.base import one_of


class Survey(Record):
    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="surveys")
    job = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, related_name="surveys", null=True, blank=True
    )
    finished_at = models.DateTimeField(null=True, blank=True)
    finished_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    summary = models.TextField("what should be looked into first, and why", blank=True)

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=Q(finished_at=None),
                name="one_open_survey_per_car",
                violation_error_message="A survey of this car is open: go on with that one.",
            ),
            models.CheckConstraint(
                condition=Q(finished_at=None, finished_by=None)
                | Q(finished_at__isnull=False, finished_by__isnull=False) & ~Q(summary=""),
                name="finished_survey_has_a_summary",
                violation_error_code="field:summary",
                violation_error_message="Say what should be looked into first, and why.",
            ),
        ]

    def __str__(self) -> str:
        return f"survey of {self.made_at:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:survey", args=[self.pk])


class SurveyFinding(models.TextChoices):
    AS_FACTORY = "as_factory", "As the factory made it"
    NOT_FACTORY = "not_factory", "Not as the factory made it"
    OPEN = "open", "Open question"
    NOT_PRESENT = "not_present", "This car has none"
    NOT_SEEN = "not_seen", "Could not be seen"


class EntryQuerySet(models.QuerySet):
    def counting(self) -> EntryQuerySet:
        """Without those whose part turned out to be entered in error: they count no more."""
        return self.filter(Q(part=None) | Q(part__entered_in_error=""))


class SurveyEntry(Record):
    """What was seen in one place. A later entry for the same place stands beside the earlier one and counts."""

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="entries")
    place = models.ForeignKey("vehicles.Place", on_delete=models.PROTECT, related_name="+")
    position = models.CharField(max_length=12, choices=Position, blank=True)
    finding = models.CharField(max_length=12, choices=SurveyFinding)
    part = models.ForeignKey(
        "vehicles.FittedPart", on_delete=models.PROTECT, related_name="survey_entries", null=True, blank=True
    )
    note = models.CharField(max_length=300, blank=True)

    objects = EntryQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        verbose_name_plural = "survey entries"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("finding", SurveyFinding), name="survey_finding_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(finding=SurveyFinding.NOT_FACTORY) | Q(part__isnull=False),
                name="not_factory_names_the_part",
                violation_error_code="field:part",
                violation_error_message="Say which part it is.",
            ),
            models.CheckConstraint(
                condition=~Q(finding=SurveyFinding.OPEN) | Q(part__isnull=False) | ~Q(note=""),
                name="open_question_says_what",
                violation_error_code="field:note",
                violation_error_message="Say what the question is.",
            ),
            models.CheckConstraint(
                condition=one_of("position", Position, blank=True), name="survey_position_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place.with_position(self.position)}: {self.get_finding_display()}"
