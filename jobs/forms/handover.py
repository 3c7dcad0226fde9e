"""Forms of handing over: who collects the car and how, signatures, revisions, erasure."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.db import IntegrityError, OperationalError
from django.forms.boundfield import BoundField
from django.http import HttpRequest

from jobs.forms.job import Grouped
from jobs.models import Handover
from jobs.models.handover import LeftHow, SignatureMethod, SignerPart
from jobs.sheets import SheetData
from jobs.sheets.words import lower_first
from jobs.signing import WAYS, Shown
from vehicles import people
from vehicles.models import Keeper, KeeperPart, Vehicle, VehicleKeeper
from vehicles.models.outstanding import TellingAnswer
from workshop.acting import AlreadySent, is_busy
from workshop.forms.base import ActForm, by_of
from workshop.forms.fields import AmountField
from workshop.forms.signing import SignedForm, SignerForm
from workshop.models import Person
from workshop.permissions import May

DANGER_FIELDS = ("danger_told", "danger_answer", "danger_words", "danger_witness")


def _length(name: str) -> int:
    return Handover._meta.get_field(name).max_length


class ReadyForm(SignedForm):
    """Nothing to fill in but who calls it: the gate decides."""

    right = May.CALL_READY


# How people at the desk usually know each other: suggestions, not a list to choose from.
KNOWN_HOW = ("By sight", "Papers shown", "Rang back on the number on record", "By the message of the owner")
# More people than this are chosen from a list instead of a row of buttons.
MOST_BUTTONS = 6


class Collectors(forms.ModelChoiceField):
    """The car's people, each with the parts that they play for it."""

    widget = forms.RadioSelect

    def __init__(self, **kwargs):
        super().__init__(None, empty_label=None, **kwargs)
        self.parts: dict = {}

    def of(self, vehicle: Vehicle, day: date) -> None:
        """Two queries: the people, and what each is for the car."""
        self.parts = {}  # a form's fields are shallow copies: what is changed in place would be everybody's
        rows = VehicleKeeper.objects.on(day).filter(vehicle=vehicle).order_by("part")
        for keeper, part in rows.values_list("keeper", "part"):
            self.parts.setdefault(keeper, []).append(lower_first(KeeperPart(part).label))
        if len(self.parts) > MOST_BUTTONS:
            self.widget = forms.Select()
            self.empty_label = "Choose…"
        self.queryset = people.people_of(vehicle, day).order_by("name")

    def label_from_instance(self, keeper: Keeper) -> str:
        return f"{keeper.name} ({', '.join(self.parts.get(keeper.pk, ()))})"


