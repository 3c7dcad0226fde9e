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
from django.db.models import Max, Q
from django.urls import NoReverseMatch, reverse

from jobs.lines import trials_open
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
    TorqueReading,
    Waiver,
    WorkLine,
)
from jobs.models.handover import LeftHow
from jobs.models.job import ThingKind
from jobs.models.work import LineAnswerKind, LineKind
from vehicles.models import Fault, OdometerReading, OutstandingItem, Severity, Telling
from workshop import checks

# What does not keep a car from being called ready: what handing over writes down itself, and the car's other
# job, which could never be called ready either if each waited for the other.
AT_HANDOVER = frozenset({"odometer_out", "other_job"})
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
        *_trials(job),
        *_told(job),
        *_closing(job),
    ]


def blocks_leaving(found: Iterable[Blocker], left_how: str) -> list[Blocker]:
    """Of these, what keeps the car from leaving in this way.

    Tags keep it from being driven only; the car's other job keeps it here, so it does not matter if it stays.
    """
    if left_how == LeftHow.DRIVEN:
        return list(found)
    let_go = {"tag", "other_job"} if left_how == LeftHow.STAYS else {"tag"}
    return [blocker for blocker in found if blocker.code not in let_go]


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
    """Tags, isolations and things out of every open job of the car, and those jobs themselves."""
    for other in (
        Job.objects.filter(
            vehicle=job.vehicle_id, state__in=(JobState.CHECKED_IN, JobState.IN_WORK, JobState.FINAL_CHECKS)
        )
        .exclude(pk=job.pk)
        .order_by("year", "serial")
    ):
        yield Blocker(
            "other_job",
            str(other.pk),
            f"Job {other.number} of the same car is still open ({other.get_state_display().lower()}). Close it too, "
            "or the car stays here.",
            _link("jobs:job", other.pk),
        )
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
        if line.above_authority:
            yield Blocker(
                "line_above",
                # The amount is part of what is waived: a higher one asks again.
                f"{line.pk}:{line.amount}",
                f"{name} costs {line.amount} now; {line.authorised_amount} was authorised. Ask again and record "
                "the answer.",
                url,
                waivable=True,
            )
        code, text = _line(line, name, above_limit=diagnosis > job.limit)
        if code:
            yield Blocker(code, str(line.pk), text, url)
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
                f"“{run}” is neither completed nor stopped{elsewhere}.",
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


def _trials(job: Job) -> Iterator[Blocker]:
    """A known-good part on trial is the shop's: it is kept on the car or taken off before the car leaves."""
    for part in trials_open(job):
        yield Blocker(
            "trial",
            str(part.pk),
            f"{part} is on the car on trial. Keep it, or take it off again.",
            _link("vehicles:part", part.pk),
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
    """Keys of the items about which somebody with a say in the car was told in this job, and answered."""
    return Telling.objects.counting(job.vehicle_id).filter(job=job).values("item")


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
    url = _link("jobs:road-test", job.pk)
    if road is None:
        yield Blocker(
            "road_test",
            me,
            "No road test: record what was driven and found, or why there was none.",
            url,
            waivable=True,
        )
    elif work and work > road.made_at:
        yield Blocker(
            "road_test",
            f"{road.pk}:again",
            "Work was done after the road test. Drive the car again, or say why there is no other road test.",
            url,
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
                f"{check.pk}:again",
                "Work was done after the final check. Look over the car once more.",
                url,
            )
        # Waived is what this check found missing, not what a later one finds.
        if not check.tools_complete:
            yield Blocker("tools", str(check.pk), f"Tools are missing: {check.note}", url, waivable=True)
        if not check.parts_complete:
            yield Blocker(
                "parts", str(check.pk), f"Parts of the car are missing: {check.note}", url, waivable=True
            )
    if job.comeback_of_id and job.comeback_judged_by_id is None:
        yield Blocker(
            "comeback",
            me,
            "This job is a comeback, and nobody has judged what it turned out to be.",
            _link("jobs:comeback-judge", job.pk),
            waivable=True,
        )


def _latest_work(job: Job) -> datetime | None:
    """When something was last done to the car: what came after a check was not looked over by it. Three queries.

    Readings and changes of parts count from when they arrived, as they may be written down under an earlier time.
    """
    moments = (
        WorkLine.objects.filter(job=job).aggregate(at=Max("done_at"))["at"],
        TorqueReading.objects.filter(run__job=job).aggregate(at=Max("received_at"))["at"],
        PartChange.objects.filter(line__job=job).aggregate(at=Max("received_at"))["at"],
    )
    return max((moment for moment in moments if moment), default=None)
