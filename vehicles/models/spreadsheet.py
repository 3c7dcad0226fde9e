"""Lists that were taken in from a spreadsheet: looked at first, then taken in whole, undone while nothing hangs on it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from workshop.models import Record, Versioned
from workshop.models.base import one_of


class ListKind(models.TextChoices):
    CARS = "cars", "Cars, with their owners"
    KEEPERS = "keepers", "Keepers"
    PAST = "past", "Past work"


class ListState(models.TextChoices):
    DRAFT = "draft", "Not taken in yet"
    TAKEN = "taken", "Taken in"
    UNDONE = "undone", "Undone"
    DROPPED = "dropped", "Thrown away"


class SpreadsheetList(Record, Versioned):
    """One file. `content` is its text until it is taken in or thrown away, then the rows that were left out; `choices`
    is how it is read.

    All records that it made bear `taken_key`. `file_hash` is the SHA-256 of the file's bytes, and stays.
    """

    kind = models.CharField("what it holds", max_length=7, choices=ListKind)
    file_name = models.CharField(max_length=200)
    file_hash = models.CharField(max_length=64)
    content = models.TextField(blank=True)
    choices = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=7, choices=ListState, default=ListState.DRAFT)
    rows = models.PositiveIntegerField()
    made = models.JSONField("records made, by kind", default=dict, blank=True)
    left_out = models.PositiveIntegerField("rows left out", default=0)
    taken_key = models.UUIDField(null=True, blank=True, unique=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    taken_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    undone_because = models.CharField("undone, because", max_length=200, blank=True)

    class Meta(Record.Meta):
        verbose_name = "list from a spreadsheet"
        verbose_name_plural = "lists from spreadsheets"
        ordering = ["-made_at"]
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=one_of("kind", ListKind), name="list_kind_is_known"),
            models.CheckConstraint(condition=one_of("state", ListState), name="list_state_is_known"),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "dropped"], taken_key=None, taken_at=None)
                | Q(state__in=["taken", "undone"], taken_key__isnull=False, taken_at__isnull=False),
                name="taken_list_has_its_key",
            ),
            models.CheckConstraint(
                condition=Q(state="undone", undone_at__isnull=False) & ~Q(undone_because="")
                | ~Q(state="undone") & Q(undone_at=None, undone_because=""),
                name="undone_list_says_why",
                violation_error_message="Say why it is undone.",
                violation_error_code="field:reason",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "taken"]) | Q(content=""), name="ended_list_holds_nothing"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.file_name} ({self.get_kind_display().lower()})"

    def get_absolute_url(self) -> str:
        return reverse("vehicles:list", args=[self.pk])
