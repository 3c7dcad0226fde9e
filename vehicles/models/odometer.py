"""Odometer readings and the instruments they were read on. Distance is a sum over instruments."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from workshop.models import Record
from workshop.models.base import one_of
from workshop.models.shop import DistanceUnit

# Far above any car's life: what is typed above this is a slip of the finger. The column holds km or miles, so the
# database keeps the wider bound and the act the exact one.
HIGHEST_KM = 3_000_000


class Instrument(Record):
    """One odometer that was in the car. `first` and `last` are its readings when fitted and removed; null = not known."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="instruments")
    order = models.PositiveSmallIntegerField(default=1)
    unit = models.CharField(max_length=2, choices=DistanceUnit)
    first = models.DecimalField("reading when fitted", max_digits=9, decimal_places=1, null=True, blank=True)
    last = models.DecimalField("reading when removed", max_digits=9, decimal_places=1, null=True, blank=True)
    fitted_on = models.DateField(null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)
    replaced_because = models.CharField("why it was replaced", max_length=200, blank=True)
    estimate_note = models.CharField("how a figure was estimated", max_length=200, blank=True)
    notice = models.CharField("notice left in the car, where", max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["vehicle", "order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["vehicle", "order"], name="instruments_are_in_order"),
            models.UniqueConstraint(
                fields=["vehicle"], condition=Q(removed_on=None), name="one_instrument_in_the_car"
            ),
            models.CheckConstraint(condition=one_of("unit", DistanceUnit), name="instrument_unit_is_known"),
            models.CheckConstraint(
                condition=(Q(first=None) | Q(first__gte=0))
                & (Q(last=None) | Q(last__gte=0))
                & (Q(first=None) | Q(last=None) | Q(last__gte=F("first"))),
                name="instrument_counts_up",
                violation_error_message="The last reading can't be below the first one of the same instrument.",
                violation_error_code="field:old_last",
            ),
            models.CheckConstraint(
                condition=Q(removed_on__isnull=False) | Q(last=None),
                name="last_reading_is_of_a_removed_instrument",
            ),
        ]

    def __str__(self) -> str:
        return f"instrument {self.order} ({self.unit})"


class OdometerReading(Record):
    """What the instrument showed at `read_at`, in its unit, or why it could not be read.

    `lower_because` is the reason given when the figure does not go with the readings before and after it on the
    same instrument; the reading is then kept and flagged. `falsified_by` names what was fitted at this reading
    (tyres, a final drive) so that the distance shown is not true. `misread_because` sets a wrong reading aside:
    it stays in sight and counts as nothing. Value, moment and instrument never change.
    """

    vehicle = models.ForeignKey(
        "vehicles.Vehicle", on_delete=models.PROTECT, related_name="odometer_readings"
    )
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="readings")
    read_at = models.DateTimeField()
    value = models.DecimalField(max_digits=9, decimal_places=1, null=True, blank=True)
    not_readable_because = models.CharField("not readable, because", max_length=200, blank=True)
    lower_because = models.CharField("lower than before, because", max_length=200, blank=True)
    falsified_by = models.CharField("distance is not true, because", max_length=200, blank=True)
    misread_because = models.CharField("set aside as misread, because", max_length=200, blank=True)
    job = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, related_name="odometer_readings", null=True, blank=True
    )

    class Meta(Record.Meta):
        ordering = ["-read_at", "-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(value__isnull=False, value__gte=0, not_readable_because="")
                | Q(value=None) & ~Q(not_readable_because=""),
                name="odometer_read_or_says_why_not",
                violation_error_message="Give the reading, or say why the odometer is not readable: one of the two.",
                violation_error_code="field:amount",
            ),
            models.CheckConstraint(
                condition=Q(value=None) | Q(value__lte=HIGHEST_KM),
                name="odometer_reading_is_plausible",
                violation_error_message=f"An odometer can't show more than {HIGHEST_KM} km.",
                violation_error_code="field:amount",
            ),
        ]
        indexes = [models.Index(fields=["vehicle", "read_at"], name="odometer_of_vehicle")]

    def __str__(self) -> str:
        if self.value is None:
            return f"not readable: {self.not_readable_because}"
        return f"{self.figure} {self.instrument.unit}"

    @property
    def figure(self) -> Decimal:
        whole = self.value.to_integral_value()
        return whole if whole == self.value else self.value
