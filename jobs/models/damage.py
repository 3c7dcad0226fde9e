"""Damage done to a car while it was in the shop: what happened, what its owner was told, how it was settled."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import TruncDate
from django.urls import reverse

from vehicles.models.keeper import HAVE_A_SAY, VehicleKeeper
from vehicles.models.outstanding import Channel
from workshop.models import Record, Versioned
from workshop.models.base import one_of


class Settled(models.TextChoices):
    REPAIRED = "repaired", "Repaired at the shop's cost"
    COMPENSATED = "compensated", "Compensated"
    ACCEPTED = "accepted", "The owner leaves it as it is"
    THERE_BEFORE = "there_before", "It was there when the car came in"


class DamageQuerySet(models.QuerySet):
    def open(self) -> DamageQuerySet:
        return self.filter(settled="")

    def with_told(self) -> DamageQuerySet:
        """Adds `is_told`: whether somebody who had a say in the car that day was told of it."""
        return self.annotate(is_told=Exists(DamageTelling.objects.counting().filter(damage=OuterRef("pk"))))

    def untold(self) -> DamageQuerySet:
        """What its owner does not know of yet. What turned out to be older than the visit needs no telling."""
        return self.with_told().filter(is_told=False).exclude(settled=Settled.THERE_BEFORE)


class Damage(Record, Versioned):
    """One damage. It says what happened and where, not who is to blame.

    Versioned: what was written is corrected with a reason. It ends once, by being settled.
    """

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="damages")
    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="damages")
    order = models.PositiveIntegerField("number of the car's damages", editable=False)
    where = models.CharField("where on the car", max_length=120)
    what = models.TextField("what happened, and what is to be seen")
    happened_at = models.DateTimeField("when it happened", null=True, blank=True)
    found_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name="who saw it first"
    )
    at_the_car = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        verbose_name="who was working there",
    )
    settled = models.CharField(max_length=12, choices=Settled, blank=True, editable=False)
    settled_words = models.TextField("how, in words", blank=True, editable=False)
    settled_at = models.DateTimeField(null=True, editable=False)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, editable=False
    )
    settled_line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="damages", null=True, editable=False
    )
    settled_with = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="+", null=True, editable=False
    )

    objects = DamageQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["vehicle", "order"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["vehicle", "order"], name="damages_are_numbered_per_car"),
            models.CheckConstraint(
                condition=~Q(what=""),
                name="damage_says_what",
                violation_error_code="field:what",
                violation_error_message="Say what happened and what is to be seen.",
            ),
            models.CheckConstraint(
                condition=~Q(where=""),
                name="damage_says_where",
                violation_error_code="field:where",
                violation_error_message="Say where on the car.",
            ),
            models.CheckConstraint(
                condition=one_of("settled", Settled, blank=True), name="damage_settled_is_known"
            ),
            models.CheckConstraint(
                condition=Q(settled="", settled_words="", settled_at=None, settled_by=None)
                & Q(settled_line=None, settled_with=None)
                | Q(settled_at__isnull=False, settled_by__isnull=False)
                & ~Q(settled="")
                & ~Q(settled_words=""),
                name="settled_damage_says_how",
                violation_error_code="field:words",
                violation_error_message="Say how it was settled.",
            ),
            models.CheckConstraint(
                condition=~Q(settled=Settled.REPAIRED) | Q(settled_line__isnull=False),
                name="repaired_damage_names_the_line",
                violation_error_code="field:line",
                violation_error_message="Choose the work line on which it was repaired.",
            ),
            models.CheckConstraint(
                condition=~Q(settled__in=[Settled.COMPENSATED, Settled.ACCEPTED])
                | Q(settled_with__isnull=False),
                name="agreed_damage_names_with_whom",
                violation_error_code="field:agreed_with",
                violation_error_message="Say with whom it was agreed.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.where}"

    @property
    def number(self) -> str:
        """What people call it by, without its words: it stands in the log's chain."""
        return f"D{self.order}"

    @property
    def last_telling(self) -> DamageTelling | None:
        """No query where the tellings are prefetched in their order."""
        rows = list(self.tellings.all())
        return rows[-1] if rows else None

    def get_absolute_url(self) -> str:
        return reverse("jobs:damage", args=[self.pk])


class DamageTellingQuerySet(models.QuerySet):
    def counting(self) -> DamageTellingQuerySet:
        """Tellings to somebody who had a say in the car on that day: owner, registered keeper, and whom they named."""
        played = VehicleKeeper.objects.filter(
            Q(from_on=None) | Q(from_on__lte=OuterRef("told_on")),
            Q(until_on=None) | Q(until_on__gt=OuterRef("told_on")),
            vehicle=OuterRef("damage__vehicle"),
            keeper=OuterRef("told_to"),
            part__in=HAVE_A_SAY,
        )
        return self.annotate(told_on=TruncDate("made_at")).filter(Exists(played))


class DamageTelling(Record):
    """What was told about a damage: to whom, by whom, how, when (`made_at`), in what words. Never altered."""

    damage = models.ForeignKey(Damage, on_delete=models.PROTECT, related_name="tellings")
    told_to = models.ForeignKey("vehicles.Keeper", on_delete=models.PROTECT, related_name="+")
    told_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name="who told them"
    )
    channel = models.CharField("how", max_length=10, choices=Channel)
    told = models.TextField("in what words")
    answered = models.CharField("what they said", max_length=300, blank=True)

    objects = DamageTellingQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("channel", Channel), name="damage_telling_channel_is_known"
            ),
            models.CheckConstraint(condition=~Q(told=""), name="damage_telling_says_what"),
        ]

    def __str__(self) -> str:
        return f"told {self.told_to}"
