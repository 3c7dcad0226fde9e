"""What comes due again: a maintenance plan and what was done of it, roadworthiness tests, and who is told how."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from vehicles.models.datasheet import FigureSource
from vehicles.models.struck import StruckOnce
from workshop.models import Record
from workshop.models.base import one_of

MOST_MONTHS = 240


class IntervalQuerySet(models.QuerySet):
    def current(self) -> IntervalQuerySet:
        """What no later record replaces; a withdrawal among them ends an interval, or leaves out an inherited one."""
        return self.filter(replaced_by=None)


class MaintenanceInterval(Record):
    """One line of a type's maintenance plan: what, every so far and every so many months, whichever comes first.

    As with figures a later record replaces an earlier one and says why. `line` names the work through all its
    records and through the variants of a sheet: a variant's own record of a line stands instead of the inherited
    one, and one that is withdrawn leaves it out.
    """

    sheet = models.ForeignKey("vehicles.DataSheet", on_delete=models.PROTECT, related_name="intervals")
    line = models.CharField(max_length=120, editable=False)
    title = models.CharField("what is to be done", max_length=120)
    # Six decimals hold whole miles exactly.
    every_km = models.DecimalField("every", max_digits=13, decimal_places=6, null=True, blank=True)
    every_unit = models.CharField(max_length=2, blank=True)
    every_months = models.PositiveSmallIntegerField("every so many months", null=True, blank=True)
    source = models.CharField("where it comes from", max_length=10, choices=FigureSource)
    source_words = models.CharField("document and place in it", max_length=160)
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="replaced_by", null=True, blank=True
    )
    because = models.CharField("why it is changed", max_length=200, blank=True)
    withdrawn_because = models.CharField("does not apply, because", max_length=200, blank=True)

    objects = IntervalQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["title", "made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["sheet", "line"],
                condition=Q(replaces=None),
                name="interval_begins_once_of_a_sheet",
                violation_error_code="field:title",
                violation_error_message="The plan has an interval of this name: change that one, and say why.",
            ),
            models.CheckConstraint(
                condition=~Q(title="") & ~Q(line=""),
                name="interval_says_what",
                violation_error_code="field:title",
                violation_error_message="Say what is to be done, such as “engine oil and filter”.",
            ),
            models.CheckConstraint(
                condition=~Q(withdrawn_because="") & Q(every_km=None, every_months=None)
                | Q(withdrawn_because="") & (Q(every_km__isnull=False) | Q(every_months__isnull=False)),
                name="interval_is_by_distance_or_time",
                violation_error_code="field:every_distance",
                violation_error_message="Give a distance, a number of months, or both.",
            ),
            models.CheckConstraint(
                condition=Q(every_km=None, every_unit="")
                | Q(every_km__isnull=False, every_km__gt=0) & ~Q(every_unit=""),
                name="interval_distance_has_a_unit",
                violation_error_code="field:every_distance",
                violation_error_message="An interval's distance needs a figure above 0 and its unit.",
            ),
            models.CheckConstraint(
                condition=Q(every_months=None) | Q(every_months__gte=1, every_months__lte=MOST_MONTHS),
                name="interval_months_are_sane",
                violation_error_code="field:every_months",
                violation_error_message=f"Give 1 to {MOST_MONTHS} months.",
            ),
            models.CheckConstraint(
                condition=~Q(source_words=""),
                name="interval_names_its_document",
                violation_error_code="field:source_words",
                violation_error_message="Name the document and the place in it.",
            ),
            models.CheckConstraint(condition=one_of("source", FigureSource), name="interval_source_is_known"),
            models.CheckConstraint(
                condition=Q(replaces=None) | ~Q(because="") | ~Q(withdrawn_because=""),
                name="a_changed_interval_says_why",
                violation_error_code="field:because",
                violation_error_message="Say why this interval is changed.",
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def every_words(self) -> str:
        """ "every 20000 km or 12 months, whichever comes first"; empty for a withdrawal. No query."""
        from workshop.engineering.units import Amount, show

        parts = []
        if self.every_km is not None:
            parts.append(show(Amount(self.every_km, "km").to(self.every_unit)))
        if self.every_months is not None:
            parts.append(f"{self.every_months} month{'' if self.every_months == 1 else 's'}")
        if not parts:
            return ""
        return f"every {' or '.join(parts)}" + (", whichever comes first" if len(parts) > 1 else "")

    @property
    def from_where(self) -> str:
        return f"{self.get_source_display()}: {self.source_words}"


class MaintenanceDone(StruckOnce):
    """That the work of an interval was done on a car: by a work line of ours, or elsewhere, with how that is known."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="maintenance_done")
    interval = models.ForeignKey(MaintenanceInterval, on_delete=models.PROTECT, related_name="done")
    line = models.CharField(max_length=120, editable=False)
    done_on = models.DateField("done on")
    reading = models.ForeignKey(
        "vehicles.OdometerReading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    work_line = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="maintenance_done", null=True, blank=True
    )
    elsewhere = models.CharField("done elsewhere, by whom", max_length=120, blank=True)
    source_words = models.CharField("how it is known", max_length=160, blank=True)

    class Meta(StruckOnce.Meta):
        ordering = ["-done_on", "-made_at"]
        indexes = [models.Index(fields=["vehicle", "line", "done_on"], name="maintenance_done_of_car")]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(work_line__isnull=False, elsewhere="")
                | Q(work_line=None) & ~Q(elsewhere="") & ~Q(source_words=""),
                name="maintenance_done_by_a_line_or_elsewhere",
                violation_error_code="field:elsewhere",
                violation_error_message="Choose the work line, or say who did it elsewhere and how that is known: one of the two.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.interval.title}, done"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:due-of-car", args=[self.vehicle_id])

    @property
    def by_whom(self) -> str:
        return self.elsewhere or "this workshop"


