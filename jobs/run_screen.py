"""What the run screen shows: the place that is worked at, the target in the tool's unit, the tools to
choose from.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from jobs import patterns, through
from jobs.models import StageTarget, TorqueReading
from jobs.models.procedure import LimitKind, OrderOfWork, StageKind
from jobs.models.torque import ReadingKind, ReadingVerdict
from jobs.run_state import FastenerState, RunState, StageState, StepState
from jobs.run_words import times_words
from jobs.through import Through
from jobs.tool_in_hand import SHOWN_AS_LAST
from workshop.engineering.numbers import ordinal
from workshop.engineering.units import UNITS, Amount, rounded, show
from workshop.models import Event, Person, TorqueTool
from workshop.models.tools import ToolKind

SET_KINDS = (ReadingKind.CLICKED, ReadingKind.DID_NOT_MOVE)


@dataclass(frozen=True)
class Place:
    """Where the hand is: a step, a stage and a fastener of it."""

    step: StepState
    stage: StageState
    fastener: int

    @property
    def one(self) -> FastenerState:
        return self.stage.fasteners[self.fastener]

    @property
    def target(self) -> StageTarget | None:
        return self.stage.target(self.step.step.group_of(self.fastener))

    @property
    def needs_new(self) -> bool:
        return self.fastener in self.step.new_needed


def place_of(state: RunState, asked: Mapping[str, Any]) -> Place:
    """The place that was asked for (`step`, `stage`, `fastener`), else the next one, else the first step."""
    step = _chosen(state.steps, asked.get("step"), lambda one: one.step.pk)
    stage_state = fastener = None
    if step is None and (wanted := asked.get("stage")):
        step = next((s for s in state.steps if _chosen(s.stages, wanted, lambda one: one.stage.pk)), None)
    if step is None and state.next:
        step = state.step(state.next[0])
        stage_state, fastener = step.stage(state.next[1]), state.next[2]
    if step is None:
        step = next((s for s in state.steps if not s.settled), state.steps[0])
    stage_state = _chosen(step.stages, asked.get("stage"), lambda one: one.stage.pk) or stage_state
    number = _whole(asked.get("fastener"))
    if number in step.stages[0].fasteners:
        fastener = number
    if stage_state is None:
        stage_state = _open_stage(step, fastener)
    if fastener is None:
        fastener = next((n for s, n in step.places() if s is stage_state and n in stage_state.todo), None)
    return Place(step, stage_state, fastener or step.step.sequence[0])


def _open_stage(step: StepState, fastener: int | None) -> StageState:
    for stage, number in step.places():
        if (fastener in (None, number)) and number in stage.todo and not step.too_early(stage.stage, number):
            return stage
    return step.stages[-1]


def _chosen(rows, wanted, key):
    number = _whole(wanted)
    return next((row for row in rows if key(row) == number), None)


def _whole(text: Any) -> int | None:
    try:
        return int(text)
    except (TypeError, ValueError):
        return None


def url_of(page: str, place: Place, **changes: Any) -> str:
    """The address of this page at another place: `page` is the run's own, or that of a preview."""
    values = {
        "step": place.step.step.pk,
        "stage": place.stage.stage.pk,
        "fastener": place.fastener,
        **changes,
    }
    query = urlencode({name: value for name, value in values.items() if value is not None})
    return f"{page}?{query}"


# The target
# --------------------------------------------------------------------------------------------------


def aim_of(target: StageTarget | None) -> Amount | None:
    """What a tool is set to: the target, the middle of a range, the least or the most."""
    if target is None:
        return None
    value = target.value
    if value is None and target.low is not None and target.high is not None:
        value = (target.low + target.high) / 2
    if value is None:
        value = target.low if target.low is not None else target.high
    return None if value is None else Amount(value, target.unit)


