from django import forms
from django.core.exceptions import ValidationError

from vehicles.drain_rules import WORDS, known_limit
from vehicles.forms.fault import open_job_field
from vehicles.models import DrainStep, DrainTest, Fault, Vehicle
from vehicles.models.drain import CameBack, LimitSource
from workshop.forms.base import ActForm, ModelActForm, trade_field
from workshop.forms.fields import AmountField, MomentField

MOST_A = 50


def current_field(label: str, **kwargs) -> AmountField:
    return AmountField("current", units=["mA", "A"], low=0, high=MOST_A, label=label, **kwargs)


class ReadingField(AmountField):
    """What the meter shows. A minus is refused with what it comes from."""

    def __init__(self, label: str, **kwargs):
        super().__init__("current", units=["mA", "A"], low=0, high=MOST_A, label=label, **kwargs)

    def compress(self, data_list):
        try:
            return super().compress(data_list)
        except ValidationError as refusal:
            if refusal.code == "out_of_bounds" and str(data_list[0]).strip()[:1] in ("-", "−", "–"):
                raise ValidationError(
                    f"{refusal.message} Are the meter's leads swapped? Then give it without the minus.",
                    code=refusal.code,
                ) from refusal
            raise


class AskingForm:
    """Shows the fields of `asked` only once the act asks for them; they stay in sight from then on."""

    asked: tuple[str, ...] = ()

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self._shown = {name: self.fields[name].widget for name in self.asked}
        for name in self.asked:
            if not (self.is_bound and self.data.get(self.add_prefix(name))):
                self.fields[name].widget = forms.HiddenInput()

    def add_refusal(self, refusal):
        super().add_refusal(refusal)
        for name in self.asked:
            if name in self.errors:
                self.fields[name].widget = self._shown[name]


class BeginForm(AskingForm, ActForm):
    asked = ("above_sheet",)
    limit = current_field(
        "Greatest quiescent current",
        help_text="The maker's data decide. Where they say nothing: 50 mA (common practice).",
    )
    limit_source = forms.ChoiceField(
        label="It comes from", choices=LimitSource.choices, widget=forms.RadioSelect
    )
    limit_words = forms.CharField(label="Document and place in it", max_length=WORDS, required=False)
    above_sheet = forms.BooleanField(label="The limit is right, though far above the sheet's", required=False)
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
        self.vehicle = vehicle

    @property
    def first(self) -> list[forms.BoundField]:
        """What is drawn before the list of what to do: the limit and all that belongs to it."""
        return [field for field in self.visible_fields() if field.name in self.of_limit]

    @property
    def then(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if field.name not in self.of_limit]

    of_limit = ("limit", "above_sheet", "limit_source", "limit_words")

    def add_refusal(self, refusal):
        """A number that its source doesn't give drops that source, and the sheet's place with it."""
        super().add_refusal(refusal)
        if self.has_error("limit_source", "limit_changed"):
            self._put("limit_source", "")
        known = known_limit(self.vehicle) if {"limit_source", "limit_words"} & set(self.errors) else None
        if known and self.data.get(self.add_prefix("limit_words"), "").strip() == known.words[:WORDS].strip():
            self._put("limit_words", "")


class AsleepForm(ActForm):
    reading = ReadingField("Current now, every fuse in")
    asleep_after = forms.IntegerField(
        label="Minutes since it was locked",
        min_value=0,
        max_value=1440,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    locked_at = MomentField(label="Locked before the test was begun? When", required=False)


class PullForm(AskingForm, ModelActForm):
    """One fuse. The same reading after another fuse is usual here and is not asked about; the same fuse is."""

    repeats = True
    asked = ("measured_again",)
    circuit = forms.CharField(
        label="Fuse or circuit",
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="Its number in the box and what it feeds: F12 radio.",
    )
    measured_again = forms.BooleanField(label="It was pulled once more", required=False)
    reading = ReadingField("Current with it out")
    came = forms.ChoiceField(
        label="Then",
        choices=CameBack.choices,
        initial=CameBack.BACK,
        widget=forms.RadioSelect,
    )
    after = ReadingField("New reading, where it stays low", required=False)

    class Meta:
        model = DrainStep
        fields = ("remark",)
        formfield_callback = trade_field

    field_order = ("circuit", "measured_again", "reading", "came", "after", "remark")

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
