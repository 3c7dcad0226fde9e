"""Forms of what somebody signs for: who signs is asked, and says so with their PIN, on whoever's session it is.

The right to open the page is the session's; the right to do the act is the signer's. On a tablet that the shop
enrolled the PIN is always asked, for it passes from hand to hand. On a personal device the session's own person signs
as they are; somebody else signs there too, with their PIN.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from workshop import pins
from workshop.forms.base import ActForm
from workshop.models import Device, Person
from workshop.permissions import TABLE, May, allowed

# More people than this are chosen from a list instead of a row of buttons.
MOST_BUTTONS = 5
# Drawn together by components/_signing.html, and by nothing else.
APART = ("signer", "pin")


class SignerField(forms.ChoiceField):
    """The people who may sign. Answers the `Person`, or None where nobody was chosen; asks the database once."""

    widget = forms.RadioSelect
    apart = True

    def __init__(self, **kwargs):
        super().__init__(**kwargs)
        self.people: dict[str, Person] = {}

    def offer(self, people: Iterable[Person], remarks: Callable[[Person], list[str]]) -> None:
        self.people = {str(person.pk): person for person in people}
        said = {key: ", ".join(remarks(one)) for key, one in self.people.items()}
        choices = [
            (key, f"{one} ({said[key]})" if said[key] else str(one)) for key, one in self.people.items()
        ]
        if len(choices) > MOST_BUTTONS:
            self.widget = forms.Select(attrs=self.widget.attrs)
            choices = [("", "choose"), *choices]
        self.choices = choices

    def prepare_value(self, value: Any) -> Any:
        return str(value.pk) if isinstance(value, Person) else value

    def to_python(self, value: Any) -> Person | None:
        if value in self.empty_values:
            return None
        if isinstance(value, Person):
            return value
        if str(value) not in self.people:
            raise ValidationError(
                "This person may not sign for it. Choose somebody from the list.", code="may_not_sign"
            )
        return self.people[str(value)]

    def validate(self, value: Person | None) -> None:
        """Looked up already."""

    def has_changed(self, initial: Any, data: Any) -> bool:
        return str(self.prepare_value(initial) or "") != str(data or "")


class PinField(forms.CharField):
    """Six digits. Comes back empty, and is kept nowhere."""

    widget = forms.PasswordInput
    apart = True

    def __init__(self, **kwargs):
        kwargs = {"label": "PIN", "max_length": 12, "required": False, **kwargs}
        super().__init__(**kwargs)
        self.widget.attrs |= {"inputmode": "numeric", "autocomplete": "off", "pattern": "[0-9 ]*"}


class SignerForm(ActForm):
    """Asks who signs, of the people who hold the `right` of the act; the act is then theirs.

    Begins with the session's own person where they may sign, else with the only one who may.
    """

    right: May
    signer = SignerField(label="Who signs", required=False)

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any):
        super().__init__(*args, **kwargs)
        # An error's report holds what was sent, but for what is named here.
        request.sensitive_post_parameters = ("pin",)
        self.session_person: Person = request.user
        device = request.device
        self.device: Device | None = device if device and device.pk else None
        self.on_tablet = self.device is not None and self.device.is_enrolled
        field: SignerField = self.fields["signer"]
        field.offer(self.people_who_sign(), self.remarks)
        self.initial.setdefault("signer", self.first_signer())

    def people_who_sign(self) -> list[Person]:
        """The session's own person first, then who has a PIN, by name: one query."""
        people = Person.objects.holding(*TABLE[self.right]).order_by("name")
        return sorted(people, key=lambda one: (one.pk != self.session_person.pk, not pins.has_pin(one)))

    def remarks(self, person: Person) -> list[str]:
        """What stands after a name: said before anything is typed for nothing."""
        own = person.pk == self.session_person.pk and not self.on_tablet
        return [] if own or pins.has_pin(person) else ["no PIN yet"]

    def first_signer(self) -> Person | None:
        people = list(self.fields["signer"].people.values())
        if self.may_sign_here:
            return self.session_person
        return people[0] if len(people) == 1 else None

    @property
    def may_sign_here(self) -> bool:
        """Whether the session's own person holds the right."""
        return allowed(self.session_person, self.right)

    @property
    def is_signed(self) -> bool:
        """Whether what is sent is a signing: some forms write down other things too."""
        return True

    @property
    def signed_by(self) -> Person:
        """Whoever is chosen, read before anything is checked; the session's own person where nobody is."""
        value = self["signer"].data if self.is_bound else self.initial.get("signer")
        if isinstance(value, Person):
            return value
        chosen = self.fields["signer"].people.get(str(value or ""))
        return chosen if chosen is not None and self.is_signed else self.session_person

    def clean_signer(self) -> Person:
        signer = self.cleaned_data["signer"]
        if signer is None and not self.may_sign_here and self.is_signed:
            raise ValidationError("Choose who signs.", code="no_signer")
        return signer or self.session_person

    def act_arguments(self) -> dict[str, Any]:
        return {name: value for name, value in super().act_arguments().items() if name not in APART}

    # ------------------------------------------------------------------------------------- for the templates

    @property
    def is_mixed(self) -> bool:
        asked = (each for each in self.visible_fields() if each.name not in APART)
        return len({e.field.required for e in asked if not isinstance(e.field, forms.BooleanField)}) > 1

    @property
    def signing(self) -> dict[str, Any]:
        """For components/_signing.html: {signer, pin, again (a PIN was typed and went), folded, open}."""
        names = [name for name in APART if name in self.fields]
        return {
            **{name: self[name] for name in names},
            "again": bool(self.errors) and bool(self.data.get(self.add_prefix("pin"))),
            "folded": self.is_folded,
            "open": any(self[name].errors for name in names)
            or (self.is_bound and self.signed_by != self.session_person),
        }

    @property
    def is_folded(self) -> bool:
        """On one's own device one mostly signs oneself: that somebody else does is folded away."""
        return not self.on_tablet and self.initial.get("signer") == self.session_person


class SignedForm(SignerForm):
    """Asks for the signer's PIN as well: always on an enrolled tablet, elsewhere where it is not their session.

    It is looked at once all else is in order, so that a slip elsewhere costs no try; it is no argument of the act.
    """

    pin = PinField()

    @property
    def needs_pin(self) -> bool:
        return self.is_signed and (self.on_tablet or self.signed_by != self.session_person)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if self.needs_pin and not data.get("pin") and "pin" not in self.errors:
            self.add_error(
                "pin",
                ValidationError(f"{self.signed_by} signs: the PIN is needed here.", code="no_pin_typed"),
            )
        return data

    def try_act(self, act: Callable, *, request: HttpRequest, **fixed: Any) -> bool:
        if self.needs_pin:
            try:
                pins.check(self.signed_by, self.cleaned_data["pin"], self.device)
            except ValidationError as refusal:
                self.add_error("pin", refusal)
                request.refusals = self.sentences()
                return False
        return super().try_act(act, request=request, **fixed)
