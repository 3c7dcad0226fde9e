"""Results of calculators that were kept with a work line of the visit, each from its own frozen record."""

from __future__ import annotations

from typing import Any

from jobs.models import Job
from vehicles.calculations import told
from vehicles.models import Calculation
from workshop.engineering.declare import INFORMS


def calculations(job: Job) -> dict[str, Any]:
    """The block's keys, or none where nothing was kept: a sheet from before there were any says the same. One query."""
    rows = Calculation.objects.counting().filter(line__job=job).select_related("line")
    found = [
        {"of_line": row.line.order, **told(row)} for row in rows.order_by("line__order", "made_at", "pk")
    ]
    return {"calculations": found, "informs": INFORMS} if found else {}
