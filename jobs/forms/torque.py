from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from jobs.forms.earlier import EarlierField
from jobs.models import Procedure, ProcedureStage, ProcedureStep, TorqueReading
from jobs.models.procedure import StageKind
from jobs.models.torque import AngleBy, CheckMethod, CheckResult, DispositionKind, ReadingKind, ReadingVerdict
from jobs.odd_reading import Offer
from jobs.reading_rules import KINDS_OF_STAGE
from jobs.run_state import AGAIN, FastenerState, RunState, StageState, StepState
from jobs.through import ASKED, Through, of_reading, through_of
from workshop.engineering.units import BASE, UNITS, Amount, rounded, units_of
from workshop.forms.base import ActForm
from workshop.forms.fields import AmountField, MomentField
from workshop.forms.signing import SignedForm
from workshop.models import Person, TorqueTool
from workshop.models.shop import TorqueUnit
from workshop.models.tools import ToolKind
from workshop.permissions import May


class ProcedureField(forms.ModelChoiceField):
    """Each procedure with the cars that it says it is for."""

    def label_from_instance(self, obj: Procedure) -> str:
        return f"{obj} (for: {obj.applies_to})" if obj.applies_to else str(obj)


class StartRunForm(ActForm):
    procedure = ProcedureField(
        queryset=Procedure.objects.none(), label="Procedure", empty_label="Choose a procedure"
    )
    applies_confirmed = forms.BooleanField(
        label="The values are for this car",
        required=False,
        help_text="For a procedure that names other cars: compared with the maker's values for this one. It is "
        "printed on the sheet.",
    )
    where = forms.CharField(
        label="On which part of the car", max_length=80, required=False, help_text="Such as: front left."
    )
    made_at = MomentField(required=False, label="Begun earlier? When")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["procedure"].queryset = (
            Procedure.objects.filter(withdrawn_because="", versions__released_at__isnull=False)
            .distinct()
            .order_by("title")
        )
        if not self.is_bound:
            del self.fields["applies_confirmed"]  # asked only where the procedure names other cars
        elif not self.data.get("applies_confirmed"):
            self.fields["applies_confirmed"].widget = forms.HiddenInput()

    def add_error(self, field, error):
        if field == "applies_confirmed":
            self.fields[field].widget = forms.CheckboxInput()
        super().add_error(field, error)


def units_for(stage: StageState) -> list[str]:
    """Units that a reading at this stage may be typed in."""
    kind = stage.stage.kind
    if kind == StageKind.ANGLE:
        return ["deg"]
    if kind == StageKind.RESULT:
        target = next(iter(stage.targets.values()), None)
        return [unit.code for unit in units_of(UNITS[target.unit].dimension if target else "length")]
    return list(TorqueUnit.values)


# Through an extension off the square drive, in the order in which they are measured.
EXTENSION_LABELS = {
    "lever_length": "Wrench: grip to square drive",
    "extension_length": "Extension: drive to fastener",
    "extension_angle": "Angle between them",
}
EXTENSION_HELP = {
    "lever_length": "Only through an extension: from the middle of the grip to the square drive.",
    "extension_length": "From the square drive to the middle of the fastener. A straight bar along the axis needs none.",
    "extension_angle": "0° in line with the wrench, away from the hand; 90° square to it; 180° folded back.",
}


