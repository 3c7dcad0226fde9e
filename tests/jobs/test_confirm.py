"""The page that confirms a sheet to whoever holds it: number, revision, hashes, and nobody's name."""

from __future__ import annotations

from jobs.acts import sheet as acts
from tests.factories.handover import HandedOverFactory
from tests.factories.work import owner_of
from tests.once import once
from tests.people import by
from workshop.sheets import in_groups


@once
def sheet(car, lead):
    return HandedOverFactory(person=lead, vehicle=car, keeper=owner_of(car, lead))


def said(answer) -> str:
    import re

    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_anybody_sees_number_revision_and_hashes(client, sheet):
    answer = client.get(f"/confirm/{sheet.token}/")
    assert answer.status_code == 200
    page = said(answer)
    assert f"Genuine: handover sheet {sheet.job.number}, revision 1 of 1" in page
    assert "The latest: superseded by nothing" in page
    for digest in (sheet.technical_hash, sheet.personal_hash, sheet.pdf_hash):
        assert " ".join(in_groups(digest)) in page


def test_it_names_neither_car_nor_people(client, sheet, lead):
    page = said(client.get(f"/confirm/{sheet.token}/"))
    car = sheet.job.vehicle
    for words in (car.number, car.make, car.model, lead.name, sheet.job.payer.name, sheet.job.title):
        assert words not in page


def test_a_superseded_sheet_says_by_what(client, sheet, lead):
    second = acts.revise_sheet(by=by(lead), job=sheet.job, change_note="A word put right.")
    page = said(client.get(f"/confirm/{sheet.token}/"))
    assert "Superseded by revision 2" in page
    assert second.token not in client.get(f"/confirm/{sheet.token}/").content.decode()
    assert "revision 1 of 2" in page
    latest = said(client.get(f"/confirm/{second.token}/"))
    assert "revision 2 of 2" in latest
    assert "superseded by nothing" in latest


def test_every_code_that_was_not_issued_gets_the_same_answer(client, sheet):
    answers = [
        client.get(f"/confirm/{token}/")
        for token in ("0" * 32, sheet.token[:-1], sheet.token.upper(), "x", "%27 or 1=1", str(sheet.pk))
    ]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    assert "Not issued here" in said(answers[0])


def test_it_is_neither_kept_nor_indexed(client, sheet):
    answer = client.get(f"/confirm/{sheet.token}/")
    assert answer["Cache-Control"] == "no-store"
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert client.post(f"/confirm/{sheet.token}/").status_code == 405
