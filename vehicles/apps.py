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
