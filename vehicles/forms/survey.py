from django import forms

from vehicles.forms.places import position_field
from vehicles.models import Place
from vehicles.models.survey import SurveyFinding
from workshop.forms.base import ActForm


class StartSurveyForm(ActForm):
    """Begins a survey, for a job of the car where there is one."""

    job = forms.ModelChoiceField(queryset=None, required=False, label="For the job", empty_label="No job")

    def __init__(self, *args, vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["job"].queryset = vehicle.jobs.all()


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
        help_text="For an open question: the question.",
    )

    def __init__(self, *args, place: Place, **kwargs):
        super().__init__(*args, **kwargs)
        if place.asked == ("",):
            del self.fields["position"]
        else:
            self.fields["position"] = position_field(place, empty="All of which nothing was said yet")


class FinishSurveyForm(ActForm):
    summary = forms.CharField(
        label="What should be looked into first, and why",
        widget=forms.Textarea(attrs={"rows": 5}),
    )
