"""All calculators and effects: one file each in `calculators/` and `effects/`, found by themselves.

To add a calculator, add a file there with a `CALCULATOR`, and its test with a published value.
"""

from __future__ import annotations

import pkgutil
from functools import cache
from importlib import import_module
from types import ModuleType

import workshop.engineering.calculators as calculator_files
import workshop.engineering.effects as effect_files
from workshop.engineering.declare import Calculator
from workshop.engineering.effect import Effect

# In the order in which a shop meets them.
GROUPS = (
    "Fasteners",
    "Brakes",
    "Wheels and tyres",
    "Gearing",
    "Forced induction",
    "Alignment and steering",
    "Electrical",
    "Engine tests",
    "Engine and cooling",
    "Wear",
    "Codes",
)


def _modules(of: ModuleType) -> list[ModuleType]:
    names = sorted(info.name for info in pkgutil.iter_modules(of.__path__))
    return [import_module(f"{of.__name__}.{name}") for name in names]


@cache
def calculators() -> dict[str, Calculator]:
    """Every calculator by its slug, by group and name."""
    found: list[Calculator] = [module.CALCULATOR for module in _modules(calculator_files)]
    return {each.slug: each for each in sorted(found, key=lambda one: (GROUPS.index(one.group), one.name))}


@cache
def effects() -> tuple[Effect, ...]:
    """Every effect, in their order."""
    found: list[Effect] = [module.EFFECT for module in _modules(effect_files)]
    return tuple(sorted(found, key=lambda one: one.order))


def find(slug: str) -> Calculator | None:
    return calculators().get(slug)
