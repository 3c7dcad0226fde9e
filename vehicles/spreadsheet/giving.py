"""Writing CSV for people who open it in a spreadsheet. Pure."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

# The wide forms too: some programs read them like the narrow ones.
_BEGINS_A_FORMULA = frozenset("=+-@\t\r\n＝＋－＠")
_NUMBER = re.compile(r"-?[0-9]+([.,][0-9]+)?\Z")


def plain_cell(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet program would take it for a formula and run it.

    A plain number is none, below zero too.
    """
    begins = text.lstrip(" ")[:1]
    return f"'{text}" if begins in _BEGINS_A_FORMULA and begins and not _NUMBER.match(text) else text


def csv_text(head: Iterable[object], rows: Iterable[Iterable[object]]) -> str:
    """CSV by RFC 4180, with the mark that tells spreadsheet programs that it is UTF-8."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    for row in (head, *rows):
        writer.writerow(["" if cell is None else plain_cell(str(cell)) for cell in row])
    return "\ufeff" + out.getvalue()
