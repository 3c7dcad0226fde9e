"""Forms of photos and documents. Several files go in one form; each is judged by itself."""

from __future__ import annotations

from django import forms

from vehicles.models import Moment
from workshop.forms.base import ActForm, EditForm

# Only what the server reads itself: some telephones turn their own format into JPEG by themselves for such a field.
PICTURES = "image/jpeg,image/png,image/webp"
ACCEPT = f"{PICTURES},application/pdf"


class ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class FilesField(forms.FileField):
    """Answers a list of uploads. Whether each can be kept is said file by file, after reading it."""

    widget = ManyFiles(attrs={"accept": ACCEPT})

    def __init__(self, **kwargs):
        super().__init__(allow_empty_file=True, **kwargs)

    def clean(self, data, initial=None):
        rows = data if isinstance(data, (list, tuple)) else [data]
        return [super(FilesField, self).clean(row, initial) for row in rows] or super().clean(None, initial)


class AddFilesForm(ActForm):
    repeats = True  # the browser can't fill in files again, so there is nothing to ask about

    files = FilesField(
        label="Photos or PDFs",
        help_text="Several at once. JPEG, PNG or WEBP up to 40 MB, PDF up to 20 MB.",
        error_messages={"required": "Choose at least one photo or PDF."},
    )
    caption = forms.CharField(
        label="What it shows",
        max_length=200,
        required=False,
        help_text="One line for all files sent together; each can be given its own afterwards.",
    )
    moment = forms.ChoiceField(
        label="Before or after the work",
        choices=[("", "Neither"), *Moment.choices],
        required=False,
        widget=forms.RadioSelect,
    )

    def __init__(
        self,
        *args,
        asks_moment: bool = False,
        needs_caption: bool = False,
        pictures_only: bool = False,
        **kwargs,
    ):
        super().__init__(*args, **kwargs)
        self.pictures_only = pictures_only
        if pictures_only:
            self.fields["files"].label = "Photos"
            self.fields["files"].help_text = "Several at once. JPEG, PNG or WEBP up to 40 MB."
            self.fields["files"].widget.attrs["accept"] = PICTURES
        if not asks_moment:
            del self.fields["moment"]
        self.fields["caption"].widget.attrs["data-photo-caption"] = ""
        if needs_caption:
            self.fields["caption"].required = True
            self.fields["caption"].label = "What the document is"
            self.fields[
                "caption"
            ].help_text = "“Weighbridge ticket”, “build record”, “invoice of the tow bar”."
            self.fields["caption"].error_messages["required"] = "Say what the document is."


class DescribeForm(EditForm):
    caption = forms.CharField(label="What it shows", max_length=200, required=False)
    moment = forms.ChoiceField(
        label="Before or after the work",
        choices=[("", "Neither"), *Moment.choices],
        required=False,
        widget=forms.RadioSelect,
    )


class BecauseForm(ActForm):
    because = forms.CharField(label="Because", max_length=200)
