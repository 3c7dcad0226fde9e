"""Closing a job: called ready, handed over or collected unfinished, the frozen sheet, its revisions and signatures.

A sheet takes half a second to print, and nothing is printed inside the write lock. So an act that issues one is
performed twice: the first time it gathers what the sheet will say and is rolled back whole; then the sheet is
printed; the second time the act gathers again, with the gate, and stores the bytes only if both say the same.
Whatever somebody changed in between is thereby on the sheet, or the sheet is printed anew.
"""

from __future__ import annotations

import functools
import json
import secrets
from collections.abc import Callable, Iterable
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from jobs import gate, sheets
from jobs.acts.job import apply_move, lock, renamed_fields
from jobs.models import Handover, Job, JobMove, JobState, Run, SheetRevision, SheetText, SignOff
from jobs.models.handover import LeftHow, SheetKind, SignatureMethod, SignerPart
from jobs.states import IN_THE_BUILDING, why_not
from vehicles import people
from vehicles.acts import fault as fault_acts
from vehicles.acts import odometer as odometer_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.models import Fault, Keeper, OutstandingItem, Severity
from vehicles.models.outstanding import Channel, OutstandingReason, TellingAnswer
from workshop import log
from workshop.acting import By, act, create, note
from workshop.canonical import sha256
from workshop.engineering.units import Amount
from workshop.models import Person
from workshop.permissions import May
from workshop.sheets import Printed, in_groups, print_pdf, qr_svg

TRIES = 4
TEMPLATE = "sheets/handover.html"


# --- printing between two performances --------------------------------------------------------------------


@dataclass(frozen=True)
class _Sheet:
    """A printed sheet, waiting to be stored by the act that wanted it."""

    hashes: tuple[str, str]
    token: str
    printed: Printed


class _NotPrintedYet(Exception):
    """Rolls the act back: this is what its sheet will say, if nobody writes anything meanwhile."""

    def __init__(self, data: sheets.SheetData):
        self.data = data
        super().__init__("the sheet is not printed yet")


_in_hand: ContextVar[_Sheet | None] = ContextVar("sheet_in_hand", default=None)


def _prints(performed: Callable) -> Callable:
    """Make an act that issues a sheet a plain function that performs it, prints, and performs it again."""

    @functools.wraps(performed)
    def perform(**arguments: Any) -> SheetRevision:
        sheet: _Sheet | None = None
        for _ in range(TRIES):
            token = _in_hand.set(sheet)
            try:
                # A key that is known answers at once with its revision; nothing is printed for it.
                return performed(**arguments)
            except _NotPrintedYet as draft:
                data = draft.data
            finally:
                _in_hand.reset(token)
            sheet = _print(data)
        raise ValidationError(
            "Somebody kept writing to this job while its sheet was printed. Nothing was saved. Look at what is new, "
            "then send again.",
            code="kept_changing",
        )

    perform.may = performed.may
    perform.act_name = performed.act_name
    return perform


def _print(data: sheets.SheetData) -> _Sheet:
    token = secrets.token_hex(16)
    context = sheet_context(
        json.loads(data.technical_text), json.loads(data.personal_text), hashes=data.hashes, token=token
    )
    return _Sheet(data.hashes, token, print_pdf(TEMPLATE, context, data.technical["sheet"]["paper"]))


def confirm_address(token: str) -> str:
    return f"{settings.SITE_URL}{reverse('jobs:confirm', args=[token])}"


def sheet_context(
    technical: dict[str, Any],
    personal: dict[str, Any],
    *,
    hashes: tuple[str, str] | None = None,
    token: str = "",
) -> dict[str, Any]:
    """What the template reads: the data that is hashed, and what only the print has (hashes, address, QR code).

    Without a token it is a draft.
    """
    head = technical["sheet"]
    address = confirm_address(token) if token else ""
    return {
        "sheet": {
            "title": head["title"],
            "number": head["number"],
            "revision": head["revision"] if token else None,
            "paper": head["paper"],
            "shop": head["shop"]["name"],
            "created": datetime.fromisoformat(head["issued_at"]),
            "draft": not token,
        },
        "head": head,
        "body": technical["body"],
        "personal": personal,
        "sections": sheets.SECTIONS,
        "technical_hash": in_groups(hashes[0]) if hashes else [],
        "personal_hash": in_groups(hashes[1]) if hashes else [],
        "address": address,
        "qr": qr_svg(address, f"QR code of the page that confirms this sheet: {address}") if address else "",
    }


