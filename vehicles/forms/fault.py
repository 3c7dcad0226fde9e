from django import forms

from vehicles.forms.outstanding import DueFields
from vehicles.forms.places import PlaceField, position_field
from vehicles.models import Fault, FaultCode, Keeper, OutstandingItem, RootCause, Severity, Vehicle
from vehicles.models.fault import Reproduced
from vehicles.models.outstanding import OutstandingReason
from workshop.engineering.units import UNITS
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.forms.fields import AmountField, MomentField

# What diagnosis reads most comes first; every other unit follows, in its kind of quantity.
_OFTEN = ("V", "mV", "A", "mA", "ohm", "mohm", "bar", "kPa", "psi", "degC", "mm", "kg", "N", "%", "rpm", "s")
# In a menu of all units these would read as others do, or as nothing.
_IN_FULL = {"g0": "g (9.81 m/s²)", "1": "no unit, a count"}
_KIND_WORDS = {"ratio": "share", "count": "plain number"}


def units_by_kind() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every unit once, as (kind of quantity, [(code, label), …]): the kinds and the units that are usual first."""
    usual = [code for code in _OFTEN if code in UNITS]
    codes = [*usual, *(code for code in UNITS if code not in usual)]
    kinds: dict[str, list[tuple[str, str]]] = {}
    for code in codes:
        kinds.setdefault(UNITS[code].dimension, []).append((code, _IN_FULL.get(code, UNITS[code].label)))
    return [(_KIND_WORDS.get(kind, kind).capitalize(), rows) for kind, rows in kinds.items()]


class AnyAmountField(AmountField):
    """A number and any unit the application knows. No unit is chosen beforehand: a wrong one would pass unseen."""

    def __init__(self, **kwargs):
        super().__init__("count", units=list(UNITS), **kwargs)
        choices = [("", "unit"), *units_by_kind()]
        self.fields[1].choices = choices
        self.widget.widgets[1].choices = choices


def open_job_field() -> forms.ModelChoiceField:
    """One of the car's open jobs; the form gives the queryset."""
    return forms.ModelChoiceField(
        queryset=None,
        required=False,
        label="On the job",
        empty_label="No job",
        error_messages={
            "invalid_choice": "This job is closed: nothing is added to it. Choose an open job, or leave this empty."
        },
    )


class FaultForm(ModelActForm):
    place = PlaceField(label="Place", required=False, empty_label="–")
    position = position_field()
    reported_by = forms.ModelChoiceField(
        queryset=Keeper.objects.none(), required=False, label="Reported by", empty_label="–"
    )
    job = open_job_field()
    made_at = MomentField(required=False, label="Said or found earlier? When")

    class Meta:
        model = Fault
        fields = (
            "kind",
            "title",
            "words",
            "reported_by",
            "conditions",
            "severity",
            "place",
            "position",
            "job",
        )
        formfield_callback = trade_field

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["reported_by"].queryset = keepers_of(vehicle)
        self.fields["job"].queryset = vehicle.jobs.open()


