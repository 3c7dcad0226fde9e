"""Triggers that keep append-only tables append-only, on SQLite and PostgreSQL.

Altering a table on SQLite remakes it and drops its triggers without a word, so they are put back after every
migrate and their presence is checked at start (`workshop.E010`).
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass

from django.db import connection as default_connection


@dataclass(frozen=True)
class Guard:
    """Refuse `operation` on `table` (when `condition` holds) with `message`.

    `condition` is SQL over OLD and NEW that both databases read alike; empty means always.
    """

    name: str
    table: str
    operation: str  # INSERT, UPDATE or DELETE
    message: str
    condition: str = ""


_guards: dict[str, Guard] = {}


def guard(*guards: Guard) -> None:
    """Register guards: each app does so in its `ready()`."""
    for item in guards:
        _guards[item.name] = item


def append_only(table: str, message: str) -> None:
    """Refuse every UPDATE and DELETE on a table."""
    guard(
        Guard(f"{table}_no_update", table, "UPDATE", message),
        Guard(f"{table}_no_delete", table, "DELETE", message),
    )


def never_deleted(table: str, message: str) -> None:
    """Refuse DELETE, unless the table has a guard of its own for it."""
    if (name := f"{table}_no_delete") not in _guards:
        guard(Guard(name, table, "DELETE", message))


def expected() -> set[str]:
    return set(_guards)


def installed(connection=default_connection) -> set[str]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        return {row[0] for row in cursor.fetchall()}


def install(connection=default_connection) -> None:
    """Put every guard in place; safe to repeat."""
    remove(connection)
    with connection.cursor() as cursor:
        for item in _guards.values():
            for statement in _create(item, connection.vendor):
                cursor.execute(statement)


def remove(connection=default_connection) -> None:
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        for item in _guards.values():
            if item.table not in tables:
                continue
            if connection.vendor == "postgresql":
                cursor.execute(f'DROP TRIGGER IF EXISTS "{item.name}" ON "{item.table}"')
                cursor.execute(f'DROP TRIGGER IF EXISTS "{item.table}_no_truncate" ON "{item.table}"')
            else:
                cursor.execute(f'DROP TRIGGER IF EXISTS "{item.name}"')


@contextmanager
def lifted(connection=default_connection):
    """For tests that tamper on purpose and for flushing a test database: guards off, then on again."""
    remove(connection)
    try:
        yield
    finally:
        install(connection)


def _create(item: Guard, vendor: str) -> list[str]:
    message = item.message.replace("'", "''")
    if vendor == "sqlite":
        when = f"WHEN {item.condition} " if item.condition else ""
        return [
            f'CREATE TRIGGER "{item.name}" BEFORE {item.operation} ON "{item.table}" FOR EACH ROW {when}'
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
        ]
    answer = "OLD" if item.operation == "DELETE" else "NEW"
    test = f"IF {item.condition} THEN RAISE EXCEPTION '%', '{message}' USING ERRCODE = 'integrity_constraint_violation'; END IF;"
    if not item.condition:
        test = f"RAISE EXCEPTION '%', '{message}' USING ERRCODE = 'integrity_constraint_violation';"
    statements = [
        # A WHEN clause may hold no subquery on PostgreSQL, so the condition stands in the function.
        f'CREATE OR REPLACE FUNCTION "{item.name}_f"() RETURNS trigger LANGUAGE plpgsql AS $guard$ '
        f"BEGIN {test} RETURN {answer}; END $guard$",
        f'CREATE TRIGGER "{item.name}" BEFORE {item.operation} ON "{item.table}" '
        f'FOR EACH ROW EXECUTE FUNCTION "{item.name}_f"()',
    ]
    if item.operation == "DELETE" and not item.condition:
        statements += [
            f'DROP TRIGGER IF EXISTS "{item.table}_no_truncate" ON "{item.table}"',
            f'CREATE TRIGGER "{item.table}_no_truncate" BEFORE TRUNCATE ON "{item.table}" '
            f'FOR EACH STATEMENT EXECUTE FUNCTION "{item.name}_f"()',
        ]
    return statements
