"""Road test and final check."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from workshop.engineering.numbers import plain
from workshop.engineering.units import Amount, with_label
from workshop.models import Record
from workshop.models.base import one_of
from workshop.models.shop import DistanceUnit


class RoadTest(Record):
    """What was driven and what was found, or why no road test was made."""

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="road_tests")
    driver = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    driven = models.CharField("what was driven", max_length=300, blank=True)
    found = models.TextField("what was found", blank=True)
    distance_km = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    distance_unit = models.CharField(
        "unit in which it was typed", max_length=2, choices=DistanceUnit, blank=True
    )
    licence_and_insurance = models.BooleanField(
        "the driver is licensed and insured for this car", default=False
    )
    not_done_because = models.CharField("not done, because", max_length=300, blank=True)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(not_done_because="", driver__isnull=False, licence_and_insurance=True)
                & ~Q(driven="")
                & ~Q(found="")
                | ~Q(not_done_because="") & Q(driver=None, driven="", found="", distance_km=None),
                name="road_test_driven_or_says_why_not",
                violation_error_message="Say who drove, what was driven and what was found, or why there was none.",
            ),
            models.CheckConstraint(
                condition=one_of("distance_unit", DistanceUnit, blank=True)
                & (
                    Q(distance_km=None, distance_unit="")
                    | Q(distance_km__isnull=False, distance_km__gt=0) & ~Q(distance_unit="")
                ),
                name="road_test_distance_has_a_unit",
                violation_error_message="A distance driven is above 0 and has a unit.",
                violation_error_code="field:distance",
            ),
        ]

    def __str__(self) -> str:
        return self.driven or f"no road test: {self.not_done_because}"

    @property
    def distance_words(self) -> str:
        """The distance in the unit in which it was typed; empty when none was given."""
        if self.distance_km is None:
            return ""
        # To the tenth that is kept: a road test is short, and 11.5 km typed is not 12.
        driven = Amount(self.distance_km, "km").to(self.distance_unit)
        return with_label(plain(driven.value, 1), driven.unit)


class FinalCheck(Record):
    """The last look before the car is called ready."""

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="final_checks")
    new_damage = models.TextField("damage that was not there at check-in")
    tools_complete = models.BooleanField("all tools are accounted for")
    parts_complete = models.BooleanField("all parts of the car are back or accounted for")
    note = models.TextField(blank=True)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(new_damage=""),
                name="final_check_says_damage",
                violation_error_message="Describe the new damage, or write that there is none.",
                violation_error_code="field:new_damage",
            ),
            models.CheckConstraint(
                condition=Q(tools_complete=True, parts_complete=True) | ~Q(note=""),
                name="final_check_says_what_is_missing",
                violation_error_message="Say what is missing and where it may be.",
                violation_error_code="field:note",
            ),
        ]

    def __str__(self) -> str:
        return f"final check of {self.job}"