def target_figure(target: StageTarget | None, unit: str = "") -> dict[str, str] | None:
    """The target as the big figure, in the tool's unit where there is one: {before, figure, unit, limits,
    source}.
    """
    if target is None or target.limit == LimitKind.NONE:
        return None
    unit = unit if unit and UNITS[unit].dimension == UNITS[target.unit].dimension else target.unit

    def figure(value: Decimal) -> str:
        return f"{rounded(Amount(value, target.unit).to(unit).value, unit):f}"

    label = UNITS[unit].label
    base = {"before": "", "unit": label, "limits": "", "source": "" if unit == target.unit else target.words}
    match target.limit:
        case LimitKind.TOLERANCE:
            shops = ", the shop's own tolerance" if target.tolerance_is_shops else ""
            limits = f"{figure(target.low)} to {figure(target.high)} {label}{shops}"
            return {**base, "figure": figure(target.value), "limits": limits}
        case LimitKind.RANGE:
            return {**base, "figure": f"{figure(target.low)}–{figure(target.high)}"}
        case LimitKind.MINIMUM:
            return {**base, "before": "at least", "figure": figure(target.low)}
    return {**base, "before": "at most", "figure": figure(target.high)}


def through_before(state: RunState, place: Place, tool: TorqueTool | None) -> Through | None:
    """The extension that this tool was last used through in this step: the next fastener mostly needs it too."""
    if tool is None or place.stage.stage.kind != StageKind.TORQUE:
        return None
    return through.before(state.readings, place.step.step.pk, tool.pk)


def setting_of(aim: Amount, unit: str, taken: Through | None) -> Amount:
    """What a tool is set to in its unit for a torque at the fastener, as fine as the unit is shown."""
    there = aim.to(unit)
    return taken.to_set(there) if taken else Amount(rounded(there.value, unit), unit)


def to_set(
    state: RunState, place: Place, tool: TorqueTool | None, taken: Through | None = None
) -> Amount | None:
    """What the number field begins with: what the tool was last set to here, else the target in its unit.

    Through an extension it is the setting for it. Nothing for a tool that shows a value: it is read off, never guessed.
    """
    kind = place.stage.stage.kind
    if kind == StageKind.RESULT or kind == StageKind.LOOSEN:
        return None
    if kind == StageKind.TORQUE:
        if tool is None or tool.kind != ToolKind.SETTING:
            return None
        target = place.target
        for row in reversed(state.readings):
            same = row.stage_id == place.stage.stage.pk and row.tool_id == tool.pk
            # What was set wrong is not offered again.
            if (
                same
                and row.stands_for_work
                and row.verdict == ReadingVerdict.WITHIN
                and through.of_reading(row) == taken
                and place.stage.target(place.step.step.group_of(row.fastener)) is target
            ):
                return Amount(row.typed, row.unit)
    aim = aim_of(place.target)
    unit = tool.unit if kind == StageKind.TORQUE and tool else "deg"
    if aim is None or UNITS[aim.unit].dimension != UNITS[unit].dimension:
        return None
    return setting_of(aim, unit, taken)


def to_set_anew(
    state: RunState, place: Place, tool: TorqueTool | None, said: Any, taken: Through | None = None
) -> Amount | None:
    """What the wrench is set to before this place, where the last reading had another target.

    None where nothing is to be set: at the first stage of a run, with a tool that shows a value, or when `said`
    names this target: somebody has said that it is set.
    """
    target = place.target
    if place.stage.stage.kind != StageKind.TORQUE or tool is None or tool.kind != ToolKind.SETTING:
        return None
    if target is None or _whole(said) == target.pk or (aim := aim_of(target)) is None:
        return None
    last = next(
        (row for row in reversed(state.readings) if row.kind in SET_KINDS and row.put_right_by is None), None
    )
    if last is None:
        return None
    of = next(step for step in state.steps if step.step.pk == last.step_id)
    before = of.stage(last.stage).target(of.step.group_of(last.fastener))
    if before is None or _aimed(before) == _aimed(target):
        return None
    return setting_of(aim, tool.unit, taken)


def _aimed(target: StageTarget) -> Decimal | None:
    aim = aim_of(target)
    return None if aim is None else aim.base()


# Tools
# -------------------------------------------------------------------------------------------------------


