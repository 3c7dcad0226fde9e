"""Acts on the people around a car: taking them down, correcting them, what part they play and until when."""

from __future__ import annotations

from datetime import date

from django.core.exceptions import ValidationError
from django.utils.formats import date_format

from vehicles.acts.share import end_former
from vehicles.acts.vehicle import refresh_search_text
from vehicles.models import Keeper, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.acting import By, act, create, note, save_changes
from workshop.acts import passes, people
from workshop.models import PassEnd, Person
from workshop.permissions import May

KEEPER_FIELDS = ("name", "address", "phone", "email")


@act(May.EDIT_KEEPERS)
def add_keeper(*, by: By, name: str, address: str = "", phone: str = "", email: str = "") -> Keeper:
    """Take down a person or firm. Everything about them is personal and stands beside the log's chain."""
    told = {"name": " ".join(name.split()), "address": address, "phone": phone, "email": email}
    keeper = create(Keeper(**by.stamp(), **told, search_text=Keeper.text_to_find(**told)))
    note(keeper, words={name: getattr(keeper, name) for name in KEEPER_FIELDS})
    return keeper


@act(May.EDIT_KEEPERS)
def correct_keeper(*, by: By, keeper: Keeper, seen_version: int, reason: str, **fields) -> Keeper:
    """Correct name, address or numbers, with a reason; their cars are found by the new name from now on."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why this is corrected, for instance “moved house”."})
    if unknown := fields.keys() - set(KEEPER_FIELDS):
        raise TypeError(f"a keeper has no {', '.join(sorted(unknown))} to correct")
    keeper.refresh_from_db()
    if keeper.erased_at is not None:
        raise ValidationError("What was known of this person was erased. Take them down anew.")
    if "name" in fields:
        fields["name"] = " ".join(fields["name"].split())
    told = {name: fields.get(name, getattr(keeper, name)) for name in KEEPER_FIELDS}
    changes = save_changes(
        keeper, seen_version=seen_version, **fields, search_text=Keeper.text_to_find(**told)
    )
    changes.pop("search_text", None)
    if "email" in changes and keeper.account is not None and not keeper.account.is_staff_member:
        # Where they ask for a one-time link, it goes to the address that is on record now.
        save_changes(keeper.account, email=keeper.email)
    if "name" in changes:
        for car in Vehicle.objects.filter(keepers__keeper=keeper).distinct():
            refresh_search_text(car)
    note(keeper, facts={"corrected": sorted(changes)}, words={"changes": changes, "reason": reason})
    return keeper


@act(May.EDIT_KEEPERS)
def add_part_for(
    *,
    by: By,
    vehicle: Vehicle,
    keeper: Keeper,
    part: str,
    from_on: date | None = None,
    until_on: date | None = None,
    end_current: bool = True,
) -> VehicleKeeper:
    """Say what part somebody plays for a car.

    A new owner or registered keeper ends the earlier one's part on the day the new one begins, unless
    `end_current` is false (owners in common). A part that is over already (`until_on`) ends nothing. With the earlier
    one's part end the share links that were made for them.
    """
    _refuse_future(by, from_on=from_on, until_on=until_on)
    if from_on and from_on.year < vehicle.year - 1:
        raise ValidationError(
            {"from_on": f"The car is of model year {vehicle.year}: give that year or later."}
        )
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    ended = []
    if end_current and until_on is None and part in HOLDERS:
        ended = _end_earlier(by, vehicle, keeper, part, from_on)
        if ended and from_on is None:
            # Who follows another has the part since then, not "always": an earlier sheet is not theirs.
            from_on = by.day
    row = create(
        VehicleKeeper(
            **by.stamp(), vehicle=vehicle, keeper=keeper, part=part, from_on=from_on, until_on=until_on
        )
    )
    refresh_search_text(vehicle)
    facts = {"part": part, "from": from_on, "until": until_on, "ended": [str(other.pk) for other in ended]}
    note(row, vehicle=vehicle, facts=facts, words={"name": keeper.name})
    if ended:
        end_former(by, vehicle)
        _sign_out_without_car([other.keeper for other in ended])
    return row


@act(May.EDIT_KEEPERS)
def add_parts_for(
    *,
    by: By,
    vehicle: Vehicle,
    parts: list[str],
    keeper: Keeper | None = None,
    name: str = "",
    phone: str = "",
    from_on: date | None = None,
    until_on: date | None = None,
    end_current: bool = True,
) -> Keeper:
    """Everything that one person is for a car, known or new: all of it, or with a refusal none. Answers who it is."""
    if not parts:
        raise ValidationError({"part": "Say what this person is for the car: one part or several."})
    keeper = keeper or _somebody_new(by, name, phone)
    for part in dict.fromkeys(parts):
        add_part_for(
            by=by,
            vehicle=vehicle,
            keeper=keeper,
            part=part,
            from_on=from_on,
            until_on=until_on,
            end_current=end_current,
        )
    return keeper


def _somebody_new(by: By, name: str, phone: str) -> Keeper:
    if not name.strip():
        raise ValidationError({"name": "Give the name, or choose somebody from the list."})
    return add_keeper(by=by, name=name, phone=phone)


@act(May.EDIT_KEEPERS)
def add_person_for(
    *,
    by: By,
    vehicle: Vehicle,
    part: str,
    keeper: Keeper | None = None,
    name: str = "",
    phone: str = "",
    from_on: date | None = None,
    until_on: date | None = None,
    end_current: bool = True,
) -> VehicleKeeper:
    """`add_part_for`, with somebody known or, by name, somebody new: both in one."""
    return add_part_for(
        by=by,
        vehicle=vehicle,
        keeper=keeper or _somebody_new(by, name, phone),
        part=part,
        from_on=from_on,
        until_on=until_on,
        end_current=end_current,
    )


def _end_earlier(
    by: By, vehicle: Vehicle, keeper: Keeper, part: str, from_on: date | None
) -> list[VehicleKeeper]:
    day = from_on or by.day
    earlier = list(
        vehicle.keepers.filter(part=part, until_on=None)
        .exclude(keeper=keeper)
        .select_related("keeper")
        .select_for_update(no_key=True, of=("self",))
    )
    for row in earlier:
        if row.from_on and row.from_on > day:
            raise ValidationError(
                {
                    "from_on": f"{row.keeper} is {row.get_part_display().lower()} since {date_format(row.from_on)}. "
                    "Give that day or a later one; or, if this was before, say until when it was."
                }
            )
        row.until_on = day
        row.save(update_fields=["until_on"])
    return earlier


@act(May.EDIT_KEEPERS)
def end_part_for(*, by: By, vehicle_keeper: VehicleKeeper, until_on: date, reason: str) -> VehicleKeeper:
    """End a part; `until_on` is the first day on which it is no longer played."""
    _refuse_future(by, until_on=until_on)
    if not reason.strip():
        raise ValidationError({"reason": "Say why it ends, for instance “car sold”."})
    row = VehicleKeeper.objects.select_for_update(no_key=True, of=("self",)).select_related("keeper", "vehicle").get(
        pk=vehicle_keeper.pk
    )  # fmt: skip
    if row.until_on is not None:
        raise ValidationError(
            f"Somebody ended this already: {row.keeper} was {row.get_part_display().lower()} "
            f"until {date_format(row.until_on)}."
        )
    row.until_on = until_on
    row.full_clean()
    row.save(update_fields=["until_on"])
    note(
        row,
        vehicle=row.vehicle,
        facts={"part": row.part, "until": until_on},
        words={"name": row.keeper.name, "reason": reason},
    )
    if row.part in HOLDERS:
        end_former(by, row.vehicle)
        _sign_out_without_car([row.keeper])
    return row


def _sign_out_without_car(former: list[Keeper]) -> None:
    """Inside the act by which they gave a car away: with the last one end their sessions, and links not used yet."""
    for keeper in former:
        person = keeper.account
        if person is None or person.is_staff_member:
            continue
        if not keeper.vehicles.now().filter(part__in=HOLDERS).exists():
            note(person, facts=passes.end_all(person, PassEnd.NO_CAR))


@act(May.EDIT_KEEPERS)
def open_account(*, by: By, keeper: Keeper, sign_in_name: str = "", password: str | None = None) -> Person:
    """Let a keeper sign in as vehicle owner: they see the cars of which they are owner or keeper now.

    Without a password they get in by one-time links and codes alone.
    """
    row = Keeper.objects.select_for_update(no_key=True, of=("self",)).get(pk=keeper.pk)
    if row.erased_at is not None:
        raise ValidationError("What was known of this person was erased: no account can be opened for them.")
    if row.account_id is not None:
        raise ValidationError(
            f"{row} can sign in already. Give them a new password instead of a second account."
        )
    person = people.add_vehicle_owner(
        by=by, name=row.name, sign_in_name=sign_in_name, password=password, email=row.email
    )
    save_changes(row, account=person)
    note(row, facts={"account": str(person.pk)})
    return person


def _refuse_future(by: By, **days: date | None) -> None:
    for name, day in days.items():
        if day is not None and day > by.day:
            raise ValidationError(
                {name: f"{date_format(day)} lies in the future. Give today or an earlier day."}
            )


__all__ = [
    "add_keeper",
    "add_part_for",
    "add_parts_for",
    "add_person_for",
    "correct_keeper",
    "end_part_for",
    "open_account",
]
