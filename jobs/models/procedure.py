"""Tightening procedures. A version, once released, never changes: triggers in the database refuse it."""

from __future__ import annotations

import re
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from jobs.models.job import TagKind
from workshop.engineering.units import Amount, show
from workshop.models import CompetenceKind, Record, Versioned
from workshop.models.base import one_of


class Area(models.TextChoices):
    """What a procedure tightens. An open run in the first five keeps the car off the road."""

    WHEELS = "wheels", "Wheels"
    BRAKES = "brakes", "Brakes"
    STEERING = "steering", "Steering"
    SUSPENSION = "suspension", "Suspension"
    FUEL = "fuel", "Fuel"
    ENGINE = "engine", "Engine"
    TRANSMISSION = "transmission", "Transmission"
    RESTRAINTS = "restraints", "Seats and restraints"
    TOWING = "towing", "Towing"
    BODY = "body", "Body"
    ELECTRICAL = "electrical", "Electrical"

    @property
    def tag(self) -> str:
        """Tag that an open run sets on the car."""
        keeps = {self.WHEELS, self.BRAKES, self.STEERING, self.SUSPENSION}
        return TagKind.NO_MOVE if self in keeps else TagKind.NO_START if self == self.FUEL else ""


class Procedure(Record, Versioned):
    """A procedure of the shop's library; what it says stands in its versions."""

    title = models.CharField(max_length=120, unique=True)
    area = models.CharField(max_length=14, choices=Area)
    applies_to = models.CharField("which cars", max_length=200, blank=True)
    withdrawn_because = models.CharField(max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["title"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("area", Area), name="procedure_area_is_known"),
            models.CheckConstraint(condition=~Q(title=""), name="procedure_has_a_title"),
        ]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("jobs:procedure", args=[self.pk])

    def is_for(self, vehicle) -> bool:
        """Whether `applies_to` names the car: every word of its make and model stands in it; empty is any car."""
        said = set(re.findall(r"\w+", self.applies_to.casefold()))
        words = re.findall(r"\w+", f"{vehicle.make} {vehicle.model}".casefold())
        return not said or (bool(words) and said.issuperset(words))

    def released(self) -> ProcedureVersion | None:
        """The newest released version: one query unless `versions` is prefetched."""
        rows = [row for row in self.versions.all() if row.released_at]
        return max(rows, key=lambda row: row.number, default=None)


