"""From the bytes of a CSV file to a table of texts, within limits. Pure."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

MOST_BYTES = 6_000_000
MOST_ROWS = 5_000
MOST_COLUMNS = 60
MOST_IN_A_CELL = 4_000
_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}


class BadFile(Exception):
    """A file that is no list; the sentence says what to do."""


@dataclass(frozen=True)
class Table:
    """`rows` are (line of the file, cells); a row may be shorter or longer than `head`."""

    head: list[str]
    rows: list[tuple[int, list[str]]]
    delimiter: str

    @property
    def delimiter_name(self) -> str:
        return _DELIMITERS[self.delimiter]


def text_of(data: bytes, size: int | None = None) -> str:
    """The text of the file: UTF-8 or UTF-16 with its mark, else as Windows writes it in Western Europe.

    `size` is that of the whole file where `data` is only its beginning.
    """
    if len(data) > MOST_BYTES:
        raise BadFile(
            f"This file has {(size or len(data)) / 1e6:.1f} MB; at most {MOST_BYTES // 10**6} MB are taken at once. "
            "Split the list, for instance by years."
        )
    if data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise BadFile(
            "This is a spreadsheet program's own file. Open it there, save the sheet as CSV (UTF-8), and send that."
        )
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    for code in ["utf-16"] if marked else ["utf-8-sig", "cp1252"]:
        try:
            text = data.decode(code)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise BadFile("This is no text: save the sheet as CSV (UTF-8) and send that.")


def table_of(text: str) -> Table:
    """Head and rows. Empty rows are left out; the line of each row is where it begins in the file."""
    delimiter = _delimiter_of(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    head: list[str] | None = None
    rows: list[tuple[int, list[str]]] = []
    begun = 1
    try:
        for cells in reader:
            line, begun = begun, reader.line_num + 1
            tidy = [cell.strip() for cell in cells]
            if not any(tidy):
                continue
            if head is None:
                head = _head(tidy)
                continue
            if len(rows) == MOST_ROWS:
                raise BadFile(
                    f"This list has more than {MOST_ROWS} rows, and at most so many are taken at once. Split it, for "
                    "instance by years, and take in one part after the other."
                )
            rows.append((line, tidy))
    except csv.Error as error:
        raise BadFile(
            f"Line {reader.line_num} can't be read as CSV ({error}). Often a quotation mark is left open there."
        ) from error
    if head is None:
        raise BadFile("This file is empty.")
    if not rows:
        raise BadFile("This file has a head and no row below it.")
    return Table(head, rows, delimiter)


def _head(cells: list[str]) -> list[str]:
    while cells and not cells[-1]:
        cells.pop()
    if len(cells) > MOST_COLUMNS:
        raise BadFile(f"This list has {len(cells)} columns; at most {MOST_COLUMNS} are read.")
    return cells


def _delimiter_of(text: str) -> str:
    """What parts the first line into most cells; a separator inside quotation marks does not count."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    outside = "".join(first.split('"')[::2])
    return max(_DELIMITERS, key=outside.count)
