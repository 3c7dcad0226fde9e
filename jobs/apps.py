from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    verbose_name = "Jobs"

    def ready(self) -> None:
        from jobs import anchors, erasure, guards, log_names
        from workshop import log

        guards.register()
        log_names.register()
        erasure.register()
        log.add_anchor_source(anchors.of_sheets)
