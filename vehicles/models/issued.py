"""Numbered prints about a car: build sheet, survey report, torque record and history report, as they were issued.

What was issued stays: the row for good, the bytes until a person's erasure takes them. Each subject (a car, a survey, a
run) has one number for each kind of print, and counts its revisions.
"""

from __future__ import annotations

from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils.text import slugify

from vehicles.models.keeper import HOLDERS, VehicleKeeper
from workshop.models import Record
from workshop.models.base import one_of
from workshop.models.shop import Paper
from workshop.permissions import May


class PrintKind(models.TextChoices):
    BUILD = "build", "Build sheet"
    SURVEY = "survey", "Survey report"
    TORQUE = "torque", "Torque record"
    HISTORY = "history", "History report"

    @property
    def letter(self) -> str:
        """What its number begins with."""
        return self.value[0].upper()


class IssuedPrintQuerySet(models.QuerySet):
    def visible_to(self, person) -> IssuedPrintQuerySet:
        """Staff see every print; a car's owner or registered keeper of today those of the car that name no money, and
        those with costs that were made for them."""
        if person.may(May.SEE_SHOP):
            return self
        theirs = VehicleKeeper.objects.now().filter(
            keeper__account=person, part__in=HOLDERS, vehicle=OuterRef("vehicle")
        )
        return self.filter(Exists(theirs), Q(made_for=None) | Q(made_for__account=person))


class IssuedPrint(Record):
    """One revision of a numbered print, with the hashes of what it says and of its PDF.

    `subject` is the key of what the revisions are counted for: the car, the survey or the run. `content_hash` is of what
    the records say, `data_hash` of all that is printed: number, revision, day and drawings too. A history report with
    costs is a print of its own, `made_for` one keeper, with money from `costs_from` on. The bytes stand in `IssuedText`.
    """

    kind = models.CharField(max_length=7, choices=PrintKind)
    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="issued_prints")
    survey = models.ForeignKey(
        "vehicles.Survey", on_delete=models.PROTECT, related_name="issued_prints", null=True, blank=True
    )
    run = models.ForeignKey(
        "jobs.Run", on_delete=models.PROTECT, related_name="issued_prints", null=True, blank=True
    )
    subject = models.UUIDField(editable=False)
    made_for = models.ForeignKey(
        "vehicles.Keeper",
        on_delete=models.PROTECT,
        related_name="prints_with_costs",
        null=True,
        blank=True,
        verbose_name="with costs, for",
    )
    costs_from = models.DateField("costs from", null=True, blank=True)
    # The workshop that issued it, where it came with an archive; empty for our own.
    origin = models.CharField("issued by", max_length=60, blank=True, editable=False)
    year = models.PositiveSmallIntegerField(editable=False)
    serial = models.PositiveIntegerField(editable=False)
    revision = models.PositiveSmallIntegerField(editable=False)
    token = models.CharField(max_length=32, unique=True, editable=False)
    paper = models.CharField(max_length=6, choices=Paper)
    content_hash = models.CharField(max_length=64)
    data_hash = models.CharField(max_length=64)
    pdf_hash = models.CharField(max_length=64)
    pages = models.PositiveSmallIntegerField()
    changes = models.CharField("what this revision changes", max_length=300, blank=True)
    log_seq = models.BigIntegerField()
    log_hash = models.CharField(max_length=64)

    objects = IssuedPrintQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["-made_at", "-revision"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["origin", "kind", "year", "serial", "revision"], name="issued_print_number_is_unique"
            ),
            models.UniqueConstraint(
                fields=["origin", "kind", "subject", "made_for", "revision"],
                condition=Q(made_for__isnull=False),
                name="issued_print_with_costs_counts_revisions",
            ),
            models.UniqueConstraint(
                fields=["origin", "kind", "subject", "revision"],
                condition=Q(made_for=None),
                name="issued_print_counts_revisions",
            ),
            models.CheckConstraint(condition=one_of("kind", PrintKind), name="issued_print_kind_is_known"),
            models.CheckConstraint(condition=one_of("paper", Paper), name="issued_print_paper_is_known"),
            models.CheckConstraint(
                condition=Q(serial__gte=1, revision__gte=1, pages__gte=1), name="issued_print_has_a_number"
            ),
            models.CheckConstraint(
                condition=Q(kind=PrintKind.SURVEY, survey__isnull=False, run=None, subject=models.F("survey"))
                | Q(kind=PrintKind.TORQUE, survey=None, run__isnull=False, subject=models.F("run"))
                | Q(
                    kind__in=[PrintKind.BUILD, PrintKind.HISTORY],
                    survey=None,
                    run=None,
                    subject=models.F("vehicle"),
                ),
                name="issued_print_has_its_subject",
            ),
            models.CheckConstraint(
                condition=Q(made_for=None, costs_from=None)
                | Q(kind=PrintKind.HISTORY, made_for__isnull=False, costs_from__isnull=False),
                name="only_a_history_report_has_costs",
            ),
            models.CheckConstraint(
                condition=Q(revision=1) | ~Q(changes=""),
                name="later_issued_revision_says_what_changed",
                violation_error_message="Say what this revision changes.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} revision {self.revision}"

    @property
    def number(self) -> str:
        return f"{self.origin} {print_number(self.kind, self.year, self.serial)}".lstrip()

    @property
    def with_costs(self) -> bool:
        return self.made_for_id is not None

    @property
    def title(self) -> str:
        """What it is called, as it stands on its first page."""
        return f"{self.get_kind_display()} with costs" if self.with_costs else self.get_kind_display()

    @property
    def file_name(self) -> str:
        """Without a name or a plate: it is sent around."""
        return f"{slugify(self.title)}-{slugify(self.number)}-revision-{self.revision}.pdf"

    def get_absolute_url(self) -> str:
        """The bytes, as they were issued."""
        return reverse("vehicles:issued", args=[self.pk])


def print_number(kind: str, year: int, serial: int) -> str:
    """ "H 2026-003": the kind's letter, the year, the running number of the shop."""
    return f"{PrintKind(kind).letter} {year}-{serial:03d}"


class IssuedText(models.Model):
    """The bytes of an issued print and the data that they were made of. Erasing empties both; number and hashes stay."""

    print = models.OneToOneField(IssuedPrint, on_delete=models.PROTECT, primary_key=True, related_name="text")
    pdf = models.BinaryField(null=True)
    data = models.TextField(blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(erased_at=None, pdf__isnull=False) & ~Q(data="")
                | Q(erased_at__isnull=False, pdf=None, data=""),
                name="erased_print_holds_nothing",
            )
        ]

    def __str__(self) -> str:
        return f"text of {self.print_id}"
