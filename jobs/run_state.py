"""How a run stands, as data: its steps, their stages, each fastener with the reading that stands, and what
blocks. Built in `jobs.runs`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from jobs.models import (
    Disposition,
    NewFasteners,
    ProcedureStage,
    ProcedureStep,
    ProcedureVersion,
    Run,
    SecondCheck,
    StageTarget,
    TorqueReading,
)
from jobs.models.procedure import OrderOfWork, StageKind
from jobs.models.torque import CheckMethod, DispositionKind, ReadingVerdict
from jobs.run_words import CHECK_WORDS, FLAGS, reading_words, step_summary, tool_words

# These open every stage of a fastener anew.
AGAIN = frozenset({DispositionKind.REDONE, DispositionKind.REPLACED})


@dataclass(frozen=True)
class Problem:
    """What keeps a run from being complete. `subject` names it within the job, for a waiver."""

    code: str
    text: str
    critical: bool
    waivable: bool
    subject: str = ""


@dataclass
class FastenerState:
    """One fastener at one stage. `reading` is the one that stands (the latest done that was not undone).

    `held_since`: it did not move at `reading`, and this earlier one had tightened it to within its limits. Then
    `verdict` is within, though the one reading alone proves no upper limit.
    """

    fastener: int
    reading: TorqueReading | None = None
    verdict: str = ""
    counts: bool = False
    flag: str = ""
    disposition: Disposition | None = None
    held_since: TorqueReading | None = None
    earlier: list[TorqueReading] = field(default_factory=list)

    @property
    def settled(self) -> bool:
        """Nothing more to do here before the next stage: judged, counting, and neither below nor undecided
        above.
        """
        return self.reading is not None and self.counts and not self.flag

    @property
    def verdict_label(self) -> str:
        return ReadingVerdict(self.verdict).label if self.verdict else ""

    @property
    def words(self) -> str:
        """For the drawing and for reading aloud."""
        if self.reading is None:
            return "to do"
        flag = f", {FLAGS[self.flag]}" if self.flag and self.flag != self.verdict else ""
        if not self.counts and self.flag != "not_counting":
            flag += f", {FLAGS['not_counting']}"
        return f"{reading_words(self.reading)}: {self.verdict_label.lower()}{flag}"


@dataclass
class StageState:
    stage: ProcedureStage
    targets: dict[str, StageTarget]
    fasteners: dict[int, FastenerState]

    def target(self, group: str = "") -> StageTarget | None:
        return self.targets.get(group) or self.targets.get("")

    @property
    def target_words(self) -> dict[str, str]:
        """{group: "120 N·m (108 to 132)"}, in the unit of the source; a stage without limits says so."""
        return {group: target.words for group, target in self.targets.items()}

    @property
    def settled(self) -> bool:
        return all(one.settled for one in self.fasteners.values())

    @property
    def todo(self) -> list[int]:
        return [n for n, one in self.fasteners.items() if not one.settled]


@dataclass
class StepState:
    step: ProcedureStep
    stages: list[StageState]
    check: str = "none needed"
    checks: list[SecondCheck] = field(default_factory=list)
    new_fitted: list[NewFasteners] = field(default_factory=list)
    new_needed: list[int] = field(default_factory=list)
    held_by: ProcedureStep | None = None
    readings: list[TorqueReading] = field(default_factory=list)

    def stage(self, stage: ProcedureStage) -> StageState:
        return next(one for one in self.stages if one.stage.pk == stage.pk)

    @property
    def settled(self) -> bool:
        return all(stage.settled for stage in self.stages)

    @property
    def needs_new(self) -> bool:
        """Single-use fasteners of which nobody has said yet that they are new."""
        return bool(self.new_needed)

    @property
    def check_words(self) -> str:
        return CHECK_WORDS[self.check]

    @property
    def valid_check(self) -> SecondCheck | None:
        """The latest in order that covers every reading of the step: those that were done before it."""
        return next(
            (
                check
                for check in reversed(self.checks_that_may_stand)
                if all(check.covers(reading) for reading in self.readings)
            ),
            None,
        )

    @property
    def failed_check(self) -> SecondCheck | None:
        """The latest check that found the joint not in order."""
        return next((check for check in reversed(self.checks) if check.failed), None)

    @property
    def worked_on_since_it_failed(self) -> bool:
        """By work on the car: a reading that was only put right is none."""
        return any(
            not self.failed_check.covers(reading) for reading in self.readings if reading.corrects_id is None
        )

    @property
    def checks_that_may_stand(self) -> list[SecondCheck]:
        """Those after the latest one that failed."""
        failed = self.failed_check
        return self.checks if failed is None else self.checks[self.checks.index(failed) + 1 :]

    @property
    def by_sight_only(self) -> bool:
        """Angle and yield steps: applying torque again would turn the bolt further."""
        return self.step.to_yield or any(s.stage.kind == StageKind.ANGLE for s in self.stages)

    @property
    def check_methods(self) -> list[CheckMethod]:
        sight = [CheckMethod.WITNESSED, CheckMethod.MARK_SIGHTED]
        return sight if self.by_sight_only else list(CheckMethod)

    def places(self) -> Iterator[tuple[StageState, int]]:
        """Stages and fasteners in the order of work that the step declares."""
        sequence = self.step.sequence
        match self.step.order_of_work:
            case OrderOfWork.FASTENER_BY_FASTENER:
                for fastener in sequence:
                    for stage in self.stages:
                        yield stage, fastener
            case OrderOfWork.BY_GROUPS if self.step.groups:
                for name in self.step.group_names:
                    members = [n for n in sequence if n in self.step.groups[name]]
                    for stage in self.stages:
                        for fastener in members:
                            yield stage, fastener
            case _:
                for stage in self.stages:
                    for fastener in sequence:
                        yield stage, fastener

    def too_early(self, stage: ProcedureStage, fastener: int) -> tuple[StageState, list[int]] | None:
        """The earlier stage that is not through yet, with its fasteners that are open; None when this may
        begin.
        """
        step = self.step
        if step.order_of_work == OrderOfWork.FASTENER_BY_FASTENER:
            waits_for = {fastener}
        elif step.order_of_work == OrderOfWork.BY_GROUPS and step.groups:
            waits_for = set(step.groups.get(step.group_of(fastener), [fastener]))
        else:
            waits_for = set(step.sequence)
        for earlier in self.stages:
            if earlier.stage.order >= stage.order:
                return None
            if open_ones := sorted(n for n in earlier.todo if n in waits_for):
                return earlier, open_ones
        return None

    def before_its_turn(self, stage: ProcedureStage, fastener: int) -> bool:
        """Out of sequence: taken for the first time while one before it in the order of work has no
        reading.
        """
        for state, number in self.places():
            one = state.fasteners[number]
            if state.stage.pk == stage.pk and number == fastener:
                return False
            if one.reading is None:
                # A fastener that is done already is a repeat, not a jump.
                return self.stage(stage).fasteners[fastener].reading is None
        return False


@dataclass
class RunState:
    run: Run
    version: ProcedureVersion
    steps: list[StepState]
    problems: list[Problem]
    next: tuple[ProcedureStep, ProcedureStage, int] | None
    readings: list[TorqueReading]
    dispositions: list[Disposition]
    superseded: bool = False

    @property
    def complete(self) -> bool:
        """All stages of all steps judged, and nothing blocks. Whether somebody said so stands in
        `run.completed_at`.
        """
        return not self.problems

    @property
    def ended(self) -> bool:
        return bool(self.run.completed_at or self.run.abandoned_at)

    @property
    def critical(self) -> bool:
        return any(state.step.critical for state in self.steps)

    @property
    def supervised(self) -> list[str]:
        """Who took readings under the competence of somebody else, in words."""
        pairs = {(row.made_by, row.qualified) for row in self.readings if row.supervised}
        return sorted(f"{who}, supervised by {held.person} ({held})" for who, held in pairs)

    @property
    def applies_words(self) -> str:
        """Which cars the procedure says it is for; confirmed for this one where it names others."""
        if self.run.applies_confirmed:
            return (
                f"written for: {self.run.applies_confirmed}; {self.run.made_by} confirmed that the values are "
                "for this car"
            )
        named = self.version.procedure.applies_to
        return f"written for: {named}" if named else ""

    @property
    def source_words(self) -> str:
        """For the sheet: the source of the values, and that they were confirmed for this car."""
        source = self.version.source
        return f"{source}; {self.applies_words}" if self.run.applies_confirmed else source

    @property
    def last_order(self) -> int:
        return self.readings[-1].order if self.readings else 0

    @property
    def counts_by_verdict(self) -> dict[str, int]:
        """How many standing readings by verdict, for the summary on the sheet."""
        found: dict[str, int] = {}
        for step in self.steps:
            for stage in step.stages:
                for one in stage.fasteners.values():
                    if one.reading is not None:
                        word = one.verdict if one.counts else "not_counting"
                        found[word] = found.get(word, 0) + 1
        return found

    @property
    def verdict_words(self) -> str:
        names = {**dict(ReadingVerdict.choices), "not_counting": "Not counting"}
        return ", ".join(f"{count} {names[name].lower()}" for name, count in self.counts_by_verdict.items())

    @property
    def progress(self) -> tuple[int, int]:
        """(settled, all) places of the run."""
        places = [one for step in self.steps for stage in step.stages for one in stage.fasteners.values()]
        return sum(one.settled for one in places), len(places)

    @property
    def tools(self) -> list[TorqueReading]:
        """One reading for each tool with its calibration, in order of use: read `tool`, `calibration` and
        `rule`.
        """
        seen: dict[tuple, TorqueReading] = {}
        for reading in self.readings:
            if reading.tool_id and reading.stands_for_work:
                seen.setdefault((reading.tool_id, reading.calibration_id), reading)
        return list(seen.values())

    @property
    def tool_words(self) -> list[str]:
        return [tool_words(reading) for reading in self.tools]

    @property
    def summary(self) -> list[dict]:
        """Per step, for the sheet: title, fasteners, targets of its last judged stage, verdicts, second
        check.
        """
        return [step_summary(step) for step in self.steps]

    def step(self, step: ProcedureStep) -> StepState:
        return next(state for state in self.steps if state.step.pk == step.pk)
