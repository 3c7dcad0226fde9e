"""The shop itself: its name, defaults and numbers. One row."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q

from workshop.models.base import Versioned, one_of


class Paper(models.TextChoices):
    A4 = "A4", "A4"
    LETTER = "Letter", "Letter"


class DecisionRule(models.TextChoices):
    """How a torque reading is judged near a limit; the sheet says which rule was used."""

    GUARDED = "guarded", "With the tool's permissible deviation taken off (ISO 14253-1)"
    PLAIN = "plain", "Plain acceptance: the reading alone"


class TorqueUnit(models.TextChoices):
    NM = "N.m", "N·m"
    LBF_FT = "lbf.ft", "lbf·ft"
    LBF_IN = "lbf.in", "lbf·in"
    KGF_M = "kgf.m", "kgf·m"


class DistanceUnit(models.TextChoices):
    KM = "km", "km"
    MILE = "mi", "mi"


class Shop(Versioned):
    name = models.CharField(max_length=120, default="Our workshop")
    address = models.TextField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    currency = models.CharField(max_length=3, default="EUR", help_text="Three letters, ISO 4217.")
    tax_note = models.CharField(
        "said of tax beside prices",
        max_length=120,
        blank=True,
        help_text="Printed under the prices of a sheet as it stands here, such as “Amounts contain 19 % tax.” "
        "The app computes no tax.",
    )
    paper = models.CharField(max_length=6, choices=Paper, default=Paper.A4)
    torque_unit = models.CharField(max_length=6, choices=TorqueUnit, default=TorqueUnit.NM)
    distance_unit = models.CharField(max_length=2, choices=DistanceUnit, default=DistanceUnit.KM)
    default_tolerance_percent = models.DecimalField(
        "tolerance where the maker gives one value only",
        max_digits=4,
        decimal_places=1,
        default=Decimal("10"),
        help_text="Percent each way. Shown as the shop's own, never as the maker's.",
    )
    decision_rule = models.CharField(max_length=8, choices=DecisionRule, default=DecisionRule.GUARDED)
    default_limit = models.DecimalField(
        "up to this much without asking", max_digits=10, decimal_places=2, default=Decimal("0")
    )
    recheck_km = models.PositiveIntegerField(
        "wheel nuts checked again after (km)",
        default=50,
        help_text="Where the maker gives none. Makers disagree; 50 to 100 km is common practice, no published source.",
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="there_is_one_shop"),
            models.CheckConstraint(condition=one_of("paper", Paper), name="shop_paper_is_known"),
            models.CheckConstraint(
                condition=one_of("decision_rule", DecisionRule), name="shop_rule_is_known"
            ),
            models.CheckConstraint(
                condition=one_of("torque_unit", TorqueUnit), name="shop_torque_unit_is_known"
            ),
            models.CheckConstraint(
                condition=one_of("distance_unit", DistanceUnit), name="shop_distance_unit_is_known"
            ),
            models.CheckConstraint(
                condition=Q(default_tolerance_percent__gt=0) & Q(default_tolerance_percent__lte=30),
                name="shop_tolerance_is_sane",
                violation_error_message="Use a tolerance above 0 and up to 30 percent.",
            ),
            models.CheckConstraint(condition=Q(default_limit__gte=0), name="shop_limit_is_not_negative"),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def current(cls) -> Shop:
        """The shop's row: one query. It is made after migrate."""
        shop, _ = cls.objects.get_or_create(pk=1)
        return shop


class Counter(models.Model):
    """Numbers without gaps or races: the row is locked by the act that draws from it."""

    name = models.CharField(max_length=40, primary_key=True)
    last = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name}: {self.last}"

    @classmethod
    def draw(cls, name: str) -> int:
        """Next number of this name. Call inside an act, after its claim; a refused act gives the number back."""
        cls.objects.get_or_create(name=name)
        counter = cls.objects.select_for_update(no_key=True).get(name=name)
        counter.last += 1
        counter.save(update_fields=["last"])
        return counter.last