class HandoverForm(Grouped, SignerForm):
    """What is still asked when the car leaves, in the order of a front desk: who is here, the car, what was said.

    Who hands it over is asked here, for the sheet names them; their PIN with the signatures, in the second step.

    `dangers` are what the car leaves with that is dangerous: asked about only where there is any.
    """

    right = May.HAND_OVER
    collected_by = Collectors(label="Who collects the car")
    identified_by = forms.CharField(
        label="How they were known",
        max_length=_length("identified_by"),
        help_text="By sight, by papers shown. Don't write down the papers' numbers.",
        widget=forms.TextInput(attrs={"list": "known-how"}),
    )
    collects_because = forms.CharField(
        label="Why this person collects it",
        max_length=_length("collects_because"),
        required=False,
        help_text="Only for somebody who is not on record as one who may collect the car: who sent them, and how you "
        "made sure.",
    )
    odometer = AmountField("distance", units=["km", "mi"], low=0, required=False, label="Odometer on leaving")
    odometer_not_readable = forms.CharField(
        label="Odometer not readable, because", max_length=200, required=False
    )
    lower_because = forms.CharField(label="Lower than before, because", max_length=200, required=False)
    keys_returned = forms.IntegerField(label="Keys given back", min_value=0, max_value=99)
    keys_note = forms.CharField(
        label="Where the other keys are", max_length=_length("keys_note"), required=False
    )
    left_how = forms.ChoiceField(
        label="How the car leaves", choices=LeftHow, widget=forms.RadioSelect, initial=LeftHow.DRIVEN
    )
    danger_told = forms.CharField(
        label="What was told about the danger", required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    danger_answer = forms.ChoiceField(
        label="What was answered",
        required=False,
        choices=[("", "Choose…")]
        + [row for row in TellingAnswer.choices if row[0] != TellingAnswer.NO_ANSWER],
    )
    danger_words = forms.CharField(label="In their words", max_length=300, required=False)
    danger_witness = forms.ModelChoiceField(
        None, label="Witness, where they decline to sign", required=False, empty_label="Nobody"
    )
    told = forms.CharField(
        label="Explained and asked",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="It stands on the part that the owner may take off.",
    )

    parts = [
        ("Who is here", ("collected_by", "identified_by", "collects_because")),
        (
            "The car",
            ("odometer", "keys_returned", "left_how", "odometer_not_readable", "lower_because", "keys_note"),
        ),
        ("Something dangerous leaves with the car", DANGER_FIELDS),
        ("What was said", ("told",)),
    ]
    # Asked for only now and then: folded away until one of them has something in it.
    seldom = {
        "collects_because": "Somebody else collects it",
        "odometer_not_readable": "It can't be read, or shows less than before",
        "lower_because": "",
        "keys_note": "Not all keys go back",
    }

    def __init__(self, *args, job, day, dangers=(), read=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["signer"].label = "Who hands it over, for the workshop"
        self.job = job
        self.fields["collected_by"].of(job.vehicle, day)
        self.fields["danger_witness"].queryset = Person.objects.active_staff().order_by("name")
        check_in = getattr(job, "check_in", None)
        if check_in is not None:
            self.fields["keys_returned"].help_text = f"{check_in.keys} came in."
        self.fields["odometer"].help_text = (
            "Needed, unless it can't be read." if read is None else f"Read {read}. Empty: that still stands."
        )
        if not dangers:
            for name in DANGER_FIELDS:
                del self.fields[name]
        else:
            for name, sentence in (
                ("danger_told", "Say what was told about the danger."),
                ("danger_answer", "Say what was answered. The car does not leave before that."),
            ):
                self.fields[name].required = True
                self.fields[name].error_messages["required"] = sentence
        self.dangers = list(dangers)

    @property
    def sections(self) -> list[dict[str, Any]]:
        """For the template: titled parts; of each the fields that are always asked, and those that are folded away."""
        return [
            {"title": row["title"], "asked": self._asked(row["fields"]), "folds": self._folds(row["fields"])}
            for row in self.groups
        ]

    def _asked(self, fields: list[BoundField]) -> list[BoundField]:
        return [field for field in fields if field.name not in self.seldom]

    def _folds(self, fields: list[BoundField]) -> list[dict[str, Any]]:
        folds: list[dict[str, Any]] = []
        for field in fields:
            if field.name not in self.seldom:
                continue
            if title := self.seldom[field.name]:
                folds.append({"title": title, "fields": [], "open": False})
            folds[-1]["fields"].append(field)
            folds[-1]["open"] |= bool(field.errors or field.value())
        return folds

    def rehearsed(
        self, act: Callable, *, request: HttpRequest, moment: datetime | None = None, **fixed: Any
    ) -> SheetData | None:
        """What the act would issue at `moment`, or None with everything it refuses added to the form.

        The act is asked even where a field could not be read, with that field empty: what else is missing is then
        shown with it, in one answer. `by` is who it was rehearsed by, and when.
        """
        clean = self.is_valid()
        unread = set(self.errors)
        for name, field in self.fields.items():
            if name not in self.cleaned_data and name != "key":
                text = isinstance(field, (forms.CharField, forms.ChoiceField))
                empty = "" if text and not isinstance(field, forms.ModelChoiceField) else None
                self.cleaned_data[name] = empty
        self.cleaned_data.setdefault("key", uuid4())
        self.cleaned_data["made_at"] = moment
        self.by = by_of(request, self)
        try:
            answer = act.rehearse(by=self.by, **fixed, **self.act_arguments())
        except AlreadySent as refusal:
            self.add_refusal(refusal)
        except ValidationError as refusal:
            self.add_refusal(_leave_out(refusal, unread))
        except OperationalError as error:
            if not is_busy(error):
                raise
            self.add_error(None, "The database was busy. Nothing was saved yet: send the form again.")
        except IntegrityError:
            self.add_error(
                None,
                "Somebody else wrote something at the same moment. Nothing was saved yet: send the form again.",
            )
        else:
            return answer if clean else None
        return None


def _leave_out(refusal: ValidationError, fields: set[str]) -> ValidationError:
    """A field that could not be read is not called missing as well."""
    if not hasattr(refusal, "error_dict"):
        return refusal
    return ValidationError({name: rows for name, rows in refusal.error_dict.items() if name not in fields})


class UnfinishedForm(HandoverForm):
    unfinished_because = forms.CharField(
        label="Why the car leaves before it is done",
        max_length=_length("unfinished_because"),
        help_text="It is printed on the part that stays with the car: name nobody.",
    )
    parts = [("Why", ("unfinished_because",)), *HandoverForm.parts]


def ways(part: str, *, before: bool) -> list[tuple[str, str]]:
    """How one of the two may sign. `before`: the sheet is not issued yet, so that paper comes afterwards."""
    words = {
        SignatureMethod.GLASS: "Signs here",
        SignatureMethod.ACCOUNT: "Confirms, signed in",
        SignatureMethod.PAPER: "Later, on paper" if before else "Signed on paper",
        SignatureMethod.DECLINED: "Declines to sign",
    }
    return [(method.value, words[method]) for method in WAYS[part]]


def _ink(label: str) -> forms.CharField:
    # Its own length is judged where the sentence for it is: a field's limit would cut nothing and say less.
    # No hidden input: to the script that keeps what is typed, those say which form it is.
    return forms.CharField(
        label=label,
        required=False,
        widget=forms.Textarea(attrs={"data-ink": "", "hidden": "", "aria-label": "What is drawn"}),
    )


class Signatures(forms.Form):
    """The second step of handing over: what was shown, and how both sign it. Joined with the form of the first, and
    with the PIN of whoever hands over.
    """

    shown = forms.CharField(widget=forms.HiddenInput, required=False)
    lead_signs = forms.ChoiceField(label="For the workshop", widget=forms.RadioSelect, required=False)
    lead_ink = _ink("Signature for the workshop")
    collector_signs = forms.ChoiceField(
        label="Who collects the car", widget=forms.RadioSelect, required=False
    )
    collector_ink = _ink("Signature of who collects the car")
    collector_witness = forms.ModelChoiceField(
        None, label="Who saw that they decline", required=False, empty_label="Choose…"
    )
    ticket: Shown | None = None

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.person = self.signed_by
        for part in SignerPart:
            field = self.fields[f"{part}_signs"]
            field.choices = ways(part, before=True)
            # Without a script nothing can be drawn: paper is what always works.
            field.initial = SignatureMethod.PAPER.value
        self.fields["collector_witness"].queryset = (
            Person.objects.active_staff().exclude(pk=self.person.pk).order_by("name")
        )

    def clean(self) -> dict[str, Any]:
        """The moment and the hashes of what was shown come out of the ticket that the server gave with it."""
        cleaned = super().clean()
        # What is left over from a way to sign that was chosen before says nothing.
        for part in SignerPart:
            if cleaned.get(f"{part}_signs") != SignatureMethod.GLASS:
                cleaned[f"{part}_ink"] = ""
        if cleaned.get("collector_signs") != SignatureMethod.DECLINED:
            cleaned["collector_witness"] = None
        self.ticket = Shown.read(cleaned.pop("shown", ""), job=self.job, person=self.person)
        cleaned.update(made_at=self.ticket.made_at, shown=self.ticket.hashes)
        return cleaned


class SignedHandover(Signatures, SignedForm, HandoverForm):
    pass


class SignedUnfinished(Signatures, SignedForm, UnfinishedForm):
    pass


class ReviseForm(ActForm):
    change_note = forms.CharField(
        label="What this revision changes, and why",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="It is printed on the part that stays with the car: name nobody.",
    )


class EraseForm(ActForm):
    reason = forms.CharField(
        label="Why it is erased",
        max_length=200,
        help_text="Without naming anybody: it is printed on the sheet that stays.",
    )


class SignForm(SignedForm):
    """For one of the two who sign a sheet that was issued; the page says which. The `signer` is of the workshop:
    signs for it, or writes down how the other one signed.
    """

    right = May.HAND_OVER

    method = forms.ChoiceField(label="How", widget=forms.RadioSelect)
    ink = _ink("Signature")
    witness = forms.ModelChoiceField(
        None, label="Witness, where they decline to sign", required=False, empty_label="Nobody"
    )

    def __init__(self, *args, signer_part, **kwargs):
        super().__init__(*args, **kwargs)
        if signer_part != SignerPart.LEAD:
            self.fields["signer"].label = "Who writes it down"
        field = self.fields["method"]
        field.choices = ways(signer_part, before=False)
        field.initial = SignatureMethod.PAPER.value
        if signer_part == SignerPart.LEAD:
            del self.fields["witness"]
        else:
            self.fields["witness"].queryset = (
                Person.objects.active_staff().exclude(pk=self.signed_by.pk).order_by("name")
            )
