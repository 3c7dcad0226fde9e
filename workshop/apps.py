from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class WorkshopConfig(AppConfig):
    name = "workshop"
    verbose_name = "The workshop"

    def ready(self) -> None:
        from workshop import checks, triggers  # noqa: F401  (checks register themselves)

        triggers.frozen("workshop_event", "workshop_eventdetail")
        triggers.append_only("workshop_event", "The event log is append-only.")
        triggers.guard(
            triggers.Guard(
                "workshop_eventdetail_only_erasing",
                "workshop_eventdetail",
                "UPDATE",
                "The words of an event can only be erased.",
                "NEW.erased_at IS NULL OR NEW.words <> '' OR NEW.words_hash IS DISTINCT FROM OLD.words_hash"
                " OR OLD.erased_at IS NOT NULL OR NEW.event_id IS DISTINCT FROM OLD.event_id",
            ),
            triggers.Guard(
                "workshop_eventdetail_no_delete",
                "workshop_eventdetail",
                "DELETE",
                "The event log is append-only.",
            ),
        )
        triggers.guard(
            triggers.Guard(
                "workshop_competence_only_withdrawn",
                "workshop_competence",
                "UPDATE",
                "A competence is never altered: it is withdrawn once, with a reason, and another one is added.",
                "OLD.withdrawn_on IS NOT NULL OR NEW.withdrawn_on IS NULL"
                " OR NEW.person_id IS DISTINCT FROM OLD.person_id OR NEW.kind IS DISTINCT FROM OLD.kind"
                " OR NEW.certificate IS DISTINCT FROM OLD.certificate"
                " OR NEW.valid_from IS DISTINCT FROM OLD.valid_from"
                " OR NEW.expires_on IS DISTINCT FROM OLD.expires_on",
            )
        )
        triggers.append_only("workshop_calibration", "A calibration is never altered: record another one.")
        triggers.append_only("workshop_toolfailure", "What happened to a tool is never altered.")
        triggers.frozen_texts("workshop_onetimepass", "token_hash", "code_hash")
        triggers.never_deleted("workshop_onetimepass", "A one-time pass is never deleted.")
        triggers.guard(
            triggers.Guard(
                "workshop_onetimepass_only_ends",
                "workshop_onetimepass",
                "UPDATE",
                "A one-time pass is never altered: it is used once, or ended once.",
                "OLD.used_at IS NOT NULL AND (NEW.used_at IS DISTINCT FROM OLD.used_at"
                " OR NEW.used_on_id IS DISTINCT FROM OLD.used_on_id)"
                " OR OLD.voided_at IS NOT NULL AND (NEW.voided_at IS DISTINCT FROM OLD.voided_at"
                " OR NEW.voided_because IS DISTINCT FROM OLD.voided_because"
                " OR NEW.used_at IS DISTINCT FROM OLD.used_at)"
                + "".join(
                    f" OR NEW.{column} IS DISTINCT FROM OLD.{column}"
                    for column in (
                        "id",
                        "person_id",
                        "way",
                        "token_hash",
                        "code_hash",
                        "expires_at",
                        "key",
                        "made_by_id",
                        "made_at",
                        "received_at",
                        "device_id",
                    )
                ),
            )
        )
        pre_migrate.connect(before_migrate, dispatch_uid="workshop.before_migrate")
        post_migrate.connect(after_migrate, dispatch_uid="workshop.after_migrate")


def before_migrate(sender, using, plan=(), **_) -> None:
    """Triggers off while tables are altered: one that names a table under repair stops the migration on SQLite."""
    if not plan or sender.label != "workshop":
        return
    from django.db import connections

    from workshop import triggers

    triggers.remove(connections[using])


def is_last(sender: AppConfig) -> bool:
    """Whether this is the last app that tells that it was migrated: what needs all tables is done then, once."""
    from django.apps import apps

    with_models = [config.label for config in apps.get_app_configs() if config.models_module is not None]
    return sender.label == with_models[-1]


def after_migrate(sender, using, **_) -> None:
    """Once, after the last app: the rows that always exist, and the triggers that a migration may have dropped."""
    from django.db import connections

    if not is_last(sender):
        return
    from workshop import triggers
    from workshop.models import LogHead, Shop

    connection = connections[using]
    with connection.cursor() as cursor:
        if LogHead._meta.db_table not in connection.introspection.table_names(cursor):
            return
    LogHead.objects.using(using).get_or_create(pk=1)
    Shop.objects.using(using).get_or_create(pk=1)
    triggers.install(connection)
