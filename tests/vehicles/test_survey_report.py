"""What a survey comes to on paper, and what changed since the survey before it."""

from __future__ import annotations

import io
import re

import pytest
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from tests.factories.fault import FaultFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.part import PartFactory, SurveyFactory
from tests.people import by
from vehicles.acts import part as part_acts
from vehicles.acts import photo as photo_acts
from vehicles.acts import survey as acts
from vehicles.acts import vehicle as vehicle_acts
from vehicles.files.intake import take_in
from vehicles.models import Attachment, Place
from vehicles.parts import open_places
from vehicles.survey_report import report_of
from workshop.models import Shop

# Points, by ISO 216 (210 mm × 297 mm) and ANSI/ASME Y14.1 (8.5 in × 11 in).
PAPER = {"A4": (595, 842), "Letter": (612, 792)}


def place(slug):
    return Place.objects.get(pk=slug)


@pytest.fixture
def survey(technician, car):
    return SurveyFactory(person=technician, vehicle=car)


def say(person, survey, slug, finding, **kwargs):
    return acts.record_entry(by=by(person), survey=survey, place=place(slug), finding=finding, **kwargs)


def seen(person, survey, slug, description, provenance="aftermarket", **kwargs):
    return acts.record_part_seen(by=by(person), survey=survey, place=place(slug), description=description,
                                 provenance=provenance, **kwargs)  # fmt: skip


def words_of(response) -> tuple[list[str], PdfReader]:
    assert response.status_code == 200
    assert response.headers["Content-Type"] == "application/pdf"
    paper = PdfReader(io.BytesIO(response.content))
    return [re.sub(r"\s+", " ", page.extract_text()) for page in paper.pages], paper


def test_an_open_place_without_a_part_is_counted_on_the_car_and_its_parts(
    client, lead, technician, survey, car
):
    say(lead, survey, "exhaust", "open", note="Louder than it was?")
    say(lead, survey, "brake-hoses", "open", position="rear_left", note="Braided?")
    say(lead, survey, "brake-hoses", "as_factory")
    PartFactory(person=lead, vehicle=car)
    client.force_login(technician)
    assert report_of(survey).in_several == 1
    assert open_places(survey, []) == 2
    said = "2 places with an open question"
    assert said in client.get(car.get_absolute_url()).content.decode()
    page = client.get(reverse("vehicles:parts", args=[car.pk]))
    assert said in page.content.decode()
    assert {code: number for code, _, number in page.context["filters"]}["open"] >= 2


def test_a_position_that_is_not_chosen_beforehand_says_why(client, lead, technician, survey):
    seen(lead, survey, "brake-hoses", "Braided hose", positions=["rear_left"])
    client.force_login(technician)
    url = reverse("vehicles:survey-part", args=[survey.pk, "brake-hoses"])
    assert "rear left (on record: Braided hose)" in client.get(url).content.decode()


# --- since the survey before -----------------------------------------------------------------------------------


def test_what_changed_since_the_survey_before(lead, technician, car):
    first = SurveyFactory(person=technician, vehicle=car)
    old_bar = seen(lead, first, "tow-bar", "Old bar")
    for slug in ("exhaust", "roof", "bonnet", "glass"):
        say(lead, first, slug, "as_factory")
    say(lead, first, "brake-hoses", "as_factory")
    say(lead, first, "doors", "not_seen", note="covered")
    acts.finish_survey(by=by(lead), survey=first, summary="The bar.")
    second = SurveyFactory(person=technician, vehicle=car)
    part_acts.end_part(by=by(lead), part=old_bar)
    seen(lead, second, "tow-bar", "New bar")
    say(lead, second, "exhaust", "open", note="Louder than it was?")
    say(lead, second, "roof", "as_factory")
    say(lead, second, "brake-hoses", "open", position="rear_left", note="Braided?")
    say(lead, second, "brake-hoses", "open", position="rear_right", note="Braided?")
    seen(lead, second, "steering-wheel", "Smaller wheel")
    say(lead, second, "doors", "as_factory")
    say(lead, second, "underbody", "as_factory")
    report = report_of(second)
    assert report.before == first
    assert [(one.where, one.was, one.now) for one in report.changes] == [
        ("Exhaust and after-treatment", "as the factory made it", "open question: Louder than it was?"),
        ("Brake hose, rear left, rear right", "as the factory made it", "open question: Braided?"),
        ("Front and rear doors, left, right", "could not be seen", "as the factory made it"),
        ("Steering wheel and column", "not spoken of", "not as the factory made it: Smaller wheel"),
        (
            "Tow bar and its fastening",
            "not as the factory made it: Old bar",
            "not as the factory made it: New bar",
        ),
    ]
    assert report.silent_now == 2, "bonnet and glass"
    assert report_of(first).before is None


