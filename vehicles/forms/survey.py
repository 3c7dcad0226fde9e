from django import forms

from vehicles.forms.part import PartForm
from vehicles.forms.places import position_field
from vehicles.models import Place
from vehicles.models.survey import SurveyFinding
from workshop.forms.base import ActForm


class StartSurveyForm(ActForm):
    """Begins a survey, for a job of the car where there is one."""

    job = forms.ModelChoiceField(
        queryset=None,
        required=False,
        label="For the job",
        empty_label="No job",
        error_messages={"invalid_choice": "This job is closed. Choose an open one, or leave this empty."},
    )

    def __init__(self, *args, vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        jobs = vehicle.jobs.open()
        self.fields["job"].queryset = jobs
        # Where there is only one, it is what the survey is for.
        if len(only := list(jobs[:2])) == 1:
            self.fields["job"].initial = only[0].pk


class EntryForm(ActForm):
    """What was found in one place. Without a position it is said of all that were not spoken of."""

    position = position_field()
    finding = forms.ChoiceField(
        label="What was found", choices=SurveyFinding.choices, widget=forms.RadioSelect
    )
    note = forms.CharField(
        label="Remark",
        max_length=300,
        required=False,
        help_text="Needed for an open question: what the question is.",
    )

    def __init__(self, *args, place: Place, **kwargs):
        super().__init__(*args, **kwargs)
        if place.asked == ("",):
            del self.fields["position"]
        else:
            self.fields["position"] = position_field(place, empty="All of which nothing was said yet")


class PartSeenForm(PartForm):
    """A part that the survey found, with a remark for the survey's entry."""

    note = forms.CharField(
        label="Remark",
        max_length=300,
        required=False,
        help_text="What the survey says of this place, besides the part.",
    )

    @property
    def groups(self):
        first, *others = super().groups
        return [{**first, "fields": [*first["fields"], self["note"]]}, *others]


class FinishSurveyForm(ActForm):
    summary = forms.CharField(
        label="What should be looked into first, and why",
        widget=forms.Textarea(attrs={"rows": 5}),
    )
