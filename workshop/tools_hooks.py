"""What other rooms do when a torque tool turns out to have been wrong: they register here, and are called
in the act.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from workshop.acting import By
    from workshop.models import TorqueTool

    Hook = Callable[[By, TorqueTool, date | None], None]
    Lister = Callable[[TorqueTool, date | None, datetime], Iterable[Any]]

_hooks: list[Hook] = []
_listers: list[Lister] = []


def on_tool_failed(hook: Hook) -> Hook:
    """Register `hook(by, tool, since)`: called inside the act, so that it is written together or not at all.

    `since` is the day of the last good calibration; None where there was none. Registering twice is harmless.
    """
    if hook not in _hooks:
        _hooks.append(hook)
    return hook


def tool_failed(by: By, tool: TorqueTool, since: date | None) -> None:
    for hook in _hooks:
        hook(by, tool, since)


def list_runs_with(lister: Lister) -> Lister:
    """Register what lists the runs in doubt for the tool's page: objects with text, `get_absolute_url`,
    `meta`.
    """
    if lister not in _listers:
        _listers.append(lister)
    return lister


def runs_of(tool: TorqueTool, since: date | None, until: datetime) -> list[Any]:
    return [run for lister in _listers for run in lister(tool, since, until)]