def test_the_report_names_the_survey_before(client, lead, car):
    first = SurveyFactory(person=lead, vehicle=car)
    say(lead, first, "roof", "as_factory")
    acts.finish_survey(by=by(lead), survey=first, summary="Nothing.")
    second = SurveyFactory(person=lead, vehicle=car)
    say(lead, second, "roof", "as_factory")
    client.force_login(lead)
    assert (
        "last time: as the factory made it"
        not in client.get(second.get_absolute_url(), {"zone": "body"}).text
    )
    acts.finish_survey(by=by(lead), survey=second, summary="Nothing.")
    page = client.get(second.get_absolute_url()).text
    assert "Since the survey of" in page
    assert "Nothing that was spoken of both times is said otherwise." in page
    # While one walks: what was said last time stands with the place.
    third = SurveyFactory(person=lead, vehicle=car)
    assert "last time: as the factory made it" in client.get(third.get_absolute_url(), {"zone": "body"}).text


# --- what is looked into first, from the record ----------------------------------------------------------------


def test_open_dangers_of_the_car_come_first_wherever_they_stand(lead, car, survey):
    seen(lead, survey, "roof", "Rack")
    seen(lead, survey, "brake-master", "Larger cylinder", evidence=[("judgement", "no mark")])
    say(lead, survey, "wheels", "as_factory")
    FaultFactory(person=lead, vehicle=car, place=place("wheels"), severity="dangerous", title="Rim cracked")
    ItemFactory(person=lead, vehicle=car, severity="dangerous", title="Smell of fuel")
    FaultFactory(person=lead, vehicle=car, place=place("glass"), severity="major", title="Chip in the screen")
    first = report_of(survey).first
    assert [one.finding.what for one in first] == ["Smell of fuel", "Rim cracked", "Larger cylinder", "Rack"]
    assert [one.rank for one in first] == [1, 1, 2, 3]


# --- on paper --------------------------------------------------------------------------------------------------


@pytest.fixture
def told(lead, technician, car, survey):
    """A survey with a finding of each kind, spoken of by two people."""
    vehicle_acts.add_registration(by=by(lead), vehicle=car, plate="QX 06 HLD")
    seen(technician, survey, "tow-bar", "Bar of 60 mm flats", "one_off", factory_fits="no tow bar",
         follows="Not to be loaded before it is proven.", evidence=[("judgement", "welds by hand")],
         look_into="major")  # fmt: skip
    seen(lead, survey, "exhaust", "Silencer, no mark", "unknown")
    say(lead, survey, "underbody", "not_seen", note="tray fitted")
    say(technician, survey, "bonnet", "as_factory")
    acts.finish_survey(by=by(lead), survey=survey, summary="The tow bar first: nobody knows its bolts.")
    return survey


@pytest.mark.pdf
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_report_on_paper(client, front_desk, told, paper):
    Shop.objects.update_or_create(pk=1, defaults={"paper": paper, "name": "Quarry Lane Motor Works"})
    client.force_login(front_desk)
    texts, pdf = words_of(client.get(reverse("vehicles:survey-pdf", args=[told.pk])))
    for number, page in enumerate(pdf.pages, 1):
        assert (round(page.mediabox.width), round(page.mediabox.height)) == PAPER[paper]
        assert f"page {number} of {len(texts)}" in texts[number - 1]
        assert "Printed from the record on" in texts[number - 1]
    text = " ".join(texts)
    for said in (
        "Survey report",
        "Quarry Lane Motor Works",
        "QX 06 HLD",
        "WHD45RV0000123456",
        "The tow bar first: nobody knows its bolts.",
        "not an official roadworthiness test",
        "F1",
        "judged major, and still open; what is towed or carried behind hangs on it",
        "welds by hand",
        "no tow bar",
        "Not to be loaded before it is proven.",
        "What would settle it",
        "tray fitted",
        "Surveyed by Tamsin Orrell, Lida Marchbank",
    ):
        assert said in text, said
    for never in ("complies", "illegal"):
        assert never not in text.lower()
    # The answer stands on the first page, above all else.
    assert texts[0].index("Bar of 60 mm flats") < texts[0].index("The car")


