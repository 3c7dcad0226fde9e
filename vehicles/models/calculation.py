"""A kept result of a calculator: what went in, what came out, by which version of the formula. Frozen."""

from __future__ import annotations

import json
from functools import cached_property
from typing import Any

from django.db import models
from django.db.models import Q
from django.urls import reverse

from workshop.engineering.catalogue import find
from workshop.models import Record

# What a result may be kept with, by the column that points at it.
SUBJECTS = ("line", "fault", "part", "survey")


class CalculationQuerySet(models.QuerySet):
    def counting(self) -> CalculationQuerySet:
        """Without those that were kept in error."""
        return self.filter(entered_in_error="")


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

    objects = CalculationQuerySet.as_manager()

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

    @cached_property
    def data(self) -> dict[str, Any]:
        return json.loads(self.record)

    @property
    def main(self) -> dict[str, Any] | None:
        """The main output: {label, shown, …}; None where it did not apply."""
        return next((each for each in self.data["outputs"] if each["main"]), None)

    @property
    def in_short(self) -> str:
        """The main value with its label: "Set the wrench to: 71.1 N·m"."""
        return f"{self.main['label']}: {self.main['shown']}" if self.main else self.data["verdict"]

    @property
    def inputs_in_one_line(self) -> str:
        """What went in, with where it came from unless somebody typed it."""
        return "; ".join(
            f"{each['label']} {each['shown']}"
            + ("" if each["origin"] == "typed in" else f" ({each['origin']})")
            for each in self.data["inputs"]
        )

    @property
    def version_words(self) -> str:
        """By which version of the formula; and today's, where that is another one. Today's is not worked out."""
        kept = f"by version {self.formula_version} of the formula"
        today = find(self.calculator)
        if today is None:
            return f"{kept}; this calculator is no longer offered"
        if today.version != self.formula_version:
            return f"{kept}; today's is version {today.version}"
        return kept

    @property
    def subject(self) -> models.Model | None:
        """What it is kept with, besides the car."""
        return next((getattr(self, name) for name in SUBJECTS if getattr(self, f"{name}_id")), None)

    def get_absolute_url(self) -> str:
        return reverse("vehicles:calculation", args=[self.pk])
