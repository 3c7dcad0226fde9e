"""Plots in templates: `{% load plots %}{% draw_plot plot %}`, on paper `{% draw_plot plot paper=True %}`.

Numbers become texts here, so that no template writes a decimal comma into SVG.
"""

from __future__ import annotations

from typing import Any

from django import template

from workshop.engineering.plot import Plot
from workshop.engineering.plot_drawing import TEXT, TICK, Curve, Drawn, Key, drawn
from workshop.engineering.plot_labels import Placed

register = template.Library()


@register.inclusion_tag("components/_plot.html")
def draw_plot(plot: Plot | dict[str, Any], paper: bool = False) -> dict[str, Any]:
    """A plot, or the record of one that was kept with a result."""
    return in_template(plot if isinstance(plot, Plot) else Plot.from_record(plot), paper=paper)


def in_template(plot: Plot, *, paper: bool = False) -> dict[str, Any]:
    """What `components/_plot.html` takes."""
    return {"plot": plot, "drawn": _texts(drawn(plot)), "size": _n(TEXT), "paper": paper}


def _texts(of: Drawn) -> dict[str, Any]:
    frame = of.frame
    across = [(tick, _n(tick.at)) for tick in of.across]
    up = [(tick, _n(tick.at)) for tick in of.up]
    left, right, top, bottom = _n(frame.x), _n(frame.right), _n(frame.y), _n(frame.bottom)
    return {
        "width": _n(of.width),
        "height": _n(of.height),
        "grid": "".join(f"M{left} {y}H{right}" for _, y in up),
        "axis": f"M{left} {top}V{bottom}H{right}"
        + "".join(f"M{x} {bottom}v{_n(TICK)}" for _, x in across)
        + "".join(f"M{left} {y}h-{_n(TICK)}" for _, y in up),
        "across": [{"x": x, "y": _n(frame.bottom + TICK + TEXT), "label": tick.label} for tick, x in across],
        "up": [
            {"x": _n(frame.x - TICK - 2), "y": _n(tick.at + TEXT * 0.35), "label": tick.label}
            for tick, _ in up
        ],
        "axis_words": [
            *({"x": "0", "y": _n(y), "label": line, "anchor": "start"} for y, line in of.y_label),
            *({"x": right, "y": _n(y), "label": line, "anchor": "end"} for y, line in of.x_label),
        ],
        "areas": [
            {
                "outline": area.outline,
                "pattern": area.pattern,
                "hatch": "".join(f"M{_n(x)} {_n(y)}V{_n(to)}" for x, y, to in area.strokes)
                + "".join(f"M{_n(a[0])} {_n(a[1])}L{_n(b[0])} {_n(b[1])}" for a, b in area.slants),
            }
            for area in of.areas
        ],
        "curves": [
            {**_pen(curve), "pieces": curve.pieces, "dots": [(_n(x), _n(y)) for x, y in curve.dots]}
            for curve in of.curves
        ],
        "dots": [(_n(x), _n(y)) for x, y in of.dots],
        "signs": [{"shape": sign.shape, "d": sign_path(sign.shape, *sign.at)} for sign in of.signs],
        "words": [_words(each) for each in of.words],
        "keys": [_key(key) for key in of.keys],
        "outside": of.outside,
    }


def sign_path(shape: str, x: float, y: float) -> str:
    """A mark's shape round a point. They differ in outline, so that grey print tells them apart too."""
    way = {
        "diamond": "m0-5.5 5.5 5.5-5.5 5.5-5.5-5.5z",
        "triangle": "m0-5.5 5.5 9.5h-11z",
        "square": "m-4.2-4.2h8.4v8.4h-8.4z",
        "cross": "m-4-4 8 8m0-8-8 8",
        "bar": "m0-6v12m-4-12h8m-8 12h8",
    }[shape]
    return f"M{_n(x)} {_n(y)}{way}"


def _key(key: Key) -> dict[str, Any]:
    drawn_as = _pen(key.curve) if key.curve else {}
    sign = {"shape": key.shape, "d": sign_path(key.shape, 8, 7)} if key.shape else {}
    return {"letter": key.letter, "label": key.label, "pattern": key.pattern, **drawn_as, **sign}


def _pen(curve: Curve) -> dict[str, str]:
    return {"style": curve.style, "pen": _n(curve.pen), "dashes": curve.dashes}


def _words(placed: Placed) -> dict[str, Any]:
    box = placed.box
    return {
        "x": _n(box.x),
        "y": _n(box.y),
        "width": _n(box.width),
        "height": _n(box.height),
        "lines": [
            {"x": _n(box.x + box.width / 2), "y": _n(y), "label": line} for y, line in placed.baselines
        ],
    }


def _n(value: float) -> str:
    return f"{value:.5g}"
