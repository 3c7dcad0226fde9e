"""The open work lines that a certificate stands for: shown before it is withdrawn."""

from __future__ import annotations

from django.db.models import QuerySet

from jobs.models import Job, WorkLine
from workshop.competence_hooks import list_work_under
from workshop.models import Competence


def register() -> None:
    list_work_under(lines_under)


def lines_under(competence: Competence) -> QuerySet[WorkLine]:
    """Neither done nor dropped, on a job that is not closed: one query."""
    return (
        WorkLine.objects.filter(
            qualified=competence, done_at=None, dropped_because="", job__in=Job.objects.open()
        )
        .select_related("job__vehicle")
        .order_by("job__year", "job__serial", "order")
    )
