"""Photos on the tablet: several at once with their progress, formats only the browser reads, and what can't be read."""

from __future__ import annotations

import io
import re

import pytest
from django.conf import settings
from django.urls import reverse
from PIL import Image
from playwright.sync_api import expect

from tests.browser.devices import TABLET, Watch, new_page, sign_in
from tests.factories.job import job_in
from tests.factories.photo import picture
from tests.factories.work import WorkLineFactory
from vehicles.files import store
from vehicles.models import Angle, Attachment


@pytest.fixture
def job(lead, car):
    return job_in("in_work", person=lead, vehicle=car)


def file(name: str, data: bytes, kind: str = "image/jpeg") -> dict:
    return {"name": name, "mimeType": kind, "buffer": data}


def in_format(form: str, **options) -> bytes:
    out = io.BytesIO()
    image = Image.new("RGB", (400, 300), "#c86432")
    image.save(out, form, **options)
    return out.getvalue()


def open_adding(page, live_server, person, car, query=""):
    sign_in(page, person, live_server.url)
    page.goto(reverse("vehicles:photo-add", args=[car.pk]) + query)


def choose(page, *files):
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name=re.compile("^Choose")).click()
    chooser.value.set_files(list(files))


def test_three_at_once_with_progress_and_then_their_thumbnails(tablet, live_server, technician, car):
    """The page stays; each says how far it is; each is one record with the caption that was typed before."""
    open_adding(tablet, live_server, technician, car)
    watch = Watch(tablet, live_server.url)
    seen: list[str] = []
    tablet.expose_function("noted", lambda text: seen.append(text))
    tablet.evaluate(
        """() => new MutationObserver(() => document.querySelectorAll(".photo.sending").forEach((row) => {
             if (row.querySelector("progress")) noted(row.textContent);
           })).observe(document.body, { subtree: true, childList: true, characterData: true })"""
    )
    tablet.get_by_label("What it shows").fill("Tow bar from below")
    noise = Image.effect_noise((2600, 1900), 60).convert("RGB")
    choose(
        tablet,
        file("first.jpg", picture(image=noise, taken="2026:03:04 10:11:12", orientation=6)),
        file("second.jpg", picture(colour="#204060")),
        file("third.png", picture("PNG", colour="#602040"), "image/png"),
    )
    expect(tablet.get_by_text("3 of 3 saved")).to_be_visible()
    expect(tablet.locator(".photo.new img")).to_have_count(3)
    assert any("first.jpg: sending" in text for text in seen)
    assert any("second.jpg" in text for text in seen)
    assert all(
        tablet.locator(".photo.new img")
        .nth(n)
        .evaluate("image => image.decode().then(() => image.naturalWidth)")
        > 0
        for n in range(3)
    )
    rows = list(Attachment.objects.order_by("made_at"))
    assert [row.caption for row in rows] == ["Tow bar from below"] * 3
    # Made small by the browser, upright; when it was taken comes from the beginning of the original.
    assert (rows[0].width, rows[0].height) == (1497, 2048)
    assert rows[0].taken_at is not None
    assert not watch.complaints
    expect(tablet.get_by_role("link", name="Done")).to_be_visible()


@pytest.mark.parametrize(
    ("form", "kind"), [("BMP", "image/bmp"), ("GIF", "image/gif"), ("AVIF", "image/avif")]
)
def test_what_only_the_browser_reads_goes_up_as_jpeg(tablet, live_server, technician, car, form, kind):
    open_adding(tablet, live_server, technician, car)
    choose(tablet, file(f"photo.{form.lower()}", in_format(form), kind))
    expect(tablet.get_by_text("1 of 1 saved")).to_be_visible()
    row = Attachment.objects.get()
    assert (row.media_type, row.width, row.height) == ("image/jpeg", 400, 300)
    with Image.open(store.path_of(row.file, "jpg")) as kept:
        assert all(
            abs(a - b) < 16 for a, b in zip(kept.getpixel((200, 150)), (0xC8, 0x64, 0x32), strict=True)
        )


