from django import forms

from workshop.forms.base import ActForm


class ErasePersonForm(ActForm):
    """`alone` are words of the name that stand by themselves in texts: (word, in how many places)."""

    also = forms.MultipleChoiceField(
        label="Also take out, wherever it stands by itself",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="The whole name goes in any case. A part of it may be a word of the trade, so it is chosen here.",
    )
    reason = forms.CharField(
        label="Why it is erased",
        max_length=200,
        help_text="Such as “asked for it by letter of 3 May”. Name nobody: it is kept, and printed on the new sheets.",
    )
    sure = forms.BooleanField(label="It can't be undone, and I have read what goes and what stays")

    def __init__(self, *args, alone: list[tuple[str, int]], **kwargs):
        super().__init__(*args, **kwargs)
        if alone:
            self.fields["also"].choices = [
                (word, f"“{word}”, in {count} place{'' if count == 1 else 's'}") for word, count in alone
            ]
        else:
            del self.fields["also"]

    def act_arguments(self):
        arguments = super().act_arguments()
        arguments.pop("sure")
        return arguments
