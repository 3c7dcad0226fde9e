"""Share links outside acts: who may make one, finding one by its token, counting its openings, what its log says."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Q, QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import salted_hmac

from vehicles.audience import Audience, NotTheirs, holder_since
from vehicles.models import Keeper, Opened, OpenedOn, Share, ShareOpening, Vehicle, VehicleKeeper
from vehicles.models.keeper import HOLDERS
from workshop.models import Person
from workshop.pass_tries import network_address
from workshop.permissions import May
from workshop.tokens import token_hash

# Rows of one link in one hour and kind; what comes after is counted in one row more.
MOST_DEVICES = 30
# Rows of a link's log that its page lists, and links on the page of a car.
LOG_SHOWN = 40
SHOWN_ON_A_PAGE = 3


# ------------------------------------------------------------------------------------------------ whose link it is


def holders_of(vehicle: Vehicle) -> list[Keeper]:
    """Who has the car now: owners and registered keepers, each once. One query."""
    rows = VehicleKeeper.objects.now().filter(vehicle=vehicle, part__in=HOLDERS).select_related("keeper")
    return list({row.keeper_id: row.keeper for row in rows.order_by("part", "made_at")}.values())


def held_since(vehicle: Vehicle, keeper: Keeper) -> date | None:
    """From which day on it is theirs; None where it is not theirs now."""
    try:
        return holder_since(VehicleKeeper.objects.filter(vehicle=vehicle, keeper=keeper, part__in=HOLDERS))
    except NotTheirs:
        return None


def own_keeper(person: Person, vehicle: Vehicle) -> Keeper | None:
    """The signed-in person, as the one who has this car now. One query."""
    now = VehicleKeeper.objects.now().filter(vehicle=vehicle, keeper__account=person, part__in=HOLDERS)
    row = now.select_related("keeper").first()
    return row.keeper if row else None


def may_share_any(person: Person) -> bool:
    """The desk and the leads, for any car; an owner only for their own."""
    return person.may(May.SHARE) and person.may(May.EDIT_KEEPERS)


def may_share(person: Person, vehicle: Vehicle) -> bool:
    """No query for the desk and the leads, one for an owner."""
    return may_share_any(person) or (person.may(May.SHARE) and own_keeper(person, vehicle) is not None)


# ----------------------------------------------------------------------------------------------------- what it opens


def find(token: str) -> Share | None:
    """The link of this token, whatever became of it; None where there never was one. One query at most."""
    digest = token_hash(token)
    share = Share.objects.select_related("vehicle").filter(token_hash=digest).first() if digest else None
    if share is not None:
        share.token = token
    return share


def audience_of(share: Share) -> Audience:
    """What its reader sees. Without a token, as for the preview, what it leads to stands at its own address."""
    reader = Audience.of_share(share)
    return reader if share.token else replace(reader, link=lambda url: url)


# ------------------------------------------------------------------------------------------------------ its openings

_PROGRAM = re.compile(
    r"bot\b|bot/|crawl|spider|preview|fetch|externalhit|python|curl|wget|http-?client", re.I
)
_TABLET = re.compile(r"ipad|tablet|android(?!.*mobile)", re.I)
_PHONE = re.compile(r"mobile|iphone|android", re.I)
_COMPUTER = re.compile(r"windows|macintosh|x11|linux|cros", re.I)


def opened_on(browser: str) -> OpenedOn:
    """A coarse word for what a browser calls itself (RFC 9110, 10.1.5). It may say anything: a hint, no proof."""
    if not browser or _PROGRAM.search(browser):
        return OpenedOn.PROGRAM
    for pattern, word in (
        (_TABLET, OpenedOn.TABLET),
        (_PHONE, OpenedOn.PHONE),
        (_COMPUTER, OpenedOn.COMPUTER),
    ):
        if pattern.search(browser):
            return word
    return OpenedOn.OTHER


def device_of(share: Share, request: HttpRequest) -> str:
    """The same device is known again on the same link, and on no other. Neither address nor browser is kept."""
    text = f"{share.pk}\n{network_address(request)}\n{request.headers.get('User-Agent', '')[:300]}"
    return salted_hmac("vehicles.shares.device", text, algorithm="sha256").hexdigest()[:40]


def count_opening(share: Share, request: HttpRequest, what: Opened) -> None:
    """Write down that it was opened: one query, a few more for a device that is new in this hour."""
    now = timezone.now()
    hour = now.replace(minute=0, second=0, microsecond=0)
    row = {"share": share, "hour": hour, "what": what, "device": device_of(share, request)}
    if _counted(row, now):
        return
    kind = opened_on(request.headers.get("User-Agent", ""))
    if ShareOpening.objects.filter(share=share, hour=hour, what=what).count() >= MOST_DEVICES:
        row["device"], kind = "", OpenedOn.OTHER
        if _counted(row, now):
            return
    fresh = ShareOpening(**row, opened_on=kind, first_at=now, last_at=now)
    if not _added(fresh):
        _counted(row, now)


def _counted(row: dict, now: datetime) -> bool:
    """Not earlier than what is written there already, if a clock was put back."""
    rows = ShareOpening.objects.filter(**row)
    if rows.filter(last_at__lte=now).update(count=F("count") + 1, last_at=now):
        return True
    return bool(rows.update(count=F("count") + 1))


def _added(fresh: ShareOpening) -> bool:
    """False where the same device came a second time in the same moment and was first."""
    try:
        with transaction.atomic():
            fresh.save(force_insert=True)
    except IntegrityError:
        return False
    return True


@dataclass
class Log:
    """What became of one link: how often its account was opened by people, on how many devices, and the rows."""

    times: int = 0
    devices: int = 0
    photos: int = 0
    papers: int = 0
    programs: int = 0
    last_at: datetime | None = None
    rows: list[ShareOpening] = field(default_factory=list)
    more: int = 0
    over: bool = False

    @property
    def words(self) -> str:
        """ "Opened 4 times on 2 devices"; a program's preview is said apart, as nobody read it."""
        if not self.times:
            said = "Never opened" if self.over else "Not opened yet"
        else:
            times = "once" if self.times == 1 else f"{self.times} times"
            said = f"Opened {times} on {self.devices} device{'' if self.devices == 1 else 's'}"
        if self.programs:
            said += f"; looked at by a program {'once' if self.programs == 1 else f'{self.programs} times'}"
        return said