def _issue(
    by: By,
    job: Job,
    data: sheets.SheetData,
    *,
    kind: str,
    revision: int,
    change_note: str = "",
) -> SheetRevision:
    """Store the revision with its bytes, if the sheet in hand says what the records say now."""
    sheet = _in_hand.get()
    if sheet is None or sheet.hashes != data.hashes:
        raise _NotPrintedYet(data)
    technical_hash, personal_hash = data.hashes
    head = log.current_head()
    row = create(
        SheetRevision(
            **by.stamp(),
            job=job,
            kind=kind,
            revision=revision,
            token=sheet.token,
            paper=data.technical["sheet"]["paper"],
            technical=data.technical_text,
            technical_hash=technical_hash,
            personal_hash=personal_hash,
            pdf_hash=sha256(sheet.printed.pdf),
            pages=sheet.printed.pages,
            change_note=change_note,
            log_seq=head.seq,
            log_hash=head.hash,
        )
    )
    SheetText.objects.create(revision=row, pdf=sheet.printed.pdf, personal=data.personal_text)
    note(
        row,
        vehicle=job.vehicle_id,
        job=job,
        facts={
            "number": job.number,
            "revision": revision,
            "kind": kind,
            "technical_hash": technical_hash,
            "personal_hash": personal_hash,
            "pdf_hash": row.pdf_hash,
            "pages": row.pages,
        },
        words={"change_note": change_note},
    )
    return row


# --- ready, handed over, collected unfinished -------------------------------------------------------------


@act(May.CALL_READY)
def call_ready(*, by: By, job: Job) -> JobMove:
    """Call the car ready, through the gate. The odometer on leaving is read at handover."""
    locked = lock(job)
    if locked.state != JobState.FINAL_CHECKS:
        raise ValidationError(why_not(locked.state, JobState.READY))
    _refuse_blocked(
        [found for found in gate.blockers(locked) if found.code not in gate.AT_HANDOVER],
        "The car can't be called ready",
    )
    row = apply_move(by, locked, JobState.READY)
    job.refresh_from_db()
    return row


@_prints
@act(May.HAND_OVER)
def hand_over(
    *,
    by: By,
    job: Job,
    collected_by: Keeper,
    identified_by: str,
    left_how: str,
    keys_returned: int,
    told: str = "",
    odometer: Amount | None = None,
    odometer_not_readable: str = "",
    lower_because: str = "",
    collects_because: str = "",
    keys_note: str = "",
    danger_told: str = "",
    danger_answer: str = "",
    danger_words: str = "",
    danger_witness: Person | None = None,
) -> SheetRevision:
    """Hand the car over and issue its sheet.

    Without `odometer` the latest reading of this job after its check-in stands. `danger_…`: what was told about
    whatever dangerous leaves with the car and was not told before, and what was answered.
    """
    fields = {name: value for name, value in locals().items() if name not in ("by", "job")}
    return _leave(by, job, SheetKind.HANDOVER, **fields)


@_prints
@act(May.HAND_OVER)
def collect_unfinished(
    *,
    by: By,
    job: Job,
    unfinished_because: str,
    collected_by: Keeper,
    identified_by: str,
    left_how: str,
    keys_returned: int,
    told: str = "",
    odometer: Amount | None = None,
    odometer_not_readable: str = "",
    lower_because: str = "",
    collects_because: str = "",
    keys_note: str = "",
    danger_told: str = "",
    danger_answer: str = "",
    danger_words: str = "",
    danger_witness: Person | None = None,
) -> SheetRevision:
    """The car is collected before it is done. What is open is on the sheet as not done, and stays on the car."""
    fields = {name: value for name, value in locals().items() if name not in ("by", "job")}
    return _leave(by, job, SheetKind.UNFINISHED, **fields)


