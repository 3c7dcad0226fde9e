"""What the due list of a shop with many cars costs: `python -m tests.benchmarks.due_list [CARS]`.

A database in memory with 400 cars (or so many), each with 40 readings, three items, a plan of five services of which two
were done, and a roadworthiness test. Printed are the milliseconds and queries of the list, of the calendar made
anew, and of a calendar that is asked for again unchanged, as a calendar program does every hour.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any
from uuid import uuid4

READINGS, RUNS = 40, 5


def made(person: Any, cars: int) -> None:
    """Rows as the acts would leave them, written in bulk: what is measured is the reading."""
    from django.utils import timezone

    from vehicles import models as m

    now, today = timezone.now(), timezone.localdate()

    def stamp(days: int = 0) -> dict[str, Any]:
        at = now - timedelta(days=days)
        return {"made_at": at, "received_at": at, "made_by": person, "key": uuid4()}

    sheet = m.DataSheet.objects.create(**stamp(), name="Veldt 2.4")
    plan = [
        m.MaintenanceInterval(
            **stamp(), sheet=sheet, line=f"work {n}", title=f"Work {n}", every_km=Decimal(10_000 * (n + 1)),
            every_unit="km", every_months=12 * (n + 1), source="maker", source_words="service book",
        )
        for n in range(5)
    ]  # fmt: skip
    m.MaintenanceInterval.objects.bulk_create(plan)
    rows: dict[type, list] = {
        kind: []
        for kind in (m.Vehicle, m.SheetOfVehicle, m.Registration, m.Instrument, m.OdometerReading, m.OutstandingItem,
                     m.MaintenanceDone, m.RoadworthinessTest)
    }  # fmt: skip
    for number in range(cars):
        car = m.Vehicle(
            **stamp(), make="Veldt", model="2.4", year=2014, number=f"FRAME{number:06d}", identity_key=f"veldt|{number}"
        )  # fmt: skip
        rows[m.Vehicle].append(car)
        rows[m.SheetOfVehicle].append(m.SheetOfVehicle(**stamp(), vehicle=car, sheet=sheet, because="plate"))
        rows[m.Registration].append(
            m.Registration(
                **stamp(),
                vehicle=car,
                plate=f"TAR {number}",
                plate_key=f"TAR{number}",
                from_on=today - timedelta(days=3000),
            )
        )
        one = m.Instrument(**stamp(3000), vehicle=car, order=1, unit="km", first=Decimal(0))
        rows[m.Instrument].append(one)
        seen = [
            m.OdometerReading(
                **stamp(days), vehicle=car, instrument=one, read_at=now - timedelta(days=days),
                value=Decimal((3000 - days) * (20 + (number * 7 + days) % 13)),
            )
            for days in range(3000, 3000 - READINGS * 74, -74)
        ]  # fmt: skip
        for before, after in pairwise(seen):
            after.value = max(after.value, before.value)
        rows[m.OdometerReading] += seen
        rows[m.OutstandingItem] += [
            m.OutstandingItem(
                **stamp(60), vehicle=car, order=n + 1, title=f"Item {n}", severity="minor", reason="recheck",
                raised_on=today - timedelta(days=60), due_on=today + timedelta(days=40 * n),
                due_km=Decimal(500 * (n + 1)), due_km_unit="km", from_reading=seen[-1],
            )
            for n in range(3)
        ]  # fmt: skip
        rows[m.MaintenanceDone] += [
            m.MaintenanceDone(
                **stamp(), vehicle=car, interval=row, line=row.line, done_on=today - timedelta(days=200),
                reading=seen[-4], elsewhere="Millbrook Garage", source_words="service book",
            )
            for row in plan[:2]
        ]  # fmt: skip
        rows[m.RoadworthinessTest].append(
            m.RoadworthinessTest(
                **stamp(), vehicle=car, done_on=today - timedelta(days=300), valid_until=today + timedelta(days=430),
                result="passed", by_whom="Tarnshire testing station", source_words="certificate seen",
            )
        )  # fmt: skip
    for kind, records in rows.items():
        kind.objects.bulk_create(records, batch_size=500)


def measured(what: str, run: Callable[[], Any]) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    times, answer = [], None
    for _ in range(RUNS):
        begun = time.process_time()
        answer = run()
        times.append(time.process_time() - begun)
    with CaptureQueriesContext(connection) as queries:
        run()
    print(f"{what:<44} {min(times) * 1000:7.1f} ms of processor, {len(queries):3d} queries{said(answer)}")


def said(answer: Any) -> str:
    if isinstance(answer, list):
        return f", {len(answer)} entries"
    content = getattr(answer, "content", b"")
    return (
        f", status {answer.status_code}, {len(content) / 1024:.0f} KB"
        if hasattr(answer, "status_code")
        else ""
    )


def main() -> None:
    cars = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
        os.environ.setdefault("WORKSHOP_DATA", folder)
        import django

        django.setup()
        from django.conf import settings
        from django.test import Client
        from django.test.utils import get_runner, setup_test_environment
        from django.urls import reverse

        setup_test_environment()
        settings.MIGRATION_MODULES = dict.fromkeys(("workshop", "vehicles", "jobs"))
        runner = get_runner(settings)(verbosity=0, interactive=False)
        old = runner.setup_databases()
        try:
            from tests.people import by, make_person
            from vehicles import due
            from vehicles.acts import due as acts
            from workshop.permissions import Role
            from workshop.tokens import new_token, token_hash

            lead = make_person("Lida Marchbank", Role.LEAD)
            made(lead, cars)
            token = new_token()
            acts.open_feed(by=by(lead), token_hash=token_hash(token))
            url, program = reverse("vehicles:due-feed", args=[token]), Client()
            staff = Client()
            staff.force_login(lead)
            print(f"{cars} cars, {READINGS} readings each")
            measured("the shop's list", due.due_list)
            measured("the page /due/", lambda: staff.get(reverse("vehicles:due")))
            measured("the calendar, made anew", lambda: program.get(url))
            tag = program.get(url)["ETag"]
            measured("the calendar, unchanged", lambda: program.get(url, headers={"If-None-Match": tag}))
        finally:
            runner.teardown_databases(old)


if __name__ == "__main__":
    main()
