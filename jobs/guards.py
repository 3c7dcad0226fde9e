"""What the database itself refuses about jobs: frozen sheets, facts that are never altered, released
versions.
"""

from django.apps import apps

from workshop.models import Record
from workshop.triggers import Guard, append_only, guard, never_deleted

_RELEASED = "A released version of a procedure never changes: make a new version."
_VERSION_OF_STEP = (
    "EXISTS (SELECT 1 FROM jobs_procedureversion v WHERE v.id = {row}.version_id "
    "AND v.released_at IS NOT NULL)"
)
_VERSION_OF_STAGE = (
    "EXISTS (SELECT 1 FROM jobs_procedurestep s JOIN jobs_procedureversion v ON v.id = s.version_id "
    "WHERE s.id = {row}.step_id AND v.released_at IS NOT NULL)"
)
_VERSION_OF_TARGET = (
    "EXISTS (SELECT 1 FROM jobs_procedurestage g JOIN jobs_procedurestep s ON s.id = g.step_id "
    "JOIN jobs_procedureversion v ON v.id = s.version_id "
    "WHERE g.id = {row}.stage_id AND v.released_at IS NOT NULL)"
)


def register() -> None:
    """Every guard of this room; and, as the last room to start, that no record of any room is ever deleted."""
    from jobs import certificates, tool_failures

    certificates.register()
    tool_failures.register()
    append_only("jobs_torquereading", "A reading is never altered: add another one.")
    append_only("jobs_secondcheck", "A second check is never altered: make another one.")
    append_only("jobs_newfasteners", "What was said about new fasteners is never altered: say it again.")
    append_only("jobs_disposition", "A disposition is never altered: record another one.")
    append_only("jobs_sheetrevision", "A sheet is frozen: issue a new revision.")
    append_only("jobs_signoff", "A signature is never altered.")
    append_only("jobs_handover", "A handover is never altered.")
    append_only("jobs_lineanswer", "An answer is never altered: record another one.")
    append_only("jobs_jobmove", "A move is never altered.")
    append_only("jobs_pass", "What was passed on is never altered: pass it on again.")
    append_only("jobs_waiver", "A waiver is never altered.")
    append_only("jobs_roadtest", "A road test is never altered: record another one.")
    append_only("jobs_anglenotpossible", "Why an angle was not possible is never altered: say it again.")
    append_only("jobs_damagetelling", "What was told is never altered: record another telling.")
    append_only("jobs_finalcheck", "A final check is never altered: make another one.")
    guard(
        Guard(
            "jobs_job_stays_closed",
            "jobs_job",
            "UPDATE",
            "This job is over: a car that comes back gets a new job.",
            "NEW.state IS DISTINCT FROM OLD.state AND OLD.state IN ('handed_over', 'collected_unfinished', 'cancelled')",
        ),
        Guard(
            "jobs_job_no_delete", "jobs_job", "DELETE", "A job is never deleted: its number stays its own."
        ),
        Guard(
            "jobs_checkin_as_seen",
            "jobs_checkin",
            "UPDATE",
            "What was seen at check-in is never altered.",
            "NEW.damage IS DISTINCT FROM OLD.damage OR NEW.fuel IS DISTINCT FROM OLD.fuel OR NEW.odometer_id IS DISTINCT FROM OLD.odometer_id"
            " OR NEW.job_id IS DISTINCT FROM OLD.job_id",
        ),
        Guard("jobs_checkin_no_delete", "jobs_checkin", "DELETE", "A check-in is never deleted."),
        Guard(
            "jobs_tag_lifted_once",
            "jobs_tag",
            "UPDATE",
            "This tag was lifted already.",
            "OLD.lifted_at IS NOT NULL",
        ),
        Guard(
            "jobs_sheettext_only_erasing",
            "jobs_sheettext",
            "UPDATE",
            "The text of a sheet can only be erased.",
            "NEW.erased_at IS NULL OR OLD.erased_at IS NOT NULL OR NEW.pdf IS NOT NULL OR NEW.personal <> ''"
            " OR NEW.revision_id IS DISTINCT FROM OLD.revision_id",
        ),
        Guard("jobs_sheettext_no_delete", "jobs_sheettext", "DELETE", "A sheet is frozen."),
        Guard(
            "jobs_signatureink_only_erasing",
            "jobs_signatureink",
            "UPDATE",
            "What was signed is never altered: it can only be erased.",
            "NEW.erased_at IS NULL OR OLD.erased_at IS NOT NULL OR NEW.lines <> ''"
            " OR NEW.sign_off_id IS DISTINCT FROM OLD.sign_off_id",
        ),
        Guard(
            "jobs_signatureink_no_delete", "jobs_signatureink", "DELETE", "What was signed is never deleted."
        ),
        Guard(
            "jobs_procedureversion_frozen",
            "jobs_procedureversion",
            "UPDATE",
            _RELEASED,
            "OLD.released_at IS NOT NULL",
        ),
        Guard(
            "jobs_procedureversion_no_delete",
            "jobs_procedureversion",
            "DELETE",
            _RELEASED,
            "OLD.released_at IS NOT NULL",
        ),
        Guard(
            "jobs_run_no_delete", "jobs_run", "DELETE", "A run is never deleted: give it up with a reason."
        ),
        Guard(
            "jobs_run_keeps_its_version",
            "jobs_run",
            "UPDATE",
            "A run stays with its version and its work line.",
            "NEW.version_used_id IS DISTINCT FROM OLD.version_used_id OR NEW.line_id IS DISTINCT FROM OLD.line_id OR NEW.job_id "
            "<> OLD.job_id",
        ),
        Guard(
            "jobs_run_of_a_released_version",
            "jobs_run",
            "INSERT",
            "A draft can't be run: release the version first.",
            "EXISTS (SELECT 1 FROM jobs_procedureversion v WHERE v.id = NEW.version_used_id"
            " AND v.released_at IS NULL)",
        ),
        Guard(
            "jobs_reading_of_its_version",
            "jobs_torquereading",
            "INSERT",
            "This stage and fastener are not part of the version that the run works by.",
            "NOT EXISTS (SELECT 1 FROM jobs_procedurestage g JOIN jobs_procedurestep s ON s.id = g.step_id "
            "JOIN jobs_run r ON r.version_used_id = s.version_id WHERE g.id = NEW.stage_id "
            "AND s.id = NEW.step_id AND r.id = NEW.run_id AND NEW.fastener <= s.fasteners)",
        ),
        Guard(
            "jobs_reading_corrects_its_stage",
            "jobs_torquereading",
            "INSERT",
            "A correction stands in place of a reading of the same run, step and stage.",
            "NEW.corrects_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM jobs_torquereading r WHERE r.id = NEW.corrects_id "
            "AND r.run_id = NEW.run_id AND r.step_id = NEW.step_id AND r.stage_id = NEW.stage_id)",
        ),
        Guard(
            "jobs_secondcheck_by_another",
            "jobs_secondcheck",
            "INSERT",
            "Somebody else does the second check: this person took a reading in the step.",
            "NEW.alone_because = '' AND EXISTS (SELECT 1 FROM jobs_torquereading r WHERE r.run_id = "
            "NEW.run_id "
            "AND r.step_id = NEW.step_id AND r.made_by_id = NEW.made_by_id)",
        ),
    )
    for table, condition in (
        ("jobs_procedurestep", _VERSION_OF_STEP),
        ("jobs_procedurestage", _VERSION_OF_STAGE),
        ("jobs_stagetarget", _VERSION_OF_TARGET),
    ):
        guard(
            Guard(f"{table}_no_insert", table, "INSERT", _RELEASED, condition.format(row="NEW")),
            Guard(f"{table}_no_update", table, "UPDATE", _RELEASED, condition.format(row="OLD")),
            Guard(f"{table}_no_delete", table, "DELETE", _RELEASED, condition.format(row="OLD")),
        )
    for table, column, other in (
        ("jobs_workline_faults", "fault_id", "vehicles_fault"),
        ("jobs_workline_items", "outstandingitem_id", "vehicles_outstandingitem"),
    ):
        guard(
            Guard(
                f"{table}_of_this_car",
                table,
                "INSERT",
                "A line takes on what is of its own car only.",
                f"EXISTS (SELECT 1 FROM jobs_workline l JOIN jobs_job j ON j.id = l.job_id "
                f"JOIN {other} o ON o.id = NEW.{column} "
                "WHERE l.id = NEW.workline_id AND o.vehicle_id <> j.vehicle_id)",
            )
        )
    guard(Guard("jobs_workline_no_delete", "jobs_workline", "DELETE", "A line is never deleted: drop it."))
    for table, fixed in (
        ("jobs_labourentry", ("line_id", "person_id", "day", "minutes")),
        ("jobs_partused", ("line_id", "description", "part_number", "quantity", "unit", "price", "own_part")),
        ("jobs_measurement", ("line_id", "what", "phase", "value", "unit", "low", "high", "verdict")),
    ):
        changed = " OR ".join(f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in fixed)
        said = "What was written down stays: say that it was entered in error, and write it anew."
        guard(
            Guard(f"{table}_as_written", table, "UPDATE", said, changed),
            Guard(f"{table}_no_delete", table, "DELETE", said),
        )
    guard(
        Guard(
            "jobs_labourclock_stopped_once",
            "jobs_labourclock",
            "UPDATE",
            "A clock that was stopped stays as it is: take its labour back where it was in error.",
            "OLD.stopped_at IS NOT NULL OR "
            + " OR ".join(
                f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in ("line_id", "person_id", "made_at")
            ),
        )
    )
    append_only("jobs_partchange", "A change of parts is never altered: record another one.")
    guard(
        Guard(
            "jobs_workline_of_a_closed_job",
            "jobs_workline",
            "UPDATE",
            "The lines of a closed job stay as they are.",
            "EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = OLD.job_id "
            "AND j.state IN ('handed_over', 'collected_unfinished', 'cancelled'))",
        ),
        Guard(
            "jobs_run_ends_once",
            "jobs_run",
            "UPDATE",
            "A run that has ended stays ended.",
            "(OLD.completed_at IS NOT NULL AND NEW.completed_at IS DISTINCT FROM OLD.completed_at) "
            "OR (OLD.abandoned_at IS NOT NULL AND NEW.abandoned_at IS DISTINCT FROM OLD.abandoned_at)",
        ),
        Guard(
            "jobs_isolation_of_its_car",
            "jobs_isolation",
            "INSERT",
            "An isolation is of its job's car.",
            "NOT EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = NEW.job_id AND j.vehicle_id = NEW.vehicle_id)",
        ),
        Guard(
            "jobs_isolation_as_written",
            "jobs_isolation",
            "UPDATE",
            "How the car was isolated stays as it was written down.",
            " OR ".join(
                f"NEW.{name} IS DISTINCT FROM OLD.{name}"
                for name in (
                    "job_id",
                    "vehicle_id",
                    "isolated_by_id",
                    "method",
                    "proved_dead",
                    "locked_with",
                    "made_at",
                )
            ),
        ),
    )
    guard(
        Guard(
            "jobs_damage_as_found",
            "jobs_damage",
            "UPDATE",
            "A damage stays with its car and its number.",
            " OR ".join(
                f"NEW.{name} IS DISTINCT FROM OLD.{name}"
                for name in ("job_id", "vehicle_id", '"order"', "made_at", "made_by_id")
            ),
        ),
        Guard(
            "jobs_damage_settled_once",
            "jobs_damage",
            "UPDATE",
            "This damage was settled: what was agreed stays as it is.",
            "OLD.settled <> ''",
        ),
        Guard(
            "jobs_damage_told_before_settled",
            "jobs_damage",
            "UPDATE",
            "The owner is told of a damage before it is settled.",
            "NEW.settled NOT IN ('', 'there_before') AND NOT EXISTS "
            "(SELECT 1 FROM jobs_damagetelling t WHERE t.damage_id = NEW.id)",
        ),
        Guard(
            "jobs_damage_of_its_car",
            "jobs_damage",
            "INSERT",
            "A damage is of its job's car.",
            "NOT EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = NEW.job_id AND j.vehicle_id = NEW.vehicle_id)",
        ),
        Guard(
            "vehicles_attachment_of_this_cars_job",
            "vehicles_attachment",
            "INSERT",
            "A photo belongs to what is of its own car.",
            " OR ".join(
                f"(NEW.{column} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {table} o {join} WHERE o.id = NEW.{column} "
                f"AND {car}.vehicle_id = NEW.vehicle_id))"
                for column, table, join, car in (
                    ("job_id", "jobs_job", "", "o"),
                    ("damage_id", "jobs_damage", "", "o"),
                    ("line_id", "jobs_workline", "JOIN jobs_job j ON j.id = o.job_id", "j"),
                    ("run_id", "jobs_run", "JOIN jobs_job j ON j.id = o.job_id", "j"),
                    ("sheet_id", "jobs_sheetrevision", "JOIN jobs_job j ON j.id = o.job_id", "j"),
                )
            ),
        ),
    )
    guard(
        Guard(
            "vehicles_calculation_of_this_cars_line",
            "vehicles_calculation",
            "INSERT",
            "A result is kept with what is of its own car.",
            "NEW.line_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM jobs_workline o "
            "JOIN jobs_job j ON j.id = o.job_id WHERE o.id = NEW.line_id AND j.vehicle_id = NEW.vehicle_id)",
        )
    )
    guard(
        Guard(
            "vehicles_draintest_of_this_cars_job",
            "vehicles_draintest",
            "INSERT",
            "A drain test belongs to a job of its own car.",
            "NEW.job_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM jobs_job j WHERE j.id = NEW.job_id "
            "AND j.vehicle_id = NEW.vehicle_id)",
        )
    )
    for model in apps.get_models():
        if issubclass(model, Record) or model._meta.label in (
            "workshop.Person",
            "workshop.Submission",
            "workshop.Counter",
        ):
            never_deleted(
                model._meta.db_table, "Records are never deleted: correct them by a later one, with a reason."
            )
