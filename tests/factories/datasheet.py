"""Data sheets and figures, made through their acts. All invented."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import factory

from tests.people import by
from vehicles.acts import datasheet
from vehicles.models import DataSheet
from workshop.engineering.units import Amount


class SheetFactory(factory.Factory):
    """A data sheet made by `person`; `figures` as `known` takes them."""

    class Meta:
        model = DataSheet

    name = factory.Sequence(lambda number: f"1600 GT, build {number}")

    @classmethod
    def _create(cls, model_class, *args, person, figures=None, **kwargs):
        sheet = datasheet.add_sheet(by=by(person), **kwargs)
        if figures:
            known(person, sheet, figures)
        return sheet


def amount(text: str) -> Amount:
    number, _, unit = text.partition(" ")
    return Amount(Decimal(number), unit or "1")


def known(person, owner, figures: dict[str, str], *, source: str = "marked", **kwargs: Any):
    """Write down `figures`, key → "54 mm", or a text that begins with "=" ("=185/60 R14")."""
    rows = [
        {"key": key, "value": text[1:] if text.startswith("=") else amount(text)}
        for key, text in figures.items()
    ]
    return datasheet.record_figures(by=by(person), owner=owner, figures=rows, source=source, **kwargs)
