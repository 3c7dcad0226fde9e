"""The torque record: every reading of a run as it is printed, the struck ones too, and the print itself."""

from __future__ import annotations

import io
import re
from decimal import Decimal

import pytest
from django.urls import reverse

from jobs.acts import second_check as check_acts
from jobs.acts import torque as acts
from jobs.runs import state_of
from jobs.torque_record import record_of
from tests.factories.procedure import WHEEL
from tests.factories.run import RunFactory, click, click_all, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from workshop.engineering.units import Amount
from workshop.models import Shop


@once
def tool(lead):
    return ToolFactory(person=lead, label="TW-03")


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[{**WHEEL, "critical": True}], where="rear left")


def printed(client, run, **query) -> str:
    import pypdf

    answer = client.get(reverse("jobs:run-record", args=[run.pk]), query)
    assert answer.headers["Content-Type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def test_what_was_put_right_is_struck_and_what_is_open_says_so(technician, run, tool):
    wrong = click(technician, run, 1, 1, 50, tool)
    acts.correct_reading(
        by=by(technician),
        corrected=wrong,
        fastener=1,
        kind="clicked",
        tool=tool,
        reading=Amount(Decimal(60), "N.m"),
        redo_reason="wrong number typed",
    )
    rows = record_of(state_of(run))["steps"][0]["stages"][0]["rows"]
    assert [(row["fastener"], row.get("struck"), row.get("fine")) for row in rows[:2]] == [
        (1, True, False),
        (1, False, True),
    ]
    assert rows[1]["notes"][0].startswith("puts right what was written down: wrong number typed")
    assert [row["fastener"] for row in rows[2:]] == [3, 5, 2, 4]
    assert all(row["open"] for row in rows[2:])


@pytest.mark.pdf
def test_the_whole_print(client, technician, other_technician, run, tool):
    click_all(technician, run, tool)
    check_acts.second_check(
        by=by(other_technician), run=run, step=step_of(run), method="mark_sighted", note="five marks in line"
    )
    acts.complete_run(by=by(technician), run=run)
    client.force_login(technician)
    text = printed(client, run)
    for part in (
        "Torque record",
        "rear left",
        "Completed",
        "Halden sheet 40-2",
        "set 120 N·m, clicked",
        "TW-03",
        "certificate BC-",
        "Witness mark sighted",
        "five marks in line",
        "Second check by, date",
    ):
        assert part in text, part
    assert text.count("set 60 N·m, clicked") == 5
    assert "measured" not in text.replace("not a measured value", "")


def test_two_prints_of_the_same_record_are_the_same_bytes(client, technician, run, tool):
    click(technician, run, 1, 1, 60, tool)
    client.force_login(technician)
    url = reverse("jobs:run-record", args=[run.pk])
    assert client.get(url).content == client.get(url).content


@pytest.mark.pdf
@pytest.mark.parametrize(("asked", "width"), [("", 595), ("letter", 612), ("a4", 595), ("a0", 595)])
def test_paper(client, technician, run, asked, width):
    """ISO 216 A4 is 210 mm wide, US Letter 8.5 in: 595 and 612 points."""
    import pypdf

    assert Shop.current().paper == "A4"
    client.force_login(technician)
    answer = client.get(reverse("jobs:run-record", args=[run.pk]), {"paper": asked})
    page = pypdf.PdfReader(io.BytesIO(answer.content)).pages[0]
    assert round(float(page.mediabox.width)) == width


def test_without_the_pdf_library_it_is_a_page(client, technician, run, tool, monkeypatch):
    from jobs.views import run_record

    monkeypatch.setattr(run_record, "pdf_problem", lambda: "libpango is missing")
    click(technician, run, 1, 1, 60, tool)
    client.force_login(technician)
    answer = client.get(reverse("jobs:run-record", args=[run.pk]))
    assert answer.headers["Content-Type"].startswith("text/html")
    assert "set 60 N·m, clicked" in answer.content.decode()


def test_it_asks_no_more_with_more_readings(client, technician, run, tool, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.force_login(technician)
    url = reverse("jobs:run-record", args=[run.pk]) + "?as=page"
    click(technician, run, 1, 1, 60, tool)
    client.get(url)
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    for fastener in (3, 5, 2, 4):
        click(technician, run, 1, fastener, 60, tool)
    with django_assert_num_queries(len(few)):
        client.get(url)