def tools_for(
    place: Place, day: date, readings: Sequence[TorqueReading] = (), last: Sequence[Any] = ()
) -> list[dict[str, Any]]:
    """Tools of the right kind, each with why not: three queries. Those that are fit for this target come first,
    of these the `last` used (keys, the latest first).

    A tool that was last used through an extension (in `readings`) is judged by what it is set to.
    """
    kind = place.stage.stage.kind
    if kind not in (StageKind.TORQUE, StageKind.ANGLE):
        return []
    rows = TorqueTool.objects.prefetch_related("calibrations", "failures")
    rows = rows.filter(kind=ToolKind.ANGLE) if kind == StageKind.ANGLE else rows.exclude(kind=ToolKind.ANGLE)
    aim = aim_of(place.target) if kind == StageKind.TORQUE else None
    found = []
    for tool in rows:
        low_high = tool.working_range(day) if tool.scale_high is not None else None
        taken = through.before(readings, place.step.step.pk, tool.pk) if aim else None
        calibration = tool.calibration_on(day)
        found.append(
            {
                "tool": tool,
                "unfit": tool.unfit_because(taken.to_set(aim) if taken else aim, on=day),
                "range": f"{show(low_high[0])} to {show(low_high[1])}" if low_high else "",
                "deviation": calibration.deviation_percent if calibration else None,
                "last": tool.pk in last[:SHOWN_AS_LAST],
            }
        )
    turn = {key: place for place, key in enumerate(last)}
    return sorted(
        found,
        key=lambda row: (bool(row["unfit"]), turn.get(row["tool"].pk, len(turn)), row["tool"].label),
    )


def kinds_of(place: Place, tool: TorqueTool | None) -> list[dict[str, str]]:
    """The answers that this stage takes with this tool, the usual one first: {kind, label, hint}."""

    def row(kind: ReadingKind, label: str, hint: str) -> dict[str, str]:
        return {"kind": kind.value, "label": label, "hint": hint}

    match place.stage.stage.kind:
        case StageKind.LOOSEN:
            return [row(ReadingKind.LOOSENED, "Loosened", "the fastener was turned back")]
        case StageKind.ANGLE:
            return [row(ReadingKind.ANGLE, "Turned", "by this angle")]
        case StageKind.RESULT:
            return [row(ReadingKind.RESULT, "Measured", "what the gauge showed")]
    if tool is not None and tool.kind == ToolKind.INDICATING:
        return [
            row(ReadingKind.READ, "Read off", "what it showed"),
            row(ReadingKind.DID_NOT_MOVE, "Did not move", "at this value"),
        ]
    return [
        row(ReadingKind.CLICKED, "Clicked", "at the set value"),
        row(ReadingKind.DID_NOT_MOVE, "Did not move", "clicked at once"),
    ]


def usual_kind(state: RunState, place: Place, kinds: list[dict[str, str]]) -> str:
    """Which answer is chosen at first. Where rounds are gone until nothing moves: the one that was given
    last.
    """
    if place.step.step.order_of_work == OrderOfWork.UNTIL_STILL:
        last = next((row for row in reversed(place.step.readings) if row.stands_for_work), None)
        if last is not None and any(row["kind"] == last.kind for row in kinds):
            return last.kind
    return kinds[0]["kind"]


# The words for where the hand is
# -----------------------------------------------------------------------------------


def where(state: RunState, place: Place) -> dict[str, Any]:
    """Stage and sequence in words: {stage, stages, name, turn, count, order}."""
    sequence = place.step.step.sequence
    return {
        "stage": place.step.stages.index(place.stage) + 1,
        "stages": len(place.step.stages),
        "name": place.stage.stage.name,
        "turn": ordinal(sequence.index(place.fastener) + 1),
        "count": len(sequence),
    }


def units_of_entry(
    place: Place, units: list[str], tool: TorqueTool | None, taken: Through | None = None
) -> list[dict[str, str]]:
    """The units that a reading may be typed in, the tool's own first, each with what the target is in it.

    {code, label, figure, limits, set, setting, low, high}: `set` is what a tool is set to, `setting` the same with its
    unit, `figure` the target as it is shown, `low` and `high` its limits as they are shown, empty where it has none.
    """
    target, aim = place.target, aim_of(place.target)
    mine = tool.unit if tool is not None and tool.unit in units else ""
    rows = []
    for code in sorted(units, key=lambda each: each != mine):
        row = {"code": code, "label": UNITS[code].label}
        row |= dict.fromkeys(("figure", "limits", "set", "setting", "low", "high"), "")
        if aim is not None and UNITS[aim.unit].dimension == UNITS[code].dimension:
            shown = target_figure(target, code)
            setting = setting_of(aim, code, taken)
            row |= {"set": f"{setting.value:f}", "setting": show(setting)}
            if shown:
                row |= {"figure": shown["figure"], "limits": shown["limits"]}
                for end in ("low", "high"):
                    if (value := getattr(target, end)) is not None:
                        row[end] = f"{rounded(Amount(value, target.unit).to(code).value, code):f}"
        rows.append(row)
    return rows


