"""Faults: reported in somebody's words, examined step by step, ended in exactly one way."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from vehicles.models.found import FoundByWords
from vehicles.models.part import Position
from workshop.engineering.codes import trouble_code
from workshop.models import Record, Versioned
from workshop.models.base import one_of


class Severity(models.TextChoices):
    """The three classes of Directive 2014/45/EU, Art. 7, and advice. The shop's own judgement."""

    DANGEROUS = "dangerous", "Dangerous"
    MAJOR = "major", "Major"
    MINOR = "minor", "Minor"
    ADVICE = "advice", "Advice"

    @property
    def rank(self) -> int:
        """0 is the most severe."""
        return list(Severity).index(self)

    @property
    def owner_may_leave_it(self) -> bool:
        return self in (Severity.MINOR, Severity.ADVICE)

    @staticmethod
    def order() -> models.Case:
        """Expression to order by: most severe first, as the database has only the words."""
        return models.Case(
            *(models.When(severity=member.value, then=models.Value(member.rank)) for member in Severity),
            default=models.Value(9),
        )


class FaultKind(models.TextChoices):
    COMPLAINT = "complaint", "Complaint of the owner or driver"
    FINDING = "finding", "Found in the workshop"


class Reproduced(models.TextChoices):
    NOT_TRIED = "not_tried", "Not tried yet"
    YES = "yes", "Reproduced"
    SOMETIMES = "sometimes", "Comes and goes"
    NO = "no", "Not reproduced"


class FaultEnd(models.TextChoices):
    FIXED = "fixed", "Fixed"
    NO_FAULT_FOUND = "no_fault_found", "No fault found"
    OUTSTANDING = "outstanding", "Outstanding"
    NORMAL = "normal", "Normal for this car"
    SAME_AS = "same_as", "Same as another fault"
    ERROR = "error", "Entered in error"


