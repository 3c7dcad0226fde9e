"""What a reading must be to be taken: its kind, tool, value and place in the order of work, each refused by
name; and the limits, deviation and rule that its verdict rests on. Reads only: the act writes what is judged
here.
"""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils.formats import date_format

from jobs import odd_reading, through
from jobs.authority import holders_words, why_competence_refused
from jobs.models import ProcedureStage, TorqueReading
from jobs.models.procedure import LimitKind, OrderOfWork, StageKind
from jobs.models.torque import AngleBy, ReadingKind, ReadingVerdict
from jobs.open_run import clock, step_of
from jobs.run_state import StageState, StepState
from jobs.run_words import reading_words
from jobs.runs import verdict_of
from jobs.through import Through
from workshop.engineering.units import BASE, UNITS, Amount, show, units_of
from workshop.engineering.verdict import DecisionRule, Limits, with_running_torque
from workshop.models import Competence, CompetenceKind, Shop, TorqueTool
from workshop.models.tools import ToolKind
from workshop.permissions import May, allowed

# More than any fastener of a road vehicle takes; a limit against slips of the finger, no source.
MOST_NM = Decimal(5000)
MOST_DEGREES = Decimal(1080)
MOST_OTHER = Decimal(100_000)

KINDS_OF_STAGE: dict[str, tuple[str, ...]] = {
    StageKind.TORQUE: (ReadingKind.CLICKED, ReadingKind.DID_NOT_MOVE, ReadingKind.READ),
    StageKind.ANGLE: (ReadingKind.ANGLE,),
    StageKind.LOOSEN: (ReadingKind.LOOSENED,),
    StageKind.RESULT: (ReadingKind.RESULT,),
}


