"""Forms of the job card."""

from __future__ import annotations

from datetime import date

from django import forms
from django.forms.boundfield import BoundField

from jobs.models import CheckIn, Job, Pass, Run, Tag, ThingOut
from vehicles import people
from vehicles.models import Keeper, Vehicle
from vehicles.models.outstanding import Channel
from workshop.forms.base import ActForm, EditForm, ModelActForm, trade_field
from workshop.forms.fields import AmountField, MomentField, MoneyField
from workshop.forms.signing import SignedForm
from workshop.models import Person, Shop
from workshop.permissions import May, Role

LEADS = (Role.LEAD, Role.SHOP_OWNER)
HANDS = (Role.TECHNICIAN, *LEADS)


def earlier() -> MomentField:
    """For work that is written down later than it was done."""
    return MomentField(
        required=False, label="Done earlier? When", help_text="Leave empty when it was done just now."
    )


def one_of_two(form: forms.Form, *names: str) -> None:
    """Fields that another one may stand in for: not marked as optional, but it is the act that says what is missing."""
    for name in names:
        form.fields[name].required = not form.is_bound


class Grouped:
    """A form drawn in titled parts. `parts` is a list of (title, names); names that are hidden are left out."""

    parts: list[tuple[str, tuple[str, ...]]] = []

    @property
    def groups(self) -> list[dict]:
        return [
            {"title": title, "fields": self._shown(names)}
            for title, names in self.parts
            if self._shown(names)
        ]

    def _shown(self, names: tuple[str, ...]) -> list[BoundField]:
        return [self[name] for name in names if name in self.fields and not self[name].is_hidden]


class Folded(Grouped):
    """A grouped form that keeps what is rarely asked folded away, for `jobs/act_folded.html`.

    `folds` is (title of the group, summary, names of its fields that are folded). A fold that holds something typed,
    or an error, is open. `narrow` names fields that stand beside each other.
    """

    folds: tuple[tuple[str, str, tuple[str, ...]], ...] = ()
    narrow: tuple[str, ...] = ()

    @property
    def folded_groups(self) -> list[dict]:
        folded = {name for _, _, names in self.folds for name in names}
        rows = []
        for group in self.groups:
            for field in group["fields"]:
                field.narrow = field.name in self.narrow
            folds = [
                {"summary": summary, "fields": shown, "open": any(map(self._speaks, shown))}
                for title, summary, names in self.folds
                if title == group["title"] and (shown := self._shown(names))
            ]
            asked = [field for field in group["fields"] if field.name not in folded]
            rows.append({"title": group["title"], "fields": asked, "folds": folds})
        return rows

    def _speaks(self, field: BoundField) -> bool:
        """Whether a folded field has to be seen: something is wrong with it, or it was typed."""
        if field.errors or getattr(field, "meanwhile", None):
            return True
        return self.is_bound and field.field.has_changed(field.initial, field.data)