class RoadworthinessResult(models.TextChoices):
    """In the words of Directive 2014/45/EU, Art. 7(2) and Art. 9."""

    PASSED = "passed", "Passed, no deficiencies"
    MINOR = "minor", "Passed, with minor deficiencies"
    MAJOR = "major", "Failed, with major deficiencies"
    DANGEROUS = "dangerous", "Failed, with dangerous deficiencies"

    @property
    def is_passed(self) -> bool:
        return self in (RoadworthinessResult.PASSED, RoadworthinessResult.MINOR)


PASSED = [RoadworthinessResult.PASSED, RoadworthinessResult.MINOR]


class RoadworthinessTest(StruckOnce):
    """A periodic test of a car as its certificate says it (Directive 2014/45/EU, Annex II); never the shop's judgement.

    `valid_until`: the last day of the certificate; after a failed one the day by which it is to be tested again, if
    one was given.
    """

    vehicle = models.ForeignKey(
        "vehicles.Vehicle", on_delete=models.PROTECT, related_name="roadworthiness_tests"
    )
    done_on = models.DateField("tested on")
    valid_until = models.DateField(
        "valid until, or to be tested again by",
        null=True,
        blank=True,
        help_text="The day on the certificate. After a test that was not passed: by when it is to be tested again, "
        "where that was said.",
    )
    result = models.CharField(max_length=10, choices=RoadworthinessResult)
    by_whom = models.CharField("tested by", max_length=120)
    certificate = models.CharField("certificate number", max_length=60, blank=True)
    deficiencies = models.TextField("deficiencies, as the certificate says them", blank=True)
    source_words = models.CharField(
        "how it is known", max_length=160, help_text="Such as “certificate seen” or “the owner's word”."
    )
    reading = models.ForeignKey(
        "vehicles.OdometerReading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta(StruckOnce.Meta):
        ordering = ["-done_on", "-made_at"]
        indexes = [models.Index(fields=["vehicle", "done_on"], name="roadworthiness_of_car")]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("result", RoadworthinessResult), name="roadworthiness_result_is_known"
            ),
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gt=F("done_on")),
                name="roadworthiness_ends_after_the_test",
                violation_error_code="field:valid_until",
                violation_error_message="This day must lie after the day of the test.",
            ),
            models.CheckConstraint(
                condition=~Q(result__in=PASSED) | Q(valid_until__isnull=False),
                name="passed_test_says_until_when",
                violation_error_code="field:valid_until",
                violation_error_message="A test that was passed says until when: give the day on the certificate.",
            ),
            models.CheckConstraint(
                condition=~Q(by_whom="") & ~Q(source_words=""),
                name="roadworthiness_says_by_whom_and_how_known",
                violation_error_code="field:by_whom",
                violation_error_message="Say who tested it, and how that is known.",
            ),
            models.CheckConstraint(
                condition=Q(result=RoadworthinessResult.PASSED, deficiencies="")
                | ~Q(result=RoadworthinessResult.PASSED),
                name="passed_without_deficiencies_names_none",
                violation_error_code="field:deficiencies",
                violation_error_message="It was passed without deficiencies: choose another result, or empty this.",
            ),
        ]

    def __str__(self) -> str:
        return f"roadworthiness test: {self.get_result_display().lower()}"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:due-of-car", args=[self.vehicle_id])

    @property
    def is_passed(self) -> bool:
        return RoadworthinessResult(self.result).is_passed