def _leave(
    by: By,
    job: Job,
    kind: SheetKind,
    *,
    collected_by: Keeper,
    identified_by: str,
    left_how: str,
    keys_returned: int,
    told: str = "",
    odometer: Amount | None = None,
    odometer_not_readable: str = "",
    lower_because: str = "",
    collects_because: str = "",
    keys_note: str = "",
    danger_told: str = "",
    danger_answer: str = "",
    danger_words: str = "",
    danger_witness: Person | None = None,
    unfinished_because: str = "",
) -> SheetRevision:
    locked = lock(job)
    _refuse_state(locked, kind)
    _refuse_people(
        by, locked, collected_by, identified_by, collects_because, keys_returned, keys_note, left_how
    )
    if kind == SheetKind.UNFINISHED and not unfinished_because.strip():
        raise ValidationError({"unfinished_because": "Say why the car leaves before it is done."})
    reading = _odometer(by, locked, odometer, odometer_not_readable, lower_because)

    everything = gate.everything(locked)
    not_waived = {found.key for found in gate.blockers(locked)}
    _refuse_tags(everything, left_how)
    standing = [found for found in everything if found.key in not_waived and found.code != "tag"]
    if kind == SheetKind.UNFINISHED:
        standing = [found for found in standing if not found.may_stay_unfinished]
    _refuse_blocked(standing, "The car can't leave yet")

    dangers = _leave_runs(by, locked, everything, left_how)
    if kind == SheetKind.UNFINISHED:
        dangers += _leave_faults(by, locked)
    _tell(by, locked, dangers, collected_by, danger_told, danger_answer, danger_words, danger_witness)
    row = create(
        Handover(
            **by.stamp(),
            job=locked,
            collected_by=collected_by,
            identified_by=identified_by.strip(),
            collects_because=collects_because.strip(),
            left_how=left_how,
            keys_returned=keys_returned,
            keys_note=keys_note.strip(),
            odometer=reading,
            told=told.strip(),
            unfinished_because=unfinished_because.strip(),
        )
    )
    note(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={"left_how": left_how, "keys_returned": keys_returned, "kind": kind},
        words={
            "collected_by": collected_by.name,
            "identified_by": row.identified_by,
            "collects_because": row.collects_because,
            "told": row.told,
            "unfinished_because": row.unfinished_because,
        },
    )
    to_state = JobState.HANDED_OVER if kind == SheetKind.HANDOVER else JobState.COLLECTED_UNFINISHED
    apply_move(by, locked, to_state, unfinished_because)
    answer = _issue(
        by,
        locked,
        sheets.gather(locked, revision=1, issued_at=by.made_at, kind=kind),
        kind=kind,
        revision=1,
    )
    job.refresh_from_db()
    return answer


def _refuse_state(job: Job, kind: SheetKind) -> None:
    earlier = Handover.objects.filter(job=job).select_related("made_by").first()
    if earlier is not None:
        when = date_format(timezone.localtime(earlier.made_at), "j M Y H:i")
        raise ValidationError(
            f"This car was handed over already, by {earlier.made_by} on {when}. Its sheet is on the job's page.",
            code="handed_over",
        )
    if kind == SheetKind.HANDOVER and job.state != JobState.READY:
        raise ValidationError(
            f"The job is “{job.get_state_display()}”. Call the car ready first; if it is collected before it is "
            "done, use “Collected unfinished”.",
            code="not_ready",
        )
    if kind == SheetKind.UNFINISHED and job.state not in IN_THE_BUILDING:
        raise ValidationError(why_not(job.state, JobState.COLLECTED_UNFINISHED), code="not_here")


