"""Triggers that keep append-only tables append-only, on SQLite and PostgreSQL.

Altering a table on SQLite remakes it and drops its triggers without a word, so they are put back after every
migrate and their presence is checked at start (`workshop.E010`).
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass

from django.apps import apps
from django.db import connection as default_connection
from django.db import models


@dataclass(frozen=True)
class Guard:
    """Refuse `operation` on `table` (when `condition` holds) with `message`.

    `condition` is SQL over OLD and NEW that both databases read alike; empty means always.

    Whatever an UPDATE guard refuses, it lets the erasure of a person through: see `frozen`.
    """

    name: str
    table: str
    operation: str  # INSERT, UPDATE or DELETE
    message: str
    condition: str = ""


@dataclass(frozen=True)
class Watch:
    """After each INSERT, UPDATE (of one of `columns`) and DELETE on `table`, write into `into` what was written.

    `into` has the columns kind, record, new: this table's label, the record's key as text, whether it was inserted.
    The key of `table` is the column id. Unlike a guard it refuses nothing.
    """

    table: str
    kind: str
    columns: tuple[str, ...]
    into: str

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(f"{self.table}_watch_{when}" for when in ("insert", "update", "delete"))


_guards: dict[str, Guard] = {}
_watches: dict[str, Watch] = {}
# Tables whose texts a hash is taken of: not even an erasure alters a letter there.
_frozen: set[str] = set()
# Single columns of that kind, in tables whose other texts a person may be erased from.
_frozen_texts: set[tuple[str, str]] = set()
# Tables whose records may go again with the submission that brought them, as long as nothing else hangs on them.
_undone: set[str] = set()


def guard(*guards: Guard) -> None:
    """Register guards: each app does so in its `ready()`."""
    for item in guards:
        _guards[item.name] = item


def watch(item: Watch) -> None:
    """Register a watch: one of a table."""
    _watches[item.table] = item


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


def may_be_undone(*tables: str) -> None:
    """Records here may be deleted by the act that undoes the very submission they came with (see `Undoing`)."""
    _undone.update(tables)


def frozen(*tables: str) -> None:
    """Texts of these tables stay as they are, whoever asks for what (each is bound by a hash)."""
    _frozen.update(tables)


def frozen_texts(table: str, *columns: str) -> None:
    """The same for some columns of a table: a hash is taken of these alone."""
    _frozen_texts.update((table, column) for column in columns)


def is_frozen(table: str, column: str = "") -> bool:
    return table in _frozen or (table, column) in _frozen_texts


def is_words(field: models.Field) -> bool:
    """A column of free text: what somebody typed, that may name a person."""
    return (
        isinstance(field, (models.CharField, models.TextField))
        and not field.choices
        and not field.primary_key
    )


def _only_erasing(table: str) -> str:
    """SQL over OLD and NEW: nothing differs but words that the erasure under way takes out, each as it says.

    `workshop_erasing` holds rows only inside the transaction of that act (see `workshop.erasing`).
    """
    model = next(
        (each for each in apps.get_models(include_auto_created=True) if each._meta.db_table == table), None
    )
    if model is None or table in _frozen:
        return ""
    fields = model._meta.local_concrete_fields
    words = [field.column for field in fields if is_words(field) and not is_frozen(table, field.column)]
    if not words:
        return ""
    same = [f'NEW."{field.column}" IS NOT DISTINCT FROM OLD."{field.column}"' for field in fields
            if field.column not in words]  # fmt: skip
    erased = [
        f'(NEW."{column}" IS NOT DISTINCT FROM OLD."{column}" OR EXISTS (SELECT 1 FROM workshop_erasing e '
        f'WHERE NEW."{column}" = REPLACE(OLD."{column}", e.needle, e.instead)))'
        for column in words
    ]
    return " AND ".join(["EXISTS (SELECT 1 FROM workshop_erasing)", *same, *erased])


def expected() -> set[str]:
    return set(_guards) | {name for item in _watches.values() for name in item.names}


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
        for statement in _create_watches(connection.vendor):
            cursor.execute(statement)


def remove(connection=default_connection) -> None:
    """Take off every trigger of our tables, those of an earlier version too."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT tgname, relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
                "WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace"
            )
        else:
            cursor.execute("SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'")
        for name, table in cursor.fetchall():
            if connection.vendor == "postgresql":
                cursor.execute(f'DROP TRIGGER "{name}" ON "{table}"')
            else:
                cursor.execute(f'DROP TRIGGER "{name}"')


