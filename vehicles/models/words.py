"""What was ever written, in one place to be searched: a copy of the texts of all records, and what of it is due."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


class Words(models.Model):
    """The words of one record, or of one group of its fields; several where they were written at different times.

    Nothing but a copy: it is written by `vehicles.words` alone, follows the record at the end of each act, and is made
    anew by `manage.py rebuild_words`. `folded` is `text` folded field by field, a line for each.
    """

    vehicle = models.ForeignKey("vehicles.Vehicle", on_delete=models.CASCADE, related_name="+", null=True)
    subject_kind = models.CharField(max_length=60)
    subject_id = models.CharField(max_length=40)
    part = models.CharField(max_length=16, blank=True)
    at = models.DateTimeField()
    kind = models.CharField(max_length=16)
    system = models.CharField(max_length=14, blank=True)
    severity = models.CharField(max_length=10, blank=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+", null=True
    )
    title = models.CharField(max_length=200)
    url = models.CharField(max_length=200)
    text = models.TextField()
    folded = models.TextField()

    class Meta:
        verbose_name_plural = "words"
        constraints = [
            models.UniqueConstraint(
                fields=["subject_kind", "subject_id", "part"], name="words_of_a_record_stand_once"
            ),
            models.CheckConstraint(condition=~Q(text=""), name="words_are_not_empty"),
        ]
        # No index with `at` in it: SQLite takes it for searches that read the whole table sooner, and reads that in
        # the order of time. What a car has is few enough to be sorted.

    def __str__(self) -> str:
        return self.title


class WordsDue(models.Model):
    """A record whose words were written and are not in `Words` yet. Triggers add it, the end of the act takes it away.

    The same record may stand here several times: refusing that would make one writer wait for another.
    """

    kind = models.CharField(max_length=60)
    record = models.CharField(max_length=40)
    new = models.BooleanField()

    class Meta:
        verbose_name_plural = "words due"

    def __str__(self) -> str:
        return f"{self.kind} {self.record}"
