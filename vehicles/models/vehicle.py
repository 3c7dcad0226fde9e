"""The car: what it says of itself, and what its plates, stampings and control unit say."""

from __future__ import annotations

from django.db import models
from django.db.models import Count, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse

from vehicles.folding import folded
from vehicles.models.found import FoundByWords
from workshop.engineering.identity import is_full_vin, normalise_number
from workshop.models import Record, Versioned
from workshop.models.base import one_of
from workshop.permissions import May


class VehicleQuerySet(FoundByWords):
    def visible_to(self, person) -> VehicleQuerySet:
        """Staff see every car; a vehicle owner sees the cars of which they are owner or keeper now."""
        if person.may(May.SEE_SHOP):
            return self
        return self.filter(
            keepers__keeper__account=person,
            keepers__part__in=["owner", "registered_keeper"],
            keepers__until_on=None,
        ).distinct()

    def with_state(self) -> VehicleQuerySet:
        """Adds `open_items`, `dangerous_items` and `open_faults` (counts), and `standing_tags` (two queries in all).

        Counted in subqueries: joins would multiply the rows of a long history with each other.
        """

        def count(relation: str, **filters) -> Coalesce:
            rows = self.model._meta.get_field(relation).related_model.objects.filter(
                vehicle=OuterRef("pk"), **filters
            )
            counted = rows.order_by().values("vehicle").annotate(n=Count("pk")).values("n")
            return Coalesce(Subquery(counted), 0)

        tags = self.model._meta.get_field("tags").related_model.objects.filter(lifted_at=None)
        return self.annotate(
            open_items=count("outstanding_items", end=""),
            dangerous_items=count("outstanding_items", end="", severity="dangerous"),
            open_faults=count("faults", end=""),
        ).prefetch_related(models.Prefetch("tags", queryset=tags, to_attr="standing_tags"))


class Vehicle(Record, Versioned):
    """One car. `number` is its VIN or earlier chassis number, normalised; `identity_key` keeps it unique.

    A 17-character VIN is unique in the world, a shorter frame number only within its make.
    """

    number = models.CharField("VIN or chassis number", max_length=30, blank=True)
    number_unknown_because = models.CharField("no number, because", max_length=200, blank=True)
    as_stamped = models.BooleanField(
        "the car bears the number so",
        default=False,
        help_text="Tick when the number was questioned and you have seen that the car bears it exactly so.",
    )
    number_questions = models.TextField(blank=True, editable=False)
    identity_key = models.CharField(max_length=110, unique=True, null=True, editable=False)  # noqa: DJ001
    make = models.CharField(max_length=60)
    model = models.CharField(max_length=80)
    variant = models.CharField(max_length=120, blank=True)
    year = models.PositiveSmallIntegerField("model year")
    engine_number = models.CharField(max_length=40, blank=True)
    colour = models.CharField(max_length=60, blank=True)
    body = models.CharField(max_length=80, blank=True)
    high_voltage = models.BooleanField("has a high-voltage system", default=False)
    notes = models.TextField(blank=True)
    search_text = models.TextField(blank=True, editable=False)

    objects = VehicleQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["make", "model", "year"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                name="vehicle_has_a_number_or_says_why_not",
                condition=~Q(number="") & Q(number_unknown_because="", identity_key__isnull=False)
                | Q(number="", identity_key=None) & ~Q(number_unknown_because=""),
                violation_error_message="Give the VIN or chassis number, or say why there is none: one of the two.",
                violation_error_code="field:number",
            ),
            models.CheckConstraint(
                name="vehicle_year_is_plausible",
                condition=Q(year__gte=1885, year__lte=2100),
                violation_error_message="Give a model year from 1885 to 2100.",
                violation_error_code="field:year",
            ),
            models.CheckConstraint(
                name="questioned_number_is_as_stamped",
                condition=Q(number_questions="") | Q(as_stamped=True),
                violation_error_message="This number was questioned: confirm that the car bears it so.",
                violation_error_code="field:as_stamped",
            ),
        ]

    def __str__(self) -> str:
        return " ".join(part for part in (str(self.year), self.make, self.model, self.variant) if part)

    @property
    def name(self) -> str:
        return f"{self.year} {self.make} {self.model}"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:vehicle", args=[self.pk])

    @staticmethod
    def key_for(number: str, make: str) -> str | None:
        number = normalise_number(number)
        if not number:
            return None
        return number if is_full_vin(number) else f"{folded(make)}|{number}"

    def current_plate(self) -> str:
        """The newest registration still in force: one query unless `registrations` is prefetched."""
        rows = [row for row in self.registrations.all() if row.until_on is None]
        return (
            max(rows, key=lambda row: (row.from_on or row.made_at.date(), row.made_at)).plate if rows else ""
        )


class Registration(Record, Versioned):
    """A plate the car bore from one day to another; `until_on` is the first day it was no longer on the car."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="registrations")
    plate = models.CharField("registration plate", max_length=20)
    plate_key = models.CharField(max_length=20, editable=False)
    country = models.CharField("country or region", max_length=40, blank=True)
    from_on = models.DateField("from", null=True, blank=True)
    until_on = models.DateField("until", null=True, blank=True)

    class Meta(Record.Meta):
        ordering = ["-from_on", "-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["plate_key", "country"],
                condition=Q(until_on=None),
                name="plate_is_on_one_car",
                violation_error_message="This plate is in force on a car of the shop. End it there first.",
                violation_error_code="field:plate",
            ),
            models.CheckConstraint(
                condition=Q(until_on=None) | Q(from_on=None) | Q(until_on__gte=models.F("from_on")),
                name="registration_ends_after_it_begins",
                violation_error_message="The registration can't end before it begins.",
                violation_error_code="field:until_on",
            ),
        ]

    def __str__(self) -> str:
        return self.plate


class IdentitySource(models.TextChoices):
    PLATE = "plate", "Maker's plate"
    STAMPING = "stamping", "Stamped on the body or frame"
    CONTROL_UNIT = "control_unit", "Read from a control unit"
    GLASS = "glass", "Visible through the windscreen"
    PAPERS = "papers", "Registration papers"


class IdentityReading(Record):
    """The number as read in one place on one day. Never corrected: a later reading stands beside it."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="identity_readings")
    source = models.CharField("where it was read", max_length=14, choices=IdentitySource)
    number = models.CharField("number as read", max_length=30, blank=True)
    not_readable_because = models.CharField("not readable, because", max_length=200, blank=True)
    place = models.CharField("exact place", max_length=120, blank=True)
    differs = models.BooleanField(default=False, editable=False)

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("source", IdentitySource), name="identity_source_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(number="") & Q(not_readable_because="")
                | Q(number="") & ~Q(not_readable_because=""),
                name="identity_read_or_says_why_not",
                violation_error_message="Give the number as read, or say why it isn't readable: one of the two.",
                violation_error_code="field:number",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_source_display()}: {self.number or self.not_readable_because}"
