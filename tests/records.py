"""The records read again, as `verify_records` does."""

from __future__ import annotations

from contextlib import closing

from jobs.management.commands import verify_records
from vehicles import words


def first_problem() -> str | None:
    words.index_due()  # in tests without the mark `words` it waits
    # Closed at once: on PostgreSQL a half-read result keeps a cursor open in the test's transaction.
    with closing(verify_records.problems()) as problems:
        return next(problems, None)