class EntryForm(ActForm):
    """What one reading and a round have in common. The stage decides which fields there are."""

    repeats = True  # the next fastener is clicked at the same value; going round again is usual

    step = forms.ModelChoiceField(queryset=ProcedureStep.objects.none(), widget=forms.HiddenInput)
    stage = forms.ModelChoiceField(queryset=ProcedureStage.objects.none(), widget=forms.HiddenInput)
    kind = forms.ChoiceField(choices=ReadingKind.choices, label="What happened")
    tool = forms.ModelChoiceField(queryset=TorqueTool.objects.none(), required=False, label="Tool")
    angle_by = forms.ChoiceField(choices=[("", "–"), *AngleBy.choices], required=False, label="Angle by")
    redo_reason = forms.CharField(label="Why it is done again", max_length=200, required=False)
    confirmed_odd = forms.BooleanField(label="Typed as meant: the unit is right", required=False)
    made_at = EarlierField(
        required=False,
        label="Done earlier? At what time",
        help_text="For what is written down later: both times stand on record, and it is judged by the tool's "
        "calibration on that day.",
    )

    def __init__(self, *args, state: RunState, of: StepState, stage: StageState, **kwargs):
        super().__init__(*args, **kwargs)
        self.of, self.at = of, stage
        self.fields["step"].queryset = ProcedureStep.objects.filter(version=state.version)
        self.fields["stage"].queryset = ProcedureStage.objects.filter(step__version=state.version)
        kind = stage.stage.kind
        self.fields["tool"].queryset = TorqueTool.objects.filter(
            kind__in=[ToolKind.ANGLE] if kind == StageKind.ANGLE else [ToolKind.SETTING, ToolKind.INDICATING]
        )
        self.initial.setdefault("step", of.step.pk)
        self.initial.setdefault("stage", stage.stage.pk)
        dimension = UNITS[units_for(stage)[0]].dimension
        self.fields["reading"] = AmountField(
            dimension, units=units_for(stage), required=False, label="Reading"
        )
        self.fields["running_torque"] = AmountField(
            "torque", units=list(TorqueUnit.values), required=False, label="Running torque of this fastener"
        )
        for name, label in EXTENSION_LABELS.items():
            units = ["deg"] if name == "extension_angle" else ["mm", "in"]
            self.fields[name] = AmountField(ASKED[name].dimension, units=units, required=False, label=label)
            self.fields[name].help_text = EXTENSION_HELP[name]
        self._leave_out(kind)

    def _leave_out(self, kind: str) -> None:
        gone = []
        if kind != StageKind.ANGLE:
            gone.append("angle_by")
        if kind in (StageKind.LOOSEN, StageKind.RESULT):
            gone.append("tool")
        if kind == StageKind.LOOSEN:
            gone.append("reading")
        if kind != StageKind.TORQUE:
            gone += ["confirmed_odd", *EXTENSION_LABELS]
        if not self.at.stage.add_running_torque:
            gone.append("running_torque")
        for name in gone:
            del self.fields[name]

    @property
    def made_at_typed(self) -> bool:
        """A time was typed: its fold stands open."""
        return self.is_bound and any(self.data.get(f"made_at_{part}") for part in ("time", "day"))

    @property
    def through(self) -> Through | None:
        """The extension that the fields name now; None without one, or where they can't be read yet."""
        if not set(EXTENSION_LABELS) <= set(self.fields):
            return None
        if not self.is_bound:
            typed = [self.initial.get(name) for name in EXTENSION_LABELS]
        elif any(name in self.errors for name in EXTENSION_LABELS):
            return None
        else:
            typed = [self.cleaned_data.get(name) for name in EXTENSION_LABELS]
        try:
            return through_of(*typed)
        except ValidationError:
            return None

    @property
    def opens_extension(self) -> bool:
        """The folded fields stand open while they are being filled in, or where something is wrong with them."""
        return bool(self.data.get("op")) or any(name in self.errors for name in EXTENSION_LABELS)


class ReadingForm(EntryForm):
    fastener = forms.IntegerField(label="Fastener")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["fastener"].widget.attrs.update(
            {"inputmode": "numeric", "min": 1, "max": self.of.step.fasteners}
        )

    def work_out(self, aim: Amount | None, *, without: bool = False) -> bool:
        """What the wrench is set to for `aim` at the fastener, put in as the number; nothing else is judged.

        `without` takes the extension off again. False where the extension can't be read: it is said beside it.
        """
        self.full_clean()
        wrong = {name: errors for name, errors in self.errors.items() if name in EXTENSION_LABELS}
        self._errors.clear()
        self.data = self.data.copy()
        if without:
            for name in EXTENSION_LABELS:
                self.data[f"{name}_value"] = ""
                self.cleaned_data[name] = None
        else:
            self._errors.update(wrong)
            if not wrong:
                try:
                    through_of(*(self.cleaned_data.get(name) for name in EXTENSION_LABELS))
                except ValidationError as refusal:
                    self.add_refusal(refusal)
            if self._errors:
                return False
        unit = self.data.get("reading_unit") or ""
        if aim is not None and unit in units_for(self.at):
            there, through = aim.to(unit), self.through
            setting = through.to_set(there) if through else Amount(rounded(there.value, unit), unit)
            self.data["reading_value"] = f"{setting.value:f}"
        return True

    @property
    def offers(self) -> list[Offer]:
        """What puts an odd number right with one tap."""
        rows = self.errors.as_data().get("reading", [])
        return [each for error in rows for each in (error.params or {}).get("offers", [])]

    @property
    def asks_odd(self) -> bool:
        return "confirmed_odd" in self.fields and (
            bool(self.data.get("confirmed_odd"))
            or any(error.code == "odd_unit" for error in self.errors.as_data().get("reading", []))
        )


