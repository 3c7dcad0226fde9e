"""The survey that was part of the visit, in short: how much of the car is not as the factory made it, what is open."""

from __future__ import annotations

from typing import Any

from jobs.models import Job
from jobs.sheets.words import in_days
from vehicles.models import Survey, SurveyEntry
from vehicles.models.survey import SurveyFinding

# The sheet names the first few; the survey's own report holds all.
MOST_QUESTIONS = 6


def surveys(job: Job) -> list[dict[str, Any]]:
    """Finished surveys of the visit, oldest first. Two queries, whatever they hold."""
    finished = list(
        Survey.objects.filter(job=job, finished_at__isnull=False)
        .select_related("finished_by")
        .order_by("made_at")
    )
    if not finished:
        return []
    rows = (
        SurveyEntry.objects.counting()
        .filter(survey__in=finished)
        .select_related("place", "part__place")
        .order_by("made_at")
    )
    # A later entry for the same place counts.
    counts: dict[Any, dict[tuple, SurveyEntry]] = {}
    for row in rows:
        counts.setdefault(row.survey_id, {})[(row.place_id, row.position)] = row
    return [_survey(each, list(counts.get(each.pk, {}).values())) for each in finished]


def _survey(survey: Survey, entries: list[SurveyEntry]) -> dict[str, Any]:
    def having(finding: SurveyFinding) -> list[SurveyEntry]:
        return [entry for entry in entries if entry.finding == finding]

    questions = having(SurveyFinding.OPEN)
    return {
        "when": in_days(survey.finished_at),
        "by": str(survey.finished_by),
        "places": len(entries),
        "not_factory": len(having(SurveyFinding.NOT_FACTORY)),
        "not_seen": len(having(SurveyFinding.NOT_SEEN)),
        "questions": len(questions),
        "asked": [_question(entry) for entry in questions[:MOST_QUESTIONS]],
        "summary": survey.summary,
    }


def _question(entry: SurveyEntry) -> str:
    where = entry.place.with_position(entry.position)
    what = entry.note or (entry.part.description if entry.part else "")
    return f"{where}: {what.rstrip('.')}" if what else where
