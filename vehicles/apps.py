from django.apps import AppConfig
from django.db.models.signals import post_migrate


class VehiclesConfig(AppConfig):
    name = "vehicles"
    verbose_name = "Vehicles"

    def ready(self) -> None:
        from vehicles import erasure, guards, log_names

        log_names.register()
        erasure.register()
        guards.register()
        post_migrate.connect(add_standard_places, sender=self, dispatch_uid="vehicles.places")


def add_standard_places(sender, using, **_) -> None:
    from vehicles.places import ensure_standard_places

    ensure_standard_places(using)
