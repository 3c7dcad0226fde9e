"""Acts on lists from a spreadsheet: putting one down, saying how it is read, taking it in, undoing that."""

from __future__ import annotations

import hashlib
from pathlib import PurePath
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.core.files import File
from django.db import IntegrityError

from vehicles.models import ListState, SpreadsheetList
from vehicles.spreadsheet import making, reading
from vehicles.spreadsheet.checking import Checked, Choices, Row, check
from vehicles.spreadsheet.columns import COLUMNS, mapped
from vehicles.spreadsheet.giving import csv_text
from workshop.acting import By, ChangedMeanwhile, act, create, note, save_changes
from workshop.models import Undoing
from workshop.permissions import May

MEANWHILE = "Somebody else changed how this list is read. Open it anew and look again."


@act(May.TAKE_IN)
def put_down(*, by: By, kind: str, file: File) -> SpreadsheetList:
    """Read a file and keep it as a draft: nothing is taken in yet."""
    try:
        # One byte more than is taken: a larger file is refused without being read whole.
        file.seek(0)
        data = file.read(reading.MOST_BYTES + 1)
        text = reading.text_of(data, file.size)
        table = reading.table_of(text)
    except reading.BadFile as refusal:
        raise ValidationError({"file": str(refusal)}) from refusal
    places = mapped(kind, table.head)
    if not places:
        known = ", ".join(each.label for each in COLUMNS[kind] if each.needed)
        raise ValidationError(
            {
                "file": f"None of this list's columns ({', '.join(table.head)[:200]}) is known for such a list. Its first "
                f"row must name them: {known} and so on. Did you choose the right kind of list?"
            }
        )
    row = create(
        SpreadsheetList(
            **by.stamp(),
            kind=kind,
            file_name=PurePath(file.name or "list.csv").name[-200:],
            file_hash=hashlib.sha256(data).hexdigest(),
            content=text,
            rows=len(table.rows),
            choices={"places": places, "order": "", "unit": "", "keep_lower": False, "as_stamped": False},
        )
    )
    note(row, facts={"kind": kind, "sha256": row.file_hash, "rows": row.rows}, words={"file": row.file_name})
    return row


@act(May.TAKE_IN)
def choose(*, by: By, listed: SpreadsheetList, seen_version: int, choices: dict[str, Any]) -> SpreadsheetList:
    """Say how the list is read: which column is what, what 03/04 means, what readings count in."""
    _refuse_unless(listed, ListState.DRAFT)
    try:
        save_changes(listed, seen_version=seen_version, choices=choices)
    except ChangedMeanwhile:
        raise ValidationError(MEANWHILE) from None
    note(listed, facts={"chosen": True})
    return listed


@act(May.TAKE_IN)
def take_in(
    *, by: By, listed: SpreadsheetList, seen_version: int, without_bad: bool = False
) -> SpreadsheetList:
    """Make the records of all good rows, in one transaction. Rows with errors only stay out where that is said."""
    row = SpreadsheetList.objects.select_for_update(no_key=True).get(pk=listed.pk)
    _refuse_unless(row, ListState.DRAFT)
    if row.version != seen_version:
        raise ValidationError(MEANWHILE)
    table, judged = judge(row, by)
    if judged.missing:
        raise ValidationError(f"Say first which column is: {', '.join(judged.missing)}.")
    if judged.bad and not without_bad:
        raise ValidationError(
            {"without_bad": f"{len(judged.bad)} rows can't be taken in as they are. Mend the list and send it anew, "
             "or tick that they are left out."}
        )  # fmt: skip
    if not judged.good:
        raise ValidationError("There is no row to take in.")
    source = row.choices.get("source") or f"list “{row.file_name}”"
    try:
        made = making.Making(by, choices_of(row), source[:150]).made(row.kind, judged.good)
    except IntegrityError as refusal:
        raise ValidationError(
            "Something was written meanwhile that a row of this list does not go with. Nothing was taken in: look at "
            "the list again."
        ) from refusal
    save_changes(
        row,
        state=ListState.TAKEN,
        content=left_out(table, judged),
        made=made,
        left_out=len(judged.rows) - len(judged.good),
        taken_key=by.key,
        taken_at=by.made_at,
        taken_by=by.person,
    )
    note(row, facts={"sha256": row.file_hash, "made": made, "left_out": row.left_out})
    return row


@act(May.TAKE_IN)
def undo(*, by: By, listed: SpreadsheetList, reason: str) -> SpreadsheetList:
    """Take out what a list brought, as long as nothing else was written on it. The list itself stays, with the reason."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is undone."})
    row = SpreadsheetList.objects.select_for_update(no_key=True).get(pk=listed.pk)
    _refuse_unless(row, ListState.TAKEN)
    if hanging := making.hanging_on(row.taken_key):
        told = ", ".join(f"{count} × {name}" for name, count in hanging.most_common(5))
        raise ValidationError(
            f"It can't be undone any more: things were written since on what it brought ({told}). Correct the records "
            "one by one."
        )
    Undoing.objects.create(key=row.taken_key)
    gone = making.take_out(row.taken_key)
    Undoing.objects.all().delete()
    save_changes(
        row,
        state=ListState.UNDONE,
        undone_at=by.made_at,
        undone_by=by.person,
        undone_because=" ".join(reason.split()),
        content="",
    )
    note(row, facts={"taken_out": gone}, words={"reason": row.undone_because})
    return row


@act(May.TAKE_IN)
def drop(*, by: By, listed: SpreadsheetList) -> SpreadsheetList:
    """Throw a draft away: what it held is gone, its name and hash stay."""
    row = SpreadsheetList.objects.select_for_update(no_key=True).get(pk=listed.pk)
    if not row.content:
        raise ValidationError("It holds nothing any more.")
    if row.state == ListState.DRAFT:
        save_changes(row, state=ListState.DROPPED, content="")
    else:
        save_changes(row, content="")
    note(row, facts={"dropped": True})
    return row


def left_out(table: reading.Table, judged: Checked) -> str:
    """CSV of the rows that stay out, as they were sent, with the line and the reason of each; empty where none does."""
    rows = [row for row in judged.rows if not row.good]
    if not rows:
        return ""
    width = max(len(table.head), *(len(row.cells) for row in rows))
    return csv_text(
        [*table.head, *[""] * (width - len(table.head)), "line of the list", "why it was left out"],
        ([*row.cells, *[""] * (width - len(row.cells)), row.line, row.here or _why(row)] for row in rows),
    )


def _why(row: Row) -> str:
    return " ".join(f"{label}: {sentence}" for label, sentence in row.errors)


def name_of(label: str, count: int) -> str:
    """The plain name of a kind of record that a list made."""
    options = apps.get_model(label)._meta
    return str(options.verbose_name if count == 1 else options.verbose_name_plural)


def choices_of(listed: SpreadsheetList) -> Choices:
    return Choices(**listed.choices)


def judge(listed: SpreadsheetList, by: By) -> tuple[reading.Table, Checked]:
    """Every row of a draft, judged against what is on record now."""
    table = reading.table_of(listed.content)
    return table, check(listed.kind, table, choices_of(listed), by.day)


def _refuse_unless(listed: SpreadsheetList, state: ListState) -> None:
    if listed.state != state:
        raise ValidationError(f"This list is not what it was: {listed.get_state_display().lower()}.")
