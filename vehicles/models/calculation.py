"""A kept result of a calculator: what went in, what came out, by which version of the formula. Frozen."""

from __future__ import annotations

import json

from django.db import models
from django.db.models import Q
from django.urls import reverse

from workshop.models import Record


class Calculation(Record):
    """One result of one car, kept with a work line, a fault, a part or a survey, or with the car alone.

    `record` is the canonical text of `Result.record()`: it is shown and printed from that, never worked out
    again. `digest` is its SHA-256.
    """

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="calculations")
    calculator = models.CharField(max_length=60)
    formula_version = models.PositiveSmallIntegerField()
    record = models.TextField(editable=False)
    digest = models.CharField(max_length=64, editable=False)
    said = models.CharField("what it was asked for, or what follows", max_length=300, blank=True)
    line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="calculations", null=True, blank=True
    )
    fault = models.ForeignKey(
        "vehicles.Fault", on_delete=models.PROTECT, related_name="calculations", null=True, blank=True
    )
    part = models.ForeignKey(
        "vehicles.FittedPart", on_delete=models.PROTECT, related_name="calculations", null=True, blank=True
    )
    survey = models.ForeignKey(
        "vehicles.Survey", on_delete=models.PROTECT, related_name="calculations", null=True, blank=True
    )
    entered_in_error = models.CharField("kept in error, because", max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(line__isnull=False, fault=None, part=None, survey=None)
                | Q(line=None, fault__isnull=False, part=None, survey=None)
                | Q(line=None, fault=None, part__isnull=False, survey=None)
                | Q(line=None, fault=None, part=None, survey__isnull=False)
                | Q(line=None, fault=None, part=None, survey=None),
                name="calculation_is_kept_with_one_thing",
            ),
            models.CheckConstraint(
                condition=~Q(record="") & ~Q(calculator="") & Q(formula_version__gte=1),
                name="calculation_has_its_record",
            ),
        ]

    def __str__(self) -> str:
        return self.data["name"]

    @property
    def data(self) -> dict:
        return json.loads(self.record)

    def get_absolute_url(self) -> str:
        return reverse("vehicles:calculation", args=[self.pk])
