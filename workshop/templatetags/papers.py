"""For prints: what a page draws beside the data that it says."""

from __future__ import annotations

from collections.abc import Mapping

from django import template

register = template.Library()


@register.filter
def drawn_of(pictures: Mapping[str, str] | None, name: str) -> str:
    """The picture of this name, as data; empty where there is none to be drawn."""
    return (pictures or {}).get(name, "")