def _refuse_people(
    by: By,
    job: Job,
    collected_by: Keeper,
    identified_by: str,
    collects_because: str,
    keys_returned: int,
    keys_note: str,
    left_how: str,
) -> None:
    problems = {}
    if left_how not in LeftHow.values:
        problems["left_how"] = "Say how the car leaves."
    if not identified_by.strip():
        problems["identified_by"] = "Say how this person was known: by sight, by papers shown."
    if not people.people_of(job.vehicle, by.day).filter(pk=collected_by.pk).exists():
        problems["collected_by"] = (
            f"{collected_by} is not on record as one of this car's people. Record that on the car's page first."
        )
    elif (
        not collects_because.strip()
        and not people.collectors_of(job.vehicle, by.day).filter(pk=collected_by.pk).exists()
    ):
        problems["collects_because"] = (
            f"{collected_by} is not on record as one who may collect this car. Say here who sent them and how you "
            "made sure, or record it on the car's page."
        )
    handed_in = job.check_in.keys
    if keys_returned != handed_in and not keys_note.strip():
        problems["keys_note"] = (
            f"{handed_in} keys were handed in and {keys_returned} are returned. Say where the difference is."
        )
    if problems:
        raise ValidationError(problems)


def _odometer(by: By, job: Job, amount: Amount | None, not_readable: str, lower_because: str):
    if amount is None and not not_readable.strip():
        if (found := gate.odometer_out(job)) is not None:
            return found
        raise ValidationError(
            {"odometer": "Give the reading on leaving, or say below why the odometer is not readable."}
        )
    with renamed_fields(amount="odometer", value="odometer", not_readable_because="odometer_not_readable"):
        return odometer_acts.record_reading(
            by=by,
            vehicle=job.vehicle,
            amount=amount,
            not_readable_because=not_readable.strip(),
            lower_because=lower_because.strip(),
            job=job,
            read_at=by.made_at,
        )


def _refuse_tags(found: Iterable[gate.Blocker], left_how: str) -> None:
    tags = [blocker for blocker in found if blocker.code == "tag"]
    if tags and left_how == LeftHow.DRIVEN:
        raise ValidationError({"left_how": [blocker.text for blocker in tags]}, code="tagged")


def _refuse_blocked(found: list[gate.Blocker], what: str) -> None:
    if found:
        error = ValidationError(
            [f"{what}: {len(found)} {'thing stands' if len(found) == 1 else 'things stand'} in the way."]
            + [blocker.text for blocker in found],
            code="blocked",
        )
        error.blockers = found
        raise error


def critical_runs(found: Iterable[gate.Blocker]) -> set[str]:
    """Keys of the runs that leave a critical joint unproven, waived or not."""
    return {
        blocker.subject.partition(":")[0]
        for blocker in found
        if blocker.critical and blocker.code in ("run", "run_open")
    }


def _leave_runs(by: By, job: Job, found: Iterable[gate.Blocker], left_how: str) -> list[OutstandingItem]:
    """An unproven critical joint that leaves is a dangerous item, and the car is not driven with it."""
    keys = critical_runs(found)
    runs = list(
        Run.objects.filter(pk__in=keys).select_related("line", "version_used__procedure").order_by("made_at")
    )
    if runs and left_how == LeftHow.DRIVEN:
        names = ", ".join(f"“{run}”" for run in runs)
        raise ValidationError(
            {
                "left_how": f"The tightening {names} is not finished or not proven, on a joint on which safety "
                "depends. The car leaves on a trailer or not at all."
            },
            code="unproven",
        )
    known = OutstandingItem.objects.open().filter(raised_by_run__in=keys, severity=Severity.DANGEROUS)
    have = {item.raised_by_run_id for item in known}
    return [
        outstanding_acts.raise_item(
            by=by,
            vehicle=job.vehicle,
            title=f"Tightening not finished or not proven: {run}"[:160],
            severity=Severity.DANGEROUS,
            reason=OutstandingReason.BEYOND,
            detail="Not to be driven before it is finished and proven by a workshop.",
            raised_in=job,
            raised_by_run=run,
            raised_by_line=run.line,
        )
        for run in runs
        if run.pk not in have
    ]


def _leave_faults(by: By, job: Job) -> list[OutstandingItem]:
    """Faults without an end go on as outstanding items of the car. Answers the dangerous ones."""
    dangers = []
    for blocker in gate.everything(job):
        if blocker.code != "fault_open":
            continue
        fault = Fault.objects.select_related("place", "vehicle", "job").get(pk=blocker.subject)
        fault = fault_acts.end_outstanding(
            by=by,
            fault=fault,
            seen_version=fault.version,
            reason=OutstandingReason.BEYOND,
            detail="The car was collected before this was looked into or put right.",
            raised_in=job,
        )
        if fault.severity == Severity.DANGEROUS:
            dangers.append(fault.outstanding_item)
    return dangers


