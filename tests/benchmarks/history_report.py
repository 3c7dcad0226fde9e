"""What the history report of a car with 400 visits costs: `python -m tests.benchmarks.history_report [JOBS [MADE]]`.

The visits are made by the tests' own factories, all invented, in a database that is thrown away: each with a line of
work, its cause and what was done, two measurements and a handover sheet, each fifth with a tightening. That takes a
second or two for each visit. With MADE, only so many are made and gathered, and what they say is repeated until it is
JOBS visits: it measures the setting alone. Prints the processor's seconds for each step, queries, pages, bytes, and the
most memory that the process held before the setting and after.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from decimal import Decimal

JOBS = 400


def main(jobs: int, make: int) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    import django
    from django.conf import settings

    settings.MIGRATION_MODULES = {app.rpartition(".")[2]: None for app in settings.INSTALLED_APPS}
    django.setup()
    from django.db import connection, transaction
    from django.test.utils import CaptureQueriesContext, setup_databases, setup_test_environment

    setup_test_environment()
    setup_databases(verbosity=0, interactive=False)
    begun = time.process_time()
    with transaction.atomic():
        car, lead = made(make)
    print(f"{time.process_time() - begun:8.1f} s  to make {make} visits by acts")

    from tests.people import by
    from vehicles import issuing
    from vehicles.acts import issued as acts

    asked = issuing.Asked("history", car, car)
    begun = time.process_time()
    with CaptureQueriesContext(connection) as queries:
        gathered = issuing.kind_of("history").gather(asked)
    print(f"{time.process_time() - begun:8.1f} s  to gather, {len(queries)} queries")
    visits = gathered.body["visits"]
    gathered.body["visits"] = (visits * (jobs // len(visits) + 1))[:jobs]
    before = peak()
    begun = time.process_time()
    made_of = issuing.make(
        asked, gathered, at=by(lead).made_at, token="x" * 22, serial=1, year=2026, latest=None
    )
    printed = made_of.printed()
    print(f"{time.process_time() - begun:8.1f} s  to set")
    print(
        f"{printed.pages:8d}    pages, {len(printed.pdf) / 1e6:.2f} MB, {len(made_of.data) / 1e6:.2f} MB of data"
    )
    print(f"{before:8.0f} MB at most before, {peak():.0f} MB after")
    if make < jobs:
        return
    begun = time.process_time()
    row = acts.issue(by=by(lead), kind="history", vehicle=car)
    print(f"{time.process_time() - begun:8.1f} s  to issue {row}, all together")
    begun = time.process_time()
    again = acts.issue(by=by(lead), kind="history", vehicle=car)
    print(
        f"{time.process_time() - begun:8.1f} s  asked for again: {'the same' if again.pk == row.pk else 'another'}"
    )


def made(jobs: int):
    """A car with its visits, and the lead who made them."""
    from jobs.acts import handover as handover_acts
    from jobs.acts import job as job_acts
    from jobs.acts import measurement, torque
    from tests.factories import handover
    from tests.factories.job import CheckInFactory, JobFactory
    from tests.factories.procedure import ProcedureFactory
    from tests.factories.run import RunFactory, click_all
    from tests.factories.tool import ToolFactory
    from tests.factories.vehicle import the_car
    from tests.factories.work import owner_of
    from tests.people import CAST, by, make_person
    from tests.quick_print import QuickPrint
    from workshop import acting, sheets
    from workshop.engineering.units import Amount

    def km(number: int) -> Amount:
        return Amount(Decimal(20_000 + 500 * number), "km")

    lead = make_person(*CAST["lead"])
    car = the_car(lead)
    keeper = owner_of(car, lead)
    procedure, tool = ProcedureFactory(person=lead), ToolFactory(person=lead)
    # Neither the handover sheets nor the index of words is what is measured.
    real, sheets._set_on_pages = sheets._set_on_pages, QuickPrint
    acting._at_end.clear()
    for number in range(jobs):
        job = JobFactory(person=lead, vehicle=car, payer=keeper, authoriser=keeper,
                         title=f"Visit {number + 1}: brakes squeal, service due")  # fmt: skip
        CheckInFactory(person=lead, job=job, keys=2, brought_by=keeper, odometer=km(number))
        job_acts.move(by=by(lead), job=job, to_state="in_work")
        job.refresh_from_db()
        line = handover.done_line(
            job, keeper, lead,
            cause="Pads worn to 2 mm, the left disc with a step at its edge. " * 2,
            correction="Pads and discs renewed, guides cleaned and greased, fluid topped up, brakes run in. " * 3,
        )  # fmt: skip
        for phase, value in (("before", "2.1"), ("after", "11.8")):
            measurement.measure(
                by=by(lead), line=line, what="Pad, front left", phase=phase, reading=Amount(Decimal(value), "mm"),
                low=Decimal(3), limit_source="maker's workshop data, sheet 12",
            )  # fmt: skip
        if number % 5 == 0:
            run = RunFactory(person=lead, line=line, procedure=procedure)
            click_all(lead, run, tool)
            torque.complete_run(by=by(lead), run=run)
        handover.finish(line, lead)
        handover.to_final_checks(job, lead)
        handover_acts.call_ready(by=by(lead), job=job)
        handover_acts.hand_over(by=by(lead), job=job, **handover.leaving(keeper, odometer=km(number)))
    sheets._set_on_pages = real
    return car, lead


def peak() -> float:
    """The most memory that the process held so far, in MB (Linux: kilobytes from the system)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    asked_for = [int(text) for text in sys.argv[1:]] or [JOBS]
    main(asked_for[0], asked_for[-1])
