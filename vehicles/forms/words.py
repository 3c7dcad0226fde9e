"""What is looked for in the words and in a car's history: it all stands in the page's address."""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable
from datetime import date

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef

from vehicles import words
from vehicles.models import Severity, Vehicle, Words, Zone
from vehicles.words_found import Asked, terms_of
from workshop.forms.base import speak
from workshop.models import Person

FIRST_YEAR, LAST_YEAR = 1885, 2100
_WHEN = re.compile(r"(\d{4})(?:-(\d{1,2})(?:-(\d{1,2}))?)?", re.ASCII)


class WhenField(forms.Field):
    """A year, a month or a day; `end` takes its last day, else its first."""

    def __init__(self, *, end: bool = False, **kwargs):
        self.end = end
        widget = forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})
        super().__init__(required=False, widget=widget, **kwargs)

    def to_python(self, value) -> date | None:
        text = str(value or "").strip()
        if not text:
            return None
        if not (found := _WHEN.fullmatch(text)):
            raise ValidationError("Give a year, such as 2019, or a day, such as 2019-06-14.")
        year, month, day = (int(part) if part else 0 for part in found.groups())
        if not FIRST_YEAR <= year <= LAST_YEAR:
            raise ValidationError(f"Give a year from {FIRST_YEAR} to {LAST_YEAR}.")
        month_there = month or (12 if self.end else 1)
        try:
            last = calendar.monthrange(year, month_there)[1]
            return date(year, month_there, day or (last if self.end else 1))
        except (ValueError, calendar.IllegalMonthError):
            raise ValidationError(f"{text} is no day of the calendar: give year-month-day.") from None


class WriterField(forms.ModelChoiceField):
    """Somebody who wrote or did something. What is no key at all is as unknown as a key of nobody."""

    def to_python(self, value):
        try:
            return super().to_python(value)
        except ValidationError:
            raise ValidationError(self.error_messages["invalid_choice"], code="invalid_choice") from None


class LookForm(forms.Form):
    """Words and what narrows them down. What is wrong is said beside its field, and narrows nothing."""

    q = forms.CharField(
        label="Words",
        required=False,
        max_length=1000,
        help_text="“In quotes” finds words that stand together.",
    )
    system = forms.ChoiceField(label="System", required=False)
    severity = forms.ChoiceField(label="Severity", required=False)
    person = WriterField(Person.objects.none(), label="Written or done by", required=False)
    since = WhenField(label="From", help_text="2019 or 2019-06-14")
    until = WhenField(label="To", help_text="2019 or 2019-06-14", end=True)
    kind = forms.MultipleChoiceField(label="Only", required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args, kinds: Iterable[tuple[str, str]] | None = None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["system"].choices = [("", "any"), *Zone.choices]
        self.fields["severity"].choices = [("", "any"), *Severity.choices]
        self.fields["kind"].choices = words.kinds() if kinds is None else kinds
        person = self.fields["person"]
        wrote = Words.objects.filter(person=OuterRef("pk"))
        person.queryset = Person.objects.filter(Exists(wrote)).order_by("name", "pk")
        person.empty_label = "anybody"
        person.error_messages["invalid_choice"] = (
            "Nobody of that name wrote anything here: choose one of the list."
        )
        for name in ("system", "severity", "kind"):
            self.fields[name].error_messages["invalid_choice"] = (
                "That is none of the list: choose one of it, or leave it."
            )
        for name, field in self.fields.items():
            speak(field, field.label or name)

    def clean_q(self) -> str:
        text = self.cleaned_data["q"].strip()
        self.terms = terms_of(text)
        return text

    def clean(self):
        found = super().clean()
        since, until = found.get("since"), found.get("until")
        if since and until and until < since:
            begin = self.data.get("since", "").strip()
            self.add_error("until", f"Give {begin} or later: it ends where it begins, or after.")
        return found

    @property
    def good(self) -> dict:
        return {name: value for name, value in getattr(self, "cleaned_data", {}).items() if value}

    def asked(self, vehicle: Vehicle | None = None) -> Asked:
        """What is right of it."""
        good = self.good
        return Asked(
            terms=self.terms if "q" in good else (),
            kinds=tuple(good.get("kind", ())),
            system=good.get("system", ""),
            severity=good.get("severity", ""),
            since=good.get("since"),
            until=good.get("until"),
            person=good.get("person"),
            vehicle=vehicle,
        )

    def in_words(self) -> list[str]:
        """What is looked for, one thing a line; empty where it is all."""
        good = self.good
        said = []
        if "q" in good:
            said.append(f"the words “{good['q']}”")
        if "kind" in good:
            labels = [label.lower() for code, label in self.fields["kind"].choices if code in good["kind"]]
            said.append("only " + ", ".join(labels))
        if "system" in good:
            said.append(f"system: {Zone(good['system']).label.lower()}")
        if "severity" in good:
            said.append(f"severity: {Severity(good['severity']).label.lower()}")
        if "person" in good:
            said.append(f"by {good['person']}")
        for name, word in (("since", "from"), ("until", "up to")):
            if name in good:
                said.append(f"{word} {self.data.get(name, '').strip()}")
        return said
