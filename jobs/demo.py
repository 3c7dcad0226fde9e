"""Plays the invented scenario in `demo_fixtures/` through the acts that the screens use.

A scene is a TOML file of acts in order:

    [[act]]
    do = "jobs.job.book"            # module and function of the act, without "acts"
    by = "lida"                     # who does it: a name given by an earlier `as`
    at = "-6 08:40"                 # days from the day of the demo, and the time in the shop's zone
    as = "job"                      # what the answer is called from here on
    args.vehicle = "$drayman"       # $name: an earlier answer
    args.limit = "250"              # text becomes what the act's annotation asks for: Decimal, Amount, date …

`[[visit]]` is a whole small job in a row of values (see `visits`), `[[then]]` are acts after those.
`each.NAME = [...]` repeats the act for each value of an argument. Every act has a key made of the scene and its
place in it, and the day of the demo is written down at the first start: a demo that was cut short goes on where
it stopped, and one that is whole plays nothing twice.
"""

from __future__ import annotations

import importlib
import json
import tomllib
import typing
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.base import ContentFile
from django.utils import timezone

from jobs import demo_pictures
from vehicles.files.intake import take_in
from vehicles.models import Keeper, Place
from workshop.acting import By
from workshop.acts import people
from workshop.engineering.units import Amount
from workshop.models import Device, Person

PASSWORD = "quarry lane demo"
SCENES = ("shop", "veldt", "ostra", "sorrel", "drayman")
SOURCE = Path(settings.BASE_DIR) / "demo_fixtures"


class SceneError(Exception):
    """An act of the scenario was refused: the scenario or the act is wrong."""


@dataclass
class Player:
    """Plays scenes. `today` is the day of the demo; `names` holds what earlier acts answered."""

    today: date
    names: dict[str, Any] = field(default_factory=dict)
    played: int = 0
    now: datetime | None = None  # of the act being played: a picture is taken then
    turn: dict[str, Any] = field(default_factory=dict)  # the argument that `each` gives it

    def play(self, scene: str, tell: Callable[[str], None] = lambda text: None) -> None:
        script = tomllib.loads((SOURCE / f"{scene}.toml").read_text(encoding="utf-8"))
        steps = [*script.get("act", []), *visits(script.get("visit", [])), *script.get("then", [])]
        for number, step in enumerate(steps, 1):
            for turn, each in enumerate(_turns(step)):
                try:
                    self._perform(scene, f"{scene}/{step.get('as', number)}/{number}/{turn}", step, each)
                except (ValidationError, PermissionDenied, TypeError) as refusal:
                    words = (
                        getattr(refusal, "message_dict", None)
                        or getattr(refusal, "messages", None)
                        or refusal
                    )
                    raise SceneError(f"{scene}.toml, act {number} ({step['do']}): {words}") from refusal
        tell(f"{scene}: {len(steps)} acts")

    def _perform(self, scene: str, place: str, step: dict, each: dict) -> None:
        module, _, function = step["do"].rpartition(".")
        app, _, subject = module.partition(".")
        act = getattr(importlib.import_module(f"{app}.acts.{subject}"), function)
        moment = self.moment(step["at"]) + timedelta(minutes=step.get("minutes_apart", 1) * each.pop("turn"))
        by = By(
            person=self.names[step["by"]],
            device=self.names["tablet"],
            made_at=moment,
            # The scenario was typed when it happened: without this all of it would be marked as written late.
            received_at=moment,
            key=uuid5(NAMESPACE_URL, f"witness-mark:{self.today}:{place}"),
        )
        self.now, self.turn = moment, each
        hints = typing.get_type_hints(getattr(act, "__wrapped__", act))
        arguments = {
            name: self.value(value, hints.get(name))
            for name, value in {**step.get("args", {}), **each}.items()
        }
        for name in step.get("seen", []):
            arguments["seen_version"] = _version(arguments[name])
        answer = act(by=by, **arguments)
        self.played += 1
        if "as" in step:
            self.names[step["as"]] = answer

    def moment(self, text: str) -> datetime:
        """ "-6 08:40" is six days before the day of the demo, at 8:40 in the shop's zone."""
        days, _, clock = text.partition(" ")
        day = date.fromisoformat(days) if days.count("-") == 2 else self.today + timedelta(days=int(days))
        return timezone.make_aware(datetime.combine(day, time.fromisoformat(clock)))

    def value(self, value: Any, hint: Any) -> Any:
        """What an act asks for, from what TOML can hold."""
        match value:
            case str() if value.startswith("$"):
                return self._named(value[1:])
            case list():
                return [self.value(item, None) for item in value]
            case dict():
                return {name: self.value(item, None) for name, item in value.items()}
            case str():
                wanted = {hint, *typing.get_args(hint)}
                if Amount in wanted:
                    number, _, unit = value.partition(" ")
                    return Amount(Decimal(number), unit)
                if Decimal in wanted:
                    return Decimal(value)
                if datetime in wanted:
                    return self.moment(value)
                if date in wanted:
                    return self.moment(f"{value} 12:00").date()
                return _tagged(self, value)
        return value

    def _named(self, path: str) -> Any:
        """`$run`, `$run.line`, `$version.steps.1` (the first of related rows), `$place:tow_bar`, `$person:lida`."""
        if path.startswith("place:"):
            return Place.objects.get(pk=path.removeprefix("place:"))
        name, *rest = path.split(".")
        found = self.names[name]
        if found is not None and hasattr(found, "pk"):
            found = type(found)._default_manager.get(pk=found.pk)
        for part in rest:
            found = list(found.all())[int(part) - 1] if part.isdecimal() else getattr(found, part)
        return found


