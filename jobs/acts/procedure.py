"""The library of tightening procedures: drafts that take steps and stages, released versions that never
change.

A stage is given as a dict (`StageSpec` lists its keys); numbers in it may be decimals or their text.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, TypedDict

from django.core.exceptions import ValidationError
from django.db.models import Max

from jobs.models import Procedure, ProcedureStage, ProcedureStep, ProcedureVersion, StageTarget
from jobs.models.procedure import LimitKind, Pattern, StageKind
from workshop.acting import By, act, create, save_changes
from workshop.acting import note as say
from workshop.canonical import canonical, sha256
from workshop.engineering import patterns
from workshop.engineering.errors import EngineeringError
from workshop.engineering.fasteners import NUT_FACTORS, proof_share, question_units, thread
from workshop.engineering.numbers import parse_number, plain
from workshop.engineering.threads import property_class
from workshop.engineering.units import UNITS, Amount, show
from workshop.engineering.verdict import DecisionRule, Limits, proven_range
from workshop.models import Shop, TorqueTool
from workshop.models.tools import ToolKind
from workshop.permissions import May

MOST_NM = Decimal(5000)
DIMENSIONS = {
    StageKind.TORQUE: ("torque",),
    StageKind.ANGLE: ("angle",),
    StageKind.LOOSEN: (),
    StageKind.RESULT: ("length", "torque", "force", "angle"),
}
STEP_FIELDS = (
    "title",
    "fasteners",
    "pattern",
    "rows",
    "columns",
    "points",
    "sequence",
    "groups",
    "order_of_work",
    "critical",
    "hold_point",
    "thread",
    "property_class",
    "friction",
    "nut_factor",
    "reuse",
    "to_yield",
    "threadlocker",
    "kept_because",
    "note",
)
VERSION_FIELDS = ("source", "change_note", "cautions", "competence", "recheck_km", "recheck_note")


class StageSpec(TypedDict, total=False):
    """One stage. A single target stands beside the name; several stand in `targets`, one per group.

    `limit` may be left out: it follows from which values are given. A tolerance is in percent, or as a size
    (`plus`, `minus`) in the unit; with none the shop's own default is taken, and shown as such.
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


TARGET_KEYS = ("group", "limit", "value", "tolerance_percent", "plus", "minus", "low", "high", "unit")


# Procedures and versions ------------------------------------------------------------------------------------


@act(May.EDIT_PROCEDURE)
def add_procedure(*, by: By, title: str, area: str, applies_to: str = "") -> Procedure:
    """Add a procedure to the library; what it says stands in its versions."""
    title = title.strip()
    if Procedure.objects.filter(title__iexact=title).exists():
        raise ValidationError(
            {"title": f"“{title}” is in the library already: make a new version of it, or name it otherwise."}
        )
    row = create(Procedure(**by.stamp(), title=title, area=area, applies_to=applies_to.strip()))
    say(row, facts={"title": title, "area": area, "applies_to": row.applies_to})
    return row


@act(May.EDIT_PROCEDURE)
def withdraw_procedure(
    *, by: By, procedure: Procedure, seen_version: int, withdrawn_because: str
) -> Procedure:
    """Take a procedure out of use: no new run starts with it. Its versions and runs stay."""
    if not withdrawn_because.strip():
        raise ValidationError({"withdrawn_because": "Say why the procedure is withdrawn."})
    changes = save_changes(procedure, seen_version=seen_version, withdrawn_because=withdrawn_because.strip())
    say(procedure, facts={"changes": changes})
    return procedure


@act(May.EDIT_PROCEDURE)
def start_version(
    *,
    by: By,
    procedure: Procedure,
    source: str,
    change_note: str = "",
    cautions: str = "",
    competence: str = "",
    recheck_km: Decimal | None = None,
    recheck_note: str = "",
) -> ProcedureVersion:
    """Begin a draft: a copy of the released version's steps, or empty. One draft at a time."""
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    if (draft := procedure.versions.filter(released_at=None).first()) is not None:
        raise ValidationError(
            f"There is a draft already (version {draft.number}, {draft.made_by}): go on with that one."
        )
    released = procedure.released()
    if released is not None and not change_note.strip():
        raise ValidationError({"change_note": "Say what changes against the released version."})
    number = (procedure.versions.aggregate(last=Max("number"))["last"] or 0) + 1
    version = create(
        ProcedureVersion(
            **by.stamp(),
            procedure=procedure,
            number=number,
            source=source.strip(),
            change_note=change_note.strip(),
            cautions=cautions.strip(),
            competence=competence,
            recheck_km=recheck_km,
            recheck_note=recheck_note.strip(),
        )
    )
    if released is not None:
        _copy_steps(released, version)
    say(
        version,
        facts={
            "procedure": procedure.title,
            "version": number,
            "source": version.source,
            "change_note": version.change_note,
            "copied_from": released.number if released else None,
        },
    )
    return version