@contextmanager
def lifted(connection=default_connection):
    """For tests that tamper on purpose and for flushing a test database: guards off, then on again."""
    remove(connection)
    try:
        yield
    finally:
        install(connection)


def _condition(item: Guard) -> str:
    """When to refuse; "" is always."""
    if item.operation == "DELETE" and item.table in _undone:
        undoing = 'EXISTS (SELECT 1 FROM workshop_undoing u WHERE u.key = OLD."key")'
        return f"({item.condition or '1 = 1'}) AND NOT ({undoing})"
    erasing = _only_erasing(item.table) if item.operation == "UPDATE" else ""
    if not erasing:
        return item.condition
    return f"({item.condition or '1 = 1'}) AND NOT ({erasing})"


def _create(item: Guard, vendor: str) -> list[str]:
    message = item.message.replace("'", "''")
    condition = _condition(item)
    if vendor == "sqlite":
        when = f"WHEN {condition} " if condition else ""
        return [
            f'CREATE TRIGGER "{item.name}" BEFORE {item.operation} ON "{item.table}" FOR EACH ROW {when}'
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
        ]
    answer = "OLD" if item.operation == "DELETE" else "NEW"
    test = f"IF {condition} THEN RAISE EXCEPTION '%', '{message}' USING ERRCODE = 'integrity_constraint_violation'; END IF;"
    if not condition:
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


def _create_watches(vendor: str) -> list[str]:
    statements = [statement for item in _watches.values() for statement in _create_watch(item, vendor)]
    if vendor == "sqlite":
        return statements
    # One function for every table: PostgreSQL keeps a plan for each that it runs for. All of it in one round trip.
    functions = [
        f'CREATE OR REPLACE FUNCTION "{into}_watch_f"() RETURNS trigger LANGUAGE plpgsql AS $watch$ BEGIN '
        f"IF TG_OP = 'DELETE' THEN "
        f'INSERT INTO "{into}" (kind, record, new) VALUES (TG_ARGV[0], OLD.id::text, false); '
        f'ELSE INSERT INTO "{into}" (kind, record, new) VALUES (TG_ARGV[0], NEW.id::text, '
        f"TG_OP = 'INSERT'); END IF; RETURN NULL; END $watch$"
        for into in sorted({item.into for item in _watches.values()})
    ]
    return ["; ".join([*functions, *statements])] if statements else []


def _create_watch(item: Watch, vendor: str) -> list[str]:
    columns = ", ".join(f'"{column}"' for column in item.columns)
    inserted, updated, deleted = item.names
    cases = (
        (inserted, "INSERT", "NEW", "TRUE"),
        (updated, f"UPDATE OF {columns}", "NEW", "FALSE"),
        (deleted, "DELETE", "OLD", "FALSE"),
    )
    if vendor == "sqlite":
        return [
            f'CREATE TRIGGER "{name}" AFTER {event} ON "{item.table}" FOR EACH ROW BEGIN '
            f"INSERT INTO \"{item.into}\" (kind, record, new) VALUES ('{item.kind}', {row}.id, {new}); END"
            for name, event, row, new in cases
        ]
    return [
        f'CREATE TRIGGER "{name}" AFTER {event} ON "{item.table}" FOR EACH ROW '
        f"EXECUTE FUNCTION \"{item.into}_watch_f\"('{item.kind}')"
        for name, event, _, _ in cases
    ]