def logs_of(shares: Iterable[Share]) -> dict[object, Log]:
    """By the link's key: one query for all of them."""
    found: dict[object, Log] = {share.pk: Log(over=not share.is_open) for share in shares}
    seen: dict[object, set[str]] = {key: set() for key in found}
    for row in ShareOpening.objects.filter(share__in=list(found)).order_by("-last_at", "-pk"):
        log = found[row.share_id]
        if len(log.rows) < LOG_SHOWN:
            log.rows.append(row)
        else:
            log.more += 1
        if row.opened_on == OpenedOn.PROGRAM:
            log.programs += row.count
            continue
        log.last_at = log.last_at or row.last_at
        if row.what == Opened.ACCOUNT:
            log.times += row.count
            seen[row.share_id].add(row.device)
        elif row.what == Opened.PHOTO:
            log.photos += row.count
        else:
            log.papers += row.count
    for key, log in found.items():
        log.devices = len(seen[key])
    return found


def seen_by(person: Person, vehicle: Vehicle) -> QuerySet[Share]:
    """A car's links as this person may know of them. Who has the car knows their own, and every one that still opens;
    what a keeper before them called theirs is not told.
    """
    rows = vehicle.shares.select_related("made_by", "made_for", "revoked_by")
    if may_share_any(person):
        return rows
    own = own_keeper(person, vehicle)
    opens = Q(revoked_at=None, valid_until__gte=timezone.localdate())
    return rows.filter(opens | Q(made_for=own)) if own is not None else rows.none()


def listed(rows: QuerySet[Share]) -> list[Share]:
    """Links with their log, those that open first, then the newest. Two queries."""
    shares = list(rows.order_by("-made_at"))
    logs = logs_of(shares)
    for share in shares:
        share.log = logs[share.pk]
    return sorted(shares, key=lambda share: not share.is_open)


def few(person: Person, vehicle: Vehicle) -> dict[str, Any]:
    """For the page of a car: the newest links that open, with their log; for who makes none, how many there are.

    Two queries at most, and for an owner two more.
    """
    if not may_share(person, vehicle):
        return {"shares": [], "may_share": False, "open": vehicle.shares.open().count()}
    rows = seen_by(person, vehicle).filter(revoked_at=None, valid_until__gte=timezone.localdate())
    found = list(rows)
    logs = logs_of(found) if found else {}
    for share in found:
        share.log = logs[share.pk]
    return {"shares": found[:SHOWN_ON_A_PAGE], "more": len(found) - SHOWN_ON_A_PAGE, "may_share": True}


def last_day(day: date, days: int) -> date:
    """The last day on which a link opens that was made on a day and lasts so many days more."""
    return day + timedelta(days=days)