class RootCause(Record):
    """One cause that explains several faults of a car."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="root_causes")
    description = models.CharField("cause", max_length=300)

    class Meta(Record.Meta):
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=~Q(description=""), name="root_cause_says_what"),
        ]

    def __str__(self) -> str:
        return self.description


class FaultQuerySet(FoundByWords):
    def without_end(self) -> FaultQuerySet:
        return self.filter(end="")


def _only(end: FaultEnd, **fields) -> Q:
    """Arm of the constraint: this end, its own fields filled, all others empty."""
    empty = {
        "fixed_by_line": None,
        "check_made": "",
        "recheck_item": None,
        "tried": "",
        "outstanding_item": None,
        "normal_source": "",
        "same_as": None,
        "error_reason": "",
    }
    condition = Q(end=end, ended_at__isnull=False, ended_by__isnull=False)
    for name, value in empty.items():
        wanted = fields.get(name, "empty")
        if wanted == "empty":
            condition &= Q(**{f"{name}__isnull": True}) if value is None else Q(**{name: ""})
        elif wanted == "filled":
            condition &= Q(**{f"{name}__isnull": False}) if value is None else ~Q(**{name: ""})
    return condition


class Fault(Record, Versioned):
    """One complaint or finding. `words` is what was said, as said; personal, so it can be erased."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="faults")
    order = models.PositiveIntegerField("number of the car's faults", editable=False)
    job = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, related_name="faults", null=True, blank=True
    )
    kind = models.CharField(max_length=10, choices=FaultKind)
    title = models.CharField("in short", max_length=120)
    search_text = models.TextField(blank=True, editable=False)
    words = models.TextField("in their own words", blank=True)
    reported_by = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="faults_reported", null=True, blank=True
    )
    conditions = models.CharField(
        "when it shows", max_length=300, blank=True, help_text="Cold, wet, above a speed, after a while…"
    )
    place = models.ForeignKey(
        "vehicles.Place", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    position = models.CharField(max_length=12, choices=Position, blank=True)
    severity = models.CharField(max_length=10, choices=Severity)
    reproduced = models.CharField(max_length=10, choices=Reproduced, default=Reproduced.NOT_TRIED)
    root_cause = models.ForeignKey(
        RootCause, on_delete=models.PROTECT, related_name="faults", null=True, blank=True
    )

    end = models.CharField("how it ended", max_length=14, choices=FaultEnd, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    fixed_by_line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="faults_fixed", null=True, blank=True
    )
    check_made = models.CharField("check made afterwards", max_length=300, blank=True)
    recheck_item = models.ForeignKey(
        "vehicles.OutstandingItem",
        on_delete=models.PROTECT,
        related_name="faults_to_confirm",
        null=True,
        blank=True,
    )
    tried = models.TextField("what was tried and seen", blank=True)
    outstanding_item = models.ForeignKey(
        "vehicles.OutstandingItem", on_delete=models.PROTECT, related_name="faults", null=True, blank=True
    )
    normal_source = models.CharField("source that says so", max_length=300, blank=True)
    same_as = models.ForeignKey(
        "self", on_delete=models.PROTECT, related_name="duplicates", null=True, blank=True
    )
    error_reason = models.CharField("why it was entered in error", max_length=300, blank=True)

    objects = FaultQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["vehicle", "order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["vehicle", "order"], name="faults_are_numbered_per_car"),
            models.CheckConstraint(
                name="fault_ends_in_exactly_one_way",
                condition=Q(
                    end="",
                    ended_at=None,
                    ended_by=None,
                    fixed_by_line=None,
                    check_made="",
                    recheck_item=None,
                    tried="",
                    outstanding_item=None,
                    normal_source="",
                    same_as=None,
                    error_reason="",
                )
                # Fixed with a re-check item is "repaired, not yet confirmed".
                | _only(FaultEnd.FIXED, fixed_by_line="filled", check_made="filled", recheck_item="either")
                | _only(FaultEnd.NO_FAULT_FOUND, tried="filled")
                | _only(FaultEnd.OUTSTANDING, outstanding_item="filled")
                | _only(FaultEnd.NORMAL, normal_source="filled")
                | _only(FaultEnd.SAME_AS, same_as="filled")
                | _only(FaultEnd.ERROR, error_reason="filled"),
                violation_error_message="Say how this fault ended, in one way, with what belongs to it.",
            ),
            models.CheckConstraint(
                condition=Q(same_as=None) | ~Q(same_as=F("id")),
                name="fault_is_not_the_same_as_itself",
                violation_error_code="field:same_as",
                violation_error_message="A fault can't be the same as itself.",
            ),
            models.CheckConstraint(
                condition=~Q(title=""),
                name="fault_says_what",
                violation_error_code="field:title",
                violation_error_message="Say in short what is wrong.",
            ),
            models.CheckConstraint(
                condition=Q(position="") | Q(place__isnull=False) & one_of("position", Position),
                name="fault_position_is_of_a_place",
                violation_error_code="field:position",
                violation_error_message="Choose the place that this position belongs to.",
            ),
            models.CheckConstraint(condition=one_of("severity", Severity), name="fault_severity_is_known"),
            models.CheckConstraint(condition=one_of("kind", FaultKind), name="fault_kind_is_known"),
            models.CheckConstraint(
                condition=one_of("reproduced", Reproduced), name="fault_reproduced_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.title}"

    @property
    def number(self) -> str:
        """What people call it by, without its words: it stands in the log's chain."""
        return f"F{self.order}"

    @property
    def end_words(self) -> str:
        """How it ended, in words: an intermittent fault that was repaired is not confirmed before its re-check."""
        if not self.end:
            return "Still open"
        if self.end == FaultEnd.FIXED and self.recheck_item_id:
            return "Repaired, not yet confirmed"
        return self.get_end_display()

    @property
    def where(self) -> str:
        """The place in words; empty where none was named. Reads the place: select it along."""
        return self.place.with_position(self.position) if self.place_id else ""

    def get_absolute_url(self) -> str:
        return reverse("vehicles:fault", args=[self.pk])


class FaultCode(Record):
    """A trouble code as the control unit gave it (structure of SAE J2012), without any maker's text."""

    fault = models.ForeignKey(Fault, on_delete=models.PROTECT, related_name="codes")
    code = models.CharField("trouble code", max_length=8)
    control_unit = models.CharField("read from", max_length=80, blank=True)
    present = models.BooleanField(
        "present now", default=True, help_text="Not ticked: stored, not present now."
    )

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(code__regex=r"^[PCBU][0-3][0-9A-F]{3}(-[0-9A-F]{2})?$"),
                name="code_has_its_structure",
                violation_error_code="field:code",
                violation_error_message="A trouble code is a letter P, C, B or U, a figure 0 to 3 and three figures or "
                "letters A to F, such as P0562 or U0100-87.",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def meaning(self) -> str:
        """What its structure says, and whose code it is; a maker's own meaning stands in the maker's data."""
        return trouble_code(self.code).sentence


class DiagnosisStep(Record):
    """What was tried and what was seen, with a reading where there is one. Never altered.

    `value` is in `unit`, as typed; `base_value` is in the base unit of its dimension.
    """

    fault = models.ForeignKey(Fault, on_delete=models.PROTECT, related_name="steps")
    job = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, related_name="diagnosis_steps", null=True, blank=True
    )
    tried = models.CharField("what was tried", max_length=300)
    seen = models.CharField("what was seen", max_length=500)
    value = models.DecimalField("reading", max_digits=14, decimal_places=4, null=True, blank=True)
    unit = models.CharField(max_length=8, blank=True)
    base_value = models.DecimalField(max_digits=18, decimal_places=6, null=True, blank=True, editable=False)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(value=None, unit="", base_value=None)
                | Q(value__isnull=False, base_value__isnull=False) & ~Q(unit=""),
                name="diagnosis_reading_has_a_unit",
                violation_error_code="field:reading",
                violation_error_message="A reading needs its unit.",
            ),
            models.CheckConstraint(condition=~Q(tried="") & ~Q(seen=""), name="diagnosis_says_what"),
        ]

    def __str__(self) -> str:
        return f"{self.tried}: {self.seen}"


