"""How the event log calls the jobs that it points at."""

from __future__ import annotations

import re

from jobs.models import Job
from workshop.refs import Ref, add_ref_source


def names(keys: set[str]) -> dict[str, Ref]:
    rows = Job.objects.filter(pk__in=keys).only("pk", "origin", "year", "serial")
    return {str(row.pk): Ref(row.number, row.get_absolute_url()) for row in rows}


def find(text: str):
    """By the number as it is printed, 2026-0014; the zeros may be left out."""
    parts = re.fullmatch(r"\s*(\d{4})\s*-\s*(\d{1,6})\s*", text)
    if parts is None:
        return []
    return Job.objects.filter(year=int(parts[1]), serial=int(parts[2])).values_list("pk", flat=True)


def register() -> None:
    add_ref_source("job", names, find)
