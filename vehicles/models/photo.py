"""Photos, documents and scanned papers of a car. The bytes lie beside the database, named by their own hash."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import TruncDate
from django.urls import reverse

from vehicles.models.keeper import HOLDERS, VehicleKeeper
from vehicles.models.part import Position
from workshop.models import Record, Versioned
from workshop.models.base import one_of
from workshop.permissions import May

JPEG, PDF = "image/jpeg", "application/pdf"


class AttachmentKind(models.TextChoices):
    PHOTO = "photo", "Photo"
    DOCUMENT = "document", "Document"
    SIGNED_PAPER = "signed_paper", "Signed paper"


class Moment(models.TextChoices):
    BEFORE = "before", "Before the work"
    AFTER = "after", "After the work"


class Occasion(models.TextChoices):
    """When the car is photographed all round, so that two dated sets can be laid side by side."""

    CHECK_IN = "check_in", "At check-in"
    BEFORE_HANDOVER = "before_handover", "Before handover"


class Angle(models.TextChoices):
    """From where the car is photographed, in the order of one walk round it. Left and right as the driver sees them."""

    FRONT = "front", "Front"
    FRONT_LEFT = "front_left", "Front left corner"
    LEFT = "left", "Left side"
    REAR_LEFT = "rear_left", "Rear left corner"
    REAR = "rear", "Rear"
    REAR_RIGHT = "rear_right", "Rear right corner"
    RIGHT = "right", "Right side"
    FRONT_RIGHT = "front_right", "Front right corner"
    ROOF = "roof", "Roof, as far as it can be seen"
    WHEELS = "wheels", "Wheels, one by one"
    DASHBOARD = "dashboard", "Dashboard, with the odometer lit"
    CABIN = "cabin", "Seats and trim"
    LOAD_SPACE = "load_space", "Boot or load space"
    ENGINE_BAY = "engine_bay", "Engine bay"


class AttachmentQuerySet(models.QuerySet):
    def shown(self) -> AttachmentQuerySet:
        """Without those that a lead set aside or the shop owner erased."""
        return self.filter(set_aside_at=None, erased_at=None)

    def visible_to(self, person) -> AttachmentQuerySet:
        """Staff see all of them; a car's owner sees what is shown of their own cars.

        Pictures of the car go with the car, like its history. Documents, signed papers and the pictures taken all
        round at check-in and handover can show names, addresses and belongings of whoever had the car then: of
        those an owner sees the ones made since the car is theirs.
        """
        if person.may(May.SEE_SHOP):
            return self
        theirs = VehicleKeeper.objects.now().filter(
            vehicle=OuterRef("vehicle"), keeper__account=person, part__in=HOLDERS
        )
        in_their_time = theirs.filter(
            Q(from_on__lte=OuterRef("made_on")) | Q(from_on=None, made_at__date__lte=OuterRef("made_on"))
        )
        of_the_car = Q(kind=AttachmentKind.PHOTO, occasion="") & Exists(theirs)
        return self.shown().annotate(made_on=TruncDate("made_at")).filter(of_the_car | Exists(in_their_time))


class Attachment(Record, Versioned):
    """One photo, document or scanned paper. Its bytes and what it belongs to never change.

    What may change, each by an act: the caption and before/after, set aside (by a lead, and back again), erased (by
    the shop owner: the row stays, the bytes go). `file` and `thumb` are SHA-256 of the stored bytes in hexadecimal.
    """

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="attachments")
    kind = models.CharField(max_length=12, choices=AttachmentKind, default=AttachmentKind.PHOTO)
    caption = models.CharField("what it shows", max_length=200, blank=True)
    moment = models.CharField("before or after", max_length=6, choices=Moment, blank=True)
    occasion = models.CharField(max_length=15, choices=Occasion, blank=True)
    angle = models.CharField(max_length=11, choices=Angle, blank=True)

    media_type = models.CharField(max_length=20, editable=False)
    file = models.CharField(max_length=64, editable=False, db_index=True)
    thumb = models.CharField(max_length=64, editable=False, blank=True)
    size = models.PositiveIntegerField("bytes", editable=False)
    width = models.PositiveIntegerField(editable=False, null=True)
    height = models.PositiveIntegerField(editable=False, null=True)
    order_sent = models.PositiveSmallIntegerField("place among the files sent together", editable=False)
    taken_at = models.DateTimeField("taken, by the camera's clock", editable=False, null=True)

    job = models.ForeignKey("jobs.Job", models.PROTECT, related_name="attachments", null=True, blank=True)
    line = models.ForeignKey(
        "jobs.WorkLine", models.PROTECT, related_name="attachments", null=True, blank=True
    )
    run = models.ForeignKey("jobs.Run", models.PROTECT, related_name="attachments", null=True, blank=True)
    damage = models.ForeignKey(
        "jobs.Damage", models.PROTECT, related_name="attachments", null=True, blank=True
    )
    sheet = models.ForeignKey(
        "jobs.SheetRevision", models.PROTECT, related_name="attachments", null=True, blank=True
    )
    fault = models.ForeignKey(
        "vehicles.Fault", models.PROTECT, related_name="attachments", null=True, blank=True
    )
    part = models.ForeignKey(
        "vehicles.FittedPart", models.PROTECT, related_name="attachments", null=True, blank=True
    )
    survey = models.ForeignKey(
        "vehicles.Survey", models.PROTECT, related_name="attachments", null=True, blank=True
    )
    place = models.ForeignKey(
        "vehicles.Place", models.PROTECT, related_name="attachments", null=True, blank=True
    )
    position = models.CharField(max_length=12, choices=Position, blank=True)
    item = models.ForeignKey(
        "vehicles.OutstandingItem", models.PROTECT, related_name="attachments", null=True, blank=True
    )

    set_aside_because = models.CharField(max_length=200, blank=True, editable=False)
    set_aside_at = models.DateTimeField(null=True, editable=False)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True, editable=False
    )
    erased_because = models.CharField(max_length=200, blank=True, editable=False)
    erased_at = models.DateTimeField(null=True, editable=False)
    erased_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True, editable=False
    )

    objects = AttachmentQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["made_at", "received_at", "order_sent", "pk"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["key", "order_sent"], name="attachment_is_sent_once"),
            models.CheckConstraint(condition=one_of("kind", AttachmentKind), name="attachment_kind_is_known"),
            models.CheckConstraint(
                condition=one_of("moment", Moment, blank=True), name="attachment_moment_is_known"
            ),
            models.CheckConstraint(
                condition=Q(occasion="", angle="")
                | one_of("occasion", Occasion) & one_of("angle", Angle) & Q(job__isnull=False),
                name="attachment_angle_has_job_and_occasion",
            ),
            models.CheckConstraint(
                condition=one_of("position", Position, blank=True), name="attachment_position_is_known"
            ),
            models.CheckConstraint(
                condition=Q(
                    media_type=JPEG, width__isnull=False, height__isnull=False, width__gt=0, height__gt=0
                )
                & ~Q(thumb="")
                | Q(media_type=PDF, width=None, height=None, thumb="") & ~Q(kind=AttachmentKind.PHOTO),
                name="attachment_is_picture_or_pdf",
            ),
            models.CheckConstraint(condition=~Q(file="") & Q(size__gt=0), name="attachment_has_a_file"),
            models.CheckConstraint(
                condition=~Q(kind=AttachmentKind.DOCUMENT) | ~Q(caption="") | Q(erased_at__isnull=False),
                name="document_says_what_it_is",
                violation_error_code="field:caption",
                violation_error_message="Say what the document is: “weighbridge ticket”, “build record”.",
            ),
            models.CheckConstraint(
                condition=Q(sheet=None) & ~Q(kind=AttachmentKind.SIGNED_PAPER)
                | Q(sheet__isnull=False, kind=AttachmentKind.SIGNED_PAPER),
                name="signed_paper_is_of_a_sheet",
                violation_error_message="A signed paper belongs to the sheet that was printed on it.",
            ),
            models.CheckConstraint(
                condition=Q(taken_at=None) | Q(taken_at__lte=F("received_at")),
                name="attachment_taken_before_it_arrived",
            ),
            models.CheckConstraint(
                condition=Q(set_aside_at=None, set_aside_by=None, set_aside_because="")
                | Q(set_aside_at__isnull=False, set_aside_by__isnull=False) & ~Q(set_aside_because=""),
                name="attachment_set_aside_says_why",
                violation_error_code="field:because",
                violation_error_message="Say why it is set aside.",
            ),
            models.CheckConstraint(
                condition=Q(erased_at=None, erased_by=None, erased_because="")
                | Q(erased_at__isnull=False, erased_by__isnull=False, caption="") & ~Q(erased_because=""),
                name="attachment_erased_says_why",
                violation_error_code="field:because",
                violation_error_message="Say why it is erased.",
            ),
        ]
        indexes = [models.Index(fields=["vehicle", "made_at"], name="attachment_of_vehicle")]

    def __str__(self) -> str:
        return self.caption or self.what

    @property
    def what(self) -> str:
        """What it is, where nobody wrote a caption."""
        if self.angle:
            return f"{self.get_angle_display()}, {self.get_occasion_display().lower()}"
        return self.get_moment_display() or self.get_kind_display()

    @property
    def is_picture(self) -> bool:
        return self.media_type == JPEG

    @property
    def gone(self) -> str:
        """Why it is not to be seen any more, in words; empty where it is."""
        if self.erased_at:
            return f"Erased: {self.erased_because}"
        return f"Set aside: {self.set_aside_because}" if self.set_aside_at else ""

    @property
    def taken_or_made(self):
        """When it was taken as far as anything says so; else when it was added."""
        return self.taken_at or self.made_at

    @property
    def suffix(self) -> str:
        return "jpg" if self.is_picture else "pdf"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:photo", args=[self.pk])

    def file_url(self) -> str:
        return reverse("vehicles:photo-file", args=[self.pk])

    def thumb_url(self) -> str:
        return reverse("vehicles:photo-thumb", args=[self.pk])

    def small_url(self) -> str:
        """The thumbnail for a list of photos, some 2 KB: a page with many of them stays light."""
        return f"{self.thumb_url()}?small"