def visits(rows: list[dict]) -> Iterator[dict]:
    """Acts of small jobs from check-in to handover, one row each: a history of many years in a few lines."""
    for number, row in enumerate(rows, 1):
        job, line, day = f"visit{number}", f"visit{number}_line", row["on"]

        def step(
            do: str, clock: str, name: str = "", by: str = "lida", seen: tuple = (), *, on=day, **args
        ) -> dict:
            made = {"do": do, "by": by, "at": f"{on} {clock}", "args": args, "seen": list(seen)}
            return made | ({"as": name} if name else {})

        yield step("jobs.job.book", "08:00", job, "fern", vehicle=row["car"], title=row["title"],
                   complaint=row["words"], payer=row["keeper"], authoriser=row["keeper"], limit="0")  # fmt: skip
        yield step("jobs.job.check_in", "08:10", by="fern", job=f"${job}", odometer=row["odometer"], fuel="2",
                   keys=1, damage=row.get("damage", "Farm use: scratches all round, none new."),
                   road_test_consent=True, plates_legal=True, brought_by=row["keeper"])  # fmt: skip
        yield step("jobs.job.move", "08:20", job=f"${job}", to_state="in_work")
        yield step(
            "jobs.work.add_line", "08:30", line, job=f"${job}", complaint=row["title"], technician="$lida"
        )
        yield step(
            "jobs.answer.estimate_line", "08:40", seen=("line",), line=f"${line}", estimate=row["amount"]
        )
        yield step("jobs.answer.record_answer", "09:00", by="fern", line=f"${line}", answer="yes",
                   given_by=row["keeper"], right="owner", channel="in_person", answered_at=f"{day} 08:55",
                   amount=row["amount"])  # fmt: skip
        for what, place, position, reading, low in row.get("measured", []):
            yield step("jobs.measurement.measure", "10:00", line=f"${line}", what=what, place=f"$place:{place}",
                       position=position, phase="before", reading=reading, low=low,
                       limit_source="Veldt service data, 2014")  # fmt: skip
        for part in row.get("fitted", []):
            yield step("jobs.part.fit_part", "11:00", line=f"${line}", provenance="factory_standard",
                       supply_quality="original", evidence=[["invoice", "supplier's delivery note"]], **part)  # fmt: skip
        yield from row.get("during", [])
        yield step("jobs.labour.add_labour", "13:00", line=f"${line}", person="$lida", day=day,
                   minutes=row.get("minutes", 90), note="")  # fmt: skip
        yield step("jobs.work.write_line", "14:00", seen=("line",), line=f"${line}", complaint=row["title"],
                   cause=row["cause"], correction=row["correction"], technician="$lida", competence="",
                   faults=[], items=[])  # fmt: skip
        yield step("jobs.work.finish_line", "14:05", seen=("line",), line=f"${line}")
        yield step("jobs.job.move", "14:10", job=f"${job}", to_state="final_checks")
        yield step("jobs.roadtest.record_road_test", "14:30", job=f"${job}", driver="$lida", driven="Lane and main road",
                   found="Nothing to remark.", distance="6 km", licence_and_insurance=True)  # fmt: skip
        yield step("jobs.roadtest.final_check", "15:00", job=f"${job}", new_damage="None.", tools_complete=True,
                   parts_complete=True)  # fmt: skip
        yield step("jobs.handover.call_ready", "15:10", job=f"${job}")
        yield step("jobs.handover.hand_over", "16:30", job=f"${job}", collected_by=row["keeper"],
                   identified_by="known to the shop", left_how="driven", keys_returned=1,
                   odometer=row["out"])  # fmt: skip


