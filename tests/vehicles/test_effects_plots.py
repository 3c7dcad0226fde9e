"""A plot in a page: without style attributes, with words for those who can't see it, from a plot or from its record."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from django.template import Context, Template

from workshop.engineering.plot import Axis, Band, Line, Mark, Plot

PLOT = Plot(
    "share", "Rear share <of> force", Axis("Deceleration, g", 0, 1), Axis("Rear share, %", 0, 60),
    "It falls & \"falls\".",
    (Line("this car", ((0, 34), (1, 30))), Line("factory", ((0, 28), (1, 25)), "factory"), Line("far", ((0, 99),))),
    (Band("wanted", ((0, 5), (1, 5)), ((0, 20), (1, 20))),), (Mark("locks", (0.5, 50)),),
    ("g", "share"), (("0.5", "32 %"),),
)  # fmt: skip


def drawn(plot, **kwargs) -> str:
    options = "".join(f" {name}={value}" for name, value in kwargs.items())
    return Template(f"{{% load plots %}}{{% draw_plot plot{options} %}}").render(Context({"plot": plot}))


@pytest.mark.parametrize("paper", [False, True])
def test_it_is_well_formed_without_style_or_script_and_with_words(paper):
    html = drawn(PLOT, paper=paper)
    assert not re.search(r"\s(style|on\w+)=", html)
    root = ElementTree.fromstring(html)
    svg = root.find("svg")
    assert svg is not None
    assert svg.get("role") == "img"
    assert svg.get("aria-label") == 'Rear share <of> force. It falls & "falls".'
    assert svg.findtext("desc") == 'It falls & "falls".'
    words = [text.text for text in svg.iter("text")]
    assert {"this car", "factory", "wanted", "locks", "Deceleration, g", "Rear share, %"} <= set(words)
    assert (root.find("details") is None) == paper
    assert "32 %" in html
    assert "lies outside the axes: far." in html


def test_a_decimal_comma_of_the_language_never_reaches_the_drawing(settings):
    settings.LANGUAGE_CODE, settings.USE_THOUSAND_SEPARATOR = "de", True
    svg = drawn(PLOT).split("<details>")[0]
    view_box = re.search(r'viewBox="([^"]+)"', svg)
    assert view_box
    assert "," not in view_box.group(1)


def test_a_kept_record_is_drawn_as_the_plot_was():
    assert drawn(PLOT.record()) == drawn(PLOT)


def test_dashes_tell_the_lines_apart_where_no_colour_does():
    root = ElementTree.fromstring(drawn(PLOT))
    this, factory = list(root.iter("polyline"))
    assert this.get("stroke-dasharray") is None
    assert factory.get("stroke-dasharray")
    assert this.get("stroke") == factory.get("stroke")


def test_an_empty_plot_is_a_frame_with_axes():
    bare = Plot("bare", "Bare", Axis("", 0, 0), Axis("", 0, 0), "")
    root = ElementTree.fromstring(drawn(bare))
    assert root.find("details") is None
    assert list(root.iter("polyline")) == []
