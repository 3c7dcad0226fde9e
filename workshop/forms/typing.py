"""What a tablet's keyboard and a browser are told of a field: which keys to show, what not to alter or propose."""

from __future__ import annotations

from django import forms

# Read off a part, a plate or a paper, character by character: nothing is corrected there, capitals are usual.
CODES = frozenset(
    {
        "certificate",
        "currency",
        "engine_number",
        "iso_class",
        "label",
        "number",
        "old_number",
        "part_number",
        "plate",
        "serial",
        "thread",
        "vin",
    }
)
PERSONAL = frozenset({"name", "phone", "email", "sign_in_name"})
# As it was chosen, small letters and all.
NAMES = frozenset({"sign_in_name", "username"})
_AS_TYPED = {"autocapitalize": "none", "autocorrect": "off", "spellcheck": "false"}


def guide_typing(field: forms.Field, name: str) -> None:
    """Set the attributes that the field's own form left open.

    Only where a customer is named is the browser kept from proposing what was typed before: on a tablet that
    several people use, its list is everybody's. Elsewhere it stays on, for with it off some browsers no longer
    fill a form in again on Back, which is all that there is without our scripts.
    """
    widget = field.widget
    if isinstance(widget, forms.MultiWidget):
        for part in widget.widgets:
            if isinstance(part, forms.TextInput):
                part.attrs.setdefault("enterkeyhint", "next")
        return
    if not isinstance(widget, (forms.TextInput, forms.Textarea)) or widget.is_hidden:
        return
    attrs = widget.attrs
    if isinstance(widget, forms.PasswordInput):
        attrs.setdefault("autocomplete", "off")
    elif isinstance(widget, forms.EmailInput):
        for key, value in _AS_TYPED.items():
            attrs.setdefault(key, value)
    elif isinstance(widget, forms.NumberInput):
        attrs.setdefault("inputmode", "numeric")
    elif name in CODES:
        for key, value in {**_AS_TYPED, "autocapitalize": "characters"}.items():
            attrs.setdefault(key, value)
    elif name in NAMES:
        for key, value in _AS_TYPED.items():
            attrs.setdefault(key, value)
    elif name == "phone":
        attrs.setdefault("inputmode", "tel")
    elif "inputmode" not in attrs:
        attrs.setdefault("autocapitalize", "words" if name == "name" else "sentences")
    if isinstance(widget, forms.Textarea):
        # Spoken, a text comes whole: cut off in silence at the limit, its end would be lost. The form says the limit.
        attrs.pop("maxlength", None)
        attrs.setdefault("spellcheck", "true")
        attrs.setdefault("enterkeyhint", "enter")
    else:
        attrs.setdefault("enterkeyhint", "next")
        if name in PERSONAL:
            attrs.setdefault("autocomplete", "off")