def test_what_nobody_can_read_is_refused_and_the_others_are_kept(tablet, live_server, technician, car):
    open_adding(tablet, live_server, technician, car)
    choose(
        tablet,
        file("good.jpg", picture()),
        file("odd.heic", b"ftypheic and nothing else", "image/heic"),
        file("broken.jpg", picture(image=Image.effect_noise((300, 200), 80).convert("RGB"))[:4000]),
    )
    expect(tablet.get_by_text("1 of 3 saved, 2 not saved")).to_be_visible()
    failed = tablet.locator(".photo.failed")
    expect(failed.filter(has_text="odd.heic")).to_contain_text(
        "can't read it as a picture. Save it as JPEG or PNG"
    )
    expect(failed.filter(has_text="broken.jpg")).to_contain_text("cut off or damaged")
    failed.filter(has_text="odd.heic").get_by_role("button", name="Leave it out").click()
    expect(failed).to_have_count(1)
    assert Attachment.objects.count() == 1


def test_without_a_network_it_is_kept_on_the_tablet_and_sent_once(tablet, live_server, technician, car):
    """In its place with the kept look, made small first; there again after a reload; sent in the order of the taps."""
    open_adding(tablet, live_server, technician, car)
    tablet.get_by_label("What it shows").fill("Tow bar from below")
    tablet.context.set_offline(True)
    noise = Image.effect_noise((2600, 1900), 60).convert("RGB")
    choose(tablet, file("first.jpg", picture(image=noise)), file("second.jpg", picture(colour="#204060")))
    kept = tablet.locator(".photo.kept-here")
    expect(kept).to_have_count(2, timeout=20000)
    expect(kept.first).to_contain_text("first.jpg: Kept on this tablet.")
    expect(tablet.get_by_text("0 of 2 saved, 2 kept on this tablet")).to_be_visible()
    expect(tablet.locator("#waiting")).to_contain_text("2 kept on this tablet")
    sizes = tablet.evaluate("() => outbox.list().then((all) => all.map((each) => each.files[0].size))")
    assert all(size < 2_000_000 for size in sizes)
    assert Attachment.objects.count() == 0
    # The page is left and opened again: the server is there, but does not answer this address yet.
    answer = {"lost": True}
    tablet.route(
        "**/photos/add/**",
        lambda route: (
            route.abort() if route.request.method == "POST" and answer["lost"] else route.continue_()
        ),
    )
    tablet.context.set_offline(False)
    tablet.reload()
    expect(kept).to_have_count(2)
    assert kept.first.locator("img").evaluate("image => image.decode().then(() => image.naturalWidth)") > 0
    answer["lost"] = False
    tablet.evaluate("() => { outbox.drain(); }")
    expect(tablet.locator(".photo.new")).to_have_count(2, timeout=20000)
    expect(kept).to_have_count(0)
    rows = list(Attachment.objects.order_by("received_at"))
    assert [row.caption for row in rows] == ["Tow bar from below"] * 2
    assert max(rows[0].width, rows[0].height) == 2048


def test_an_answer_that_got_lost_is_asked_for_again_and_it_is_one_record(
    tablet, live_server, technician, car
):
    """The server had it, the tablet did not hear so: sent again under its own key it is the same record."""
    open_adding(tablet, live_server, technician, car)
    lost = []

    def lose_first(route):
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch())
            route.abort()
        else:
            route.continue_()

    tablet.route("**/photos/add/**", lose_first)
    choose(tablet, file("photo.jpg", picture()))
    expect(tablet.locator(".photo.kept-here")).to_contain_text("No answer from the workshop's server")
    assert lost[0].status == 200
    assert Attachment.objects.count() == 1
    tablet.evaluate("() => { outbox.drain(); }")
    expect(tablet.get_by_text("1 of 1 saved")).to_be_visible()
    assert Attachment.objects.count() == 1


def test_a_full_storage_and_a_file_too_large_are_said(tablet, live_server, technician, car, tmp_path):
    """Nothing can be kept: it goes at once, and where that fails it stays on the page. Above 40 MB nothing goes."""
    tablet.add_init_script(
        "IDBObjectStore.prototype.add = () => { throw new DOMException('full', 'QuotaExceededError'); }"
    )
    open_adding(tablet, live_server, technician, car)
    choose(tablet, file("good.jpg", picture()))
    expect(tablet.get_by_text("1 of 1 saved")).to_be_visible()
    tablet.context.set_offline(True)
    choose(tablet, file("later.jpg", picture(colour="#010203")))
    failed = tablet.locator(".photo.failed")
    expect(failed).to_contain_text("Not saved, and not kept on this tablet.")
    expect(failed).to_contain_text("storage is full")
    tablet.context.set_offline(False)
    failed.get_by_role("button", name="Send again").click()
    expect(tablet.get_by_text("2 of 2 saved")).to_be_visible()
    book = tmp_path / "book.pdf"
    book.write_bytes(b"%PDF-1.7" + bytes(41 * 1024 * 1024))
    choose(tablet, book)
    expect(failed).to_contain_text(
        "The file has 41 MB; 40 MB are the limit. Send a smaller one.", timeout=20000
    )
    assert Attachment.objects.count() == 2


