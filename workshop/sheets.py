"""Printed sheets: from a template and its data to the bytes of a tagged PDF.

Nothing outside the list of allowed files is read and nothing is fetched: a sheet holds what people typed, and
that could name a file of this machine or an address of another.
"""

from __future__ import annotations

import atexit
import io
import os
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

BASE_URL = "https://sheet.invalid/"
PAPER_CSS = {
    "A4": "css/paper-a4.css",
    "Letter": "css/paper-letter.css",
    "labels": "css/paper-labels.css",  # its size comes with each print
}
# What a sheet may be made of, with its media type; all of it stands in the app's own static files.
ALLOWED = {
    "css/sheet.css": "text/css",
    **dict.fromkeys(PAPER_CSS.values(), "text/css"),
    "fonts/atkinson-next-latin.woff2": "font/woff2",
    "fonts/atkinson-next-latin-ext.woff2": "font/woff2",
    "fonts/signs-400.woff2": "font/woff2",
    "fonts/signs-700.woff2": "font/woff2",
}
# The family that the sheet's style sheet declares: with its own files a PDF of ours embeds no other font.
FONTS = "Workshop"


@dataclass(frozen=True)
class Printed:
    pdf: bytes
    pages: int


class LaidOut:
    """A sheet set on its pages: their number is known, the bytes are not made yet (most of the time goes there)."""

    def __init__(self, document: Any):
        self._document = document

    @property
    def pages(self) -> int:
        return len(self._document.pages)

    def printed(self) -> Printed:
        out = io.BytesIO()
        self._document.write_pdf(out, pdf_variant="pdf/ua-1")
        return Printed(out.getvalue(), self.pages)


def print_pdf(template: str, context: Mapping[str, Any], paper: str) -> Printed:
    """Make the PDF of a sheet. Takes some tenths of a second: never inside a transaction. Raises as `lay_out` does."""
    return lay_out(template, context, paper).printed()


def lay_out(template: str, context: Mapping[str, Any], paper: str, css: str = "") -> LaidOut:
    """Set a sheet on its pages; `css` is what is reckoned for this print alone, such as the sizes of labels.

    Raises `weasyprint.urls.FatalURLFetchingError` (a `BaseException`) when the template names anything outside
    `ALLOWED`, and `OSError` where the machine lacks the PDF library (`workshop.checks.pdf_problem`).
    """
    return _set_on_pages(render_to_string(template, {**context, "for_engine": True}), paper, css)


def _set_on_pages(html: str, paper: str, extra: str = "") -> LaidOut:
    from weasyprint import CSS, HTML  # takes 0.3 s and 30 MB: only where something is printed

    # The font library stamps the time of printing into each embedded font; without it the same data gives the
    # same bytes. By the convention of reproducible-builds.org this variable says which time to take.
    os.environ.setdefault("SOURCE_DATE_EPOCH", "0")
    fonts, css, fetcher = _kit(paper)
    page = HTML(string=html, base_url=BASE_URL, url_fetcher=fetcher)
    if extra:
        css = [*css, CSS(string=extra, url_fetcher=fetcher, font_config=fonts)]
    return LaidOut(page.render(stylesheets=css, font_config=fonts))


# Unpacking the fonts and reading the style sheets takes three quarters of printing a page, and is alike for every
# sheet. One set for each thread: the libraries below are not made to be shared. The unpacked fonts lie in the system's
# folder for temporary files, which tidies what is days old: a set is made anew long before.
KEPT_FOR = 3600  # seconds
_kits = threading.local()
# The fonts' folders are removed while Python still stands.
atexit.register(_kits.__dict__.clear)


def _kit(paper: str) -> tuple[Any, list[Any], Any]:
    """Fonts, style sheets and fetcher for this paper, kept for an hour or until a style sheet's file changes."""
    from weasyprint import CSS
    from weasyprint.text.fonts import FontConfiguration

    names = ["css/sheet.css", PAPER_CSS[paper]]
    stamp = [Path(finders.find(name)).stat().st_mtime_ns for name in names]
    kept = _kits.__dict__.get(paper)
    if kept is None or kept[0] != stamp or time.monotonic() - kept[2] > KEPT_FOR:
        fonts, fetcher = FontConfiguration(), _fetcher()
        css = [CSS(url=f"{BASE_URL}{name}", url_fetcher=fetcher, font_config=fonts) for name in names]
        kept = _kits.__dict__[paper] = (stamp, (fonts, css, fetcher), time.monotonic())
    return kept[1]


def qr_svg(address: str, title: str) -> str:
    """A QR code as inline SVG without a style attribute; its title becomes the text for those who don't see it."""
    return qr_code(address, title, border=2)


def qr_code(address: str, title: str, *, border: int) -> str:
    """As `qr_svg`, with a white border of so many modules. Level M of ISO/IEC 18004, or better where it costs no room."""
    import segno

    code = segno.make(address, error="m", micro=False)
    return code.svg_inline(title=title, omitsize=True, border=border)


def in_groups(digest: str, size: int = 4) -> list[str]:
    """A hash as people compare it: in groups of four."""
    return [digest[start : start + size] for start in range(0, len(digest), size)]


def _fetcher():
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class SheetFetcher(URLFetcher):
        def __init__(self) -> None:
            super().__init__(allowed_protocols=("data",), allow_redirects=False)

        def fetch(self, url, headers=None):
            if url.startswith("data:"):
                return super().fetch(url, headers)
            name = url.removeprefix(BASE_URL)
            if not url.startswith(BASE_URL) or name not in ALLOWED:
                # Fatal stops the printing; any other error would print on without what was refused.
                raise FatalURLFetchingError(f"refused {url}")
            body = Path(finders.find(name)).read_bytes()
            return URLFetcherResponse(url, body, {"Content-Type": ALLOWED[name]})

    return SheetFetcher()
