"""Work lines: complaint, cause, correction; what the owner answered; labour and parts."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from vehicles.models.outstanding import Channel
from workshop.engineering.numbers import plain
from workshop.models import CompetenceKind, Record, Versioned
from workshop.models.base import one_of


class LineKind(models.TextChoices):
    REPAIR = "repair", "Repair"
    DIAGNOSIS = "diagnosis", "Diagnosis or strip-down (covered by the limit)"
    SERVICE = "service", "Service"
    MAKE_SAFE = "make_safe", "Making safe: immobilise, secure, prevent harm (unbilled unless authorised)"


class LineAnswerKind(models.TextChoices):
    YES = "yes", "Authorised"
    NO = "no", "Declined"
    LATER = "later", "Deferred"


class WorkLine(Record, Versioned):
    """One piece of work on a job.

    `answer` is the latest of its answers, kept here so that the gate reads it without another query.
    `authorised_amount` is what was said yes to: a cost above it asks again.
    """

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="lines")
    order = models.PositiveSmallIntegerField(editable=False)
    kind = models.CharField(max_length=10, choices=LineKind, default=LineKind.REPAIR)
    complaint = models.CharField(max_length=300)
    cause = models.TextField(blank=True)
    correction = models.TextField(blank=True)
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="lines", null=True, blank=True
    )
    faults = models.ManyToManyField("vehicles.Fault", related_name="lines", blank=True)
    items = models.ManyToManyField("vehicles.OutstandingItem", related_name="lines", blank=True)
    competence = models.CharField("competence needed", max_length=20, choices=CompetenceKind, blank=True)
    qualified = models.ForeignKey(
        "workshop.Competence", on_delete=models.PROTECT, related_name="lines", null=True, blank=True
    )
    estimate = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    cost = models.DecimalField("cost now", max_digits=10, decimal_places=2, null=True, blank=True)
    answer = models.CharField(max_length=5, choices=LineAnswerKind, blank=True, editable=False)
    authorised_amount = models.DecimalField(
        max_digits=10, decimal_places=2, null=True, blank=True, editable=False
    )
    done_at = models.DateTimeField(null=True, blank=True, editable=False)
    dropped_because = models.CharField("not done, because", max_length=300, blank=True)
    # Making safe needs no yes; instead the owner is told the same day.
    told_owner_at = models.DateTimeField(null=True, blank=True, editable=False)
    told_owner = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="+", null=True, blank=True, editable=False
    )
    told_owner_channel = models.CharField(max_length=10, choices=Channel, blank=True, editable=False)
    told_owner_words = models.CharField("what was told", max_length=300, blank=True, editable=False)
    told_late_because = models.CharField(
        "not told the same day, because", max_length=300, blank=True, editable=False
    )

    class Meta(Record.Meta):
        ordering = ["job", "order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["job", "order"], name="lines_are_numbered_per_job"),
            models.CheckConstraint(condition=one_of("kind", LineKind), name="line_kind_is_known"),
            models.CheckConstraint(
                condition=one_of("answer", LineAnswerKind, blank=True), name="line_answer_is_known"
            ),
            models.CheckConstraint(
                condition=one_of("competence", CompetenceKind, blank=True), name="line_competence_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(complaint=""),
                name="line_says_what",
                violation_error_code="field:complaint",
                violation_error_message="Say what is asked for.",
            ),
            models.CheckConstraint(
                condition=(Q(estimate=None) | Q(estimate__gte=0)) & (Q(cost=None) | Q(cost__gte=0)),
                name="line_amounts_are_not_negative",
                violation_error_message="The amount can't be negative.",
            ),
            models.CheckConstraint(
                condition=~Q(answer="yes") & Q(authorised_amount=None)
                | Q(answer="yes", authorised_amount__isnull=False),
                name="authorised_line_has_an_amount",
            ),
            models.CheckConstraint(
                condition=Q(done_at=None) | ~Q(correction=""),
                name="done_line_says_what_was_done",
                violation_error_code="field:correction",
                violation_error_message="Write down the correction before the line is done.",
            ),
            models.CheckConstraint(
                condition=Q(done_at=None) | Q(dropped_because=""), name="line_is_done_or_dropped"
            ),
            # Nothing outside what was agreed is done; diagnosis is covered by the limit, making safe prevents harm.
            models.CheckConstraint(
                condition=Q(done_at=None) | Q(answer="yes") | Q(kind__in=["diagnosis", "make_safe"]),
                name="repair_was_authorised",
                violation_error_message="This line was not authorised. Record the owner's answer first.",
            ),
            models.CheckConstraint(
                condition=Q(qualified=None) | ~Q(competence=""), name="qualified_for_a_named_competence"
            ),
            models.CheckConstraint(
                condition=one_of("told_owner_channel", Channel, blank=True),
                name="told_owner_channel_is_known",
            ),
            models.CheckConstraint(
                condition=Q(
                    told_owner_at=None,
                    told_owner=None,
                    told_owner_channel="",
                    told_owner_words="",
                    told_late_because="",
                )
                | Q(told_owner_at__isnull=False, told_owner__isnull=False, kind="make_safe")
                & ~Q(told_owner_channel="")
                & ~Q(told_owner_words=""),
                name="told_owner_says_who_when_how",
                violation_error_message="Say who was told, when, how and what.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job.number}/{self.order}"

    def get_absolute_url(self) -> str:
        return reverse("jobs:line", args=[self.pk])

    @property
    def amount(self) -> Decimal | None:
        """What it costs as far as is known: the cost, else the estimate. No query."""
        return self.cost if self.cost is not None else self.estimate

    @property
    def needs_item(self) -> bool:
        """Declined or put off, it goes on as something outstanding on the car."""
        return (
            self.kind in (LineKind.REPAIR, LineKind.SERVICE)
            and self.answer in (LineAnswerKind.NO, LineAnswerKind.LATER)
            and not self.done_at
            and not self.dropped_because
        )

    @property
    def above_authority(self) -> bool:
        return (
            self.answer == LineAnswerKind.YES
            and self.amount is not None
            and self.amount > self.authorised_amount
        )

    @property
    def is_open(self) -> bool:
        """Neither done nor dropped."""
        return self.done_at is None and not self.dropped_because

    @property
    def needs_telling(self) -> bool:
        """Made safe without a word to the owner yet: the gate asks for it. No query."""
        return self.kind == LineKind.MAKE_SAFE and not self.dropped_because and self.told_owner_at is None

    @property
    def billable(self) -> bool:
        """Making safe is not charged unless the owner said yes to it. No query."""
        return self.kind != LineKind.MAKE_SAFE or self.answer == LineAnswerKind.YES


class LineAnswer(Record):
    """Yes, no or later to a line: by whom, through which channel, when. `answered_at` may be before it was typed."""

    line = models.ForeignKey(WorkLine, on_delete=models.PROTECT, related_name="answers")
    answer = models.CharField(max_length=5, choices=LineAnswerKind)
    by = models.ForeignKey("vehicles.Keeper", on_delete=models.PROTECT, related_name="answers")
    right = models.CharField("by what right", max_length=200)
    channel = models.CharField(max_length=10, choices=Channel)
    answered_at = models.DateTimeField()
    amount = models.DecimalField("up to", max_digits=10, decimal_places=2, null=True, blank=True)
    words = models.CharField("in their words", max_length=300, blank=True)

    class Meta(Record.Meta):
        ordering = ["answered_at", "made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("answer", LineAnswerKind), name="answer_is_known"),
            models.CheckConstraint(condition=one_of("channel", Channel), name="answer_channel_is_known"),
            models.CheckConstraint(
                condition=Q(answer="yes", amount__isnull=False, amount__gte=0)
                | ~Q(answer="yes") & Q(amount=None),
                name="yes_is_up_to_an_amount",
                violation_error_code="field:amount",
                violation_error_message="A yes is up to an amount, and nothing else has one.",
            ),
            models.CheckConstraint(
                condition=Q(answered_at__lte=models.F("received_at")),
                name="answered_before_it_arrived",
                violation_error_code="field:answered_at",
                violation_error_message="The answer can't lie in the future.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_answer_display()} by {self.by}"


class CountingQuerySet(models.QuerySet):
    def counting(self) -> CountingQuerySet:
        """Without what was entered in error."""
        return self.filter(entered_in_error="")


class LabourEntry(Record):
    """Time of one person on one line and day. What was entered in error stays, and counts as nothing."""

    line = models.ForeignKey(WorkLine, on_delete=models.PROTECT, related_name="labour")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="labour")
    day = models.DateField()
    minutes = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True)
    entered_in_error = models.CharField("entered in error, because", max_length=200, blank=True)

    objects = CountingQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["day", "made_at"]
        verbose_name_plural = "labour entries"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(minutes__gte=1, minutes__lte=1440),
                name="labour_fits_in_a_day",
                violation_error_code="field:minutes",
                violation_error_message="Give between 1 minute and 24 hours.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.time_words}"

    @property
    def time_words(self) -> str:
        return time_words(self.minutes)


def time_words(minutes: int) -> str:
    """90 is "1 h 30 min"."""
    hours, rest = divmod(minutes, 60)
    return (
        " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part)
        or "0 min"
    )


class PartUsed(Record):
    """A part or material that went into a line: what is billed. Where it is on the car stands in the fitted part."""

    line = models.ForeignKey(WorkLine, on_delete=models.PROTECT, related_name="parts_used")
    description = models.CharField(max_length=200)
    part_number = models.CharField(max_length=60, blank=True)
    quantity = models.DecimalField(max_digits=8, decimal_places=2, default=1)
    unit = models.CharField(max_length=12, default="pc")
    price = models.DecimalField("price each", max_digits=10, decimal_places=2, null=True, blank=True)
    own_part = models.BooleanField(
        "the owner's own part", default=False, help_text="The shop gives no warranty on an owner's own part."
    )
    entered_in_error = models.CharField("entered in error, because", max_length=200, blank=True)

    objects = CountingQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        verbose_name_plural = "parts used"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(quantity__gt=0),
                name="part_used_has_a_quantity",
                violation_error_code="field:quantity",
                violation_error_message="The quantity is above 0.",
            ),
            models.CheckConstraint(
                condition=Q(price=None) | Q(price__gte=0), name="part_price_is_not_negative"
            ),
            models.CheckConstraint(
                condition=~Q(description="") & ~Q(unit=""),
                name="part_used_says_what",
                violation_error_code="field:description",
                violation_error_message="Say what was used, with its unit.",
            ),
            models.CheckConstraint(
                condition=Q(own_part=False) | Q(price=None),
                name="own_part_is_not_charged",
                violation_error_code="field:price",
                violation_error_message="The owner's own part is not charged: leave the price empty.",
            ),
        ]

    def __str__(self) -> str:
        return f"{plain(self.quantity)} {self.unit} {self.description}"

    @property
    def total(self) -> Decimal | None:
        """Price of the whole quantity, rounded to the cent; None where no price is known."""
        return None if self.price is None else (self.price * self.quantity).quantize(Decimal("0.01"))
