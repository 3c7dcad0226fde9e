"""An issued sheet: its PDF and its bytes, what the database refuses, who may read it."""

from __future__ import annotations

import json

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs import sheets
from jobs.models import SheetRevision, SheetText
from tests.factories.handover import (
    HandedOverFactory,
)
from tests.once import cast_with_car, each_of, made_once
from tests.reading_pdf import reader
from workshop.canonical import sha256


def handed_over() -> dict:
    made = cast_with_car()
    sheet = HandedOverFactory(person=made["lead"], vehicle=made["car"], keeper=made["keeper"])
    return {**made, "sheet": sheet}


world = made_once(handed_over, printed=True)
lead, technician, car, keeper, sheet = each_of("lead", "technician", "car", "keeper", "sheet")


@pytest.mark.pdf
def test_the_pdf_is_tagged_and_says_its_title_and_language(sheet):
    root = reader(sheet).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert sheet.job.number in reader(sheet).metadata.title


@pytest.mark.pdf
def test_the_same_data_gives_the_same_bytes(sheet):
    again = sheets.print_sheet(
        json.loads(sheet.technical), json.loads(sheet.text.personal),
        hashes=(sheet.technical_hash, sheet.personal_hash), token=sheet.token,
    )  # fmt: skip
    assert again.pdf == bytes(sheet.text.pdf)


@pytest.mark.parametrize(
    "change",
    [
        lambda: SheetRevision.objects.update(technical="{}"),
        lambda: SheetRevision.objects.all()._raw_delete("default"),
        lambda: SheetText.objects.update(pdf=b"other"),
        lambda: SheetText.objects.all()._raw_delete("default"),
    ],
)
def test_the_database_refuses_to_alter_a_frozen_sheet(sheet, change):
    with pytest.raises(IntegrityError, match=r"frozen|only be erased"), transaction.atomic():
        change()
    sheet.refresh_from_db()
    assert sha256(sheet.technical) == sheet.technical_hash


@pytest.mark.pdf
def test_the_pdf_comes_as_it_was_stored(client, sheet, technician):
    client.force_login(technician)
    answer = client.get(f"/sheets/{sheet.pk}/pdf/")
    assert answer.content == bytes(sheet.text.pdf)
    assert answer["Content-Type"] == "application/pdf"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"].startswith("private")
    # Number, revision and day, and nobody's name.
    name = f"{sheet.job.number}-handover-sheet-revision-1-{timezone.localdate():%Y-%m-%d}.pdf"
    assert answer["Content-Disposition"] == f'inline; filename="{name}"'
    saved = client.get(f"/sheets/{sheet.pk}/pdf/?download=1")
    assert saved["Content-Disposition"] == f'attachment; filename="{name}"'
    assert saved.content == answer.content


def test_the_job_page_shows_its_sheet(client, sheet, lead):
    client.force_login(lead)
    page = client.get(f"/jobs/{sheet.job.pk}/").content.decode()
    assert f"/sheets/{sheet.pk}/pdf/" in page