def _turns(step: dict) -> Iterator[dict]:
    each = step.get("each")
    if not each:
        yield {"turn": 0}
        return
    ((name, values),) = each.items()
    for turn, value in enumerate(values):
        yield {name: value, "turn": turn}


def _version(record: Any) -> int:
    return type(record)._default_manager.get(pk=record.pk).version


def _tagged(player: Player, value: str) -> Any:
    """For arguments without an annotation: "decimal:2.5", "day:-3", "amount:120 N.m"; "file:list.csv" of this folder; "photo:bolt 8.8"
    is drawn, taken in as a camera's file is, and may name the argument of `each`: "photo:van {angle} check_in".
    """
    kind, _, rest = value.partition(":")
    match kind:
        case "decimal":
            return Decimal(rest)
        case "day":
            return player.moment(f"{rest} 12:00").date()
        case "moment":
            return player.moment(rest)
        case "amount":
            number, _, unit = rest.partition(" ")
            return Amount(Decimal(number), unit)
        case "file":
            return ContentFile((SOURCE / rest).read_bytes(), name=rest)
        case "photo":
            drawn = demo_pictures.draw(rest.format(**player.turn), timezone.localtime(player.now))
            return take_in(ContentFile(drawn, name="photo.jpg"))
    return value


@dataclass(frozen=True)
class Demo:
    folder: Path
    today: date

    @property
    def mark(self) -> Path:
        return self.folder / "demo.json"

    def _marked(self) -> dict:
        return json.loads(self.mark.read_text(encoding="utf-8")) if self.mark.exists() else {}

    def is_whole(self) -> bool:
        return bool(self._marked().get("whole"))

    def main_job(self) -> str:
        """Key of the job whose sheet is the demo's result."""
        return self._marked().get("job", "")

    def write(self, *, whole: bool, job: str = "") -> None:
        text = json.dumps({"today": self.today.isoformat(), "whole": whole, "job": job}) + "\n"
        draft = self.mark.with_suffix(".new")
        draft.write_text(text, encoding="utf-8")
        draft.replace(self.mark)

    @classmethod
    def open(cls, folder: Path) -> Demo:
        """The demo in this folder, begun on the day that it wrote down, or today when there is none."""
        mark = folder / "demo.json"
        if mark.exists():
            return cls(folder, date.fromisoformat(json.loads(mark.read_text(encoding="utf-8"))["today"]))
        return cls(folder, timezone.localdate())


def play(demo: Demo, tell: Callable[[str], None]) -> int:
    """Play what is not played yet; answers the number of acts. Refusals are `SceneError`."""
    demo.write(whole=False)
    player = Player(demo.today)
    player.names["tablet"], _ = Device.objects.get_or_create(name="Workshop tablet")
    first = Person.objects.filter(sign_in_name="silvan").first()
    player.names["silvan"] = first or people.add_first_owner(
        name="Silvan Quarrie", sign_in_name="silvan", password=PASSWORD
    )
    for scene in SCENES:
        player.play(scene, tell)
    demo.write(whole=True, job=str(player.names["job"].pk))
    return player.played


def sign_ins() -> list[tuple[str, str]]:
    """Who signs in by which name: (name to sign in with, what they are)."""
    rows = []
    for person in Person.objects.with_roles().filter(is_active=True).order_by("added_at"):
        roles = ", ".join(sorted(role.label.lower() for role in person.roles))
        cars = Keeper.objects.filter(account=person).first()
        rows.append(
            (
                person.sign_in_name,
                f"{person.name} ({roles})" if not cars else f"{person.name} (owner of a car)",
            )
        )
    return rows
