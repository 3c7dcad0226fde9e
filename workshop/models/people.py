"""The people who sign in, what they may do, what they are qualified for, and the devices they use."""

from __future__ import annotations

import uuid

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.utils.functional import cached_property

from workshop.models.base import Record, Versioned, one_of
from workshop.permissions import STAFF, May, Role, allowed


class PersonManager(BaseUserManager):
    def with_roles(self) -> models.QuerySet[Person]:
        return self.prefetch_related("roles_held")

    def get_by_natural_key(self, sign_in_name: str) -> Person:
        return self.get(sign_in_name=sign_in_name.strip().casefold())

    def active_staff(self) -> models.QuerySet[Person]:
        return self.filter(is_active=True, roles_held__role__in=STAFF).distinct()

    def holding(self, *roles: Role) -> models.QuerySet[Person]:
        return self.filter(is_active=True, roles_held__role__in=roles).distinct()


class Person(AbstractBaseUser, Versioned):
    """Somebody who signs in. People are never deleted, only made inactive: their name stays on what they did."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sign_in_name = models.CharField("name to sign in with", max_length=60, unique=True)
    name = models.CharField(max_length=120)
    initials = models.CharField(max_length=6, blank=True)
    email = models.EmailField("e-mail", blank=True)
    is_active = models.BooleanField("may sign in", default=True)
    # Made by Django's hashers, as the password is; empty until the person chooses one.
    pin = models.CharField("PIN", max_length=128, blank=True, editable=False)
    added_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "sign_in_name"
    REQUIRED_FIELDS = ["name"]
    objects = PersonManager()

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "people"
        constraints = [
            models.CheckConstraint(name="person_has_a_name", condition=~Q(name="") & ~Q(sign_in_name="")),
            models.CheckConstraint(name="person_pin_is_a_hash", condition=Q(pin="") | Q(pin__contains="$")),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        from django.urls import reverse

        return reverse("workshop:person", args=[self.pk])

    @cached_property
    def roles(self) -> frozenset[Role]:
        """Roles held now: one query unless `roles_held` is prefetched."""
        return frozenset(Role(held.role) for held in self.roles_held.all())

    @property
    def is_staff_member(self) -> bool:
        return self.is_active and bool(self.roles & STAFF)

    def may(self, what: May) -> bool:
        return allowed(self, what)


class RoleHeld(models.Model):
    """One role of one person. Changes are acts, so who gave which role when stands in the event log."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="roles_held")
    role = models.CharField(max_length=20, choices=Role)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "role"], name="role_held_once"),
            models.CheckConstraint(condition=one_of("role", Role), name="role_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_role_display()}"


class CompetenceKind(models.TextChoices):
    HIGH_VOLTAGE = "high_voltage", "High voltage"
    AIRBAGS = "airbags", "Airbags and pretensioners"
    REFRIGERANT = "refrigerant", "Refrigerant"
    GAS_FUEL = "gas_fuel", "Gas fuel"
    LIFTING = "lifting", "Lifting equipment"
    BRAKE_TESTER = "brake_tester", "Brake tester"


class CompetenceQuerySet(models.QuerySet):
    def valid_on(self, day) -> CompetenceQuerySet:
        return self.filter(
            Q(expires_on=None) | Q(expires_on__gte=day),
            Q(withdrawn_on=None) | Q(withdrawn_on__gt=day),
            valid_from__lte=day,
        )


class Competence(Record):
    """What somebody is qualified for, by which certificate, until when.

    Never altered, but withdrawn once, with a reason (`withdrawn_on` is the first day on which it no longer holds):
    what was done before that day stands as it was.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="competences")
    kind = models.CharField(max_length=20, choices=CompetenceKind)
    certificate = models.CharField(max_length=120)
    valid_from = models.DateField()
    expires_on = models.DateField(null=True, blank=True)
    withdrawn_on = models.DateField(null=True, blank=True, editable=False)
    withdrawn_because = models.CharField(max_length=200, blank=True, editable=False)
    withdrawn_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True, editable=False
    )

    objects = CompetenceQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["person__name", "kind", "-valid_from"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", CompetenceKind), name="competence_kind_is_known"),
            models.CheckConstraint(condition=~Q(certificate=""), name="competence_names_its_certificate"),
            models.CheckConstraint(
                condition=Q(expires_on=None) | Q(expires_on__gte=models.F("valid_from")),
                name="competence_expires_after_it_begins",
                violation_error_message="The certificate can't expire before it begins.",
                violation_error_code="field:expires_on",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_on=None, withdrawn_because="", withdrawn_by=None)
                | Q(withdrawn_on__isnull=False, withdrawn_on__gte=models.F("valid_from"))
                & Q(withdrawn_by__isnull=False)
                & ~Q(withdrawn_because=""),
                name="withdrawn_competence_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.person}"

    def lapsed_on(self, day) -> bool:
        return bool(
            (self.expires_on and self.expires_on < day) or (self.withdrawn_on and self.withdrawn_on <= day)
        )


class Device(models.Model):
    """A browser that somebody signed in on. Every act names it.

    Revoked, it can do nothing more and nobody signs in on it, until somebody who may lets it in again.

    Enrolled, it is the shop's own and passes from hand to hand: people tap their name and a PIN on it, and it locks
    itself after `lock_minutes` without a touch.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=80)
    first_seen_at = models.DateTimeField(auto_now_add=True)
    enrolled_at = models.DateTimeField(null=True, blank=True, editable=False)
    enrolled_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True, editable=False
    )
    lock_minutes = models.PositiveSmallIntegerField("locks itself after", default=5)
    revoked_at = models.DateTimeField(null=True, blank=True, editable=False)
    revoked_because = models.CharField(max_length=200, blank=True, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(name="device_has_a_name", condition=~Q(name="")),
            models.CheckConstraint(
                name="revoked_device_says_why",
                condition=Q(revoked_at=None, revoked_because="")
                | Q(revoked_at__isnull=False) & ~Q(revoked_because=""),
            ),
            models.CheckConstraint(
                name="enrolled_device_says_by_whom",
                condition=Q(enrolled_at=None, enrolled_by=None)
                | Q(enrolled_at__isnull=False, enrolled_by__isnull=False),
            ),
            models.CheckConstraint(
                name="device_locks_after_1_to_60_minutes",
                condition=Q(lock_minutes__gte=1, lock_minutes__lte=60),
                violation_error_message="Give 1 to 60 minutes.",
                violation_error_code="field:lock_minutes",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        from django.urls import reverse

        return reverse("workshop:device", args=[self.pk])

    @property
    def is_enrolled(self) -> bool:
        """Whether people sign in on it with a PIN now: enrolled, and not revoked."""
        return self.enrolled_at is not None and self.revoked_at is None


class TriedWith(models.TextChoices):
    PASSWORD = "password", "Password"
    PIN = "pin", "PIN"
    # Without a name: `sign_in_name` and `device_ref` hold keyed hashes (workshop.pass_tries).
    CODE = "code", "One-time code"
    LINK = "link", "Asking for a one-time link"


class SignInTry(models.Model):
    """A wrong password or PIN, counted for the pair of name and device: one tablet can't lock out another."""

    sign_in_name = models.CharField(max_length=60)
    device_ref = models.CharField(max_length=40, blank=True)
    what = models.CharField(max_length=8, choices=TriedWith, default=TriedWith.PASSWORD)
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["sign_in_name", "device_ref", "at"], name="sign_in_try_lookup")]
        constraints = [
            models.CheckConstraint(condition=one_of("what", TriedWith), name="sign_in_try_is_known")
        ]

    def __str__(self) -> str:
        return f"{self.sign_in_name} at {self.at}"


class PinLock(models.Model):
    """Five wrong PINs for one name on one tablet: what a lead is told, until one says that they have seen it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="pin_locks")
    # None: a browser that no device is known of, where a second person signs on a session without its cookie.
    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="pin_locks", null=True)
    locked_at = models.DateTimeField()
    locked_until = models.DateTimeField()
    count = models.PositiveSmallIntegerField()
    told_to = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True, editable=False
    )
    told_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["-locked_at"]
        indexes = [
            models.Index(fields=["person", "device", "locked_until"], name="pin_lock_lookup"),
            models.Index(fields=["-locked_at"], name="pin_lock_untold", condition=Q(told_at=None)),
        ]
        constraints = [
            models.CheckConstraint(name="pin_lock_counts", condition=Q(count__gte=1)),
            models.CheckConstraint(
                name="pin_lock_ends_after_it_begins", condition=Q(locked_until__gte=models.F("locked_at"))
            ),
            models.CheckConstraint(
                name="pin_lock_says_who_was_told",
                condition=Q(told_at=None, told_to=None)
                | Q(told_at__isnull=False, told_to__isnull=False, told_at__gte=models.F("locked_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} on {self.device or 'a browser that is not known'}"
