"""What the jobs say of their models for the archive of a car: see `vehicles.archive.declare`."""

from __future__ import annotations

from django.db.models import QuerySet

from jobs.models import SheetRevision
from vehicles.archive import checking, taking
from vehicles.archive.declare import Mine, Owners, Table, take

_JOB, _LINE = ("job__vehicle",), ("line__job__vehicle",)


def register() -> None:
    _visits()
    _work()
    _tightening()
    _leaving()
    _taking()
    checking.add_hashed("jobs.SheetRevision.technical", "jobs.SheetRevision.technical_hash")
    checking.add_hashed("jobs.SheetText.personal", "jobs.SheetRevision.personal_hash")
    checking.add_hashed("jobs.SheetText.pdf", "jobs.SheetRevision.pdf_hash")
    checking.add_hashed("jobs.SignatureInk.lines", "jobs.SignOff.ink_hash")


def _visits() -> None:
    take(
        Table(
            "jobs.Job",
            to_car=("vehicle",),
            owners=Owners(said={"payer": ("complaint",)}, money={"limit": "0.00"}),
        ),
        Table("jobs.CheckIn", to_car=_JOB, owners=Owners(said={"brought_by": ("belongings",)})),
        Table("jobs.JobMove", to_car=_JOB),
        Table("jobs.Pass", to_car=_JOB),
        Table("jobs.Tag", to_car=("vehicle",)),
        Table("jobs.ThingOut", to_car=_JOB),
        Table("jobs.Isolation", to_car=("vehicle",)),
        Table("jobs.AngleNotPossible", to_car=_JOB),
        Table("jobs.Damage", to_car=("vehicle",)),
        Table(
            "jobs.DamageTelling",
            to_car=("damage__vehicle",),
            owners=Owners(said={"told_to": ("told", "answered")}),
        ),
        Table("jobs.Waiver", to_car=_JOB),
    )


def _work() -> None:
    take(
        Table(
            "jobs.WorkLine",
            to_car=_JOB,
            owners=Owners(
                said={"told_owner": ("told_owner_words",)},
                money={"estimate": None, "cost": None, "authorised_amount": "0.00"},
            ),
        ),
        Table("jobs.WorkLine_faults", to_car=("workline__job__vehicle",), key=("workline", "fault")),
        Table("jobs.WorkLine_items", to_car=("workline__job__vehicle",), key=("workline", "outstandingitem")),
        Table(
            "jobs.LineAnswer",
            to_car=_LINE,
            owners=Owners(said={"by": ("right", "words")}, money={"amount": "0.00"}),
        ),
        Table("jobs.LabourEntry", to_car=_LINE),
        # Whose clock ran when is between the shop and those who work there; what counted is a labour entry.
        Table("jobs.LabourClock", to_car=_LINE, owners=Owners(Mine.NONE)),
        Table("jobs.PartUsed", to_car=_LINE, owners=Owners(money={"price": None})),
        Table("jobs.PartChange", to_car=_LINE),
        Table("jobs.Measurement", to_car=_LINE),
        Table("jobs.RoadTest", to_car=_JOB),
        Table("jobs.FinalCheck", to_car=_JOB),
    )


def _tightening() -> None:
    run = ("run__job__vehicle",)
    take(
        Table("jobs.Procedure", named="title"),
        Table("jobs.ProcedureVersion", events=True, settled=("released_at", "released_by")),
        Table("jobs.ProcedureStep", comes_with="version", key=("version_id", "order")),
        Table("jobs.ProcedureStage", comes_with="step", key=("step__version_id", "step__order", "order")),
        Table(
            "jobs.StageTarget",
            comes_with="stage",
            key=("stage__step__version_id", "stage__step__order", "stage__order", "group"),
        ),
        Table("jobs.Run", to_car=_JOB),
        Table("jobs.TorqueReading", to_car=run),
        Table("jobs.NewFasteners", to_car=run),
        Table("jobs.SecondCheck", to_car=run),
        Table("jobs.Disposition", to_car=("reading__run__job__vehicle",)),
    )


def _leaving() -> None:
    take(
        Table(
            "jobs.Handover",
            to_car=_JOB,
            owners=Owners(said={"collected_by": ("identified_by", "collects_because", "told")}),
        ),
        Table("jobs.SheetRevision", to_car=_JOB, owners=Owners(only=_sheets)),
        Table("jobs.SheetText", to_car=("revision__job__vehicle",), owners=Owners(only=_of("revision"))),
        Table("jobs.SignOff", to_car=("revision__job__vehicle",), owners=Owners(only=_of("revision"))),
        Table(
            "jobs.SignatureInk",
            to_car=("sign_off__revision__job__vehicle",),
            owners=Owners(only=_of("sign_off__revision")),
        ),
    )


def _theirs(reader) -> QuerySet:
    """Sheets of the visits since the car is theirs: the day of the first revision decides, as on their own pages."""
    first = SheetRevision.objects.filter(job__vehicle=reader.vehicle, revision=1, made_at__gte=reader.begins)
    return SheetRevision.objects.filter(job__in=first.values("job"))


def _sheets(rows, reader):
    return rows.filter(pk__in=_theirs(reader).values("pk"))


def _of(way: str):
    return lambda rows, reader: rows.filter(**{f"{way}__in": _theirs(reader).values("pk")})


def _taking() -> None:
    """What goes in after what: each guard of a table finds there what it looks for."""
    taking.fill("jobs.job", taking.from_there)
    taking.within(
        "jobs.procedureversion",
        ("jobs.procedurestep", "version"),
        ("jobs.procedurestage", "step"),
        ("jobs.stagetarget", "stage"),
    )
    taking.merged("jobs.torquereading", "jobs.secondcheck")
    taking.in_order(
        *(
            "workshop.person",
            "workshop.device",
            "vehicles.vehicle",
            "jobs.procedure",
            "jobs.procedureversion",
        ),
        *("jobs.job", "jobs.workline", "vehicles.odometerreading", "vehicles.survey", "vehicles.fittedpart"),
        *(
            "vehicles.outstandingitem",
            "vehicles.fault",
            "vehicles.draintest",
            "jobs.isolation",
            "jobs.damage",
        ),
        *("jobs.run", "jobs.torquereading", "jobs.secondcheck", "jobs.sheetrevision", "vehicles.issuedprint"),
        *(
            "vehicles.datasheet",
            "vehicles.figure",
            "vehicles.maintenanceinterval",
            "vehicles.maintenancedone",
        ),
        *("vehicles.roadworthinesstest", "vehicles.calculation", "vehicles.attachment"),
        *("jobs.workline_faults", "jobs.workline_items"),
    )
