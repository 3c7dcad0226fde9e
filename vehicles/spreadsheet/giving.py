"""Writing CSV for people who open it in a spreadsheet. Pure."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


def neutral(cell: object) -> str:
    """The cell as text that no spreadsheet takes for a formula: it would run what a stranger typed.

    A number stays a number, also a negative one; anything else that begins like a formula gets an apostrophe.
    """
    text = "" if cell is None else str(cell)
    if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\n") and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def csv_text(head: Iterable[object], rows: Iterable[Iterable[object]]) -> str:
    """CSV by RFC 4180, with the mark that tells spreadsheet programs that it is UTF-8."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    for row in (head, *rows):
        writer.writerow([neutral(cell) for cell in row])
    return "\ufeff" + out.getvalue()
