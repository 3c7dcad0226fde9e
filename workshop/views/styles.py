"""A page that shows every part of the templates in every state, so that the next page finds and uses them."""

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from workshop.engineering.patterns import Pattern, default_sequence, positions
from workshop.forms.fields import AmountField, DayField, NumberField
from workshop.pages import may
from workshop.permissions import May


class Specimen(forms.Form):
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
    form["words"].on_record = "Seat rusty, cleaned."
    return form


def _pattern(kind: Pattern, count: int, states: list[str]) -> list[dict]:
    order = default_sequence(kind, count)
    by_fastener = dict(zip(order, states, strict=True))
    return [
        {
            "n": spot.fastener,
            "x": float(spot.x),
            "y": float(spot.y),
            "state": by_fastener[spot.fastener],
            "label": "",
        }
        for spot in positions(kind, count)
    ]


@may(May.SEE_SHOP)
def styles(request: HttpRequest) -> HttpResponse:
    context = {
        "form": Specimen(),
        "bad_form": _refused(),
        "fasteners": _pattern(Pattern.CIRCLE, 5, ["done", "done", "flag", "next", "todo"]),
        "line": _pattern(Pattern.LINE, 6, ["done", "done", "next", "todo", "todo", "todo"]),
        "blockers": [
            {"text": "Tow bar bolts: second check missing", "url": "#words", "link": "Check"},
            {"text": "Fault 3 has no end", "url": "#forms"},
            {"text": "Odometer out not recorded"},
        ],
        "page_obj": Paginator(range(100), 10).get_page(3),
    }
    return render(request, "workshop/styles.html", context)
