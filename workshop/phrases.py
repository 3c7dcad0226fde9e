"""Phrases that a shop writes again and again, out of what it wrote: offered while somebody types the same with gloves on.

Nothing with a number in it is offered: a measured value belongs to the car on which it was measured.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

SHORTEST, LONGEST = 8, 120  # characters: shorter is typed as fast as it is tapped, longer is a story
# A use counts half when so many texts were written since: what the shop says today comes before what it once said.
HALF_LIFE = 150

_SENTENCES = re.compile(r"(?<=[.!?;:])\s+|[\r\n]+")
_CLAUSES = re.compile(r",\s+")
_LEAST_WORDS = 2


def phrases(texts: Iterable[str], most: int = 120) -> list[str]:
    """The sentences and clauses of these texts (newest first), the most used and recent first.

    Told apart without regard to capitals and the stop at the end, written as they were written last.
    """
    weight: dict[str, float] = {}
    written: dict[str, str] = {}
    for age, text in enumerate(texts):
        for phrase in dict.fromkeys(_parts(text)):
            key = phrase.casefold()
            weight[key] = weight.get(key, 0) + 0.5 ** (age / HALF_LIFE)
            written.setdefault(key, phrase)
    return [written[key] for key in sorted(weight, key=lambda key: (-weight[key], key))[:most]]


def _parts(text: str) -> Iterable[str]:
    """The sentences of a text, and of those that have several clauses each clause too."""
    for sentence in _SENTENCES.split(text):
        clauses = _CLAUSES.split(sentence)
        for part in (sentence, *(clauses if len(clauses) > 1 else ())):
            phrase = " ".join(part.split()).strip(" .,;:")
            if (
                SHORTEST <= len(phrase) <= LONGEST
                and len(phrase.split()) >= _LEAST_WORDS
                and not any(char.isdigit() for char in phrase)
            ):
                yield phrase