def _tell(
    by: By,
    job: Job,
    dangers: list[OutstandingItem],
    collected_by: Keeper,
    told: str,
    answer: str,
    words: str,
    witness: Person | None,
) -> None:
    """Whoever collects the car is told of each danger that it leaves with, in this very act, and answers."""
    if not dangers:
        return
    problems = {}
    if not told.strip():
        titles = "; ".join(item.title for item in dangers)
        problems["danger_told"] = (
            f"The car leaves with something dangerous ({titles}). Say what was told about it."
        )
    if not answer or answer == TellingAnswer.NO_ANSWER:
        problems["danger_answer"] = "Say what was answered. The car does not leave before that."
    if answer == TellingAnswer.NOT_SIGNED and witness is None:
        problems["danger_witness"] = "Where somebody declines to sign, name the witness."
    if problems:
        raise ValidationError(problems)
    for item in dangers:
        outstanding_acts.tell(
            by=by,
            item=item,
            told_to=collected_by,
            channel=Channel.IN_PERSON,
            told=told,
            answer=answer,
            answer_words=words,
            witness=witness,
            job=job,
        )


# --- after ------------------------------------------------------------------------------------------------


@_prints
@act(May.REVISE_SHEET)
def revise_sheet(*, by: By, job: Job, change_note: str) -> SheetRevision:
    """Issue the next revision, through the gate again. Earlier ones stay byte for byte."""
    locked = lock(job)
    latest = locked.sheets.order_by("-revision").first()
    if latest is None:
        raise ValidationError("No sheet was issued for this job yet: it is issued at handover.")
    if not change_note.strip():
        raise ValidationError({"change_note": "Say what this revision changes, and why. It is printed."})
    _refuse_blocked(blocks_revision(locked), "The next revision can't be issued yet")
    if json.loads(latest.technical)["sheet"].get("redacted"):
        raise ValidationError(
            "The personal page of this sheet was erased. A new revision would bring it back: none is issued."
        )
    data = sheets.gather(
        locked,
        revision=latest.revision + 1,
        issued_at=by.made_at,
        kind=latest.kind,
        change_note=change_note.strip(),
        previous=latest,
    )
    return _issue(
        by, locked, data, kind=latest.kind, revision=latest.revision + 1, change_note=change_note.strip()
    )


def blocks_revision(job: Job) -> list[gate.Blocker]:
    """What of the gate still makes sense once the car has left.

    Its tags, keys and road test are over. A late reading that leaves a joint unproven is not: the car's owner
    must know, so that it stands as an outstanding item before the sheet is issued anew.
    """
    known: dict[str, set[str]] = {}
    for item in OutstandingItem.objects.open().filter(raised_by_run__job=job):
        known.setdefault(str(item.raised_by_run_id), set()).add(item.severity)
    mine = {str(pk) for pk in OutstandingItem.objects.filter(raised_in=job).values_list("pk", flat=True)}
    runs = {str(pk) for pk in job.runs.values_list("pk", flat=True)}
    standing = []
    for found in gate.blockers(job):
        keep = found.code in ("site_url", "pdf", "fault_open")
        if found.code == "run":
            run = found.subject.partition(":")[0]
            # A re-check by distance is no word about a joint that is not proven.
            enough = {Severity.DANGEROUS} if found.critical else {Severity.DANGEROUS, Severity.MAJOR}
            keep = run in runs and not known.get(run, set()) & enough
        if found.code == "untold":
            keep = found.subject in mine
        if keep:
            standing.append(found)
    return standing


