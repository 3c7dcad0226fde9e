from django import forms

from vehicles.forms.places import PlaceField
from vehicles.models import Keeper, OutstandingItem, Severity, Telling, Vehicle
from workshop.forms.base import EditForm, ModelActForm, trade_field
from workshop.forms.fields import AmountField, DayField, MomentField, NumberField
from workshop.models import Person


class DueFields(forms.Form):
    """By when: any of four limits, whichever comes first."""

    due_on = DayField(label="Due by", required=False, help_text="A re-check needs one of these four limits.")
    due_distance = AmountField("distance", label="Due after a distance of", required=False)
    due_hours = NumberField(label="Due after running hours", required=False, low=0, high=99999)
    due_runs = forms.IntegerField(label="Due after runs", required=False, min_value=1, max_value=100_000)


class ItemForm(DueFields, ModelActForm):
    place = PlaceField(label="Place", required=False, empty_label="–")
    raised_in = forms.ModelChoiceField(
        queryset=None, required=False, label="Raised on the job", empty_label="No job"
    )
    # Known to the page that leads here; nobody chooses among the lines of twenty years.
    raised_by_line = forms.ModelChoiceField(queryset=None, required=False, widget=forms.HiddenInput)
    made_at = MomentField(required=False, label="Found earlier? When")

    class Meta:
        model = OutstandingItem
        fields = ("title", "severity", "reason", "detail", "place", "raised_in")
        formfield_callback = trade_field

    field_order = (
        "title",
        "severity",
        "reason",
        "detail",
        "place",
        "due_on",
        "due_distance",
        "due_hours",
        "due_runs",
    )

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["raised_in"].queryset = vehicle.jobs.all()
        lines = OutstandingItem._meta.get_field("raised_by_line").related_model
        self.fields["raised_by_line"].queryset = lines.objects.filter(job__vehicle=vehicle)


class DueForm(DueFields, EditForm):
    from_now = forms.BooleanField(
        label="Count the distance from the latest odometer reading",
        required=False,
        help_text="Not ticked: from the reading when the item was made.",
    )
    reason = forms.CharField(label="Why it is changed", max_length=300)


class ItemSeverityForm(EditForm):
    severity = forms.ChoiceField(label="Severity", choices=Severity.choices, widget=forms.RadioSelect)
    reason = forms.CharField(label="What makes it more or less severe", max_length=300)


class TellingForm(ModelActForm):
    told_to = forms.ModelChoiceField(queryset=Keeper.objects.none(), label="Told to")
    witness = forms.ModelChoiceField(
        queryset=Person.objects.none(),
        required=False,
        label="Witness",
        empty_label="–",
        help_text="Needed where somebody declines to sign: a person other than you.",
    )
    job = forms.ModelChoiceField(queryset=None, required=False, label="On the job", empty_label="No job")
    made_at = MomentField(required=False, label="Told earlier? When")

    class Meta:
        model = Telling
        fields = ("told_to", "channel", "told", "answer", "answer_words", "witness", "job")
        formfield_callback = trade_field

    def __init__(self, *args, vehicle: Vehicle, person: Person, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["told_to"].queryset = Keeper.objects.filter(pk__in=vehicle.keepers.values("keeper"))
        self.fields["witness"].queryset = Person.objects.active_staff().exclude(pk=person.pk)
        self.fields["job"].queryset = vehicle.jobs.all()


class FoundForm(EditForm):
    ended_finding = forms.CharField(
        label="What was found that settles it",
        max_length=300,
        help_text="What was looked at, and what it showed.",
    )


class LeaveSoForm(EditForm):
    left_by = forms.ModelChoiceField(queryset=Keeper.objects.none(), label="At the wish of")
    words = forms.CharField(label="In their words", max_length=300, required=False)
    made_at = MomentField(required=False, label="Said earlier? When")

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        # Who may decide is judged in the act at the time it was said; the form offers everybody who might have.
        self.fields["left_by"].queryset = Keeper.objects.filter(pk__in=vehicle.keepers.values("keeper"))


class ReopenItemForm(EditForm):
    reason = forms.CharField(label="Why it is outstanding again", max_length=300)
