"""The submission whose records are taken out again, while that is done."""

from django.db import models


class Undoing(models.Model):
    """Rows live inside the transaction of one act and are gone when it ends: nobody else ever sees one.

    The guards of tables that `triggers.may_be_undone` names read them: a record that came with this very key may be
    deleted, and no other.
    """

    key = models.UUIDField(primary_key=True)

    class Meta:
        verbose_name_plural = "submissions being undone"

    def __str__(self) -> str:
        return str(self.key)
