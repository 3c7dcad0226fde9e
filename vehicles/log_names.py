"""How the event log calls the cars that it points at."""

from __future__ import annotations

from django.urls import reverse

from vehicles.models import Vehicle
from workshop.refs import Ref, add_ref_source

AT_MOST = 50


def names(keys: set[str]) -> dict[str, Ref]:
    rows = Vehicle.objects.filter(pk__in=keys).only("pk", "year", "make", "model")
    return {str(row.pk): Ref(row.name, reverse("vehicles:vehicle", args=[row.pk])) for row in rows}


def find(text: str):
    return Vehicle.objects.search(text).values_list("pk", flat=True)[:AT_MOST]


def register() -> None:
    add_ref_source("vehicle", names, find)
