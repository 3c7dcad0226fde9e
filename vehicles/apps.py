from django.apps import AppConfig
from django.db.models.signals import post_migrate


class VehiclesConfig(AppConfig):
    name = "vehicles"
    verbose_name = "Vehicles"

    def ready(self) -> None:
        from workshop import triggers

        triggers.append_only(
            "vehicles_identityreading", "An identity reading is never altered: record another one."
        )
        triggers.append_only("vehicles_evidence", "Evidence is never altered: add another piece.")
        triggers.append_only("vehicles_diagnosisstep", "A diagnosis step is never altered: add another one.")
        triggers.append_only("vehicles_telling", "A telling is never altered: record another one.")
        post_migrate.connect(add_standard_places, sender=self, dispatch_uid="vehicles.places")


def add_standard_places(sender, using, **_) -> None:
    from vehicles.places import ensure_standard_places

    ensure_standard_places(using)
