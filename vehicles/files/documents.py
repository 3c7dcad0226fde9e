"""Documents: only PDF, told by its content, kept byte by byte. What it holds is never run nor shown in this site."""

from __future__ import annotations

from typing import BinaryIO

from vehicles.files.pictures import Refused

MOST_BYTES = 20 * 1024 * 1024


def looks_like_pdf(file: BinaryIO) -> bool:
    """ISO 32000-1, 7.5.2: the header is "%PDF-"; readers look for it in the first 1024 bytes (its Annex H)."""
    file.seek(0)
    head = file.read(1024)
    file.seek(0)
    return b"%PDF-" in head


def read_document(file: BinaryIO) -> bytes:
    """The bytes of a whole PDF. Raises `Refused` where its end is missing (ISO 32000-1, 7.5.5: "%%EOF")."""
    file.seek(0)
    data = file.read()
    tail = data[-2048:]
    if b"%%EOF" not in tail or b"startxref" not in tail:
        raise Refused("The PDF is cut off: its end is missing. Fetch or scan it again, then send it.")
    return data
