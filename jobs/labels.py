"""What labels can be printed for a car, a job, the tools or a part, and what each of them says.

A label leaves the shop on a key or a part: none bears a keeper's name, an address or the shop's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID

from django.conf import settings
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import Job, ThingOut
from vehicles.models import FittedPart, Vehicle
from vehicles.models.part import Whereabouts
from workshop.engineering.numbers import plain
from workshop.labels import Label
from workshop.models import TorqueTool
from workshop.models.tools import ToolKind
from workshop.permissions import May
from workshop.views.tools import DUE_SOON

# What came off and is out of the shop's hands needs no label.
GONE = (Whereabouts.RETURNED, Whereabouts.SCRAPPED, Whereabouts.ON_THE_CAR)
# Of a long history so many parts are offered, the latest.
MOST_PARTS = 60


@dataclass(frozen=True)
class Choice:
    """A label that can be chosen. `ticked`: chosen beforehand."""

    token: str
    label: Label
    ticked: bool

    @property
    def words(self) -> str:
        return " · ".join((self.label.head, *(line for line in self.label.lines if line)))


@dataclass(frozen=True)
class Group:
    title: str
    choices: list[Choice]


@dataclass(frozen=True)
class Offer:
    """What the page offers: `subject` is what the labels are for, `url` its page, `scope` the query that asks for it."""

    subject: str
    url: str
    scope: dict[str, str]
    groups: list[Group]

    @property
    def choices(self) -> list[Choice]:
        return [choice for group in self.groups for choice in group.choices]


def address(path: str) -> str:
    return f"{settings.SITE_URL}{path}"


def _day(value: date | datetime | None) -> str:
    if isinstance(value, datetime):
        value = timezone.localtime(value).date()
    return date_format(value, "D j M Y") if value else ""


def _car_words(car: Vehicle) -> str:
    return f"{car.current_plate()} {car.name}".strip()


def car_label(car: Vehicle) -> Label:
    plate = car.current_plate()
    number = f"VIN {car.number}" if len(car.number) == 17 else f"No. {car.number}" if car.number else ""
    return Label(
        "Car",
        plate or car.number or car.name,
        (str(car) if plate or car.number else "", number if plate else ""),
        address(car.get_absolute_url()),
    )


def key_label(job: Job) -> Label:
    """Whose key it is, by plate and job: found in the street, it does not say where the car or its keeper lives."""
    return Label(
        "Key",
        job.vehicle.current_plate() or job.number,
        (
            f"Job {job.number}",
            job.vehicle.name,
            f"promised {_day(job.promised_at)}" if job.promised_at else "",
        ),
        address(job.get_absolute_url()),
    )


def tool_label(tool: TorqueTool) -> Label:
    """Reads the calibrations: no query where they are prefetched."""
    today = timezone.localdate()
    calibration = tool.calibration_on(today)
    due = "no calibration on record"
    if tool.kind == ToolKind.ANGLE:
        due = "angle gauge"
    if calibration:
        due = (
            f"calibration due {_day(calibration.due_on)}" if calibration.passed else "failed its calibration"
        )
    reach = ""
    if tool.scale_high is not None:
        low, high = tool.working_range(today)
        reach = f"{plain(low.value)} to {plain(high.value)} {tool.get_unit_display()}"
    return Label("Tool", tool.label, (due, tool.name, reach), address(tool.get_absolute_url()))


def part_label(part: FittedPart) -> Label:
    kept = part.get_whereabouts_display() if part.whereabouts else ""
    if part.whereabouts_note:
        kept = f"{kept}: {part.whereabouts_note}"
    job = part.removed_by_line.job if part.removed_by_line_id else None
    return Label(
        "Part taken off",
        part.description,
        (
            _car_words(part.vehicle),
            f"Job {job.number}, off {_day(part.removed_at)}" if job else f"off {_day(part.removed_at)}",
            kept,
            part.where,
            f"No. {part.part_number}" if part.part_number else "",
        ),
        address(part.get_absolute_url()),
    )


def thing_label(thing: ThingOut) -> Label:
    return Label(
        thing.get_kind_display(),
        thing.what,
        (
            _car_words(thing.job.vehicle),
            f"Job {thing.job.number}, {_day(thing.made_at)}",
            thing.where,
        ),
        address(f"{thing.job.get_absolute_url()}#things"),
    )


# ------------------------------------------------------------------ what is offered


def _choices(
    kind: str, rows: Iterable, label: Callable, ticked: Callable = lambda row: False
) -> list[Choice]:
    return [Choice(f"{kind}-{row.pk}", label(row), ticked(row)) for row in rows]


def _parts() -> QuerySet[FittedPart]:
    return (
        FittedPart.objects.filter(removed_at__isnull=False, entered_in_error="")
        .exclude(whereabouts__in=GONE)
        .select_related("vehicle", "place", "removed_by_line__job")
        .prefetch_related("vehicle__registrations")
        .order_by("-removed_at", "pk")
    )


def _things() -> QuerySet[ThingOut]:
    return (
        ThingOut.objects.filter(back_at=None)
        .select_related("job__vehicle")
        .prefetch_related("job__vehicle__registrations")
    )


def _cars(person) -> QuerySet[Vehicle]:
    return Vehicle.objects.visible_to(person).prefetch_related("registrations")


def _for_car(person, key: UUID) -> Offer | None:
    car = _cars(person).filter(pk=key).first()
    if car is None:
        return None
    jobs = Job.objects.filter(vehicle=car).open().select_related("vehicle")
    jobs = jobs.prefetch_related("vehicle__registrations").order_by("-year", "-serial")
    return Offer(
        _car_words(car),
        car.get_absolute_url(),
        {"car": str(car.pk)},
        [
            Group("The car", _choices("car", [car], car_label, lambda row: True)),
            Group("Its keys", _choices("key", jobs, key_label, lambda row: True)),
            Group("Parts taken off", _choices("part", _parts().filter(vehicle=car)[:MOST_PARTS], part_label)),
            Group("Out of the car now", _choices("thing", _things().filter(job__vehicle=car), thing_label)),
        ],
    )


def _for_job(person, key: UUID) -> Offer | None:
    rows = Job.objects.visible_to(person).select_related("vehicle")
    job = rows.prefetch_related("vehicle__registrations").filter(pk=key).first()
    if job is None:
        return None
    off = _parts().filter(removed_by_line__job=job)[:MOST_PARTS]
    return Offer(
        f"Job {job.number} {job.title}",
        job.get_absolute_url(),
        {"job": str(job.pk)},
        [
            Group("The car", _choices("car", [job.vehicle], car_label, lambda row: True)),
            Group("Its keys", _choices("key", [job], key_label, lambda row: True)),
            Group("Parts taken off on this job", _choices("part", off, part_label)),
            Group("Out of the car now", _choices("thing", _things().filter(job=job), thing_label)),
        ],
    )


def _for_tools(person, asked: str) -> Offer:
    """All tools in use; `due` ticks those whose calibration falls due soon or is over."""
    tools = list(TorqueTool.objects.filter(withdrawn_at=None).prefetch_related("calibrations"))
    today = timezone.localdate()

    def due(tool: TorqueTool) -> bool:
        calibration = tool.calibration_on(today)
        if calibration is None:
            return tool.kind != ToolKind.ANGLE
        return not calibration.passed or (calibration.due_on - today).days <= DUE_SOON

    pressing = [tool for tool in tools if due(tool)]
    others = [tool for tool in tools if not due(tool)]
    return Offer(
        "Torque tools",
        reverse("workshop:tools"),
        {"tools": asked},
        [
            Group(
                f"Calibration due within {DUE_SOON} days, or over",
                _choices("tool", pressing, tool_label, lambda row: True),
            ),
            Group("In order", _choices("tool", others, tool_label, lambda row: asked == "all")),
        ],
    )


def _for_tool(person, key: UUID) -> Offer | None:
    tool = TorqueTool.objects.prefetch_related("calibrations").filter(pk=key).first()
    if tool is None:
        return None
    return Offer(
        str(tool),
        tool.get_absolute_url(),
        {"tool": str(key)},
        [Group("The tool", _choices("tool", [tool], tool_label, lambda row: True))],
    )


def _for_part(person, key: UUID) -> Offer | None:
    """A part that came off, wherever it is now, and the others that came off its car."""
    rows = FittedPart.objects.filter(vehicle__in=Vehicle.objects.visible_to(person), entered_in_error="")
    part = (
        rows.filter(pk=key, removed_at__isnull=False)
        .select_related("vehicle", "place", "removed_by_line__job")
        .prefetch_related("vehicle__registrations")
        .first()
    )
    if part is None:
        return None
    others = _parts().filter(Q(vehicle=part.vehicle) & ~Q(pk=part.pk))[:MOST_PARTS]
    return Offer(
        part.description,
        part.get_absolute_url(),
        {"part": str(key)},
        [
            Group("The part", _choices("part", [part], part_label, lambda row: True)),
            Group("Also off this car", _choices("part", others, part_label)),
        ],
    )


def _parts_ticked(offer: Offer) -> Offer:
    groups = [
        Group(
            group.title,
            [replace(each, ticked=each.token.startswith(("part-", "thing-"))) for each in group.choices],
        )
        for group in offer.groups
    ]
    return replace(offer, groups=groups, scope={**offer.scope, "parts": "all"})


_SCOPES: dict[str, Callable] = {"car": _for_car, "job": _for_job, "tool": _for_tool, "part": _for_part}


def offered(person, asked: dict[str, str]) -> Offer | None:
    """What the query asks labels for: car, job, tool or part by its key, or `tools` (all or due). None: nothing, or
    not this person's to see. With `parts`, all that was taken off is ticked and nothing else. A fixed number of
    queries.
    """
    if asked.get("tools") and person.may(May.SEE_SHOP):
        return _for_tools(person, "all" if asked["tools"] == "all" else "due")
    for name, offer in _SCOPES.items():
        if asked.get(name):
            try:
                found = offer(person, UUID(asked[name]))
            except ValueError:
                return None
            return _parts_ticked(found) if found and asked.get("parts") else found
    return None
