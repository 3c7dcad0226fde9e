"""Forms of work lines. Choices are limited to the car and the job at hand; the acts look again."""

from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils.formats import date_format

from jobs.forms.job import Folded, Grouped, earlier
from jobs.lines import Several
from jobs.models import Job, LabourEntry, PartUsed, WorkLine
from jobs.models.work import LineAnswerKind, LineKind
from vehicles.models import Fault, Keeper, OutstandingItem, Severity, Vehicle
from vehicles.models.fault import Reproduced
from vehicles.models.outstanding import Channel
from workshop.forms.base import ActForm, EditForm
from workshop.forms.fields import AmountField, DayField, MomentField, MoneyField, NumberField
from workshop.models import Competence, CompetenceKind, Person
from workshop.permissions import TABLE, May


def hands():
    """Who works on cars."""
    return Person.objects.holding(*TABLE[May.LABOUR]).order_by("name")


def keepers_of(vehicle: Vehicle):
    """Everybody who plays or played a part for the car: an answer may be from before a change of owner."""
    return Keeper.objects.filter(vehicles__vehicle=vehicle).distinct().order_by("name")


class CompetenceField(forms.ModelChoiceField):
    def label_from_instance(self, held: Competence) -> str:
        until = f"until {date_format(held.expires_on)}" if held.expires_on else "no end"
        return f"{held.person}: {held.get_kind_display().lower()} ({held.certificate}, {until})"


class KeeperField(forms.ModelChoiceField):
    """A keeper with the parts they play for this car today. `vehicle` is set by the form: one more query."""

    def offer(self, vehicle: Vehicle) -> None:
        self.queryset = keepers_of(vehicle)
        self.parts: dict = {}
        for row in vehicle.keepers.filter(until_on=None):
            self.parts.setdefault(row.keeper_id, []).append(row.get_part_display().lower())

    def label_from_instance(self, keeper: Keeper) -> str:
        parts = ", ".join(self.parts.get(keeper.pk, ["no part now"]))
        return f"{keeper} ({parts})"


class _TakesOn(ActForm):
    """What a line takes on, who does it and who is qualified."""

    technician = forms.ModelChoiceField(
        Person.objects.none(), required=False, label="Technician", empty_label="not decided"
    )
    faults = forms.ModelMultipleChoiceField(
        Fault.objects.none(),
        required=False,
        label="Faults that this line takes on",
        widget=forms.CheckboxSelectMultiple,
    )
    items = forms.ModelMultipleChoiceField(
        OutstandingItem.objects.none(),
        required=False,
        label="Outstanding items that this line takes on",
        widget=forms.CheckboxSelectMultiple,
    )
    competence = forms.ChoiceField(
        choices=[("", "none"), *CompetenceKind.choices],
        required=False,
        label="Competence needed",
        help_text="Work on high voltage, airbags, refrigerant, gas fuel or lifting gear is done or watched over by "
        "somebody who holds a certificate for it.",
    )
    qualified = CompetenceField(
        Competence.objects.none(), required=False, label="Who holds it", empty_label="not named yet"
    )

    def offer(self, job: Job, line: WorkLine | None = None) -> None:
        mine = Q(lines=line) if line is not None else Q(pk=None)
        # Who is on the line by now stays on offer after leaving: saving must not take them off unseen.
        self.fields["technician"].queryset = Person.objects.filter(
            Q(pk__in=hands().values("pk")) | Q(pk=getattr(line, "technician_id", None))
        ).order_by("name")
        self.fields["faults"].queryset = (
            job.vehicle.faults.filter(Q(end="") | mine).distinct().order_by("order")
        )
        self.fields["items"].queryset = (
            job.vehicle.outstanding_items.filter(Q(end="") | mine).distinct().order_by("order")
        )
        self.fields["qualified"].queryset = Competence.objects.filter(
            Q(person__is_active=True) | Q(pk=getattr(line, "qualified_id", None))
        ).select_related("person")
        for name in ("faults", "items"):
            if not self.fields[name].queryset.exists():
                del self.fields[name]

    def clean_faults(self):
        return Several(self.cleaned_data["faults"].order_by("order"))

    def clean_items(self):
        return Several(self.cleaned_data["items"].order_by("order"))


