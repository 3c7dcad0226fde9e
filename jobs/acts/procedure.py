"""The library of tightening procedures: drafts, and released versions that never change."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Max

from jobs.models import Procedure, ProcedureVersion
from jobs.versions import (
    VERSION_FIELDS,
    VERSION_WORDS,
    content_hash,
    lacks_of,
    lock_draft,
    refuse_unseen,
    seen_version_text,
    version_facts,
)
from workshop.acting import By, act, create, note, save_changes
from workshop.permissions import May


@act(May.EDIT_PROCEDURE)
def add_procedure(*, by: By, title: str, area: str, applies_to: str = "") -> Procedure:
    """Add a procedure to the library; what it says stands in its versions."""
    title = title.strip()
    if Procedure.objects.filter(title__iexact=title).exists():
        raise ValidationError(
            {"title": f"“{title}” is in the library already: make a new version of it, or name it otherwise."}
        )
    row = create(Procedure(**by.stamp(), title=title, area=area, applies_to=applies_to.strip()))
    note(row, facts={"area": area}, words={"title": title, "applies_to": row.applies_to})
    return row


@act(May.EDIT_PROCEDURE)
def withdraw_procedure(
    *, by: By, procedure: Procedure, seen_version: int, withdrawn_because: str
) -> Procedure:
    """Take a procedure out of use: no new run starts with it. Its versions and runs stay."""
    if not withdrawn_because.strip():
        raise ValidationError({"withdrawn_because": "Say why the procedure is withdrawn."})
    save_changes(procedure, seen_version=seen_version, withdrawn_because=withdrawn_because.strip())
    note(
        procedure,
        facts={"withdrawn": True},
        words={"procedure": procedure.title, "withdrawn_because": procedure.withdrawn_because},
    )
    return procedure


@act(May.EDIT_PROCEDURE)
def start_version(
    *,
    by: By,
    procedure: Procedure,
    source: str,
    change_note: str = "",
    cautions: str = "",
    competence: str = "",
    recheck_km: Decimal | None = None,
    recheck_note: str = "",
) -> ProcedureVersion:
    """Begin a draft: a copy of the released version's steps, or empty. One draft at a time.

    What changed may still be unknown; it is said at the latest when the draft is released.
    """
    procedure = Procedure.objects.select_for_update(no_key=True).get(pk=procedure.pk)
    if (draft := procedure.versions.filter(released_at=None).first()) is not None:
        raise ValidationError(
            f"There is a draft already (version {draft.number}, {draft.made_by}): go on with that one."
        )
    released = procedure.released()
    number = (procedure.versions.aggregate(last=Max("number"))["last"] or 0) + 1
    version = create(
        ProcedureVersion(
            **by.stamp(),
            procedure=procedure,
            number=number,
            source=source.strip(),
            change_note=change_note.strip(),
            cautions=cautions.strip(),
            competence=competence,
            recheck_km=recheck_km,
            recheck_note=recheck_note.strip(),
        )
    )
    if released is not None:
        _copy_steps(released, version)
    note(
        version,
        facts={
            "procedure": str(procedure.pk),
            "version": number,
            "copied_from": released.number if released else None,
        },
        words={
            "procedure": procedure.title,
            "source": version.source,
            "change_note": version.change_note,
        },
    )
    return version


@act(May.EDIT_PROCEDURE)
def copy_released(*, by: By, procedure: Procedure) -> ProcedureVersion:
    """Begin a draft that says all that the released version says, to be changed from there."""
    released = procedure.released()
    if released is None:
        raise ValidationError("Nothing of this procedure is released yet: begin its first version.")
    said = {name: getattr(released, name) for name in VERSION_FIELDS if name != "change_note"}
    return start_version(by=by, procedure=procedure, **said)


@act(May.EDIT_PROCEDURE)
def write_procedure(
    *, by: By, procedure: Procedure, seen_version: int, title: str, area: str, applies_to: str = ""
) -> Procedure:
    """Change name, area and cars of a procedure. Its name stays once a version is released: prints carry
    it.
    """
    title = title.strip()
    if title != procedure.title and procedure.versions.filter(released_at__isnull=False).exists():
        raise ValidationError(
            {
                "title": f"A version of “{procedure.title}” is released, and prints carry that name: it "
                "stays. Add another procedure and withdraw this one."
            }
        )
    if Procedure.objects.filter(title__iexact=title).exclude(pk=procedure.pk).exists():
        raise ValidationError({"title": f"“{title}” is in the library already: name it otherwise."})
    before = save_changes(
        procedure, seen_version=seen_version, title=title, area=area, applies_to=applies_to.strip()
    )
    note(
        procedure,
        facts={"area": procedure.area, "changed": sorted(before)},
        words={"title": procedure.title, "applies_to": procedure.applies_to},
    )
    return procedure


@act(May.EDIT_PROCEDURE)
def take_up_procedure(*, by: By, procedure: Procedure, seen_version: int) -> Procedure:
    """Take a withdrawn procedure into use again."""
    if not procedure.withdrawn_because:
        raise ValidationError("This procedure is in use.")
    save_changes(procedure, seen_version=seen_version, withdrawn_because="")
    note(procedure, facts={"withdrawn": False}, words={"procedure": procedure.title})
    return procedure


def _copy_steps(old: ProcedureVersion, new: ProcedureVersion) -> None:
    for step in old.steps.prefetch_related("stages__targets"):
        stages = list(step.stages.all())
        step.pk, step.version, step._state.adding = None, new, True
        step.save(force_insert=True)
        for stage in stages:
            targets = list(stage.targets.all())
            stage.pk, stage.step, stage._state.adding = None, step, True
            stage.save(force_insert=True)
            for target in targets:
                target.pk, target.stage, target._state.adding = None, stage, True
                target.save(force_insert=True)


@act(May.EDIT_PROCEDURE)
def write_version(*, by: By, version: ProcedureVersion, seen: str = "", **fields: Any) -> ProcedureVersion:
    """Change what a draft says of itself (`VERSION_FIELDS`). `seen` is `seen_version_text` of what was on
    the screen.
    """
    version = lock_draft(version)
    refuse_unseen(seen, seen_version_text(version), version, VERSION_FIELDS)
    for name, value in fields.items():
        if name not in VERSION_FIELDS:
            raise TypeError(f"a version has no field {name} to write")
        setattr(version, name, value.strip() if isinstance(value, str) else value)
    version.full_clean()
    version.save(update_fields=list(fields))
    note(
        version,
        facts={
            **version_facts(version),
            **{name: value for name, value in fields.items() if name not in VERSION_WORDS},
        },
        words={
            "version": str(version),
            **{name: getattr(version, name) for name in fields if name in VERSION_WORDS},
        },
    )
    return version


@act(May.EDIT_PROCEDURE)
def release_version(*, by: By, version: ProcedureVersion, change_note: str = "") -> ProcedureVersion:
    """Release a draft: from now on nothing of it changes, and new runs work by it.

    `change_note` says what changed against the version before; refused with all that the draft lacks.
    """
    version = lock_draft(version)
    version.change_note = change_note.strip() or version.change_note
    steps = list(version.steps.prefetch_related("stages__targets").order_by("order"))
    refusals = [ValidationError(lack.text, code="lacks") for lack in lacks_of(version, steps)]
    if refusals:
        raise ValidationError(refusals)
    if version.number > 1 and not version.change_note:
        raise ValidationError(
            {"change_note": "Say what changed against the version before: whoever knew that one reads it."}
        )
    version.released_at, version.released_by = by.made_at, by.person
    version.full_clean()
    version.save(update_fields=["released_at", "released_by", "change_note"])
    note(
        version,
        facts={**version_facts(version), "released": True, "hash": content_hash(version)},
        words={"version": str(version), "change_note": version.change_note},
    )
    return version
