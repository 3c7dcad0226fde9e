"""Folding text for search: the same on both databases, because it is done here and not by them."""

from __future__ import annotations

import unicodedata

# A search is a few words: what is longer was pasted by mistake, and a database would work on it for long.
MOST_ASKED = 200


def too_long_to_search(text: str) -> bool:
    """Judged on the folded text: some single characters fold into whole sentences."""
    return len(text) > MOST_ASKED or len(folded(text)) > MOST_ASKED


def folded(text: str) -> str:
    """Case and accents taken off: "KÜHLER" and "kuhler" fold alike."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    # Once more: some signs fall apart into capitals ("™" into "TM"), which one database tells apart and one does not.
    return " ".join("".join(char for char in parts if not unicodedata.combining(char)).casefold().split())


def folded_with_places(text: str) -> tuple[str, list[int]]:
    """The same with, for each of its characters, where in `text` that stands, and at last where the text ends.

    A blank stands where the first of the blanks does that it is for.
    """
    chars: list[str] = []
    places: list[int] = []
    for place, char in enumerate(text):
        for part in unicodedata.normalize("NFKD", char.casefold()):
            if unicodedata.combining(part):
                continue
            for each in part.casefold():
                if each.isspace():
                    if chars and chars[-1] != " ":
                        chars.append(" ")
                        places.append(place)
                else:
                    chars.append(each)
                    places.append(place)
    if chars and chars[-1] == " ":
        chars.pop()
        places.pop()
    return "".join(chars), [*places, len(text)]


def squeezed(text: str) -> str:
    """Folded and without blanks or hyphens: how plates and numbers are found."""
    return "".join(char for char in folded(text) if char.isalnum())