def test_signed_out_nothing_is_lost(tablet, live_server, technician, car):
    open_adding(tablet, live_server, technician, car)
    tablet.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    choose(tablet, file("photo.jpg", picture()))
    expect(tablet.locator(".photo.kept-here")).to_contain_text(
        f"Nobody is signed in here: it is sent when {technician} signs in."
    )
    # In another window of the same browser: its page sends it, and this one learns of it.
    sign_in(tablet, technician, live_server.url)
    other = tablet.context.new_page()
    other.goto(reverse("home"))
    expect(tablet.get_by_text("1 of 1 saved")).to_be_visible(timeout=20000)
    assert Attachment.objects.get().made_by == technician


def test_a_document_is_named_before_it_is_sent(tablet, live_server, technician, car):
    open_adding(tablet, live_server, technician, car, "?kind=document")
    choose(tablet, file("ticket.png", picture("PNG"), "image/png"))
    tablet.get_by_role("button", name="Send").click()
    expect(tablet.get_by_text("Say what the document is first.")).to_be_visible()
    assert Attachment.objects.count() == 0
    tablet.get_by_label("What the document is").fill("Weighbridge ticket")
    tablet.get_by_role("button", name="Send").click()
    expect(tablet.get_by_text("1 of 1 saved")).to_be_visible()
    row = Attachment.objects.get()
    assert (row.kind, row.caption) == ("document", "Weighbridge ticket")


def test_on_a_page_of_its_subject_the_strip_grows_in_place(tablet, live_server, lead, job, car):
    line = WorkLineFactory(person=lead, job=job)
    sign_in(tablet, lead, live_server.url)
    tablet.goto(reverse("vehicles:photos", args=[car.pk]))
    choose(tablet, file("photo.jpg", picture()))
    expect(tablet.locator("[data-photo-list] .photo.new")).to_have_count(1)
    tablet.goto(reverse("vehicles:photo-add", args=[car.pk]) + f"?line={line.pk}")
    tablet.get_by_label("Before the work").check()
    choose(tablet, file("photo.jpg", picture(colour="#010203")))
    expect(tablet.get_by_text("1 of 1 saved")).to_be_visible()
    assert Attachment.objects.get(line=line).moment == "before"


def test_the_car_all_round_tile_by_tile(tablet, live_server, technician, job):
    """A tap on the drawing opens the camera; the picture, the stroke and the count follow without a new page."""
    sign_in(tablet, technician, live_server.url)
    tablet.goto(reverse("jobs:angles", args=[job.pk, "check_in"]))
    watch = Watch(tablet, live_server.url)
    tile = tablet.locator("#front")
    with tablet.expect_file_chooser() as chooser:
        tile.locator(".shot").click()
    chooser.value.set_files([file("front.jpg", picture())])
    expect(tablet.locator("#front.done .shot img")).to_be_visible()
    expect(tablet.locator("[data-angles-count]")).to_have_text(f"1 of {len(Angle)}")
    # What is waited for now has moved on.
    expect(tablet.locator("#front_left .btn.hand")).to_be_visible()
    expect(tablet.locator(".btn.hand")).to_have_count(1)
    row = Attachment.objects.get()
    assert (row.angle, row.occasion, row.job) == ("front", "check_in", job)
    assert not watch.complaints


def test_without_script_the_plain_form_sends_several(browser, live_server, technician, car):
    page = new_page(browser, live_server.url, **{**TABLET, "java_script_enabled": False})
    open_adding(page, live_server, technician, car)
    page.get_by_label("Photos or PDFs").set_input_files(
        [file("a.jpg", picture(colour="#111111")), file("b.jpg", picture(colour="#222222"))]
    )
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_role("heading", name="Photos and documents", level=1)).to_be_visible()
    expect(page.locator(".photo img")).to_have_count(2)
    page.context.close()
