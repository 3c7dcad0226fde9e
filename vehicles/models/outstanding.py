"""Outstanding items: they belong to the car, survive the job and end only in a recorded way."""

from __future__ import annotations

from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import TruncDate
from django.urls import reverse

from vehicles.models.fault import Severity
from vehicles.models.found import FoundByWords
from vehicles.models.keeper import HAVE_A_SAY, VehicleKeeper
from workshop.models import Record, Versioned
from workshop.models.base import one_of


class OutstandingReason(models.TextChoices):
    DECLINED = "declined", "Declined by the owner"
    DEFERRED = "deferred", "Deferred by the owner"
    PARTS = "parts", "Parts awaited"
    BEYOND = "beyond", "Beyond this job"
    RECHECK = "recheck", "Re-check due"


class ItemEnd(models.TextChoices):
    LINE = "line", "Done by a work line"
    FINDING = "finding", "Settled by a later finding"
    LEFT = "left", "Left so at the owner's wish"


class OutstandingQuerySet(FoundByWords):
    def open(self) -> OutstandingQuerySet:
        return self.filter(end="")

    def most_severe_first(self) -> OutstandingQuerySet:
        """Adds the column `rank`: 0 is dangerous."""
        return self.annotate(rank=Severity.order()).order_by("rank", "due_on", "made_at")


class OutstandingItem(Record, Versioned):
    """Something left to be done or watched, with how soon it matters.

    Due by date, by distance (`due_km` after `from_km`, both true kilometres), by hours or by runs, whichever
    comes first.
    """

    vehicle = models.ForeignKey(
        "vehicles.Vehicle", on_delete=models.PROTECT, related_name="outstanding_items"
    )
    order = models.PositiveIntegerField("number of the car's items", editable=False)
    title = models.CharField("what is outstanding", max_length=160)
    search_text = models.TextField(blank=True, editable=False)
    detail = models.TextField("what it means and what should be done", blank=True)
    severity = models.CharField(max_length=10, choices=Severity)
    reason = models.CharField("why it is outstanding", max_length=10, choices=OutstandingReason)
    place = models.ForeignKey(
        "vehicles.Place", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    raised_in = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, related_name="items_raised", null=True, blank=True
    )
    raised_by_line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="items_raised", null=True, blank=True
    )
    raised_by_run = models.ForeignKey(
        "jobs.Run", on_delete=models.PROTECT, related_name="items_raised", null=True, blank=True
    )
    raised_on = models.DateField(editable=False)
    due_on = models.DateField("due by", null=True, blank=True)
    # Six decimals hold whole miles exactly (1 mi = 1.609 344 km): what was typed is what is shown again.
    due_km = models.DecimalField(
        "due after a distance of", max_digits=13, decimal_places=6, null=True, blank=True
    )
    due_km_unit = models.CharField(max_length=2, blank=True)
    from_reading = models.ForeignKey(
        "vehicles.OdometerReading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    due_hours = models.DecimalField(
        "due after running hours", max_digits=7, decimal_places=1, null=True, blank=True
    )
    due_runs = models.PositiveIntegerField("due after runs", null=True, blank=True)

    end = models.CharField(max_length=8, choices=ItemEnd, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by_line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="items_ended", null=True, blank=True
    )
    ended_finding = models.CharField("what was found", max_length=300, blank=True)
    left_by = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    left_words = models.CharField("in their words", max_length=300, blank=True)

    objects = OutstandingQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["vehicle", "order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["vehicle", "order"], name="items_are_numbered_per_car"),
            models.CheckConstraint(condition=one_of("severity", Severity), name="item_severity_is_known"),
            models.CheckConstraint(
                condition=one_of("reason", OutstandingReason), name="item_reason_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(title=""),
                name="item_says_what",
                violation_error_code="field:title",
                violation_error_message="Say what is outstanding.",
            ),
            models.CheckConstraint(
                condition=Q(due_on=None) | Q(due_on__gte=F("raised_on")),
                name="item_is_due_after_it_was_made",
                violation_error_code="field:due_on",
                violation_error_message="An item can't be due before the day it was made.",
            ),
            models.CheckConstraint(
                condition=(Q(due_hours=None) | Q(due_hours__gt=0)) & (Q(due_runs=None) | Q(due_runs__gt=0)),
                name="item_due_hours_and_runs_are_above_0",
                violation_error_message="Hours and runs until an item is due are above 0.",
            ),
            models.CheckConstraint(
                name="item_ends_in_one_way",
                condition=Q(
                    end="", ended_at=None, ended_by_line=None, ended_finding="", left_by=None, left_words=""
                )
                | Q(
                    end=ItemEnd.LINE,
                    ended_at__isnull=False,
                    ended_by_line__isnull=False,
                    left_by=None,
                    left_words="",
                )
                | Q(
                    end=ItemEnd.FINDING,
                    ended_at__isnull=False,
                    ended_by_line=None,
                    left_by=None,
                    left_words="",
                )
                & ~Q(ended_finding="")
                | Q(
                    end=ItemEnd.LEFT,
                    ended_at__isnull=False,
                    ended_by_line=None,
                    ended_finding="",
                    left_by__isnull=False,
                    severity__in=[Severity.MINOR, Severity.ADVICE],
                ),
                violation_error_message="An item ends by a work line, by a later finding, or, where it is minor or "
                "advice, by the owner's recorded wish to leave it so.",
            ),
            models.CheckConstraint(
                condition=Q(due_km=None, due_km_unit="")
                | Q(due_km__isnull=False, due_km__gt=0) & ~Q(due_km_unit=""),
                name="item_due_distance_has_a_unit",
                violation_error_code="field:due_distance",
                violation_error_message="A due distance needs a figure above 0 and its unit.",
            ),
            models.CheckConstraint(
                condition=~Q(reason=OutstandingReason.RECHECK)
                | Q(due_on__isnull=False)
                | Q(due_km__isnull=False)
                | Q(due_hours__isnull=False)
                | Q(due_runs__isnull=False),
                name="recheck_says_when",
                violation_error_code="field:due_on",
                violation_error_message="A re-check needs a date, a distance, hours or runs by which it is due.",
            ),
        ]

    @property
    def severity_word(self) -> str:
        """The word in the frame. Something to be looked at again in due time is no defect, and isn't called one."""
        if self.reason == OutstandingReason.RECHECK and Severity(self.severity).owner_may_leave_it:
            return "Check again"
        return self.get_severity_display()

    @property
    def reason_words(self) -> str:
        """Why it is outstanding, for who reads the owner's page or the sheet."""
        if self.reason == OutstandingReason.RECHECK:
            return "To be checked again"
        return self.get_reason_display()

    def __str__(self) -> str:
        return f"{self.number} {self.title}"

    @property
    def number(self) -> str:
        """What people call it by, without its words: it stands in the log's chain."""
        return f"O{self.order}"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:outstanding", args=[self.pk])

    @property
    def due_words(self) -> str:
        """By when, in words; empty when no limit was set. No query."""
        from django.utils.formats import date_format

        parts = []
        if self.due_on:
            parts.append(f"by {date_format(self.due_on)}")
        if self.due_km is not None:
            from workshop.engineering.units import Amount, show

            parts.append(f"after {show(Amount(self.due_km, 'km').to(self.due_km_unit))}")
        if self.due_hours is not None:
            parts.append(f"after {self.due_hours.normalize():f} running hours")
        if self.due_runs is not None:
            parts.append(f"after {self.due_runs} runs")
        return " or ".join(parts) + (", whichever comes first" if len(parts) > 1 else "")


