"""Rows that are found by their words: whatever keeps its folded words in `search_text`."""

from __future__ import annotations

from typing import Self

from django.db import models
from django.db.models import Q

from vehicles.folding import folded, squeezed, too_long_to_search


class FoundByWords(models.QuerySet):
    def search(self, text: str) -> Self:
        """Every word must occur in `search_text`: what that holds, the model says.

        Nothing is found by a text that is too long: the page says so (`too_long_to_search`).
        """
        if too_long_to_search(text):
            return self.none()
        found = self
        for word in dict.fromkeys(folded(text).split()):
            # "06-AB" finds the plate that is kept as "QL 06 AB" too.
            found = found.filter(
                Q(search_text__contains=word) | Q(search_text__contains=squeezed(word) or word)
            )
        return found
