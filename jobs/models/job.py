"""The job card: from booking to the day the car leaves."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from jobs.states import CLOSED, IN_THE_BUILDING, JobState, pairs
from vehicles.models.outstanding import Channel
from workshop.models import Record, Versioned
from workshop.models.base import one_of
from workshop.permissions import May


class WaitingFor(models.TextChoices):
    PARTS = "parts", "Parts"
    OWNER = "owner", "The owner's answer"
    PAYER = "payer", "The payer"
    ELSEWHERE = "elsewhere", "Work elsewhere"
    LIFT = "lift", "A free lift"


class JobQuerySet(models.QuerySet):
    def visible_to(self, person) -> JobQuerySet:
        if person.may(May.SEE_SHOP):
            return self
        return self.filter(
            vehicle__keepers__keeper__account=person,
            vehicle__keepers__part__in=["owner", "registered_keeper"],
            vehicle__keepers__until_on=None,
        ).distinct()

    def in_the_building(self) -> JobQuerySet:
        return self.filter(state__in=IN_THE_BUILDING, origin="")

    def open(self) -> JobQuerySet:
        """What is to be done here: a job taken in from another workshop is that one's, however it stands."""
        return self.filter(origin="").exclude(state__in=CLOSED)


class Job(Record, Versioned):
    """One visit of one car for one payer. Two jobs may be open on one car; the gate is the car's."""

    # The workshop whose job it was, where it came with an archive; empty for our own.
    origin = models.CharField("job of", max_length=60, blank=True, editable=False)
    year = models.PositiveSmallIntegerField(editable=False)
    serial = models.PositiveIntegerField(editable=False)
    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=22, choices=JobState, default=JobState.BOOKED, editable=False)
    title = models.CharField("in short", max_length=120)
    complaint = models.TextField("what the owner asks for, in their own words", blank=True)
    booked_for = models.DateTimeField("booked for", null=True, blank=True)
    promised_at = models.DateTimeField("promised for", null=True, blank=True)
    payer = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="jobs_paid", null=True, blank=True
    )
    authoriser = models.ForeignKey(
        "vehicles.Keeper",
        on_delete=models.PROTECT,
        related_name="jobs_authorised",
        null=True,
        blank=True,
        verbose_name="who may authorise",
    )
    limit = models.DecimalField(
        "up to this much without asking",
        max_digits=10,
        decimal_places=2,
        default=0,
        help_text="Covers diagnosis and strip-down.",
    )
    # Who agreed to the limit as it stands, where it was raised while the car was here.
    limit_given_by = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="+", null=True, blank=True, editable=False
    )
    limit_channel = models.CharField(max_length=10, choices=Channel, blank=True, editable=False)
    limit_answered_at = models.DateTimeField(null=True, blank=True, editable=False)
    lead = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jobs_led", null=True, blank=True
    )
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="jobs_in_hand",
        null=True,
        blank=True,
        verbose_name="who has it",
    )
    waiting_for = models.CharField(max_length=10, choices=WaitingFor, blank=True)
    waiting_note = models.CharField(max_length=200, blank=True)
    standing_at = models.CharField("where the car stands", max_length=120, blank=True)
    comeback_of = models.ForeignKey(
        "jobs.WorkLine", on_delete=models.PROTECT, related_name="comebacks", null=True, blank=True
    )
    comeback_run = models.ForeignKey(
        "jobs.Run", on_delete=models.PROTECT, related_name="comebacks", null=True, blank=True
    )
    comeback_judged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    comeback_judgement = models.TextField("what the comeback turned out to be", blank=True)
    cancelled_because = models.CharField(max_length=200, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["-year", "-serial"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["origin", "year", "serial"], name="job_number_is_unique"),
            models.CheckConstraint(condition=one_of("state", JobState), name="job_state_is_known"),
            models.CheckConstraint(
                condition=one_of("waiting_for", WaitingFor, blank=True), name="job_waits_for_known"
            ),
            models.CheckConstraint(
                condition=Q(limit__gte=0),
                name="job_limit_is_not_negative",
                violation_error_message="The amount can't be negative.",
                violation_error_code="field:limit",
            ),
            models.CheckConstraint(
                condition=one_of("limit_channel", Channel, blank=True), name="limit_channel_is_known"
            ),
            models.CheckConstraint(
                condition=Q(limit_given_by=None, limit_channel="", limit_answered_at=None)
                | Q(limit_given_by__isnull=False, limit_answered_at__isnull=False) & ~Q(limit_channel=""),
                name="raised_limit_says_who_how_when",
                violation_error_message="Say who agreed to the higher limit, how and when.",
                violation_error_code="field:given_by",
            ),
            models.CheckConstraint(condition=~Q(title=""), name="job_says_what"),
            models.CheckConstraint(
                condition=Q(state=JobState.CANCELLED) & ~Q(cancelled_because="")
                | ~Q(state=JobState.CANCELLED) & Q(cancelled_because=""),
                name="cancelled_job_says_why",
                violation_error_message="Say why the job is cancelled.",
                violation_error_code="field:reason",
            ),
            models.CheckConstraint(
                condition=Q(comeback_run=None) | Q(comeback_of__isnull=False),
                name="comeback_run_has_its_line",
            ),
            models.CheckConstraint(
                condition=Q(comeback_judged_by=None, comeback_judgement="")
                | Q(comeback_judged_by__isnull=False, comeback_of__isnull=False) & ~Q(comeback_judgement=""),
                name="comeback_is_judged_in_words",
                violation_error_message="Say what the comeback turned out to be.",
                violation_error_code="field:judgement",
            ),
        ]
        indexes = [models.Index(fields=["state", "promised_at"], name="job_on_the_floor")]

    def __str__(self) -> str:
        return self.number

    @property
    def number(self) -> str:
        return f"{self.origin} {self.year}-{self.serial:04d}".lstrip()

    @property
    def is_closed(self) -> bool:
        return bool(self.origin) or JobState(self.state).closed

    def get_absolute_url(self) -> str:
        return reverse("jobs:job", args=[self.pk])