@act(May.HAND_OVER)
def sign(
    *,
    by: By,
    revision: SheetRevision,
    signer_part: str,
    method: str,
    witness: Person | None = None,
) -> SignOff:
    """Sign a revision, against the hash of its data; or write down that somebody declined to, with a witness."""
    if method in (SignatureMethod.GLASS, SignatureMethod.ACCOUNT) and signer_part == SignerPart.COLLECTOR:
        raise ValidationError(
            {
                "method": "Only on paper here. An owner who has an account signs on the sheet's page, signed in."
            }
        )
    if method == SignatureMethod.GLASS:
        raise ValidationError({"method": "Sign on paper, or confirm as the one who is signed in."})
    if signer_part == SignerPart.LEAD and method == SignatureMethod.DECLINED:
        raise ValidationError(
            {"method": "The lead signs or does not hand over: only the collector declines."}
        )
    if method == SignatureMethod.DECLINED:
        if witness is None:
            raise ValidationError({"witness": "Where somebody declines to sign, name the witness."})
        if witness.pk == by.person.pk:
            raise ValidationError({"witness": "The witness is somebody else than you, who write it down."})
    elif witness is not None:
        raise ValidationError({"witness": "A witness is named only where somebody declines to sign."})
    return _sign(by, revision, signer_part, method, witness=witness, channel=Channel.IN_PERSON)


@act(May.ANSWER_OWN)
def sign_own(*, by: By, revision: SheetRevision) -> SignOff:
    """Whoever collected the car confirms, in their own account, that they have the sheet."""
    keeper = Keeper.objects.filter(account=by.person).first()
    if keeper is None or revision.job.handover.collected_by_id != keeper.pk:
        raise ValidationError("This sheet is signed by whoever collected the car.")
    return _sign(by, revision, SignerPart.COLLECTOR, SignatureMethod.ACCOUNT, channel=Channel.ACCOUNT)


def _sign(
    by: By,
    revision: SheetRevision,
    signer_part: str,
    method: str,
    *,
    witness: Person | None = None,
    channel: str,
) -> SignOff:
    job = lock(revision.job)
    latest = job.sheets.order_by("-revision").first()
    if latest.pk != revision.pk:
        raise ValidationError(
            f"Revision {revision.revision} was superseded by revision {latest.revision}: that one is signed.",
            code="superseded",
        )
    earlier = revision.signatures.filter(signer_part=signer_part).first()
    if earlier is not None:
        when = date_format(timezone.localtime(earlier.made_at), "j M Y H:i")
        raise ValidationError(f"{earlier.get_signer_part_display()}: {earlier.get_method_display()}, {when}.")
    is_lead = signer_part == SignerPart.LEAD
    row = create(
        SignOff(
            **by.stamp(),
            revision=revision,
            signer_part=signer_part,
            person=by.person if is_lead else None,
            keeper=None if is_lead else job.handover.collected_by,
            method=method,
            data_hash=revision.technical_hash,
            witness=witness,
            channel=channel,
        )
    )
    note(
        row,
        vehicle=job.vehicle_id,
        job=job,
        facts={
            "revision": revision.revision,
            "part": signer_part,
            "method": method,
            "data_hash": row.data_hash,
            "witness": witness,
        },
    )
    return row


@_prints
@act(May.ERASE)
def erase_personal(*, by: By, revision: SheetRevision, reason: str) -> SheetRevision:
    """Erase keeper, prices and PDF of every revision of a job's sheet; number and hashes stay.

    The technical part is issued as the next revision in the same act, so that the car's record keeps its print.
    """
    job = lock(revision.job)
    if not job.is_closed:
        raise ValidationError("The job is not over: there is nothing to erase yet.")
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is erased, without naming anybody: it is printed."})
    latest = job.sheets.order_by("-revision").first()
    if json.loads(latest.technical)["sheet"].get("redacted"):
        raise ValidationError("The personal page of this sheet was erased already.")
    erased = []
    for row in job.sheets.order_by("revision"):
        if SheetText.objects.filter(revision=row, erased_at=None).update(
            pdf=None, personal="", erased_at=by.made_at
        ):
            erased.append(row.revision)
    note(
        latest, vehicle=job.vehicle_id, job=job, facts={"erased_revisions": erased}, words={"reason": reason}
    )
    change_note = f"Personal page erased: {reason.strip()}"[:300]
    data = sheets.redacted(latest, revision=latest.revision + 1, issued_at=by.made_at, reason=change_note)
    return _issue(by, job, data, kind=latest.kind, revision=latest.revision + 1, change_note=change_note)
