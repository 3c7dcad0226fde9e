"""A page that shows every part of the templates in every state, so that the next page finds and uses them."""

import json

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from workshop.engineering.pattern_drawing import drawn
from workshop.engineering.patterns import Pattern, default_sequence
from workshop.forms.fields import AmountField, DayField, NumberField
from workshop.forms.meanwhile import Both, together
from workshop.forms.signing import PinField, SignerField
from workshop.models import Person
from workshop.pages import may
from workshop.permissions import May
from workshop.specimens import groups


class Specimen(forms.Form):
    is_mixed = True  # some fields are needed, some are not: both are marked

    torque = AmountField("torque", label="Torque", help_text="As set on the tool or read off its display.")
    kind = forms.ChoiceField(
        label="How it was taken",
        choices=[
            ("clicked", "Clicked at the set value"),
            ("read", "Read on a dial"),
            ("still", "Did not move"),
        ],
        widget=forms.RadioSelect,
    )
    distance = NumberField(label="Odometer")
    tool = forms.ChoiceField(choices=[("", "Choose a tool"), ("1", "TW-03, 20 to 200 N·m"), ("2", "TW-07")])
    evidence = forms.MultipleChoiceField(
        required=False,
        choices=[("a", "Part number read off the part"), ("b", "Invoice"), ("c", "Owner's statement")],
        widget=forms.CheckboxSelectMultiple,
    )
    new = forms.BooleanField(
        label="New bolts fitted", help_text="Single-use bolts are never used again.", required=False
    )
    day = DayField(label="Done on", required=False)
    words = forms.CharField(label="What was seen", widget=forms.Textarea(attrs={"rows": 4}), required=False)


class Dense(forms.Form):
    low = NumberField(label="Lowest")
    high = NumberField(label="Highest")
    own = forms.BooleanField(label="The shop's own", required=False)


def _dense() -> Dense:
    form = Dense({"low": "118", "high": "11o"}, auto_id="dense_%s")
    form.full_clean()
    return form


def _refused() -> Specimen:
    form = Specimen(
        {
            "torque_0": "12x",
            "torque_1": "N.m",
            "distance": "",
            "words": "Seat clean, no rust.",
            "tool": "1",
            "kind": "read",
        },
        auto_id="bad_%s",
    )
    form.full_clean()
    form.add_error(None, "Bolt 4 was tightened by somebody else at 14:05, while you typed.")
    form.add_error("tool", "Wrench TW-03 was due for calibration on 1 March 2026. Take another tool.")
    form["distance"].on_record = "148210 km"
    mine, theirs = "Seat clean, no rust.", "Seat rusty, cleaned."
    form["words"].meanwhile = Both(
        "M. Quill, 14:03",
        theirs,
        mine,
        take_theirs=json.dumps([theirs]),
        take_mine=json.dumps([mine]),
        take_both=json.dumps([together(theirs, mine)]),
    )
    form["kind"].meanwhile = Both("M. Quill, 14:03", "Read on a dial", "Did not move", taken=True)
    form.differing = [form["kind"], form["words"]]
    return form


class Signing(forms.Form):
    signer = SignerField(label="Who signs")
    pin = PinField()


def _signings() -> list[tuple[str, dict]]:
    """(what it shows, {signing}) of a tablet, of one's own device, and of a wrong PIN."""
    people = [Person(name=name, pin=pin) for name, pin in (("M. Quill", "$"), ("A. Brandt", ""))]

    def one(number: int, *, folded: bool = False, wrong: str = "") -> dict:
        form = Signing({"signer": str(people[0].pk)} if wrong else None, auto_id=f"sign{number}_%s")
        form.fields["signer"].offer(people, lambda one: [] if one.pin else ["no PIN yet"])
        form.fields["signer"].initial = people[0]
        if wrong:
            form.add_error("pin", wrong)
        parts = {name: form[name] for name in ("signer", "pin")}
        return {"signing": {**parts, "folded": folded, "open": False, "again": False}}

    return [
        ("on a tablet of the shop", one(1)),
        ("on one's own device", one(2, folded=True)),
        (
            "a wrong PIN",
            one(3, wrong="Wrong PIN. Two more tries, then M. Quill waits 15 minutes on this tablet."),
        ),
    ]


def _pattern(kind: Pattern, count: int, states: list[str], rows: int = 1, columns: int = 1) -> dict:
    """Drawing of a pattern whose fasteners, in their sequence, are in these states ("flag below": with its mark)."""
    order = default_sequence(kind, count, rows, columns)
    found = drawn(kind, count, rows, columns, sequence=order)
    by_fastener = dict(zip(order, [*states, *["todo"] * (count - len(states))], strict=True))
    fasteners = []
    for spot in found.spots:
        state, _, mark = by_fastener[spot.fastener].partition(" ")
        following = state == "next"
        fasteners.append(
            {
                "n": spot.fastener,
                "x": spot.x,
                "y": spot.y,
                "turn": spot.turn,
                "size": found.next_size if following else found.size,
                "state": "todo" if following else state,
                "next": following,
                "mark": mark,
            }
        )
    return {"fasteners": fasteners, "box": found.view_box, "way": found.way}


@may(May.SEE_SHOP)
def styles(request: HttpRequest) -> HttpResponse:
    context = {
        "form": Specimen(),
        "bad_form": _refused(),
        "dense": _dense(),
        "signings": _signings(),
        "patterns": [
            ("Five in a circle", _pattern(Pattern.CIRCLE, 5, ["done", "done", "flag above", "next"])),
            (
                "Eight in a circle",
                _pattern(Pattern.CIRCLE, 8, ["done", "flag below", "flag doubt", "flag again"]),
            ),
            ("Six in a row", _pattern(Pattern.LINE, 6, ["done", "done", "next"])),
            ("Two rows of five", _pattern(Pattern.GRID, 10, ["done", "done", "done", "next"], 2, 5)),
            ("One", _pattern(Pattern.CIRCLE, 1, ["next"])),
            ("Thirty in a circle", _pattern(Pattern.CIRCLE, 30, ["done"] * 8 + ["next"])),
        ],
        "page_obj": Paginator(range(100), 10).get_page(3),
    }
    context["specimens"] = [
        (name, [(each.caption, render_to_string(each.template, each.context, request)) for each in rows])
        for name, rows in groups()
    ]
    return render(request, "workshop/styles.html", context)