class Entry:
    """What was typed, judged against the stage of a run. Every refusal names the field that it belongs to."""

    def __init__(
        self,
        by,
        state,
        step,
        stage,
        kind,
        reading,
        tool,
        angle_by,
        running_torque,
        confirmed_odd,
        *,
        through: Through | None = None,
        correcting: bool = False,
    ):
        self.correcting = correcting
        self.by, self.state, self.run = by, state, state.run
        self.of = step_of(state, step)
        self.stage_state = _stage_of(self.of, stage)
        self.step, self.stage = self.of.step, self.stage_state.stage
        self.kind, self.reading, self.angle_by = kind, reading, angle_by
        self.running, self.confirmed_odd = running_torque, confirmed_odd
        self.tool, self.through = tool, through
        self._check_kind()
        self._check_tool()
        self._check_values()

    def _check_kind(self) -> None:
        wanted = KINDS_OF_STAGE[self.stage.kind]
        if self.correcting:
            wanted = (*wanted, ReadingKind.NOT_DONE)
        if self.kind not in wanted:
            labels = ", ".join(f"“{ReadingKind(kind).label}”" for kind in wanted)
            raise ValidationError(
                {
                    "kind": f"{self.stage.name} is a stage of kind "
                    f"{self.stage.get_kind_display().lower()}: choose {labels}."
                }
            )

    def _check_tool(self) -> None:
        if self.kind in (ReadingKind.LOOSENED, ReadingKind.RESULT, ReadingKind.NOT_DONE):
            self.tool = None
            self.angle_by = ""
            return
        if self.kind == ReadingKind.ANGLE:
            if self.angle_by not in AngleBy.values:
                raise ValidationError(
                    {"angle_by": "Say whether the angle was read on a gauge or by a paint mark."}
                )
            if self.angle_by == AngleBy.PAINT_MARK:
                self.tool = None
            elif self.tool is None or self.tool.kind != ToolKind.ANGLE:
                raise ValidationError(
                    {"tool": "Choose the angle gauge, or say that it was turned by a paint mark."}
                )
        else:
            self.angle_by = ""
            if self.tool is None:
                raise ValidationError({"tool": "Choose the torque tool: a torque stage needs one."})
            if self.tool.kind == ToolKind.ANGLE:
                raise ValidationError(
                    {"tool": f"{self.tool} measures angles. A torque stage needs a torque tool."}
                )
            if self.kind == ReadingKind.CLICKED and self.tool.kind != ToolKind.SETTING:
                raise ValidationError({"kind": f"{self.tool} shows a value and does not click: read it off."})
            if self.kind == ReadingKind.READ and self.tool.kind != ToolKind.INDICATING:
                raise ValidationError(
                    {
                        "kind": f"{self.tool} clicks at a set value and shows none: say that it "
                        "clicked, or did not move."
                    }
                )
        if self.tool is not None:
            self.tool = TorqueTool.objects.prefetch_related("calibrations", "failures").get(pk=self.tool.pk)

    def _check_values(self) -> None:
        if self.kind in (ReadingKind.LOOSENED, ReadingKind.NOT_DONE):
            self.reading = self.running = self.through = None
            return
        if self.through is not None and self.kind not in KINDS_OF_STAGE[StageKind.TORQUE]:
            raise ValidationError(
                {"extension_length": "Only a torque is taken through an extension: leave these empty."}
            )
        if self.reading is None:
            what = {ReadingKind.ANGLE: "the angle in degrees", ReadingKind.RESULT: "what was measured"}.get(
                self.kind, "the torque that the tool was set to or showed"
            )
            raise ValidationError({"reading": f"Give {what}, with its unit."})
        self._check_amount("reading", self.reading, zero=self.kind == ReadingKind.RESULT)
        if self.running is not None and not self.stage.add_running_torque:
            raise ValidationError(
                {"running_torque": "No running torque is added at this stage: leave this empty."}
            )
        if self.stage.add_running_torque:
            if self.running is None:
                raise ValidationError(
                    {
                        "running_torque": "Measure the running torque of this fastener while turning "
                        "it on, and give it."
                    }
                )
            self._check_amount("running_torque", self.running, zero=True, torque=True)

    def _check_amount(self, field: str, amount: Amount, *, zero: bool = False, torque: bool = False) -> None:
        dimension = "torque" if torque else self._dimension()
        if amount.dimension != dimension:
            labels = ", ".join(unit.label for unit in units_of(dimension))
            raise ValidationError({field: f"This stage is measured in {labels}: choose one of these units."})
        value = amount.base()
        if value < 0 or (value == 0 and not zero):
            least = "0 or more" if zero else "more than 0"
            raise ValidationError({field: f"A reading is {least}: {show(amount)} was typed. Type it again."})
        most = {"torque": MOST_NM, "angle": MOST_DEGREES}.get(dimension, MOST_OTHER)
        if value > most:
            top = show(Amount(most, BASE[dimension]))
            raise ValidationError(
                {field: f"{show(amount)} was typed; {top} is the most that is taken. Look again."}
            )

    def _dimension(self) -> str:
        if self.kind == ReadingKind.ANGLE:
            return "angle"
        if self.kind == ReadingKind.RESULT:
            target = next(iter(self.stage_state.targets.values()), None)
            return UNITS[target.unit].dimension if target else UNITS[self.reading.unit].dimension
        return "torque"

    def judged(
        self, fastener: int, redo_reason: str, *, together: bool, field: str = "fastener"
    ) -> TorqueReading:
        """The reading with its verdict, as it is to be written; refused where it may not be taken."""
        one = self._fastener(fastener, field)
        self._check_open(fastener, field)
        self._check_again(one, fastener, redo_reason, field)
        self._check_time(one, fastener)
        return self._built(
            fastener,
            out_of_sequence=self.of.before_its_turn(self.stage, fastener),
            entered_together=together,
            redo_reason=redo_reason.strip() if one.reading is not None or one.earlier else "",
        )

    def put_right(self, wrong: TorqueReading, fastener: int, why: str) -> TorqueReading:
        """The reading that stands in place of one that was written down wrong; refused where it may not be.

        Nothing was done to the car: what asks whether a fastener may be worked on now is not asked.
        """
        one = self._fastener(fastener, "fastener")
        if wrong.verdict == ReadingVerdict.ABOVE and not allowed(self.by.person, May.DISPOSITION):
            raise ValidationError(
                "It stands on record as above its limit. Only a lead puts that right on paper: a bolt that "
                "was pulled too far must not become a slip of the pen. Ask a lead, or loosen it and do it again.",
                code="lead_only",
            )
        if fastener != wrong.fastener and one.reading is not None and self.kind != ReadingKind.NOT_DONE:
            raise ValidationError(
                {
                    "fastener": f"Fastener {fastener} has a reading of its own at this stage "
                    f"({reading_words(one.reading)}). Put that one right first, or choose another fastener."
                },
                code="taken",
            )
        if not why.strip():
            raise ValidationError({"redo_reason": "Say what was written down wrong."}, code="redo_reason")
        if self._says_the_same(wrong, fastener):
            raise ValidationError(
                "This is what stands on record already: change what is wrong, or leave it.", code="the_same"
            )
        row = self._built(
            fastener if self.kind != ReadingKind.NOT_DONE else wrong.fastener,
            out_of_sequence=wrong.out_of_sequence,
            entered_together=wrong.entered_together,
            redo_reason=why.strip(),
        )
        row.corrects = wrong
        return row

    def _says_the_same(self, wrong: TorqueReading, fastener: int) -> bool:
        mine = (
            fastener,
            self.kind,
            self.reading.value if self.reading else None,
            self.reading.unit if self.reading else "",
            self.tool.pk if self.tool else None,
            self.angle_by,
            _six(self.running.base()) if self.running else None,
            self.through,
        )
        return mine == (
            wrong.fastener,
            wrong.kind,
            wrong.typed,
            wrong.unit,
            wrong.tool_id,
            wrong.angle_by,
            wrong.running_torque,
            through.of_reading(wrong),
        )

    def _built(self, fastener: int, **said) -> TorqueReading:
        target = self.stage_state.target(self.step.group_of(fastener))
        self._check_odd(target)
        limits = self._limits(target)
        calibration = self.tool.calibration_on(self.by.day) if self.tool else None
        deviation = calibration.deviation_percent if calibration else Decimal(0)
        rule = DecisionRule(Shop.current().decision_rule)
        value = self._torque(self.reading) if self.reading else None
        return TorqueReading(
            **self.by.stamp(),
            run=self.run,
            step=self.step,
            stage=self.stage,
            fastener=fastener,
            order=self.state.last_order + 1,
            kind=self.kind,
            typed=self.reading.value if self.reading else None,
            unit=self.reading.unit if self.reading else "",
            value=value,
            running_torque=_six(self.running.base()) if self.running else None,
            **self._kept_of_the_extension(),
            tool=self.tool,
            calibration=calibration,
            angle_by=self.angle_by,
            limit_low=limits.low if limits else None,
            limit_high=limits.high if limits else None,
            deviation_percent=deviation,
            rule=rule,
            verdict=verdict_of(
                self.kind,
                value,
                limits.low if limits else None,
                limits.high if limits else None,
                deviation,
                rule,
            ),
            counts_not_because=self._counts_not()[:300],
            qualified=self._qualified(),
            **said,
        )

    def _torque(self, typed: Amount) -> Decimal:
        """What is judged, in the base unit: what was typed, or through an extension the torque at the fastener."""
        setting = _six(typed.base())
        return setting if self.through is None else self.through.at_fastener(setting)

    def _kept_of_the_extension(self) -> dict[str, Decimal]:
        if self.through is None:
            return {}
        return {
            "setting": _six(self.reading.base()),
            "lever_length": self.through.lever,
            "extension_length": self.through.extension,
            "extension_angle": self.through.angle,
        }

    def _fastener(self, fastener: int, field: str):
        count = self.step.fasteners
        if not 1 <= fastener <= count:
            raise ValidationError(
                {
                    field: f"This step has fasteners 1 to {count}."
                    if count > 1
                    else "This step has one fastener: 1."
                }
            )
        return self.stage_state.fasteners[fastener]

    def _check_open(self, fastener: int, field: str) -> None:
        if self.of.held_by is not None:
            held = self.of.held_by
            raise ValidationError(
                {"step": f"“{held.title}” is a hold point: its second check comes before this step opens."},
                code="held",
            )
        if fastener in self.of.new_needed:
            raise ValidationError(
                {
                    "step": "These fasteners are used once only: say first which new ones were fitted"
                    + (
                        "."
                        if not self.of.new_fitted
                        else f" (fastener {fastener}, since it was loosened or replaced)."
                    )
                },
                code="new_first",
            )
        if early := self.of.too_early(self.stage, fastener):
            stage, open_ones = early
            raise ValidationError(
                {
                    "stage": f"Too early: {stage.stage.name} is still open on "
                    f"{'fastener' if len(open_ones) == 1 else 'fasteners'} {', '.join(map(str, open_ones))} "
                    f"(order of work: {self.step.get_order_of_work_display().lower()})."
                },
                code="too_early",
            )

    def _check_again(self, one, fastener: int, redo_reason: str, field: str) -> None:
        standing = one.reading
        if standing is None:
            return
        if one.flag == "above":
            raise ValidationError(
                {
                    field: f"Fastener {fastener} is above its limit: decide first whether it is "
                    + ("redone, replaced or accepted." if one.counts else "redone or replaced.")
                },
                code="decide_first",
            )
        if self.step.order_of_work == OrderOfWork.UNTIL_STILL and self.stage.kind == StageKind.TORQUE:
            return  # going round again is the order of this work, no repeat
        if not redo_reason.strip():
            raise ValidationError(
                {
                    "redo_reason": f"Fastener {fastener} has a reading at this stage "
                    f"({reading_words(standing)}, "
                    f"{standing.made_by}). Say why it is done again, or choose another fastener."
                },
                code="redo_reason",
            )

    def _check_time(self, one, fastener: int) -> None:
        """The first reading of a stage comes after those of the stages before it: else it would undo itself."""
        if one.reading is not None or one.earlier:
            return
        before = [
            row
            for row in self.of.readings
            if row.fastener == fastener
            and row.stands_for_work
            and row.made_at > self.by.made_at
            and any(s.stage.pk == row.stage_id and s.stage.order < self.stage.order for s in self.of.stages)
        ]
        if before:
            last = max(before, key=lambda row: row.turn)
            name = next(s.stage.name for s in self.of.stages if s.stage.pk == last.stage_id)
            raise ValidationError(
                {
                    "made_at": f"{name} of fastener {fastener} was done on {clock(last.made_at)}; "
                    f"{self.stage.name} comes after it, and {clock(self.by.made_at)} is before. Give a later time."
                },
                code="too_early_a_time",
            )

    def _qualified(self) -> Competence | None:
        """Under which competence the reading is taken: the person's own, else of who the run names for it."""
        kind = self.state.version.competence
        if not kind:
            return None
        own = Competence.objects.filter(person=self.by.person, kind=kind).valid_on(self.by.day).first()
        if own is not None:
            return own
        named = self.run.qualified
        why = why_competence_refused(kind, named, self.by) if named else holders_words(kind, self.by)
        if not why and not named.person.is_active:
            why = f"{named.person} no longer works here. {holders_words(kind, self.by)}"
        if why:
            label = CompetenceKind(kind).label.lower()
            raise ValidationError(
                f"This procedure needs a competence ({label}) that you do not hold on "
                f"{date_format(self.by.day)}, and nobody who holds it supervises the run. {why}",
                code="not_qualified",
            )
        return named

    def _check_odd(self, target) -> None:
        """A number far off its target that would fit in another unit is asked about once."""
        if self.confirmed_odd or self.reading is None or target is None or self._dimension() != "torque":
            return
        if self.kind not in KINDS_OF_STAGE[StageKind.TORQUE]:
            return
        if asked := odd_reading.question(self.reading, target, self._torque):
            raise ValidationError({"reading": asked})

    def _limits(self, target) -> Limits | None:
        if target is None or target.limit == LimitKind.NONE:
            return None
        limits = Limits(target.base_low, target.base_high)
        return with_running_torque(limits, _six(self.running.base())) if self.running else limits

    def _counts_not(self) -> str:
        return self.tool.unfit_because(self.reading, on=self.by.day) if self.tool else ""


def refuse_put_right_already(wrong: TorqueReading) -> None:
    if not wrong.stands_for_work:
        who = (wrong.put_right_by or wrong).made_by
        raise ValidationError(
            f"This reading was put right already, by {who}. Look at the run as it is now.",
            code="corrected_already",
        )


def _six(value: Decimal) -> Decimal:
    """The six decimals that the record keeps: a verdict is given on what stands on record."""
    return value.quantize(Decimal("0.000001"))


def _stage_of(of: StepState, stage: ProcedureStage) -> StageState:
    found = next((one for one in of.stages if one.stage.pk == stage.pk), None)
    if found is None:
        names = ", ".join(one.stage.name for one in of.stages)
        raise ValidationError(
            {"stage": f"{stage.name} is not a stage of {of.step.title}. Its stages: {names}."}
        )
    return found
