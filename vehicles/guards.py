"""What the database itself refuses about cars: facts that are never altered, kept results, photos, ends of faults."""

from workshop.triggers import Guard, append_only, frozen, frozen_texts, guard, may_be_undone

# Who made a record, when and on what: never altered.
_MADE = ("made_at", "received_at", "made_by_id", "device_id", "key")


def register() -> None:
    _never_altered()
    _figures()
    _odometer()
    _drain_tests()
    _calculations()
    _photos()
    _faults()
    _past_work()
    _issued()
    _due()
    _taken_in()
    _shares()


def _changed(*columns: str) -> str:
    """SQL: one of these columns is to hold something else."""
    return " OR ".join(f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in columns)


def _of_another_car(**tables: str) -> str:
    """SQL: one of these foreign keys (column=table) points at what is not of the record's own car."""
    return " OR ".join(
        f"(NEW.{column} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {table} o WHERE o.id = NEW.{column} "
        "AND o.vehicle_id = NEW.vehicle_id))"
        for column, table in tables.items()
    )


def _never_altered() -> None:
    """Records to which only another one is added."""
    append_only("vehicles_identityreading", "An identity reading is never altered: record another one.")
    append_only("vehicles_evidence", "Evidence is never altered: add another piece.")
    append_only("vehicles_diagnosisstep", "A diagnosis step is never altered: add another one.")
    append_only("vehicles_faultcode", "A trouble code is never altered: add another one.")
    append_only("vehicles_possibility", "A possibility is never altered: say what became of it.")
    append_only(
        "vehicles_possibilityfinding", "A finding on a possibility is never altered: add another one."
    )
    append_only("vehicles_surveyentry", "A survey entry is never altered: add another one.")
    append_only("vehicles_telling", "A telling is never altered: record another one.")
    append_only("vehicles_figure", "A figure is never altered: record another one in its stead.")
    append_only("vehicles_sheetofvehicle", "Which data sheet held is never altered: record another one.")


def _figures() -> None:
    """A figure replaces one of its own kind; a data sheet keeps what it is based on."""
    same_owner = " AND ".join(
        f"o.{name} IS NOT DISTINCT FROM NEW.{name}"
        for name in ("sheet_id", "vehicle_id", "part_id", "key_of_item")
    )
    guard(
        Guard(
            "vehicles_figure_replaces_one_of_the_same",
            "vehicles_figure",
            "INSERT",
            "A figure replaces one of the same item of the same sheet, car or part.",
            "NEW.replaces_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM vehicles_figure o "
            f"WHERE o.id = NEW.replaces_id AND {same_owner})",
        ),
        # A sheet names an older one when it is made, and no other later: so they never run in a circle.
        Guard(
            "vehicles_datasheet_keeps_its_base",
            "vehicles_datasheet",
            "UPDATE",
            "What a data sheet is based on stays: make another sheet.",
            "NEW.based_on_id IS DISTINCT FROM OLD.based_on_id",
        ),
        Guard(
            "vehicles_datasheet_not_based_on_itself",
            "vehicles_datasheet",
            "INSERT",
            "A data sheet is not based on itself.",
            "NEW.based_on_id = NEW.id",
        ),
    )


def _odometer() -> None:
    """What was read stays; it may be set aside once."""
    guard(
        Guard(
            "vehicles_odometerreading_keeps_what_was_read",
            "vehicles_odometerreading",
            "UPDATE",
            "An odometer reading is never altered: set it aside with a reason and record another one.",
            "COALESCE(NEW.value, -1) <> COALESCE(OLD.value, -1) OR NEW.read_at <> OLD.read_at"
            " OR NEW.instrument_id <> OLD.instrument_id OR NEW.vehicle_id <> OLD.vehicle_id"
            " OR (OLD.misread_because <> '' AND NEW.misread_because <> OLD.misread_because)"
            " OR (OLD.falsified_by <> '' AND NEW.falsified_by <> OLD.falsified_by)",
        ),
        Guard(
            "vehicles_odometerreading_no_delete",
            "vehicles_odometerreading",
            "DELETE",
            "An odometer reading is never deleted: set it aside with a reason.",
        ),
    )


