"""Reread what spans rows, where no constraint of the database reaches, and name the first thing that is wrong."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import closing
from decimal import Decimal
from itertools import chain

from django.core.management.base import BaseCommand
from django.db.models import F, Min, Q

from jobs import runs
from jobs.models import Job, ProcedureVersion, Run, SecondCheck, SheetRevision, TorqueReading
from jobs.models.job import JobState
from jobs.models.torque import ReadingKind, ReadingVerdict
from jobs.through import of_reading
from jobs.versions import content_hash
from vehicles import figure_checks, words
from vehicles.files import verify as stored_files
from vehicles.models import ArchiveImport, Calculation, Flavour, ForeignEvent
from workshop.canonical import sha256
from workshop.engineering import limits
from workshop.engineering.units import Amount
from workshop.engineering.verdict import DecisionRule, Limits, judge
from workshop.log import link
from workshop.models import Counter, Event

CHUNK = 200


def sheets() -> Iterator[str]:
    """Each frozen text gives its hash, each stored PDF and personal part its own; revisions have no gap."""
    rows = SheetRevision.objects.select_related("job", "text").order_by("job", "revision")
    expected: dict = {}
    for row in rows.iterator(chunk_size=CHUNK):
        expected[row.job_id] = expected.get(row.job_id, 0) + 1
        name = f"sheet {row.job.number} revision {row.revision}"
        if row.revision != expected[row.job_id]:
            yield f"{name}: a revision before it is missing"
        if sha256(row.technical) != row.technical_hash:
            yield f"{name}: its technical text does not give its hash"
        text = getattr(row, "text", None)
        if text is None:
            yield f"{name}: its text is missing"
        elif text.erased_at is None:
            if hashlib.sha256(bytes(text.pdf)).hexdigest() != row.pdf_hash:
                yield f"{name}: its PDF does not give its hash"
            if sha256(text.personal) != row.personal_hash:
                yield f"{name}: its personal page does not give its hash"
        for signature in row.signatures.select_related("ink"):
            if signature.data_hash != row.technical_hash:
                yield f"{name}: a signature stands against another hash"
            drawn = getattr(signature, "ink", None)
            if bool(signature.ink_hash) != (drawn is not None):
                yield f"{name}: what was drawn to sign is missing, or belongs to no signature on the screen"
            elif drawn is not None and drawn.erased_at is None and sha256(drawn.lines) != signature.ink_hash:
                yield f"{name}: what was drawn to sign does not give its hash"


def sheets_in_the_log() -> Iterator[str]:
    """What the log says of each sheet's hashes is what the sheet says: both would have to be altered."""
    of_sheets = Q(subject_kind="jobs.sheetrevision", body__contains='"pdf_hash"')
    own = Event.objects.filter(of_sheets).order_by("seq").iterator(chunk_size=CHUNK)
    foreign = ForeignEvent.objects.filter(of_sheets).order_by("pk").iterator(chunk_size=CHUNK)
    rows = {str(row.pk): row for row in SheetRevision.objects.select_related("job").defer("technical")}
    seen = set()
    for event in chain(own, foreign):
        facts = json.loads(event.body)["facts"]
        row = rows.get(event.subject_id)
        if row is None:
            if isinstance(event, ForeignEvent):
                continue  # an owner's archive leaves sheets of former keepers out
            yield f"sheet {facts['number']} revision {facts['revision']} stands in the log and is missing"
            continue
        seen.add(event.subject_id)
        for name in ("technical_hash", "personal_hash", "pdf_hash"):
            if facts[name] != getattr(row, name):
                yield f"sheet {row.job.number} revision {row.revision}: its {name} is not the one in the log"
    withheld = _cars_with_withheld_events()
    for key, row in rows.items():
        if key not in seen and not (row.job.origin and row.job.vehicle_id in withheld):
            yield f"sheet {row.job.number} revision {row.revision} does not stand in the log"


def second_checks() -> Iterator[str]:
    """A second check is by somebody who took no reading in the step; or it says that nobody else was there."""
    rows = (
        SecondCheck.objects.filter(
            alone_because="",
            run__readings__step=F("step"),
            run__readings__made_by=F("made_by"),
            # What they tightened after their check makes it lapse, and is nothing wrong.
            run__readings__order__lte=F("after_reading"),
        )
        .select_related("run__job", "run__version_used__procedure", "made_by", "step")
        .distinct()
    )
    for row in rows.iterator(chunk_size=CHUNK):
        yield f"job {row.run.job.number}, {row.run}: {row.made_by} checked a step in which they took a reading"


