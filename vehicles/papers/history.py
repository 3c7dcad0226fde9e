"""The history report: everything the records tell of a car, as one document for whoever reads or buys it.

Without persons and money; with costs it is made for one keeper of today, and names what was paid since the car is
theirs. The rooms above add their own chapters. Every chapter is gathered in a fixed number of queries, whatever the
length of the history.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from vehicles.audience import DEFAULT, Audience, Shows
from vehicles.effects import report_of as effects_of_car
from vehicles.issuing import Asked, Gathered
from vehicles.models import IssuedPrint, PastWork, Vehicle
from vehicles.papers import build, effects, words
from vehicles.plots import PlotShown, plots_of
from workshop.sheets import in_groups

# Photos make a report large: so many of the latest visits' are in it, each small.
PHOTOS_ALL = 60


@dataclass(frozen=True)
class Told:
    """What a room tells: `rows` are plain data, `counts` are counted in them for the words on what changed."""

    rows: list[dict[str, Any]]
    counts: dict[str, int] = field(default_factory=dict)


_tellers: dict[str, Callable[[Vehicle, Audience], Told]] = {}


def add_teller(slug: str, tell: Callable[[Vehicle, Audience], Told]) -> None:
    """`tell(vehicle, audience)` answers a chapter's rows, in a fixed number of queries. The template knows the slug."""
    _tellers[slug] = tell


def audience_of(asked: Asked) -> Audience:
    """Whoever holds it in hand: the technical history, and costs only where it is made for one keeper."""
    if asked.made_for is None:
        return Audience.of_print(DEFAULT)
    return Audience.of_print(DEFAULT | {Shows.COSTS}, since=asked.costs_from)


def gather(asked: Asked) -> Gathered:
    car, audience = asked.vehicle, audience_of(asked)
    told = {slug: tell(car, audience) for slug, tell in _tellers.items()}
    body: dict[str, Any] = {
        "car": words.identity(car),
        "readings": words.readings(car, people=False),
        "registrations": words.registrations(car),
        **build.parts(car, photos_all=0),
        "surveyed": _surveyed(car),
        "effects": effects.told(effects_of_car(car)),
        "outstanding": _outstanding(car),
        "faults": _open_faults(car),
        "past_work": _past_work(car, audience),
        "papers": _papers(asked),
        **{slug: each.rows for slug, each in told.items()},
        "judgement": words.JUDGEMENT,
    }
    plots = plots_of(car, audience)
    counts = {name: count for each in told.values() for name, count in each.counts.items()}
    counts |= {
        "part that is not the factory's|parts that are not the factory's": body["odd"],
        "outstanding item": len(body["outstanding"]),
        "open fault": len(body["faults"]),
        "piece of past work|pieces of past work": len(body["past_work"]),
    }
    return Gathered(
        body, counts, {"pictures": words.drawn(body), "plots": plots}, [_seen(plot) for plot in plots]
    )


def _surveyed(car: Vehicle) -> str:
    survey = car.surveys.filter(finished_at__isnull=False).first()
    return words.day(survey.made_at) if survey else ""


def _outstanding(car: Vehicle) -> list[dict[str, Any]]:
    """What is left to be done, the most severe first. One query."""
    return [
        {
            "number": row.number,
            "title": row.title,
            "detail": row.detail,
            "severity": row.severity,
            "severity_words": row.severity_word,
            "where": row.place.name if row.place else "",
            "why": row.reason_words,
            "since": words.day(row.raised_on),
            "due": row.due_words,
        }
        for row in car.outstanding_items.open().most_severe_first().select_related("place")
    ]


def _open_faults(car: Vehicle) -> list[dict[str, Any]]:
    """One query."""
    return [
        {
            "number": row.number,
            "title": row.title,
            "kind": row.get_kind_display(),
            "severity": row.severity,
            "where": row.where,
            "since": words.day(row.made_at),
        }
        for row in car.faults.without_end().select_related("place").order_by("made_at", "pk")
    ]


def _past_work(car: Vehicle, audience: Audience) -> list[dict[str, Any]]:
    """Done elsewhere, or before there were records here; newest first. One query."""
    rows = PastWork.objects.filter(vehicle=car, entered_in_error="").select_related("odometer__instrument")
    return [
        {
            "when": row.day_words,
            "who": row.who_did,
            "title": row.title,
            "text": row.text,
            "odometer": str(row.odometer or ""),
            "source": row.source,
            "cost": f"{row.amount:.2f}"
            if row.amount is not None and audience.sees(Shows.COSTS) and audience.theirs(row.done_on)
            else "",
        }
        for row in rows
    ]


def _papers(asked: Asked) -> list[dict[str, Any]]:
    """Other numbered prints of the car that anybody may know of, each in its latest revision. One query.

    History reports are left out: one with costs is its keeper's own, and a report that named itself would never say
    the same twice.
    """
    rows = IssuedPrint.objects.filter(vehicle=asked.vehicle, made_for=None).exclude(kind=asked.kind)
    latest: dict[tuple, IssuedPrint] = {}
    for row in rows.order_by("-revision", "-made_at"):
        latest.setdefault((row.kind, row.subject), row)
    return [
        {
            "title": row.title,
            "number": row.number,
            "revision": row.revision,
            "on": words.day(row.made_at),
            "hash": " ".join(in_groups(row.data_hash)[:4]),
        }
        for row in sorted(latest.values(), key=lambda row: (row.kind, row.year, row.serial))
    ]


def _seen(shown: PlotShown) -> dict[str, Any]:
    table = shown.table
    return {
        "slug": shown.slug,
        "title": shown.title,
        "words": shown.words,
        "table": [list(table[0]), [list(row) for row in table[1]]] if table else None,
    }
