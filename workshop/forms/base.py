"""Forms of acts: what was cleaned is the act's arguments, and what the act refuses lands beside its field."""

from __future__ import annotations

import json
from collections.abc import Callable
from copy import copy
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import IntegrityError, OperationalError, models
from django.db.models.fields import BLANK_CHOICE_DASH
from django.forms.boundfield import BoundField
from django.http import HttpRequest

from workshop.acting import AlreadySent, By, ChangedMeanwhile, SentBefore, is_busy
from workshop.forms import meanwhile
from workshop.forms.fields import DayField, MomentField, NumberField
from workshop.forms.typing import guide_typing
from workshop.queued import clock_of, is_queued
from workshop.saved import remember_saved


def by_of(request: HttpRequest, form: forms.Form, again: bool | None = None) -> By:
    """Who acts, where, and when it was made: as typed, else as the device's clock says, put right by the server's."""
    device = request.device
    device_time, made_at = clock_of(request)
    return By(
        person=getattr(form, "signed_by", request.user),
        session_person=request.user,
        device=device if device and device.pk else None,
        made_at=form.cleaned_data.get("made_at") or made_at,
        device_time=device_time,
        key=form.cleaned_data["key"],
        again=again,
    )


class ActForm(forms.Form):
    """Form of one act. `key` comes from the server with the empty form: sent twice, it is one record.

    `repeats`: the same content soon again is usual here and is not asked about. `parts` draws a long form in
    titled groups: ((title, (field, …)), …); what no group names comes last, without a title.
    """

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    answer: Any = None
    repeats = False
    parts: tuple[tuple[str, tuple[str, ...]], ...] = ()
    # Groups of fields of which one is needed: each says so, and none filled in is refused beside the first.
    one_of: tuple[tuple[str, ...], ...] = ()
    required_css_class = "required"

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            speak(field, field.label or name.replace("_", " "))
            guide_typing(field, name)
        for names in self._asked_groups():
            for name in names:
                self.fields[name].either = f"one of these {'two ' if len(names) == 2 else ''}is needed"

    def _asked_groups(self) -> list[tuple[str, ...]]:
        return [names for names in self.one_of if all(name in self.fields for name in names)]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        data = self.cleaned_data if data is None else data
        for names in self._asked_groups():
            if all(data.get(name) in (None, "") for name in names) and not any(
                name in self.errors for name in names
            ):
                labels = " or ".join(f"“{self[name].label}”" for name in names)
                self.add_error(names[0], f"One of these is needed: {labels}.")
        return data

    @property
    def is_mixed(self) -> bool:
        """Some fields are needed, some are not: then both are marked. A lone tick box is neither."""
        asked = (each for each in self.visible_fields() if not isinstance(each.field, forms.BooleanField))
        return len({each.field.required for each in asked}) > 1

    @property
    def differing(self) -> list[BoundField]:
        """Fields that somebody else wrote into meanwhile."""
        return [field for field in self.visible_fields() if getattr(field, "meanwhile", None)]

    @property
    def groups(self) -> list[dict[str, Any]]:
        """For the template: the visible fields in the groups of `parts`; empty without `parts`."""
        if not self.parts:
            return []
        shown = {field.name: field for field in self.visible_fields()}
        rows = [
            {"title": title, "fields": [shown.pop(name) for name in names if name in shown]}
            for title, names in self.parts
        ]
        rest = list(shown.values())
        return [row for row in [*rows, {"title": "", "fields": rest}] if row["fields"]]

    def act_arguments(self) -> dict[str, Any]:
        """What the act is called with: all cleaned fields but the key and the time."""
        return {name: value for name, value in self.cleaned_data.items() if name not in ("key", "made_at")}

    def try_act(self, act: Callable, *, request: HttpRequest, **fixed: Any) -> bool:
        """Perform the act; True when done (`answer` holds what it returned), False when it refused."""
        done = self._try(act, request, fixed)
        if not done:
            # The page that comes back may have no form any more to show it beside: the tablet's list says it too.
            request.refusals = self.sentences()
        return done

    def sentences(self) -> list[str]:
        """Everything that is wrong, each with the label of its field."""
        return [
            f"{self[name].label}: {text}" if name in self.fields and not self[name].is_hidden else text
            for name, errors in self.errors.as_data().items()
            for error in errors
            for text in ([error.from_afar] if hasattr(error, "from_afar") else error.messages)
        ]

    def _try(self, act: Callable, request: HttpRequest, fixed: dict[str, Any]) -> bool:
        try:
            by = by_of(request, self, self._again(request))
            self.answer = act(by=by, **fixed, **self.act_arguments())
        except ChangedMeanwhile as refusal:
            refusal.reader = request.user
            self._show_what_is_on_record(refusal)
            return False
        except AlreadySent as refusal:
            # What this key saved is saved. Sending once more is then a decision to write a second record.
            self.add_refusal(refusal)
            remember_saved(request, self.cleaned_data["key"])
            self._put("key", uuid4())
            return False
        except SentBefore as refusal:
            self.add_refusal(refusal)
            self.fields["again"] = forms.CharField(required=False, widget=forms.HiddenInput)
            self._put("again", self.cleaned_data["key"])
            return False
        except ValidationError as refusal:
            self.add_refusal(refusal)
            return False
        except IntegrityError:
            # Two people at once: the database kept the rule that the act's own look could not see.
            self.add_error(
                None,
                "Somebody else wrote something at the same moment that this does not go with. Nothing of this form "
                "was saved. Look at the page as it is now, then send again.",
            )
            return False
        except OperationalError as error:
            if not is_busy(error):
                raise
            self.add_error(None, "The database was busy. Nothing was saved yet: send the form again.")
            return False
        remember_saved(request, self.cleaned_data["key"])
        request.saved_key = str(self.cleaned_data["key"])
        request.saved_record = self.answer
        return True

    def _again(self, request: HttpRequest) -> bool | None:
        """Whether to ask about the same content sent a moment ago; a script that sends keeps its key itself."""
        if self.repeats or request.htmx or is_queued(request):
            return None
        return self.data.get(self.add_prefix("again")) == str(self.cleaned_data["key"])

    def _put(self, name: str, value: Any) -> None:
        """Write into what the form was sent with, so that it comes back with it."""
        self.data = self.data.copy()
        self.data[self.add_prefix(name)] = str(value)

    def add_refusal(self, refusal: ValidationError) -> None:
        """Errors beside the field they name; a code "field:name" places a constraint's sentence; else at the top."""
        if hasattr(refusal, "error_dict"):
            rows = [(name, error) for name, errors in refusal.error_dict.items() for error in errors]
        else:
            rows = [(NON_FIELD_ERRORS, error) for error in refusal.error_list]
        for name, error in rows:
            if str(error.code or "").startswith("field:"):
                name = error.code.removeprefix("field:")
            self.add_error(name if name in self.fields else None, error)

    def _show_what_is_on_record(self, refusal: ChangedMeanwhile) -> None:
        # Left lying and taken up again later, it is compared anew: what it had seen goes along.
        self.seen_before = json.dumps(
            {name: self.data.get(self.add_prefix(name), "") for name in ("seen_version", "seen_values")}
        )
        self.add_error(None, meanwhile.compare(self, refusal))
        if "seen_version" in self.fields:
            # Saving again is then a decision made with both texts in view.
            self._put("seen_version", refusal.record.version)


