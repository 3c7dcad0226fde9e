"""What keeps a car from leaving, for the acts that let it go: each question by itself, and all answers together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

from jobs import gate, signing
from jobs.acts.sheet import refuse_blocked
from jobs.models import Job, Run
from jobs.models.handover import LeftHow, SheetKind, SignatureMethod, SignerPart
from jobs.open_job import renamed_fields
from jobs.signing import Signature
from vehicles import people
from vehicles.models import Fault, Keeper, OutstandingItem, Severity
from vehicles.models.outstanding import TellingAnswer
from workshop.acting import By
from workshop.models import Person


class Problems:
    """What an act refuses, gathered while it goes on looking, and raised in one `ValidationError`.

    Nothing may be written between the first problem and `refuse` that the refusal does not take back.
    """

    def __init__(self) -> None:
        self._errors: dict[str, list[ValidationError]] = {}

    def add(self, field: str, *errors: str | ValidationError) -> None:
        said = [each if isinstance(each, ValidationError) else ValidationError(each) for each in errors]
        self._errors.setdefault(field, []).extend(said)

    @contextmanager
    def gathered(self) -> Iterator[None]:
        try:
            yield
        except ValidationError as refusal:
            found = (
                refusal.error_dict
                if hasattr(refusal, "error_dict")
                else {NON_FIELD_ERRORS: refusal.error_list}
            )
            for field, errors in found.items():
                self.add(field, *errors)

    def refuse(self) -> None:
        if not self._errors:
            return
        if set(self._errors) == {NON_FIELD_ERRORS}:
            raise ValidationError(self._errors[NON_FIELD_ERRORS])
        raise ValidationError(self._errors)


def refuse_people(
    by: By, job: Job, collected_by: Keeper | None, identified_by: str, collects_because: str
) -> None:
    problems = {}
    if not identified_by.strip():
        problems["identified_by"] = "Say how this person was known: by sight, by papers shown."
    if collected_by is None:
        problems["collected_by"] = "Say who collects the car."
    elif not people.people_of(job.vehicle, by.day).filter(pk=collected_by.pk).exists():
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
    if problems:
        raise ValidationError(problems)


def refuse_keys(job: Job, returned: int | None, where: str) -> None:
    handed_in = job.check_in.keys
    if returned is None:
        raise ValidationError({"keys_returned": f"Say how many keys were given back: {handed_in} came in."})
    if returned != handed_in and not where.strip():
        raise ValidationError(
            {"keys_note": f"Keys handed in: {handed_in}; returned: {returned}. Say where the difference is."}
        )


def refuse_way(found: Iterable[gate.Blocker], left_how: str) -> None:
    """A tagged car and one with an unproven joint are not driven away."""
    if left_how not in LeftHow.values:
        raise ValidationError({"left_how": "Say how the car leaves."})
    if left_how != LeftHow.DRIVEN:
        return
    tags = [blocker.text for blocker in found if blocker.code == "tag"]
    runs = runs_of(critical_runs(found))
    if runs:
        names = ", ".join(f"“{run}”" for run in runs)
        tags.append(
            f"The tightening {names} is not finished or not proven, on a joint on which safety depends. The car "
            "leaves on a trailer or not at all."
        )
    if tags:
        raise ValidationError({"left_how": tags}, code="not_driven")


def refuse_standing(found: list[gate.Blocker], kind: SheetKind) -> None:
    """The gate, without what is refused beside a field: tags at the way it leaves, the odometer at its own."""
    standing = [row for row in found if row.code not in ("tag", "odometer_out")]
    if kind == SheetKind.UNFINISHED:
        standing = [row for row in standing if not row.may_stay_unfinished]
    refuse_blocked(standing, "The car can't leave yet")


def dangers_leaving(job: Job, found: Iterable[gate.Blocker], kind: str) -> list[str]:
    """What would leave with the car that is dangerous and that nobody could be told of before. Two queries."""
    found = list(found)
    said = [
        f"Tightening not finished or not proven: {run}" for run in not_known(runs_of(critical_runs(found)))
    ]
    if kind == SheetKind.UNFINISHED:
        faults = Fault.objects.filter(pk__in=open_faults(found), severity=Severity.DANGEROUS)
        said += [str(fault) for fault in faults.select_related("place", "vehicle", "job").order_by("order")]
    return said


def refuse_untold(dangers: list[str], told: str, answer: str, witness: Person | None) -> None:
    if not dangers:
        return
    problems = {}
    if not told.strip():
        titles = "; ".join(dangers)
        problems["danger_told"] = (
            f"The car leaves with something dangerous ({titles}). Say what was told about it."
        )
    if not answer or answer == TellingAnswer.NO_ANSWER:
        problems["danger_answer"] = "Say what was answered. The car does not leave before that."
    if answer == TellingAnswer.NOT_SIGNED and witness is None:
        problems["danger_witness"] = "Where somebody declines to sign, name the witness."
    if problems:
        raise ValidationError(problems)


def signatures_before(
    by: By,
    lead: tuple[str, str],
    collector: tuple[str, str, Person | None],
    shown: tuple[str, str] | None,
) -> tuple[Signature, ...]:
    """What is signed before the sheet is issued. Whoever signs on paper does so afterwards, and is not among them."""
    problems, given = Problems(), []
    for part, prefix, (method, *rest) in (
        (SignerPart.LEAD, "lead_", lead),
        (SignerPart.COLLECTOR, "collector_", collector),
    ):
        if method in ("", SignatureMethod.PAPER):
            continue
        with problems.gathered(), renamed_fields(**{f"{prefix}method": f"{prefix}signs"}):
            given.append(signing.checked(by, part, method, *rest, prefix=prefix))
    problems.refuse()
    if given and shown is None:
        raise ValidationError("A signature is given against a sheet that was shown: look at the sheet first.")
    return tuple(given)


def critical_runs(found: Iterable[gate.Blocker]) -> set[str]:
    """Keys of the runs that leave a critical joint unproven, waived or not."""
    return {
        blocker.subject.partition(":")[0]
        for blocker in found
        if blocker.critical and blocker.code in ("run", "run_open")
    }


def runs_of(keys: Iterable[str]) -> list[Run]:
    return list(
        Run.objects.filter(pk__in=keys).select_related("line", "version_used__procedure").order_by("made_at")
    )


def not_known(runs: list[Run]) -> list[Run]:
    """Of these, the runs that do not stand as a dangerous outstanding item of the car yet."""
    known = OutstandingItem.objects.open().filter(raised_by_run__in=runs, severity=Severity.DANGEROUS)
    have = set(known.values_list("raised_by_run_id", flat=True)) if runs else set()
    return [run for run in runs if run.pk not in have]


def open_faults(found: Iterable[gate.Blocker]) -> list[str]:
    return [blocker.subject for blocker in found if blocker.code == "fault_open"]
