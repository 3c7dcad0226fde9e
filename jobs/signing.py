"""The two signatures under a sheet: how each is given, checked, written down, and printed.

A signature confirms that the sheet was handed over and explained. It is never worded as a discharge.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.core import signing
from django.core.exceptions import ValidationError

from jobs import ink
from jobs.models import Job, SheetRevision, SignatureInk, SignOff
from jobs.models.handover import SignatureMethod, SignerPart
from jobs.sheets import PERSONAL_TITLE, SECTIONS, SheetData
from jobs.sheets.words import in_minutes
from vehicles.models.outstanding import Channel
from workshop.acting import By, create, note
from workshop.canonical import canonical, sha256
from workshop.models import Person

# A sheet that lay open longer than this is shown again: the handover is of the moment in which it was shown.
SHOWN_FOR = timedelta(hours=4)

# How each of the two may sign. On paper is written down once it was signed, so never before the sheet is issued.
WAYS: dict[str, tuple[SignatureMethod, ...]] = {
    SignerPart.LEAD: (SignatureMethod.GLASS, SignatureMethod.ACCOUNT, SignatureMethod.PAPER),
    SignerPart.COLLECTOR: (SignatureMethod.GLASS, SignatureMethod.PAPER, SignatureMethod.DECLINED),
}


@dataclass(frozen=True)
class Signature:
    """One of the two, checked: `ink` is the canonical text of what was drawn (`jobs.ink`), else empty."""

    part: str
    method: str
    ink: str = ""
    witness: Person | None = None


def checked(
    by: By, part: str, method: str, drawn: str = "", witness: Person | None = None, *, prefix: str = ""
) -> Signature:
    """Refuse what is no signature. Errors stand at the fields `method`, `ink` and `witness`, with `prefix` before."""

    def refuse(field: str, sentence: Any) -> ValidationError:
        return ValidationError({f"{prefix}{field}": sentence})

    if part not in WAYS:
        raise ValidationError("Only the lead and whoever collects the car sign a sheet.")
    if method not in WAYS[part]:
        if part == SignerPart.LEAD and method == SignatureMethod.DECLINED:
            raise refuse("method", "The lead signs or does not hand over: only the collector declines.")
        if part == SignerPart.COLLECTOR and method == SignatureMethod.ACCOUNT:
            raise refuse(
                "method",
                "An owner who has an account confirms on the sheet's own page, signed in themselves.",
            )
        raise refuse("method", "Choose how it is signed.")
    if method == SignatureMethod.DECLINED:
        if witness is None:
            raise refuse("witness", "Where somebody declines to sign, name the witness.")
        if witness.pk == by.person.pk:
            raise refuse("witness", "The witness is somebody else than you, who write it down.")
    elif witness is not None:
        raise refuse("witness", "A witness is named only where somebody declines to sign.")
    if method != SignatureMethod.GLASS:
        # What was drawn before another way was chosen is no signature.
        return Signature(part, method, witness=witness)
    try:
        return Signature(part, method, ink=ink.checked(drawn))
    except ValidationError as refusal:
        raise refuse("ink", refusal.error_list) from refusal


def write(
    by: By,
    revision: SheetRevision,
    job: Job,
    signature: Signature,
    *,
    channel: str = Channel.IN_PERSON,
    at: datetime | None = None,
) -> SignOff:
    """Write the signature down against the hash of the revision's data, with a note in the running act.

    `at`: when it was given, where that is not when the act was made.
    """
    is_lead = signature.part == SignerPart.LEAD
    row = create(
        SignOff(
            **{**by.stamp(), "made_at": at or by.made_at},
            revision=revision,
            signer_part=signature.part,
            person=by.person if is_lead else None,
            keeper=None if is_lead else job.handover.collected_by,
            method=signature.method,
            data_hash=revision.technical_hash,
            ink_hash=sha256(signature.ink) if signature.ink else "",
            witness=signature.witness,
            channel=channel,
        )
    )
    if signature.ink:
        SignatureInk.objects.create(sign_off=row, lines=signature.ink)
    note(
        row,
        vehicle=job.vehicle_id,
        job=job,
        facts={
            "revision": revision.revision,
            "part": signature.part,
            "method": signature.method,
            "data_hash": row.data_hash,
            "ink_hash": row.ink_hash,
            "witness": signature.witness,
        },
    )
    return row


def erase(revisions: Iterable[SheetRevision], by: By) -> int:
    """Empty what was drawn under these revisions; the signatures, their hashes and times stay."""
    return SignatureInk.objects.filter(sign_off__revision__in=list(revisions), erased_at=None).update(
        lines="", erased_at=by.made_at
    )


def printed(signatures: Iterable[Signature], by: By, collected_by: str) -> dict[str, dict[str, Any]]:
    """What the print of a sheet draws where it would leave a line to sign on paper: {part: words and drawing}."""
    return {
        row.part: {
            "method": row.method,
            "name": by.person.name if row.part == SignerPart.LEAD else collected_by,
            "when": in_minutes(by.received_at),
            "witness": str(row.witness or ""),
            "drawing": ink.drawing(row.ink) if row.ink else None,
        }
        for row in signatures
    }


@dataclass(frozen=True)
class Shown:
    """What was put before those who sign: of which moment, with which hashes. Travels with the page, sealed.

    `parts` holds a short hash of each section, so that what changed since can be named.
    """

    job: str
    person: str
    made_at: datetime
    hashes: tuple[str, str]
    parts: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, data: SheetData, *, by: By, job: Job) -> Shown:
        body = data.technical["body"]
        parts = {title: _short(body.get(name)) for name, title in SECTIONS.items()}
        parts[PERSONAL_TITLE] = _short(data.personal)
        return cls(str(job.pk), str(by.person.pk), by.made_at, data.hashes, parts)

    @property
    def sealed(self) -> str:
        said = [self.job, self.person, self.made_at.isoformat(), list(self.hashes), self.parts]
        return signing.dumps(said, salt="jobs.signing.shown", compress=True)

    @classmethod
    def read(cls, text: str, *, job: Job, person: Person) -> Shown:
        """Refuses what was not given here, to this person, for this job, a short while ago."""
        try:
            job_key, person_key, made_at, hashes, parts = signing.loads(
                text, salt="jobs.signing.shown", max_age=SHOWN_FOR
            )
        except (signing.BadSignature, ValueError, TypeError):
            job_key = person_key = ""
        if (job_key, person_key) != (str(job.pk), str(person.pk)):
            raise ValidationError(
                "This sheet was shown too long ago, or to somebody else: look at it again and sign again. What you "
                "typed is kept.",
                code="not_shown",
            )
        return cls(job_key, person_key, datetime.fromisoformat(made_at), tuple(hashes), parts)

    def differs(self, now: Shown) -> list[str]:
        """Titles of what says something else now."""
        return [title for title, digest in now.parts.items() if self.parts.get(title) != digest]


def _short(value: Any) -> str:
    return sha256(canonical(value))[:8]
