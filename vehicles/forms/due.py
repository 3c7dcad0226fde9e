"""Forms of what comes due: intervals of a plan, services done, roadworthiness tests, and who is told."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from vehicles.forms.odometer import AsksWhyLower
from vehicles.models import (
    FigureSource,
    Instrument,
    MaintenanceDone,
    MaintenanceInterval,
    RoadworthinessResult,
    Vehicle,
)
from vehicles.models.due import MOST_MONTHS, RoadworthinessTest
from workshop.acting import ChangedMeanwhile
from workshop.forms.base import ActForm
from workshop.forms.fields import AmountField, DayField
from workshop.models import Shop

# Nobody chooses among the lines of twenty years.
NEWEST_LINES = 40


class IntervalForm(ActForm):
    title = forms.CharField(
        label="What is to be done", max_length=120, help_text="Such as “engine oil and filter”."
    )
    every_distance = AmountField("distance", label="Every distance of", required=False)
    every_months = forms.IntegerField(
        label="Every so many months", required=False, min_value=1, max_value=MOST_MONTHS
    )
    source = forms.ChoiceField(label="Where it comes from", choices=FigureSource.choices)
    source_words = forms.CharField(
        label="Document, and the place in it", max_length=160, help_text="Such as “service book, page 14”."
    )
    one_of = (("every_distance", "every_months"),)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        if not self.initial.get("every_distance"):
            self.fields["every_distance"].initial = [None, Shop.current().distance_unit]


class ChangeIntervalForm(IntervalForm):
    """`seen` is the interval that the writer saw: changed meanwhile, both are shown."""

    because = forms.CharField(label="Why it is changed", max_length=200)
    seen = forms.UUIDField(widget=forms.HiddenInput)

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        super()._show_what_is_on_record(refusal)
        self._put("seen", refusal.record.pk)


class WithdrawIntervalForm(ActForm):
    because = forms.CharField(label="Why it does not apply", max_length=200)
    seen = forms.UUIDField(widget=forms.HiddenInput)

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        super()._show_what_is_on_record(refusal)
        self._put("seen", refusal.record.pk)


class ReadingBeside(AsksWhyLower):
    """The odometer of that day; why it does not go with the others is asked for only where it does not."""

    odometer = AmountField("distance", label="What the odometer showed then", required=False)

    def __init__(self, *args: Any, vehicle: Vehicle, **kwargs: Any):
        super().__init__(*args, **kwargs)
        latest = Instrument.objects.filter(vehicle=vehicle).order_by("-order").first()
        self.fields["odometer"].initial = [None, latest.unit if latest else Shop.current().distance_unit]


class DoneForm(ReadingBeside):
    interval = forms.ModelChoiceField(queryset=MaintenanceInterval.objects.none(), label="What was done")
    done_on = DayField(label="When")
    work_line = forms.ModelChoiceField(
        queryset=None,
        required=False,
        label="By this work line of ours",
        empty_label="done elsewhere",
        help_text="Without a reading below, that of its job counts.",
    )
    elsewhere = forms.CharField(
        label="Or elsewhere, by whom",
        max_length=120,
        required=False,
        help_text="“not known” where nobody knows.",
    )
    source_words = forms.CharField(
        label="How that is known",
        max_length=160,
        required=False,
        help_text="Needed where it was done elsewhere, such as “service book” or “invoice seen”.",
    )
    one_of = (("work_line", "elsewhere"),)
    field_order = (
        "interval",
        "done_on",
        "work_line",
        "elsewhere",
        "source_words",
        "odometer",
        "lower_because",
    )

    def __init__(self, *args: Any, vehicle: Vehicle, plan: Iterable[MaintenanceInterval], **kwargs: Any):
        super().__init__(*args, vehicle=vehicle, **kwargs)
        field = self.fields["interval"]
        field.queryset = MaintenanceInterval.objects.filter(pk__in=[row.pk for row in plan])
        field.label_from_instance = lambda row: f"{row.title}, {row.every_words}"
        lines = MaintenanceDone._meta.get_field("work_line").related_model
        field = self.fields["work_line"]
        newest = lines.objects.filter(job__vehicle=vehicle, done_at__isnull=False).order_by("-done_at")
        keys = list(newest.values_list("pk", flat=True)[:NEWEST_LINES])
        field.queryset = lines.objects.filter(pk__in=keys).select_related("job").order_by("-done_at")
        field.label_from_instance = lambda row: f"job {row.job.number}: {row}"


class RoadworthinessForm(ReadingBeside):
    done_on = DayField(label="Tested on")
    result = forms.ChoiceField(label="Result", choices=RoadworthinessResult.choices, widget=forms.RadioSelect)
    valid_until = DayField(
        label="Valid until, or to be tested again by",
        required=False,
        help_text=RoadworthinessTest._meta.get_field("valid_until").help_text,
    )
    by_whom = forms.CharField(label="Tested by", max_length=120)
    certificate = forms.CharField(label="Certificate number", max_length=60, required=False)
    deficiencies = forms.CharField(
        label="Deficiencies, as the certificate says them",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    source_words = forms.CharField(
        label="How it is known",
        max_length=160,
        help_text=RoadworthinessTest._meta.get_field("source_words").help_text,
    )
    field_order = (
        *("done_on", "result", "valid_until", "by_whom", "certificate", "deficiencies"),
        *("source_words", "odometer", "lower_because"),
    )


class StrikeForm(ActForm):
    reason = forms.CharField(label="What is wrong with it, and how you know", max_length=200)


class KeyForm(ActForm):
    """A button alone: nothing is asked."""


class MailForm(ActForm):
    wants_mail = forms.BooleanField(label="Send me the due list by e-mail each morning", required=False)
    also_when_nothing = forms.BooleanField(label="Also on days on which nothing is due", required=False)
    repeats = True
