"""The gate: everything that still keeps a car from leaving. One function, for the page, for "ready" and for handover.

The gate is the car's, not the job's: what another open job of the same car has left open blocks too. It only
reads, in a fixed number of queries, and answers blockers; it raises nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.urls import NoReverseMatch, reverse

from jobs.models import (
    FinalCheck,
    Isolation,
    Job,
    JobState,
    PartChange,
    RoadTest,
    Run,
    Tag,
    ThingOut,
    Waiver,
    WorkLine,
)
from jobs.models.handover import LeftHow
from jobs.models.job import ThingKind
from jobs.models.work import LineAnswerKind, LineKind
from vehicles.models import Fault, OdometerReading, OutstandingItem, Severity
from vehicles.models.outstanding import TellingAnswer
from workshop import checks

# What handing over writes down itself, so that it does not keep a car from being called ready.
AT_HANDOVER = frozenset({"odometer_out"})
# What a car may leave with when it is collected unfinished: the sheet lists each as not done.
MAY_STAY_UNFINISHED = frozenset(
    {
        "line_undecided",
        "line_above",
        "line_open",
        "fault_open",
        "run_open",
        "run",
        "road_test",
        "comeback",
        "isolation",
        "tag",
    }
)


@dataclass(frozen=True)
class Blocker:
    """One thing that blocks. `subject` is the record's key, `url` leads to where it is cleared.

    `critical`: it leaves a joint unproven on which lives depend.
    """

    code: str
    subject: str
    text: str
    url: str
    waivable: bool = False
    critical: bool = False

    @property
    def key(self) -> str:
        return f"{self.code}:{self.subject}"

    @property
    def may_stay_unfinished(self) -> bool:
        return self.code in MAY_STAY_UNFINISHED


def blockers(job: Job) -> list[Blocker]:
    """What still blocks handover of this job's car, what was waived taken off. Most urgent first."""
    waived = set(Waiver.objects.filter(job=job).values_list("blocker", flat=True))
    return [found for found in everything(job) if found.key not in waived]


def everything(job: Job) -> list[Blocker]:
    """The same with what was waived still in it."""
    lines = list(WorkLine.objects.filter(job=job).order_by("order"))
    return [
        *_machine(job),
        *_car(job),
        *_lines(job, lines),
        *_faults(job),
        *_runs(job),
        *_parts(job),
        *_told(job),
        *_closing(job),
    ]


def blocks_leaving(found: Iterable[Blocker], left_how: str) -> list[Blocker]:
    """Of these, what keeps the car from leaving in this way: tags keep it from being driven only."""
    if left_how == LeftHow.DRIVEN:
        return list(found)
    return [blocker for blocker in found if blocker.code != "tag"]


def _link(name: str, *args: Any) -> str:
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


def _machine(job: Job) -> Iterator[Blocker]:
    """What keeps this installation from issuing any sheet."""
    if not settings.SITE_URL:
        yield Blocker(
            "site_url",
            "",
            "No sheet can be issued: SITE_URL is not set, so its QR code would lead nowhere. Whoever runs the "
            "server sets it to the address under which the shop is reached, such as https://shop.example, and "
            "starts the server again. Until then the draft can be printed.",
            _link("jobs:sheet-draft", job.pk),
        )
    if problem := checks.pdf_problem():
        yield Blocker(
            "pdf",
            "",
            f"No sheet can be issued: the PDF library lacks a part of the system ({problem}). {checks.PDF_HINT}. "
            "Until then the draft can be printed.",
            _link("jobs:sheet-draft", job.pk),
        )


