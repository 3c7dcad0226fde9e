from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    verbose_name = "Jobs"

    def ready(self) -> None:
        from jobs import (
            anchors,
            archive,
            due,
            erasure,
            guards,
            history_paper,
            log_names,
            plots,
            torque_record,
        )
        from jobs.words import register as register_words
        from vehicles.words import start as start_words
        from workshop import log

        guards.register()
        log_names.register()
        erasure.register()
        due.register()
        register_words()
        start_words()
        archive.register()
        history_paper.register()
        torque_record.register()
        plots.register()
        log.add_anchor_source(anchors.of_sheets)
