"""Writes the published schema of the archive of a car anew, after a model has changed."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from vehicles.archive import schema


class Command(BaseCommand):
    help = "Writes vehicles/archive/schema.json anew from what the models declare."

    def handle(self, *args: Any, **options: Any) -> None:
        schema.PUBLISHED.write_text(schema.text(), encoding="utf-8")
        self.stdout.write(f"Written: {schema.PUBLISHED}")
