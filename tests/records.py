"""The records read again, as `verify_records` does."""

from __future__ import annotations

from contextlib import closing

from jobs.management.commands import verify_records


def first_problem() -> str | None:
    # Closed at once: on PostgreSQL a half-read result keeps a cursor open in the test's transaction.
    with closing(verify_records.problems()) as problems:
        return next(problems, None)
