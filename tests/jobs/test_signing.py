"""Signing on the screen: what counts as a signature, what it is given against, and that it can be erased."""

from __future__ import annotations

import io
import json
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone
from pypdf import PdfReader

from jobs import ink, sheets, signing
from jobs.acts import handover as acts
from jobs.acts import sheet as sheet_acts
from jobs.models import Handover, SheetRevision, SignatureInk, SignOff
from tests.factories.handover import HandedOverFactory, ReadyJobFactory, leaving
from tests.factories.outstanding import ItemFactory
from tests.once import cast_with_car, each_of, made_once
from tests.people import by
from tests.records import first_problem
from tests.signing import drawing, hand_over, leaving_form, shown_on, sign
from vehicles.acts import vehicle as vehicle_acts
from workshop import log, triggers
from workshop.canonical import sha256
from workshop.models import Event


def ready_job() -> dict:
    made = cast_with_car()
    ready = ReadyJobFactory(person=made["lead"], vehicle=made["car"], keeper=made["keeper"])
    return {**made, "ready": ready}


world = made_once(ready_job)
lead, technician, shop_owner, car, keeper, ready = each_of(
    "lead", "technician", "shop_owner", "car", "keeper", "ready"
)


@pytest.fixture
def url(ready):
    return f"/jobs/{ready.pk}/handover/"


@pytest.fixture
def typed(keeper):
    return leaving_form(keeper, told="Pads run in\ngently.")


@pytest.fixture
def desk(client, lead):
    client.force_login(lead)
    return client


def glass(**fields) -> dict:
    return {
        "lead_signs": "glass", "lead_ink": drawing(), "collector_signs": "glass", "collector_ink": drawing(1),
        **fields,
    }  # fmt: skip


def correct(car, lead, **fields):
    car.refresh_from_db()
    vehicle_acts.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=car.version, number=car.number, as_stamped=True, reason="papers",
        **fields,
    )  # fmt: skip


# What counts as a signature


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "There is no signature yet"),
        ("[[900,300]]", "too little for a signature"),
        ("[[900,300,901,301]]", "too little for a signature"),
        # Much to and fro on one spot is a blot.
        (json.dumps([[900, 300, 930, 330] * 40]), "too little for a signature"),
        (json.dumps([[0, 0, 2000, 700] * 3000]), "more than a signature"),
        (json.dumps([[0, 0, 500, 500]] * 201), "201 lines"),
        ("[" * 40_000, "did not arrive whole"),
        ("9" * 40_000, "did not arrive whole"),
        ("{}", "did not arrive whole"),
        ("[]", "did not arrive whole"),
        ("[[1,2,3]]", "did not arrive whole"),
        ("[[1.5,2,900,300]]", "did not arrive whole"),
        ("[[true,false,900,300]]", "did not arrive whole"),
        ('[["1","2","900","300"]]', "did not arrive whole"),
        ("[[0,0,2001,700]]", "did not arrive whole"),
        ("[[-1,0,2000,700]]", "did not arrive whole"),
        ("[[NaN,0,2000,700]]", "did not arrive whole"),
        ('<img src="x">', "did not arrive whole"),
    ],
)
def test_what_is_no_signature_is_refused_in_a_sentence(text, sentence):
    with pytest.raises(ValidationError, match=sentence):
        ink.checked(text)


def test_a_signature_is_kept_small_and_drawn_as_a_path():
    kept = ink.checked(" [ [300, 350, 400, 200, 500, 450, 700, 350],\n [300, 200, 600, 180] ] ")
    assert kept == "[[300,350,400,200,500,450,700,350],[300,200,600,180]]"
    drawn = ink.drawing(kept)
    assert drawn.path == "M300 350Q400 200 450 325Q500 450 600 400L700 350 M300 200L600 180"
    left, top, width, height = map(int, drawn.box.split())
    assert (width, height) == (900, 330), "what is drawn with a margin; not blown up where it is narrow"
    assert left < 300 and left + width > 700 and top < 180 and top + height > 450  # noqa: PT018


# Both sign the sheet that is shown