class CorrectionForm(ReadingForm):
    """Puts right what was written down wrong. Begins with what stands on record."""

    def __init__(self, *args, wrong: TorqueReading, **kwargs):
        super().__init__(*args, **kwargs)
        for name in ("step", "stage", "made_at"):
            del self.fields[name]
        self.fields["redo_reason"].label = "What was written down wrong"
        self.fields["redo_reason"].required = True
        self.fields["redo_reason"].error_messages["required"] = "Say what was written down wrong."
        self.fields["fastener"].required = True
        begin = {
            "fastener": wrong.fastener,
            "kind": wrong.kind,
            "tool": wrong.tool_id,
            "angle_by": wrong.angle_by,
        }
        if wrong.typed is not None:
            begin["reading"] = Amount(wrong.typed, wrong.unit)
        if (taken := of_reading(wrong)) is not None:
            begin |= taken.amounts
        if wrong.running_torque is not None:
            begin["running_torque"] = Amount(wrong.running_torque, BASE["torque"])
        for name, value in begin.items():
            self.initial.setdefault(name, value)


class RoundForm(EntryForm):
    """Several fasteners at once: each reading says that it was entered together with others."""

    fasteners = forms.TypedMultipleChoiceField(
        coerce=int,
        label="Fasteners done, in this order",
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )

    field_order = [
        "fasteners",
        "tool",
        "kind",
        "angle_by",
        "reading",
        "running_torque",
        "confirmed_odd",
        *EXTENSION_LABELS,
        "redo_reason",
        "made_at",
    ]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["fasteners"].choices = [(n, f"{n}") for n in self.of.step.sequence]
        self.initial.setdefault("fasteners", [n for n in self.of.step.sequence if n in self.at.todo])
        kinds = KINDS_OF_STAGE[self.at.stage.kind]
        self.fields["kind"].choices = [(kind.value, kind.label) for kind in map(ReadingKind, kinds)]
        self.initial.setdefault("kind", kinds[0])
        for name, sentence in (
            ("fasteners", "Name the fasteners that were done."),
            ("tool", "Choose the tool that they were done with."),
            ("reading", "Give the value, with its unit."),
        ):
            if name in self.fields and not (name == "tool" and self.at.stage.kind == StageKind.ANGLE):
                self.fields[name].required = True
                self.fields[name].error_messages["required"] = sentence
        if not self.is_bound:
            self.fields.pop("confirmed_odd", None)
        self.order_fields(self.field_order)


class NewFittedForm(ActForm):
    what = forms.CharField(
        label="Which new fasteners, from where",
        max_length=200,
        help_text="Such as: 5 bolts M10x70 10.9, box from the maker, lot on the label.",
    )
    made_at = MomentField(required=False, label="Done earlier? When")


