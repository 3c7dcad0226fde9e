"""Services and roadworthiness tests in a car's history: each stands where it was done."""

from __future__ import annotations

from collections.abc import Iterator

from vehicles.models import Vehicle
from vehicles.timeline import Entry, Source, Window, add_source, at_day

KIND, LABEL = "service", "Services and tests"


def services(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.maintenance_done.filter(entered_in_error="").select_related(
        "interval", "work_line__job", "reading__instrument", "made_by"
    )
    for row in window.few(rows):
        how = [row.interval.every_words, row.elsewhere, row.source_words]
        yield Entry(
            at_day(row.done_on, row.made_at), row.pk, str(row), " · ".join(filter(None, how)),
            row.get_absolute_url(), by=f"written down by {row.made_by}", job=row.work_line and row.work_line.job,
            figure=str(row.reading or ""),
        )  # fmt: skip


def tests(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    rows = vehicle.roadworthiness_tests.filter(entered_in_error="").select_related(
        "reading__instrument", "made_by"
    )
    for row in window.few(rows):
        told = [
            row.by_whom,
            row.certificate and f"certificate {row.certificate}",
            row.deficiencies,
            row.source_words,
        ]
        title = str(row)
        yield Entry(
            at_day(row.done_on, row.made_at), row.pk, title[:1].upper() + title[1:], " · ".join(filter(None, told)),
            row.get_absolute_url(), by=f"written down by {row.made_by}", figure=str(row.reading or ""),
            severity="" if row.is_passed else row.result,
        )  # fmt: skip


add_source(Source("service-done", KIND, LABEL, services, person="made_by"))
add_source(Source("roadworthiness-test", KIND, LABEL, tests, person="made_by"))
