"""The words that an erasure takes out of the records, while it does so."""

from django.db import models


class Erasing(models.Model):
    """Rows live inside the transaction of one erasure and are gone when it ends: nobody else ever sees one.

    The guards of append-only tables read them: a text may change where OLD, with `needle` replaced by `instead`,
    is NEW, and in no other way.
    """

    needle = models.TextField()
    instead = models.CharField(max_length=8)

    class Meta:
        verbose_name_plural = "words being erased"

    def __str__(self) -> str:
        return self.instead
