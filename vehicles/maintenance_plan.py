"""Maintenance plans: what of a data sheet's intervals holds, those of the sheets that it is based on included."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from vehicles.figures import sheet_record_of
from vehicles.models import DataSheet, MaintenanceInterval, Vehicle


@dataclass
class Plan:
    """The intervals of each data sheet that has a plan, those it is based on included. Two queries."""

    sheets: dict[Any, Any]
    own: dict[Any, dict[str, MaintenanceInterval]]

    @classmethod
    def read(cls) -> Plan:
        own: dict[Any, dict[str, MaintenanceInterval]] = defaultdict(dict)
        for row in MaintenanceInterval.objects.current():
            own[row.sheet_id][row.line] = row
        return cls(dict(DataSheet.objects.values_list("pk", "based_on_id")), own)

    def of(self, sheet: Any) -> dict[str, MaintenanceInterval]:
        """Line → what holds for a sheet; withdrawn ones left out."""
        chain: list[Any] = []
        while sheet is not None and sheet not in chain:
            chain.append(sheet)
            sheet = self.sheets.get(sheet)
        found: dict[str, MaintenanceInterval] = {}
        for one in reversed(chain):
            found |= self.own.get(one, {})
        return {line: row for line, row in found.items() if not row.withdrawn_because}


@dataclass(frozen=True)
class PlanRow:
    """One line of a sheet's plan: what holds, from which sheet, and the sheet's own records before it, newest first."""

    now: MaintenanceInterval
    inherited_from: DataSheet | None
    before: list[MaintenanceInterval]


def plan_of(chain: list[DataSheet]) -> tuple[list[PlanRow], list[MaintenanceInterval]]:
    """The plan of a sheet (the first of its chain), and what was withdrawn from it. One query."""
    sheets = {one.pk: one for one in chain}
    rows = list(MaintenanceInterval.objects.filter(sheet__in=sheets).select_related("made_by", "device"))
    replaced = {row.replaces_id for row in rows}
    held: dict[str, MaintenanceInterval] = {}
    for sheet in reversed(chain):
        held |= {row.line: row for row in rows if row.sheet_id == sheet.pk and row.pk not in replaced}
    own = chain[0].pk
    told = [
        PlanRow(
            row,
            None if row.sheet_id == own else sheets[row.sheet_id],
            sorted(
                (
                    one
                    for one in rows
                    if one.line == row.line and one.sheet_id == row.sheet_id and one.pk != row.pk
                ),
                key=lambda one: one.made_at,
                reverse=True,
            ),
        )
        for row in sorted(held.values(), key=lambda one: one.title.casefold())
    ]
    withdrawn = [one.now for one in told if one.now.withdrawn_because]
    return [one for one in told if not one.now.withdrawn_because], withdrawn


def plan_context(chain: list[DataSheet]) -> dict[str, Any]:
    """For the page of a data sheet, the first of its chain: one query."""
    plan, withdrawn = plan_of(chain)
    return {"plan": plan, "withdrawn": withdrawn}


def sheet_of(vehicle: Vehicle) -> Any:
    """The key of the data sheet that holds for a car; None without one."""
    record = sheet_record_of(vehicle)
    return record.sheet_id if record else None
