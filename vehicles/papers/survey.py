"""The report of a survey: what was found in each place, what to look into first, and what the parts change."""

from __future__ import annotations

from typing import Any

from vehicles.calculations import kept, told
from vehicles.effects import report_of as effects_of_car
from vehicles.issuing import Asked, Gathered
from vehicles.models import Survey
from vehicles.papers import effects, words
from vehicles.survey_report import Report, report_of
from workshop.engineering.declare import INFORMS

# So many small photos of one finding, and of all.
PHOTOS_EACH, PHOTOS_ALL = 3, 24


def gather(asked: Asked) -> Gathered:
    """Twice a dozen queries, whatever was said."""
    survey: Survey = asked.about
    report = report_of(survey)
    left = PHOTOS_ALL
    findings: dict[str, list[dict[str, Any]]] = {}
    for name, rows in (("not_factory", report.not_factory), ("open_questions", report.open_questions)):
        findings[name] = []
        for row in rows:
            pictures = row["photos"][: min(PHOTOS_EACH, left)]
            left -= len(pictures)
            findings[name].append(_finding(row, pictures))
    body = {
        "car": words.identity(survey.vehicle),
        "survey": _survey(survey, report),
        **findings,
        "first": [_first(one) for one in report.first],
        "effects": effects.told(effects_of_car(survey.vehicle)),
        "calculations": [told(row) for row in kept(survey.calculations.counting())],
        "before": words.day(report.before.made_at) if report.before else "",
        "changes": [{"where": one.where, "was": one.was, "now": one.now} for one in report.changes],
        "silent_now": report.silent_now,
        "not_seen": [
            {
                "place": row["place"].name,
                "where": row["where"],
                "safety": row["place"].safety,
                "note": row["entry"].note,
            }
            for row in report.not_seen
        ],
        "rest": [
            {
                "title": group["title"],
                "rows": [
                    {
                        "place": row["place"].name,
                        "where": row["where"],
                        "note": row["entry"].note if row["entry"] else "",
                    }
                    for row in group["rows"]
                ],
            }
            for group in report.rest
        ],
        "informs": INFORMS,
        "judgement": words.JUDGEMENT,
    }
    counts = {
        "place not as the factory made it|places not as the factory made them": len(body["not_factory"]),
        "open question": len(body["open_questions"]),
        "place that could not be seen|places that could not be seen": len(body["not_seen"]),
        "place spoken of|places spoken of": report.walk.said,
        "result worked out|results worked out": len(body["calculations"]),
    }
    return Gathered(body, counts, {"pictures": words.drawn(body)})


def _survey(survey: Survey, report: Report) -> dict[str, Any]:
    return {
        "begun": words.minute(survey.made_at),
        "on": words.day(survey.made_at),
        "by": str(survey.made_by),
        "finished": words.minute(survey.finished_at),
        "finished_by": str(survey.finished_by or ""),
        "job": str(survey.job or ""),
        "summary": survey.summary,
        "people": report.people,
        "said": report.walk.said,
        "asked": report.walk.asked,
    }


def _finding(row: dict[str, Any], pictures: list) -> dict[str, Any]:
    entry, part = row["entry"], row["part"]
    many = len(row["spots"])
    place = row["place"].name
    if row["where"]:
        place += f", {row['where']}"
    elif many > 1:
        place += f", all {many}"
    return {
        "part": words.part(part, row["evidence"]) if part else None,
        "place": place,
        "note": entry.note,
        "settles": row["settles"] if entry.finding == "open" or (part and part.confidence == "open") else "",
        "raised": [
            {"what": str(fault), "severity": fault.severity, "state": fault.end_words.lower()}
            for fault in row["faults"]
        ]
        + [
            {
                "what": str(item),
                "severity": item.severity,
                "state": item.get_end_display().lower() if item.end else "",
            }
            for item in row["items"]
        ],
        "by": str(entry.made_by),
        "when": words.minute(entry.made_at),
        "pictures": words.named(pictures),
    }


def _first(one) -> dict[str, Any]:
    finding = one.finding
    return {
        "what": finding.what or finding.question or finding.where,
        "where": finding.where,
        "why": one.why,
        "raised": [{"number": row.number, "severity": row.severity} for row in one.raised],
    }
