"""Work that was done elsewhere, or here before there were records in this app: one line of a service book or a list."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.formats import date_format

from vehicles.models.struck import StruckOnce
from workshop.models import Record
from workshop.models.base import one_of


class DayKnown(models.TextChoices):
    """How exactly the day is known. The column then holds the first day of the month or the year."""

    DAY = "day", "The day"
    MONTH = "month", "The month only"
    YEAR = "year", "The year only"


class PastWork(StruckOnce):
    """One piece of past work. Never altered; entered in error, it stays in sight and counts as nothing.

    `amount` is in the shop's currency. `source` says where it is written: a service book, an invoice, a list.
    """

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="past_work")
    done_on = models.DateField("when it was done")
    day_known = models.CharField(
        "what is known of the day", max_length=5, choices=DayKnown, default=DayKnown.DAY
    )
    who_did = models.CharField("which workshop did it", max_length=120, blank=True)
    title = models.CharField("what was done", max_length=200)
    text = models.TextField("more about it", blank=True)
    amount = models.DecimalField("what it cost", max_digits=10, decimal_places=2, null=True, blank=True)
    odometer = models.ForeignKey(
        "vehicles.OdometerReading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    source = models.CharField("where this is written", max_length=200)

    class Meta(StruckOnce.Meta):
        verbose_name_plural = "past work"
        ordering = ["-done_on", "-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(title=""),
                name="past_work_says_what",
                violation_error_message="Say what was done.",
                violation_error_code="field:title",
            ),
            models.CheckConstraint(
                condition=~Q(source=""),
                name="past_work_has_a_source",
                violation_error_message="Say where this is written, for instance “service book”.",
                violation_error_code="field:source",
            ),
            models.CheckConstraint(condition=one_of("day_known", DayKnown), name="past_work_day_is_known"),
            models.CheckConstraint(
                condition=Q(amount=None) | Q(amount__gte=0),
                name="past_work_cost_is_not_negative",
                violation_error_message="Give 0 or more.",
                violation_error_code="field:amount",
            ),
        ]
        indexes = [models.Index(fields=["vehicle", "done_on"], name="past_work_of_vehicle")]

    def __str__(self) -> str:
        return self.title

    @property
    def day_words(self) -> str:
        """The day, month or year, as exactly as it is known."""
        form = {DayKnown.YEAR: "Y", DayKnown.MONTH: "F Y"}.get(self.day_known, "j F Y")
        return date_format(self.done_on, form)

    def get_absolute_url(self) -> str:
        return f"{reverse('vehicles:past-work', args=[self.vehicle_id])}#{self.pk}"
