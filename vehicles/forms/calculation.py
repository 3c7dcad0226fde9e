"""Keeping a calculator's result with what it is about, and setting a kept one aside."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.db.models import Model
from django.utils.text import capfirst

from vehicles.calculations import Offered, subject_words
from workshop.forms.base import ActForm

# A result that is kept with the car and with nothing of it.
CAR_ALONE = "car"
_NOTHING: Mapping[str, Model] = {}


class KeepForm(ActForm):
    """Keeps the result that is shown; its inputs stand in the address.

    `subject` is what the page was opened for, by its column; `offered` what else is open on the car. Of a part
    there is no choice: the figures are that part's own.
    """

    about = forms.ChoiceField(
        label="Keep it with",
        error_messages={"invalid_choice": "That is no longer open on this car: choose one of these."},
    )
    said = forms.CharField(
        max_length=300,
        required=False,
        label="What it was asked for, or what follows",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    # The digest of the result that was looked at: that one is kept, or none.
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        subject: Mapping[str, Model] = _NOTHING,
        offered: Iterable[Offered] = (),
        **kwargs: Any,
    ):
        super().__init__(*args, **kwargs)
        self.opened_for = dict(subject)
        self.subjects: dict[str, dict[str, Model]] = {CAR_ALONE: {}}
        if "part" in self.opened_for:
            del self.fields["about"]
            return
        choices: list[tuple[str, Any]] = [(CAR_ALONE, "The car alone")]
        for group in offered:
            codes = [(f"{group.name}:{row.pk}", row, words) for row, words in group.rows]
            self.subjects |= {code: {group.name: row} for code, row, _ in codes}
            choices.append((group.title, [(code, capfirst(words)) for code, _, words in codes]))
        asked_for = next((f"{name}:{row.pk}" for name, row in self.opened_for.items()), CAR_ALONE)
        if asked_for not in self.subjects:
            # It has ended meanwhile, or is one of a closed job: whoever came from there sees it all the same.
            self.subjects[asked_for] = self.opened_for
            choices.insert(1, (asked_for, capfirst(subject_words(self.opened_for))))
        self.fields["about"].choices = choices
        self.initial.setdefault("about", asked_for)
        if self.is_bound and not self.data.get("about"):
            # Sent without a choice, it is what the page was opened for, and never silently the car.
            self._put("about", asked_for)

    @property
    def subject(self) -> dict[str, Model]:
        """What was chosen, by its column."""
        return self.subjects[self.cleaned_data["about"]] if "about" in self.fields else self.opened_for

    def act_arguments(self) -> dict[str, Any]:
        said = super().act_arguments()
        said.pop("about", None)
        return {**said, **self.subject}

    def show(self, digest: str) -> None:
        """The result that stands above it now."""
        self._put("seen", digest)


class SetAsideForm(ActForm):
    reason = forms.CharField(
        max_length=200, label="Why it was kept in error", widget=forms.Textarea(attrs={"rows": 2})
    )
