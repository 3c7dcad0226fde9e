"""What needs a person's certificate now: other rooms register here, and the page that withdraws one warns with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from workshop.models import Competence

    Lister = Callable[[Competence], Iterable[Any]]

_listers: list[Lister] = []


def list_work_under(lister: Lister) -> Lister:
    """Register what lists the open work that names this certificate: objects with text and `get_absolute_url`.

    Registering twice is harmless.
    """
    if lister not in _listers:
        _listers.append(lister)
    return lister


def work_under(competence: Competence) -> list[Any]:
    return [work for lister in _listers for work in lister(competence)]