class Fuel(models.TextChoices):
    EMPTY = "0", "Reserve"
    QUARTER = "1", "A quarter"
    HALF = "2", "Half"
    THREE_QUARTERS = "3", "Three quarters"
    FULL = "4", "Full"


class CheckIn(Record, Versioned):
    """What was agreed and seen when the car came in.

    What was seen (odometer, fuel, damage) is never altered. What was agreed may be agreed anew later, with a reason.
    """

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="check_in")
    odometer = models.OneToOneField(
        "vehicles.OdometerReading", on_delete=models.PROTECT, related_name="check_in_of"
    )
    fuel = models.CharField("fuel or charge", max_length=1, choices=Fuel)
    charge_percent = models.PositiveSmallIntegerField("state of charge (%)", null=True, blank=True)
    keys = models.PositiveSmallIntegerField("keys handed in")
    keys_where = models.CharField("where the keys are", max_length=80, blank=True)
    belongings = models.TextField("belongings left in the car", blank=True)
    damage = models.TextField("existing damage")
    road_test_consent = models.BooleanField("consent to road-test the car")
    plates_legal = models.BooleanField("plates and insurance allow it on the road", default=False)
    old_parts_back = models.BooleanField("old parts back to the owner", default=False)
    brought_by = models.ForeignKey(
        "vehicles.Keeper", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta(Record.Meta):
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("fuel", Fuel), name="check_in_fuel_is_known"),
            models.CheckConstraint(
                condition=~Q(damage=""),
                name="check_in_says_damage",
                violation_error_message="Describe the damage that is there, or write that none was seen.",
                violation_error_code="field:damage",
            ),
            models.CheckConstraint(
                condition=Q(charge_percent=None) | Q(charge_percent__lte=100),
                name="check_in_charge_is_a_share",
                violation_error_message="The state of charge lies between 0 and 100 percent.",
                violation_error_code="field:charge_percent",
            ),
        ]

    def __str__(self) -> str:
        return f"check-in of {self.job}"