class Possibility(Record):
    """What else could it be: one thought, in a few words. What became of it stands in its findings."""

    fault = models.ForeignKey(Fault, on_delete=models.PROTECT, related_name="possibilities")
    what = models.CharField("what else it could be", max_length=200)

    class Meta(Record.Meta):
        ordering = ["made_at", "received_at"]
        verbose_name_plural = "possibilities"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(what=""),
                name="possibility_says_what",
                violation_error_code="field:what",
                violation_error_message="Say what it could be.",
            ),
        ]

    def __str__(self) -> str:
        return self.what


class PossibilityEnd(models.TextChoices):
    RULED_OUT = "ruled_out", "Ruled out"
    CONFIRMED = "confirmed", "Confirmed as the cause"
    OPEN_AGAIN = "open_again", "Possible again"


class PossibilityFinding(Record):
    """What was found about a possibility, and on what grounds. The latest counts; earlier ones stay."""

    possibility = models.ForeignKey(Possibility, on_delete=models.PROTECT, related_name="findings")
    order = models.PositiveSmallIntegerField(editable=False)
    finding = models.CharField(max_length=10, choices=PossibilityEnd)
    because = models.CharField(max_length=300)
    root_cause = models.ForeignKey(
        RootCause, on_delete=models.PROTECT, related_name="+", null=True, blank=True, editable=False
    )

    class Meta(Record.Meta):
        ordering = ["possibility", "order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["possibility", "order"], name="findings_of_a_possibility_are_in_order"
            ),
            models.CheckConstraint(
                condition=one_of("finding", PossibilityEnd), name="possibility_finding_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(because=""),
                name="possibility_finding_says_why",
                violation_error_code="field:because",
                violation_error_message="Say on what grounds.",
            ),
            models.CheckConstraint(
                condition=Q(finding=PossibilityEnd.CONFIRMED, root_cause__isnull=False)
                | ~Q(finding=PossibilityEnd.CONFIRMED) & Q(root_cause=None),
                name="confirmed_possibility_is_a_cause",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_finding_display()}: {self.because}"