# What else waits
# ---------------------------------------------------------------------------------------------


def decisions(state: RunState) -> list[dict[str, Any]]:
    """Readings that wait for a decision: above, and not proven on critical steps."""
    found = []
    for step in state.steps:
        for stage in step.stages:
            for number, one in stage.fasteners.items():
                if one.flag == "above" or patterns.unproven(step.step, one):
                    found.append(
                        {"reading": one.reading, "step": step.step, "stage": stage.stage, "fastener": number}
                    )
    return found


def checks_due(state: RunState, person: Person) -> list[dict[str, Any]]:
    """Critical steps that are through and wait for their second check: {of, mine}."""
    return [
        {"of": one, "mine": may_check(one, person, state.readings)}
        for one in state.steps
        if one.step.critical and one.settled and one.check in ("missing", "lapsed", "failed")
    ]


def may_check(step: StepState, person: Person, readings: list[TorqueReading]) -> bool:
    """Took no reading in the step: may do its second check."""
    return not any(row.step_id == step.step.pk and row.made_by_id == person.pk for row in readings)


def stage_rows(place: Place, page: str) -> list[dict[str, Any]]:
    """The stages of the step at hand with how far they are."""
    return [
        {
            "state": stage,
            "url": url_of(page, place, stage=stage.stage.pk, fastener=None),
            "here": stage is place.stage,
            "done": len(stage.fasteners) - len(stage.todo),
            "count": len(stage.fasteners),
        }
        for stage in place.step.stages
    ]


def drawing(place: Place, page: str, *, ended: bool, said_set: int | None) -> dict[str, Any]:
    return patterns.run_drawing(
        place.step.step,
        place.stage,
        None if ended else place.fastener,
        lambda number: url_of(page, place, fastener=number, set=said_set) + "#work",
    )


def fastener_rows(place: Place) -> list[dict[str, Any]]:
    """What is on record of the fastener at hand in its step, stage by stage, the newest first:
    [{stage, state, readings}].
    """
    return [
        {
            "stage": stage.stage,
            "one": stage.fasteners[place.fastener],
            "readings": sorted(
                (
                    row
                    for row in place.step.readings
                    if row.stage_id == stage.stage.pk and row.fastener == place.fastener
                ),
                key=lambda row: -row.order,
            ),
        }
        for stage in place.step.stages
    ]


def sent_later(readings: Sequence[TorqueReading]) -> set[str]:
    """Keys of the readings that a device kept until it could send them: one query where any came late."""
    late = [str(row.pk) for row in readings if row.written_down_late and not row.corrects_id]
    if not late:
        return set()
    events = Event.objects.filter(subject_kind="jobs.torquereading", subject_id__in=late)
    # The body is canonical JSON, so a device's time that is there is a text.
    return {key for key, body in events.values_list("subject_id", "body") if '"device_time":"' in body}


def reading_rows(state: RunState, of: StepState, sent: set[str]) -> list[dict[str, Any]]:
    """All readings of a step, the newest first; each says whether it stands, or what was put in its place, and
    when it was done where that is not when it was written down. `sent`: see `sent_later`.
    """
    names = {stage.stage.pk: stage.stage.name for stage in of.stages}
    standing = {one.reading.pk: one for stage in of.stages for one in stage.fasteners.values() if one.reading}
    decided: dict = {}
    for row in state.dispositions:
        decided.setdefault(row.reading_id, []).append(row)
    return [
        {
            "reading": row,
            "stage": names[row.stage_id],
            "stands": row.pk in standing,
            "one": standing.get(row.pk),
            "dispositions": decided.get(row.pk, []),
            "times": times_words(row, sent=str(row.pk) in sent),
        }
        for row in reversed(state.readings)
        if row.step_id == of.step.pk
    ]
