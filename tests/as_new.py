"""The database as it was before the first test, brought back after each one that really commits.

On SQLite a copy in memory is laid over the file, with its triggers and the rows that every installation has: some
milliseconds, where a flush takes more than a second. On PostgreSQL it is flushed; append-only tables refuse that, so
their guards are lifted around it, and `post_migrate` after it brings back those rows.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing

from django.db import connection

from workshop import triggers

_copies: list[sqlite3.Connection] = []


def keep() -> None:
    """Before the first test."""
    if connection.vendor == "sqlite":
        copy = sqlite3.connect(":memory:")
        connection.ensure_connection()
        connection.connection.backup(copy)
        _copies.append(copy)


def forget() -> None:
    while _copies:
        _copies.pop().close()


def bring_back(flush: Callable[[], None]) -> None:
    if _copies:
        # A connection of its own: whatever the test left open on Django's does not stand in the way.
        with closing(sqlite3.connect(connection.settings_dict["NAME"], timeout=10)) as file:
            file.execute("PRAGMA synchronous=OFF")
            _copies[-1].backup(file)
    else:
        with triggers.lifted():
            flush()
