"""High-voltage isolation: isolated, proved dead, locked; and re-energised by a named person.

The record informs. The maker's data and licensed practice decide how it is done, and by whom.
"""

from __future__ import annotations

from datetime import date

from django.core.exceptions import ValidationError
from django.utils.formats import date_format

from jobs.acts import tag as tags
from jobs.acts.job import send_back_to_work
from jobs.models import Isolation, Job
from jobs.models.job import TagKind
from jobs.open_job import lock, refuse_before, refuse_before_check_in, refuse_outside
from workshop.acting import By, act, create, save_changes
from workshop.acting import note as say
from workshop.models import Competence, CompetenceKind, Person
from workshop.permissions import May


@act(May.ISOLATE)
def isolate(
    *, by: By, job: Job, isolated_by: Person, method: str, proved_dead: str, locked_with: str
) -> Isolation:
    """Write down an isolation and tag the car "do not start". Who isolated is qualified on that day."""
    locked = lock(job)
    refuse_outside(locked)
    refuse_before_check_in(by, locked)
    if not locked.vehicle.high_voltage:
        raise ValidationError(
            "This car is not on record as having a high-voltage system. Put that right on the car's page first."
        )
    competence = _competence("isolated_by", isolated_by, by.day)
    _say_all(method=method, proved_dead=proved_dead, locked_with=locked_with)
    earlier = (
        Isolation.objects.filter(vehicle=locked.vehicle_id, re_energised_at=None)
        .select_related("isolated_by", "job")
        .first()
    )
    if earlier is not None:
        raise ValidationError(
            f"This car is isolated already: {earlier.isolated_by}, on {earlier.job}, locked with "
            f"{earlier.locked_with}. Have that re-energised first, or work under it."
        )
    row = create(
        Isolation(
            **by.stamp(),
            job=locked,
            vehicle=locked.vehicle,
            isolated_by=isolated_by,
            competence=competence,
            method=method.strip(),
            proved_dead=proved_dead.strip(),
            locked_with=locked_with.strip(),
        )
    )
    say(
        row,
        vehicle=locked.vehicle_id,
        job=locked,
        facts={
            "isolated_by": isolated_by.pk,
            "competence": competence,
        },
        words={"method": row.method, "proved_dead": row.proved_dead, "locked_with": row.locked_with},
    )
    tags.set_tag(
        by=by,
        vehicle=locked.vehicle,
        kind=TagKind.NO_START.value,
        because="The high-voltage system is isolated",
        job=locked,
        isolation=row,
    )
    send_back_to_work(by, job, "The high-voltage system was isolated")
    return row


@act(May.ISOLATE)
def re_energise(
    *, by: By, isolation: Isolation, note: str, re_energised_by: Person | None = None
) -> Isolation:
    """Write down that the car was re-energised, by whom (default: who writes it) and what was checked before."""
    person = re_energised_by or by.person
    lock(isolation.job)
    locked = (
        Isolation.objects.select_for_update(of=("self",), no_key=True)
        .select_related("re_energised_by")
        .get(pk=isolation.pk)
    )
    if locked.re_energised_at is not None:
        raise ValidationError(f"{locked.re_energised_by} has re-energised this car already.")
    refuse_before(by.made_at, locked.made_at, "It was isolated")
    competence = _competence("re_energised_by", person, by.day)
    if not note.strip():
        raise ValidationError(
            {"note": "Say what was checked before: nobody at the car, covers on, tools out, lock off."}
        )
    save_changes(locked, re_energised_at=by.made_at, re_energised_by=person, re_energised_note=note.strip())
    say(
        locked,
        vehicle=isolation.job.vehicle_id,
        job=isolation.job,
        facts={"re_energised_by": person.pk, "competence": competence},
        words={"checked": note.strip()},
    )
    for row in locked.tags.filter(lifted_at=None):
        tags.lift_tag(by=by, tag=row, lifted_because=f"Re-energised by {person}")
    isolation.refresh_from_db()
    return isolation


def qualified_on(day: date):
    """Competences for high voltage that are valid on a day, of people who may sign in."""
    return (
        Competence.objects.filter(kind=CompetenceKind.HIGH_VOLTAGE, person__is_active=True)
        .valid_on(day)
        .select_related("person")
    )


def _competence(field: str, person: Person, day: date) -> Competence:
    """The certificate that lasts longest; without one, a refusal that says who holds one."""
    held = [row for row in qualified_on(day) if row.person_id == person.pk]
    if held:
        return max(held, key=lambda row: row.expires_on or date.max)
    names = sorted({str(row.person) for row in qualified_on(day)})
    who = (
        f"Valid then for: {', '.join(names)}."
        if names
        else "Nobody in the shop does: leave the system alone and have it done by a licensed firm."
    )
    raise ValidationError(
        {
            field: f"{person} holds no high-voltage competence valid on {date_format(day, 'j M Y')}, "
            f"which this work needs. {who}"
        }
    )


def _say_all(**texts: str) -> None:
    sentences = {
        "method": "Say how it was isolated.",
        "proved_dead": "Say how and with what it was proved dead.",
        "locked_with": "Say what locks it, and who has the key.",
    }
    missing = {name: sentences[name] for name, text in texts.items() if not text.strip()}
    if missing:
        raise ValidationError(missing)