def _copy_steps(old: ProcedureVersion, new: ProcedureVersion) -> None:
    for step in old.steps.prefetch_related("stages__targets"):
        stages = list(step.stages.all())
        step.pk, step.version, step._state.adding = None, new, True
        step.save(force_insert=True)
        for stage in stages:
            targets = list(stage.targets.all())
            stage.pk, stage.step, stage._state.adding = None, step, True
            stage.save(force_insert=True)
            for target in targets:
                target.pk, target.stage, target._state.adding = None, stage, True
                target.save(force_insert=True)


@act(May.EDIT_PROCEDURE)
def write_version(*, by: By, version: ProcedureVersion, seen: str = "", **fields: Any) -> ProcedureVersion:
    """Change what a draft says of itself (`VERSION_FIELDS`). `seen` is `seen_version_text` of what was on
    the screen.
    """
    version = _draft(version)
    _refuse_unseen(seen, seen_version_text(version))
    for name, value in fields.items():
        if name not in VERSION_FIELDS:
            raise TypeError(f"a version has no field {name} to write")
        setattr(version, name, value.strip() if isinstance(value, str) else value)
    version.full_clean()
    version.save(update_fields=list(fields))
    say(version, facts={"version": str(version), **fields})
    return version


@act(May.EDIT_PROCEDURE)
def release_version(*, by: By, version: ProcedureVersion) -> ProcedureVersion:
    """Release a draft: from now on nothing of it changes, and new runs work by it."""
    version = _draft(version)
    steps = list(version.steps.prefetch_related("stages__targets"))
    if not steps:
        raise ValidationError("A version without steps can't be released: add its first step.")
    for step in steps:
        if why := why_not_whole(step):
            raise ValidationError(why)
    version.released_at, version.released_by = by.made_at, by.person
    version.full_clean()
    version.save(update_fields=["released_at", "released_by"])
    say(version, facts={"version": str(version), "released": True, "hash": content_hash(version)})
    return version


def why_not_whole(step: ProcedureStep) -> str:
    """What a step lacks before its version can be released; empty when it is whole. Reads stages and
    targets.
    """
    stages = list(step.stages.all())
    if not any(stage.kind != StageKind.LOOSEN for stage in stages):
        return f"Step {step.order}, {step.title}, tightens nothing yet: add a stage with its target."
    for stage in stages:
        groups = {target.group for target in stage.targets.all()}
        if stage.kind == StageKind.LOOSEN or "" in groups:
            continue
        if missing := [name for name in step.groups if name not in groups] or ([] if groups else ["all"]):
            return f"Step {step.order}, stage {stage.name}: no target for {', '.join(missing)}."
    return ""


def content_hash(version: ProcedureVersion) -> str:
    """SHA-256 of all that a version says, so that a print can name exactly what was worked by."""
    return sha256(
        canonical(
            {
                "procedure": version.procedure.title,
                "version": version.number,
                **{name: getattr(version, name) for name in VERSION_FIELDS},
                "steps": [
                    {
                        **{name: getattr(step, name) for name in STEP_FIELDS},
                        "stages": [
                            {
                                "name": stage.name,
                                "kind": stage.kind,
                                "add_running_torque": stage.add_running_torque,
                                "note": stage.note,
                                "targets": [
                                    [t.group, t.limit, t.base_value, t.base_low, t.base_high]
                                    for t in stage.targets.order_by("group")
                                ],
                            }
                            for stage in step.stages.order_by("order")
                        ],
                    }
                    for step in version.steps.order_by("order")
                ],
            }
        )
    )


# Steps ------------------------------------------------------------------------------------------------------


