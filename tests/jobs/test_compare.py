"""What one revision says otherwise than another, in words; and that a new layout makes no old sheet due."""

from __future__ import annotations

import json

from jobs import sheets
from jobs.acts import sheet as sheet_acts
from jobs.models import SheetRevision
from jobs.sheets import SECTIONS, compare, revisions
from tests.factories.handover import HandedOverFactory
from tests.factories.work import owner_of
from tests.once import once
from tests.people import by
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import vehicle as vehicle_acts
from workshop import triggers
from workshop.canonical import canonical, sha256


@once
def keeper(car, lead):
    return owner_of(car, lead)


@once
def sheet(car, keeper, lead):
    return HandedOverFactory(person=lead, vehicle=car, keeper=keeper)


def said(before: dict, after: dict, titles=None) -> list[tuple[str, str, str, str]]:
    rows = compare.changes(before, after, titles or SECTIONS)
    return [(row["section"], row["what"], row["before"], row["after"]) for row in rows]


def test_a_field_is_named_with_what_it_said_and_says():
    before = {"vehicle": {"engine_number": "", "colour": "green", "year": 2006}}
    after = {"vehicle": {"engine_number": "HD22", "colour": "green", "year": 2007}}
    assert said(before, after) == [
        ("The car", "engine number", "nothing", "HD22"),
        ("The car", "year", "2006", "2007"),
    ]
    assert said(after, after) == []


def test_rows_are_known_again_by_what_they_are_and_not_by_their_place():
    line = {"order": 1, "complaint": "Squeals", "correction": "Pads renewed.", "done": True}
    other = {"order": 2, "complaint": "Rattles", "correction": "", "done": False}
    before = {"lines": [line, other]}
    after = {"lines": [other, {**line, "correction": "Pads and discs renewed."}]}
    assert said(before, after) == [
        ("What we found and did", "1 Squeals, done", "Pads renewed.", "Pads and discs renewed.")
    ]


def test_a_row_that_came_and_one_that_went_are_said():
    before = {"outstanding": [{"title": "Hose weeps", "severity": "minor"}]}
    after = {"outstanding": [{"title": "Tyre cracked", "severity": "dangerous"}]}
    assert said(before, after) == [
        ("Still outstanding", "Tyre cracked", "nothing", "new in this revision"),
        ("Still outstanding", "Hose weeps", "was there", "nothing"),
    ]


def test_two_rows_alike_are_told_apart_and_long_texts_are_cut():
    before = {
        "waivers": [{"what": "No road test", "reason": "rain"}, {"what": "No road test", "reason": "snow"}]
    }
    after = {
        "waivers": [{"what": "No road test", "reason": "rain"}, {"what": "No road test", "reason": "x" * 400}]
    }
    ((section, what, was, now),) = said(before, after)
    assert (section, what, was) == ("Let go by the lead", "No road test, reason", "snow")
    assert len(now) == compare.LONGEST
    assert now.endswith("…")


def correct_engine_number(car, lead, number="HD22-7"):
    car.refresh_from_db()
    vehicle_acts.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=car.version, number=car.number, as_stamped=True,
        reason="papers", engine_number=number,
    )  # fmt: skip


def test_the_page_of_a_revision_stands_beside_the_earlier_one(client, sheet, car, keeper, lead):
    correct_engine_number(car, lead)
    keeper.refresh_from_db()
    keeper_acts.correct_keeper(
        by=by(lead), keeper=keeper, seen_version=keeper.version, reason="moved", name=keeper.name,
        address="9 New Row", phone="", email="",
    )  # fmt: skip
    second = sheet_acts.revise_sheet(by=by(lead), job=sheet.job, change_note="Engine number and address.")
    technical, personal = json.loads(second.technical), json.loads(second.text.personal)
    # What changed about the person stands on the part that can be taken off; the other only says that it did.
    assert technical["sheet"]["changes"]["sections"] == ["The car", "Keeper and prices"]
    assert "9 New Row" not in second.technical
    assert [row["after"] for row in personal["changes"]["rows"]] == ["9 New Row"]
    client.force_login(lead)
    page = client.get(f"/sheets/{second.pk}/").content.decode()
    for words in (
        "What revision 2 changes",
        "engine number",
        "HD227",
        "9 New Row",
        "Engine number and address.",
    ):
        assert words in page, words


def in_an_earlier_format(sheet: SheetRevision) -> None:
    """As format 1 would have stored it: without what later formats added, and with other words about a run."""
    technical = json.loads(sheet.technical)
    del technical["sheet"]["format"]
    for name in ("damage", "survey"):
        del technical["body"][name]
    del technical["body"]["odometer"]["why"]
    technical["body"]["runs"] = [{"title": "said in other words"}]
    text = canonical(technical)
    with triggers.lifted():
        SheetRevision.objects.filter(pk=sheet.pk).update(technical=text, technical_hash=sha256(text))


def test_a_new_layout_makes_no_old_sheet_due(sheet, car, lead):
    assert json.loads(sheet.technical)["sheet"]["format"] == sheets.FORMAT
    in_an_earlier_format(sheet)
    assert sheets.revision_due(sheet.job) == []
    # What both formats say alike is still compared.
    correct_engine_number(car, lead)
    assert sheets.revision_due(sheet.job) == ["The car"]


def test_what_was_written_for_the_job_of_an_old_sheet_is_never_passed_over(sheet, lead, technician):
    """Where the words of a section changed with the format, the log still tells that something was written."""
    in_an_earlier_format(sheet)
    from jobs.acts import damage as damage_acts

    damage_acts.report_damage(by=by(technician), job=sheet.job, where="Left door", what="A scratch, 3 cm.")
    assert sheets.revision_due(sheet.job) == ["1 entry of the log for this job"]


def test_an_old_sheet_is_printed_anew_when_its_owner_is_erased(sheet, shop_owner):
    """The technical part is issued again from the data of its own format."""
    in_an_earlier_format(sheet)
    sheet.refresh_from_db()
    redacted = sheet_acts.erase_personal(by=by(shop_owner), revision=sheet, reason="asked for")
    assert json.loads(redacted.technical)["body"]["runs"] == [{"title": "said in other words"}]
    assert redacted.pages == 1


def test_formats_are_compared_in_what_both_know():
    before = {"sheet": {}, "body": {"vehicle": {"year": 2006}, "runs": [1]}}
    after = {
        "sheet": {"format": 2},
        "body": {"vehicle": {"year": 2007, "keys": 2}, "runs": [2], "survey": []},
    }
    was, now = revisions.comparable(before, after)
    assert was == {"vehicle": {"year": 2006}}
    assert now == {"vehicle": {"year": 2007}}
