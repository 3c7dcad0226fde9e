"""What the styles page shows of each part in `templates/components/`, in each of its states. All invented.

A new part is shown by adding its states below: `one("_name", "what is to be seen", input=…, …)`. A test compares
what the page draws with the folder.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

from workshop.engineering.declare import INFORMS, LOCAL_APPROVAL
from workshop.engineering.odometer import InstrumentSpan, Reading, true_distance
from workshop.engineering.plot import Axis, Band, Line, Mark, Plot
from workshop.templatetags.plots import in_template


@dataclass(frozen=True)
class Specimen:
    component: str
    caption: str
    context: dict[str, Any] = field(default_factory=dict)

    @property
    def template(self) -> str:
        return f"components/{self.component}.html"


def one(component: str, caption: str, **context: Any) -> Specimen:
    return Specimen(component, caption, context)


_AT = datetime(2026, 3, 12, 14, 5, tzinfo=UTC)
_BLOCKERS = [
    {"text": "Tow bar bolts: second check missing", "url": "#words", "link": "Check"},
    {"text": "Odometer out not recorded"},
]
_TYPED = [("What was found", "Clunk from the rear left over kerbs, not on the level."), ("Severity", "Minor")]


_PLOT = Plot(
    "specimen", "Rear share of the brake force", Axis("Deceleration, g", 0, 1), Axis("Rear share, %", 0, 60),
    "The rear brakes of this car do more than the factory's at every deceleration.",
    (Line("this car", ((0, 34), (0.6, 34), (1, 29))), Line("factory", ((0, 28), (1, 28)), "factory"),
     Line("limit", ((0, 50), (1, 38)), "limit"), Line("ideal", ((0, 40), (1, 15)), "ideal")),
    (Band("wanted", ((0, 8), (1, 4)), ((0, 20), (1, 14))),), (Mark("rear first", (0.72, 32.5)),),
    ("Deceleration", "Factory", "This car"), (("0.2 g", "28 %", "34 %"), ("0.8 g", "28 %", "31.5 %")),
)  # fmt: skip
_MANY = Plot(
    "specimen-many", "Road speed in each gear", Axis("Engine speed, min⁻¹", 0, 7000), Axis("Speed, km/h", 0, 220),
    "Every gear of this car is a tenth shorter.",
    tuple(Line(f"gear {n}{words}", ((0, 0), (7000, 40 * n * part)), style) for n in range(1, 6)
          for words, part, style in (("", 0.9, "this"), (", factory", 1, "factory"))),
)  # fmt: skip

_AMOUNTS = Plot(
    "specimen-amounts", "Cost by year", Axis("Year", 2019.5, 2023.5, ((2021, "2021"), (2023, "2023"))),
    Axis("Cost, EUR", 0, 900), "The most in 2021.",
    bands=tuple(Band(label, ((x - 0.3, low), (x + 0.3, low)), ((x - 0.3, high), (x + 0.3, high)), pattern)
                for x, low, high, pattern, label in (
                    (2020, 0, 300, "cross", "crossed"), (2021, 0, 500, "solid", "by this shop"),
                    (2021, 500, 800, "slant", "past work"), (2023, 0, 200, "plain", "plain"))),
    marks=tuple(Mark("", (2020.5 + n / 2, 700), shape, shape) for n, shape in
                enumerate(("diamond", "triangle", "square", "cross", "bar"))),
    head=("Year", "Cost, EUR"), rows=(("2020", "300.00"), ("2021", "800.00"), ("2023", "200.00")),
)  # fmt: skip

_TRUE = true_distance(
    [InstrumentSpan("mi", Decimal(0), Decimal(84210)), InstrumentSpan("km", Decimal(7), Decimal(12345))]
)
_NOT_KNOWN = true_distance(
    [
        InstrumentSpan(
            "mi",
            None,
            None,
            (
                Reading(date(2024, 2, 3), Decimal(92010)),
                Reading(date(2025, 2, 3), Decimal(91040)),
                Reading(date(2026, 2, 3), Decimal(92040)),
            ),
        )
    ]
)
_READING = {"figure": 92040, "instrument": {"get_unit_display": "mi"}, "read_at": _AT}

_RESULT = {
    "name": "Rear share of the brake force", "version": 1, "odd": True,
    "outputs": [
        {"name": "share", "label": "Rear share", "main": True, "shown": "34.2 %"},
        {"name": "ideal", "label": "Ideal at 0.5 g", "main": False, "shown": "29.6 %"},
    ],
    "verdict": "The rear does 4.6 % more than it can hold at 0.5 g: it locks first.",
    "notes": ["Without a valve that reduces the rear pressure."],
    "cautions": ["Work on brakes is for a qualified person."], "local_approval": True,
    "tables": [{"title": "By deceleration", "head": ["Deceleration", "Ideal"], "rows": [["0.5 g", "29.6 %"]]}],
    "plots": [], "assumptions": ["Friction of the pads is assumed to be 0.38: anywhere from 0.3 to 0.45, nothing changes."],
    "inputs": [{"label": "Wheelbase", "shown": "2500 mm", "origin": "data sheet", "words": "workshop manual, p. 12"}],
    "formula": "share = Fr / (Ff + Fr)", "sources": ["Statics of a decelerating two-axle car (textbook mechanics)"],
}  # fmt: skip


def _photo(**fields: Any) -> SimpleNamespace:
    usual = {
        "get_absolute_url": "#photos",
        "is_picture": True,
        "small_url": "/static/img/mark.svg",
        "width": 160,
        "height": 120,
        "gone": "",
        "erased_at": None,
        "moment": "",
        "caption": "Crack at the inner weld",
        "angle": "",
        "get_kind_display": "Photo",
        "taken_or_made": _AT,
    }
    return SimpleNamespace(**{**usual, **fields})


_PHOTOS = [
    _photo(moment="before"),
    _photo(moment="after", caption=""),
    _photo(is_picture=False, caption="Invoice of the cable"),
    _photo(gone="Set aside: blurred", caption="Blurred"),
    _photo(erased_at=_AT, gone="Erased: asked for", caption="", get_kind_display="Signed paper"),
]

SPECIMENS = (
    one("_by", "person and time", person="R. Ashdown", at=_AT),
    one("_by", "on a device, arrived later", person="R. Ashdown", at=_AT, device="tablet, bay two", arrived="16:20"),
    one("_by", "with what was done", verb="checked by", person="M. Quill", at="yesterday"),
    one("_odometer", "large figure", reading=148210, unit="km", big=True),
    one("_odometer", "lower than before", reading=92040, unit="mi", flag="lower than on 3 Feb 2025; kept with a reason"),
    one("_odometer", "set aside", reading=148012, unit="km", flag="set aside as misread"),
    one("_odometer", "not true", reading=148210, unit="km", flag="reads low: oversize tyres"),
    one("_odometer", "true distance", reading="182400", unit="km", flag="true distance over two instruments"),
    one("_odometer", "not known", reading="", unit="km", flag="true distance not known before 3 Feb 2025"),
    one("_odometer", "not readable", reading="", unit="km", flag="display dark, battery flat"),
    one("_distance", "known over two instruments", truth=_TRUE, reading=_READING),
    one("_distance", "not known before a day, and a reading that was lower", truth=_NOT_KNOWN, big=True, reading=_READING),
    one("_distance", "on paper", truth=_TRUE, paper=True),
    one("_blockers", "something in the way", blockers=_BLOCKERS),
    one("_blockers", "nothing in the way", blockers=None, title="Nothing in the way"),
    one("_empty", "with the way out", sentence="No measurements on this job.", url="#words", link="Measure something"),
    one("_empty", "without", sentence="Nothing was waived yet."),
    one("_confirm", "closed", summary="Cancel this job", action="", submit_label="Cancel the job",
        text="Possible only while nothing was done to the car. The number stays used.", form=None),
    one("_confirm", "open, waited for now", summary="Hand over", action="", submit_label="Hand over now",
        text="The sheet is issued and the record is frozen.", form=None, hand=True, open=True),
    one("_tag", "with what clears it", text="Do not move", reason="Front wheel bolts, round 2 open.", url="#words",
        link="Open the run"),
    one("_tag", "hung by hand", text="Do not start", reason="No oil."),
    one("_draft", "typed and not sent", words="You typed this here at 10:42 and did not send it.", said=_TYPED,
        more=2, number=1),
    one("_draft", "sent, no answer came", number=2, said=_TYPED[:1],
        words="You sent this here at 10:42, and no word came that it was saved. Put back and sent again, it is one "
        "record."),
    one("_draft", "its form is gone", words="You typed this here on 3 Mar at 10:42 and did not send it.",
        said=_TYPED[:1], gone=True, number=3),
    one("_photo_strip", "photos, a document, set aside, erased", photos=_PHOTOS, label="Photos of this line"),
    one("_photo_input", "the way to add one, without a script", add="#photos", label="Add photos", many=True),
    one("_result", "one that needs a hand, with all that it came from", record=_RESULT, informs=INFORMS,
        local_approval=LOCAL_APPROVAL),
    one("_plot", "two cars, a limit, a band, a mark, with its table", **in_template(_PLOT)),
    one("_plot", "more lines than there is room for words: letters, with their key", **in_template(_MANY)),
    one("_plot", "amounts told apart by patterns, and marks by shapes", **in_template(_AMOUNTS)),
)  # fmt: skip


def groups() -> list[tuple[str, list[Specimen]]]:
    """By component, in the order above."""
    found: dict[str, list[Specimen]] = {}
    for each in SPECIMENS:
        found.setdefault(each.component, []).append(each)
    return list(found.items())
