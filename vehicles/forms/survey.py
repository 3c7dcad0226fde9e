from django import forms

from vehicles.forms.part import PartForm, tiles
from vehicles.models import Place, Provenance, Severity
from vehicles.models.part import Position
from vehicles.models.survey import SurveyFinding
from workshop.forms.base import ActForm

# Open questions that come up at many places, so that most are asked with one tap. Common practice, no source.
QUESTIONS = (
    "Is this the part that the factory fits on this variant?",
    "Whose part is it, and where does it come from?",
    "Who fitted it, and how is it fastened?",
    "Does it need an approval, and is there one?",
)
# What a walk mostly finds stands first.
_FOUND = [
    (code.value, code.label)
    for code in (
        Provenance.AFTERMARKET,
        Provenance.OTHER_MODEL,
        Provenance.ONE_OFF,
        Provenance.ACCESSORY,
        Provenance.UNKNOWN,
        Provenance.FACTORY_OPTION,
        Provenance.FACTORY_STANDARD,
    )
]
# In the order of how loud they are, mildest first, as a hand moves along them.
SEVERITIES = [(one.value, one.label) for one in reversed(Severity)]


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


class ZoneForm(ActForm):
    """One tap for a whole zone: nothing is asked."""

    repeats = True


class EntryForm(ActForm):
    """What was found in one place. Without a position it is said of all that were not spoken of."""

    repeats = True  # an answer given again is a later answer

    finding = tiles(SurveyFinding.choices, label="What was found")
    note = forms.CharField(
        label="Remark",
        max_length=300,
        required=False,
    )

    def __init__(self, *args, place: Place, **kwargs):
        super().__init__(*args, **kwargs)
        if place.asked != ("",):
            choices = [("", "All of which nothing was said yet"), *_positions(place)]
            self.fields["position"] = tiles(choices, label="Which one", required=False, initial="")


class PartSeenForm(PartForm):
    """A part that the survey found: in which positions, with a remark for the survey's entry, and what is done."""

    provenance = tiles(_FOUND, label="Where it comes from")
    instead = forms.BooleanField(label="What was on record here is gone", required=False)
    look_into = tiles(
        [("", "Not now"), *SEVERITIES],
        label="Look into it",
        required=False,
        initial="",
        help_text="Raises it as a fault found in the workshop, as serious as you judge it.",
    )
    as_item = forms.BooleanField(
        label="Rather as an outstanding item: beyond this job",
        required=False,
        help_text="It then stays on the car's list until somebody takes it on.",
    )
    note = forms.CharField(
        label="Remark",
        max_length=300,
        required=False,
        help_text="What the survey says of this place, besides the part.",
    )

    def __init__(self, *args, place: Place, there: dict[str, str] | None = None, **kwargs):
        """`there`: position → why it is not chosen beforehand."""
        super().__init__(*args, place=place, **kwargs)
        # What was described before on cars like this one: see the template's lists.
        self.fields["description"].widget.attrs["list"] = "described-before"
        self.fields["factory_fits"].widget.attrs["list"] = "factory-before"
        if "position" in self.fields:
            del self.fields["position"]
            self.fields["positions"] = forms.MultipleChoiceField(
                label="Which of them",
                choices=[
                    (value, f"{label} ({there[value]})" if there and value in there else label)
                    for value, label in _positions(place)
                ],
                widget=forms.CheckboxSelectMultiple,
                error_messages={"required": f"Say which one: “{place.name}” is there several times."},
            )

    @property
    def raises(self):
        return self._shown("look_into", "as_item")


class LookIntoForm(ActForm):
    """One tap on how serious it is raises a fault on what the survey says of a place."""

    severity = tiles(SEVERITIES, label="How serious, by your own judgement")
    as_item = forms.BooleanField(label="As an outstanding item: beyond this job", required=False)

    def __init__(self, *args, place: Place, **kwargs):
        super().__init__(*args, **kwargs)
        if place.asked != ("",):
            self.fields["position"] = tiles(
                [("", "All of them"), *_positions(place)], label="Which one", required=False, initial=""
            )


class FinishSurveyForm(ActForm):
    summary = forms.CharField(
        label="What should be looked into first, and why",
        widget=forms.Textarea(attrs={"rows": 5}),
    )


def _positions(place: Place) -> list[tuple[str, str]]:
    return [(value, Position(value).label) for value in place.allowed if value]