class AddLineForm(Folded, _TakesOn):
    parts = [
        ("", ("complaint", "kind", "estimate", "faults", "items")),
        ("Who does it", ("technician", "competence", "qualified", "made_at")),
    ]
    folds = (
        ("Who does it", "It needs a competence", ("competence", "qualified")),
        ("Who does it", "It was found earlier", ("made_at",)),
    )
    narrow = ("kind", "estimate")

    complaint = forms.CharField(
        label="What is asked for, or what was found",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    kind = forms.ChoiceField(choices=LineKind.choices, label="Kind of work", initial=LineKind.REPAIR)
    estimate = MoneyField(required=False, label="Estimate", help_text="May be given later.")
    made_at = earlier()

    field_order = (
        "complaint",
        "kind",
        "faults",
        "items",
        "estimate",
        "technician",
        "competence",
        "qualified",
        "made_at",
    )

    def __init__(self, *args, job: Job, currency: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["estimate"].unit = currency
        self.offer(job)


class WriteLineForm(Folded, EditForm, _TakesOn):
    parts = [
        ("", ("cause", "correction")),
        ("The line itself", ("complaint", "technician", "faults", "items", "competence", "qualified")),
    ]
    folds = (
        ("The line itself", "Complaint, technician", ("complaint", "technician")),
        ("The line itself", "Faults and items that it takes on", ("faults", "items")),
        ("The line itself", "Competence needed, and who holds it", ("competence", "qualified")),
    )

    complaint = forms.CharField(label="Complaint", max_length=300, widget=forms.Textarea(attrs={"rows": 2}))
    cause = forms.CharField(
        label="Cause",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "data-phrases": "cause"}),
        help_text="What was found.",
    )
    correction = forms.CharField(
        label="Correction",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "data-phrases": "correction"}),
        help_text="What was done.",
    )

    field_order = (
        "complaint",
        "cause",
        "correction",
        "faults",
        "items",
        "technician",
        "competence",
        "qualified",
    )

    def __init__(self, *args, line: WorkLine, **kwargs):
        super().__init__(*args, **kwargs)
        self.offer(line.job, line)


