from jobs.models.angle import AngleNotPossible
from jobs.models.clock import LabourClock
from jobs.models.damage import Damage, DamageTelling, Settled
from jobs.models.handover import Handover, SheetRevision, SheetText, SignatureInk, SignOff
from jobs.models.isolation import Isolation
from jobs.models.job import CheckIn, Job, JobMove, JobState, Pass, Tag, ThingOut, Waiver
from jobs.models.measurement import Measurement
from jobs.models.part import PartChange
from jobs.models.procedure import Procedure, ProcedureStage, ProcedureStep, ProcedureVersion, StageTarget
from jobs.models.roadtest import FinalCheck, RoadTest
from jobs.models.torque import Disposition, NewFasteners, Run, SecondCheck, TorqueReading
from jobs.models.work import LabourEntry, LineAnswer, PartUsed, WorkLine

__all__ = [
    "AngleNotPossible",
    "CheckIn",
    "Damage",
    "DamageTelling",
    "Disposition",
    "FinalCheck",
    "Handover",
    "Isolation",
    "Job",
    "JobMove",
    "JobState",
    "LabourClock",
    "LabourEntry",
    "LineAnswer",
    "Measurement",
    "NewFasteners",
    "PartChange",
    "PartUsed",
    "Pass",
    "Procedure",
    "ProcedureStage",
    "ProcedureStep",
    "ProcedureVersion",
    "RoadTest",
    "Run",
    "SecondCheck",
    "Settled",
    "SheetRevision",
    "SheetText",
    "SignOff",
    "SignatureInk",
    "StageTarget",
    "Tag",
    "ThingOut",
    "TorqueReading",
    "Waiver",
    "WorkLine",
]
