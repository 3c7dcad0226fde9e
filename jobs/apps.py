from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    verbose_name = "Jobs"

    def ready(self) -> None:
        from jobs import anchors, guards
        from workshop import log

        guards.register()
        log.add_anchor_source(anchors.of_sheets)
