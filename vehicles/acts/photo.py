"""Acts on photos and documents: adding, captions, setting aside, erasing. The bytes are stored before any of them."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from vehicles.files import store
from vehicles.files.intake import DISK_FULL, MOST_FILES, Stored
from vehicles.files.pictures import believed
from vehicles.models import Attachment, AttachmentKind, Vehicle
from vehicles.models.photo import PDF, Occasion
from workshop.acting import By, act, create, note, save_changes
from workshop.models import Person
from workshop.permissions import May, allowed


@act(May.ADD_FILES)
def add_files(
    *,
    by: By,
    vehicle: Vehicle,
    files: list[Stored],
    kind: str = AttachmentKind.PHOTO,
    caption: str = "",
    moment: str = "",
    occasion: str = "",
    angle: str = "",
    job=None,
    line=None,
    run=None,
    damage=None,
    sheet=None,
    fault=None,
    part=None,
    survey=None,
    place=None,
    position: str = "",
    item=None,
) -> Attachment:
    """One record for each stored file, all belonging to the same thing; answers the first one.

    A PDF sent as a photo is kept as a document. Sent twice under one key it is one set of records: `added_by(key)`.
    """
    if not files:
        raise ValidationError({"files": "Choose at least one file."})
    if len(files) > MOST_FILES:
        raise ValidationError(
            {
                "files": f"{len(files)} files were chosen; {MOST_FILES} at once are the limit. Send the rest after."
            }
        )
    line = line or (run and run.line)
    job = job or (line and line.job) or (damage and damage.job) or (sheet and sheet.job)
    links = {
        "job": job,
        "line": line,
        "run": run,
        "damage": damage,
        "sheet": sheet,
        "fault": fault,
        "part": part,
        "survey": survey,
        "item": item,
    }
    _refuse_other_cars(vehicle, links)
    _refuse_late_angle(job, occasion)
    caption = caption.strip()
    rows = []
    for order, stored in enumerate(files):
        suffix = "pdf" if stored.media_type == PDF else "jpg"
        if not all(store.holds(digest, suffix) for digest in (stored.file, stored.thumb) if digest):
            raise ValidationError({"files": DISK_FULL})
        rows.append(
            create(
                Attachment(
                    **by.stamp(),
                    vehicle=vehicle,
                    kind=_kind_of(stored, kind),
                    caption=caption,
                    moment=moment,
                    occasion=occasion,
                    angle=angle,
                    media_type=stored.media_type,
                    file=stored.file,
                    thumb=stored.thumb,
                    size=stored.size,
                    order_sent=order,
                    width=stored.width,
                    height=stored.height,
                    taken_at=believed(stored.taken_at, by.made_at),
                    place=place,
                    position=position,
                    **links,
                )
            )
        )
        note(
            rows[-1],
            vehicle=vehicle,
            job=job,
            facts={
                "kind": rows[-1].kind,
                "file": stored.file,
                "size": stored.size,
                "taken_at": rows[-1].taken_at,
                "moment": moment,
                "occasion": occasion,
                "angle": angle,
                "place": place,
                "position": position,
                **{name: link for name, link in links.items() if link is not None and name != "job"},
            },
            words={"caption": caption},
        )
    return rows[0]


def added_by(key) -> list[Attachment]:
    """What one submission added, in the order in which it was sent: the same answer however often it was sent."""
    return list(Attachment.objects.filter(key=key).order_by("made_at", "order_sent"))


@act(May.ADD_FILES)
def describe(
    *, by: By, attachment: Attachment, seen_version: int, caption: str, moment: str = ""
) -> Attachment:
    """Say what it shows, and whether before or after the work. What stood there before stays in the log."""
    _refuse_gone(attachment)
    caption = caption.strip()
    before = attachment.caption
    changes = save_changes(attachment, seen_version=seen_version, caption=caption, moment=moment)
    note(
        attachment,
        vehicle=attachment.vehicle_id,
        job=attachment.job_id,
        facts={"changed": sorted(changes), **({"moment": changes["moment"]} if "moment" in changes else {})},
        words={"caption": [before, caption]} if "caption" in changes else {},
    )
    return attachment


@act(May.ADD_FILES)
def set_aside(*, by: By, attachment: Attachment, because: str) -> Attachment:
    """Take it out of every strip; the file and its record stay, with the reason.

    Who added it may, while its job is open: a picture in the wrong slot is put right at the car. A lead may always.
    """
    row = _locked(attachment)
    _refuse_gone(row)
    if not may_set_aside(by.person, row):
        raise ValidationError(
            f"{row.made_by} added this. A lead sets it aside, or {row.made_by} while the job is open."
        )
    if not because.strip():
        raise ValidationError({"because": "Say why it is set aside."})
    save_changes(row, set_aside_because=because.strip(), set_aside_at=by.made_at, set_aside_by=by.person)
    attachment.refresh_from_db()
    note(row, vehicle=row.vehicle_id, job=row.job_id, facts={"file": row.file}, words={"because": because})
    return attachment


def may_set_aside(person: Person, row: Attachment) -> bool:
    own = row.made_by_id == person.pk and (row.job is None or not row.job.is_closed)
    return own or allowed(person, May.SET_FILES_ASIDE)


@act(May.SET_FILES_ASIDE)
def bring_back(*, by: By, attachment: Attachment, because: str) -> Attachment:
    """Show again what was set aside."""
    row = _locked(attachment)
    if row.erased_at is not None or row.set_aside_at is None:
        raise ValidationError("This is not set aside: there is nothing to bring back.")
    if not because.strip():
        raise ValidationError({"because": "Say why it is shown again."})
    words = {"because": because, "was_set_aside_because": row.set_aside_because}
    save_changes(row, set_aside_because="", set_aside_at=None, set_aside_by=None)
    attachment.refresh_from_db()
    note(row, vehicle=row.vehicle_id, job=row.job_id, facts={"file": row.file}, words=words)
    return attachment


@act(May.ERASE)
def erase(*, by: By, attachment: Attachment, because: str) -> Attachment:
    """Remove the bytes for good; the record stays with the reason, its caption goes too.

    The bytes go when the transaction is over: were they gone before and the record not, it would miss its file. Where
    another record has the very same bytes they stay for that one.
    """
    row = _locked(attachment)
    if row.erased_at is not None:
        raise ValidationError(f"This was erased already: {row.erased_because}.")
    if not because.strip():
        raise ValidationError({"because": "Say why it is erased."})
    save_changes(row, caption="", erased_because=because.strip(), erased_at=by.made_at, erased_by=by.person)
    attachment.refresh_from_db()
    note(row, vehicle=row.vehicle_id, job=row.job_id, facts={"file": row.file}, words={"because": because})
    transaction.on_commit(lambda: remove_bytes(row))
    return attachment


def remove_bytes(row: Attachment) -> None:
    """Take an erased record's files off the disk, those that no other record needs."""
    for digest in filter(None, (row.file, row.thumb)):
        needed = Attachment.objects.filter(Q(file=digest) | Q(thumb=digest), erased_at=None)
        if not needed.exists():
            store.remove(digest, row.suffix)


