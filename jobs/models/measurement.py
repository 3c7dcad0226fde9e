"""Measurements before and after work, with their limits."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from jobs.models.work import CountingQuerySet
from vehicles.models.part import Position
from workshop.engineering.numbers import plain
from workshop.engineering.units import with_label
from workshop.models import Record
from workshop.models.base import one_of


class Phase(models.TextChoices):
    BEFORE = "before", "Before"
    AFTER = "after", "After"


class LimitVerdict(models.TextChoices):
    WITHIN = "within", "Within"
    BELOW = "below", "Below the limit"
    ABOVE = "above", "Above the limit"
    NO_LIMIT = "no_limit", "No limit given"


class Measurement(Record):
    """One measured value. `value`, `low` and `high` are in `unit`; `base_value` is in the dimension's base unit."""

    line = models.ForeignKey("jobs.WorkLine", on_delete=models.PROTECT, related_name="measurements")
    what = models.CharField("what was measured", max_length=120)
    place = models.ForeignKey(
        "vehicles.Place", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    position = models.CharField(max_length=12, choices=Position, blank=True)
    phase = models.CharField(max_length=6, choices=Phase)
    value = models.DecimalField(max_digits=14, decimal_places=4)
    unit = models.CharField(max_length=8)
    base_value = models.DecimalField(max_digits=18, decimal_places=6, editable=False)
    low = models.DecimalField("lowest allowed", max_digits=14, decimal_places=4, null=True, blank=True)
    high = models.DecimalField("highest allowed", max_digits=14, decimal_places=4, null=True, blank=True)
    limit_source = models.CharField("where the limit comes from", max_length=160, blank=True)
    instrument = models.CharField("measured with", max_length=120, blank=True)
    verdict = models.CharField(max_length=8, choices=LimitVerdict, editable=False)
    note = models.CharField(max_length=200, blank=True)
    entered_in_error = models.CharField("entered in error, because", max_length=200, blank=True)

    objects = CountingQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("phase", Phase), name="measurement_phase_is_known"),
            models.CheckConstraint(
                condition=one_of("verdict", LimitVerdict), name="measurement_verdict_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(what="") & ~Q(unit=""),
                name="measurement_has_a_unit",
                violation_error_code="field:what",
                violation_error_message="Say what was measured.",
            ),
            models.CheckConstraint(
                condition=Q(position="") | Q(place__isnull=False) & one_of("position", Position),
                name="measurement_position_is_of_a_place",
                violation_error_code="field:place",
                violation_error_message="Choose the place that this position belongs to.",
            ),
            models.CheckConstraint(
                condition=Q(verdict="no_limit", low=None, high=None)
                | ~Q(verdict="no_limit") & (Q(low__isnull=False) | Q(high__isnull=False)),
                name="measurement_verdict_has_its_limit",
            ),
            models.CheckConstraint(
                condition=Q(verdict="no_limit")
                | Q(verdict="below", low__isnull=False, value__lt=F("low"))
                | Q(verdict="above", high__isnull=False, value__gt=F("high"))
                | Q(verdict="within")
                & (Q(low=None) | Q(value__gte=F("low")))
                & (Q(high=None) | Q(value__lte=F("high"))),
                name="measurement_verdict_is_the_computed_one",
                violation_error_message="The verdict is computed from the value and its limits.",
            ),
            models.CheckConstraint(
                condition=Q(low=None, high=None) | ~Q(limit_source=""),
                name="measurement_limit_has_a_source",
                violation_error_code="field:limit_source",
                violation_error_message="Say where the limit comes from.",
            ),
            models.CheckConstraint(
                condition=Q(low=None) | Q(high=None) | Q(high__gte=F("low")),
                name="measurement_limits_in_order",
                violation_error_code="field:high",
                violation_error_message="The highest allowed value can't be below the lowest.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what}: {self.reading}"

    @property
    def reading(self) -> str:
        """The value as it was typed, without the zeros that the database adds, with its unit."""
        return with_label(plain(self.value, 4), self.unit)

    @property
    def limits_words(self) -> str:
        """The limits in words, in the unit of the reading; empty when none was given."""
        low, high = (with_label(plain(limit, 4), self.unit) for limit in (self.low, self.high))
        if self.low is not None and self.high is not None:
            return f"{plain(self.low, 4)} to {high}"
        if self.low is not None:
            return f"at least {low}"
        return f"at most {high}" if self.high is not None else ""

    @property
    def verdict_said(self) -> str:
        """The verdict in a word, for the tablet that sent it."""
        return self.get_verdict_display()

    @property
    def fails(self) -> bool:
        return self.verdict in (LimitVerdict.BELOW, LimitVerdict.ABOVE) and not self.entered_in_error
