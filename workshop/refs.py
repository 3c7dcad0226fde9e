"""Names for what the log points at. The log keeps keys of cars and jobs; their rooms say what these are called."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Ref:
    label: str
    url: str


Namer = Callable[[set[str]], dict[str, Ref]]
Finder = Callable[[str], Iterable[str]]
_sources: dict[str, tuple[Namer, Finder]] = {}


def add_ref_source(kind: str, names: Namer, find: Finder) -> None:
    """`kind` is "vehicle" or "job". `names` takes keys as text, in one query; `find` gives keys for what was typed."""
    _sources[kind] = (names, find)


def names_of(kind: str, keys: set[str]) -> dict[str, Ref]:
    keys = keys - {""}
    return _sources[kind][0](keys) if keys and kind in _sources else {}


def keys_for(kind: str, text: str) -> list[str]:
    return [str(key) for key in _sources[kind][1](text)] if kind in _sources else []
