"""Forms of data sheets, and of which one a car has."""

from __future__ import annotations

from typing import Any

from django import forms

from vehicles.models import DataSheet
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field


class SheetForm(ModelActForm):
    class Meta:
        model = DataSheet
        fields = ("name", "based_on", "note")
        formfield_callback = trade_field
        labels = {"based_on": "A variant of", "note": "Remark"}
        help_texts = {
            "name": "Such as “1600 GT, 1990 to 1992”.",
            "based_on": "Then it holds only what differs; all else is taken from that sheet. It can't be changed later.",
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["based_on"].empty_label = "none: a sheet of its own"


class SheetOfCarForm(SheetForm):
    """A new sheet from a car's page: it holds for that car at once."""

    because = forms.CharField(
        label="How it is known that the car is of this type",
        max_length=200,
        help_text="Such as “by the type plate” or “chassis number and body”.",
    )


class CorrectSheetForm(EditForm, ModelActForm):
    class Meta:
        model = DataSheet
        fields = ("name", "note")
        formfield_callback = trade_field
        labels = {"note": "Remark"}


class ChooseSheetForm(ActForm):
    sheet = forms.ModelChoiceField(
        label="Data sheet",
        queryset=DataSheet.objects.select_related("based_on"),
        required=False,
        empty_label="none holds for this car",
        error_messages={"invalid_choice": "That sheet is not on the list any more. Choose another."},
    )
    because = forms.CharField(
        label="How it is known",
        max_length=200,
        help_text="Such as “by the type plate” or “chassis number and body”.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["sheet"].label_from_instance = lambda one: (
            f"{one.name} (a variant of {one.based_on.name})" if one.based_on else one.name
        )