def verdicts() -> Iterator[str]:
    """Each verdict, computed again from the value, limits, deviation and rule that stand with it, is the stored one."""
    rows = (
        TorqueReading.objects.exclude(kind__in=[ReadingKind.LOOSENED, ReadingKind.NOT_DONE])
        .select_related("run__job", "run__version_used__procedure")
        .order_by("run", "order")
    )
    for row in rows.iterator(chunk_size=CHUNK):
        again = _verdict_again(row)
        if again != row.verdict:
            yield (
                f"job {row.run.job.number}, {row.run}, reading {row.order}: stored as “{row.verdict}”, "
                f"computed “{again}”"
            )
        if _value_again(row) != row.value:
            yield f"job {row.run.job.number}, {row.run}, reading {row.order}: typed and stored value differ"


def _value_again(row: TorqueReading) -> Decimal | None:
    """The stored value from what was typed: through an extension, the torque at the fastener from the setting."""
    typed = Amount(row.typed, row.unit).base().quantize(row.value)
    taken = of_reading(row)
    if taken is None:
        return typed
    return taken.at_fastener(typed) if row.setting == typed else None


def _verdict_again(row: TorqueReading) -> str:
    if row.limit_low is None and row.limit_high is None:
        return ReadingVerdict.NO_LIMIT.value
    if row.kind == ReadingKind.RESULT:
        return limits.check(row.value, row.limit_low, row.limit_high).value
    found = judge(
        row.value, Limits(row.limit_low, row.limit_high), row.deviation_percent, DecisionRule(row.rule)
    ).verdict.value
    if row.kind == ReadingKind.DID_NOT_MOVE and row.limit_high is not None and found == ReadingVerdict.WITHIN:
        # It holds at least the set value: how much more, and so an upper limit, is not known.
        return ReadingVerdict.NOT_PROVEN.value
    return found


def completed_runs() -> Iterator[str]:
    """A run that was completed has nothing open, unless something was written to it afterwards."""
    rows = list(
        Run.objects.filter(completed_at__isnull=False)
        .select_related("job", "version_used__procedure")
        .order_by("made_at")
    )
    for start in range(0, len(rows), CHUNK):
        part = rows[start : start + CHUNK]
        states = runs.states_of(part)
        for run in part:
            state = states[run.pk]
            later = any(reading.received_at > run.completed_at for reading in state.readings)
            if state.problems and not later:
                yield f"job {run.job.number}, {run}: completed, though {state.problems[0].text}"


def versions() -> Iterator[str]:
    """A released version says what it said when it was released: its content gives the hash in the log."""
    said = {}
    released = "jobs.procedure.release_version"
    foreign = ForeignEvent.objects.filter(act=released).order_by("pk")
    for event in chain(foreign, Event.objects.filter(act=released).order_by("seq")):
        facts = json.loads(event.body)["facts"]
        said[event.subject_id] = facts["hash"]
    rows = (
        ProcedureVersion.objects.filter(released_at__isnull=False)
        .select_related("procedure")
        .prefetch_related("steps__stages__targets")
        .order_by("procedure", "number")
    )
    withheld = _of_withheld_events()
    for version in rows:
        if (hash_said := said.get(str(version.pk))) is None:
            if str(version.pk) in withheld:
                continue
            yield f"{version}: released, but its release does not stand in the log"
        elif content_hash(version) != hash_said:
            yield f"{version}: it no longer says what it said when it was released"


def _cars_with_withheld_events() -> set:
    """Cars that came with an owner's archive: it gives the place of some events alone, not what they say."""
    return set(ArchiveImport.objects.filter(flavour=Flavour.OWNER).values_list("vehicle", flat=True))


def _of_withheld_events() -> set[str]:
    """Procedure versions that such a car's runs used."""
    used = Run.objects.filter(job__vehicle__in=_cars_with_withheld_events()).exclude(job__origin="")
    return {str(key) for key in used.values_list("version_used", flat=True)}


def foreign_events() -> Iterator[str]:
    """Each event of another installation gives its hash, and is where it says it is."""
    for event in ForeignEvent.objects.select_related("archive").order_by("pk").iterator(chunk_size=CHUNK):
        if not event.body:
            if event.archive.flavour != Flavour.OWNER:
                yield f"{event}: it does not say what was done"
        elif link(event.previous_hash, event.body) != event.hash:
            yield f"{event}: it was altered: its text does not give its hash"
        elif json.loads(event.body)["seq"] != event.seq:
            yield f"{event}: its text is that of another event"


