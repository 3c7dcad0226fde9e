"""Torque tools and their calibrations."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.formats import date_format

from workshop.engineering.units import Amount, show
from workshop.models.base import Record, Versioned, one_of
from workshop.models.shop import TorqueUnit


class ToolKind(models.TextChoices):
    SETTING = "setting", "Torque wrench that clicks or slips at a set value (ISO 6789 type II)"
    INDICATING = "indicating", "Torque wrench with dial or display (ISO 6789 type I)"
    ANGLE = "angle", "Angle gauge"

    @property
    def short(self) -> str:
        return {"setting": "clicks", "indicating": "reads", "angle": "angle gauge"}[self.value]


class TorqueTool(Record, Versioned):
    """A tool that proves a tightening. Its range and deviation come from its certificate."""

    label = models.CharField("number on the tool", max_length=30, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=ToolKind)
    iso_class = models.CharField(
        "class",
        max_length=6,
        blank=True,
        help_text="Type and class of ISO 6789-1, such as II A. Empty for a gauge.",
    )
    serial = models.CharField("serial number", max_length=60, blank=True)
    unit = models.CharField("unit of its scale", max_length=6, choices=TorqueUnit, default=TorqueUnit.NM)
    scale_low = models.DecimalField(
        "lowest marked value", max_digits=8, decimal_places=2, null=True, blank=True
    )
    scale_high = models.DecimalField(
        "highest marked value", max_digits=8, decimal_places=2, null=True, blank=True
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_because = models.CharField(max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["label"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", ToolKind), name="tool_kind_is_known"),
            models.CheckConstraint(condition=one_of("unit", TorqueUnit), name="tool_unit_is_known"),
            models.CheckConstraint(
                # A comparison with NULL is no refusal in SQL, so that both are there is said of its own.
                condition=Q(kind="angle")
                | Q(
                    scale_low__isnull=False,
                    scale_high__isnull=False,
                    scale_high__gt=0,
                    scale_low__gte=0,
                    scale_low__lt=F("scale_high"),
                ),
                name="torque_tool_has_a_scale",
                violation_error_message="Give the lowest and the highest value marked on the tool, "
                "the lower one first.",
                violation_error_code="field:scale_high",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None, withdrawn_because="")
                | Q(withdrawn_at__isnull=False) & ~Q(withdrawn_because=""),
                name="withdrawn_tool_says_why",
                violation_error_message="Say why the tool was withdrawn.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label} {self.name}"

    def get_absolute_url(self) -> str:
        from django.urls import reverse

        return reverse("workshop:tool", args=[self.pk])

    @property
    def kind_short(self) -> str:
        """Two words for a list; `get_kind_display` names the standard."""
        return ToolKind(self.kind).short

    def calibration_on(self, day: date) -> Calibration | None:
        """The latest calibration made on or before that day: one query unless prefetched."""
        rows = [row for row in self.calibrations.all() if row.calibrated_on <= day]
        return max(rows, key=lambda row: (row.calibrated_on, row.made_at), default=None)

    def working_range(self, day: date) -> tuple[Amount, Amount]:
        """From the certificate valid on that day, else 20 to 100 % of the scale (common practice for the
        test points).
        """
        if (row := self.calibration_on(day)) and row.range_low is not None:
            return Amount(row.range_low, self.unit), Amount(row.range_high, self.unit)
        return Amount(self.scale_high * Decimal("0.2"), self.unit), Amount(self.scale_high, self.unit)

    def last_good_calibration(self, before: date) -> Calibration | None:
        """The latest passed calibration made before that day: what was read since then is in doubt when it
        fails.
        """
        rows = [row for row in self.calibrations.all() if row.passed and row.calibrated_on < before]
        return max(rows, key=lambda row: (row.calibrated_on, row.made_at), default=None)

    def failure_on(self, day: date) -> ToolFailure | None:
        """Dropped or withdrawn by that day, and not passed since. A failed calibration speaks for itself."""
        good = [row for row in self.calibrations.all() if row.passed and row.calibrated_on <= day]
        for failure in sorted(self.failures.all(), key=lambda row: row.made_at, reverse=True):
            if (
                failure.kind != FailureKind.FAILED
                and failure.day <= day
                and not any(
                    row.calibrated_on >= failure.day and row.made_at > failure.made_at for row in good
                )
            ):
                return failure
        return None

    def unfit_because(self, value: Amount | None, *, on: date) -> str:
        """Why a reading with this tool on that day counts as nothing; empty when it counts.

        Reads calibrations and failures: two queries unless both are prefetched.
        """
        if failure := self.failure_on(on):
            return f"{self} is out of use since {date_format(failure.day)} ({failure.words}): {failure.what}."
        row = self.calibration_on(on)
        if self.kind == ToolKind.ANGLE and row is None:
            return ""
        if row is None:
            return f"{self} has no calibration on record for {date_format(on)}."
        if not row.passed:
            return f"{self} failed its calibration of {date_format(row.calibrated_on)}."
        if row.due_on < on:
            return f"{self} was due for calibration on {date_format(row.due_on)}."
        if value is not None and self.kind != ToolKind.ANGLE:
            low, high = self.working_range(on)
            if not low.base() <= value.base() <= high.base():
                return f"{show(value)} is outside the working range of {self} ({show(low)} to {show(high)})."
        return ""


class Calibration(Record):
    """One calibration with its certificate. A failed one stays on record and raises re-checks."""

    tool = models.ForeignKey(TorqueTool, on_delete=models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField()
    due_on = models.DateField()
    laboratory = models.CharField(max_length=120)
    certificate = models.CharField("certificate number", max_length=80)
    deviation_percent = models.DecimalField(
        "permissible deviation (percent)",
        max_digits=4,
        decimal_places=2,
        help_text="What readings are judged with: the class's permissible deviation by ISO 6789-1, or "
        "as certified.",
    )
    range_low = models.DecimalField("certified from", max_digits=8, decimal_places=2, null=True, blank=True)
    range_high = models.DecimalField("certified to", max_digits=8, decimal_places=2, null=True, blank=True)
    passed = models.BooleanField("as found within its deviation", default=True)
    note = models.TextField(blank=True)

    class Meta(Record.Meta):
        ordering = ["-calibrated_on"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["tool", "certificate"],
                name="certificate_once_per_tool",
                violation_error_message="This certificate is on record for this tool already.",
                violation_error_code="field:certificate",
            ),
            models.CheckConstraint(
                condition=Q(due_on__gt=F("calibrated_on")),
                name="calibration_due_after_it_was_made",
                violation_error_message="The next calibration is due after this one was made: give a "
                "later day.",
                violation_error_code="field:due_on",
            ),
            models.CheckConstraint(
                condition=Q(deviation_percent__gte=0) & Q(deviation_percent__lte=20),
                name="calibration_deviation_is_sane",
                violation_error_message="Use a deviation between 0 and 20 percent.",
                violation_error_code="field:deviation_percent",
            ),
            models.CheckConstraint(
                condition=Q(range_low=None, range_high=None)
                | Q(
                    range_low__isnull=False,
                    range_high__isnull=False,
                    range_low__gte=0,
                    range_high__gt=F("range_low"),
                ),
                name="calibration_range_is_whole",
                violation_error_message="Give both ends of the certified range, the lower one first.",
                violation_error_code="field:range_high",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool.label}, {self.certificate}"


class FailureKind(models.TextChoices):
    FAILED = "failed", "Failed its calibration"
    DROPPED = "dropped", "Dropped or damaged"
    WITHDRAWN = "withdrawn", "Withdrawn"


class ToolFailure(Record):
    """A tool went out of use. Append-only; a passed calibration afterwards puts the tool back in use.

    `since` is the day of the last good calibration before it (empty: there was none): what counted from then
    on is in doubt while `readings_doubted`.
    """

    tool = models.ForeignKey(TorqueTool, on_delete=models.PROTECT, related_name="failures")
    kind = models.CharField(max_length=10, choices=FailureKind)
    what = models.CharField("what happened", max_length=200)
    since = models.DateField(null=True, blank=True)
    readings_doubted = models.BooleanField(default=True)

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", FailureKind), name="tool_failure_kind_is_known"),
            models.CheckConstraint(
                condition=~Q(what=""),
                name="tool_failure_says_what",
                violation_error_message="Say what happened to the tool.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool.label}: {self.what}"

    @property
    def day(self) -> date:
        return timezone.localtime(self.made_at).date()

    @property
    def words(self) -> str:
        return self.get_kind_display().lower()
