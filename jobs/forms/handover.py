"""Forms of handing over: who collects the car and how, signatures, revisions, erasure."""

from __future__ import annotations

from django import forms

from jobs.forms.job import Grouped
from jobs.models import Handover
from jobs.models.handover import LeftHow, SignatureMethod, SignerPart
from vehicles import people
from vehicles.models.outstanding import TellingAnswer
from workshop.forms.base import ActForm
from workshop.forms.fields import AmountField
from workshop.models import Person

DANGER_FIELDS = ("danger_told", "danger_answer", "danger_words", "danger_witness")


def _length(name: str) -> int:
    return Handover._meta.get_field(name).max_length


class ReadyForm(ActForm):
    """Nothing to fill in: the gate decides."""


class HandoverForm(Grouped, ActForm):
    """`dangers` are what the car leaves with that is dangerous: asked about only where there is any."""

    odometer = AmountField("distance", units=["km", "mi"], low=0, required=False, label="Odometer on leaving")
    odometer_not_readable = forms.CharField(
        label="Odometer not readable, because", max_length=200, required=False
    )
    lower_because = forms.CharField(label="Lower than before, because", max_length=200, required=False)
    collected_by = forms.ModelChoiceField(None, label="Who collects the car", empty_label="Choose…")
    identified_by = forms.CharField(
        label="How they were known",
        max_length=_length("identified_by"),
        help_text="By sight, by papers shown. Don't write down the papers' numbers.",
    )
    collects_because = forms.CharField(
        label="Why this person collects it",
        max_length=_length("collects_because"),
        required=False,
        help_text="Only for somebody who is not on record as one who may collect the car.",
    )
    left_how = forms.ChoiceField(
        label="How the car leaves", choices=LeftHow, widget=forms.RadioSelect, initial=LeftHow.DRIVEN
    )
    keys_returned = forms.IntegerField(label="Keys returned", min_value=0, max_value=99)
    keys_note = forms.CharField(
        label="Where the other keys are", max_length=_length("keys_note"), required=False
    )
    told = forms.CharField(
        label="What was said",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="What was explained and asked. It stands on the page that the owner may take off.",
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

    parts = [
        ("The car", ("odometer", "odometer_not_readable", "lower_because", "left_how")),
        ("Who collects it", ("collected_by", "identified_by", "collects_because")),
        ("Keys", ("keys_returned", "keys_note")),
        ("Something dangerous leaves with the car", DANGER_FIELDS),
        ("Said at handover", ("told",)),
    ]

    def __init__(self, *args, job, day, dangers=(), read=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["collected_by"].queryset = people.people_of(job.vehicle, day).order_by("name")
        self.fields["danger_witness"].queryset = Person.objects.active_staff().order_by("name")
        check_in = getattr(job, "check_in", None)
        if check_in is not None:
            self.fields["keys_returned"].help_text = f"{check_in.keys} handed in at check-in."
        if read is not None:
            self.fields[
                "odometer"
            ].help_text = f"Read in this visit: {read}. Leave it empty where that still stands."
        if not dangers:
            for name in DANGER_FIELDS:
                del self.fields[name]
        else:
            for name in ("danger_told", "danger_answer"):
                self.fields[name].required = True
            self.fields["danger_told"].error_messages["required"] = "Say what was told about the danger."
            self.fields["danger_answer"].error_messages["required"] = (
                "Say what was answered. The car does not leave before that."
            )
        self.dangers = list(dangers)


class UnfinishedForm(HandoverForm):
    unfinished_because = forms.CharField(
        label="Why the car leaves before it is done",
        max_length=_length("unfinished_because"),
        help_text="It is printed on the part that stays with the car: name nobody.",
    )
    parts = [("Why", ("unfinished_because",)), *HandoverForm.parts]


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


class SignForm(ActForm):
    """For one of the two who sign; the page says which."""

    method = forms.ChoiceField(label="How", widget=forms.RadioSelect)
    witness = forms.ModelChoiceField(
        None, label="Witness, where they decline to sign", required=False, empty_label="Nobody"
    )

    def __init__(self, *args, signer_part, person, **kwargs):
        super().__init__(*args, **kwargs)
        if signer_part == SignerPart.LEAD:
            methods = [SignatureMethod.ACCOUNT, SignatureMethod.PAPER]
            del self.fields["witness"]
        else:
            methods = [SignatureMethod.PAPER, SignatureMethod.DECLINED]
            self.fields["witness"].queryset = (
                Person.objects.active_staff().exclude(pk=person.pk).order_by("name")
            )
        self.fields["method"].choices = [(method.value, method.label) for method in methods]
        self.fields["method"].initial = methods[0].value
