"""Angles of the car that could not be photographed, with the reason."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from vehicles.models.photo import Angle, Occasion
from workshop.models import Record
from workshop.models.base import one_of


class AngleNotPossible(Record):
    """Why one angle has no picture on one occasion of a job. A picture taken afterwards counts instead."""

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="angles_not_possible")
    occasion = models.CharField(max_length=15, choices=Occasion)
    angle = models.CharField(max_length=11, choices=Angle)
    because = models.CharField("not possible, because", max_length=200)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("occasion", Occasion) & one_of("angle", Angle) & ~Q(because=""),
                name="angle_not_possible_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_angle_display()}: {self.because}"
