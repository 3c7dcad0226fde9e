"""The gate: everything that still keeps a car from leaving. One function, for the page, for "ready" and for handover.

The gate is the car's, not the job's: what another open job of the same car has left open blocks too. It only
reads, in a fixed number of queries, and answers blockers; it raises nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.urls import NoReverseMatch, reverse

from jobs import damages
from jobs.lines import item_form
from jobs.models import Job, WorkLine
from jobs.models.handover import LeftHow
from jobs.models.job import ThingKind
from jobs.models.work import LineAnswerKind, LineKind
from jobs.picture import JobPicture
from vehicles.models import OdometerReading
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
        "line_put_off",
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
    def what(self) -> str:
        """The first sentence: what is the matter."""
        return self.text.partition(". ")[0].removesuffix(".") + "."

    @property
    def todo(self) -> str:
        """The rest: what to do about it."""
        return self.text.partition(". ")[2]

    @property
    def may_stay_unfinished(self) -> bool:
        return self.code in MAY_STAY_UNFINISHED


@dataclass(frozen=True)
class Look:
    """The gate's answer for one job. `everything` also holds what was waived; both most urgent first."""

    everything: list[Blocker]
    blockers: list[Blocker]

    @property
    def to_clear(self) -> list[Blocker]:
        """What keeps the car from being called ready: what handing over itself asks for left out."""
        return [found for found in self.blockers if found.code not in AT_HANDOVER]

    @property
    def at_handover(self) -> list[Blocker]:
        """What is left for the handover itself."""
        return [found for found in self.blockers if found.code in AT_HANDOVER]

    @property
    def words(self) -> str:
        return count_words(len(self.to_clear))


def count_words(count: int) -> str:
    """How many things block, in the same words wherever it is said: `AT_HANDOVER` is not counted."""
    if count == 0:
        return "Nothing blocks handover"
    return "1 thing still blocks handover" if count == 1 else f"{count} things still block handover"


def look(job: Job, picture: JobPicture | None = None) -> Look:
    """Run the gate once. With a picture, only what that has not read yet is asked for."""
    picture = picture or JobPicture(job)
    waived = {waiver.blocker for waiver in picture.waivers}
    found = [
        *_machine(job),
        *_car(picture),
        *_lines(picture),
        *_faults(picture),
        *_runs(picture),
        *_parts(picture),
        *_trials(picture),
        *_told(picture),
        *_damages(job),
        *_closing(picture),
    ]
    return Look(found, [row for row in found if row.key not in waived])


def blockers(job: Job) -> list[Blocker]:
    """What still blocks handover of this job's car, what was waived taken off. Most urgent first."""
    return look(job).blockers


def everything(job: Job) -> list[Blocker]:
    """The same with what was waived still in it."""
    return look(job).everything


def odometer_out(job: Job) -> OdometerReading | None:
    """The latest reading of this job after its check-in: one query."""
    return JobPicture(job).odometer_out


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


def _car(picture: JobPicture) -> Iterator[Blocker]:
    """Tags, isolations and things out of every open job of the car, and those jobs themselves."""
    job = picture.job
    for other in picture.other_jobs:
        yield Blocker(
            "other_job",
            str(other.pk),
            f"Job {other.number} of the same car is still open ({other.get_state_display().lower()}). Close it too, "
            "or the car stays here.",
            _link("jobs:job", other.pk),
        )
    for tag in picture.tags:
        yield Blocker(
            "tag",
            str(tag.pk),
            f"The car bears the tag “{tag.get_kind_display()}”: {tag.because}. While it stands the car leaves on "
            "a trailer or not at all.",
            _link("jobs:tag-lift", tag.pk),
            # Waived only helps a car that is taken away on a trailer: driving away stays refused.
            waivable=True,
        )
    for row in picture.standing_isolations:
        yield Blocker(
            "isolation",
            str(row.pk),
            f"The high-voltage system is isolated{_elsewhere(row.job, job)}, by {row.isolated_by}. A qualified "
            "person re-energises it and says what was checked before.",
            _link("jobs:re-energise", row.pk),
            critical=True,
        )
    for thing in picture.things_out:
        word = {ThingKind.CAR_PART: "Off the car"}.get(thing.kind, thing.get_kind_display())
        yield Blocker(
            "thing",
            str(thing.pk),
            f"{word}: {thing.what} ({thing.where}){_elsewhere(thing.job, job)}. Bring it back, and say so.",
            _link("jobs:thing-back", thing.pk),
        )


