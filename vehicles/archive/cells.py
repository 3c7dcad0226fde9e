"""Cells of a table that a spreadsheet program opens: what it would take for a formula is made plain text."""

from __future__ import annotations

import re

# The wide forms too: some programs read them like the narrow ones.
_BEGINS_A_FORMULA = frozenset("=+-@\t\r\n＝＋－＠")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?\Z")


def plain_cell(text: str) -> str:
    """The text with an apostrophe before it where it begins like a formula. A plain number is none, below zero too."""
    begins = text.lstrip(" ")[:1]
    return f"'{text}" if begins in _BEGINS_A_FORMULA and begins and not _NUMBER.match(text) else text
