from __future__ import annotations

from typing import Any

from django import forms

from workshop.forms.base import speak


class ArchiveFileForm(forms.Form):
    """A file that somebody brought. Whether it is an archive is said after reading it."""

    required_css_class = "required"

    file = forms.FileField(
        label="The archive",
        help_text="The ZIP file as it was handed out, not unpacked.",
        widget=forms.FileInput(attrs={"accept": "application/zip,.zip"}),
        error_messages={"required": "Choose the file.", "empty": "This file is empty."},
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            speak(field, field.label or name)