def _car(job: Job) -> Iterator[Blocker]:
    """Tags, isolations and things out: of every open job of the car."""
    for tag in Tag.objects.filter(vehicle=job.vehicle_id, lifted_at=None).order_by("made_at"):
        yield Blocker(
            "tag",
            str(tag.pk),
            f"The car bears the tag “{tag.get_kind_display()}”: {tag.because}. While it stands the car leaves on "
            "a trailer or not at all.",
            _link("jobs:tag-lift", tag.pk),
            # Waived only helps a car that is taken away on a trailer: driving away stays refused.
            waivable=True,
        )
    of_the_car = Q(job=job) | Q(job__vehicle=job.vehicle_id) & ~Q(job__state__in=_over())
    for row in Isolation.objects.filter(of_the_car, re_energised_at=None).select_related(
        "isolated_by", "job"
    ):
        yield Blocker(
            "isolation",
            str(row.pk),
            f"The high-voltage system is isolated{_elsewhere(row.job, job)}, by {row.isolated_by}. A qualified "
            "person re-energises it and says what was checked before.",
            _link("jobs:re-energise", row.pk),
            critical=True,
        )
    for thing in ThingOut.objects.filter(of_the_car, back_at=None).select_related("job").order_by("made_at"):
        word = {ThingKind.CAR_PART: "Off the car"}.get(thing.kind, thing.get_kind_display())
        yield Blocker(
            "thing",
            str(thing.pk),
            f"{word}: {thing.what} ({thing.where}){_elsewhere(thing.job, job)}. Bring it back, and say so.",
            _link("jobs:thing-back", thing.pk),
        )


def _over() -> list[str]:
    return [state for state in JobState if state.closed]


def _elsewhere(row_job: Job, job: Job) -> str:
    return "" if row_job.pk == job.pk else f" on job {row_job.number} of the same car"


def _lines(job: Job, lines: list[WorkLine]) -> Iterator[Blocker]:
    diagnosis = sum(
        (
            line.amount or Decimal(0)
            for line in lines
            if line.kind == LineKind.DIAGNOSIS
            and not line.dropped_because
            and line.answer != LineAnswerKind.YES
            and (line.done_at or not line.answer)
        ),
        Decimal(0),
    )
    for line in lines:
        if line.dropped_because:
            continue
        name = f"Line {line.order} “{line.complaint}”"
        url = _link("jobs:line", line.pk)
        code, text = _line(line, name, above_limit=diagnosis > job.limit)
        if code:
            yield Blocker(code, str(line.pk), text, url, waivable=code == "line_above")
        if line.needs_telling:
            yield Blocker(
                "make_safe_untold",
                str(line.pk),
                f"{name}: the owner was not told of making safe. It is done without asking, so they are told the "
                "same day.",
                _link("jobs:line-tell", line.pk) or url,
            )


def _line(line: WorkLine, name: str, *, above_limit: bool) -> tuple[str, str]:
    """Code and sentence of what is open about a line; empty where nothing is."""
    if line.above_authority:
        return (
            "line_above",
            f"{name} costs {line.amount} now; {line.authorised_amount} was authorised. Ask again and record the "
            "answer.",
        )
    answered = line.answer in (LineAnswerKind.NO, LineAnswerKind.LATER)
    needs_answer = line.kind in (LineKind.REPAIR, LineKind.SERVICE) or (
        line.kind == LineKind.DIAGNOSIS and above_limit
    )
    if not line.answer and needs_answer:
        if line.amount is None:
            return "line_undecided", f"{name} is not decided: estimate it and ask the owner."
        return "line_undecided", f"{name} is not decided: record the owner's answer to the estimate."
    if line.done_at is None and not answered:
        said = "was authorised but is" if line.answer else "is"
        return "line_open", f"{name} {said} neither done nor dropped. Finish it, or say why it is not done."
    return "", ""


def _faults(job: Job) -> Iterator[Blocker]:
    """Faults taken on: reported in this job, or on one of its lines."""
    rows = Fault.objects.filter(Q(job=job) | Q(lines__job=job), end="").distinct().order_by("order")
    for fault in rows:
        yield Blocker(
            "fault_open",
            str(fault.pk),
            f"{fault} has no end. Say how it ended: fixed, no fault found, outstanding, normal for this car, same "
            "as another, or entered in error.",
            _link("vehicles:fault", fault.pk),
        )