def job_numbers() -> Iterator[str]:
    """Numbers of a year run from 1 without a gap up to where the counter stands."""
    years: dict[int, list[int]] = {}
    for year, serial in (
        Job.objects.filter(origin="").order_by("year", "serial").values_list("year", "serial")
    ):
        years.setdefault(year, []).append(serial)
    counters = dict(Counter.objects.filter(name__startswith="job-").values_list("name", "last"))
    for year, serials in years.items():
        for expected, serial in enumerate(serials, 1):
            if serial != expected:
                yield f"job {year}-{expected:04d} is missing"
                break
        last = counters.pop(f"job-{year}", None)
        if last != serials[-1]:
            yield f"the last job of {year} is {serials[-1]:04d}, but {last} numbers were drawn"
    for name, last in counters.items():
        if last:
            yield f"{last} numbers were drawn as {name}, and no such job is there"


def closed_jobs() -> Iterator[str]:
    """A job whose car left has its handover and its sheet; one that is not over has neither."""
    left = Q(state__in=[JobState.HANDED_OVER, JobState.COLLECTED_UNFINISHED])
    for job in Job.objects.filter(left).annotate(first=Min("sheets__revision")).select_related("handover"):
        if getattr(job, "handover", None) is None:
            yield f"job {job.number}: the car left without a handover on record"
        if job.first != 1 and not job.origin:
            yield f"job {job.number}: the car left without a sheet"
    for job in (
        Job.objects.exclude(left).filter(Q(handover__isnull=False) | Q(sheets__isnull=False)).distinct()
    ):
        yield f"job {job.number}: there is a handover or a sheet, but the job is “{job.get_state_display()}”"


def calculations() -> Iterator[str]:
    """Each kept result gives its digest, names itself as its columns do, and is the one that the log speaks of."""
    kept = "vehicles.calculation.keep_result"
    foreign = ForeignEvent.objects.filter(act=kept).iterator(chunk_size=CHUNK)
    own = Event.objects.filter(act=kept).iterator(chunk_size=CHUNK)
    said = {event.subject_id: json.loads(event.body)["facts"]["digest"] for event in chain(foreign, own)}
    withheld = _cars_with_withheld_events()
    rows = Calculation.objects.select_related("vehicle").order_by("made_at", "pk")
    for row in rows.iterator(chunk_size=CHUNK):
        name = f"a result of {row.calculator} kept with {row.vehicle}, {row.made_at:%Y-%m-%d %H:%M} UTC"
        in_the_log = said.pop(str(row.pk), None)
        if sha256(row.record) != row.digest:
            yield f"{name}: its record does not give its digest"
            continue
        if (row.data["calculator"], row.data["version"]) != (row.calculator, row.formula_version):
            yield f"{name}: its record names another calculator or version"
        if in_the_log is None and row.vehicle_id in withheld:
            continue
        if in_the_log != row.digest:
            yield f"{name}: its digest is not the one in the log"
    for key in said:
        yield f"result {key} stands in the log and is missing"


CHECKS: tuple[Callable[[], Iterator[str]], ...] = (
    sheets,
    sheets_in_the_log,
    second_checks,
    verdicts,
    completed_runs,
    versions,
    foreign_events,
    job_numbers,
    closed_jobs,
    calculations,
    figure_checks.problems,
    words.problems,
    stored_files.problems,
)


def problems() -> Iterator[str]:
    for check in CHECKS:
        yield from check()


class Command(BaseCommand):
    help = "Reread the records that span rows (sheets, verdicts, checks, numbers, files), and name the first that is wrong."

    def add_arguments(self, parser):
        parser.add_argument("--all", action="store_true", help="name every problem, not only the first")

    def handle(self, *, all, **options):
        # Closed at once: a half-read result keeps a cursor open on PostgreSQL.
        with closing(problems()) as found:
            first = next(found, None)
            if first is not None:
                self.stderr.write(self.style.ERROR(first))
                for problem in found if all else ():
                    self.stderr.write(self.style.ERROR(problem))
                raise SystemExit(1)
        count = SheetRevision.objects.count()
        self.stdout.write(self.style.SUCCESS(f"The records are whole: {count} sheets read again."))
