"""Who may do what for a car on a day: reads over the parts that people play for it."""

from __future__ import annotations

from datetime import date

from django.db.models import QuerySet

from vehicles.models import Keeper, KeeperPart, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS


def authorisers_of(vehicle: Vehicle, day: date) -> QuerySet[Keeper]:
    """Who may authorise work: those named for it, the owner and the registered keeper."""
    return _playing(vehicle, day, KeeperPart.AUTHORISER, *HOLDERS)


def collectors_of(vehicle: Vehicle, day: date) -> QuerySet[Keeper]:
    """Who may collect the car: those named for it, the owner and the registered keeper."""
    return _playing(vehicle, day, KeeperPart.COLLECTOR, *HOLDERS)


def payers_of(vehicle: Vehicle, day: date) -> QuerySet[Keeper]:
    """Who pays: those named for it; where nobody is, the owner and the registered keeper."""
    named = _playing(vehicle, day, KeeperPart.PAYER)
    return named if named.exists() else _playing(vehicle, day, *HOLDERS)


def people_of(vehicle: Vehicle, day: date) -> QuerySet[Keeper]:
    """Everybody who plays any part for the car on that day."""
    return _playing(vehicle, day, *KeeperPart)


def _playing(vehicle: Vehicle, day: date, *parts: KeeperPart) -> QuerySet[Keeper]:
    rows = VehicleKeeper.objects.on(day).filter(vehicle=vehicle, part__in=parts)
    return Keeper.objects.filter(pk__in=rows.values("keeper"))
