"""The frozen sheet: issued, revised, signed, and its personal page erased.

A sheet takes half a second to print, and nothing is printed inside the write lock. So an act that issues one is
performed twice: the first time it gathers what the sheet will say and is rolled back whole; then the sheet is
printed; the second time the act gathers again, with the gate, and stores the bytes only if both say the same.
Whatever somebody changed in between is thereby on the sheet, or the sheet is printed anew.

Where the sheet is signed on the screen, the first performance happens while it is shown (`rehearse`), and what is
issued is compared with what was shown: nobody signs one sheet and gets another.
"""

from __future__ import annotations

import functools
import json
import secrets
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format

from jobs import gate, sheets, signing
from jobs.acts.job import lock
from jobs.models import Job, SheetRevision, SheetText, SignOff
from jobs.models.handover import SignatureMethod, SignerPart
from jobs.signing import Signature
from vehicles.acts import photo as photo_acts
from vehicles.models import Attachment, Keeper, OutstandingItem, Severity
from vehicles.models.outstanding import Channel
from workshop import log
from workshop.acting import AlreadySent, By, act, create, note
from workshop.canonical import sha256
from workshop.models import Person
from workshop.permissions import May
from workshop.sheets import Printed

TRIES = 4


# --- printing between two performances --------------------------------------------------------------------


@dataclass(frozen=True)
class _Sheet:
    """A printed sheet, waiting to be stored by the act that wanted it."""

    hashes: tuple[str, str]
    token: str
    printed: Printed


class _NotPrintedYet(Exception):
    """Rolls the act back: this is what its sheet will say, if nobody writes anything meanwhile."""

    def __init__(self, data: sheets.SheetData, signed: dict[str, Any]):
        self.data = data
        self.signed = signed
        super().__init__("the sheet is not printed yet")


class ChangedWhileSigning(ValidationError):
    """What the sheet says now is not what was shown to those who signed."""

    def __init__(self) -> None:
        super().__init__(
            "Something changed while you signed, so nothing was saved: look at the sheet again, and sign again. What "
            "you typed is kept.",
            code="changed_while_signing",
        )


_in_hand: ContextVar[_Sheet | None] = ContextVar("sheet_in_hand", default=None)


def prints(performed: Callable) -> Callable:
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
                data, signed = draft.data, draft.signed
            finally:
                _in_hand.reset(token)
            sheet = _print(data, signed)
        raise ValidationError(
            "Somebody kept writing to this job while its sheet was printed. Nothing was saved. Look at what is new, "
            "then send again.",
            code="kept_changing",
        )

    def rehearse(**arguments: Any) -> sheets.SheetData:
        """What the sheet would say; nothing is written."""
        token = _in_hand.set(None)
        try:
            performed(**arguments)
        except _NotPrintedYet as draft:
            return draft.data
        finally:
            _in_hand.reset(token)
        # The act got through without a sheet in hand: this key has issued one.
        raise AlreadySent

    perform.may = performed.may
    perform.act_name = performed.act_name
    perform.rehearse = rehearse
    return perform


def _print(data: sheets.SheetData, signed: dict[str, Any]) -> _Sheet:
    token = secrets.token_hex(16)
    technical, personal = json.loads(data.technical_text), json.loads(data.personal_text)
    printed = sheets.print_sheet(technical, personal, hashes=data.hashes, token=token, signed=signed)
    return _Sheet(data.hashes, token, printed)


def issue(
    by: By,
    job: Job,
    data: sheets.SheetData,
    *,
    kind: str,
    revision: int,
    change_note: str = "",
    signatures: tuple[Signature, ...] = (),
    shown: tuple[str, str] | None = None,
) -> SheetRevision:
    """Store the revision with its bytes, if the sheet in hand says what the records say now.

    `signatures` were given against what was `shown`: the hashes of both parts of a rehearsal.
    """
    if shown is not None and shown != data.hashes:
        raise ChangedWhileSigning
    sheet = _in_hand.get()
    if sheet is None or sheet.hashes != data.hashes:
        collected_by = job.handover.collected_by.name if signatures else ""
        raise _NotPrintedYet(data, signing.printed(signatures, by, collected_by))
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
    for signature in signatures:
        # The sheet was made when it was shown, and signed after that.
        signing.write(by, row, job, signature, at=by.received_at)
    return row