def _runs(job: Job) -> Iterator[Blocker]:
    from jobs import runs

    rows = list(
        Run.objects.filter(Q(job=job) | Q(job__vehicle=job.vehicle_id) & ~Q(job__state__in=_over()))
        .select_related("job", "version_used__procedure")
        .order_by("made_at")
    )
    states = runs.states_of(rows)
    for run in rows:
        state = states[run.pk]
        url = _link("jobs:run", run.pk)
        elsewhere = _elsewhere(run.job, job)
        if not state.ended:
            yield Blocker(
                "run_open",
                str(run.pk),
                f"“{run}” is neither completed nor given up{elsewhere}.",
                url,
                waivable=True,
                critical=state.critical,
            )
        for problem in state.problems:
            about = problem.subject.removeprefix(f"run:{run.pk}").strip(":")
            yield Blocker(
                "run",
                ":".join(part for part in (str(run.pk), problem.code, about) if part),
                f"{problem.text}{elsewhere and ' This is' + elsewhere + '.'}",
                url,
                waivable=problem.waivable,
                critical=problem.critical,
            )


def _parts(job: Job) -> Iterator[Blocker]:
    changes = PartChange.objects.filter(line__job=job, part_off__isnull=False, part_off__whereabouts="")
    for change in changes.select_related("part_off__place"):
        yield Blocker(
            "whereabouts",
            str(change.part_off_id),
            f"{change.part_off} came off: say where it went.",
            _link("vehicles:part", change.part_off_id),
            waivable=True,
        )


def _told(job: Job) -> Iterator[Blocker]:
    """Dangerous things that are still open: the owner was told of each in this job, and answered."""
    items = (
        OutstandingItem.objects.open()
        .filter(vehicle=job.vehicle_id, severity=Severity.DANGEROUS)
        .exclude(pk__in=_answered(job))
        .order_by("made_at")
    )
    for item in items:
        yield Blocker(
            "untold",
            str(item.pk),
            f"Dangerous and still open: {item.title}. Tell the owner, and write down what was told and what they "
            "answered.",
            _link("vehicles:outstanding-tell", item.pk),
        )


def _answered(job: Job):
    """Keys of the items about which the owner was told in this job and answered."""
    from vehicles.models import Telling

    return Telling.objects.filter(job=job).exclude(answer=TellingAnswer.NO_ANSWER).values("item")


def odometer_out(job: Job) -> OdometerReading | None:
    """The latest reading of this job after its check-in: one query."""
    check_in = getattr(job, "check_in", None)
    rows = OdometerReading.objects.filter(job=job, misread_because="").select_related("instrument")
    if check_in is not None:
        rows = rows.exclude(pk=check_in.odometer_id).filter(read_at__gte=check_in.made_at)
    return rows.order_by("-read_at", "-made_at").first()


def _closing(job: Job) -> Iterator[Blocker]:
    me = str(job.pk)
    if odometer_out(job) is None:
        yield Blocker(
            "odometer_out",
            me,
            "The odometer was not read since check-in. It can be given at handover.",
            _link("vehicles:odometer-add", job.vehicle_id),
        )
    work = _latest_work(job)
    road = RoadTest.objects.filter(job=job).order_by("-made_at").first()
    if road is None:
        yield Blocker(
            "road_test",
            me,
            "No road test: record what was driven and found, or why there was none.",
            _link("jobs:road-test", job.pk),
            waivable=True,
        )
    check = FinalCheck.objects.filter(job=job).order_by("-made_at").first()
    url = _link("jobs:final-check", job.pk)
    if check is None:
        yield Blocker(
            "final_check", me, "The final check is missing: new damage, tools and parts of the car.", url
        )
    else:
        if work and work > check.made_at:
            yield Blocker(
                "final_check",
                f"{me}:again",
                "Work was done after the final check. Look over the car once more.",
                url,
            )
        if not check.tools_complete:
            yield Blocker("tools", me, f"Tools are missing: {check.note}", url, waivable=True)
        if not check.parts_complete:
            yield Blocker("parts", me, f"Parts of the car are missing: {check.note}", url, waivable=True)
    if job.comeback_of_id and job.comeback_judged_by_id is None:
        yield Blocker(
            "comeback",
            me,
            "This job is a comeback, and nobody has judged what it turned out to be.",
            _link("jobs:job-judge", job.pk),
            waivable=True,
        )


def _latest_work(job: Job) -> datetime | None:
    """When a line was last finished: what was done after a final check was not looked over by it."""
    return (
        WorkLine.objects.filter(job=job, done_at__isnull=False)
        .order_by("-done_at")
        .values_list("done_at", flat=True)
        .first()
    )
