"""What was outstanding on a car over time, by severity: stacked, told apart by patterns."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

from django.utils import timezone

from vehicles.models import OutstandingItem, Severity, Vehicle
from vehicles.plots import (
    MOST_ROWS,
    PERIOD_WORDS,
    PlotShown,
    day_said,
    nothing_to_draw,
    period_of,
    shown,
)
from workshop.engineering.plot import Axis, Band, Plot
from workshop.engineering.plot_days import DayAxis, day_axis

if TYPE_CHECKING:
    from vehicles.audience import Audience

SLUG, TITLE = "outstanding", "What was outstanding over time"
# The more severe, the darker; in outline and strokes, so that grey print tells them apart.
PATTERNS = {
    Severity.DANGEROUS: "solid",
    Severity.MAJOR: "cross",
    Severity.MINOR: "slant",
    Severity.ADVICE: "plain",
}


@dataclass(frozen=True)
class Open:
    """One item: from the day on which it was written down to the day on which it ended; None: it is open."""

    severity: str
    since: date
    until: date | None


def counts(items: list[Open], last: date) -> list[tuple[date, dict[str, int]]]:
    """How many were open from each day of a change on, by severity; at the end the last day with what is open then."""
    days = {one.since for one in items} | {one.until for one in items if one.until is not None} | {last}
    return [
        (
            day,
            {
                severity: sum(
                    one.severity == severity and one.since <= day and (one.until is None or one.until > day)
                    for one in items
                )
                for severity in PATTERNS
            },
        )
        for day in sorted(days)
        if day <= last
    ]


def items_plot(items: list[Open], last: date) -> PlotShown:
    """`last` is the day up to which is drawn."""
    items = [one for one in items if one.since <= last]
    if not items:
        return nothing_to_draw(SLUG, TITLE, "nothing has been outstanding on this car so far")
    steps = counts(items, last)
    days = day_axis(steps[0][0], last)
    highest = max(sum(of.values()) for _, of in steps)
    step = -(-highest // 5) or 1
    top = max(step * -(-highest // step), 2)
    used = [severity for severity in PATTERNS if any(of[severity] for _, of in steps)]
    rows, period = _fewer(steps)
    return shown(
        SLUG,
        Plot(
            slug=SLUG,
            title=TITLE,
            x=days.axis,
            y=Axis("Items open", 0.0, float(top), tuple((float(n), str(n)) for n in range(0, top + 1, step))),
            summary=" ".join(_summary(steps, period)),
            bands=tuple(_bands(steps, used, days)),
            head=("From", *(Severity(severity).label for severity in used), "Together"),
            rows=tuple(
                (day_said(day), *(str(of[severity]) for severity in used), str(sum(of.values())))
                for day, of in rows
            ),
        ),
    )


def _fewer(steps: list) -> tuple[list, int]:
    found, months = steps, 0
    for months in PERIOD_WORDS if len(steps) > MOST_ROWS else ():
        found = list({period_of(day, months): (day, of) for day, of in steps}.values())
        if len(found) <= MOST_ROWS:
            break
    return found, months


def _bands(steps: list, used: list[Severity], days: DayAxis) -> Iterator[Band]:
    """Each severity on top of the more severe ones, in a piece for each time in which there were any."""
    for place, severity in enumerate(used):
        lower: list[tuple[float, float]] = []
        upper: list[tuple[float, float]] = []
        for (day, of), (until, _) in pairwise(steps):
            if of[severity]:
                below = float(sum(of[each] for each in used[:place]))
                ends = days.at(day), days.at(until)
                lower += [(x, below) for x in ends]
                upper += [(x, below + of[severity]) for x in ends]
            elif lower:
                yield Band(severity.label, tuple(lower), tuple(upper), PATTERNS[severity])
                lower, upper = [], []
        if lower:
            yield Band(severity.label, tuple(lower), tuple(upper), PATTERNS[severity])


def _summary(steps: list, months: int) -> Iterator[str]:
    last, now = steps[-1]
    total = sum(now.values())
    said = [f"{now[severity]} {severity.label.lower()}" for severity in PATTERNS if now[severity]]
    yield (
        f"On {day_said(last)} {total} {'is' if total == 1 else 'are'} open: {', '.join(said)}."
        if total
        else f"On {day_said(last)} nothing is open."
    )
    day, most = max(steps, key=lambda step: sum(step[1].values()))
    if sum(most.values()) > total:
        yield f"The most were {sum(most.values())}, from {day_said(day)}."
    yield "Each is counted with the severity that it has now."
    if months:
        each = PERIOD_WORDS[months]
        yield f"The table gives the last change of each {each}."


def gather(vehicle: Vehicle, audience: Audience | None) -> Iterator[PlotShown]:
    """One query."""
    last = timezone.localdate()
    if audience is not None:
        from vehicles.audience import Shows

        if not audience.sees(Shows.OUTSTANDING):
            return
        if audience.until is not None:
            last = min(last, audience.until)
    rows = OutstandingItem.objects.filter(vehicle=vehicle).values_list("severity", "raised_on", "ended_at")
    yield items_plot(
        [Open(severity, since, timezone.localdate(end) if end else None) for severity, since, end in rows],
        last,
    )
