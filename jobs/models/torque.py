"""Runs of a procedure and what proves them: readings, second checks, dispositions. None is ever altered."""

from __future__ import annotations

from datetime import timedelta

from django.db import models
from django.db.models import Q
from django.urls import reverse

from workshop.models import Record, Versioned
from workshop.models.base import one_of
from workshop.models.shop import DecisionRule

# A time that is written down by hand has no seconds.
SAME_MINUTE = timedelta(minutes=1)


class Run(Record, Versioned):
    """One time that a released version was worked through on one car."""

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="runs")
    line = models.ForeignKey("jobs.WorkLine", on_delete=models.PROTECT, related_name="runs")
    version_used = models.ForeignKey("jobs.ProcedureVersion", on_delete=models.PROTECT, related_name="runs")
    where = models.CharField("on which part of the car", max_length=80, blank=True)
    qualified = models.ForeignKey(
        "workshop.Competence", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    completed_at = models.DateTimeField(null=True, blank=True, editable=False)
    abandoned_at = models.DateTimeField(null=True, blank=True, editable=False)
    abandoned_because = models.CharField("stopped, because", max_length=300, blank=True)
    applies_confirmed = models.CharField(
        "which cars the procedure says it is for, where the values were confirmed for another",
        max_length=200,
        blank=True,
        editable=False,
    )

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(abandoned_at=None, abandoned_because="")
                | Q(abandoned_at__isnull=False) & ~Q(abandoned_because=""),
                name="abandoned_run_says_why",
                violation_error_message="Say why the run is stopped and how the joint was left.",
                violation_error_code="field:abandoned_because",
            ),
            models.CheckConstraint(
                condition=Q(abandoned_at=None) | Q(completed_at=None),
                name="run_ends_in_one_way",
                violation_error_message="A run is complete or stopped, not both.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.version_used.procedure.title}{', ' + self.where if self.where else ''}"

    def get_absolute_url(self) -> str:
        return reverse("jobs:run", args=[self.pk])


class ReadingKind(models.TextChoices):
    CLICKED = "clicked", "Clicked at the set value"
    DID_NOT_MOVE = "did_not_move", "Clicked at once, did not move"
    READ = "read", "Read on a dial or display"
    ANGLE = "angle", "Turned through an angle"
    LOOSENED = "loosened", "Loosened"
    RESULT = "result", "Measured result"
    NOT_DONE = "not_done", "Taken back: it was not done"


class AngleBy(models.TextChoices):
    GAUGE = "gauge", "Angle gauge"
    PAINT_MARK = "paint_mark", "Paint mark"


class ReadingVerdict(models.TextChoices):
    WITHIN = "within", "Within"
    BELOW = "below", "Below"
    ABOVE = "above", "Above"
    NOT_PROVEN = "not_proven", "Not proven by this tool"
    NO_LIMIT = "no_limit", "Recorded"


class TorqueReading(Record):
    """A fact about one fastener at one stage. Append-only: redoing adds a reading, earlier ones stay.

    `value` is in the base unit (N·m, degrees, mm) and is what the verdict judges: the torque at the fastener.
    `typed` and `unit` are as entered. `order` counts the
    readings of the run. A reading that does not count keeps its reason in `counts_not_because`.
    `qualified` is
    the competence it was taken under: the person's own, or of who supervises the run.

    A reading that was written down wrong is put right by another one, which `corrects` it and stands in
    its place:
    same stage, same `made_at`, since nothing was done to the car. Both stay. `jobs.runs` sets
    `in_place_of` (the
    first of such a row) and `put_right_by` (the one that stands for it).
    """

    in_place_of: TorqueReading | None = None
    put_right_by: TorqueReading | None = None

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="readings")
    step = models.ForeignKey("jobs.ProcedureStep", on_delete=models.PROTECT, related_name="readings")
    stage = models.ForeignKey("jobs.ProcedureStage", on_delete=models.PROTECT, related_name="readings")
    fastener = models.PositiveSmallIntegerField()
    order = models.PositiveIntegerField()
    kind = models.CharField(max_length=12, choices=ReadingKind)
    typed = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    unit = models.CharField(max_length=6, blank=True)
    value = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    running_torque = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    # Through an extension off the square drive: what the tool was set to or showed, in N·m, and the lever in mm and
    # degrees. `typed` is that setting too; `value` is the torque at the fastener.
    setting = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    lever_length = models.DecimalField(
        "from the grip to the square drive, mm", max_digits=7, decimal_places=2, null=True, blank=True
    )
    extension_length = models.DecimalField(
        "from the square drive to the fastener, mm", max_digits=7, decimal_places=2, null=True, blank=True
    )
    extension_angle = models.DecimalField(
        "angle between extension and wrench, degrees", max_digits=5, decimal_places=2, null=True, blank=True
    )
    tool = models.ForeignKey(
        "workshop.TorqueTool", on_delete=models.PROTECT, related_name="readings", null=True, blank=True
    )
    calibration = models.ForeignKey(
        "workshop.Calibration", on_delete=models.PROTECT, related_name="readings", null=True, blank=True
    )
    angle_by = models.CharField(max_length=10, choices=AngleBy, blank=True)
    limit_low = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    limit_high = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    deviation_percent = models.DecimalField(max_digits=4, decimal_places=2, default=0)
    rule = models.CharField(max_length=8, choices=DecisionRule)
    verdict = models.CharField(max_length=10, choices=ReadingVerdict)
    counts_not_because = models.CharField(max_length=300, blank=True)
    out_of_sequence = models.BooleanField(default=False)
    entered_together = models.BooleanField("entered together with others", default=False)
    redo_reason = models.CharField("why it was done again, or put right", max_length=200, blank=True)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="correction", null=True, blank=True
    )
    qualified = models.ForeignKey(
        "workshop.Competence", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta(Record.Meta):
        ordering = ["run", "order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["run", "order"], name="readings_are_in_order"),
            models.CheckConstraint(condition=one_of("kind", ReadingKind), name="reading_kind_is_known"),
            models.CheckConstraint(
                condition=one_of("verdict", ReadingVerdict), name="reading_verdict_is_known"
            ),
            models.CheckConstraint(condition=one_of("rule", DecisionRule), name="reading_rule_is_known"),
            models.CheckConstraint(condition=Q(fastener__gte=1), name="reading_names_a_fastener"),
            models.CheckConstraint(
                name="reading_has_value_and_unit",
                # A comparison with NULL is no refusal in SQL, so that a value is there is said of its own.
                condition=Q(kind__in=["loosened", "not_done"], value=None, typed=None, unit="")
                | ~Q(kind__in=["loosened", "not_done"])
                & Q(value__isnull=False, typed__isnull=False, value__gt=0, typed__gt=0)
                & ~Q(unit="")
                | Q(kind="result", value__isnull=False, typed__isnull=False, value__gte=0, typed__gte=0)
                & ~Q(unit=""),
                violation_error_message="A reading is above 0 and has a unit.",
                violation_error_code="field:reading",
            ),
            models.CheckConstraint(
                name="torque_reading_names_its_tool",
                condition=~Q(kind__in=["clicked", "read", "did_not_move"]) | Q(tool__isnull=False),
                violation_error_message="Choose the torque tool.",
                violation_error_code="field:tool",
            ),
            models.CheckConstraint(
                name="reading_through_an_extension_is_whole",
                condition=Q(setting=None, lever_length=None, extension_length=None, extension_angle=None)
                | Q(
                    kind__in=["clicked", "read", "did_not_move"],
                    setting__isnull=False,
                    lever_length__isnull=False,
                    extension_length__isnull=False,
                    extension_angle__isnull=False,
                    setting__gt=0,
                    lever_length__gt=0,
                    extension_length__gt=0,
                    extension_angle__gte=0,
                    extension_angle__lte=180,
                ),
                violation_error_message="Through an extension: give the wrench, the extension and the angle between "
                "them, 0 to 180°, or none of the three.",
                violation_error_code="field:extension_length",
            ),
            models.CheckConstraint(
                name="angle_reading_says_how",
                condition=~Q(kind="angle") | ~Q(angle_by=""),
                violation_error_message="Say whether the angle was read on a gauge or by a paint mark.",
                violation_error_code="field:angle_by",
            ),
            models.CheckConstraint(
                name="correction_says_why",
                condition=Q(corrects=None) | ~Q(redo_reason=""),
                violation_error_message="Say what was written down wrong.",
                violation_error_code="field:redo_reason",
            ),
            models.CheckConstraint(
                name="only_a_correction_takes_back",
                condition=~Q(kind="not_done") | Q(corrects__isnull=False),
                violation_error_message="Only a reading that stands on record can be taken back.",
                violation_error_code="field:kind",
            ),
        ]
        indexes = [models.Index(fields=["run", "step", "stage", "fastener"], name="reading_of_a_fastener")]

    def __str__(self) -> str:
        return f"{self.run_id} {self.stage_id} no. {self.fastener}"

    @property
    def turn(self) -> tuple:
        """By what readings come after each other: when they were done, then the order they were written in.

        A correction comes where the reading came that it puts right.
        """
        return self.made_at, (self.in_place_of or self).order

    @property
    def not_counting_words(self) -> str:
        """In place of the verdict where the tool makes it count as nothing; above is said all the same."""
        if not self.counts_not_because:
            return ""
        return "Does not count, above" if self.verdict == ReadingVerdict.ABOVE else "Does not count"

    @property
    def verdict_said(self) -> str:
        """The verdict on this reading alone, in a word, for the tablet that sent it."""
        if self.kind == ReadingKind.NOT_DONE:
            return "Taken back"
        if self.counts_not_because:
            return self.not_counting_words
        if self.kind == ReadingKind.DID_NOT_MOVE and self.verdict == ReadingVerdict.NOT_PROVEN:
            return "Judged with the reading before it: see the run"
        return self.get_verdict_display()

    @property
    def stands_for_work(self) -> bool:
        """Says what was done to the car: neither put right by a later one nor taken back."""
        return self.put_right_by is None and self.kind != ReadingKind.NOT_DONE

    @property
    def supervised(self) -> bool:
        """Taken under the competence of somebody else."""
        return self.qualified is not None and self.qualified.person_id != self.made_by_id


class NewFasteners(Record):
    """Single-use fasteners: "new fitted" is said before the first stage."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="new_fasteners")
    step = models.ForeignKey("jobs.ProcedureStep", on_delete=models.PROTECT, related_name="+")
    what = models.CharField("which fasteners, from where", max_length=200)

    class Meta(Record.Meta):
        verbose_name_plural = "new fasteners"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=~Q(what=""), name="new_fasteners_say_which"),
        ]

    def __str__(self) -> str:
        return self.what


class CheckMethod(models.TextChoices):
    WITNESSED = "witnessed", "Witnessed the tightening"
    APPLIED_AGAIN = "applied_again", "Torque applied again"
    MARK_SIGHTED = "mark_sighted", "Witness mark sighted"
    MEASURED = "measured", "Measured"

    @property
    def takes_a_tool(self) -> bool:
        return self in (self.APPLIED_AGAIN, self.MEASURED)


class CheckResult(models.TextChoices):
    IN_ORDER = "in_order", "In order"
    NOT_IN_ORDER = "not_in_order", "Not in order"


class SecondCheck(Record):
    """A check by a person who took no reading in that step. Lapses when a newer reading is added.

    `result`: not in order keeps the step open until it was worked on again and a new check is in order.
    `alone_because`: nobody else was in the building. Then it is the technician's own re-check after an
    interval, or a lead's reason; printed as such, with an independent re-check as an outstanding item.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="second_checks")
    step = models.ForeignKey("jobs.ProcedureStep", on_delete=models.PROTECT, related_name="second_checks")
    method = models.CharField(max_length=14, choices=CheckMethod)
    result = models.CharField(max_length=12, choices=CheckResult, default=CheckResult.IN_ORDER)
    found = models.CharField("what was found", max_length=300, blank=True)
    tool = models.ForeignKey(
        "workshop.TorqueTool", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    after_reading = models.PositiveIntegerField("readings of the run when it was made")
    alone_because = models.CharField("nobody else was there, because", max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("method", CheckMethod), name="check_method_is_known"),
            models.CheckConstraint(condition=one_of("result", CheckResult), name="check_result_is_known"),
            models.CheckConstraint(
                condition=Q(result="in_order", found="") | Q(result="not_in_order") & ~Q(found=""),
                name="failed_check_says_what_was_found",
                violation_error_message="Say what was found that is not in order.",
                violation_error_code="field:found",
            ),
            models.CheckConstraint(
                condition=~Q(method__in=["applied_again", "measured"]) | Q(tool__isnull=False),
                name="check_by_hand_names_its_tool",
                violation_error_message="Choose the tool that it was checked with.",
                violation_error_code="field:tool",
            ),
            models.CheckConstraint(
                condition=Q(alone_because="") | ~Q(method="witnessed"),
                name="nobody_witnesses_alone",
                violation_error_message="Who is alone can't witness the tightening: choose another method.",
                violation_error_code="field:method",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_method_display()} by {self.made_by}"

    @property
    def failed(self) -> bool:
        return self.result == CheckResult.NOT_IN_ORDER

    def covers(self, reading: TorqueReading) -> bool:
        """Whether the joint was looked at after this reading, also one that was written down later.

        A click and a check of the same minute may stand on record the other way round. A correction after it
        says something else than what was checked.
        """
        if reading.order <= self.after_reading:
            return reading.made_at <= self.made_at + SAME_MINUTE
        return reading.made_at < self.made_at and reading.corrects_id is None


class DispositionKind(models.TextChoices):
    REDONE = "redone", "Loosened and redone from the first stage"
    REPLACED = "replaced", "Fastener replaced and redone from the first stage"
    ACCEPTED = "accepted", "Accepted by the lead with the maker's source"
    ACCEPTED_UNPROVEN = "accepted_unproven", "Accepted as not proven, with a reason"


class Disposition(Record):
    """What was decided about a reading above its limit (or not proven).

    Redone or replaced: what was done to the fastener in that step before it stops counting, and all its stages
    are open again.
    """

    reading = models.ForeignKey(TorqueReading, on_delete=models.PROTECT, related_name="dispositions")
    kind = models.CharField(max_length=18, choices=DispositionKind)
    source = models.CharField("maker's source", max_length=200, blank=True)
    reason = models.CharField(max_length=300)
    after_reading = models.PositiveIntegerField("readings of the run when it was made", editable=False)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("kind", DispositionKind), name="disposition_kind_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="disposition_says_why",
                violation_error_message="Give the reason.",
                violation_error_code="field:reason",
            ),
            models.CheckConstraint(
                condition=~Q(kind="accepted") | ~Q(source=""),
                name="accepted_above_names_its_source",
                violation_error_message="Name the maker's source that allows it.",
                violation_error_code="field:source",
            ),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()

    @property
    def turn(self) -> tuple:
        """Comes after the readings that were done before it, as `TorqueReading.turn` compares."""
        return self.made_at, self.after_reading
