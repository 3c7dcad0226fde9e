"""What the parts that are not the factory's change, as plain data: the topics with their rows, without the curves."""

from __future__ import annotations

from typing import Any

from vehicles.effects import EffectReport, Named, ShownTopic


def told(report: EffectReport) -> dict[str, Any]:
    """{topics, sentences, outside}. No query."""
    return {
        "topics": [_topic(topic) for topic in report.topics],
        "sentences": list(report.sentences),
        "outside": [
            {"what": one.row.what, "now": one.row.now, "limit": one.row.limit, "topic": topic.topic.title}
            for topic, one in report.outside
        ],
    }


def _topic(shown: ShownTopic) -> dict[str, Any]:
    topic = shown.topic
    return {
        "title": topic.title,
        "cautions": list(topic.cautions),
        "parts": _named(shown.parts),
        "rows": [
            {
                "what": one.row.what,
                "factory": one.row.factory,
                "now": one.row.now,
                "change": one.row.change,
                "limit": one.row.limit,
                "limit_source": one.row.limit_source,
                "standing": one.row.standing.label,
                "outside": one.outside,
                "verdict": one.row.verdict,
                "parts": _named(one.parts),
            }
            for one in shown.rows
        ],
        "notes": list(topic.notes),
        "assumptions": list(topic.assumptions),
        "missing": [{"label": one.label, "why": one.why} for one in topic.missing]
        if shown.missing or shown.asked
        else [],
    }


def _named(parts: tuple[Named, ...]) -> list[str]:
    return [f"{part.what} ({part.many})" if part.many > 1 else part.what for part in parts]