class Channel(models.TextChoices):
    IN_PERSON = "in_person", "In person"
    PHONE = "phone", "By telephone"
    MESSAGE = "message", "By written message"
    LETTER = "letter", "By letter"
    ACCOUNT = "account", "In their own account here"


class TellingAnswer(models.TextChoices):
    ACKNOWLEDGED = "acknowledged", "Acknowledged"
    DECLINED = "declined", "Declined the work"
    DEFERRED = "deferred", "Put the work off"
    WANTS_IT = "wants_it", "Wants it done"
    NOT_SIGNED = "not_signed", "Declined to sign"
    NO_ANSWER = "no_answer", "No answer yet"


class TellingQuerySet(models.QuerySet):
    def counting(self, vehicle) -> TellingQuerySet:
        """Tellings that count as told: about this car, answered, and to somebody who had a say in it on that day.

        Those are its owner, registered keeper, authoriser, payer and collector on the day of the telling. What a
        driver was told, or somebody who sold the car before, stands on record and counts for nothing.
        """
        played = VehicleKeeper.objects.filter(
            Q(from_on=None) | Q(from_on__lte=OuterRef("told_on")),
            Q(until_on=None) | Q(until_on__gt=OuterRef("told_on")),
            vehicle=vehicle,
            keeper=OuterRef("told_to"),
            part__in=HAVE_A_SAY,
        )
        return (
            self.filter(item__vehicle=vehicle)
            .exclude(answer=TellingAnswer.NO_ANSWER)
            .annotate(told_on=TruncDate("made_at"))
            .filter(Exists(played))
        )


class Telling(Record):
    """What was told to whom about an item, how, and what they answered. Each telling is a record of its own."""

    item = models.ForeignKey(OutstandingItem, on_delete=models.PROTECT, related_name="tellings")
    job = models.ForeignKey(
        "jobs.Job", on_delete=models.PROTECT, related_name="tellings", null=True, blank=True
    )
    told_to = models.ForeignKey("vehicles.Keeper", on_delete=models.PROTECT, related_name="tellings")
    channel = models.CharField(max_length=10, choices=Channel)
    told = models.TextField("what was told")
    answer = models.CharField(max_length=12, choices=TellingAnswer)
    answer_words = models.CharField("in their words", max_length=300, blank=True)
    witness = models.ForeignKey(
        "workshop.Person", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    objects = TellingQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("channel", Channel), name="telling_channel_is_known"),
            models.CheckConstraint(condition=one_of("answer", TellingAnswer), name="telling_answer_is_known"),
            models.CheckConstraint(condition=~Q(told=""), name="telling_says_what"),
            models.CheckConstraint(
                condition=~Q(answer=TellingAnswer.NOT_SIGNED) | Q(witness__isnull=False),
                name="declined_signature_has_a_witness",
                violation_error_code="field:witness",
                violation_error_message="Where somebody declines to sign, name the witness.",
            ),
            models.CheckConstraint(
                condition=Q(witness=None) | ~Q(witness=F("made_by")),
                name="witness_is_another_person",
                violation_error_code="field:witness",
                violation_error_message="The witness is somebody else than who writes this down.",
            ),
        ]

    def __str__(self) -> str:
        return f"told {self.told_to}: {self.get_answer_display()}"