def _drain_tests() -> None:
    """A drain test and its readings stay as they were read."""
    append_only(
        "vehicles_drainstep", "A reading of a drain test is never altered: put it right with another one."
    )
    guard(
        Guard(
            "vehicles_drainstep_of_an_open_test",
            "vehicles_drainstep",
            "INSERT",
            "This drain test has ended, or the current asleep was not read: nothing is added to it.",
            "EXISTS (SELECT 1 FROM vehicles_draintest t WHERE t.id = NEW.test_id "
            "AND (t.ended_at IS NOT NULL OR t.baseline IS NULL)) OR (NEW.instead_of_id IS NOT NULL AND NOT EXISTS "
            "(SELECT 1 FROM vehicles_drainstep s WHERE s.id = NEW.instead_of_id AND s.test_id = NEW.test_id))",
        ),
        Guard(
            "vehicles_draintest_as_it_was",
            "vehicles_draintest",
            "UPDATE",
            "What was read in a drain test is never altered, and one that ended stays ended.",
            "OLD.ended_at IS NOT NULL OR (OLD.baseline IS NOT NULL AND (NEW.baseline IS DISTINCT FROM OLD.baseline"
            " OR NEW.baseline_unit IS DISTINCT FROM OLD.baseline_unit"
            " OR NEW.baseline_base IS DISTINCT FROM OLD.baseline_base)) OR "
            + _changed("vehicle_id", "fault_id", "job_id", "limit_base", *_MADE),
        ),
        Guard(
            "vehicles_draintest_of_this_car",
            "vehicles_draintest",
            "INSERT",
            "A drain test belongs to a fault of its own car.",
            _of_another_car(fault_id="vehicles_fault"),
        ),
    )


def _calculations() -> None:
    """Kept results."""
    # A kept result stays as it was kept: all that may be added is, once, that it was kept in error.
    kept = ("vehicle_id", "calculator", "formula_version", "record", "digest", "said", "line_id", "fault_id",
            "part_id", "survey_id", *_MADE)  # fmt: skip
    guard(
        Guard(
            "vehicles_calculation_as_kept",
            "vehicles_calculation",
            "UPDATE",
            "A kept result is never altered: say that it was kept in error, and keep another one.",
            _changed(*kept)
            + " OR (OLD.entered_in_error <> '' AND NEW.entered_in_error IS DISTINCT FROM OLD.entered_in_error)",
        ),
        Guard(
            "vehicles_calculation_of_this_car",
            "vehicles_calculation",
            "INSERT",
            "A result is kept with what is of its own car.",
            _of_another_car(
                fault_id="vehicles_fault", part_id="vehicles_fittedpart", survey_id="vehicles_survey"
            ),
        ),
    )
    # The digest is taken of the record; what people said beside it can be erased.
    frozen_texts("vehicles_calculation", "calculator", "record", "digest")


def _photos() -> None:
    """Photos and documents."""
    # What a photo is and belongs to stays; caption, setting aside and (once) erasing are all that changes.
    fixed = (
        *(
            "vehicle_id",
            "kind",
            "occasion",
            "angle",
            "media_type",
            "file",
            "thumb",
            "size",
            "width",
            "height",
        ),
        *("order_sent", "taken_at", "job_id", "line_id", "run_id", "damage_id", "sheet_id", "fault_id"),
        *(
            "part_id",
            "survey_id",
            "place_id",
            "position",
            "item_id",
            "made_at",
            "received_at",
            "made_by_id",
        ),
        *("device_id", "key"),
    )
    guard(
        Guard(
            "vehicles_attachment_as_added",
            "vehicles_attachment",
            "UPDATE",
            "A photo stays what it was when it was added: set it aside with a reason and add another one.",
            _changed(*fixed),
        ),
        Guard(
            "vehicles_attachment_erased_once",
            "vehicles_attachment",
            "UPDATE",
            "What was erased stays erased.",
            "OLD.erased_at IS NOT NULL",
        ),
        Guard(
            "vehicles_attachment_of_this_car",
            "vehicles_attachment",
            "INSERT",
            "A photo belongs to what is of its own car.",
            _of_another_car(
                fault_id="vehicles_fault",
                part_id="vehicles_fittedpart",
                survey_id="vehicles_survey",
                item_id="vehicles_outstandingitem",
            ),
        ),
    )


