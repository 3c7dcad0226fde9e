from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from workshop.acts.tools import check_calibration_day, check_range, deviation_of, deviation_words
from workshop.engineering.tools import TOOL_CLASSES
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.models import Calibration, TorqueTool

CLASSES = [("", "None or not known")] + [
    (one.code, f"{one.designation}: {one.name.lower()}") for one in TOOL_CLASSES.values()
]


class ToolForm(ModelActForm):
    iso_class = forms.ChoiceField(
        label="Class by ISO 6789-1",
        choices=CLASSES,
        required=False,
        help_text="Gives the permissible deviation where the certificate names none. None for an "
        "angle gauge.",
    )

    class Meta:
        model = TorqueTool
        fields = ("label", "name", "kind", "iso_class", "serial", "unit", "scale_low", "scale_high")
        formfield_callback = trade_field


class CorrectToolForm(EditForm, ModelActForm):
    iso_class = forms.ChoiceField(label="Class by ISO 6789-1", choices=CLASSES, required=False)
    reason = forms.CharField(label="Why it is corrected", max_length=200)

    class Meta:
        model = TorqueTool
        fields = ("name", "iso_class", "serial")
        formfield_callback = trade_field


class CalibrationForm(ModelActForm):
    """`tool` decides whether a range is asked for: a gauge has none.

    Whether it passed is asked first, with nothing chosen: a failed one is not to be saved as good by habit.
    """

    passed = forms.TypedChoiceField(
        label="As it came to the laboratory, was it within its deviation?",
        choices=[("yes", "Passed: within its deviation"), ("no", "Failed: outside its deviation")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it passed or failed, as it came to the laboratory."},
    )
    early = ("calibrated_on", "due_on", "deviation_percent", "range_low", "range_high")
    field_order = ("passed",)

    class Meta:
        model = Calibration
        fields = (
            "calibrated_on",
            "due_on",
            "laboratory",
            "certificate",
            "deviation_percent",
            "range_low",
            "range_high",
            "note",
        )
        formfield_callback = trade_field

    def __init__(self, *args, tool: TorqueTool, **kwargs):
        super().__init__(*args, **kwargs)
        self.tool = tool

        deviation = self.fields["deviation_percent"]
        deviation.required = False
        if words := deviation_words(tool):
            deviation.help_text = f"As certified. Left empty, what the class permits is taken: {words}."
        self.fields["passed"].help_text = (
            "Before any adjustment. A failed one puts the tool out of "
            "use, and what "
            "it tightened since its last good calibration is checked again. Record the calibration after the "
            "adjustment as another one."
        )
        if tool.kind == "angle":
            del self.fields["range_low"], self.fields["range_high"]
        else:
            for name in ("range_low", "range_high"):
                self.fields[name].unit = tool.get_unit_display()
            self.fields[
                "range_low"
            ].help_text = "Without a certified range, 20 to 100 % of the scale is taken."

    def clean(self):
        """What the act would refuse, said together with what is missing."""
        data = super().clean()
        for check, name in (
            (lambda given: check_calibration_day(given, timezone.localdate()), "calibrated_on"),
            (lambda given: check_range(self.tool, given), "range_high"),
        ):
            if data.get(name) is not None:
                try:
                    check(data[name])
                except ValidationError as refusal:
                    self.add_refusal(refusal)
        if "deviation_percent" in data and data["deviation_percent"] is None:
            try:
                deviation_of(self.tool, None)
            except ValidationError as refusal:
                self.add_refusal(refusal)
        return data


class WithdrawForm(ActForm):
    reason = forms.CharField(label="Why the tool is withdrawn", max_length=200)
    readings_doubted = forms.BooleanField(
        label="What it tightened since its last good calibration is in doubt",
        required=False,
        initial=True,
        help_text="Those runs are listed and a re-check is raised on each car. Take the tick out for "
        "a tool that is "
        "lost or sold and was in order.",
    )


class DropForm(ActForm):
    what = forms.CharField(
        label="What happened",
        max_length=180,
        help_text="Dropped, from what height; overloaded; used as a breaker bar. The tool stays out "
        "of use until "
        "it is calibrated again.",
    )
