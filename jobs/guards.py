"""What the database itself refuses about jobs: frozen sheets, facts that are never altered, released versions."""

from workshop.triggers import Guard, append_only, guard

_RELEASED = "A released version of a procedure never changes: make a new version."
_VERSION_OF_STEP = "EXISTS (SELECT 1 FROM jobs_procedureversion v WHERE v.id = {row}.version_id AND v.released_at IS NOT NULL)"
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
    append_only("jobs_torquereading", "A reading is never altered: add another one.")
    append_only("jobs_secondcheck", "A second check is never altered: make another one.")
    append_only("jobs_disposition", "A disposition is never altered: record another one.")
    append_only("jobs_sheetrevision", "A sheet is frozen: issue a new revision.")
    append_only("jobs_signoff", "A signature is never altered.")
    append_only("jobs_handover", "A handover is never altered.")
    append_only("jobs_lineanswer", "An answer is never altered: record another one.")
    append_only("jobs_jobmove", "A move is never altered.")
    guard(
        Guard(
            "jobs_sheettext_only_erasing",
            "jobs_sheettext",
            "UPDATE",
            "The text of a sheet can only be erased.",
            "NEW.erased_at IS NULL OR OLD.erased_at IS NOT NULL OR NEW.pdf IS NOT NULL OR NEW.personal <> ''"
            " OR NEW.revision_id <> OLD.revision_id",
        ),
        Guard("jobs_sheettext_no_delete", "jobs_sheettext", "DELETE", "A sheet is frozen."),
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
            "jobs_secondcheck_by_another",
            "jobs_secondcheck",
            "INSERT",
            "Somebody else does the second check: this person took a reading in the step.",
            "NEW.alone_because = '' AND EXISTS (SELECT 1 FROM jobs_torquereading r WHERE r.run_id = NEW.run_id "
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