def test_both_sign_the_very_sheet_and_it_is_issued(desk, url, typed, ready, lead, keeper):
    page = desk.post(url, typed)
    said = page.content.decode()
    assert not SheetRevision.objects.exists(), "showing writes nothing"
    # Both parts are shown, with their hashes in short groups.
    for words in ("Front pads renewed", "Keeper and prices", "Pads run in", "148223 km"):
        assert words in said, words
    assert len(page.context["technical_hash"]) == 16
    answer = sign(desk, url, typed, page, **glass())
    sheet = SheetRevision.objects.get()
    assert (answer.status_code, answer.url) == (302, f"/sheets/{sheet.pk}/")
    assert "".join(page.context["technical_hash"]) == sheet.technical_hash
    assert "".join(page.context["personal_hash"]) == sheet.personal_hash
    signed = {row.signer_part: row for row in sheet.signatures.all()}
    assert (signed["lead"].person, signed["lead"].keeper) == (lead, None)
    assert (signed["collector"].person, signed["collector"].keeper) == (None, keeper)
    for part, seed in (("lead", 0), ("collector", 1)):
        row = signed[part]
        assert (row.method, row.data_hash) == ("glass", sheet.technical_hash)
        assert row.ink.lines == ink.checked(drawing(seed))
        assert row.ink_hash == sha256(row.ink.lines)
    # What was typed in the first step is on record as it was typed.
    assert ready.handover.told == "Pads run in\ngently."
    # Drawn on the sheet's page, and no name of the owner in the log's chain.
    assert desk.get(f"/sheets/{sheet.pk}/").content.decode().count('class="drawn"') == 2
    assert keeper.name not in "".join(Event.objects.values_list("body", flat=True))
    assert log.first_broken_link() is None


@pytest.mark.pdf
def test_the_signatures_are_drawn_into_the_pdf(desk, url, typed, lead, keeper):
    hand_over(desk, url, typed, **glass())
    signed = SheetRevision.objects.get()
    pdf = PdfReader(io.BytesIO(bytes(signed.text.pdf)))
    said = " ".join(" ".join(page.extract_text().split()) for page in pdf.pages)
    above, _, below = said.partition("cut here")
    assert f"{lead.name}, on the screen" in above
    assert f"{keeper.name}, on the screen" in below
    assert "; date" not in said, "no empty line is left to sign"
    # The curves themselves: as many as both drawings have, in the page's own drawing commands.
    curves = sum(page.get_contents().get_data().count(b" c\n") for page in pdf.pages)
    assert curves >= ink.drawing(drawing()).path.count("Q") + ink.drawing(drawing(1)).path.count("Q")
    # Said to those who don't see it, as the standard for accessible PDF asks.
    assert [text for text in alternatives(pdf) if text.startswith("Signature of")] == [
        f"Signature of {lead.name}", f"Signature of {keeper.name}"
    ]  # fmt: skip


def alternatives(pdf: PdfReader) -> list[str]:
    """The alternative texts of a tagged PDF's figures, in reading order (ISO 32000-1, 14.9.3)."""
    found, todo = [], [pdf.trailer["/Root"]["/StructTreeRoot"]]
    while todo:
        node = todo.pop(0).get_object()
        if isinstance(node, list):
            todo = [each for each in node if hasattr(each, "get_object")] + todo
        elif isinstance(node, dict):
            if "/Alt" in node:
                found.append(str(node["/Alt"]))
            if "/K" in node and not isinstance(node["/K"], int):
                todo = [node.raw_get("/K"), *todo]
    return found


@pytest.mark.pdf
def test_signing_on_paper_is_written_down_afterwards(desk, url, typed, lead):
    hand_over(desk, url, typed)
    sheet = SheetRevision.objects.get()
    assert not SignOff.objects.exists()
    said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(bytes(sheet.text.pdf))).pages)
    assert f"For the workshop: {lead.name}; date" in " ".join(said.split())
    page = desk.get(f"/sheets/{sheet.pk}/").content.decode()
    assert "kind=signed_paper" in page, "the way to attach the signed paper"
    answer = desk.post(f"/sheets/{sheet.pk}/sign/lead/", {"key": str(uuid4()), "method": "paper"})
    assert answer.status_code == 302
    assert SignOff.objects.get().method == "paper"


@pytest.mark.pdf
def test_the_lead_confirms_by_account_and_the_owner_declines(desk, url, typed, technician):
    hand_over(
        desk, url, typed, lead_signs="account", collector_signs="declined", collector_witness=technician.pk
    )
    signed = {row.signer_part: row for row in SignOff.objects.all()}
    assert (signed["lead"].method, signed["collector"].method) == ("account", "declined")
    assert signed["collector"].witness == technician
    assert not SignatureInk.objects.exists()
    sheet = SheetRevision.objects.get()
    pages = PdfReader(io.BytesIO(bytes(sheet.text.pdf))).pages
    said = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "Corin Ashby declined to sign. Witness: Tamsin Orrell" in said
    assert "For the workshop: Lida Marchbank confirmed it signed in" in said


def test_a_sheet_that_was_issued_is_signed_on_the_screen_too(car, keeper, lead, desk):
    sheet = HandedOverFactory(person=lead, vehicle=car, keeper=keeper)
    before = bytes(sheet.text.pdf)
    sent = {"key": str(uuid4()), "method": "glass", "ink": drawing()}
    assert desk.post(f"/sheets/{sheet.pk}/sign/collector/", sent).status_code == 302
    row = SignOff.objects.get()
    assert (row.keeper, row.data_hash, row.ink.lines) == (
        keeper,
        sheet.technical_hash,
        drawing().replace(" ", ""),
    )
    sheet.refresh_from_db()
    assert bytes(sheet.text.pdf) == before, "what was issued stays as it was"


