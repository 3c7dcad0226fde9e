"""A print that takes no time, for tests that do not read what is printed."""

from __future__ import annotations

from workshop import sheets
from workshop.canonical import sha256


class QuickPrint:
    """Stands in for the PDF engine where a test does not read what is printed: one page, told apart by its data."""

    pages = 1

    def __init__(self, html: str, paper: str, css: str = ""):
        self.said = sha256(f"{paper} {html}{css}")

    def printed(self) -> sheets.Printed:
        return sheets.Printed(f"%PDF-1.7\n% {self.said}\n%%EOF\n".encode(), self.pages)
