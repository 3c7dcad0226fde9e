"""What is known of a car in numbers: the factory's data sheet of a type, this car's own figures, its parts'.

The items that may be known are a closed list in `workshop.engineering.items`; their values are never changed: a
later figure replaces an earlier one and says why.
"""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.urls import reverse

from vehicles.models.part import Confidence
from workshop.engineering.items import ITEMS, KEYS, Item, key_name
from workshop.engineering.units import Amount
from workshop.models import Record, Versioned
from workshop.models.base import one_of


class FigureSource(models.TextChoices):
    """Where a figure comes from, the best first."""

    MAKER = "maker", "Maker's data or handbook"
    PART_MAKER = "part_maker", "Part maker's data"
    MARKED = "marked", "Read off the part or its plate"
    MEASURED = "measured", "Measured here"
    PAPERS = "papers", "Registration papers or weighbridge ticket"
    OWNER = "owner", "Owner's statement"
    ESTIMATE = "estimate", "Estimate"


# What can't make a figure confirmed.
NOT_PROVEN_BY = (FigureSource.OWNER, FigureSource.ESTIMATE)


class DataSheet(Record, Versioned):
    """The factory's figures of one type. A variant's sheet is based on another and holds only what differs.

    `based_on` is set once, to an older sheet, so that a row of sheets never runs in a circle.
    """

    name = models.CharField("type and variant", max_length=120, unique=True)
    based_on = models.ForeignKey(
        "self", on_delete=models.PROTECT, related_name="variants", null=True, blank=True
    )
    note = models.TextField(blank=True)

    class Meta(Record.Meta):
        ordering = ["name"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(name=""),
                name="data_sheet_has_a_name",
                violation_error_code="field:name",
                violation_error_message="Name the type and variant, such as “1600 GT, 1990 to 1992”.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("vehicles:data-sheet", args=[self.pk])


class SheetOfVehicle(Record):
    """Which data sheet holds for a car. The newest record counts; without a sheet: none does any more."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="sheet_records")
    sheet = models.ForeignKey(
        DataSheet, on_delete=models.PROTECT, related_name="vehicle_records", null=True, blank=True
    )
    because = models.CharField("how it is known", max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["-made_at", "-received_at"]

    def __str__(self) -> str:
        return f"{self.sheet or 'no data sheet'}"


class FigureQuerySet(models.QuerySet):
    def current(self) -> FigureQuerySet:
        """Figures that no later one replaces and that were not withdrawn."""
        return self.filter(replaced_by=None, withdrawn_because="")


class Figure(Record):
    """One value of one item, of a data sheet, of a car itself or of a fitted part; of exactly one of the three.

    `key` is an item's key ("front.track"); of a part it is the item's bare code ("piston_diameter"), since the
    part's position says the axle. `value`, `low` and `high` (the maker's tolerance) are in `unit`; `base_value`
    in the dimension's base unit. A text item has `text` alone.
    """

    sheet = models.ForeignKey(
        DataSheet, on_delete=models.PROTECT, related_name="figures", null=True, blank=True
    )
    vehicle = models.ForeignKey(
        "vehicles.Vehicle", on_delete=models.PROTECT, related_name="figures", null=True, blank=True
    )
    part = models.ForeignKey(
        "vehicles.FittedPart", on_delete=models.PROTECT, related_name="figures", null=True, blank=True
    )
    key_of_item = models.CharField("what it is", max_length=60)
    value = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    unit = models.CharField(max_length=12, blank=True)
    base_value = models.DecimalField(max_digits=20, decimal_places=6, null=True, blank=True, editable=False)
    low = models.DecimalField("lowest", max_digits=14, decimal_places=4, null=True, blank=True)
    high = models.DecimalField("highest", max_digits=14, decimal_places=4, null=True, blank=True)
    text = models.CharField(max_length=40, blank=True)
    source = models.CharField("where it comes from", max_length=10, choices=FigureSource)
    source_words = models.CharField(
        "document and place in it, or how it was measured", max_length=160, blank=True
    )
    confidence = models.CharField("how sure", max_length=10, choices=Confidence)
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="replaced_by", null=True, blank=True
    )
    because = models.CharField("why it is changed", max_length=200, blank=True)
    # A record of its own that ends a figure without a new value: it has neither value nor text.
    withdrawn_because = models.CharField("withdrawn, because", max_length=200, blank=True)

    objects = FigureQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(sheet__isnull=False, vehicle=None, part=None)
                | Q(sheet=None, vehicle__isnull=False, part=None)
                | Q(sheet=None, vehicle=None, part__isnull=False),
                name="figure_is_of_one_thing",
            ),
            *(
                models.UniqueConstraint(
                    fields=[owner, "key_of_item"],
                    condition=Q(replaces=None),
                    name=f"figure_begins_once_of_a_{owner}",
                    violation_error_code="field:key_of_item",
                    violation_error_message="There is a figure for this: change that one, and say why.",
                )
                for owner in ("sheet", "vehicle", "part")
            ),
            models.CheckConstraint(
                condition=~Q(withdrawn_because="")
                & Q(
                    value=None, base_value=None, text="", unit="", low=None, high=None, replaces__isnull=False
                )
                | Q(withdrawn_because="")
                & (
                    Q(value__isnull=False, base_value__isnull=False, text="") & ~Q(unit="")
                    | Q(value=None, base_value=None, low=None, high=None, unit="") & ~Q(text="")
                ),
                name="figure_has_a_value_with_unit_or_a_text",
                violation_error_code="field:value",
                violation_error_message="Give the value with its unit.",
            ),
            models.CheckConstraint(
                condition=Q(replaces=None) | ~Q(because="") | ~Q(withdrawn_because=""),
                name="a_changed_figure_says_why",
                violation_error_code="field:because",
                violation_error_message="Say why this figure is changed.",
            ),
            models.CheckConstraint(
                condition=(Q(low=None) | Q(value__isnull=False, low__lte=models.F("value")))
                & (Q(high=None) | Q(value__isnull=False, high__gte=models.F("value"))),
                name="figure_lies_in_its_tolerance",
                violation_error_code="field:low",
                violation_error_message="The value lies outside its own tolerance: look at the three numbers.",
            ),
            models.CheckConstraint(condition=one_of("source", FigureSource), name="figure_source_is_known"),
            models.CheckConstraint(
                condition=one_of("confidence", Confidence), name="figure_confidence_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(confidence="confirmed") | ~Q(source__in=["owner", "estimate"]),
                name="figure_confirmed_needs_more_than_words",
                violation_error_code="field:confidence",
                violation_error_message="An owner's statement or an estimate can't make this confirmed.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}: {self.shown}"

    @property
    def name(self) -> str:
        """The item in words; the bare key where a later version has dropped the item."""
        key = self.key_of_item
        return key_name(key) if key in KEYS else ITEMS[key].name if key in ITEMS else key

    @property
    def item(self) -> Item | None:
        return KEYS.get(self.key_of_item) or ITEMS.get(self.key_of_item)

    @property
    def amount(self) -> Amount | None:
        return None if self.value is None else Amount(tidy(self.value), self.unit)

    @property
    def amount_low(self) -> Amount | None:
        return None if self.low is None else Amount(tidy(self.low), self.unit)

    @property
    def amount_high(self) -> Amount | None:
        return None if self.high is None else Amount(tidy(self.high), self.unit)

    @property
    def shown(self) -> str:
        """The value with its unit, the text as it is written on the thing, a choice in its words."""
        if self.withdrawn_because:
            return "withdrawn"
        if (amount := self.amount) is not None:
            return str(amount)  # with all the digits that were typed
        return dict(self.item.choices).get(self.text, self.text) if self.item else self.text

    @property
    def tolerance(self) -> str:
        """The maker's tolerance in words; empty where none is given."""
        low, high = self.amount_low, self.amount_high
        if low and high:
            return f"{low} to {high}"
        return f"{low} or more" if low else f"{high} or less" if high else ""

    @property
    def from_where(self) -> str:
        """The source in one line: what kind it is, and the document or way."""
        label = self.get_source_display()
        return f"{label}: {self.source_words}" if self.source_words else label


def tidy(value: Decimal) -> Decimal:
    """Without the zeros that a database column hangs on."""
    whole = value.to_integral_value()
    return whole.quantize(Decimal(1)) if value == whole else value.normalize()