class SecondCheckForm(SignedForm):
    """Signed by somebody who took no reading in the step: they are offered first.

    Only who took one may say that nobody else is there.
    """

    right = May.SECOND_CHECK
    method = forms.ChoiceField(label="How it was checked", widget=forms.RadioSelect)
    tool = forms.ModelChoiceField(
        queryset=TorqueTool.objects.none(),
        label="Tool it was checked with",
        required=False,
        empty_label="None: by sight",
        help_text="Needed where torque was applied again or measured.",
    )
    result = forms.ChoiceField(
        label="What the check says",
        choices=CheckResult.choices,
        error_messages={"required": "Say whether the joint is in order."},
        widget=forms.RadioSelect,
    )
    found = forms.CharField(
        label="What was found that is not in order",
        max_length=300,
        required=False,
        help_text="Only then. The joint is worked on again, recorded, and checked anew.",
    )
    alone_because = forms.CharField(
        label="Nobody else is in the building, because",
        max_length=200,
        required=False,
        help_text="Only then. Your own re-check comes at least 10 minutes after the last reading was taken and "
        "written down, or a lead gives the reason. It is printed as such, and an independent re-check becomes an outstanding item.",
    )
    note = forms.CharField(
        label="What you saw",
        max_length=200,
        required=False,
        help_text="Such as: all marks in line, wrench clicked at once.",
    )
    made_at = MomentField(required=False, label="Done earlier? When")

    def __init__(self, *args, of: StepState, **kwargs):
        self.took = {row.made_by_id for row in of.readings}
        super().__init__(*args, **kwargs)
        methods = [CheckMethod(method) for method in of.check_methods]
        self.fields["method"].choices = [(method.value, method.label) for method in methods]
        if any(method.takes_a_tool for method in methods):
            self.fields["tool"].queryset = TorqueTool.objects.exclude(kind=ToolKind.ANGLE).filter(
                withdrawn_at=None
            )
            # Mostly it is applied again with what it was tightened with.
            used = (row.tool for row in reversed(of.readings) if row.tool_id and row.stands_for_work)
            self.initial.setdefault("tool", next((t for t in used if t.kind != ToolKind.ANGLE), None))
        else:
            del self.fields["tool"]
        if not self.took & {self.session_person.pk, self.signed_by.pk}:
            del self.fields["alone_because"]

    def people_who_sign(self) -> list[Person]:
        """Those who took no reading in the step first."""
        return sorted(super().people_who_sign(), key=lambda one: one.pk in self.took)

    def remarks(self, person: Person) -> list[str]:
        return [*(["took readings here"] if person.pk in self.took else []), *super().remarks(person)]

    def first_signer(self) -> Person | None:
        """Whoever may check it and is here, else the first who may."""
        if self.others and self.session_person.pk in self.took:
            return self.others[0]
        return super().first_signer()

    @property
    def others(self) -> list[Person]:
        """Who else than the session's own person may check it."""
        people = self.fields["signer"].people.values()
        return [one for one in people if one.pk not in self.took and one.pk != self.session_person.pk]

    @property
    def mine(self) -> bool:
        """The session's own person took no reading in it."""
        return self.session_person.pk not in self.took

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if data.get("alone_because") and self.signed_by.pk not in self.took and not self.mine:
            self.add_error(
                "signer",
                f"Nobody else is here: then {self.session_person}, who took readings, signs it. Choose that name.",
            )
        return data


class DisposeForm(SignedForm):
    """What may be decided about this reading. That it is accepted as it is, a lead signs, on whoever's session."""

    right = May.DISPOSITION
    kind = forms.ChoiceField(label="What is done", widget=forms.RadioSelect)
    reason = forms.CharField(label="Reason", max_length=300)
    source = forms.CharField(
        label="Maker's source that allows it",
        max_length=200,
        required=False,
        help_text="Needed where a reading above its limit is accepted.",
    )

    def __init__(self, *args, of: StepState, one: FastenerState, **kwargs):
        super().__init__(*args, **kwargs)
        above, lead = one.verdict == ReadingVerdict.ABOVE, bool(self.fields["signer"].people)
        kinds = [kind for kind in DispositionKind if kind in AGAIN]
        if above and of.by_sight_only:
            kinds = [DispositionKind.REPLACED]
        elif lead and one.counts and above:
            kinds.append(DispositionKind.ACCEPTED)
        elif lead and one.counts and one.verdict == ReadingVerdict.NOT_PROVEN:
            kinds.append(DispositionKind.ACCEPTED_UNPROVEN)
        self.fields["kind"].choices = [(kind.value, kind.label) for kind in kinds]
        if DispositionKind.ACCEPTED not in kinds:
            del self.fields["source"]
        self.asks_lead = any(kind not in AGAIN for kind in kinds)

    @property
    def is_signed(self) -> bool:
        return (
            self.is_bound and self["kind"].data in DispositionKind.values and self["kind"].data not in AGAIN
        )


class AbandonForm(ActForm):
    abandoned_because = forms.CharField(
        label="Why it is stopped, and how the joint was left",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Such as: bolt 3 stripped; all bolts hand-tight, wheel on stands. A tag on the car stays.",
    )
    made_at = MomentField(required=False, label="Done earlier? When")


class CompleteForm(ActForm):
    made_at = MomentField(required=False, label="Done earlier? When")