@act(May.EDIT_PROCEDURE)
def add_step(
    *,
    by: By,
    version: ProcedureVersion,
    title: str,
    fasteners: int,
    pattern: str = "circle",
    rows: int = 1,
    columns: int = 1,
    points: list | None = None,
    sequence: list[int] | None = None,
    groups: dict[str, list[int]] | None = None,
    order_of_work: str = "stage_by_stage",
    critical: bool = False,
    hold_point: bool = False,
    thread: str = "",
    property_class: str = "",
    friction: str = "",
    nut_factor: Decimal | None = None,
    reuse: str = "reusable",
    to_yield: bool = False,
    threadlocker: str = "",
    kept_because: str = "",
    note: str = "",
    stages: list[dict[str, Any]] | None = None,
) -> ProcedureStep:
    """Add a step at the end of a draft, with its stages if they are given. Without a sequence the usual
    one is taken.
    """
    version = _draft(version)
    step = ProcedureStep(
        version=version,
        order=(version.steps.aggregate(last=Max("order"))["last"] or 0) + 1,
        title=title.strip(),
        fasteners=fasteners,
        pattern=pattern,
        rows=rows,
        columns=columns,
        points=points or [],
        order_of_work=order_of_work,
        critical=critical,
        hold_point=hold_point,
        thread=thread.strip(),
        property_class=property_class.strip(),
        friction=friction.strip(),
        nut_factor=nut_factor,
        reuse=reuse,
        to_yield=to_yield,
        threadlocker=threadlocker.strip(),
        kept_because=kept_because.strip(),
        note=note.strip(),
    )
    _shape(step, sequence, groups)
    built = [_build(step, number, spec) for number, spec in enumerate(stages or [], 1)]
    _question(by, step, [target for _, targets in built for target in targets])
    create(step)
    for stage, targets in built:
        _insert(step, stage, targets)
    say(
        step, facts={"version": str(version), "step": step.order, **_step_facts(step), "stages": stages or []}
    )
    return step


@act(May.EDIT_PROCEDURE)
def change_step(
    *,
    by: By,
    step: ProcedureStep,
    seen: str = "",
    sequence: list[int] | None = None,
    groups: dict[str, list[int]] | None = None,
    **fields: Any,
) -> ProcedureStep:
    """Change a step of a draft. Its stages stay; what was questioned is questioned anew."""
    _draft(step.version)
    step = ProcedureStep.objects.select_for_update().select_related("version__procedure").get(pk=step.pk)
    _refuse_unseen(seen, seen_step_text(step))
    for name, value in fields.items():
        if name not in STEP_FIELDS:
            raise TypeError(f"a step has no field {name} to write")
        setattr(step, name, value.strip() if isinstance(value, str) else value)
    _shape(step, sequence, groups)
    _question(by, step, list(StageTarget.objects.filter(stage__step=step).select_related("stage")))
    step.full_clean()
    step.save()
    say(step, facts={"version": str(step.version), "step": step.order, **_step_facts(step)})
    return step


@act(May.EDIT_PROCEDURE)
def remove_step(*, by: By, step: ProcedureStep) -> ProcedureVersion:
    """Take a step out of a draft. The ones after it move up."""
    version = _draft(step.version)
    step = ProcedureStep.objects.select_for_update().get(pk=step.pk)
    say(version, facts={"version": str(version), "removed_step": step.order, **_step_facts(step)})
    StageTarget.objects.filter(stage__step=step).delete()
    step.stages.all().delete()
    order = step.order
    step.delete()
    for later in version.steps.filter(order__gt=order).order_by("order"):
        later.order -= 1
        later.save(update_fields=["order"])
    return version


@act(May.EDIT_PROCEDURE)
def move_step(*, by: By, step: ProcedureStep, up: bool) -> ProcedureVersion:
    """Exchange a step of a draft with the one before or after it."""
    version = _draft(step.version)
    steps = list(version.steps.select_for_update().order_by("order"))
    place = next(index for index, one in enumerate(steps) if one.pk == step.pk)
    other = place - 1 if up else place + 1
    if not 0 <= other < len(steps):
        raise ValidationError("This step is at the end already.")
    first, second = steps[place], steps[other]
    free = steps[-1].order + 1  # the order is unique: one of them steps aside first
    (a, b) = (first.order, second.order)
    for one, order in ((first, free), (second, a), (first, b)):
        one.order = order
        one.save(update_fields=["order"])
    say(version, facts={"version": str(version), "moved_step": first.title, "to": b})
    return version


