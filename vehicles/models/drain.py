"""A parasitic drain test: the current of a sleeping car, then one fuse after another out, until the circuit is found."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from vehicles.models.datasheet import tidy
from workshop.engineering.drain import Came
from workshop.engineering.units import Amount
from workshop.models import Record, Versioned
from workshop.models.base import one_of


class LimitSource(models.TextChoices):
    """Where the greatest quiescent current comes from."""

    SHEET = "sheet", "the car's data sheet"
    MAKER = "maker", "maker's data, looked up now"
    PRACTICE = "practice", "common practice, no data at hand"


class CameBack(models.TextChoices):
    """What the reading did once the fuse was back; the words of `engineering.drain.Came`."""

    BACK = Came.BACK.value, "Back in, and the reading came back"
    STAYED_LOW = Came.STAYED_LOW.value, "Back in, but the reading stays low"
    LEFT_OUT = Came.LEFT_OUT.value, "It stays out for now"


def _current(label: str, *, base: bool = False, needed: bool = False) -> models.DecimalField:
    digits = {"max_digits": 18, "decimal_places": 6} if base else {"max_digits": 14, "decimal_places": 4}
    return models.DecimalField(label, **digits, null=not needed, blank=not needed, editable=not base)


def _amount(value: Decimal | None, unit: str) -> Amount | None:
    return None if value is None else Amount(tidy(value), unit)


class DrainTest(Record, Versioned):
    """One test of one car, begun when it was locked. `baseline` is the current asleep, every fuse in.

    Currents stand in the unit that was typed, beside them in A (`…_base`). `step` is the diagnosis step that its end
    wrote on the fault.
    """

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="drain_tests")
    fault = models.ForeignKey(
        "vehicles.Fault", on_delete=models.PROTECT, related_name="drain_tests", null=True, blank=True
    )
    job = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, related_name="drain_tests", null=True, blank=True
    )
    capacity_ah = models.DecimalField(
        "battery capacity in Ah", max_digits=6, decimal_places=1, null=True, blank=True
    )
    limit = _current("greatest quiescent current", needed=True)
    limit_unit = models.CharField(max_length=8)
    limit_base = _current("the same in A", base=True, needed=True)
    limit_source = models.CharField("where it comes from", max_length=10, choices=LimitSource)
    limit_words = models.CharField("document and place in it", max_length=160, blank=True)

    baseline = _current("current asleep")
    baseline_unit = models.CharField(max_length=8, blank=True)
    baseline_base = _current("the same in A", base=True)
    asleep_after = models.PositiveSmallIntegerField("minutes after it was locked", null=True, blank=True)
    read_at = models.DateTimeField(null=True, blank=True, editable=False)

    all_tried = models.BooleanField("no further fuse was left to pull", default=False)
    conclusion = models.CharField("what it is", max_length=400, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True, editable=False)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, editable=False
    )
    step = models.OneToOneField(
        "vehicles.DiagnosisStep",
        on_delete=models.PROTECT,
        related_name="drain_test",
        null=True,
        editable=False,
    )

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=Q(ended_at=None),
                name="one_drain_test_at_a_time",
                violation_error_message="A drain test of this car is open: go on with that one, or end it first.",
            ),
            models.CheckConstraint(
                condition=Q(capacity_ah=None) | Q(capacity_ah__gt=0),
                name="drain_test_battery_holds_something",
                violation_error_code="field:capacity",
                violation_error_message="Give the capacity that is printed on the battery, 1 to 400 Ah.",
            ),
            models.CheckConstraint(
                condition=Q(limit_base__gt=0, limit__gt=0) & ~Q(limit_unit="") & one_of("limit_source", LimitSource),
                name="drain_test_limit_has_unit_and_source",
                violation_error_code="field:limit",
                violation_error_message="Give the greatest quiescent current, with its unit and where it comes from.",
            ),
            models.CheckConstraint(
                condition=Q(baseline=None, baseline_unit="", baseline_base=None, asleep_after=None, read_at=None)
                | Q(
                    baseline__isnull=False, baseline_base__isnull=False, asleep_after__isnull=False,
                    read_at__isnull=False, baseline__gt=0, baseline_base__gt=0,
                )
                & ~Q(baseline_unit=""),
                name="drain_test_baseline_is_whole",
                violation_error_code="field:reading",
                violation_error_message="Give the current with its unit, and how long the car had slept.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_by=None, conclusion="", step=None, all_tried=False)
                | Q(ended_at__isnull=False, ended_by__isnull=False) & ~Q(conclusion=""),
                name="drain_test_ends_with_a_conclusion",
                violation_error_code="field:conclusion",
                violation_error_message="Say what it is, or why the test was broken off.",
            ),
            models.CheckConstraint(
                condition=Q(step=None) | Q(fault__isnull=False),
                name="drain_test_step_is_of_its_fault",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return "Parasitic drain test"

    @property
    def amount(self) -> Amount | None:
        """The current asleep, as typed; None before it was read."""
        return _amount(self.baseline, self.baseline_unit)

    @property
    def limit_amount(self) -> Amount:
        return Amount(tidy(self.limit), self.limit_unit)

    @property
    def limit_from(self) -> str:
        """The limit's source in words, with the document where one was named."""
        label = self.get_limit_source_display()
        return f"{label}: {self.limit_words}" if self.limit_words else label

    def get_absolute_url(self) -> str:
        return reverse("vehicles:drain", args=[self.pk])


