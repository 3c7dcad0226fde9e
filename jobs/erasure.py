"""What the jobs hold of a person, and what becomes of it when they are erased."""

from __future__ import annotations

from dataclasses import replace
from uuid import uuid5

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import TruncDate

from jobs.models import Damage, DamageTelling, Handover, Job, LineAnswer, SheetText, WorkLine
from jobs.models.job import CheckIn
from vehicles.erasure import Obstacle, Share, add_share, needles
from vehicles.models import Attachment, Keeper, Telling, VehicleKeeper
from workshop import checks, erasing, triggers
from workshop.acting import By

# A hash is taken of each of these texts: of the sheet and what was signed, of a released procedure.
HASHED = (
    "jobs_sheetrevision",
    "jobs_sheettext",
    "jobs_signatureink",
    "jobs_signoff",
    "jobs_procedureversion",
    "jobs_procedurestep",
    "jobs_procedurestage",
    "jobs_stagetarget",
)


def _jobs(keeper: Keeper) -> QuerySet[Job]:
    """Jobs that they had a part in, and those of their cars while these were theirs."""
    held = VehicleKeeper.objects.filter(
        Q(from_on=None) | Q(from_on__lte=OuterRef("made_day")),
        Q(until_on=None) | Q(until_on__gte=OuterRef("made_day")),
        keeper=keeper,
        vehicle=OuterRef("vehicle"),
    )
    part = (
        Q(payer=keeper)
        | Q(authoriser=keeper)
        | Q(check_in__brought_by=keeper)
        | Q(handover__collected_by=keeper)
        | Q(pk__in=LineAnswer.objects.filter(by=keeper).values("line__job"))
        | Q(pk__in=Telling.objects.filter(told_to=keeper, job__isnull=False).values("job"))
    )
    return Job.objects.annotate(made_day=TruncDate("made_at")).filter(part | Exists(held))


def _ids(keeper: Keeper):
    return _jobs(keeper).values("pk")


def _sheets(keeper: Keeper) -> QuerySet[SheetText]:
    """Personal parts of sheets, not erased yet, of their jobs or that name them."""
    named = Q(pk__in=[])
    for needle in needles(keeper):
        named |= Q(personal__icontains=needle)
    # What an erasure issued holds nobody any more.
    standing = SheetText.objects.filter(erased_at=None).exclude(personal__contains='"erased":true')
    return standing.filter(Q(revision__job__in=_ids(keeper)) | named)


def _obstacles(keeper: Keeper) -> list[Obstacle]:
    found = [
        Obstacle(
            f"Job {job.number} is open, and they have a part in it: it needs somebody to answer, pay and collect.",
            job.get_absolute_url(),
            "The job",
        )
        for job in _jobs(keeper).open().order_by("year", "serial")
    ]
    if _sheets(keeper).exists() and (problem := checks.pdf_problem()):
        found.append(Obstacle(f"Their sheets can't be printed anew without the personal page: {problem}."))
    return found


def _own(keeper: Keeper):
    """What they said, asked for or were told, and what was theirs in the car."""
    asked = Q(payer=keeper) | Q(authoriser=keeper) | Q(check_in__brought_by=keeper)
    return (
        ("What they asked for, in their own words", Job.objects.filter(asked).distinct(), ("complaint",)),
        ("Belongings left in the car", CheckIn.objects.filter(job__in=_ids(keeper)), ("belongings",)),
        ("The words of their answers to estimates", LineAnswer.objects.filter(by=keeper), ("words", "right")),
        (
            "What they were told of work done without asking",
            WorkLine.objects.filter(told_owner=keeper),
            ("told_owner_words",),
        ),
        (
            "What they were told of damage, and said",
            DamageTelling.objects.filter(told_to=keeper),
            ("told", "answered"),
        ),
        (
            "How they were known when they collected a car, and what was said then",
            Handover.objects.filter(collected_by=keeper),
            ("identified_by", "collects_because", "told"),
        ),
    )


def _papers(keeper: Keeper) -> QuerySet[Attachment]:
    """Photos of signed papers of their sheets."""
    return (
        Attachment.objects.filter(kind="signed_paper", erased_at=None, vehicle__jobs__in=_jobs(keeper))
        .filter(Q(job__in=_ids(keeper)) | Q(sheet__job__in=_ids(keeper)))
        .distinct()
    )


def _goes(keeper: Keeper) -> list[str]:
    lines = [f"{words}: {count}" for words, rows, names in _own(keeper) if (count := _filled(rows, names))]
    if sheets := _sheets(keeper).count():
        lines.append(
            f"The personal page of {sheets} revision{'' if sheets == 1 else 's'} of sheets, with its PDF, its prices, and whoever else "
            "stands on it; the signature drawn on the screen. A revision without that page is issued"
        )
    if papers := _papers(keeper).count():
        lines.append(f"Photos of signed papers: {papers}")
    return lines


def _filled(rows: QuerySet, names: tuple[str, ...]) -> int:
    filled = Q(pk__in=[])
    for name in names:
        filled |= ~Q(**{name: ""})
    return rows.filter(filled).count()


def _stays(keeper: Keeper) -> list[str]:
    return [
        "The technical part of every sheet, with its number and its hashes, and that an answer was given, when and how"
    ]


def _before(by: By, keeper: Keeper, reason: str) -> None:
    """Each sheet by its own act: printing takes time, and nothing is printed inside a transaction."""
    from jobs.acts.sheet import erase_personal

    jobs = Job.objects.filter(sheets__text__in=_sheets(keeper)).distinct().order_by("year", "serial")
    for job in jobs:
        revision = job.sheets.order_by("-revision").first()
        erase_personal(by=replace(by, key=uuid5(by.key, str(job.pk))), revision=revision, reason=reason)


def _within(by: By, keeper: Keeper, eraser: erasing.Eraser, reason: str) -> None:
    from vehicles.acts import photo

    for attachment in _papers(keeper):
        photo.erase(by=by, attachment=attachment, because=reason)
    for _, rows, names in _own(keeper):
        eraser.whole(rows, *names)


def _subjects(keeper: Keeper) -> list[tuple[str, object]]:
    found = [
        (rows.model._meta.label_lower, list(rows.values_list("pk", flat=True))) for _, rows, _ in _own(keeper)
    ]
    return [
        *found,
        (Damage._meta.label_lower, Damage.objects.filter(job__in=_ids(keeper)).values_list("pk", flat=True)),
    ]


def register() -> None:
    triggers.frozen(*HASHED)
    add_share(
        Share(
            obstacles=_obstacles,
            goes=_goes,
            stays=_stays,
            before=_before,
            within=_within,
            subjects=_subjects,
        )
    )
