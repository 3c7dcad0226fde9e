"""Copies of pages on the device: which answers may be kept and by whom, the worker, the manifest, the doors."""

from __future__ import annotations

import importlib
import json
import pkgutil
import re
from math import hypot
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.contrib.messages import get_messages
from django.contrib.staticfiles import finders
from django.core.signing import get_cookie_signer
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

import jobs.acts
import vehicles.acts
import workshop.acts
from tests.factories.fault import FaultFactory
from tests.factories.photo import PhotoFactory
from tests.factories.run import RunFactory
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from vehicles.acts import photo as photo_acts
from workshop import acting
from workshop.acts import shop as shop_acts
from workshop.middleware import DEVICE_COOKIE
from workshop.models import Device, EventDetail
from workshop.permissions import May
from workshop.saved import SESSION_KEY
from workshop.views import copies

pytestmark = pytest.mark.django_db

STEP = {
    "title": "Wheel nuts",
    "fasteners": 5,
    "stages": [{"name": "Final", "value": "120", "unit": "N.m"}],
}


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[STEP])


@once
def kept(run, car, lead):
    """The pages that are needed under a lift."""
    fault = FaultFactory(person=lead, vehicle=car)
    return {
        "floor": reverse("jobs:floor"),
        "car": car.get_absolute_url(),
        "job": run.job.get_absolute_url(),
        "line": run.line.get_absolute_url(),
        "write": reverse("jobs:line-write", args=[run.line.pk]),
        "measure": reverse("jobs:measure", args=[run.line.pk]),
        "run": run.get_absolute_url(),
        "stage": f"{run.get_absolute_url()}?step={run.version_used.steps.get().pk}",
        "fault": fault.get_absolute_url(),
        "tools": reverse("workshop:tools"),
        "procedure": run.version_used.procedure.get_absolute_url(),
        "version": run.version_used.get_absolute_url(),
        "find": reverse("vehicles:find"),
    }


def test_pages_for_the_lift_say_whose_copy_they_are(client, kept, technician):
    client.force_login(technician)
    for name, url in kept.items():
        answer = client.get(url)
        assert (name, answer.headers.get("X-Keep-Copy")) == (name, str(technician.pk))


def test_money_people_settings_and_the_log_are_never_kept(client, shop_owner):
    client.force_login(shop_owner)
    for name in ("shop", "shop-change", "people", "devices", "log", "waiting"):
        answer = client.get(reverse(f"workshop:{name}"))
        assert (name, answer.status_code, "X-Keep-Copy" in answer.headers) == (name, 200, False)


def test_no_answer_but_a_whole_page_is_kept(client, kept, technician, car_owner, run):
    assert "X-Keep-Copy" not in client.get(kept["run"]).headers  # nobody is signed in
    client.force_login(technician)
    part = {"HX-Request": "true", "HX-Target": "find-list"}
    assert "X-Keep-Copy" not in client.get(f"{kept['find']}?q=a", headers=part).headers
    # The work area of a run is asked for by itself, and may be kept by itself.
    part["HX-Target"] = "work"
    answer = client.get(kept["run"], headers=part)
    assert answer.headers["X-Keep-Copy"] == str(technician.pk)
    assert b"<head" not in answer.content
    sent = client.post(kept["write"], {})
    assert (sent.status_code, "X-Keep-Copy" in sent.headers) == (422, False)
    client.force_login(car_owner)
    refused = client.get(kept["run"])
    assert (refused.status_code, "X-Keep-Copy" in refused.headers) == (403, False)


def test_a_page_fetched_for_its_copy_takes_no_message_and_no_saved_key_away(
    client, kept, technician, run, lead
):
    client.force_login(technician)
    client.post(
        reverse("jobs:clock-start", args=[run.line.pk]), {"key": "0b5e6f0c-6a7c-4f33-8f6e-2a3a3b1c9d10"}
    )
    assert client.session[SESSION_KEY] == ["0b5e6f0c-6a7c-4f33-8f6e-2a3a3b1c9d10"]
    fetched = client.get(kept["job"], headers={"X-For-Copy": "1"})
    assert fetched.status_code == 200
    assert "saved-key" not in fetched.content.decode()
    assert 'class="messages"' not in fetched.content.decode()
    seen = client.get(kept["job"])
    assert '<meta name="saved-key" content="0b5e6f0c-6a7c-4f33-8f6e-2a3a3b1c9d10">' in seen.content.decode()
    assert 'class="messages"' in seen.content.decode()
    assert not list(get_messages(client.get(kept["job"]).wsgi_request))
    # Nor is a tool chosen by the page of a tool that is only kept.
    tool = ToolFactory(person=lead)
    for headers, in_hand in (({"X-For-Copy": "1"}, False), ({}, True)):
        page = client.get(f"{kept['run']}?torque_tool={tool.pk}", headers=headers).content.decode()
        assert 'data-mode="enter"' in page
        assert ("torque_tool" in client.session) is in_hand


