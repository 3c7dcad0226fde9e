from django.apps import AppConfig
from django.db.models.signals import post_migrate


class VehiclesConfig(AppConfig):
    name = "vehicles"
    verbose_name = "Vehicles"

    def ready(self) -> None:
        from vehicles import account_papers, account_past, erasure, guards, log_names, papers, plots
        from vehicles.archive import own
        from vehicles.words_told import register as register_words

        log_names.register()
        erasure.register()
        guards.register()
        account_past.register()
        account_papers.register()
        register_words()
        own.register()
        papers.register()
        plots.register()
        post_migrate.connect(add_standard_places, sender=self, dispatch_uid="vehicles.places")
        post_migrate.connect(copy_earlier_words, dispatch_uid="vehicles.words")


def add_standard_places(sender, using, **_) -> None:
    from vehicles.places import ensure_standard_places

    ensure_standard_places(using)


def copy_earlier_words(sender, using, **_) -> None:
    """Once, after the last app: a shop whose records are older than the search of their words."""
    from workshop.apps import is_last

    if not is_last(sender) or using != "default":
        return
    from django.db import connection

    from vehicles import words
    from vehicles.models import Words
    from workshop.models import Event

    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
    # While one app alone is migrated, tables of others may be missing.
    if not {model._meta.db_table for model in [Words, *words.told_models()]} <= there:
        return
    if not Words.objects.exists() and Event.objects.exists():
        words.rebuild()