def _elsewhere(row_job: Job, job: Job) -> str:
    return "" if row_job.pk == job.pk else f" on job {row_job.number} of the same car"


def _lines(picture: JobPicture) -> Iterator[Blocker]:
    job, diagnosis = picture.job, picture.diagnosis
    for line in picture.lines:
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
        elif line.needs_item and not line.followed_up:
            said = "declined" if line.answer == LineAnswerKind.NO else "put off"
            yield Blocker(
                "line_put_off",
                str(line.pk),
                f"{name} was {said} and is not on the car's outstanding list. Put it there with how soon it matters: "
                "it is then on the sheet and comes up at the next visit.",
                item_form(line),
                waivable=True,
            )
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


def _faults(picture: JobPicture) -> Iterator[Blocker]:
    """Faults taken on: reported in this job, or on one of its lines."""
    for fault in picture.faults:
        if fault.end:
            continue
        yield Blocker(
            "fault_open",
            str(fault.pk),
            f"{fault} has no end. Say how it ended: fixed, no fault found, outstanding, normal for this car, same "
            "as another, or entered in error.",
            _link("vehicles:fault", fault.pk),
        )


def _runs(picture: JobPicture) -> Iterator[Blocker]:
    job, states = picture.job, picture.run_states
    for run in picture.runs:
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


def _parts(picture: JobPicture) -> Iterator[Blocker]:
    for change in picture.part_changes:
        if change.part_off_id is None or change.part_off.whereabouts:
            continue
        yield Blocker(
            "whereabouts",
            str(change.part_off_id),
            f"{change.part_off} came off: say where it went.",
            _link("vehicles:part-whereabouts", change.part_off_id),
            waivable=True,
        )


def _trials(picture: JobPicture) -> Iterator[Blocker]:
    """A known-good part on trial is the shop's: it is kept on the car or taken off before the car leaves."""
    for part in picture.trials:
        yield Blocker(
            "trial",
            str(part.pk),
            f"{part} is on the car on trial. Keep it, or take it off again.",
            # Its line offers both ways out.
            _link("jobs:line", part.fitted_by_line_id)
            if part.fitted_by_line_id
            else _link("vehicles:part", part.pk),
        )


def _told(picture: JobPicture) -> Iterator[Blocker]:
    """Dangerous things that are still open: the owner was told of each in this job, and answered."""
    for item in picture.untold:
        yield Blocker(
            "untold",
            str(item.pk),
            f"Dangerous and still open: {item.title}. Tell the owner, and write down what was told and what they "
            "answered.",
            _link("vehicles:outstanding-tell", item.pk),
        )


def _damages(job: Job) -> Iterator[Blocker]:
    """Damage done in the shop of which the car's owner does not know: it is told before the car leaves."""
    for row in damages.untold(job.vehicle_id):
        yield Blocker(
            "damage_untold",
            str(row.pk),
            f"Damage {row.number} ({row.where}){_elsewhere(row.job, job)}: nobody with a say in the car was told. Tell "
            "the owner, and write down what was told and how.",
            _link("jobs:damage-tell", row.pk),
        )


def _closing(picture: JobPicture) -> Iterator[Blocker]:
    job, me = picture.job, str(picture.job.pk)
    if picture.odometer_out is None:
        yield Blocker(
            "odometer_out",
            me,
            "The odometer was not read since check-in. It can be given at handover.",
            _link("vehicles:odometer-add", job.vehicle_id),
        )
    work = picture.latest_work
    road = picture.road_tests[-1] if picture.road_tests else None
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
    check = picture.final_checks[-1] if picture.final_checks else None
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
