"""A comparison with NULL is neither true nor false, and a CHECK that is not false lets the row in.

So a condition that compares a nullable column must also say what holds when it is empty: `column__isnull=False` in
the same arm, or an arm `column=None` of its own beside it.
"""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db.models import CheckConstraint, F, Model, Q

COMPARED = {"gt", "gte", "lt", "lte", "exact", "in", "regex", "startswith", "contains"}


def conditions():
    for model in apps.get_models():
        if model._meta.app_label in ("workshop", "vehicles", "jobs"):
            for constraint in model._meta.constraints:
                if isinstance(constraint, CheckConstraint):
                    yield pytest.param(model, constraint.condition, id=constraint.name)


def open_to_null(model: type[Model], condition: Q, *, told: frozenset[str] = frozenset()) -> set[str]:
    """Nullable columns whose comparison decides nothing when they are empty."""
    rows = [leaf(child) if isinstance(child, tuple) else child for child in condition.children]
    if condition.connector == Q.OR:
        # An arm that is just "empty" makes the whole true where the comparison is undecided.
        told = told | {row[0] for row in rows if isinstance(row, tuple) and row[1] == "empty"}
    else:
        told = told | {row[0] for row in rows if isinstance(row, tuple) and row[1] in ("empty", "filled")}
    found: set[str] = set()
    for row in rows:
        if isinstance(row, tuple):
            names = {row[0], *row[2]}
            found |= {
                name
                for name in names
                if row[1] == "compared" and model._meta.get_field(name).null and name not in told
            }
        else:
            found |= open_to_null(model, row, told=told)
    return found


def leaf(child: tuple) -> tuple[str, str, set[str]]:
    """(column, "empty" | "filled" | "compared", other columns it is compared with)."""
    path, value = child
    name, _, lookup = path.partition("__")
    if value is None and lookup in ("", "exact"):
        return name, "empty", set()
    if lookup == "isnull":
        return name, "empty" if value else "filled", set()
    assert lookup in COMPARED | {""}, path
    return name, "compared", {value.name} if isinstance(value, F) else set()


@pytest.mark.parametrize(("model", "condition"), list(conditions()))
def test_a_condition_says_what_holds_when_a_column_is_empty(model, condition):
    assert open_to_null(model, condition) == set()


def test_the_look_finds_a_hole():
    from vehicles.models import OutstandingItem

    hole = Q(due_km=None, due_km_unit="") | Q(due_km__gt=0) & ~Q(due_km_unit="")
    assert open_to_null(OutstandingItem, hole) == {"due_km"}
    assert open_to_null(OutstandingItem, Q(due_km=None) | Q(due_km__gt=0)) == set()