class DrainStep(Record):
    """One fuse out: the reading without it, and what came once it was back. Never altered.

    A slip is put right by a step `instead_of` it, which takes its place in the order.
    """

    test = models.ForeignKey(DrainTest, on_delete=models.PROTECT, related_name="steps")
    order = models.PositiveSmallIntegerField(editable=False)
    circuit = models.CharField("fuse or circuit", max_length=80)
    reading = _current("current without it", needed=True)
    unit = models.CharField(max_length=8)
    base_value = _current("the same in A", base=True, needed=True)
    came = models.CharField("then", max_length=12, choices=CameBack)
    after = _current("new reading with the fuse back")
    after_unit = models.CharField(max_length=8, blank=True)
    after_base = _current("the same in A", base=True)
    remark = models.CharField("remark", max_length=200, blank=True)
    instead_of = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="put_right_by", null=True, blank=True, editable=False
    )

    class Meta(Record.Meta):
        ordering = ["order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["test", "order"], name="drain_steps_are_numbered"),
            models.CheckConstraint(
                condition=~Q(circuit=""),
                name="drain_step_names_its_fuse",
                violation_error_code="field:circuit",
                violation_error_message="Say which fuse: its number in the box, or what it feeds.",
            ),
            models.CheckConstraint(
                condition=Q(reading__gte=0, base_value__gte=0) & ~Q(unit=""),
                name="drain_step_reading_has_a_unit",
                violation_error_code="field:reading",
                violation_error_message="Give the current with its unit, 0 or more. Minus: swap the meter's leads.",
            ),
            models.CheckConstraint(condition=one_of("came", CameBack), name="drain_step_then_is_known"),
            models.CheckConstraint(
                condition=Q(after=None, after_unit="", after_base=None)
                | Q(came="stayed_low", after__isnull=False, after_base__isnull=False, after__gte=0) & ~Q(after_unit=""),
                name="drain_step_after_is_of_one_that_stayed_low",
                violation_error_code="field:after",
                violation_error_message="A new reading belongs to “stays low”: choose that, or leave this empty.",
            ),
            models.CheckConstraint(
                condition=Q(instead_of=None) | ~Q(instead_of=F("id")), name="drain_step_is_not_instead_of_itself"
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.circuit

    @property
    def amount(self) -> Amount:
        return Amount(tidy(self.reading), self.unit)

    @property
    def after_amount(self) -> Amount | None:
        return _amount(self.after, self.after_unit)