class ProcedureVersion(Record):
    """One version. A draft takes steps; released, nothing of it changes, and runs may point at it."""

    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField(editable=False)
    source = models.CharField(
        "source of its values",
        max_length=200,
        help_text="The maker's document, standard or the shop's own test.",
    )
    change_note = models.CharField("what changed", max_length=300, blank=True)
    cautions = models.TextField(
        "cautions", blank=True, help_text="One a line: lifting, springs, hot parts, fuel…"
    )
    competence = models.CharField("competence needed", max_length=20, choices=CompetenceKind, blank=True)
    recheck_km = models.DecimalField(
        "check again after (km)", max_digits=8, decimal_places=1, null=True, blank=True
    )
    recheck_note = models.CharField("what is checked again", max_length=200, blank=True)
    released_at = models.DateTimeField(null=True, blank=True, editable=False)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        editable=False,
    )

    class Meta(Record.Meta):
        ordering = ["procedure", "-number"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["procedure", "number"], name="versions_are_numbered"),
            models.UniqueConstraint(
                fields=["procedure"],
                condition=Q(released_at=None),
                name="one_draft_per_procedure",
                violation_error_message="There is a draft of this procedure: go on with that one.",
            ),
            models.CheckConstraint(
                condition=~Q(source=""),
                name="version_names_its_source",
                violation_error_message="Name the source of the values.",
                violation_error_code="field:source",
            ),
            models.CheckConstraint(
                condition=Q(released_at=None, released_by=None)
                | Q(released_at__isnull=False, released_by__isnull=False),
                name="release_has_a_person",
            ),
            models.CheckConstraint(
                condition=Q(released_at=None) | Q(number=1) | ~Q(change_note=""),
                name="released_version_says_what_changed",
                violation_error_message="Say what changed against the version before.",
                violation_error_code="field:change_note",
            ),
            models.CheckConstraint(
                condition=one_of("competence", CompetenceKind, blank=True), name="version_competence_is_known"
            ),
            models.CheckConstraint(
                condition=Q(recheck_km=None) | Q(recheck_km__gt=0),
                name="recheck_is_ahead",
                violation_error_message="Give a distance above 0, or leave it empty.",
                violation_error_code="field:recheck_km",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure}, version {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("jobs:procedure-version", args=[self.pk])

    @property
    def caution_lines(self) -> list[str]:
        return [line.strip() for line in self.cautions.splitlines() if line.strip()]


class Pattern(models.TextChoices):
    CIRCLE = "circle", "Circle"
    LINE = "line", "Line"
    GRID = "grid", "Grid"
    FREE = "free", "Free positions"


class OrderOfWork(models.TextChoices):
    STAGE_BY_STAGE = "stage_by_stage", "Whole pattern, stage by stage, in the drawn sequence"
    FASTENER_BY_FASTENER = "fastener_by_fastener", "One fastener at a time, through all stages"
    BY_GROUPS = "by_groups", "Group by group, each through all stages"
    UNTIL_STILL = "until_still", "Repeat the round until nothing moves"


class Reuse(models.TextChoices):
    REUSABLE = "reusable", "May be used again"
    NEW = "new", "New each time"
    MEASURED = "measured", "Again only after measuring, by the maker's limit"


class ProcedureStep(models.Model):
    """One step: the fasteners of one joint, their pattern, sequence and stages.

    `sequence` lists fastener numbers 1…n in order. `groups` maps a group's name to its fastener numbers where
    bolts are mixed; empty means that all have the same targets. `points` holds [x, y] in 0…1 for free
    positions.
    """

    version = models.ForeignKey(ProcedureVersion, on_delete=models.PROTECT, related_name="steps")
    order = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=120)
    fasteners = models.PositiveSmallIntegerField("number of fasteners")
    pattern = models.CharField(max_length=6, choices=Pattern, default=Pattern.CIRCLE)
    rows = models.PositiveSmallIntegerField(default=1)
    columns = models.PositiveSmallIntegerField(default=1)
    points = models.JSONField(default=list, blank=True)
    sequence = models.JSONField(default=list)
    groups = models.JSONField(default=dict, blank=True)
    order_of_work = models.CharField(max_length=20, choices=OrderOfWork, default=OrderOfWork.STAGE_BY_STAGE)
    critical = models.BooleanField("critical: needs a second check by another person", default=False)
    hold_point = models.BooleanField("hold point: the next step waits for the check", default=False)
    thread = models.CharField(max_length=16, blank=True)
    property_class = models.CharField(max_length=6, blank=True)
    friction = models.CharField("friction condition", max_length=40, blank=True)
    nut_factor = models.DecimalField("nut factor K", max_digits=4, decimal_places=3, null=True, blank=True)
    clamped_length = models.DecimalField(
        "clamped length (mm)",
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="From under the head to the nut, or to the first thread that holds. For an angle stage: the "
        "preload that it adds is estimated.",
    )
    reuse = models.CharField(
        "may fasteners be used again?", max_length=10, choices=Reuse, default=Reuse.REUSABLE
    )
    to_yield = models.BooleanField(
        "tightened to yield, as the maker declares",
        default=False,
        help_text="The proof load is then exceeded on purpose, and a bolt that went above its limit "
        "is replaced.",
    )
    threadlocker = models.CharField(max_length=80, blank=True)
    questioned = models.TextField("questioned when written", blank=True, editable=False)
    kept_because = models.CharField("kept all the same, because", max_length=300, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["version", "order"]
        constraints = [
            models.UniqueConstraint(fields=["version", "order"], name="steps_are_in_order"),
            models.CheckConstraint(condition=one_of("pattern", Pattern), name="step_pattern_is_known"),
            models.CheckConstraint(
                condition=one_of("order_of_work", OrderOfWork), name="step_order_is_known"
            ),
            models.CheckConstraint(condition=one_of("reuse", Reuse), name="step_reuse_is_known"),
            models.CheckConstraint(
                condition=Q(fasteners__gte=1, fasteners__lte=60),
                name="step_has_fasteners",
                violation_error_message="A step has between 1 and 60 fasteners.",
                violation_error_code="field:fasteners",
            ),
            models.CheckConstraint(
                condition=Q(nut_factor=None) | Q(nut_factor__gt=0, nut_factor__lt=1),
                name="nut_factor_is_sane",
                violation_error_message="A nut factor lies between 0 and 1, mostly between 0.10 and 0.30.",
                violation_error_code="field:nut_factor",
            ),
            models.CheckConstraint(
                condition=Q(clamped_length=None) | Q(clamped_length__gte=3, clamped_length__lte=500),
                name="clamped_length_is_sane",
                violation_error_message="A clamped length lies between 3 and 500 mm.",
                violation_error_code="field:clamped_length",
            ),
            models.CheckConstraint(
                condition=Q(questioned="") | ~Q(kept_because=""),
                name="questioned_step_says_why_kept",
                violation_error_message="This specification was questioned. Say why it is kept, or "
                "change it.",
                violation_error_code="field:kept_because",
            ),
            models.CheckConstraint(
                condition=Q(hold_point=False) | Q(critical=True),
                name="hold_point_is_critical",
                violation_error_message="A hold point needs a second check: mark the step as critical.",
                violation_error_code="field:hold_point",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order} {self.title}"

    @property
    def group_names(self) -> list[str]:
        """Groups in the order in which the sequence meets them: the database may reorder the keys of
        `groups`.
        """
        place = {number: index for index, number in enumerate(self.sequence)}
        return sorted(self.groups, key=lambda name: min(place.get(n, 0) for n in self.groups[name]))

    def group_of(self, fastener: int) -> str:
        return next((name for name, numbers in self.groups.items() if fastener in numbers), "")


class StageKind(models.TextChoices):
    TORQUE = "torque", "Torque"
    ANGLE = "angle", "Angle"
    LOOSEN = "loosen", "Loosen"
    RESULT = "result", "Measured result (end float, rolling drag)"


class LimitKind(models.TextChoices):
    TOLERANCE = "tolerance", "Target with tolerance"
    RANGE = "range", "From … to"
    MINIMUM = "minimum", "At least"
    MAXIMUM = "maximum", "At most"
    NONE = "none", "No limit"


class ProcedureStage(models.Model):
    """One stage of a step: all its fasteners to one target (or one target per group)."""

    step = models.ForeignKey(ProcedureStep, on_delete=models.PROTECT, related_name="stages")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=8, choices=StageKind, default=StageKind.TORQUE)
    add_running_torque = models.BooleanField("running torque is added", default=False)
    note = models.CharField(
        max_length=160,
        blank=True,
        help_text="Such as: final at ride height; again when cold; on to the next hole.",
    )

    class Meta:
        ordering = ["step", "order"]
        constraints = [
            models.UniqueConstraint(fields=["step", "order"], name="stages_are_in_order"),
            models.CheckConstraint(condition=one_of("kind", StageKind), name="stage_kind_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.order} {self.name}"


class StageTarget(models.Model):
    """The limits of one stage for one group of fasteners.

    `value`, `low` and `high` are as the source gives them, in `unit`; `base_low` and `base_high` are what
    verdicts use (N·m, degrees, mm). `tolerance_is_shops` marks a tolerance that the maker does not give.
    `source` is where this value stands, where it is said closer than in the version; `shops_own` marks a
    value that
    no maker gives.
    """

    stage = models.ForeignKey(ProcedureStage, on_delete=models.PROTECT, related_name="targets")
    group = models.CharField(max_length=40, blank=True)
    limit = models.CharField(max_length=10, choices=LimitKind)
    value = models.DecimalField("target", max_digits=10, decimal_places=3, null=True, blank=True)
    low = models.DecimalField("from", max_digits=10, decimal_places=3, null=True, blank=True)
    high = models.DecimalField("to", max_digits=10, decimal_places=3, null=True, blank=True)
    unit = models.CharField(max_length=6)
    base_value = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True, editable=False)
    base_low = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True, editable=False)
    base_high = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True, editable=False)
    tolerance_is_shops = models.BooleanField(default=False)
    source = models.CharField("where this value stands", max_length=120, blank=True)
    shops_own = models.BooleanField("the shop's own value", default=False)

    class Meta:
        ordering = ["stage", "group"]
        constraints = [
            models.UniqueConstraint(fields=["stage", "group"], name="one_target_per_group"),
            models.CheckConstraint(condition=one_of("limit", LimitKind), name="target_limit_is_known"),
            models.CheckConstraint(
                name="target_has_its_limits",
                condition=Q(
                    limit="tolerance",
                    base_value__isnull=False,
                    base_low__isnull=False,
                    base_high__isnull=False,
                )
                | Q(limit="range", base_low__isnull=False, base_high__isnull=False)
                | Q(limit="minimum", base_low__isnull=False, base_high=None)
                | Q(limit="maximum", base_low=None, base_high__isnull=False)
                | Q(limit="none", base_low=None, base_high=None),
                violation_error_message="Give the values that this kind of limit needs.",
            ),
            models.CheckConstraint(
                condition=Q(base_low=None) | Q(base_high=None) | Q(base_high__gte=F("base_low")),
                name="target_limits_in_order",
                violation_error_message="The upper value can't be below the lower one.",
            ),
        ]

    def __str__(self) -> str:
        return self.words

    @property
    def words(self) -> str:
        """The target as the source gives it, such as "120 N·m (108 to 132, shop's tolerance)"."""

        def amount(value: Decimal) -> str:
            return show(Amount(value, self.unit))

        shops = ", shop's own tolerance" if self.tolerance_is_shops else ""
        match self.limit:
            case LimitKind.TOLERANCE:
                return f"{amount(self.value)} ({amount(self.low)} to {amount(self.high)}{shops})"
            case LimitKind.RANGE:
                return f"{amount(self.low)} to {amount(self.high)}"
            case LimitKind.MINIMUM:
                return f"at least {amount(self.low)}"
            case LimitKind.MAXIMUM:
                return f"at most {amount(self.high)}"
        return "no limit"

    @property
    def source_words(self) -> str:
        """Where the value stands, as said of this one; empty where the version's source is all that is
        known.
        """
        if self.shops_own:
            return f"the shop's own value{', ' + self.source if self.source else ''}"
        return self.source
