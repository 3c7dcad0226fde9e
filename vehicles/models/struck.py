"""Records that stay as they were written, and may be struck once."""

from __future__ import annotations

from django.db import models

from workshop.models import Record


class StruckOnce(Record):
    """A record that stays as it was written; all that may be added is, once, that it was entered in error."""

    entered_in_error = models.CharField("entered in error, because", max_length=200, blank=True)

    class Meta(Record.Meta):
        abstract = True
