"""What a sheet's PDF says, read back by an independent reader."""

from __future__ import annotations

import io

from pypdf import PdfReader

from jobs.models import SheetRevision


def reader(revision: SheetRevision) -> PdfReader:
    return PdfReader(io.BytesIO(bytes(revision.text.pdf)))


def text(revision: SheetRevision, pages=None) -> str:
    found = reader(revision).pages
    return " ".join(" ".join(page.extract_text().split()) for page in (found[pages] if pages else found))


def fonts(pdf: PdfReader) -> set[str]:
    return {
        str(font.get_object()["/BaseFont"]).removeprefix("/").partition("+")[2]
        for page in pdf.pages
        for font in page["/Resources"].get_object()["/Font"].get_object().values()
    }
