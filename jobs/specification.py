"""What a procedure asks for, read from what was typed: the shape of a step, its stages and their targets.

Everything is checked here, each refusal beside its field, and built without being written. A stage is given as
a dict (`StageSpec` lists its keys); numbers in it may be decimals or their text.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, TypedDict

from django.core.exceptions import ValidationError

from jobs.models import ProcedureStage, ProcedureStep, StageTarget
from jobs.models.procedure import LimitKind, Pattern, StageKind
from workshop.engineering import patterns
from workshop.engineering.errors import EngineeringError
from workshop.engineering.fasteners import NUT_FACTORS
from workshop.engineering.numbers import parse_number, plain
from workshop.engineering.units import UNITS, Amount, show
from workshop.engineering.verdict import Limits
from workshop.models import Shop

MOST_NM = Decimal(5000)
DIMENSIONS = {
    StageKind.TORQUE: ("torque",),
    StageKind.ANGLE: ("angle",),
    StageKind.LOOSEN: (),
    StageKind.RESULT: ("length", "torque", "force", "angle"),
}
NUMBER_KEYS = ("value", "tolerance_percent", "plus", "minus", "low", "high")
TARGET_KEYS = ("group", "limit", *NUMBER_KEYS, "unit", "source", "shops_own")


class StageSpec(TypedDict, total=False):
    """One stage. A single target stands beside the name; several stand in `targets`, one per group.

    `limit` may be left out: it follows from which values are given. A tolerance is in percent, or as a size
    (`plus`, `minus`) in the unit; with none the shop's own default is taken, and shown as such. `source`
    is where
    the value stands, closer than the version says; `shops_own` marks one that no maker gives.
    """

    name: str
    kind: str
    add_running_torque: bool
    note: str
    targets: list[dict[str, Any]]
    group: str
    limit: str
    value: Decimal | str
    tolerance_percent: Decimal | str
    plus: Decimal | str
    minus: Decimal | str
    low: Decimal | str
    high: Decimal | str
    unit: str
    source: str
    shops_own: bool


def shape(step: ProcedureStep, sequence: list[int] | None, groups: dict[str, list[int]] | None) -> None:
    """Pattern, sequence and groups that go together; each refusal beside its field."""
    n = step.fasteners
    if not 1 <= n <= 60:
        raise ValidationError({"fasteners": "A step has between 1 and 60 fasteners."})
    if step.pattern == Pattern.GRID and step.rows * step.columns != n:
        raise ValidationError(
            {
                "rows": f"{step.rows} rows of {step.columns} make {step.rows * step.columns} "
                f"fasteners, not {n}."
            }
        )
    if step.pattern != Pattern.GRID:
        step.rows = step.columns = 1
    if step.pattern == Pattern.FREE and step.points:
        fine = len(step.points) == n and all(
            len(point) == 2 and all(0 <= float(x) <= 1 for x in point) for point in step.points
        )
        if not fine:
            raise ValidationError(
                {"points": f"Give one place for each of the {n} fasteners, both numbers from 0 to 1."}
            )
    elif step.pattern != Pattern.FREE:
        step.points = []
    try:
        step.sequence = list(
            patterns.check_sequence(sequence, n)
            if sequence
            else patterns.default_sequence(patterns.Pattern(step.pattern), n, step.rows, step.columns)
        )
    except EngineeringError as error:
        raise ValidationError(
            {"sequence": f"{error} Each fastener from 1 to {n} stands in it once."}
        ) from error
    groups = {name.strip(): list(numbers) for name, numbers in (groups or {}).items()}
    listed = [number for numbers in groups.values() for number in numbers]
    if groups and sorted(listed) != list(range(1, n + 1)):
        raise ValidationError(
            {"groups": f"Each fastener from 1 to {n} belongs to one group, and to one only."}
        )
    if any(not name or len(name) > 40 for name in groups):
        raise ValidationError({"groups": "Each group has a name of at most 40 characters."})
    if step.order_of_work == "by_groups" and not groups:
        raise ValidationError(
            {"order_of_work": "Group by group needs groups: say which fasteners belong to which."}
        )
    step.groups = groups
    if step.nut_factor is None and step.friction in NUT_FACTORS:
        step.nut_factor = NUT_FACTORS[step.friction].value


def build_stage(
    step: ProcedureStep, number: int, spec: dict[str, Any]
) -> tuple[ProcedureStage, list[StageTarget]]:
    spec = dict(spec)
    unknown = set(spec) - set(StageSpec.__annotations__)
    if unknown:
        raise TypeError(f"a stage has no {', '.join(sorted(unknown))}")
    kind = spec.get("kind") or StageKind.TORQUE
    if kind not in StageKind.values:
        raise ValidationError({"kind": "Choose the kind of stage."})
    stage = ProcedureStage(
        step=step,
        order=number,
        name=str(spec.get("name") or "").strip(),
        kind=kind,
        add_running_torque=bool(spec.get("add_running_torque")) and kind == StageKind.TORQUE,
        note=str(spec.get("note") or "").strip(),
    )
    if not stage.name:
        raise ValidationError({"name": "Name the stage, such as “Round 1”."})
    if kind == StageKind.LOOSEN:
        return stage, []
    # An empty list is a stage that is still to get its target; without a list the target stands beside the
    # name.
    rows = (
        spec["targets"]
        if spec.get("targets") is not None
        else [{key: spec[key] for key in TARGET_KEYS if spec.get(key) not in (None, "", False)}]
    )
    targets = [build_target(stage, step, row) for row in rows]
    named = [target.group for target in targets]
    if len(set(named)) != len(named):
        raise ValidationError({"targets": "Give one target for each group."})
    return stage, targets


def build_target(stage: ProcedureStage, step: ProcedureStep, row: dict[str, Any]) -> StageTarget:
    group = str(row.get("group") or "")
    if group and group not in step.groups:
        raise ValidationError(
            {"group": f"“{group}” is not a group of this step: {', '.join(step.groups) or 'it has none'}."}
        )
    unit = str(row.get("unit") or "")
    if not unit and stage.kind == StageKind.ANGLE:
        unit = "deg"
    if unit not in UNITS or UNITS[unit].dimension not in DIMENSIONS[stage.kind]:
        raise ValidationError(
            {
                "unit": f"Choose a unit that goes with a stage of kind {stage.get_kind_display().lower()}: "
                f"{', '.join(one.label for one in UNITS.values() if one.dimension in DIMENSIONS[stage.kind])}."
            }
        )
    number = {name: _number(name, row.get(name)) for name in NUMBER_KEYS}
    limit = str(row.get("limit") or "") or _limit_of(number)
    target = StageTarget(
        stage=stage,
        group=group,
        limit=limit,
        unit=unit,
        source=str(row.get("source") or "").strip(),
        shops_own=bool(row.get("shops_own")),
    )
    if len(target.source) > 120:
        raise ValidationError({"source": "Say in at most 120 characters where this value stands."})
    {
        LimitKind.TOLERANCE: _tolerance,
        LimitKind.RANGE: _range,
        LimitKind.MINIMUM: _minimum,
        LimitKind.MAXIMUM: _maximum,
        LimitKind.NONE: _open,
    }.get(limit, _unknown)(target, number)
    for name in ("value", "low", "high"):
        value = getattr(target, name)
        if value is None:
            continue
        _refuse_size(stage, name, value, unit)
        setattr(target, f"base_{name}", Amount(value, unit).base().quantize(Decimal("0.000001")))
    return target


def _number(name: str, value: Any) -> Decimal | None:
    if value is None or value == "":
        return None
    try:
        found = value if isinstance(value, Decimal) else parse_number(str(value))
    except EngineeringError as error:
        raise ValidationError({name: str(error)}) from error
    if found < 0:
        raise ValidationError({name: "Give it as a size, without a minus sign."})
    if found != found.quantize(Decimal("0.001")):
        raise ValidationError({name: f"Give at most three decimals: {plain(found, 6)} was typed."})
    return found


def _limit_of(number: dict[str, Decimal | None]) -> str:
    if number["value"] is not None:
        return LimitKind.TOLERANCE
    low, high = number["low"] is not None, number["high"] is not None
    return {
        (True, True): LimitKind.RANGE,
        (True, False): LimitKind.MINIMUM,
        (False, True): LimitKind.MAXIMUM,
    }.get((low, high), LimitKind.NONE)


def _tolerance(target: StageTarget, number: dict) -> None:
    value = _needed(number, "value", "Give the target.")
    percent, plus, minus = number["tolerance_percent"], number["plus"], number["minus"]
    if percent is not None and (plus is not None or minus is not None):
        raise ValidationError({"tolerance_percent": "Give the tolerance in percent or as a size, not both."})
    if percent is None and plus is None and minus is None:
        percent = Shop.current().default_tolerance_percent
        target.tolerance_is_shops = True
    if percent is not None and percent >= 100:
        raise ValidationError({"tolerance_percent": "Give less than 100 percent."})
    if percent is not None:
        limits = Limits.around_percent(value, percent)
    else:
        # A single size given as the upper one is meant both ways (±); a lower one alone leaves nothing above.
        limits = Limits.around(value, plus or Decimal(0), plus if minus is None else minus)
    if limits.low < 0:
        raise ValidationError({"minus": f"The tolerance reaches below 0: the target is {plain(value)}."})
    target.value, target.low, target.high = value, _three(limits.low), _three(limits.high)


def _range(target: StageTarget, number: dict) -> None:
    low, high = (
        _needed(number, "low", "Give the lower value."),
        _needed(number, "high", "Give the upper value."),
    )
    if high < low:
        raise ValidationError({"high": f"The upper value can't be below the lower one ({plain(low)})."})
    target.low, target.high = low, high


def _minimum(target: StageTarget, number: dict) -> None:
    target.low = _needed(number, "low", "Give the least value.", "value")


def _maximum(target: StageTarget, number: dict) -> None:
    target.high = _needed(number, "high", "Give the most that is allowed.", "value")


def _open(target: StageTarget, number: dict) -> None:
    target.value = number["value"]


def _unknown(target: StageTarget, number: dict) -> None:
    raise ValidationError({"limit": "Choose the kind of limit."})


def _needed(number: dict, name: str, sentence: str, instead: str = "") -> Decimal:
    value = number[name] if number[name] is not None or not instead else number[instead]
    if value is None:
        raise ValidationError({name: sentence})
    return value


def _three(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.001"))


def _refuse_size(stage: ProcedureStage, name: str, value: Decimal, unit: str) -> None:
    amount = Amount(value, unit)
    if stage.kind in (StageKind.TORQUE, StageKind.ANGLE) and value <= 0 and name != "low":
        raise ValidationError({name: "A target is above 0."})
    if amount.dimension == "torque" and amount.base() > MOST_NM:
        raise ValidationError(
            {name: f"{show(amount)} is above {show(Amount(MOST_NM, 'N.m'))}: look at the unit."}
        )
    if amount.dimension == "angle" and amount.base() > 1080:
        raise ValidationError({name: f"{show(amount)} is more than three turns: look at the figure."})