class AgreedFields(ModelActForm):
    """What is agreed for a job; payer and authoriser come from the people around the car."""

    limit = MoneyField(
        label="Up to this much without asking",
        required=False,
        help_text="Covers diagnosis and strip-down. Empty: the shop's usual amount.",
    )

    class Meta:
        model = Job
        fields = ("title", "complaint", "payer", "authoriser")
        formfield_callback = trade_field

    def __init__(self, *args, vehicle: Vehicle, day: date, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["payer"].queryset = people.payers_of(vehicle, day)
        self.fields["authoriser"].queryset = people.authorisers_of(vehicle, day)
        self.fields["payer"].help_text = "From the people on record for this car."
        currency = Shop.current().currency
        self.fields["limit"].unit = currency


class BookForm(Folded, AgreedFields):
    parts = [
        ("What is asked for", ("title", "complaint", "comeback_run")),
        ("When", ("booked_for", "promised_at", "made_at")),
        ("Who pays and who decides", ("payer", "authoriser", "limit")),
    ]
    folds = (("When", "It was booked earlier", ("made_at",)),)
    narrow = ("booked_for", "promised_at", "payer", "authoriser")

    made_at = MomentField(
        required=False,
        label="Booked earlier? When",
        help_text="Leave empty when it is booked just now. The car is not checked in before it was booked.",
    )

    class Meta(AgreedFields.Meta):
        fields = ("title", "complaint", "booked_for", "promised_at", "payer", "authoriser")


class ComebackForm(BookForm):
    """A new job for work that has to be looked at again; linked to the old line and, where it has one, its run."""

    comeback_run = forms.ModelChoiceField(
        Run.objects.none(), required=False, label="Torque run that it may come from"
    )

    def __init__(self, *args, runs, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["comeback_run"].queryset = runs


class AgreeAnewForm(EditForm, AgreedFields):
    """Title, payer, limit. Once the car is here, a raised limit says who agreed to it, how and when."""

    given_by = forms.ModelChoiceField(
        Keeper.objects.none(),
        required=False,
        label="Higher limit: who agreed",
        empty_label="the limit is not raised",
    )
    channel = forms.ChoiceField(
        choices=[
            ("", "the limit is not raised"),
            *(choice for choice in Channel.choices if choice[0] != Channel.ACCOUNT),
        ],
        required=False,
        label="Higher limit: how they agreed",
    )
    answered_at = MomentField(
        required=False, label="Higher limit: when they agreed", help_text="Left empty with a name: now."
    )
    reason = forms.CharField(label="Why it is changed", max_length=200)

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, vehicle=vehicle, **kwargs)
        if self.instance.state == "booked":
            for name in ("given_by", "channel", "answered_at"):
                del self.fields[name]
        else:
            # Who agreed may have had the right on an earlier day: the act judges it by the day of the answer.
            self.fields["given_by"].queryset = (
                Keeper.objects.filter(vehicles__vehicle=vehicle).distinct().order_by("name")
            )

    def act_arguments(self):
        arguments = super().act_arguments()
        if arguments["limit"] is None:
            arguments["limit"] = Shop.current().default_limit
        return arguments


class CheckInForm(Folded, ModelActForm):
    odometer = AmountField("distance", units=["km", "mi"], required=False, label="Odometer")
    odometer_not_readable = forms.CharField(
        label="Odometer not readable, because", max_length=200, required=False
    )
    lower_because = forms.CharField(label="Why this reading is right", max_length=200, required=False)
    made_at = earlier()

    class Meta:
        model = CheckIn
        fields = (
            "fuel",
            "charge_percent",
            "keys",
            "keys_where",
            "belongings",
            "damage",
            "road_test_consent",
            "plates_legal",
            "old_parts_back",
            "brought_by",
        )
        formfield_callback = trade_field
        widgets = {"fuel": forms.RadioSelect}
        help_texts = {
            "damage": "Walk round the car with whoever brought it. Where there is none, write “none seen”.",
            "keys_where": "Hook, drawer, key safe.",
            "belongings": "What stays in the car: child seat, tools, cards, a dog lead.",
            "charge_percent": "As the car shows it.",
            "road_test_consent": "Without it nobody drives the car on the road.",
            "plates_legal": "Tick when you have looked: the plates are valid and somebody insures the road test.",
            "old_parts_back": "Asked once: what comes off the car is then kept for its owner.",
        }

    parts = [
        (
            "Odometer and fuel",
            ("odometer", "odometer_not_readable", "lower_because", "fuel", "charge_percent"),
        ),
        ("Keys and belongings", ("keys", "keys_where", "brought_by", "belongings")),
        ("Existing damage", ("damage",)),
        ("Agreed", ("road_test_consent", "plates_legal", "old_parts_back")),
        ("When", ("made_at",)),
    ]
    folds = (
        ("Odometer and fuel", "The odometer can't be read", ("odometer_not_readable",)),
        ("When", "The car came in earlier than now", ("made_at",)),
    )
    narrow = ("brought_by", "keys", "keys_where")

    def __init__(self, *args, vehicle: Vehicle, day: date, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["brought_by"].queryset = people.people_of(vehicle, day)
        self.fields["fuel"].choices = [choice for choice in self.fields["fuel"].choices if choice[0] != ""]
        if not vehicle.high_voltage:
            del self.fields["charge_percent"]
        one_of_two(self, "odometer")
        if not self.data.get(self.add_prefix("lower_because")):
            # Asked about only when a figure does not go with the earlier ones.
            self.fields["lower_because"].widget = forms.HiddenInput()

    def clean(self):
        cleaned = super().clean()
        self.fields["odometer"].required = True  # for its label alone, see one_of_two
        if (
            cleaned.get("odometer") is None
            and not cleaned.get("odometer_not_readable")
            and not {"odometer", "odometer_not_readable"} & self.errors.keys()
        ):
            # Named together with whatever else is missing, and not only when all of that is there.
            self.add_error("odometer", "Give the reading, or say below why the odometer is not readable.")
        return cleaned

    def add_error(self, field, error):
        super().add_error(field, error)
        if field == "lower_because":
            self.fields["lower_because"].widget = forms.TextInput()


class CheckInChangeForm(EditForm, ModelActForm):
    class Meta:
        model = CheckIn
        fields = (
            "road_test_consent",
            "plates_legal",
            "old_parts_back",
            "keys",
            "keys_where",
            "belongings",
        )
        formfield_callback = trade_field

    reason = forms.CharField(label="Why it is changed, and who agreed", max_length=200)


class MoveForm(ActForm):
    to_state = forms.CharField(widget=forms.HiddenInput)


class MoveBackForm(MoveForm):
    reason = forms.CharField(label="Why", max_length=300)


class PlanForm(EditForm, ModelActForm):
    class Meta:
        model = Job
        fields = (
            "booked_for",
            "promised_at",
            "lead",
            "technician",
            "waiting_for",
            "waiting_note",
            "standing_at",
        )
        formfield_callback = trade_field

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["lead"].queryset = Person.objects.holding(*LEADS)
        self.fields["technician"].queryset = Person.objects.holding(*HANDS)
        if self.instance.state != "booked":
            del self.fields["booked_for"]


class PassForm(ModelActForm):
    made_at = earlier()

    class Meta:
        model = Pass
        fields = ("to_person", "loose", "fasteners")
        formfield_callback = trade_field
        help_texts = {
            "loose": "Joints not tightened, lines open, covers off. Write “nothing” where it is so.",
            "fasteners": "Which box, which shelf, which bench.",
        }

    def __init__(self, *args, job: Job, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["to_person"].label = "Who takes it on"
        self.fields["to_person"].queryset = Person.objects.holding(*HANDS).exclude(pk=job.technician_id)


class CancelForm(ActForm):
    reason = forms.CharField(label="Why", max_length=200)


class JudgeForm(ActForm):
    judgement = forms.CharField(
        label="What it turned out to be",
        help_text="The old work, the part, another fault, or nothing at all; and on what grounds.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )


class TagForm(ModelActForm):
    job = forms.ModelChoiceField(Job.objects.none(), required=False, widget=forms.HiddenInput)

    class Meta:
        model = Tag
        fields = ("kind", "because")
        formfield_callback = trade_field
        widgets = {"kind": forms.RadioSelect}
        help_texts = {"because": "No oil, no brake fluid, on stands, wheel bolts open."}

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["job"].queryset = vehicle.jobs.open()
        self.fields["kind"].choices = [choice for choice in self.fields["kind"].choices if choice[0] != ""]


class LiftTagForm(ActForm):
    lifted_because = forms.CharField(label="Why it may be lifted", max_length=200)


class ThingForm(ModelActForm):
    class Meta:
        model = ThingOut
        fields = ("kind", "what", "where")
        formfield_callback = trade_field
        widgets = {"kind": forms.RadioSelect}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [choice for choice in self.fields["kind"].choices if choice[0] != ""]


class ThingBackForm(ActForm):
    made_at = earlier()


class WaiveForm(SignedForm):
    right = May.WAIVE
    blocker = forms.CharField(widget=forms.HiddenInput, max_length=120)
    reason = forms.CharField(
        label="Why it may be waived",
        help_text="Printed on the sheet, and listed for the shop owner.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
