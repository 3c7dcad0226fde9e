"""Prints that take longer than somebody likes to wait: made in a thread, while a page says that they are being made.

What became of each is written into a small file beside the database, so that whichever process answers next can tell.
Where the process that made it is gone, the file says so by its number, and the print is asked for again: nothing was
issued, or it was issued whole.
"""

from __future__ import annotations

import json
import logging
import os
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import OperationalError, connection, connections

from workshop.acting import is_busy

logger = logging.getLogger(__name__)

PATIENCE = 8.0  # seconds that the page of the asker waits before it says that the print is being made
KEPT_FOR = 24 * 3600  # seconds that a file tells what became of a print

# Setting a long report takes half a gigabyte: one after the other in each process.
_one_at_a_time = threading.Lock()


@dataclass(frozen=True)
class Making:
    """`state`: making, done (then `print` is its key), refused (then `said` are the sentences) or broken."""

    state: str
    process: int = 0
    print: str = ""
    said: tuple[str, ...] = ()


def start(key: UUID, issue: Callable[[], object]) -> Making:
    """Have it issued: answers what became of it, or after some seconds that it is being made. The same key twice is
    one print."""
    found = state_of(key)
    if found is not None and found.state in ("making", "done"):
        return found
    _forget_old()
    _write(key, Making("making", os.getpid()))
    if connection.in_atomic_block:
        # A thread would see nothing of what this transaction wrote.
        _make(key, issue)
    else:
        maker = threading.Thread(target=_make_apart, args=(key, issue), name=f"print-{key}")
        maker.start()
        maker.join(PATIENCE)
    return state_of(key) or Making("broken")


def state_of(key: UUID) -> Making | None:
    """None where nobody asked for a print under this key, or long ago."""
    try:
        found = json.loads(_file(key).read_text())
    except (OSError, ValueError):
        return None
    state = Making(found["state"], found["process"], found["print"], tuple(found["said"]))
    if state.state == "making" and not _lives(state.process):
        return Making("broken")
    return state


def _make_apart(key: UUID, issue: Callable[[], object]) -> None:
    try:
        with _one_at_a_time:
            _make(key, issue)
    finally:
        connections.close_all()


def _make(key: UUID, issue: Callable[[], object]) -> None:
    try:
        row = issue()
        became = Making("done", os.getpid(), str(row.pk))
    except ValidationError as refused:
        became = Making("refused", os.getpid(), said=tuple(refused.messages))
    except OperationalError as error:
        if not is_busy(error):
            logger.exception("a print was not made")
        became = (
            Making(
                "refused", os.getpid(), said=("The database was busy. Nothing was issued: ask for it again.",)
            )
            if is_busy(error)
            else Making("broken", os.getpid())
        )
    except Exception:
        logger.exception("a print was not made")
        became = Making("broken", os.getpid())
    _write(key, became)


def _folder() -> Path:
    return Path(settings.WORKSHOP_DATA) / "making"


def _file(key: UUID) -> Path:
    return _folder() / f"{UUID(str(key)).hex}.json"


def _write(key: UUID, what: Making) -> None:
    file = _file(key)
    file.parent.mkdir(parents=True, exist_ok=True)
    part = file.with_suffix(f".{threading.get_ident()}")
    part.write_text(json.dumps(asdict(what)))
    part.replace(file)


def _forget_old() -> None:
    for file in _folder().glob("*"):
        try:
            if time.time() - file.stat().st_mtime > KEPT_FOR:
                file.unlink()
        except OSError:
            continue


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
