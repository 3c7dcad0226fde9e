"""Handing a car over: the frozen sheet, its revisions, signatures, and how the car left."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from vehicles.models.keeper import HOLDERS, VehicleKeeper
from vehicles.models.outstanding import Channel
from workshop.models import Record
from workshop.models.base import one_of
from workshop.models.shop import Paper
from workshop.permissions import May


class SheetKind(models.TextChoices):
    HANDOVER = "handover", "Handover sheet"
    UNFINISHED = "unfinished", "Sheet for a car collected unfinished"


class SheetQuerySet(models.QuerySet):
    def visible_to(self, person) -> SheetQuerySet:
        """Staff see every sheet; a vehicle owner those of the visits since the car has been theirs.

        Earlier ones have a page with the name, address and prices of whoever had the car then; so have their later
        revisions, which is why the day of the first one decides.
        """
        if person.may(May.SEE_SHOP):
            return self
        since: dict[Any, date] = {}
        for row in VehicleKeeper.objects.now().filter(keeper__account=person, part__in=HOLDERS):
            day = row.from_on or timezone.localdate(row.made_at)
            since[row.vehicle_id] = min(day, since.get(row.vehicle_id, day))
        theirs = Q(pk__in=[])
        for vehicle, day in since.items():
            begins = timezone.make_aware(datetime.combine(day, time()))
            theirs |= Q(
                job__in=SheetRevision.objects.filter(
                    job__vehicle=vehicle, revision=1, made_at__gte=begins
                ).values("job")
            )
        return self.filter(theirs)


class SheetRevision(Record):
    """One revision of a job's sheet. Frozen: never updated or deleted.

    `technical` is the canonical JSON whose SHA-256 is printed; that of the page with keeper and prices stands in
    `SheetText`, which can be erased without touching this row. `log_seq` and `log_hash` write down the head of
    the event log, so that a cut tail shows.
    """

    job = models.ForeignKey("jobs.Job", on_delete=models.PROTECT, related_name="sheets")
    kind = models.CharField(max_length=10, choices=SheetKind)
    revision = models.PositiveSmallIntegerField()
    token = models.CharField(max_length=32, unique=True)
    paper = models.CharField(max_length=6, choices=Paper)
    technical = models.TextField()
    technical_hash = models.CharField(max_length=64)
    personal_hash = models.CharField(max_length=64)
    pdf_hash = models.CharField(max_length=64)
    pages = models.PositiveSmallIntegerField()
    change_note = models.CharField("what this revision changes", max_length=300, blank=True)
    log_seq = models.BigIntegerField()
    log_hash = models.CharField(max_length=64)

    objects = SheetQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["job", "revision"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["job", "revision"], name="sheet_revisions_are_numbered"),
            models.CheckConstraint(condition=one_of("kind", SheetKind), name="sheet_kind_is_known"),
            models.CheckConstraint(condition=one_of("paper", Paper), name="sheet_paper_is_known"),
            models.CheckConstraint(condition=Q(revision__gte=1, pages__gte=1), name="sheet_has_a_revision"),
            models.CheckConstraint(
                condition=Q(revision=1) | ~Q(change_note=""),
                name="later_revision_says_what_changed",
                violation_error_message="Say what this revision changes.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job.number} revision {self.revision}"

    def get_absolute_url(self) -> str:
        return reverse("jobs:sheet", args=[self.pk])


class SheetText(models.Model):
    """The bytes of a revision and its personal part. Erasing empties both; number and hashes stay."""

    revision = models.OneToOneField(
        SheetRevision, on_delete=models.PROTECT, primary_key=True, related_name="text"
    )
    pdf = models.BinaryField(null=True)
    personal = models.TextField(blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(erased_at=None, pdf__isnull=False)
                | Q(erased_at__isnull=False, pdf=None, personal=""),
                name="erased_sheet_holds_nothing",
            )
        ]

    def __str__(self) -> str:
        return f"text of {self.revision_id}"


class LeftHow(models.TextChoices):
    DRIVEN = "driven", "Driven away"
    TRAILER = "trailer", "On a trailer or towed"
    STAYS = "stays", "Stays here, handed over on the spot"


class Handover(Record):
    """The moment the car left: with whom, how, what was told."""

    job = models.OneToOneField("jobs.Job", on_delete=models.PROTECT, related_name="handover")
    collected_by = models.ForeignKey("vehicles.Keeper", on_delete=models.PROTECT, related_name="collections")
    identified_by = models.CharField("how they were known", max_length=120)
    left_how = models.CharField("how the car left", max_length=8, choices=LeftHow)
    collects_because = models.CharField(
        "why this person collects it", max_length=200, blank=True
    )  # for somebody who isn't on record as one who may collect the car
    keys_returned = models.PositiveSmallIntegerField()
    keys_note = models.CharField("where the other keys are", max_length=200, blank=True)
    odometer = models.ForeignKey("vehicles.OdometerReading", on_delete=models.PROTECT, related_name="+")
    told = models.TextField("what was said at handover", blank=True)
    unfinished_because = models.CharField("collected unfinished, because", max_length=300, blank=True)

    class Meta(Record.Meta):
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("left_how", LeftHow), name="left_how_is_known"),
            models.CheckConstraint(
                condition=~Q(identified_by=""),
                name="collector_was_known",
                violation_error_message="Say how this person was known: by sight, by papers shown.",
                violation_error_code="field:identified_by",
            ),
        ]

    def __str__(self) -> str:
        return f"handover of {self.job}"


class SignatureMethod(models.TextChoices):
    PAPER = "paper", "Signed on paper"
    GLASS = "glass", "Signed on the screen"
    ACCOUNT = "account", "Signed in and confirmed"
    DECLINED = "declined", "Declined to sign"


class SignerPart(models.TextChoices):
    LEAD = "lead", "Lead technician"
    COLLECTOR = "collector", "Person collecting the car"


class SignOff(Record):
    """A signature (or its refusal, with a witness) against a revision's hash. Never worded as a discharge.

    What was drawn on the screen stands in `SignatureInk`, which can be erased; `ink_hash` is its SHA-256 and stays.
    """

    revision = models.ForeignKey(SheetRevision, on_delete=models.PROTECT, related_name="signatures")
    signer_part = models.CharField(max_length=10, choices=SignerPart)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    keeper = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    method = models.CharField(max_length=8, choices=SignatureMethod)
    data_hash = models.CharField(max_length=64)
    ink_hash = models.CharField(max_length=64, blank=True)
    witness = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    channel = models.CharField(max_length=10, choices=Channel, blank=True)

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("method", SignatureMethod) & one_of("signer_part", SignerPart),
                name="signature_is_known",
            ),
            models.CheckConstraint(
                condition=Q(signer_part="lead", person__isnull=False, keeper=None)
                | Q(signer_part="collector", person=None, keeper__isnull=False),
                name="signature_has_its_signer",
            ),
            models.CheckConstraint(
                condition=~Q(method="declined") | Q(witness__isnull=False),
                name="unsigned_has_a_witness",
                violation_error_message="Where somebody declines to sign, name the witness.",
            ),
            models.CheckConstraint(
                condition=Q(method="glass") & ~Q(ink_hash="") | ~Q(method="glass") & Q(ink_hash=""),
                name="signed_on_the_screen_has_ink",
                violation_error_message="A signature on the screen is drawn; every other one is not.",
            ),
            models.UniqueConstraint(fields=["revision", "signer_part"], name="signed_once_per_revision"),
        ]

    def __str__(self) -> str:
        return f"{self.get_signer_part_display()}: {self.get_method_display()}"


class SignatureInk(models.Model):
    """What a signature on the screen was drawn with: lines of points, never a picture (see `jobs.ink`).

    It is the person's own: erasing keeper and prices of a sheet empties it, and nothing else may change it.
    """

    sign_off = models.OneToOneField(SignOff, on_delete=models.PROTECT, primary_key=True, related_name="ink")
    lines = models.TextField(blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "signature ink"
        constraints = [
            models.CheckConstraint(
                condition=Q(erased_at=None) & ~Q(lines="") | Q(erased_at__isnull=False, lines=""),
                name="erased_ink_holds_nothing",
            )
        ]

    def __str__(self) -> str:
        return f"ink of {self.sign_off_id}"
