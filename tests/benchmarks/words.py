"""How long a search of 100,000 texts takes, twenty years of a shop: `python -m tests.benchmarks.words [ROWS]`.

On SQLite in a temporary folder; on PostgreSQL by `.ci/with_postgres python -m tests.benchmarks.words`. The tables are
made from the models. Processor time is this process's own, so a busy machine does not count in it; PostgreSQL's is
not in it. Each search is a whole page of the screen: rows, plates and counts by kind. Then what keeping the
words costs an act, with the triggers and the copying and without them.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from itertools import accumulate

KINDS = ("fault", "job", "line", "part", "photo", "measurement")
CARS, WORDS, ACTS, TIMES = 1500, 12_000, 150, 5


def main(rows: int = 100_000) -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("WORKSHOP_DATA", folder)
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
        _begin()
        measure(rows)


def _begin() -> None:
    import django
    from django.conf import settings

    settings.MIGRATION_MODULES = dict.fromkeys(("workshop", "vehicles", "jobs"))
    django.setup()
    from django.core.management import call_command

    call_command("migrate", run_syncdb=True, verbosity=0)


def measure(rows: int) -> None:
    from django.db import connection

    from tests.people import make_person
    from vehicles.models import Words
    from vehicles.words_found import Asked, Cursor, page, terms_of
    from workshop.permissions import Role

    lead = make_person("Lida Marchbank", Role.LEAD)
    some = random.Random(1)
    vocabulary = [
        "".join(some.choices("abcdefghijklmnoprstuvw", k=some.randint(3, 11))) for _ in range(WORDS)
    ]
    weights = list(accumulate(1 / (rank + 5) for rank in range(WORDS)))
    cars = _cars(lead)
    begun = time.perf_counter()
    for start in range(0, rows, 1000):
        Words.objects.bulk_create(
            _words(some, start + each, vocabulary, weights, cars, lead)
            for each in range(min(1000, rows - start))
        )
    connection.cursor().execute("ANALYZE")
    print(f"{connection.vendor}, {rows} texts, made in {time.perf_counter() - begun:.0f} s")
    often, seldom, rare = vocabulary[0], vocabulary[300], vocabulary[11_000]
    middle = Cursor(datetime(2016, 1, 1, tzinfo=UTC), 1)
    for name, asked, before in (
        ("a frequent word", Asked(terms=terms_of(often)), None),
        ("a word of some hundreds", Asked(terms=terms_of(seldom)), None),
        ("a rare word", Asked(terms=terms_of(rare)), None),
        ("nothing found", Asked(terms=("zzzzqq",)), None),
        ("three words", Asked(terms=(often, seldom, rare)), None),
        ("a phrase", Asked(terms=(f"{often} {vocabulary[1]}",)), None),
        ("a page in the middle", Asked(terms=terms_of(often)), middle),
        ("a word and all filters", Asked(terms=terms_of(often), kinds=("fault",), system="brakes",
                                        severity="minor", person=lead), None),
        ("filters alone", Asked(system="brakes", severity="minor"), None),
        ("one car, a word", Asked(terms=terms_of(often), vehicle=cars[7]), None),
    ):  # fmt: skip
        took, worked = [], []
        for _ in range(TIMES):
            begun, cpu = time.perf_counter(), time.process_time()
            found = page(asked, before)
            took.append((time.perf_counter() - begun) * 1000)
            worked.append((time.process_time() - cpu) * 1000)
        print(
            f"{name:26} {statistics.median(took):7.1f} ms  (of the processor here {statistics.median(worked):.1f})  "
            f"{found.count} found"
        )
    _acts(lead, cars[0])


def _cars(lead):
    from django.utils import timezone

    from vehicles.models import Vehicle

    now = timezone.now()
    return Vehicle.objects.bulk_create(
        Vehicle(
            number=f"N{each}", identity_key=f"n|{each}", make="Halden", model="Drayman", year=2006, made_at=now,
            received_at=now, made_by=lead, key=f"{each:032x}",
        )
        for each in range(CARS)
    )  # fmt: skip


def _words(some, number, vocabulary, weights, cars, lead):
    from vehicles.models import Words

    text = " ".join(some.choices(vocabulary, cum_weights=weights, k=some.choice([4, 8, 12, 20, 40])))
    return Words(
        vehicle=some.choice(cars), subject_kind="bench", subject_id=str(number), kind=some.choice(KINDS),
        at=datetime(2006, 1, 1, tzinfo=UTC) + timedelta(seconds=some.randrange(20 * 365 * 86_400)),
        system=some.choice(["brakes", "engine", ""]), severity=some.choice(["", "minor", "dangerous"]), person=lead,
        title="Fault F1", url="/", text=text.title(), folded=text,
    )  # fmt: skip


def _acts(lead, car) -> None:
    """The same act many times, with what keeps the words and without it."""
    from tests.people import by
    from vehicles import words
    from vehicles.acts import fault as faults
    from workshop import acting, triggers

    def told(count: int) -> float:
        took = []
        for _ in range(count):
            begun = time.process_time()
            faults.report_fault(
                by=by(lead),
                vehicle=car,
                kind="finding",
                title="Brake hose",
                severity="minor",
                words="It weeps.",
            )
            took.append((time.process_time() - begun) * 1000)
        return statistics.median(took)

    told(20)
    pairs = []
    for _ in range(3):
        kept = told(ACTS // 3)
        watches, ends = dict(triggers._watches), list(acting._at_end)
        triggers._watches.clear()
        acting._at_end.remove(words.index_due)
        triggers.install()
        bare = told(ACTS // 3)
        triggers._watches.update(watches)
        acting._at_end[:] = ends
        triggers.install()
        pairs.append((kept, bare))
    kept, bare = (statistics.median(each) for each in zip(*pairs, strict=True))
    print(
        f"one act: {kept:.1f} ms; without what keeps the words {bare:.1f} ms; the words cost {kept - bare:.1f} ms"
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