def test_what_is_kept_beside_a_job_is_its_open_runs_and_the_forms_that_can_wait(
    client, kept, technician, run
):
    client.force_login(technician)
    wanted = re.findall(r"<a\b[^>]*\bdata-keep\b[^>]*>", client.get(kept["job"]).content.decode())
    hrefs = [re.search(r'href="([^"]+)"', link)[1] for link in wanted]
    assert kept["run"] in hrefs
    assert f"{kept['write']}?from=job" in hrefs
    # Another version of the line is another form: what is kept of the older one is fetched anew.
    assert f'data-keep="once {run.line.version}"' in "".join(wanted)
    for href in hrefs:
        assert client.get(href.replace("&amp;", "&")).headers["X-Keep-Copy"] == str(technician.pk), href


# --------------------------------------------------------------------------------------------------- the doors


def on_device(client, **fields) -> Device:
    device = Device.objects.create(name="Tablet, bay 2", **fields)
    client.cookies[DEVICE_COOKIE] = _signed(str(device.pk))
    return device


def _signed(text: str) -> str:
    return get_cookie_signer(salt=f"{DEVICE_COOKIE}device").sign(text)


def test_the_doors_say_that_copies_go_but_not_while_a_session_is_locked(client, technician, lead):
    assert client.get(reverse("workshop:login")).headers["X-Drop-Copies"] == "last"
    assert client.post(reverse("workshop:login"), {}).headers.get("X-Drop-Copies") is None
    on_device(client, enrolled_at=timezone.now(), enrolled_by=lead)
    assert client.get(reverse("workshop:door")).headers["X-Drop-Copies"] == "last"
    client.force_login(technician)
    session = client.session
    session["locked"] = True
    session.save()
    door = client.get(reverse("workshop:door"))
    assert (door.status_code, "X-Drop-Copies" in door.headers) == (200, False)


def test_on_a_revoked_tablet_everybodys_copies_go(client, lead):
    on_device(
        client,
        enrolled_at=timezone.now(),
        enrolled_by=lead,
        revoked_at=timezone.now(),
        revoked_because="Lost",
    )
    assert client.get(reverse("workshop:door")).headers["X-Drop-Copies"] == "all"


# -------------------------------------------------------------------------------------------------- the worker


def test_the_worker_is_asked_for_anew_and_may_rule_the_whole_site(client):
    answer = client.get("/sw.js")
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert answer.headers["Cache-Control"] == "no-cache"
    assert answer.headers["Service-Worker-Allowed"] == "/"


def facts_of(client) -> dict:
    return json.loads(re.search(r"= (\{.*\});", client.get("/sw.js").content.decode())[1])


def test_the_worker_lists_files_that_exist_and_all_that_its_own_pages_load(client):
    facts = facts_of(client)
    for url in facts["files"]:
        assert finders.find(url.removeprefix(settings.STATIC_URL)), url
    for url in facts["shells"]:
        page = client.get(url)
        assert page.status_code == 200
        named = re.findall(r'(?:href|src)="([^"]+)"', page.content.decode() + facts["look"])
        assert {each for each in named if each.startswith(settings.STATIC_URL)} <= set(facts["files"])


def test_another_release_gets_another_worker(client, monkeypatch):
    seen = set()
    for told in ("aaaaaaaaaaaa", "bbbbbbbbbbbb"):
        monkeypatch.setattr(copies, "staticfiles_storage", SimpleNamespace(manifest_hash=told))
        seen.add(client.get("/sw.js").content)
    assert len(seen) == 2


def test_pages_that_are_nobodys_hold_nobodys_name(client, technician):
    client.force_login(technician)
    shell = client.get(reverse("workshop:waiting")).content.decode()
    assert technician.name not in shell
    client.logout()
    assert "data-person" not in client.get(reverse("workshop:offline")).content.decode()


# ------------------------------------------------------------------------------------------------ the manifest


@pytest.fixture
def manifest(client):
    answer = client.get("/manifest.webmanifest")
    assert answer.headers["Content-Type"] == "application/manifest+json"
    return answer.json()


# The members' names and the display modes as the specification has them.
DISPLAY = {"fullscreen", "standalone", "minimal-ui", "browser"}
MEMBERS = {
    "name",
    "short_name",
    "description",
    "lang",
    "id",
    "start_url",
    "scope",
    "display",
    "theme_color",
    "background_color",
    "icons",
}


@pytest.mark.outside("W3C, Web Application Manifest, Working Draft, display modes and members; from memory")
def test_the_manifest_is_one_that_browsers_take(manifest, published):
    published.same(manifest["display"] in DISPLAY, True, "display mode")
    published.same(manifest["start_url"].startswith(manifest["scope"]), True, "start_url within scope")
    published.same(manifest.keys() <= MEMBERS, True, "members")
    assert manifest["name"] == "Witness Mark"
    for member in ("theme_color", "background_color"):
        assert re.fullmatch(r"#[0-9a-f]{6}", manifest[member])


def test_its_colour_is_that_of_the_pages(manifest, client):
    page = client.get(reverse("workshop:login")).content.decode()
    assert f'media="(prefers-color-scheme: light)" content="{manifest["theme_color"]}"' in page


