"""The people around a car. Five parts that one person often plays, kept apart."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from vehicles.folding import folded, squeezed
from vehicles.models.found import FoundByWords
from workshop.models import Record, Versioned
from workshop.models.base import one_of


class Keeper(Record, Versioned):
    """A person or firm around a car. Name, address and numbers are personal words and can be erased."""

    name = models.CharField(max_length=120)
    address = models.TextField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    account = models.OneToOneField(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="keeper",
        null=True,
        blank=True,
        verbose_name="signs in as",
    )
    erased_at = models.DateTimeField(null=True, blank=True, editable=False)
    # Folded, because the databases fold differently: see vehicles.folding.
    search_text = models.TextField(blank=True, editable=False)

    objects = FoundByWords.as_manager()

    class Meta(Record.Meta):
        ordering = ["name"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=~Q(name=""), name="keeper_has_a_name"),
            models.CheckConstraint(
                condition=Q(erased_at=None) | Q(address="", phone="", email="", search_text=""),
                name="erased_keeper_holds_nothing",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @staticmethod
    def text_to_find(name: str, address: str, phone: str, email: str) -> str:
        return " ".join(
            part for part in (*map(folded, (name, address, phone, email)), squeezed(phone)) if part
        )

    def get_absolute_url(self) -> str:
        return reverse("vehicles:keeper", args=[self.pk])


class KeeperPart(models.TextChoices):
    REGISTERED_KEEPER = "registered_keeper", "Registered keeper"
    OWNER = "owner", "Owner"
    DRIVER = "driver", "Driver"
    PAYER = "payer", "Payer"
    AUTHORISER = "authoriser", "May authorise work"
    COLLECTOR = "collector", "May collect the car"


# Who a car's history belongs to: they see it, authorise and collect without being named for it.
HOLDERS = (KeeperPart.OWNER, KeeperPart.REGISTERED_KEEPER)
# To whom a danger is told so that it counts. Somebody who only drives the car decides nothing about it.
HAVE_A_SAY = (*HOLDERS, KeeperPart.AUTHORISER, KeeperPart.PAYER, KeeperPart.COLLECTOR)


class VehicleKeeperQuerySet(models.QuerySet):
    def on(self, day) -> VehicleKeeperQuerySet:
        """Parts played on a day. `until_on` is the first day on which the part is no longer played."""
        return self.filter(Q(from_on=None) | Q(from_on__lte=day), Q(until_on=None) | Q(until_on__gt=day))

    def now(self) -> VehicleKeeperQuerySet:
        """Parts not ended: acts refuse days in the future, so nothing begins or ends tomorrow."""
        return self.filter(until_on=None)


class VehicleKeeper(Record):
    """One part that one keeper plays for one car, over time."""

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.PROTECT, related_name="keepers")
    keeper = models.ForeignKey(Keeper, on_delete=models.PROTECT, related_name="vehicles")
    part = models.CharField(max_length=20, choices=KeeperPart)
    from_on = models.DateField("from", null=True, blank=True)
    until_on = models.DateField("until", null=True, blank=True)

    objects = VehicleKeeperQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["part", "-from_on"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("part", KeeperPart), name="keeper_part_is_known"),
            models.UniqueConstraint(
                fields=["vehicle", "keeper", "part"],
                condition=Q(until_on=None),
                name="keeper_plays_a_part_once",
                violation_error_message="This person plays that part for this car already.",
                violation_error_code="field:keeper",
            ),
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=Q(part="registered_keeper", until_on=None),
                name="one_registered_keeper",
                violation_error_message="The car has a registered keeper. End that first: say until when.",
                violation_error_code="field:part",
            ),
            models.CheckConstraint(
                condition=Q(until_on=None) | Q(from_on=None) | Q(until_on__gte=F("from_on")),
                name="keeper_part_ends_after_it_begins",
                violation_error_message="It can't end before it begins.",
                violation_error_code="field:until_on",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_part_display()}: {self.keeper}"
