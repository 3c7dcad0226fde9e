"""Cars and their odometers, made through the acts. All invented."""

from __future__ import annotations

from decimal import Decimal

import factory

from vehicles.acts import odometer, vehicle
from vehicles.models import OdometerReading, Vehicle
from workshop.acting import By
from workshop.engineering.units import Amount


def the_car(person) -> Vehicle:
    """A car with a full VIN of an invented maker (position 1 outside North America, so no check digit)."""
    return vehicle.add_vehicle(
        by=By(person),
        number="WHD45RV0000123456",
        as_stamped=True,
        make="Halden",
        model="Drayman",
        variant="high roof",
        year=2006,
    )


class VehicleFactory(factory.Factory):
    """`VehicleFactory(person=lead)`: a car from before 1981, whose frame number raises no question."""

    class Meta:
        model = Vehicle

    make = factory.Iterator(["Halden", "Ostra", "Veldt", "Sorrel"])
    model = factory.Iterator(["Drayman", "1600 GT", "2.4"])
    year = 1975
    number = factory.Sequence(lambda n: f"FRAME{n:06d}")

    @classmethod
    def create(cls, person, **kwargs):
        return super().create(by=By(person), **kwargs)

    @classmethod
    def _create(cls, model_class, **kwargs):
        return vehicle.add_vehicle(**kwargs)


class ReadingFactory(factory.Factory):
    """`ReadingFactory(person=lead, vehicle=car, km=1200)`: a reading on the car's instrument."""

    class Meta:
        model = OdometerReading

    km = factory.Sequence(lambda n: 1000 + 100 * n)

    @classmethod
    def create(cls, person, **kwargs):
        return super().create(by=By(person), **kwargs)

    @classmethod
    def _create(cls, model_class, *, km, **kwargs):
        return odometer.record_reading(amount=Amount(Decimal(km), "km"), **kwargs)