def _faults() -> None:
    """How faults end."""
    # A constraint sees one row only; longer circles are refused by the act, which locks the car.
    guard(
        Guard(
            "vehicles_fault_same_as_one_of_this_car",
            "vehicles_fault",
            "UPDATE",
            "A fault is the same as another one of its own car, and not the other way round too.",
            "NEW.same_as_id IS NOT NULL AND EXISTS (SELECT 1 FROM vehicles_fault f WHERE f.id = NEW.same_as_id "
            "AND (f.vehicle_id <> NEW.vehicle_id OR f.same_as_id = NEW.id))",
        )
    )
    # The act locks the item and looks; this holds for whatever goes round it. An item may end later.
    on_an_open_one = (
        "EXISTS (SELECT 1 FROM vehicles_outstandingitem i WHERE i.id = NEW.{column} "
        "AND (i.\"end\" <> '' OR i.vehicle_id <> NEW.vehicle_id))"
    )
    for column in ("outstanding_item_id", "recheck_item_id"):
        ended = on_an_open_one.format(column=column)
        sentence = "A fault ends on an item of its own car that is open."
        name = f"vehicles_fault_{column.removesuffix('_id')}_is_open"
        guard(
            Guard(f"{name}_when_new", "vehicles_fault", "INSERT", sentence, ended),
            Guard(
                name,
                "vehicles_fault",
                "UPDATE",
                sentence,
                f"(OLD.{column} IS NULL OR OLD.{column} <> NEW.{column}) AND {ended}",
            ),
        )


def _past_work() -> None:
    """A line of past work stays as it was written down; it may be set aside once."""
    kept = (
        "vehicle_id",
        "done_on",
        "day_known",
        "who_did",
        "title",
        "text",
        "amount",
        "odometer_id",
        "source",
        *_MADE,
    )
    guard(
        Guard(
            "vehicles_pastwork_as_written",
            "vehicles_pastwork",
            "UPDATE",
            "Past work is never altered: say that it was entered in error, and write it down anew.",
            _changed(*kept) + " OR OLD.entered_in_error <> ''",
        )
    )
    # What a list from a spreadsheet brought goes again with it, while nothing else hangs on it.
    may_be_undone(
        *(
            f"vehicles_{name}"
            for name in (
                "vehicle",
                "registration",
                "keeper",
                "vehiclekeeper",
                "instrument",
                "odometerreading",
                "pastwork",
            )
        )
    )


def _taken_in() -> None:
    """Where records came from, and what another installation's log said of them: a hash is taken of each."""
    append_only("vehicles_archiveimport", "Where records came from is never altered.")
    append_only("vehicles_foreignevent", "An event of another installation is never altered.")
    frozen("vehicles_archiveimport", "vehicles_foreignevent")


def _due() -> None:
    """A maintenance plan, what was done of it, and roadworthiness tests."""
    append_only(
        "vehicles_maintenanceinterval", "An interval is never altered: record another one in its stead."
    )
    guard(
        Guard(
            "vehicles_maintenanceinterval_replaces_its_own",
            "vehicles_maintenanceinterval",
            "INSERT",
            "An interval replaces one of the same work of the same data sheet.",
            "NEW.replaces_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM vehicles_maintenanceinterval o "
            "WHERE o.id = NEW.replaces_id AND o.sheet_id = NEW.sheet_id AND o.line = NEW.line)",
        ),
        Guard(
            "vehicles_maintenancedone_as_written",
            "vehicles_maintenancedone",
            "UPDATE",
            "What was done is never altered: say that it was entered in error, and write it down anew.",
            _changed(
                *("vehicle_id", "interval_id", "line", "done_on", "reading_id", "work_line_id", "elsewhere"),
                *("source_words", *_MADE),
            )
            + " OR OLD.entered_in_error <> ''",
        ),
        Guard(
            "vehicles_maintenancedone_of_this_car",
            "vehicles_maintenancedone",
            "INSERT",
            "What was done is read off its own car, and done on it.",
            _of_another_car(reading_id="vehicles_odometerreading")
            + " OR (NEW.work_line_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM jobs_workline l JOIN jobs_job j "
            "ON j.id = l.job_id WHERE l.id = NEW.work_line_id AND j.vehicle_id = NEW.vehicle_id))",
        ),
        Guard(
            "vehicles_roadworthinesstest_as_written",
            "vehicles_roadworthinesstest",
            "UPDATE",
            "A roadworthiness test is never altered: say that it was entered in error, and write it down anew.",
            _changed(
                *("vehicle_id", "done_on", "valid_until", "result", "by_whom", "certificate", "deficiencies"),
                *("source_words", "reading_id", *_MADE),
            )
            + " OR OLD.entered_in_error <> ''",
        ),
        Guard(
            "vehicles_roadworthinesstest_of_this_car",
            "vehicles_roadworthinesstest",
            "INSERT",
            "A roadworthiness test is read off its own car.",
            _of_another_car(reading_id="vehicles_odometerreading"),
        ),
    )


