"""Printed sheets: from a template and its data to the bytes of a tagged PDF.

Nothing outside the list of allowed files is read and nothing is fetched: a sheet holds what people typed, and
that could name a file of this machine or an address of another.
"""

from __future__ import annotations

import io
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

BASE_URL = "https://sheet.invalid/"
PAPER_CSS = {"A4": "css/paper-a4.css", "Letter": "css/paper-letter.css"}
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


def print_pdf(template: str, context: Mapping[str, Any], paper: str) -> Printed:
    """Make the PDF of a sheet. Takes about half a second: never inside a transaction.

    Raises `weasyprint.urls.FatalURLFetchingError` (a `BaseException`) when the template names anything outside
    `ALLOWED`, and `OSError` where the machine lacks the PDF library (`workshop.checks.pdf_problem`).
    """
    from weasyprint import HTML  # takes 0.3 s and 30 MB: only where something is printed

    # The font library stamps the time of printing into each embedded font; without it the same data gives the
    # same bytes. By the convention of reproducible-builds.org this variable says which time to take.
    os.environ.setdefault("SOURCE_DATE_EPOCH", "0")
    html = render_to_string(template, {**context, "sheet_css": ["css/sheet.css", PAPER_CSS[paper]]})
    document = HTML(string=html, base_url=BASE_URL, url_fetcher=_fetcher()).render()
    out = io.BytesIO()
    document.write_pdf(out, pdf_variant="pdf/ua-1")
    return Printed(out.getvalue(), len(document.pages))


def qr_svg(address: str, title: str) -> str:
    """A QR code as inline SVG without a style attribute; its title becomes the text for those who don't see it."""
    import segno

    code = segno.make(address, error="m", micro=False)
    return code.svg_inline(title=title, omitsize=True, border=2)


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
            with open(finders.find(name), "rb") as file:  # noqa: PTH123 – a path as the finder gives it
                return URLFetcherResponse(url, file.read(), {"Content-Type": ALLOWED[name]})

    return SheetFetcher()