_DJANGOS_DASHES = BLANK_CHOICE_DASH[0][1]


def speak(field: forms.Field, label: str) -> None:
    """Put the shop's words where the form library has its own: what is missing, what is too low, nothing chosen."""
    messages = field.error_messages
    if messages.get("required") == forms.Field.default_error_messages["required"]:
        several = isinstance(field, forms.MultipleChoiceField | forms.ModelMultipleChoiceField)
        is_needed = "are needed" if several and label.endswith("s") else "is needed"
        messages["required"] = f"{label[:1].upper()}{label[1:]} {is_needed} here."
    for validator in field.validators:
        if isinstance(validator, MinValueValidator):
            validator.message = f"Give {validator.limit_value} or more."
        elif isinstance(validator, MaxValueValidator):
            validator.message = f"Give {validator.limit_value} or less."
    nothing = "choose" if field.required else "–"
    if isinstance(field, forms.ModelChoiceField):
        if field.empty_label == _DJANGOS_DASHES:
            field.empty_label = nothing
    elif isinstance(field, forms.ChoiceField):
        field.choices = [(key, nothing if text == _DJANGOS_DASHES else text) for key, text in field.choices]


class EditForm(ActForm):
    """Form that changes a record others may be changing too.

    It carries which version was seen, and what each field began with: a field that was not touched takes what
    somebody else wrote into it meanwhile (`workshop.forms.meanwhile`).
    """

    seen_version = forms.IntegerField(widget=forms.HiddenInput)
    seen_values = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        # Asked when the field is drawn: a form's own beginning may add to what it begins with.
        self.fields["seen_values"].initial = lambda: meanwhile.begun_with(self)

    def act_arguments(self) -> dict[str, Any]:
        return {name: value for name, value in super().act_arguments().items() if name != "seen_values"}


class ModelActForm(ActForm, forms.ModelForm):
    """Takes its fields from a model, and nothing else: the act checks the record's rules, in one place.

    Decimals, days and times get the shop's own fields (comma or point, the browser's date control).
    """

    # The check constraints of these are looked at before the act, so that all is said at once: only for fields
    # that the act writes as they were typed.
    early: tuple[str, ...] = ()

    def _post_clean(self) -> None:
        """Leave the instance alone: the act builds, checks and saves the record."""
        if not self.early:
            return
        row = copy(self.instance)
        good = [name for name in self.early if name in self.cleaned_data]
        for name in good:
            setattr(row, name, self.cleaned_data[name])
        exclude = {field.name for field in row._meta.fields} - set(good)
        for constraint in row._meta.constraints:
            if not isinstance(constraint, models.CheckConstraint):
                continue
            try:
                constraint.validate(type(row), row, exclude=exclude)
            except ValidationError as refusal:
                names = set(constraint.condition.referenced_base_fields)
                if len(names) == 1 and not str(constraint.violation_error_code or "").startswith("field:"):
                    self.add_error(names.pop(), refusal.messages)
                else:
                    self.add_refusal(refusal)

    def save(self, commit: bool = True):
        raise TypeError("An ActForm is saved by its act.")


def trade_field(field: models.Field, **kwargs: Any):
    """`formfield_callback` for model forms."""
    if isinstance(field, models.DecimalField):
        options = {
            "label": kwargs.get("label") or _label(field),
            "required": not field.blank and not field.null,
            "help_text": field.help_text,
        }
        return NumberField(**{**options, **_only(kwargs)})
    if isinstance(field, models.DateTimeField):
        return field.formfield(form_class=MomentField, widget=MomentField.widget, **kwargs)
    if isinstance(field, models.DateField):
        return field.formfield(form_class=DayField, widget=DayField.widget, **kwargs)
    if isinstance(field, models.TextField):
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
    return field.formfield(**kwargs)


def _label(field: models.Field) -> str:
    text = str(field.verbose_name)
    return text[:1].upper() + text[1:]


def _only(kwargs: dict[str, Any]) -> dict[str, Any]:
    return {name: kwargs[name] for name in ("label", "help_text", "initial", "required") if name in kwargs}
