"""Each frozen sheet wrote down where the event log ended: a log whose tail was cut shows against it."""

from collections.abc import Iterator

from workshop.log import Anchor


def of_sheets() -> Iterator[Anchor]:
    from jobs.models import SheetRevision

    rows = (
        SheetRevision.objects.filter(
            job__origin=""
        )  # what came from elsewhere names the log of that workshop
        .select_related("job")
        .order_by("log_seq")
        .only("revision", "log_seq", "log_hash", "job__origin", "job__year", "job__serial")
    )
    for row in rows.iterator(chunk_size=500):
        yield Anchor(row.log_seq, row.log_hash, f"sheet {row.job.number} revision {row.revision}")