class FeedAddress(Record):
    """A private address of a calendar. Only the hash of its token is kept: it is shown once, and replaced, not told."""

    person = models.ForeignKey(
        "workshop.Person", on_delete=models.PROTECT, related_name="feed_addresses", editable=False
    )
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    revoked_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(revoked_at=None),
                name="one_calendar_address_per_person",
                violation_error_message="There is a calendar address already: replace it, or take it back.",
            ),
            models.CheckConstraint(condition=~Q(token_hash=""), name="calendar_address_has_a_token"),
        ]

    def __str__(self) -> str:
        return f"calendar of {self.person}"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:due-mine")


class DueReader(models.Model):
    """Who wants the due list by e-mail each morning. Changed by its person's act."""

    person = models.OneToOneField(
        "workshop.Person", on_delete=models.PROTECT, related_name="due_reader", primary_key=True
    )
    wants_mail = models.BooleanField(default=False)
    also_when_nothing = models.BooleanField("also when nothing is due", default=False)

    def __str__(self) -> str:
        return f"{self.person}: {'mail' if self.wants_mail else 'no mail'}"


class MailState(models.TextChoices):
    SENDING = "sending", "Being sent"
    SENT = "sent", "Sent"
    FAILED = "failed", "Not sent"


class DueMail(models.Model):
    """One morning's e-mail to one person: the unique key is what keeps a retry from sending it twice.

    `said` holds the keys of what it told of, so that the next one can begin with what is new. Written by the
    command alone, as the counting of wrong passwords is: nobody acts.
    """

    person = models.ForeignKey("workshop.Person", on_delete=models.PROTECT, related_name="due_mails")
    day = models.DateField()
    state = models.CharField(max_length=8, choices=MailState)
    tries = models.PositiveSmallIntegerField(default=1)
    changed_at = models.DateTimeField()
    trouble = models.CharField(max_length=300, blank=True)
    said = models.JSONField(default=list)

    class Meta:
        ordering = ["-day"]
        constraints = [
            models.UniqueConstraint(fields=["person", "day"], name="one_due_mail_per_person_and_day"),
            models.CheckConstraint(condition=one_of("state", MailState), name="due_mail_state_is_known"),
            models.CheckConstraint(condition=Q(tries__gte=1), name="due_mail_counts_its_tries"),
        ]

    def __str__(self) -> str:
        return f"due list for {self.person}, {self.day}"
