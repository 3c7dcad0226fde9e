"""When something was done that is written down later: a time of today, and only where it was not today the day."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from workshop.forms.fields import DayField

# What an act lets pass as a clock that runs a little fast.
FAST = timedelta(minutes=2)


class ClockField(forms.Field):
    """HH:MM, as the browser's own control gives it or as it is typed: 13:55, 13.55, 1355."""

    def to_python(self, value) -> time | None:
        text = str(value or "").strip()
        if not text:
            return None
        found = re.fullmatch(r"(\d{1,2})[:.\s]?(\d{2})(?:[:.]\d{2}(?:\.\d+)?)?", text)
        if found is None or int(found[1]) > 23 or int(found[2]) > 59:
            raise ValidationError(
                f"Give the time as hours and minutes, such as 13:55: “{text[:20]}” is none."
            )
        return time(int(found[1]), int(found[2]))


class EarlierWidget(forms.MultiWidget):
    def __init__(self, attrs=None):
        super().__init__(
            {
                "time": forms.TimeInput(attrs={"type": "time", "aria-label": "Done at"}, format="%H:%M"),
                "day": forms.DateInput(
                    attrs={"type": "date", "aria-label": "On which day"}, format="%Y-%m-%d"
                ),
            },
            attrs,
        )

    def decompress(self, value):
        if isinstance(value, datetime):
            local = timezone.localtime(value)
            return [local.time(), local.date()]
        return list(value) if value else [None, None]


class EarlierField(forms.MultiValueField):
    """Answers a moment in the shop's time zone, or None where it is done just now."""

    def __init__(self, **kwargs):
        fields = (ClockField(required=False), DayField(required=False))
        super().__init__(fields, require_all_fields=False, widget=EarlierWidget, **kwargs)

    def compress(self, data_list) -> datetime | None:
        clock, day = [*data_list, None, None][:2] if data_list else (None, None)
        if clock in (None, ""):
            if day:
                raise ValidationError("Give the time of that day as well, such as 13:55.", code="no_time")
            return None
        now = timezone.localtime()
        on: date = day or now.date()
        if (
            not 1885 <= on.year <= 2100
        ):  # at the edge of the calendar a moment overflows when it is turned to UTC
            raise ValidationError("Give a year between 1885 and 2100.", code="year")
        moment = timezone.make_aware(datetime.combine(on, clock))
        if moment > now + FAST and not day:
            raise ValidationError(
                f"{clock:%H:%M} is still to come today. Was it yesterday? Then choose the day as well.",
                code="still_to_come",
            )
        return moment
