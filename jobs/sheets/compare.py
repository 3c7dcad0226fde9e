"""What one revision says otherwise than another, field by field, in words. Reads plain data alone; no query.

Works on data of any format: it follows what both hold, and names a field by its own name where it has no words for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

LONGEST = 160
NOTHING = "nothing"

# By what a row of a list is known in both revisions, by the name of the list.
KNOWN_BY: dict[str, tuple[str, ...]] = {
    "lines": ("order", "line"),
    "measurements": ("what", "where"),
    "calculations": ("of_line", "name", "said"),
    "parts": ("where", "kind", "line"),
    "people": ("part",),
    "tellings": ("item", "when"),
    "tests": ("when",),
    "stages": ("name",),
    "each": ("where", "title"),
    "checks": ("when", "method"),
}
TITLES = ("title", "complaint", "line", "what", "name", "item", "part", "where", "state", "answer", "when")

WORDS = {
    "alone": "made alone, because",
    "amount": "amount",
    "applies": "cars that the values are for",
    "asked": "what was asked for",
    "by": "by whom",
    "check": "checked afterwards",
    "complete": "all accounted for",
    "correction": "done",
    "cause": "found",
    "decided": "what was decided",
    "corrected": "what was put right",
    "driven": "what was driven",
    "end": "how it ended",
    "facts": "where it comes from",
    "from": "comes from",
    "in": "odometer when it came",
    "inputs": "worked out from",
    "keys_note": "where the other keys are",
    "number": "number",
    "off": "the old part",
    "on": "what went on",
    "open": "what is open",
    "order": "place in the list",
    "out": "odometer when it left",
    "recorded": "what was recorded",
    "severity_label": "severity",
    "told": "what was told",
    "truth": "true distance",
    "up_to": "authorised up to",
    "verdicts": "result",
    "with": "tool",
}
# Said by another field beside it, or of no use to a reader.
PASSED_OVER = {"severity", "verdict", "fine", "currency"}


def changes(before: dict[str, Any], after: dict[str, Any], titles: dict[str, str]) -> list[dict[str, str]]:
    """Rows {section, what, before, after} for the sections in `titles`, in their order."""
    rows = []
    for name, title in titles.items():
        for path, was, now in _differ(before.get(name), after.get(name), [], name):
            what = ", ".join(path)
            rows.append({"section": title, "what": what, "before": _said(was), "after": _said(now)})
    return rows


def _differ(was: Any, now: Any, path: list[str], name: str) -> Iterator[tuple[list[str], Any, Any]]:
    if was == now:
        return
    # A block that a sheet has only where there is something to say: its rows are new, or gone.
    if isinstance(now, list) and was is None:
        was = []
    if isinstance(was, list) and now is None:
        now = []
    if isinstance(was, dict) and isinstance(now, dict):
        for key in [*now, *(key for key in was if key not in now)]:
            if key not in PASSED_OVER:
                yield from _differ(was.get(key), now.get(key), [*path, _word(key)], key)
    elif isinstance(was, list) and isinstance(now, list):
        yield from _rows_differ(was, now, path, name)
    elif not (was in (None, "", [], {}) and now in (None, "", [], {})):
        yield path, was, now


def _rows_differ(was: list, now: list, path: list[str], name: str) -> Iterator[tuple[list[str], Any, Any]]:
    if not all(isinstance(row, dict) for row in [*was, *now]):
        gone, come = [row for row in was if row not in now], [row for row in now if row not in was]
        if gone or come:
            yield path, gone, come
        return
    before, after = _keyed(was, name), _keyed(now, name)
    # The list's own name says nothing beside the title of its section.
    path = path[:-1] if path and path[-1] == _word(name) else path
    for key, row in after.items():
        where = [*path, _title(row)]
        if key in before:
            yield from _differ(before[key], row, where, name)
        else:
            yield where, None, "new in this revision"
    for key, row in before.items():
        if key not in after:
            yield [*path, _title(row)], "was there", None


def _keyed(rows: list[dict], name: str) -> dict[tuple, dict]:
    """Rows by what they are known by; the same ones twice are told apart by their place."""
    found: dict[tuple, dict] = {}
    for row in rows:
        known = [row[key] for key in KNOWN_BY.get(name, ()) if key in row] or [_title(row)]
        key, turn = (*map(str, known), 0), 0
        while key in found:
            turn += 1
            key = (*key[:-1], turn)
        found[key] = row
    return found


def _title(row: dict[str, Any]) -> str:
    title = next((str(row[key]) for key in TITLES if row.get(key) not in (None, "", [])), "a row")
    return f"{row['order']} {title}" if "order" in row and "complaint" in row else title


def _word(key: str) -> str:
    return WORDS.get(key, key.replace("_", " "))


def _said(value: Any) -> str:
    match value:
        case None | "" | [] | {}:
            text = NOTHING
        case bool():
            text = "yes" if value else "no"
        case list():
            text = "; ".join(_said(each) for each in value)
        case dict():
            text = _title(value)
        case _:
            text = " ".join(str(value).split())
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1].rstrip()}…"