class EstimateForm(EditForm):
    estimate = MoneyField(
        label="Estimate", help_text="What the owner is asked to say yes to. 0 where it is free."
    )
    cost = MoneyField(
        required=False,
        label="Cost now",
        help_text="What it comes to as far as is known by now, where that is not the estimate. Above what was "
        "authorised, the owner is asked again.",
    )

    def __init__(self, *args, currency: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        for name in ("estimate", "cost"):
            self.fields[name].unit = currency


_ANSWERS = [
    (LineAnswerKind.YES, "Yes: do it"),
    (LineAnswerKind.NO, "No"),
    (LineAnswerKind.LATER, "Later"),
]


class AnswerForm(Folded, EditForm):
    parts = [("", ("answer", "amount", "given_by", "channel", "words", "answered_at", "right"))]
    folds = (("", "When, and by what right", ("answered_at", "right")),)
    narrow = ("given_by", "channel")

    answer = forms.ChoiceField(choices=_ANSWERS, widget=forms.RadioSelect, label="Answer")
    amount = MoneyField(
        required=False,
        label="Up to what amount",
        help_text="With a yes. Left empty, it is the amount of the line as it stands.",
    )
    given_by = KeeperField(Keeper.objects.none(), label="Who answered", empty_label="choose")
    channel = forms.ChoiceField(
        # Nothing chosen beforehand: a call would be filed as a visit.
        choices=[("", "choose"), *(choice for choice in Channel.choices if choice[0] != Channel.ACCOUNT)],
        label="How",
    )
    answered_at = MomentField(
        required=False,
        label="When",
        help_text="May be earlier than now. Left empty: now.",
    )
    right = forms.CharField(
        max_length=200,
        required=False,
        label="By what right",
        help_text="Left empty: the part they play for this car.",
    )
    words = forms.CharField(max_length=300, required=False, label="In their words")

    def __init__(self, *args, line: WorkLine, currency: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["given_by"].offer(line.job.vehicle)
        self.fields["amount"].unit = currency


class OwnAnswerForm(EditForm):
    answer = forms.ChoiceField(
        choices=[
            (LineAnswerKind.YES, "Yes, please do it"),
            (LineAnswerKind.NO, "No"),
            (LineAnswerKind.LATER, "Not now, perhaps later"),
        ],
        widget=forms.RadioSelect,
        label="Your answer",
    )
    amount = MoneyField(
        required=False,
        label="Up to what amount",
        help_text="With a yes. Left empty, it is the amount shown above; above it you are asked again.",
    )
    words = forms.CharField(
        max_length=300, required=False, label="Anything to add", widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args, currency: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["amount"].unit = currency


class TellForm(ActForm):
    told_to = KeeperField(Keeper.objects.none(), label="Who was told", empty_label="choose")
    channel = forms.ChoiceField(
        choices=[("", "choose"), *(choice for choice in Channel.choices if choice[0] != Channel.ACCOUNT)],
        label="How",
    )
    told_at = MomentField(required=False, label="When", help_text="Left empty: now.")
    told = forms.CharField(max_length=300, label="What was told", widget=forms.Textarea(attrs={"rows": 3}))
    late_because = forms.CharField(
        max_length=300,
        required=False,
        label="Not the same day, because",
        help_text="Only where they were told on a later day.",
    )

    def __init__(self, *args, line: WorkLine, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["told_to"].offer(line.job.vehicle)


class LabourForm(Folded, ActForm):
    minutes = AmountField("time", units=["h", "min"], label="Time", help_text="Such as 1.5 h or 90 min.")
    person = forms.ModelChoiceField(Person.objects.none(), label="Who", empty_label="choose")
    day = DayField(label="Day")
    note = forms.CharField(max_length=200, required=False, label="Note")

    parts = [("", ("minutes", "person", "day", "note"))]
    narrow = ("person", "day")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = hands()

    def clean_minutes(self) -> int:
        minutes = self.cleaned_data["minutes"].to("min").value
        if minutes != minutes.to_integral_value():
            raise ValidationError("Give whole minutes: 0.1 h are 6 minutes.")
        if not 1 <= minutes <= 1440:
            raise ValidationError("Give between 1 minute and 24 hours.")
        return int(minutes)


UNITS_OF_PARTS = [(unit, unit) for unit in ("pc", "set", "pair", "l", "ml", "kg", "g", "m", "cm")]


class PartUsedForm(Folded, ActForm):
    parts = [("", ("description", "quantity", "unit", "part_number", "price", "own_part", "made_at"))]
    folds = (("", "It was used earlier than now", ("made_at",)),)
    narrow = ("quantity", "unit", "part_number", "price")

    description = forms.CharField(max_length=200, label="What")
    part_number = forms.CharField(max_length=60, required=False, label="Part number")
    quantity = NumberField(label="Quantity", initial="1")
    unit = forms.ChoiceField(choices=UNITS_OF_PARTS, label="Unit")
    price = MoneyField(required=False, label="Price each")
    own_part = forms.BooleanField(
        required=False,
        label="The owner's own part",
        help_text="The shop gives no warranty on an owner's own part, and does not charge it. Tell the owner so.",
    )
    made_at = earlier()

    def __init__(self, *args, currency: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["price"].unit = currency

    def clean_quantity(self):
        quantity = self.cleaned_data["quantity"]
        if quantity <= 0:
            raise ValidationError("The quantity is above 0.")
        if quantity >= 10**6:
            raise ValidationError("Give a quantity below 1000000.")
        if quantity != round(quantity, 2):
            raise ValidationError("Give at most two decimals, or choose a smaller unit.")
        return quantity


class FinishForm(Folded, EditForm):
    parts = [("", ("correction", "made_at"))]
    folds = (("", "It was done earlier than now", ("made_at",)),)

    correction = forms.CharField(
        label="Correction: what was done",
        widget=forms.Textarea(attrs={"rows": 4, "data-phrases": "correction"}),
    )
    made_at = earlier()


class DropForm(EditForm):
    dropped_because = forms.CharField(max_length=300, label="Not done, because")


class ReopenForm(ActForm):
    reason = forms.CharField(max_length=300, label="Why it is opened again")


class StrikeForm(ActForm):
    """Takes back one entry of a line. `taken_back` names the field that chooses it; `rows` are the line's own."""

    taken_back = ""
    reason = forms.CharField(max_length=200, label="Entered in error, because")

    def __init__(self, *args, rows, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields[self.taken_back].queryset = rows
        self.order_fields([self.taken_back, "reason"])


class StrikeLabourForm(StrikeForm):
    taken_back = "entry"
    entry = forms.ModelChoiceField(LabourEntry.objects.none(), label="Which entry", empty_label="choose")


class StrikePartUsedForm(StrikeForm):
    taken_back = "used"
    used = forms.ModelChoiceField(PartUsed.objects.none(), label="Which part", empty_label="choose")


class FixedForm(Grouped, EditForm):
    check_made = forms.CharField(
        max_length=300,
        label="Check made afterwards, and what it showed",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    confirmed = forms.BooleanField(
        required=False,
        initial=True,
        label="The check confirms it: the fault is gone",
        help_text="Without this tick it is “repaired, not yet confirmed”, and a re-check is raised.",
    )
    due_on = DayField(required=False, label="Re-check by")
    due_distance = AmountField("distance", required=False, label="or after a distance of")
    due_hours = NumberField(required=False, low=0, high=99999, label="or after running hours")
    due_runs = forms.IntegerField(required=False, min_value=1, max_value=9999, label="or after runs")
    severity = forms.ChoiceField(
        choices=[("", "as the fault"), *Severity.choices], required=False, label="Severity of the re-check"
    )

    parts = [
        ("The check", ("check_made", "confirmed")),
        (
            "A re-check, where it is not confirmed",
            ("due_on", "due_distance", "due_hours", "due_runs", "severity"),
        ),
    ]

    def __init__(self, *args, fault: Fault, **kwargs):
        super().__init__(*args, **kwargs)
        if fault.reproduced in (Reproduced.SOMETIMES, Reproduced.NO):
            # Nobody can confirm on one day what comes and goes.
            del self.fields["confirmed"]


class ItemDoneForm(EditForm):
    finding = forms.CharField(max_length=300, required=False, label="What was found or done")
