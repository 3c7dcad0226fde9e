from django.apps import AppConfig
from django.db.models.signals import post_migrate


class VehiclesConfig(AppConfig):
    name = "vehicles"
    verbose_name = "Vehicles"

    def ready(self) -> None:
        from vehicles import erasure, log_names
        from workshop import triggers

        log_names.register()
        erasure.register()
        triggers.append_only(
            "vehicles_identityreading", "An identity reading is never altered: record another one."
        )
        triggers.append_only("vehicles_evidence", "Evidence is never altered: add another piece.")
        triggers.append_only("vehicles_diagnosisstep", "A diagnosis step is never altered: add another one.")
        triggers.append_only("vehicles_faultcode", "A trouble code is never altered: add another one.")
        triggers.append_only("vehicles_possibility", "A possibility is never altered: say what became of it.")
        triggers.append_only(
            "vehicles_possibilityfinding", "A finding on a possibility is never altered: add another one."
        )
        triggers.append_only("vehicles_surveyentry", "A survey entry is never altered: add another one.")
        triggers.append_only("vehicles_telling", "A telling is never altered: record another one.")
        triggers.append_only("vehicles_figure", "A figure is never altered: record another one in its stead.")
        triggers.append_only(
            "vehicles_sheetofvehicle", "Which data sheet held is never altered: record another one."
        )
        same_owner = " AND ".join(
            f"o.{name} IS NOT DISTINCT FROM NEW.{name}"
            for name in ("sheet_id", "vehicle_id", "part_id", "key_of_item")
        )
        triggers.guard(
            triggers.Guard(
                "vehicles_figure_replaces_one_of_the_same",
                "vehicles_figure",
                "INSERT",
                "A figure replaces one of the same item of the same sheet, car or part.",
                "NEW.replaces_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM vehicles_figure o "
                f"WHERE o.id = NEW.replaces_id AND {same_owner})",
            ),
            # A sheet names an older one when it is made, and no other later: so they never run in a circle.
            triggers.Guard(
                "vehicles_datasheet_keeps_its_base",
                "vehicles_datasheet",
                "UPDATE",
                "What a data sheet is based on stays: make another sheet.",
                "NEW.based_on_id IS DISTINCT FROM OLD.based_on_id",
            ),
            triggers.Guard(
                "vehicles_datasheet_not_based_on_itself",
                "vehicles_datasheet",
                "INSERT",
                "A data sheet is not based on itself.",
                "NEW.based_on_id = NEW.id",
            ),
        )
        triggers.guard(
            triggers.Guard(
                "vehicles_odometerreading_keeps_what_was_read",
                "vehicles_odometerreading",
                "UPDATE",
                "An odometer reading is never altered: set it aside with a reason and record another one.",
                "COALESCE(NEW.value, -1) <> COALESCE(OLD.value, -1) OR NEW.read_at <> OLD.read_at"
                " OR NEW.instrument_id <> OLD.instrument_id OR NEW.vehicle_id <> OLD.vehicle_id"
                " OR (OLD.misread_because <> '' AND NEW.misread_because <> OLD.misread_because)"
                " OR (OLD.falsified_by <> '' AND NEW.falsified_by <> OLD.falsified_by)",
            ),
            triggers.Guard(
                "vehicles_odometerreading_no_delete",
                "vehicles_odometerreading",
                "DELETE",
                "An odometer reading is never deleted: set it aside with a reason.",
            ),
        )
        triggers.append_only(
            "vehicles_drainstep", "A reading of a drain test is never altered: put it right with another one."
        )
        triggers.guard(
            triggers.Guard(
                "vehicles_drainstep_of_an_open_test",
                "vehicles_drainstep",
                "INSERT",
                "This drain test has ended, or the current asleep was not read: nothing is added to it.",
                "EXISTS (SELECT 1 FROM vehicles_draintest t WHERE t.id = NEW.test_id "
                "AND (t.ended_at IS NOT NULL OR t.baseline IS NULL)) OR (NEW.instead_of_id IS NOT NULL AND NOT EXISTS "
                "(SELECT 1 FROM vehicles_drainstep s WHERE s.id = NEW.instead_of_id AND s.test_id = NEW.test_id))",
            ),
            triggers.Guard(
                "vehicles_draintest_as_it_was",
                "vehicles_draintest",
                "UPDATE",
                "What was read in a drain test is never altered, and one that ended stays ended.",
                "OLD.ended_at IS NOT NULL OR (OLD.baseline IS NOT NULL AND (NEW.baseline IS DISTINCT FROM OLD.baseline"
                " OR NEW.baseline_unit IS DISTINCT FROM OLD.baseline_unit"
                " OR NEW.baseline_base IS DISTINCT FROM OLD.baseline_base)) OR "
                + " OR ".join(
                    f"NEW.{name} IS DISTINCT FROM OLD.{name}"
                    for name in ("vehicle_id", "fault_id", "job_id", "limit_base", "made_at", "key")
                ),
            ),
            triggers.Guard(
                "vehicles_draintest_of_this_car",
                "vehicles_draintest",
                "INSERT",
                "A drain test belongs to a fault of its own car.",
                "NEW.fault_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM vehicles_fault o WHERE o.id = NEW.fault_id "
                "AND o.vehicle_id = NEW.vehicle_id)",
            ),
        )
        # A kept result stays as it was kept: all that may be added is, once, that it was kept in error.
        kept = ("vehicle_id", "calculator", "formula_version", "record", "digest", "said", "line_id", "fault_id",
                "part_id", "survey_id", "made_at", "received_at", "made_by_id", "device_id", "key")  # fmt: skip
        triggers.guard(
            triggers.Guard(
                "vehicles_calculation_as_kept",
                "vehicles_calculation",
                "UPDATE",
                "A kept result is never altered: say that it was kept in error, and keep another one.",
                " OR ".join(f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in kept)
                + " OR (OLD.entered_in_error <> '' AND NEW.entered_in_error IS DISTINCT FROM OLD.entered_in_error)",
            ),
            triggers.Guard(
                "vehicles_calculation_of_this_car",
                "vehicles_calculation",
                "INSERT",
                "A result is kept with what is of its own car.",
                " OR ".join(
                    f"(NEW.{column} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {table} o WHERE o.id = NEW.{column} "
                    "AND o.vehicle_id = NEW.vehicle_id))"
                    for column, table in (
                        ("fault_id", "vehicles_fault"),
                        ("part_id", "vehicles_fittedpart"),
                        ("survey_id", "vehicles_survey"),
                    )
                ),
            ),
        )
        # The digest is taken of the record; what people said beside it can be erased.
        triggers.frozen_texts("vehicles_calculation", "calculator", "record", "digest")
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
        triggers.guard(
            triggers.Guard(
                "vehicles_attachment_as_added",
                "vehicles_attachment",
                "UPDATE",
                "A photo stays what it was when it was added: set it aside with a reason and add another one.",
                " OR ".join(f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in fixed),
            ),
            triggers.Guard(
                "vehicles_attachment_erased_once",
                "vehicles_attachment",
                "UPDATE",
                "What was erased stays erased.",
                "OLD.erased_at IS NOT NULL",
            ),
            triggers.Guard(
                "vehicles_attachment_of_this_car",
                "vehicles_attachment",
                "INSERT",
                "A photo belongs to what is of its own car.",
                " OR ".join(
                    f"(NEW.{column} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {table} o WHERE o.id = NEW.{column} "
                    "AND o.vehicle_id = NEW.vehicle_id))"
                    for column, table in (
                        ("fault_id", "vehicles_fault"),
                        ("part_id", "vehicles_fittedpart"),
                        ("survey_id", "vehicles_survey"),
                        ("item_id", "vehicles_outstandingitem"),
                    )
                ),
            ),
        )
        # A constraint sees one row only; longer circles are refused by the act, which locks the car.
        triggers.guard(
            triggers.Guard(
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
            triggers.guard(
                triggers.Guard(f"{name}_when_new", "vehicles_fault", "INSERT", sentence, ended),
                triggers.Guard(
                    name,
                    "vehicles_fault",
                    "UPDATE",
                    sentence,
                    f"(OLD.{column} IS NULL OR OLD.{column} <> NEW.{column}) AND {ended}",
                ),
            )
        post_migrate.connect(add_standard_places, sender=self, dispatch_uid="vehicles.places")


def add_standard_places(sender, using, **_) -> None:
    from vehicles.places import ensure_standard_places

    ensure_standard_places(using)
