"""Choosing a place on the car: grouped by zone, in the order of the walk."""

from __future__ import annotations

from itertools import groupby

from django import forms
from django.forms.models import ModelChoiceIterator

from vehicles.models import Place, Zone
from vehicles.models.part import Position


class _ByZone(ModelChoiceIterator):
    def __iter__(self):
        if self.field.empty_label is not None:
            yield ("", self.field.empty_label)
        for zone, places in groupby(self.queryset.all(), key=lambda place: place.zone):
            yield (Zone(zone).label, [self.choice(place) for place in places])


class PlaceField(forms.ModelChoiceField):
    iterator = _ByZone

    def __init__(self, **kwargs):
        super().__init__(queryset=Place.objects.all(), **kwargs)


def position_field(place: Place | None = None, *, empty: str = "–", **kwargs) -> forms.ChoiceField:
    """Positions of one place, or all of them where the place is still to be chosen."""
    values = [one for one in (place.allowed if place else Position.values) if one]
    choices = [("", empty), *((value, Position(value).label) for value in values)]
    return forms.ChoiceField(choices=choices, **{"label": "Which one", "required": False, **kwargs})
