"""People around cars, made through the acts. All invented."""

from __future__ import annotations

import factory

from vehicles.acts import keeper
from vehicles.models import Keeper
from workshop.acting import By


class KeeperFactory(factory.Factory):
    """`KeeperFactory(person=front_desk)`: a person with a phone number."""

    class Meta:
        model = Keeper

    name = factory.Sequence(lambda n: f"Keeper {n:03d}")
    phone = factory.Sequence(lambda n: f"0000 {n:04d}")

    @classmethod
    def create(cls, person, **kwargs):
        return super().create(by=By(person), **kwargs)

    @classmethod
    def _create(cls, model_class, **kwargs):
        return keeper.add_keeper(**kwargs)