# Browsers offer to install with a picture of 192 and one of 512 pixels.
LEAST = {(192, 192), (512, 512)}
# A mask may cut away everything outside a circle of two fifths of the picture's side.
SAFE_RADIUS = 0.4


def picture(icon) -> Image.Image:
    with Image.open(finders.find(icon["src"].removeprefix(settings.STATIC_URL))) as image:
        return image.copy()


@pytest.mark.outside("W3C, Web Application Manifest, Working Draft, icon masks and safe zone; from memory")
def test_its_pictures_have_the_sizes_they_claim_and_the_mask_cuts_nothing_off(manifest, published):
    sizes = set()
    for icon in manifest["icons"]:
        if icon["type"] == "image/svg+xml":
            assert icon["sizes"] == "any"
            continue
        image = picture(icon)
        published.same(icon["sizes"], f"{image.width}x{image.height}", "size")
        if icon.get("purpose") == "maskable":
            pixels = image.convert("RGB")
            ground = pixels.getpixel((0, 0))
            middle = (image.width - 1) / 2
            drawn = [
                hypot(x - middle, y - middle) / image.width
                for x in range(0, image.width, 4)
                for y in range(0, image.height, 4)
                if pixels.getpixel((x, y)) != ground
            ]
            published.same(max(drawn) <= SAFE_RADIUS, True, "all within the safe zone")
        else:
            sizes.add(image.size)
    assert sizes == LEAST


def test_only_the_shops_people_are_offered_the_app(client, technician, car_owner):
    for person, offered in ((technician, True), (car_owner, False)):
        client.force_login(person)
        page = client.get(reverse("home"), follow=True).content.decode()
        assert ('rel="manifest"' in page) is offered


def test_fetching_a_page_for_its_copy_asks_no_more_than_showing_it(client, kept, technician):
    client.force_login(technician)
    client.get(kept["tools"])
    counts = []
    for headers in ({}, {"X-For-Copy": "1"}):
        with CaptureQueriesContext(connection) as asked:
            client.get(kept["tools"], headers=headers)
        counts.append(len(asked))
    assert counts[0] == counts[1]


# -------------------------------------------------------------------------------------------------- what was erased


def told(client, url) -> int:
    return int(client.get(url).headers["X-Erasures"])


def every_act_that_erases() -> set[str]:
    modules = [
        importlib.import_module(f"{package.__name__}.{found.name}")
        for package in (jobs.acts, vehicles.acts, workshop.acts)
        for found in pkgutil.iter_modules(package.__path__)
    ]
    acts = [each for module in modules for each in vars(module).values() if hasattr(each, "act_name")]
    return {each.act_name for each in acts if each.may is May.ERASE}


def test_every_erasure_is_told_with_the_next_page(
    client, kept, technician, shop_owner, car, tmp_path, settings
):
    settings.STORAGES = {**settings.STORAGES, "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": tmp_path}}}  # fmt: skip
    photo = PhotoFactory(person=technician, vehicle=car)
    client.force_login(technician)
    before = told(client, kept["floor"])
    for name, url in kept.items():
        assert (name, told(client, url)) == (name, before)
    photo_acts.erase(by=by(shop_owner), attachment=photo, because="the visitor asked for it")
    assert told(client, kept["floor"]) == before + 1
    detail = EventDetail.objects.exclude(words="").first()
    shop_acts.erase_words(by=by(shop_owner), detail=detail, reason="asked for")
    assert told(client, kept["car"]) == before + 2
    # Whatever else is written changes nothing of it.
    FaultFactory(person=technician, vehicle=car)
    assert told(client, kept["car"]) == before + 2
    # Which acts those are is found by the right that they need.
    assert acting.names(May.ERASE) == every_act_that_erases()
    assert len(every_act_that_erases()) >= 4


def test_it_costs_no_query_and_no_page_of_others_is_told(
    client, kept, technician, shop_owner, car_owner, car
):
    client.force_login(technician)
    client.get(kept["tools"])
    with CaptureQueriesContext(connection) as asked:
        client.get(kept["tools"])
    counting = [
        each["sql"] for each in asked if "erase_person" in each["sql"] or "photo.erase" in each["sql"]
    ]
    assert len(counting) == 1
    assert 'FROM "workshop_person"' in counting[0]
    # A poll of what did not change asks what it asked before: the log's head.
    page = client.get(kept["floor"]).content.decode()
    mark, live = (
        re.search(r'data-mark-of-page="([^"]+)"', page)[1],
        re.search(r'data-live="([^"]+)"', page)[1],
    )
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(live, headers={"If-None-Match": mark.replace("&quot;", '"')})
    assert (answer.status_code, len(asked)) == (304, 1)
    client.force_login(shop_owner)
    assert "X-Erasures" not in client.get(reverse("workshop:people")).headers


def test_the_worker_can_have_the_browser_forget_the_pictures_it_holds(client):
    assert "Clear-Site-Data" not in client.get(reverse("workshop:offline")).headers
    answer = client.get(reverse("workshop:offline"), headers={"X-Forget": "1"})
    assert answer.headers["Clear-Site-Data"] == '"cache"'
