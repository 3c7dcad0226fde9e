"""What makes the app one that can be put on the home screen and opened without network."""

from __future__ import annotations

import hashlib
import json
import re
from functools import cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import path, reverse

from workshop.copies import FORGET, PART
from workshop.pages import public

NAME = "Witness Mark"
PATIENCE = 4000  # ms until a copy is shown while the server may still answer
PAUSE = 400  # ms between two pages that are fetched to be kept: the server has other work
ICONS = [
    {"src": "img/mark.svg", "sizes": "any", "type": "image/svg+xml"},
    {"src": "img/icon-192.png", "sizes": "192x192", "type": "image/png"},
    {"src": "img/icon-512.png", "sizes": "512x512", "type": "image/png"},
    {"src": "img/icon-maskable-512.png", "sizes": "512x512", "type": "image/png", "purpose": "maskable"},
]


@cache
def paper() -> str:
    """The light theme's ground, as `tokens.css` has it: what is seen while the app opens."""
    tokens = Path(finders.find("css/tokens.css")).read_text(encoding="utf-8")
    return re.search(r"--paper:\s*(#[0-9a-f]{6})", tokens)[1]


def release() -> str:
    """Changes with every file of a release, so that its worker is another one; by size and time without hashes."""
    told = getattr(staticfiles_storage, "manifest_hash", "")
    if not told:
        files = sorted(Path(settings.BASE_DIR, "static").glob("[cj]s*/*"))
        told = " ".join(f"{each.name} {each.stat().st_mtime_ns}" for each in files)
    return hashlib.sha256(told.encode()).hexdigest()[:12]


def shell_files() -> list[str]:
    """What the pages that are nobody's load, which is what every page loads and the look of a copy. The files of one
    page alone are kept with that page's copy: the worker finds them in its text.
    """
    html = render_to_string("workshop/offline.html") + render_to_string("workshop/waiting.html")
    found = re.findall(r'\b(?:href|src)="([^"]+)"', html)
    return sorted({url for url in found if url.startswith(settings.STATIC_URL)})


@public
def manifest(request: HttpRequest) -> HttpResponse:
    """What the browser needs to put the app on the home screen (W3C, Web Application Manifest)."""
    facts = {
        "name": NAME,
        "short_name": NAME,
        "description": "The workshop's floor, jobs and tightening runs.",
        "lang": "en-GB",
        "id": "/",
        "start_url": reverse("jobs:floor"),
        "scope": "/",
        "display": "standalone",
        "theme_color": paper(),
        "background_color": paper(),
        "icons": [{**icon, "src": static(icon["src"])} for icon in ICONS],
    }
    answer = JsonResponse(facts, content_type="application/manifest+json")
    answer.headers["Cache-Control"] = "max-age=86400"
    return answer


@public
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. Asked for anew each time: a new release is noticed with the next page."""
    facts = {
        "release": release(),
        "files": shell_files(),
        "statics": settings.STATIC_URL,
        # Pages that are nobody's: in place of one without a copy, and what this device keeps to be sent.
        "shells": [reverse("workshop:offline"), reverse("workshop:waiting")],
        "part": PART,
        "patience": PATIENCE,
        "pause": PAUSE,
        "look": render_to_string("workshop/_copy_head.html"),
    }
    text = render_to_string("sw.js", {"facts": json.dumps(facts)})
    # Its comments are for those who read the template.
    text = re.sub(r"(?m)^ *//.*\n| // .*$", "", text)
    answer = HttpResponse(text, content_type="text/javascript; charset=utf-8")
    answer.headers["Cache-Control"] = "no-cache"
    answer.headers["Service-Worker-Allowed"] = "/"
    return answer


@public
def offline(request: HttpRequest) -> HttpResponse:
    """Shown by the worker in place of a page that has no copy. Fetched without a session: nobody's name is on it."""
    answer = render(request, "workshop/offline.html")
    answer.headers["Cache-Control"] = "no-cache"
    if FORGET in request.headers:
        # W3C, Clear Site Data: photos are kept by the browser for a week, whatever becomes of them here.
        answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


urlpatterns = [
    path("manifest.webmanifest", manifest, name="manifest"),
    path("sw.js", worker, name="worker"),
    path("offline/", offline, name="offline"),
]
