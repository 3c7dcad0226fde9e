"""Where another wheel puts the tyre: track, outer and inner edge."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Calculator, InputErrors, Kind, Number, Outcome, Output, Source
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.tyres import edges_moved, track_change

D = Decimal


def work(
    width_from: Quantity,
    offset_from: Quantity,
    width_to: Quantity,
    offset_to: Quantity,
    spacer_from: Quantity | None,
    spacer_to: Quantity | None,
    track: Quantity | None,
) -> Outcome:
    none = quantity(0, "mm")
    spacers = (spacer_to if spacer_to is not None else none) - (
        spacer_from if spacer_from is not None else none
    )
    wider = track_change(offset_from, offset_to, spacers)
    outer, inner = edges_moved(width_from, width_to, offset_from, offset_to, spacers)
    values: dict[str, Quantity] = {"track_change": wider, "outer": outer, "inner": inner}
    if track is not None:
        if magnitude(track + wider, "mm") <= 0:
            raise InputErrors({"track": "With this change no track is left: look at the figures again."})
        values["track_now"] = track + wider
        values["share"] = (wider / track).to("percent")
    outwards, inwards = magnitude(outer, "mm"), magnitude(inner, "mm")
    verdict = f"{edge_words('outer', 'outwards', 'inwards', outwards)} {edge_words('inner', 'inwards, towards strut and brake', 'outwards', inwards)}"
    notes = []
    if spacer_to is not None and magnitude(spacer_to, "mm") > 0:
        notes.append(
            "With a spacer count the turns of every bolt or nut: the engaged thread must be as long as it was."
        )
    return Outcome(values, verdict, notes=notes)


def edge_words(which: str, positive: str, negative: str, moved: float) -> str:
    """A sentence on how far an edge moves, mm."""
    if abs(moved) < 0.05:
        return f"The {which} edge stays where it was."
    return f"The {which} edge moves {abs(moved):.1f} mm {positive if moved > 0 else negative}."


def _offset(name: str, label: str, item: str = "", factory_item: str = "") -> Number:
    return Number(
        name,
        label,
        "length",
        "mm",
        D(-150),
        D(150),
        "From the middle of the rim to the mounting face; positive when the face lies outward.",
        ("in",),
        item,
        factory_item=factory_item,
    )


def _spacer(name: str, label: str, item: str = "") -> Number:
    return Number(name, label, "length", "mm", D(0), D(80), "On each side.", ("in",), item, optional=True)


CALCULATOR = Calculator(
    slug="wheel-offset",
    words=("rim", "poke", "spacers"),
    name="Wheel width, offset and spacer",
    group="Wheels and tyres",
    question="How far in and out does another wheel or a spacer put the rim's edges, and how wide is the track then?",
    inputs=(
        Number(
            "width_from",
            "Rim width before",
            "length",
            "in",
            D(2),
            D(14),
            units=("mm",),
            factory_item="front.rim_width",
        ),
        _offset("offset_from", "Offset before", factory_item="front.rim_offset"),
        Number("width_to", "Rim width now", "length", "in", D(2), D(14), "", ("mm",), "front.rim_width"),
        _offset("offset_to", "Offset now", "front.rim_offset"),
        _spacer("spacer_from", "Spacer before"),
        _spacer("spacer_to", "Spacer now", "front.spacer"),
        Number(
            "track",
            "Track before",
            "length",
            "mm",
            D(600),
            D(2500),
            item="front.track",
            optional=True,
        ),
    ),
    outputs=(
        Output("track_change", "Track grows by", "mm", main=True),
        Output("outer", "Outer edge moves outwards", "mm"),
        Output("inner", "Inner edge moves inwards", "mm"),
        Output("track_now", "Track now", "mm"),
        Output("share", "Track, change", "%"),
    ),
    formula=(
        "s = offset before − offset now + spacer now − spacer before;  track + 2 · s;  "
        "outer edge s + Δwidth/2;  inner edge Δwidth/2 − s"
    ),
    sources=(Source("Geometry of the wheel", "", Kind.MECHANICS),),
    work=work,
    cautions=(
        "Less offset moves the load away from the wheel bearing and changes the scrub radius. "
        "Look at full lock and full bump, and at the brake behind the spokes.",
    ),
    local_approval=True,
    example={
        "width_from": "6.5 in",
        "offset_from": "45 mm",
        "width_to": "8 in",
        "offset_to": "35 mm",
        "spacer_to": "5 mm",
        "track": "1500 mm",
    },
)
