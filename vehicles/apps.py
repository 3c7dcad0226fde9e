from django.apps import AppConfig
from django.db.models.signals import post_migrate


class VehiclesConfig(AppConfig):
    name = "vehicles"
    verbose_name = "Vehicles"

    def ready(self) -> None:
        from workshop import triggers

        triggers.append_only(
            "vehicles_identityreading", "An identity reading is never altered: record another one."
        )
        triggers.append_only("vehicles_evidence", "Evidence is never altered: add another piece.")
        triggers.append_only("vehicles_diagnosisstep", "A diagnosis step is never altered: add another one.")
        triggers.append_only("vehicles_faultcode", "A trouble code is never altered: add another one.")
        triggers.append_only("vehicles_surveyentry", "A survey entry is never altered: add another one.")
        triggers.append_only("vehicles_telling", "A telling is never altered: record another one.")
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