@act(May.EDIT_PROCEDURE)
def add_stage(
    *, by: By, step: ProcedureStep, name: str, kind: str = "torque", kept_because: str = "", **spec: Any
) -> ProcedureStage:
    """Add a stage at the end of a step of a draft. The other keys are those of `StageSpec`."""
    _draft(step.version)
    step = ProcedureStep.objects.select_for_update().select_related("version__procedure").get(pk=step.pk)
    if kept_because.strip():
        step.kept_because = kept_because.strip()
    number = (step.stages.aggregate(last=Max("order"))["last"] or 0) + 1
    stage, targets = _build(step, number, {"name": name, "kind": kind, **spec})
    standing = list(StageTarget.objects.filter(stage__step=step).select_related("stage"))
    _question(by, step, [*standing, *targets])
    step.full_clean()
    step.save(update_fields=["questioned", "kept_because"])
    _insert(step, stage, targets)
    say(
        stage,
        facts={
            "version": str(step.version),
            "step": step.order,
            "stage": name,
            "kind": kind,
            "targets": [str(target) for target in targets],
            "kept_because": step.kept_because,
        },
    )
    return stage


@act(May.EDIT_PROCEDURE)
def add_target(
    *, by: By, stage: ProcedureStage, group: str, kept_because: str = "", **spec: Any
) -> StageTarget:
    """Add the target of another group to a stage of a draft. The other keys are those of a target of
    `StageSpec`.
    """
    _draft(stage.step.version)
    step = (
        ProcedureStep.objects.select_for_update().select_related("version__procedure").get(pk=stage.step_id)
    )
    if kept_because.strip():
        step.kept_because = kept_because.strip()
    if stage.kind == StageKind.LOOSEN:
        raise ValidationError("A stage that loosens has no target.")
    if stage.targets.filter(group=group).exists():
        raise ValidationError(
            {"group": f"{stage.name} has a target for this group. Take the stage out and write it anew."}
        )
    target = _target(stage, step, {"group": group, **spec})
    standing = list(StageTarget.objects.filter(stage__step=step).select_related("stage"))
    _question(by, step, [*standing, target])
    step.save(update_fields=["questioned", "kept_because"])
    create(target)
    say(
        target,
        facts={
            "version": str(step.version),
            "step": step.order,
            "stage": stage.name,
            "group": group,
            "target": str(target),
            "kept_because": step.kept_because,
        },
    )
    return target


@act(May.EDIT_PROCEDURE)
def remove_stage(*, by: By, stage: ProcedureStage) -> ProcedureStep:
    """Take a stage out of a draft. The ones after it move up."""
    step = stage.step
    _draft(step.version)
    say(step, facts={"version": str(step.version), "step": step.order, "removed_stage": stage.name})
    order = stage.order
    stage.targets.all().delete()
    stage.delete()
    for later in step.stages.filter(order__gt=order).order_by("order"):
        later.order -= 1
        later.save(update_fields=["order"])
    _question(by, step, list(StageTarget.objects.filter(stage__step=step).select_related("stage")))
    step.save(update_fields=["questioned"])
    return step


def _draft(version: ProcedureVersion) -> ProcedureVersion:
    Procedure.objects.select_for_update().get(pk=version.procedure_id)
    version = ProcedureVersion.objects.select_related("procedure").get(pk=version.pk)
    if version.released_at:
        raise ValidationError(
            f"{version} is released and never changes: start a new version, which begins as a copy of it.",
            code="released",
        )
    return version


def _step_facts(step: ProcedureStep) -> dict[str, Any]:
    return {name: getattr(step, name) for name in STEP_FIELDS} | {"questioned": step.questioned}


def seen_step_text(step: ProcedureStep) -> str:
    """Names the state of a draft's step, so that a save on what somebody changed meanwhile is refused."""
    return sha256(canonical({name: getattr(step, name) for name in STEP_FIELDS}))[:16]


def seen_version_text(version: ProcedureVersion) -> str:
    return sha256(canonical({name: getattr(version, name) for name in VERSION_FIELDS}))[:16]


def _refuse_unseen(seen: str, now: str) -> None:
    if seen and seen != now:
        raise ValidationError(
            "Somebody else changed this while you were writing. Nothing of yours is lost: open the "
            "page again in "
            "another window, compare, and write it there.",
            code="changed_meanwhile",
        )


def _shape(step: ProcedureStep, sequence: list[int] | None, groups: dict[str, list[int]] | None) -> None:
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


# Stages and their targets -----------------------------------------------------------------------------------


