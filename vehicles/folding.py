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
    return " ".join("".join(char for char in parts if not unicodedata.combining(char)).split())


def squeezed(text: str) -> str:
    """Folded and without blanks or hyphens: how plates and numbers are found."""
    return "".join(char for char in folded(text) if char.isalnum())
