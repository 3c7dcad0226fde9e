"""What this room and the house say of their models: see `declare`."""

from __future__ import annotations

from django.db.models import Q

from vehicles.archive import checking, taking
from vehicles.archive.declare import Mine, Owners, Table, leave_out, take

_FOUND = "made anew from the words it finds"
_MADE = Mine.IN_THEIR_TIME


def register() -> None:
    _left_out()
    _shared()
    _car()
    _what_is_wrong()
    _papers()
    taking.register()
    checking.add_hashed("vehicles.IssuedText.data", "vehicles.IssuedPrint.data_hash")
    checking.add_hashed("vehicles.IssuedText.pdf", "vehicles.IssuedPrint.pdf_hash")


def _left_out() -> None:
    for reason, labels in {
        "rows live inside one act and are gone with it": ("workshop.Erasing", "workshop.Undoing"),
        "what the log says of the car stands in events.json; personal words stay with the shop": (
            "workshop.Event",
            "workshop.EventDetail",
            "workshop.LogHead",
        ),
        "how a form came in is the shop's own matter": ("workshop.Submission",),
        "who may sign in is the shop's own matter": (
            "workshop.RoleHeld",
            "workshop.SignInTry",
            "workshop.PinLock",
            "workshop.OneTimePass",
            "auth.Permission",
            "auth.Group",
            "auth.Group_permissions",
            "contenttypes.ContentType",
            "sessions.Session",
        ),
        "the shop's settings and counters are its own": ("workshop.Shop", "workshop.Counter"),
        "who is reminded by mail or calendar is the shop's own matter": (
            "vehicles.DueMail",
            "vehicles.DueReader",
            "vehicles.FeedAddress",
        ),
        "the records that it brought stand by themselves; the list may name other cars": (
            "vehicles.SpreadsheetList",
        ),
        "links are of this address and this keeper": ("vehicles.Share", "vehicles.ShareOpening"),
        "an index, made anew from the records": ("vehicles.Words", "vehicles.WordsDue", "vehicles.DayKnown"),
    }.items():
        leave_out(reason, *labels)


def _shared() -> None:
    take(
        Table("workshop.Person", only_fields=("name", "initials")),
        Table("workshop.Device", only_fields=("name",)),
        Table("workshop.Competence", owners=Owners(hidden={"certificate": "(…)"})),
        Table("workshop.TorqueTool", named="label"),
        Table("workshop.Calibration", comes_with="tool"),
        Table("workshop.ToolFailure", comes_with="tool"),
        Table("vehicles.Place", named="name"),
        Table(
            "vehicles.Keeper",
            without={"account": "who may sign in is the shop's own matter", "search_text": _FOUND},
        ),
        Table("vehicles.DataSheet", named="name"),
        Table("vehicles.Figure", to_car=("vehicle", "part__vehicle"), comes_with="sheet"),
        Table("vehicles.MaintenanceInterval", comes_with="sheet"),
    )


def _car() -> None:
    take(
        Table("vehicles.Vehicle", to_car=("pk",), without={"search_text": _FOUND}),
        Table("vehicles.ArchiveImport", to_car=("vehicle",)),
        # What the log of an earlier workshop said is of whoever had the car then.
        Table(
            "vehicles.ForeignEvent",
            to_car=("archive__vehicle",),
            key=("archive_id", "seq"),
            owners=Owners(Mine.NONE),
        ),
        Table("vehicles.Registration", to_car=("vehicle",)),
        Table("vehicles.IdentityReading", to_car=("vehicle",)),
        Table("vehicles.VehicleKeeper", to_car=("vehicle",)),
        Table("vehicles.Instrument", to_car=("vehicle",)),
        Table("vehicles.OdometerReading", to_car=("vehicle",)),
        Table("vehicles.FittedPart", to_car=("vehicle",)),
        Table("vehicles.Evidence", to_car=("part__vehicle",)),
        Table("vehicles.SheetOfVehicle", to_car=("vehicle",)),
        Table("vehicles.Calculation", to_car=("vehicle",)),
        Table("vehicles.Survey", to_car=("vehicle",)),
        Table("vehicles.SurveyEntry", to_car=("survey__vehicle",)),
        Table("vehicles.PastWork", to_car=("vehicle",), owners=Owners(money={"amount": None})),
        Table("vehicles.MaintenanceDone", to_car=("vehicle",)),
        Table("vehicles.RoadworthinessTest", to_car=("vehicle",)),
    )


def _what_is_wrong() -> None:
    take(
        Table("vehicles.RootCause", to_car=("vehicle",)),
        Table(
            "vehicles.Fault",
            to_car=("vehicle",),
            without={"search_text": _FOUND},
            owners=Owners(said={"reported_by": ("words",)}),
        ),
        Table("vehicles.FaultCode", to_car=("fault__vehicle",)),
        Table("vehicles.DiagnosisStep", to_car=("fault__vehicle",)),
        Table("vehicles.Possibility", to_car=("fault__vehicle",)),
        Table("vehicles.PossibilityFinding", to_car=("possibility__fault__vehicle",)),
        Table(
            "vehicles.DrainTest",
            to_car=("vehicle",),
            settled=("ended_at", "ended_by", "conclusion", "step", "all_tried"),
        ),
        Table("vehicles.DrainStep", to_car=("test__vehicle",)),
        Table(
            "vehicles.OutstandingItem",
            to_car=("vehicle",),
            without={"search_text": _FOUND},
            owners=Owners(said={"left_by": ("left_words",)}),
            settled=("end", "ended_at", "ended_by_line", "ended_finding", "left_by", "left_words"),
        ),
        Table(
            "vehicles.Telling",
            to_car=("item__vehicle",),
            owners=Owners(said={"told_to": ("told", "answer_words")}),
        ),
    )


def _papers() -> None:
    take(
        Table("vehicles.Attachment", to_car=("vehicle",), owners=Owners(only=_seen_by)),
        Table("vehicles.IssuedPrint", to_car=("vehicle",), owners=Owners(_MADE, only=_prints_of)),
        Table("vehicles.IssuedText", to_car=("print__vehicle",), owners=Owners(only=_texts_of)),
    )


def _seen_by(rows, reader):
    """Pictures of the car go with it, papers with whoever had it then, as `Attachment.visible_to` has it; a signed paper
    with its sheet, which is theirs by the day of the visit's first one.
    """
    rows = rows.shown().filter(Q(kind="photo", occasion="") | Q(made_at__gte=reader.begins))
    their_sheet = Q(sheet__job__sheets__revision=1, sheet__job__sheets__made_at__gte=reader.begins)
    return rows.filter(Q(sheet=None) | their_sheet)


def _prints_of(rows, reader):
    return rows.filter(Q(made_for=None) | Q(made_for=reader.keeper))


def _texts_of(rows, reader):
    return rows.filter(print__made_at__gte=reader.begins).filter(
        Q(print__made_for=None) | Q(print__made_for=reader.keeper)
    )