def _build(
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
    rows = spec.get("targets") or [{key: spec[key] for key in TARGET_KEYS if spec.get(key) not in (None, "")}]
    targets = [_target(stage, step, row) for row in rows]
    named = [target.group for target in targets]
    if len(set(named)) != len(named):
        raise ValidationError({"targets": "Give one target for each group."})
    return stage, targets


def _target(stage: ProcedureStage, step: ProcedureStep, row: dict[str, Any]) -> StageTarget:
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
            {"unit": f"Choose a unit that goes with a stage of kind {stage.get_kind_display().lower()}."}
        )
    number = {name: _number(name, row.get(name)) for name in TARGET_KEYS[2:-1]}
    limit = str(row.get("limit") or "") or _limit_of(number)
    target = StageTarget(stage=stage, group=group, limit=limit, unit=unit)
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


def _insert(step: ProcedureStep, stage: ProcedureStage, targets: list[StageTarget]) -> None:
    stage.step = step
    create(stage)
    for target in targets:
        target.stage = stage
        create(target)


# Questions --------------------------------------------------------------------------------------------------


def _question(by: By, step: ProcedureStep, targets: list[StageTarget]) -> None:
    """Ask about what looks wrong, with the numbers; kept only with a reason, which stands beside the
    question.
    """
    questions = [*load_questions(step, targets), *proof_questions(by, targets)]
    step.questioned = "\n".join(dict.fromkeys(questions))
    if questions and not step.kept_because:
        raise ValidationError(
            {"kept_because": [*dict.fromkeys(questions), "Put it right, or say here why it is kept."]},
            code="questioned",
        )


def load_questions(step: ProcedureStep, targets: list[StageTarget]) -> list[str]:
    """Torques that would put the bolt above its proof load, with the friction that the step states."""
    if step.to_yield or step.nut_factor is None or not step.thread or not step.property_class:
        return []
    try:
        bolt, strength = thread(step.thread), property_class(step.property_class)
    except EngineeringError:
        return []  # not in the tables: the page says that it was not checked
    asked = []
    for target in targets:
        value = _aim(target)
        if target.stage.kind != StageKind.TORQUE or value is None:
            continue
        share = proof_share(Amount(value, target.unit).base(), step.nut_factor, bolt, strength.code)
        if share.questioned:
            units = question_units(value, target.unit, bolt, strength.code, step.nut_factor)
            hint = (
                f" In {' or '.join(UNITS[u].label for u in units)} the number would be usual."
                if units
                else ""
            )
            asked.append(share.sentence + hint)
    return asked


def load_words(step: ProcedureStep, targets: list[StageTarget]) -> str:
    """What the page says of the load: the share of the proof load, or why it was not checked."""
    if not step.thread and not step.property_class:
        return ""
    if step.to_yield:
        return "Tightened to yield, as declared: the proof load is exceeded on purpose."
    if not step.thread or not step.property_class or step.nut_factor is None:
        return "Load not checked: thread, property class and friction are needed for it."
    try:
        bolt, strength = thread(step.thread), property_class(step.property_class)
    except EngineeringError as error:
        return f"Load not checked: {error}"
    aims = [Amount(_aim(t), t.unit).base() for t in targets if t.stage.kind == StageKind.TORQUE and _aim(t)]
    return proof_share(max(aims), step.nut_factor, bolt, strength.code).sentence if aims else ""


def _aim(target: StageTarget) -> Decimal | None:
    """What is tightened to: the target, else the highest that is allowed, else the least."""
    return next((v for v in (target.value, target.high, target.low) if v), None)


def proof_questions(by: By, targets: list[StageTarget]) -> list[str]:
    """The shop's own tolerance where no tool of the shop could prove a value within it. One query for the
    tools.
    """
    shops = [t for t in targets if t.tolerance_is_shops and t.stage.kind == StageKind.TORQUE]
    if not shops or Shop.current().decision_rule == DecisionRule.PLAIN:
        return []
    tools = [
        tool
        for tool in TorqueTool.objects.exclude(kind=ToolKind.ANGLE).prefetch_related(
            "calibrations", "failures"
        )
        if not tool.unfit_because(None, on=by.day)
    ]
    return [
        f"{target.words}: no torque tool of the shop proves a value within this tolerance on this day, "
        "with its deviation taken off. The maker's own tolerance, a tool with a smaller deviation, or "
        "another range is needed."
        for target in shops
        if tools and not any(_proves(tool, target, by) for tool in tools)
    ]


def _proves(tool: TorqueTool, target: StageTarget, by: By) -> bool:
    proven = proven_range(
        Limits(target.base_low, target.base_high), tool.calibration_on(by.day).deviation_percent
    )
    if proven is None:
        return False
    low, high = tool.working_range(by.day)
    return max(proven.low, low.base()) <= min(proven.high, high.base())
