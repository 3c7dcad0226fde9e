from django import forms

from vehicles.forms.fault import open_job_field
from vehicles.models import DrainStep, DrainTest, Fault, Vehicle
from vehicles.models.drain import CameBack, LimitSource
from workshop.forms.base import ActForm, ModelActForm, trade_field
from workshop.forms.fields import AmountField

MOST_A = 50


def current_field(label: str, **kwargs) -> AmountField:
    return AmountField("current", units=["mA", "A"], low=0, high=MOST_A, label=label, **kwargs)


class BeginForm(ActForm):
    limit = current_field(
        "Greatest quiescent current",
        help_text="The maker's data decide. Where they say nothing: 50 mA (common practice).",
    )
    limit_source = forms.ChoiceField(
        label="It comes from", choices=LimitSource.choices, widget=forms.RadioSelect
    )
    limit_words = forms.CharField(label="Document and place in it", max_length=160, required=False)
    capacity = AmountField(
        "charge",
        low=1,
        high=400,
        label="Battery capacity",
        required=False,
        help_text="As printed on it: for the days until flat.",
    )
    fault = forms.ModelChoiceField(
        queryset=Fault.objects.none(), required=False, label="For the fault", empty_label="No fault"
    )
    job = open_job_field()

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["fault"].queryset = vehicle.faults.filter(end="")
        self.fields["job"].queryset = vehicle.jobs.open()


class AsleepForm(ActForm):
    reading = current_field("Current now, every fuse in")
    asleep_after = forms.IntegerField(
        label="Minutes since it was locked",
        min_value=0,
        max_value=1440,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


class PullForm(ModelActForm):
    """One fuse. The same reading after another fuse is usual here and is not asked about."""

    repeats = True
    circuit = forms.CharField(
        label="Fuse or circuit",
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="Its number in the box and what it feeds: F12 radio.",
    )
    reading = current_field("Current with it out")
    came = forms.ChoiceField(
        label="Then",
        choices=CameBack.choices,
        initial=CameBack.BACK,
        widget=forms.RadioSelect,
    )
    after = current_field("New reading, where it stays low", required=False)

    class Meta:
        model = DrainStep
        fields = ("remark",)
        formfield_callback = trade_field

    field_order = ("circuit", "reading", "came", "after", "remark")

    @property
    def after_shown(self) -> bool:
        """Whether something stands in what is folded away at first."""
        return self.is_bound and any(self.data.get(name) for name in ("after_value", "remark"))


class EndForm(ModelActForm):
    on_fault = forms.BooleanField(label="Write it on the fault as a diagnosis step", required=False)

    class Meta:
        model = DrainTest
        fields = ("conclusion", "all_tried")
        formfield_callback = trade_field
        widgets = {"conclusion": forms.Textarea(attrs={"rows": 4})}

    def __init__(self, *args, test: DrainTest, found: bool, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["conclusion"].required = True
        if found or test.baseline is None:
            del self.fields["all_tried"]
        if test.fault_id is None:
            del self.fields["on_fault"]