@pytest.mark.pdf
def test_the_build_sheet(client, front_desk, lead, car, told):
    vehicle_acts.read_identity(
        by=by(lead), vehicle=car, source="stamping", number="WHD45RV0000123457", place="right-hand sill"
    )
    PartFactory(person=lead, vehicle=car, place="glass", provenance="factory_option", description="Heated screen",
                evidence=[("build_record", "option 31")])  # fmt: skip
    client.force_login(front_desk)
    url = reverse("vehicles:build-sheet", args=[car.pk])
    assert url in client.get(reverse("vehicles:parts", args=[car.pk])).text
    text = " ".join(words_of(client.get(url))[0])
    for said in (
        "Build sheet",
        "right-hand sill",
        "WHD45RV0000123457",
        "differs from the record",
        "QX 06 HLD",
        "Heated screen",
        "Bar of 60 mm flats",
        "Made in a workshop (one-off)",
        "welds by hand",
        "2, of which 1 open question; 1 part of the factory on record",
        "Printed from the record on",
        "last surveyed",
    ):
        assert said in text, said


@pytest.mark.pdf
def test_prints_of_a_car_of_which_nothing_is_known(client, lead, car, survey):
    client.force_login(lead)
    text = " ".join(words_of(client.get(reverse("vehicles:build-sheet", args=[car.pk])))[0])
    assert "The car was not surveyed yet, so that says little." in text
    assert "Not read yet on plate, stamping or control unit" in text
    text = " ".join(words_of(client.get(reverse("vehicles:survey-pdf", args=[survey.pk])))[0])
    assert "not finished yet" in text
    assert "0 of 77 places spoken of" in text


def test_without_the_pdf_library_the_page_says_what_to_do(client, lead, told, monkeypatch):
    monkeypatch.setattr("workshop.checks.pdf_problem", lambda: "cannot load library libpango")
    client.force_login(lead)
    answer = client.get(reverse("vehicles:survey-pdf", args=[told.pk]), follow=True)
    assert answer.redirect_chain[0][0] == told.get_absolute_url()
    assert "No PDF can be made on this machine (cannot load library libpango)" in answer.text
    assert "print this page from the browser" in answer.text


@pytest.mark.pdf
def test_photos_of_a_place_stand_with_its_finding_and_on_the_paper(
    client, lead, car, survey, monkeypatch, tmp_path
):
    monkeypatch.setattr("vehicles.files.store.default_storage", FileSystemStorage(location=tmp_path))
    seen(lead, survey, "tow-bar", "Bar of 60 mm flats")
    data = io.BytesIO()
    Image.new("RGB", (640, 480), (90, 70, 60)).save(data, "JPEG")
    stored = take_in(SimpleUploadedFile("bar.jpg", data.getvalue(), "image/jpeg"))
    photo_acts.add_files(by=by(lead), vehicle=car, files=[stored], caption="weld at the left plate",
                         survey=survey, place=place("tow-bar"))  # fmt: skip
    photo = Attachment.objects.get()
    client.force_login(lead)
    assert photo.thumb_url() in client.get(survey.get_absolute_url(), {"zone": "rear"}).text
    acts.finish_survey(by=by(lead), survey=survey, summary="The bar.")
    assert photo.thumb_url() in client.get(survey.get_absolute_url()).text
    url = reverse("vehicles:survey-pdf", args=[survey.pk])
    texts, pdf = words_of(client.get(url))
    assert " ".join(texts).count("weld at the left plate") == 1
    assert len({image.data for page in pdf.pages for image in page.images}) == 1
    # Lost on the disk: the report prints without it.
    for file in tmp_path.rglob("*.jpg"):
        file.unlink()
    texts, pdf = words_of(client.get(url))
    assert sum(len(page.images) for page in pdf.pages) == 0
    assert "Bar of 60 mm flats" in " ".join(texts)