def refuse_blocked(found: list[gate.Blocker], what: str) -> None:
    if found:
        error = ValidationError(
            [f"{what}: {len(found)} {'thing stands' if len(found) == 1 else 'things stand'} in the way."]
            + [blocker.text for blocker in found],
            code="blocked",
        )
        error.blockers = found
        raise error


# --- revised, signed, erased -----------------------------------------------------------------------------


@prints
@act(May.REVISE_SHEET)
def revise_sheet(*, by: By, job: Job, change_note: str) -> SheetRevision:
    """Issue the next revision, through the gate again. Earlier ones stay byte for byte."""
    locked = lock(job)
    latest = locked.sheets.order_by("-revision").first()
    if latest is None:
        raise ValidationError("No sheet was issued for this job yet: it is issued at handover.")
    if not change_note.strip():
        raise ValidationError({"change_note": "Say what this revision changes, and why. It is printed."})
    refuse_blocked(blocks_revision(locked), "The next revision can't be issued yet")
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
    return issue(
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
    ink: str = "",
    witness: Person | None = None,
) -> SignOff:
    """Sign a revision that was issued, against the hash of its data; or write down that somebody declined to."""
    return _sign(by, revision, signing.checked(by, signer_part, method, ink, witness))


@act(May.ANSWER_OWN)
def sign_own(*, by: By, revision: SheetRevision) -> SignOff:
    """Whoever collected the car confirms, in their own account, that they have the sheet."""
    keeper = Keeper.objects.filter(account=by.person).first()
    if keeper is None or revision.job.handover.collected_by_id != keeper.pk:
        raise ValidationError("This sheet is signed by whoever collected the car.")
    mine = Signature(SignerPart.COLLECTOR, SignatureMethod.ACCOUNT)
    return _sign(by, revision, mine, channel=Channel.ACCOUNT)


def _sign(
    by: By, revision: SheetRevision, signature: Signature, *, channel: str = Channel.IN_PERSON
) -> SignOff:
    job = lock(revision.job)
    latest = job.sheets.order_by("-revision").first()
    if latest.pk != revision.pk:
        raise ValidationError(
            f"Revision {revision.revision} was superseded by revision {latest.revision}: that one is signed.",
            code="superseded",
        )
    if signature.part == SignerPart.COLLECTOR and json.loads(latest.technical)["sheet"].get("redacted"):
        raise ValidationError(
            "Keeper and prices of this sheet were erased: nobody but the workshop signs it."
        )
    earlier = revision.signatures.filter(signer_part=signature.part).first()
    if earlier is not None:
        when = date_format(timezone.localtime(earlier.made_at), "j M Y H:i")
        raise ValidationError(f"{earlier.get_signer_part_display()}: {earlier.get_method_display()}, {when}.")
    return signing.write(by, revision, job, signature, channel=channel)


@prints
@act(May.ERASE)
def erase_personal(*, by: By, revision: SheetRevision, reason: str) -> SheetRevision:
    """Erase keeper, prices, signatures and PDF of every revision of a job's sheet; number and hashes stay.

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
    issued = list(job.sheets.order_by("revision"))
    inks = signing.erase(issued, by)
    for row in issued:
        if SheetText.objects.filter(revision=row, erased_at=None).update(
            pdf=None, personal="", erased_at=by.made_at
        ):
            erased.append(row.revision)
    for paper in Attachment.objects.filter(sheet__in=issued, erased_at=None):
        photo_acts.erase(by=by, attachment=paper, because=reason)
    note(
        latest,
        vehicle=job.vehicle_id,
        job=job,
        facts={"erased_revisions": erased, "erased_signatures": inks},
        words={"reason": reason},
    )
    change_note = f"Personal page erased: {reason.strip()}"[:300]
    data = sheets.redacted(latest, revision=latest.revision + 1, issued_at=by.made_at, reason=change_note)
    return issue(by, job, data, kind=latest.kind, revision=latest.revision + 1, change_note=change_note)