class JobMove(Record):
    """One move of a job from one state to another; the allowed ones stand in `jobs/states.py`."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="moves")
    from_state = models.CharField(max_length=22, choices=JobState)
    to_state = models.CharField(max_length=22, choices=JobState)
    reason = models.CharField(max_length=300, blank=True)

    class Meta(Record.Meta):
        ordering = ["made_at", "received_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("from_state", JobState) & one_of("to_state", JobState),
                name="move_states_are_known",
            ),
            models.CheckConstraint(
                condition=pairs("from_state", "to_state"),
                name="move_is_an_allowed_one",
                violation_error_message="A job does not go from the one state to the other.",
            ),
            models.CheckConstraint(
                condition=pairs("from_state", "to_state", with_reason=False) | ~Q(reason=""),
                name="move_back_says_why",
                violation_error_message="Say why.",
                violation_error_code="field:reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job}: {self.get_from_state_display()} to {self.get_to_state_display()}"


class Pass(Record):
    """A job handed from one technician to another, with what is loose and where the bolts are."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="passes")
    from_person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    to_person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    loose = models.TextField("what is loose or open")
    fasteners = models.TextField("where the bolts and parts are")

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        verbose_name_plural = "passes"
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(loose="") & ~Q(fasteners=""),
                name="pass_says_what_is_loose",
                violation_error_message="Say what is loose and where the bolts are; write “nothing” where it is so.",
            ),
            models.CheckConstraint(
                condition=Q(from_person=None) | ~Q(from_person=models.F("to_person")),
                name="pass_goes_to_another",
                violation_error_message="Choose somebody else: this person has the job.",
                violation_error_code="field:to_person",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job} to {self.to_person}"


class TagKind(models.TextChoices):
    NO_START = "no_start", "Do not start"
    NO_MOVE = "no_move", "Do not move"
    NO_ROAD = "no_road", "Not on the road"


class Tag(Record, Versioned):
    """A not-to-be-moved tag on a car: set by an open run or by hand, lifted by a named person with a reason."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="tags")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="tags", null=True, blank=True)
    run = models.ForeignKey("jobs.Run", on_delete=models.PROTECT, related_name="tags", null=True, blank=True)
    isolation = models.ForeignKey(
        "jobs.Isolation", on_delete=models.PROTECT, related_name="tags", null=True, blank=True
    )
    kind = models.CharField(max_length=8, choices=TagKind)
    because = models.CharField(max_length=200)
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    lifted_because = models.CharField(max_length=200, blank=True)

    class Meta(Record.Meta):
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", TagKind), name="tag_kind_is_known"),
            models.CheckConstraint(
                condition=~Q(because=""),
                name="tag_says_why",
                violation_error_message="Say why the tag is set.",
                violation_error_code="field:because",
            ),
            models.CheckConstraint(
                condition=Q(lifted_at=None, lifted_by=None, lifted_because="")
                | Q(lifted_at__isnull=False, lifted_by__isnull=False) & ~Q(lifted_because=""),
                name="lifted_tag_says_by_whom_and_why",
                violation_error_message="Say why the tag may be lifted.",
                violation_error_code="field:lifted_because",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.because}"


class ThingKind(models.TextChoices):
    SPECIAL_TOOL = "special_tool", "Special tool on or in the car"
    CAR_PART = "car_part", "Part of the car taken off"
    LOCK_KEY = "lock_key", "Lock or locking key"


class ThingOut(Record, Versioned):
    """A special tool left on the car or a part of the car taken off: the car does not leave before it is back."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="things_out")
    kind = models.CharField(max_length=14, choices=ThingKind)
    what = models.CharField(max_length=160)
    where = models.CharField("where it is", max_length=160)
    back_at = models.DateTimeField(null=True, blank=True)
    back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", ThingKind), name="thing_out_kind_is_known"),
            models.CheckConstraint(
                condition=~Q(what="") & ~Q(where=""), name="thing_out_says_what_and_where"
            ),
            models.CheckConstraint(
                condition=Q(back_at=None, back_by=None) | Q(back_at__isnull=False, back_by__isnull=False),
                name="thing_back_says_by_whom",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} ({self.where})"


class Waiver(Record):
    """A lead's decision to let a blocker go, with the reason. Printed on the sheet and listed for the shop owner."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="waivers")
    blocker = models.CharField(
        max_length=120, help_text="Code and subject of the blocker, as the gate gives it."
    )
    text = models.CharField("what was waived", max_length=300)
    reason = models.TextField()

    class Meta(Record.Meta):
        ordering = ["made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(fields=["job", "blocker"], name="blocker_waived_once"),
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="waiver_says_why",
                violation_error_message="Say why this may be waived.",
                violation_error_code="field:reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job}: {self.text}"