def _locked(attachment: Attachment) -> Attachment:
    return Attachment.objects.select_for_update(no_key=True).get(pk=attachment.pk)


def _kind_of(stored: Stored, kind: str) -> str:
    return AttachmentKind.DOCUMENT if stored.media_type == PDF and kind == AttachmentKind.PHOTO else kind


def _refuse_gone(attachment: Attachment) -> None:
    if attachment.gone:
        raise ValidationError(f"{attachment.gone}. It is no longer changed.")


def _refuse_other_cars(vehicle: Vehicle, links: dict) -> None:
    for link in links.values():
        if link is not None and _car_of(link) != vehicle.pk:
            raise ValidationError(f"“{link}” is of another car. Open that car and add the file there.")


def _car_of(link):
    """The car that a job, line, fault … is of: some name it themselves, the others through their job."""
    return link.vehicle_id if hasattr(link, "vehicle_id") else link.job.vehicle_id


def _refuse_late_angle(job, occasion: str) -> None:
    """A set of angles is evidence of a moment: once the car has left, nothing is added to it."""
    if not occasion:
        return
    if job is None:
        raise ValidationError("Pictures all round are of a job: open the job and take them there.")
    if job.is_closed:
        raise ValidationError(
            f"Job {job} is over, so its pictures “{Occasion(occasion).label.lower()}” stay as they are. Add this as "
            "an ordinary photo of the car."
        )