# Refused, with what was typed and drawn kept


@pytest.mark.parametrize(
    ("fields", "field", "sentence"),
    [
        ({"collector_ink": "[[900,300]]"}, "collector_ink", "too little for a signature"),
        ({"lead_ink": ""}, "lead_ink", "There is no signature yet"),
        ({"lead_ink": '[["x"]]'}, "lead_ink", "did not arrive whole"),
        ({"lead_ink": "[[1,1],[" + "1," * 300_000 + "1]]"}, "lead_ink", "more than a signature"),
        ({"collector_signs": "declined"}, "collector_witness", "name the witness"),
        ({"collector_signs": "account"}, "collector_signs", "Select a valid choice"),
    ],
)
def test_a_signature_that_does_not_count_leaves_the_other_one_drawn(
    desk, url, typed, fields, field, sentence
):
    answer = hand_over(desk, url, typed, **glass(**fields))
    assert answer.status_code == 422
    form = answer.context["form"]
    assert set(form.errors) == {field}
    assert sentence in str(form.errors[field])
    assert not Handover.objects.exists()
    page = answer.content.decode()
    # What the other one drew, and what was typed, is still there; and so is what was shown.
    other = "lead" if field.startswith("collector") else "collector"
    assert form[f"{other}_ink"].value() == glass()[f"{other}_ink"]
    assert "Pads run in\ngently." in page
    again = sign(desk, url, typed, answer, **glass())
    assert again.status_code == 302


def test_both_signatures_are_judged_at_once(desk, url, typed):
    answer = hand_over(desk, url, typed, **glass(lead_ink="", collector_ink="[[1,1]]"))
    assert set(answer.context["form"].errors) == {"lead_ink", "collector_ink"}


def test_what_changed_while_they_signed_is_named_and_signed_again(desk, url, typed, car, lead):
    page = desk.post(url, typed)
    correct(car, lead, engine_number="HD25-1")
    answer = sign(desk, url, typed, page, **glass())
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "Something changed while you signed" in said
    assert answer.context["changed"] == ["The car"]
    assert not SheetRevision.objects.exists()
    assert "HD251" in said, "the sheet as it is now is shown"
    assert "Pads run in\ngently." in said
    assert answer.context["form"]["lead_ink"].value() in (None, ""), "what was signed was another sheet"
    assert sign(desk, url, typed, answer, **glass()).status_code == 302
    assert "HD251" in SheetRevision.objects.get().technical


def test_a_change_while_the_signed_sheet_is_printed_is_refused(desk, url, typed, car, lead, monkeypatch):
    really = sheets.print_sheet

    def print_and_be_late(*args, **kwargs):
        correct(car, lead, engine_number="HD25-2")
        return really(*args, **kwargs)

    page = desk.post(url, typed)
    monkeypatch.setattr(sheets, "print_sheet", print_and_be_late)
    answer = sign(desk, url, typed, page, **glass())
    assert answer.status_code == 422
    assert "Something changed while you signed" in answer.content.decode()
    assert not SignOff.objects.exists()


def test_a_blocker_that_comes_while_they_sign_leads_back_to_the_first_step(desk, url, typed, ready, lead):
    page = desk.post(url, typed)
    ItemFactory(
        person=lead, vehicle=ready.vehicle, severity="dangerous", reason="deferred", title="Tyre cracked"
    )
    answer = sign(desk, url, typed, page, **glass())
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "Dangerous and still open: Tyre cracked" in said
    assert 'name="identified_by"' in said
    assert "Pads run in\ngently." in said
    assert not Handover.objects.exists()


def test_what_was_shown_is_sealed(desk, url, typed, lead, shop_owner, ready, monkeypatch):
    """A ticket that was altered, of another person, or too old, shows the sheet anew."""
    page = desk.post(url, typed)
    shown = shown_on(page)
    other = Client()
    other.force_login(shop_owner)
    attempts = [
        sign(desk, url, typed, page, **glass(shown=shown[:-2])),
        sign(desk, url, typed, page, **glass(shown="")),
        sign(desk, url, typed, page, **glass(shown="x:y:z")),
        sign(other, url, typed, page, **glass()),
    ]
    monkeypatch.setattr(signing, "SHOWN_FOR", timedelta(0))
    attempts.append(sign(desk, url, typed, page, **glass()))
    for answer in attempts:
        assert answer.status_code == 422
        assert "look at it again and sign again" in answer.content.decode()
        assert shown_on(answer) != shown
    assert not Handover.objects.exists()


