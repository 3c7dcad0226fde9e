"""Copy all words anew for the search: after a restore from parts, or where verify_records says that some are missing."""

from __future__ import annotations

from django.core.management.base import BaseCommand

from vehicles import words


class Command(BaseCommand):
    help = "Copy the words of every record anew, so that the search finds them. People may work meanwhile."

    def handle(self, *args, **options):
        count = words.rebuild()
        self.stdout.write(self.style.SUCCESS(f"The search knows the words of {count} records."))
