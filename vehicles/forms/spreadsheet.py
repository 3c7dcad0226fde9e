"""Forms of lists from a spreadsheet: sending one, saying how it is read, taking it in."""

from __future__ import annotations

from typing import Any

from django import forms

from vehicles.models import ListKind, SpreadsheetList
from vehicles.spreadsheet.cells import DAY_FIRST, MONTH_FIRST
from vehicles.spreadsheet.columns import COLUMNS
from vehicles.spreadsheet.reading import MOST_BYTES, MOST_ROWS
from workshop.forms.base import ActForm, EditForm


class ListForm(ActForm):
    repeats = True  # the same file sent again is a draft more, and is thrown away with one tap

    kind = forms.ChoiceField(label="What the list holds", choices=ListKind.choices, widget=forms.RadioSelect)
    file = forms.FileField(
        label="The list, as CSV",
        allow_empty_file=True,
        max_length=200,
        help_text=f"Saved from the spreadsheet as CSV (UTF-8). Its first row names the columns. At most {MOST_ROWS:,} "
        f"rows and {MOST_BYTES // 10**6} MB at once.".replace(",", " "),
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.tsv,.txt,text/csv"}),
        error_messages={"required": "Choose the file."},
    )


class ChooseForm(EditForm):
    """Which column of the list is what, and how its days and readings are to be read."""

    def __init__(self, *args: Any, listed: SpreadsheetList, head: list[str], **kwargs: Any):
        self.listed = listed
        super().__init__(*args, **kwargs)
        kind, given = listed.kind, listed.choices
        names = [
            ("", "not in this list"),
            *((str(at), f"{at + 1}. {name or '(no name)'}") for at, name in enumerate(head)),
        ]
        columns = []
        for each in COLUMNS[kind]:
            name = f"column_{each.code}"
            at = given["places"].get(each.code)
            self.fields[name] = forms.ChoiceField(
                label=each.label,
                choices=names,
                required=each.needed,
                initial="" if at is None else str(at),
                error_messages={"required": f"Say which column is “{each.label}”."},
            )
            columns.append(name)
        self.fields["order"] = forms.ChoiceField(
            label="Days such as 03/04/2019",
            choices=[
                ("", "are not in this list, or each can be read in one way only"),
                (DAY_FIRST, "the day first: 3 April"),
                (MONTH_FIRST, "the month first: March 4"),
            ],
            required=False,
            initial=given["order"],
        )
        reading = ["order"]
        if kind in (ListKind.CARS, ListKind.PAST):
            self.fields["unit"] = forms.ChoiceField(
                label="Odometer readings without a unit",
                choices=[("", "have no place in this list"), ("km", "are in km"), ("mi", "are in mi")],
                required=False,
                initial=given["unit"],
            )
            reading.append("unit")
        if kind == ListKind.PAST:
            self.fields["keep_lower"] = forms.BooleanField(
                label="Keep readings that fall, and flag them",
                required=False,
                initial=given["keep_lower"],
                help_text="Otherwise their rows are shown as wrong.",
            )
            self.fields["source"] = forms.CharField(
                label="Where this list comes from",
                max_length=150,
                required=False,
                initial=given.get("source", ""),
                help_text="Stands beside each line of past work, such as “owner's own list, 2024”. Empty: the file's name.",
            )
            reading += ["keep_lower", "source"]
        if kind == ListKind.CARS:
            self.fields["as_stamped"] = forms.BooleanField(
                label="Keep questioned numbers as they stand",
                required=False,
                initial=given["as_stamped"],
                help_text="Where a check digit or model year doesn't fit, and the list was compared with the cars.",
            )
            reading.append("as_stamped")
        for field in self.fields.values():
            field.widget.is_required = field.required
        self.parts = (("How it is read", tuple(reading)), ("Which column is what", tuple(columns)))

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        taken: dict[str, str] = {}
        for each in COLUMNS[self.listed.kind]:
            at = data.get(f"column_{each.code}")
            if not at:
                continue
            if at in taken:
                self.add_error(f"column_{each.code}", f"This column is “{taken[at]}” already.")
            else:
                taken[at] = each.label
        return data

    def act_arguments(self) -> dict[str, Any]:
        data = super().act_arguments()
        places = {
            each.code: int(at)
            for each in COLUMNS[self.listed.kind]
            if (at := data.pop(f"column_{each.code}", ""))
        }
        seen = data.pop("seen_version")
        said = {"order": "", "unit": "", "keep_lower": False, "as_stamped": False, "source": "", **data}
        return {"seen_version": seen, "choices": {"places": places, **said}}


class TakeInForm(EditForm):
    without_bad = forms.BooleanField(label="Leave out the rows that can't be taken in", required=False)

    def __init__(self, *args: Any, bad: int, **kwargs: Any):
        super().__init__(*args, **kwargs)
        if not bad:
            del self.fields["without_bad"]


class UndoListForm(ActForm):
    reason = forms.CharField(label="Why it is undone", max_length=200)


class DropListForm(ActForm):
    pass
