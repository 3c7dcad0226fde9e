"""Acts on share links: made for one car by the desk or by its owner, ended by either, ended by the car's changing hands.

The token stands in no event: an event names the link by its key.
"""

from __future__ import annotations

from datetime import date

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.formats import date_format

from vehicles import shares
from vehicles.audience import ALWAYS, OF_THEIR_TIME, Shows
from vehicles.models import Keeper, Share, ShareEnd, ShareState, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from vehicles.models.share import MOST_DAYS, USUAL_DAYS
from workshop.acting import By, act, create, note
from workshop.models import Person
from workshop.permissions import May
from workshop.tokens import new_token, token_hash

MOST_OPEN = 20

# A sheet is one file: whoever is given it reads all of this in it.
ON_A_SHEET = (Shows.PEOPLE, Shows.COSTS, Shows.KEEPER)


@act(May.SHARE)
def make_share(
    *,
    by: By,
    vehicle: Vehicle,
    label: str,
    shows: list[str],
    days: int = USUAL_DAYS,
    since: date | None = None,
    until: date | None = None,
    made_for: Keeper | None = None,
) -> Share:
    """A link to this car's account. The answer has its `token`; read again it has none.

    An owner makes one for their own car, and it is for them. The desk makes one for whoever has the car (`made_for`),
    or for nobody in particular: then it shows nothing of a keeper's time.
    """
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    if vehicle.shares.open().count() >= MOST_OPEN:
        raise ValidationError(
            f"{MOST_OPEN} links to this car are open. End one that is no longer needed first."
        )
    share = planned(
        by.person,
        vehicle,
        label=label,
        shows=shows,
        days=days,
        since=since,
        until=until,
        made_for=made_for,
        day=by.day,
    )
    for name, value in by.stamp().items():
        setattr(share, name, value)
    share.token = new_token()
    share.token_hash = token_hash(share.token)
    create(share)
    facts = {"shows": share.shows, "since": share.since, "until": until, "valid_until": share.valid_until}
    note(
        share,
        vehicle=vehicle,
        facts={**facts, "for": str(share.made_for_id or "")},
        words={"label": share.label},
    )
    return share


def planned(
    person: Person,
    vehicle: Vehicle,
    *,
    label: str,
    shows: list[str],
    days: int = USUAL_DAYS,
    since: date | None = None,
    until: date | None = None,
    made_for: Keeper | None = None,
    day: date | None = None,
) -> Share:
    """The link as it would be made, checked and not saved: what a preview is drawn from. It has no token."""
    made_for = _for_whom(person, vehicle, made_for)
    shown = _checked(shows, made_for)
    if not 1 <= days <= MOST_DAYS:
        raise ValidationError({"days": f"Give 1 to {MOST_DAYS} days."})
    since = _since(vehicle, made_for, shown, since)
    if since is not None and until is not None and until < since:
        raise ValidationError(
            {"until": f"Costs and papers begin on {date_format(since)}: give that day or a later one."}
        )
    return Share(
        vehicle=vehicle,
        label=" ".join(label.split()),
        shows=shown,
        since=since,
        until=until,
        days=days,
        valid_until=shares.last_day(day or timezone.localdate(), days),
        made_for=made_for,
    )


def _for_whom(person: Person, vehicle: Vehicle, made_for: Keeper | None) -> Keeper | None:
    """Checked here and not in the screen alone: the right to share any car, or this one being theirs."""
    if not shares.may_share_any(person):
        own = shares.own_keeper(person, vehicle)
        if own is None:
            raise PermissionDenied("You may make a link only for a car that is yours now.")
        if made_for is not None and made_for.pk != own.pk:
            raise PermissionDenied("You may make a link only for yourself.")
        return own
    if made_for is not None and shares.held_since(vehicle, made_for) is None:
        raise ValidationError(
            {"made_for": "The car is not theirs now: choose its owner or registered keeper, or nobody."}
        )
    return made_for


def _checked(shows: list[str], made_for: Keeper | None) -> list[str]:
    """In the order in which the kinds are listed."""
    if unknown := [each for each in shows if each not in Shows.values]:
        raise ValidationError({"shows": f"A link can't show “{unknown[0]}”."})
    shown = ALWAYS | {Shows(each) for each in shows}
    if made_for is None and (of_a_keeper := [each for each in Shows if each in shown & OF_THEIR_TIME]):
        raise ValidationError(
            {
                "made_for": f"“{of_a_keeper[0].label}” belongs to whoever has the car: choose for whom the link is, or "
                "leave it out."
            }
        )
    if Shows.PAPERS in shown and (also := [each for each in ON_A_SHEET if each not in shown]):
        names = " and ".join(f"“{each.label}”" for each in also)
        raise ValidationError(
            {"shows": f"A handover sheet says these too: choose {names} as well, or leave the sheets out."}
        )
    return [each.value for each in Shows if each in shown]


def _since(vehicle: Vehicle, made_for: Keeper | None, shown: list[str], asked: date | None) -> date | None:
    """From the day on which it is theirs, or later; None where nothing of a keeper's time is shown."""
    if made_for is None or not OF_THEIR_TIME & set(shown):
        return None
    theirs = shares.held_since(vehicle, made_for)
    if asked is not None and theirs is not None and asked < theirs:
        raise ValidationError(
            {"since": f"The car is theirs since {date_format(theirs)}: give that day or a later one."}
        )
    return asked or theirs


@act(May.SHARE)
def end_share(*, by: By, share: Share) -> Share:
    """The link opens nothing any more, from this moment on: by the desk, or by whoever has the car."""
    if not shares.may_share(by.person, share.vehicle):
        raise PermissionDenied("You may end a link only to a car that is yours now.")
    row = Share.objects.select_for_update(no_key=True, of=("self",)).select_related("revoked_by", "vehicle").get(
        pk=share.pk
    )  # fmt: skip
    if row.state == ShareState.ENDED:
        ended = date_format(timezone.localtime(row.revoked_at), "j F Y, H:i")
        raise ValidationError(
            f"This link was ended already, {ended}: {row.get_revoked_because_display().lower()}."
        )
    _end(by, row, ShareEnd.ENDED)
    note(row, vehicle=row.vehicle, facts={"because": row.revoked_because})
    return row


def end_former(by: By, vehicle: Vehicle) -> int:
    """Inside the act by which a car changes hands: links end that were not made for one who still has it.

    They end and are not only cut at that day: whoever holds the address has it from somebody who has no say in the
    car any more, and the new keeper never agreed to it. A buyer who was given one is the keeper now and reads it all.
    """
    still = VehicleKeeper.objects.now().filter(vehicle=vehicle, part__in=HOLDERS).values("keeper")
    gone = vehicle.shares.filter(revoked_at=None, valid_until__gte=by.day)
    return end_all(by, gone.exclude(made_for__isnull=False, made_for__in=still), ShareEnd.HANDS)


def end_all(by: By, rows: QuerySet[Share], because: ShareEnd) -> int:
    """Inside another act: each of them ends, and stands in the log. Answers how many."""
    found = list(rows.filter(revoked_at=None).select_for_update(no_key=True, of=("self",)))
    for row in found:
        _end(by, row, because)
        note(row, vehicle=row.vehicle_id, facts={"because": row.revoked_because})
    return len(found)


def _end(by: By, row: Share, because: ShareEnd) -> None:
    row.revoked_at, row.revoked_by, row.revoked_because = by.received_at, by.person, because
    row.save(update_fields=["revoked_at", "revoked_by", "revoked_because"])