class CodeForm(ModelActForm):
    code = forms.CharField(
        label="Trouble code",
        max_length=20,
        help_text="Letter P, C, B or U, a figure 0 to 3, three figures or letters A to F, such as P0562 or U0100-87; "
        "or its bytes, such as 05 62.",
        widget=forms.TextInput(
            attrs={"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}
        ),
    )
    made_at = MomentField(required=False, label="Read earlier? When")

    class Meta:
        model = FaultCode
        fields = ("code", "control_unit", "present")
        formfield_callback = trade_field


class StepForm(ActForm):
    tried = forms.CharField(label="What was tried", max_length=300)
    seen = forms.CharField(label="What was seen", max_length=500, widget=forms.Textarea(attrs={"rows": 3}))
    reading = AnyAmountField(label="Reading", required=False)
    job = forms.ModelChoiceField(queryset=None, required=False, label="On the job", empty_label="No job")
    made_at = MomentField(required=False, label="Done earlier? When")

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["job"].queryset = vehicle.jobs.all()


class PossibilityForm(ActForm):
    what = forms.CharField(
        label="What else could it be",
        max_length=200,
        error_messages={"required": "Say what it could be."},
        widget=forms.TextInput(attrs={"placeholder": "What else could it be?", "autocomplete": "off"}),
    )


class PossibilityFindingForm(ActForm):
    because = forms.CharField(
        label="Because",
        max_length=300,
        error_messages={"required": "Say on what grounds."},
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class ReproducedForm(EditForm):
    reproduced = forms.ChoiceField(
        label="Did it show in the workshop", choices=Reproduced.choices, widget=forms.RadioSelect
    )


class FaultSeverityForm(EditForm):
    severity = forms.ChoiceField(label="Severity", choices=Severity.choices, widget=forms.RadioSelect)
    reason = forms.CharField(label="What makes it more or less severe", max_length=300)


class CauseForm(ActForm):
    """One cause for several faults: a new one, or one named before."""

    class Media:
        js = (forms.Script("js/phrases.js", defer=True),)

    faults = forms.ModelMultipleChoiceField(
        queryset=Fault.objects.none(),
        label="Faults that it explains",
        widget=forms.CheckboxSelectMultiple,
    )
    description = forms.CharField(
        label="The cause",
        max_length=300,
        widget=forms.TextInput(attrs={"data-phrases": "cause"}),
        help_text="Not needed where a cause named before is chosen.",
        error_messages={"required": "Say what the cause is, or choose one named before."},
    )
    cause = forms.ModelChoiceField(
        queryset=RootCause.objects.none(),
        label="Or a cause named before",
        required=False,
        empty_label="–",
    )

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["faults"].queryset = vehicle.faults.exclude(end="error")
        causes = vehicle.root_causes.order_by("-made_at")
        if causes.exists():
            self.fields["cause"].queryset = causes
            needed_unless_chosen(self, "cause", ("description",))
        else:
            del self.fields["cause"]
            self.fields["description"].help_text = ""

    def act_arguments(self):
        arguments = super().act_arguments()
        return {**arguments, "faults": list(arguments["faults"])}


class WithdrawCauseForm(EditForm):
    reason = forms.CharField(label="Why it does not explain this fault", max_length=300)


class NoFaultFoundForm(EditForm):
    tried = forms.CharField(
        label="What was tried and what was seen",
        widget=forms.Textarea(attrs={"rows": 8}),
        help_text="The diagnosis steps are taken over: put into words what they show.",
    )


def needed_unless_chosen(form: forms.Form, chosen: str, names: tuple[str, ...]) -> None:
    """What is needed for a new record is shown as needed, and is not asked for once one on record is chosen."""
    if form.is_bound and form.data.get(form.add_prefix(chosen)):
        for name in names:
            form.fields[name].required = False


class FaultOutstandingForm(DueFields, EditForm):
    """An item that is open on the car, or a new one made with this."""

    item = forms.ModelChoiceField(
        queryset=OutstandingItem.objects.none(),
        required=False,
        label="An item that is open",
        empty_label="A new one, as below",
    )
    title = forms.CharField(
        label="What is outstanding",
        max_length=160,
        error_messages={"required": "Say what is outstanding, or choose an open item."},
    )
    severity = forms.ChoiceField(
        label="Severity", choices=Severity.choices, error_messages={"required": "Say how severe it is."}
    )
    reason = forms.ChoiceField(
        label="Why it is outstanding",
        choices=[("", "choose"), *OutstandingReason.choices],
        error_messages={"required": "Say why it is outstanding."},
    )
    detail = forms.CharField(
        label="What it means and what should be done",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    field_order = ("seen_version", "item", "title", "severity", "reason", "detail")

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["item"].queryset = OutstandingItem.objects.filter(vehicle=vehicle).open()
        needed_unless_chosen(self, "item", ("title", "severity", "reason"))

    def act_arguments(self):
        arguments = super().act_arguments()
        if arguments["item"]:
            return {name: arguments[name] for name in ("seen_version", "item")}
        return arguments

    @property
    def groups(self):
        seen = ("key", "seen_version", "seen_values", "item")
        new = [name for name in self.fields if name not in seen]
        return [
            {"title": "On record already", "fields": [self["item"]]},
            {"title": "Or a new item, where none is chosen above", "fields": [self[name] for name in new]},
        ]


class NormalForm(EditForm):
    normal_source = forms.CharField(
        label="Source that says so",
        max_length=300,
        help_text="The maker's data, a bulletin, a comparison with a known good car.",
    )


class SameAsForm(EditForm):
    same_as = forms.ModelChoiceField(queryset=Fault.objects.none(), label="The same as")

    def __init__(self, *args, fault: Fault, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["same_as"].queryset = fault.vehicle.faults.exclude(pk=fault.pk).exclude(end="error")


class FaultErrorForm(EditForm):
    error_reason = forms.CharField(label="Why it was entered in error", max_length=300)


class ReopenForm(EditForm):
    reason = forms.CharField(label="Why it is opened again", max_length=300)


def keepers_of(vehicle: Vehicle):
    """Everybody who plays or played a part for the car."""
    return Keeper.objects.filter(pk__in=vehicle.keepers.values("keeper")).order_by("name")