def test_the_handover_is_of_when_the_sheet_was_shown_and_the_signatures_of_when_they_came(
    desk, url, typed, monkeypatch, ready
):
    page = desk.post(url, typed)
    later = timezone.now() + timedelta(minutes=7)
    monkeypatch.setattr(timezone, "now", lambda: later)
    assert sign(desk, url, typed, page, **glass()).status_code == 302
    handover = Handover.objects.get()
    assert handover.made_at < later
    assert {row.made_at for row in SignOff.objects.all()} == {later}


def test_no_signature_is_taken_for_a_sheet_that_was_not_shown(ready, keeper, lead):
    with pytest.raises(ValidationError, match="look at the sheet first"):
        acts.hand_over(by=by(lead), job=ready, **leaving(keeper, lead_signs="account"))
    with pytest.raises(ValidationError, match="Something changed while you signed"):
        acts.hand_over(
            by=by(lead), job=ready, **leaving(keeper, lead_signs="account", shown=("0" * 64, "0" * 64))
        )


def test_changing_something_comes_back_with_what_was_typed(desk, url, typed):
    desk.post(url, typed)
    answer = desk.post(url, {**typed, "step": "change", **glass()})
    assert answer.status_code == 200
    assert answer.context["form"]["told"].value() == "Pads run in\ngently."
    assert 'name="identified_by"' in answer.content.decode()


# Twice, and two at once


def test_the_signed_form_sent_twice_is_one_handover(desk, url, typed):
    page = desk.post(url, typed)
    signed = glass()
    first = sign(desk, url, typed, page, **signed)
    again = sign(desk, url, typed, page, **signed)
    assert first.url == again.url
    assert (SheetRevision.objects.count(), SignOff.objects.count()) == (1, 2)
    # The first step sent once more, as by Back, leads to the sheet.
    back = desk.post(url, typed)
    assert back.status_code == 422
    assert "The sheet is issued already" in back.content.decode()
    assert f'href="{first.url}"' in back.content.decode()


# Below the acts, and erased


@pytest.fixture
def signed(desk, url, typed):
    hand_over(desk, url, typed, **glass())
    return SheetRevision.objects.get()


def test_the_database_refuses_to_alter_what_was_signed(signed):
    for change in (
        lambda: SignatureInk.objects.update(lines="[[0,0,2000,700]]"),
        lambda: SignatureInk.objects.update(lines=""),
        lambda: SignatureInk.objects.update(erased_at=timezone.now()),
        lambda: SignatureInk.objects.all()._raw_delete("default"),
        lambda: SignOff.objects.update(ink_hash="0" * 64),
        lambda: SignOff.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_the_database_keeps_ink_to_signatures_on_the_screen(signed, lead):
    sheet_acts.revise_sheet(by=by(lead), job=signed.job, change_note="x")
    second = signed.job.sheets.get(revision=2)
    for method, ink_hash in (("glass", ""), ("paper", "0" * 64)):
        with pytest.raises(IntegrityError), transaction.atomic():
            SignOff.objects.bulk_create(
                [
                    SignOff(
                        **by(lead).stamp(), revision=second, signer_part="lead", person=lead, method=method,
                        data_hash=second.technical_hash, ink_hash=ink_hash,
                    )
                ]
            )  # fmt: skip


@pytest.mark.pdf
def test_erasing_keeper_and_prices_takes_what_was_drawn_with_it(signed, keeper, shop_owner, client):
    hashes = dict(signed.signatures.values_list("signer_part", "ink_hash"))
    redacted = sheet_acts.erase_personal(by=by(shop_owner), revision=signed, reason="at the keeper's wish")
    assert set(SignatureInk.objects.values_list("lines", flat=True)) == {""}
    assert dict(signed.signatures.values_list("signer_part", "ink_hash")) == hashes, (
        "that it was signed stays"
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        SignatureInk.objects.update(lines="[[0,0,2000,700]]", erased_at=None)
    said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(bytes(redacted.text.pdf))).pages)
    assert keeper.name not in said
    client.force_login(shop_owner)
    page = client.get(f"/sheets/{signed.pk}/").content.decode()
    assert 'class="drawn"' not in page
    assert page.count("what was drawn was erased") == 2
    # Of what is left nobody is asked to sign but the workshop, and it is not sent to anybody.
    left = client.get(f"/sheets/{redacted.pk}/").content.decode()
    assert "Person collecting the car" not in left
    assert "mailto:" not in left
    with pytest.raises(ValidationError, match="nobody but the workshop"):
        sheet_acts.sign(by=by(shop_owner), revision=redacted, signer_part="collector", method="paper")


def test_ink_that_was_tampered_with_is_named(signed):
    assert first_problem() is None
    with triggers.lifted():
        SignatureInk.objects.update(lines="[[0,0,2000,700]]")
    assert "does not give its hash" in first_problem()
