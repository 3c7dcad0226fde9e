"""Parts fitted to a car: where, since when, where they come from, on what evidence, how sure."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from workshop.models import Record, Versioned
from workshop.models.base import one_of


class Zone(models.TextChoices):
    """In the order in which one walks round a car and lifts it."""

    IDENTITY = "identity", "Identity and papers"
    FRONT = "front", "Front and bonnet"
    ENGINE = "engine", "Engine"
    INDUCTION = "induction", "Air, fuel and exhaust"
    COOLING = "cooling", "Cooling and climate"
    ELECTRICAL = "electrical", "Electrical"
    TRANSMISSION = "transmission", "Transmission"
    FRONT_AXLE = "front_axle", "Front axle and steering"
    REAR_AXLE = "rear_axle", "Rear axle"
    BRAKES = "brakes", "Brakes"
    WHEELS = "wheels", "Wheels and tyres"
    BODY = "body", "Body and glass"
    CABIN = "cabin", "Cabin and restraints"
    UNDERSIDE = "underside", "Underside"
    REAR = "rear", "Rear and towing"
    CONVERSION = "conversion", "Conversion and load"


class Position(models.TextChoices):
    FRONT_LEFT = "front_left", "front left"
    FRONT_RIGHT = "front_right", "front right"
    REAR_LEFT = "rear_left", "rear left"
    REAR_RIGHT = "rear_right", "rear right"
    FRONT = "front", "front"
    REAR = "rear", "rear"
    LEFT = "left", "left"
    RIGHT = "right", "right"
    INNER_LEFT = "inner_left", "inner left"
    INNER_RIGHT = "inner_right", "inner right"


class Positions(models.TextChoices):
    """Which positions a place has. Left and right as seen by the driver (common practice, no source)."""

    ONE = "", "One on the car"
    AXLE = "axle", "Front and rear"
    SIDE = "side", "Left and right"
    CORNER = "corner", "Four corners"
    WHEEL = "wheel", "Four corners, and inner wheels where they are twins"

    @property
    def asked(self) -> tuple[Position, ...]:
        """The positions that every survey looks at; empty for a place that is there once."""
        return {
            Positions.ONE: (),
            Positions.AXLE: (Position.FRONT, Position.REAR),
            Positions.SIDE: (Position.LEFT, Position.RIGHT),
        }.get(self, (Position.FRONT_LEFT, Position.FRONT_RIGHT, Position.REAR_LEFT, Position.REAR_RIGHT))

    @property
    def allowed(self) -> tuple[Position, ...]:
        """The positions that a part may have there: also the inner wheels of a twin rear axle."""
        inner = (Position.INNER_LEFT, Position.INNER_RIGHT) if self is Positions.WHEEL else ()
        return (*self.asked, *inner)


class Place(models.Model):
    """A place on a car, in the trade's words. The standard ones are kept in `vehicles/places.py`; a shop adds its own."""

    slug = models.SlugField(primary_key=True, max_length=50)
    zone = models.CharField(max_length=14, choices=Zone)
    name = models.CharField(max_length=80)
    order = models.PositiveSmallIntegerField(default=0)
    positions = models.CharField("how many there are", max_length=6, choices=Positions, blank=True)
    consumable = models.BooleanField(
        default=False, help_text="Old parts are disposed of unless the owner wants them."
    )
    safety = models.BooleanField("brakes, steering or restraint", default=False)
    added_by_shop = models.BooleanField(default=False)

    class Meta:
        ordering = ["order", "name"]
        constraints = [
            models.CheckConstraint(condition=one_of("zone", Zone), name="place_zone_is_known"),
            models.CheckConstraint(
                condition=one_of("positions", Positions), name="place_positions_are_known"
            ),
            models.UniqueConstraint(
                fields=["zone", "name"],
                name="place_named_once_per_zone",
                violation_error_message="This zone has a place of that name.",
                violation_error_code="field:name",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def with_position(self, position: str) -> str:
        """The place in words, with its position where it has one."""
        return f"{self.name}, {Position(position).label}" if position else self.name

    @property
    def asked(self) -> tuple[str, ...]:
        """Positions that a survey asks for: one empty position where the place is there once."""
        return Positions(self.positions).asked or ("",)

    @property
    def allowed(self) -> tuple[str, ...]:
        return Positions(self.positions).allowed or ("",)


class Provenance(models.TextChoices):
    FACTORY_STANDARD = "factory_standard", "Factory standard"
    FACTORY_OPTION = "factory_option", "Factory option"
    ACCESSORY = "accessory", "Dealer- or importer-fitted accessory"
    AFTERMARKET = "aftermarket", "Aftermarket"
    OTHER_MODEL = "other_model", "Taken from another model"
    ONE_OFF = "one_off", "Made in a workshop (one-off)"
    UNKNOWN = "unknown", "Unknown"

    @property
    def from_the_factory(self) -> bool:
        return self in (Provenance.FACTORY_STANDARD, Provenance.FACTORY_OPTION)


class SupplyQuality(models.TextChoices):
    """Words of Regulation (EC) 1400/2002, Art. 1, where they exist."""

    ORIGINAL = "original", "Maker's original part"
    MATCHING = "matching", "Part of matching quality"
    RECONDITIONED = "reconditioned", "Reconditioned"
    USED = "used", "Used"
    NOT_KNOWN = "not_known", "Not known"


class SuppliedBy(models.TextChoices):
    SHOP = "shop", "The shop"
    OWNER = "owner", "The owner (no parts warranty)"
    EARLIER = "earlier", "Fitted before the car came here"


class Condition(models.TextChoices):
    GOOD = "good", "Good"
    WORN = "worn", "Worn, within limits"
    DEFECTIVE = "defective", "Defective"
    NOT_EXAMINED = "not_examined", "Not examined"


class Confidence(models.TextChoices):
    CONFIRMED = "confirmed", "Confirmed"
    LIKELY = "likely", "Likely"
    OPEN = "open", "Open question"


class Whereabouts(models.TextChoices):
    """Where a part went that came off the car."""

    RETURNED = "returned", "Returned to the owner"
    SCRAPPED = "scrapped", "Scrapped"
    CORE = "core", "Returned as a core"
    KEPT = "kept", "Kept by the shop"
    WARRANTY = "warranty", "Held for a warranty claim"
    EVIDENCE = "evidence", "Held as evidence"
    ELSEWHERE = "elsewhere", "Out for work elsewhere"
    HAZARDOUS = "hazardous", "Hazardous waste"
    ON_THE_CAR = "on_the_car", "Fitted again in another place on the car"


class FittedPartQuerySet(models.QuerySet):
    def fitted_now(self) -> FittedPartQuerySet:
        return self.filter(removed_at=None, entered_in_error="")

    def on(self, moment) -> FittedPartQuerySet:
        """What was on the car at that moment. A part of unknown fitting date counts from always."""
        return self.filter(
            Q(fitted_at=None) | Q(fitted_at__lte=moment),
            Q(removed_at=None) | Q(removed_at__gt=moment),
            entered_in_error="",
        )

    def not_factory(self) -> FittedPartQuerySet:
        return self.exclude(provenance__in=[Provenance.FACTORY_STANDARD, Provenance.FACTORY_OPTION])


class FittedPart(Record, Versioned):
    """One part in one place of one car, from when it was fitted until it was removed."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="parts")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="parts")
    position = models.CharField(max_length=12, choices=Position, blank=True)
    description = models.CharField("what it is", max_length=200)
    part_number = models.CharField("part number or casting mark", max_length=60, blank=True)
    provenance = models.CharField("where it comes from", max_length=18, choices=Provenance)
    best_evidence = models.CharField(max_length=20, blank=True, editable=False)
    confidence = models.CharField("how sure", max_length=10, choices=Confidence, default=Confidence.OPEN)
    supply_quality = models.CharField(
        "quality of supply", max_length=14, choices=SupplyQuality, default=SupplyQuality.NOT_KNOWN
    )
    supplied_by = models.CharField(max_length=8, choices=SuppliedBy, default=SuppliedBy.EARLIER)
    specification_known = models.BooleanField("its specification is known", default=False)
    condition = models.CharField(max_length=12, choices=Condition, default=Condition.NOT_EXAMINED)
    condition_note = models.CharField(max_length=200, blank=True)
    factory_fits = models.CharField("what the factory fits there", max_length=200, blank=True)
    follows = models.TextField("what follows from the difference", blank=True)
    fitted_at = models.DateTimeField("fitted", null=True, blank=True, help_text="Empty: not known when.")
    on_trial = models.BooleanField("known-good part on trial", default=False)
    fitted_by_line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="parts_fitted", null=True, blank=True
    )
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="replaced_by", null=True, blank=True
    )
    # The same part, moved to another place or fitted again after it was off: its evidence comes with it.
    earlier_record = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="later_record", null=True, blank=True
    )
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_by_line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="parts_removed", null=True, blank=True
    )
    whereabouts = models.CharField("where it went", max_length=12, choices=Whereabouts, blank=True)
    whereabouts_note = models.CharField(max_length=200, blank=True)
    entered_in_error = models.CharField("entered in error, because", max_length=200, blank=True)

    objects = FittedPartQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["place__order", "position", "-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["vehicle", "place", "position"],
                condition=Q(removed_at=None, entered_in_error=""),
                name="one_part_in_a_place",
                violation_error_code="field:place",
                violation_error_message="There is a part in this place. Fit the new one in its stead, so that the "
                "old one is ended in the same act.",
            ),
            models.CheckConstraint(
                condition=~Q(confidence=Confidence.CONFIRMED)
                | ~Q(best_evidence__in=["", "owner_statement", "judgement"]),
                name="confirmed_needs_evidence",
                violation_error_code="field:confidence",
                violation_error_message="Without evidence this can't be confirmed. An owner's statement or a "
                "technician's judgement alone makes it likely.",
            ),
            models.CheckConstraint(
                condition=~Q(confidence=Confidence.LIKELY) | ~Q(best_evidence=""),
                name="likely_needs_evidence",
                violation_error_code="field:confidence",
                violation_error_message="Without any evidence this is an open question.",
            ),
            models.CheckConstraint(
                condition=~Q(provenance=Provenance.UNKNOWN) | Q(confidence=Confidence.OPEN),
                name="unknown_provenance_is_an_open_question",
                violation_error_code="field:confidence",
                violation_error_message="As long as it is unknown where the part comes from, this is an open question.",
            ),
            models.CheckConstraint(
                condition=Q(removed_at=None) | Q(fitted_at=None) | Q(removed_at__gte=F("fitted_at")),
                name="part_removed_after_it_was_fitted",
                violation_error_code="field:removed_at",
                violation_error_message="A part can't come off before it was fitted.",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=False) | Q(whereabouts="", removed_by_line=None),
                name="only_a_removed_part_went_somewhere",
            ),
            models.CheckConstraint(
                condition=one_of("position", Position, blank=True), name="position_is_known"
            ),
            models.CheckConstraint(condition=one_of("provenance", Provenance), name="provenance_is_known"),
            models.CheckConstraint(condition=one_of("confidence", Confidence), name="confidence_is_known"),
            models.CheckConstraint(
                condition=one_of("supply_quality", SupplyQuality), name="supply_quality_is_known"
            ),
            models.CheckConstraint(condition=one_of("supplied_by", SuppliedBy), name="supplied_by_is_known"),
            models.CheckConstraint(condition=one_of("condition", Condition), name="condition_is_known"),
            models.CheckConstraint(
                condition=one_of("whereabouts", Whereabouts, blank=True), name="whereabouts_is_known"
            ),
        ]
        indexes = [models.Index(fields=["vehicle", "place", "removed_at"], name="part_in_a_place")]

    def __str__(self) -> str:
        return f"{self.description} ({self.where})"

    @property
    def where(self) -> str:
        return self.place.with_position(self.position)

    @property
    def is_factory(self) -> bool:
        return Provenance(self.provenance).from_the_factory

    @property
    def is_on_the_car(self) -> bool:
        return self.removed_at is None and not self.entered_in_error

    def all_evidence(self) -> list[Evidence]:
        """Evidence of this record and of the earlier records of the same part, the oldest first."""
        records, record = [self.pk], self
        while record.earlier_record_id is not None and record.earlier_record_id not in records:
            records.append(record.earlier_record_id)
            record = record.earlier_record
        return list(
            Evidence.objects.filter(part__in=records).select_related("made_by", "device").order_by("made_at")
        )

    def get_absolute_url(self) -> str:
        return reverse("vehicles:part", args=[self.pk])


class EvidenceKind(models.TextChoices):
    """Strongest first: confidence follows from the strongest evidence."""

    PART_NUMBER = "part_number", "Part number or casting mark read off the part"
    BUILD_RECORD = "build_record", "Build record or option code"
    MAKER = "maker", "Maker's or supplier's confirmation"
    COMPARISON = "comparison", "Comparison with a known original"
    INVOICE = "invoice", "Invoice or receipt"
    OWNER_STATEMENT = "owner_statement", "Owner's statement"
    JUDGEMENT = "judgement", "Technician's judgement"

    @property
    def strength(self) -> int:
        return len(EvidenceKind) - list(EvidenceKind).index(self)

    @property
    def supports(self) -> Confidence:
        """The most that this evidence alone can support."""
        return Confidence.LIKELY if self in (self.OWNER_STATEMENT, self.JUDGEMENT) else Confidence.CONFIRMED


class Evidence(Record):
    """One piece of evidence for where a part comes from."""

    part = models.ForeignKey(FittedPart, on_delete=models.PROTECT, related_name="evidence")
    kind = models.CharField(max_length=20, choices=EvidenceKind)
    what = models.CharField("what was seen or said", max_length=300)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        verbose_name_plural = "evidence"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", EvidenceKind), name="evidence_kind_is_known"),
            models.CheckConstraint(
                condition=~Q(what=""),
                name="evidence_says_what",
                violation_error_message="Say what was read, seen or said.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.what}"