def _issued() -> None:
    """A numbered print stays as it was issued; its text can be erased once, and not altered otherwise."""
    append_only("vehicles_issuedprint", "A print that was issued is frozen: issue the next revision.")
    guard(
        Guard(
            "vehicles_issuedtext_only_erasing",
            "vehicles_issuedtext",
            "UPDATE",
            "The text of an issued print can only be erased.",
            "NEW.erased_at IS NULL OR OLD.erased_at IS NOT NULL OR NEW.pdf IS NOT NULL OR NEW.data <> ''"
            " OR NEW.print_id IS DISTINCT FROM OLD.print_id",
        ),
        Guard(
            "vehicles_issuedtext_no_delete",
            "vehicles_issuedtext",
            "DELETE",
            "A print that was issued is frozen.",
        ),
        Guard(
            "vehicles_issuedprint_of_this_cars_survey",
            "vehicles_issuedprint",
            "INSERT",
            "A print is of a survey of its own car.",
            _of_another_car(survey_id="vehicles_survey"),
        ),
    )
    frozen("vehicles_issuedprint", "vehicles_issuedtext")


def _shares() -> None:
    """A share link stays as it was made and is ended once; its openings are only counted up."""
    from vehicles.audience import Shows

    # Both databases write a list of words the same way as text.
    left = "CAST(NEW.shows AS TEXT)"
    for what in Shows:
        left = f"REPLACE({left}, '\"{what.value}\"', '')"
    left = f"REPLACE(REPLACE({left}, ',', ''), ' ', '')"
    work = f"REPLACE(CAST(NEW.shows AS TEXT), '\"{Shows.WORK.value}\"', '') = CAST(NEW.shows AS TEXT)"
    made = ("vehicle_id", "token_hash", "label", "since", "until", "days", "valid_until", "made_for_id")
    guard(
        Guard(
            "vehicles_share_shows_what_is_known",
            "vehicles_share",
            "INSERT",
            "A share link shows kinds of things that are known, the work among them.",
            f"{left} <> '[]' OR {work}",
        ),
        Guard(
            "vehicles_share_as_made",
            "vehicles_share",
            "UPDATE",
            "A share link is never altered: end it, and make another one.",
            _changed(*made, *_MADE)
            + " OR CAST(NEW.shows AS TEXT) <> CAST(OLD.shows AS TEXT) OR OLD.revoked_at IS NOT NULL",
        ),
        Guard(
            "vehicles_shareopening_counts_up",
            "vehicles_shareopening",
            "UPDATE",
            "That a link was opened is never altered, only counted.",
            _changed("share_id", "hour", "what", "opened_on", "device", "first_at")
            + " OR NEW.count <= OLD.count OR NEW.last_at < OLD.last_at",
        ),
        Guard(
            "vehicles_shareopening_no_delete",
            "vehicles_shareopening",
            "DELETE",
            "That a link was opened is never deleted.",
        ),
    )
    # No words, though they are text: a name of few letters may stand in them by chance.
    frozen_texts("vehicles_share", "token_hash")
    frozen_texts("vehicles_shareopening", "device")
