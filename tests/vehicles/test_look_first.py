"""The order in which a survey's findings are looked into, and the reason that stands beside each.

The rule is the shop's way of working: common practice, no source. The directive that the three classes of severity
come from (2014/45/EU, Art. 7) sets dangerous before major before minor.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from vehicles.look_first import Finding, Raised, look_first, settles

PART = {"finding": "not_factory", "provenance": "aftermarket", "confidence": "confirmed"}
ROOF = Finding("Roof", "body", 60, what="Rack", **PART)
SPRING = Finding("Rear spring", "rear_axle", 40, what="Longer spring", **PART)
TOW_BAR = Finding("Tow bar", "rear", 70, safety=True, what="Bar of flats", **PART)
PAD = Finding("Brake pads", "brakes", 45, finding="open", question="Whose are they?")
BELT = Finding("Seat belts", "cabin", 65, safety=True, finding="as_factory")


def told(*findings) -> list[str]:
    return [one.finding.where for one in look_first(findings)]


def raised(finding: Finding, severity: str, number="F1") -> Finding:
    return replace(finding, raised=(Raised(number, severity, "as raised"),))


def test_dangerous_then_what_brakes_steers_carries_then_the_rest():
    assert told(ROOF, raised(ROOF, "minor"), TOW_BAR, SPRING, PAD, raised(BELT, "dangerous")) == [
        "Seat belts",
        "Brake pads",
        "Rear spring",
        "Tow bar",
        "Roof",
        "Roof",
    ]
    assert [one.rank for one in look_first([ROOF, SPRING, raised(BELT, "dangerous")])] == [1, 2, 3]


def test_what_is_as_it_should_be_is_only_named_where_danger_stands_open():
    assert told(BELT, replace(BELT, finding=""), replace(BELT, finding="not_seen")) == []
    assert told(raised(BELT, "major")) == []
    assert told(raised(BELT, "dangerous")) == ["Seat belts"]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (raised(SPRING, "major"), raised(PAD, "minor")),
        (raised(SPRING, "minor"), TOW_BAR),  # judged minor before what nobody has judged …
        (TOW_BAR, raised(SPRING, "advice")),  # … and that before mere advice
        (replace(TOW_BAR, condition="defective"), SPRING),
        (replace(TOW_BAR, confidence="open"), replace(SPRING, confidence="likely")),
        (replace(TOW_BAR, confidence="likely"), SPRING),
        (SPRING, TOW_BAR),  # nothing tells them apart: the order of the walk
    ],
)
def test_within_a_group(first, second):
    assert told(second, first) == told(first, second) == [first.where, second.where]


@pytest.mark.parametrize(
    ("finding", "why"),
    [
        (
            raised(SPRING, "dangerous", "O2"),
            "O2: judged dangerous, and still open; it carries the rear of the car; it is proven not to be the "
            "factory's.",
        ),
        (PAD, "It brakes the car; open question: Whose are they?"),
        (
            replace(TOW_BAR, finding="open", provenance="unknown", confidence="open", condition="defective",
                    condition_note="cracked weld"),
            "What is towed or carried behind hangs on it; nobody knows where the part comes from; the part is "
            "defective (cracked weld).",
        ),
        (replace(ROOF, confidence="likely"), "Not the factory's; where it comes from is likely, not proven."),
        (replace(ROOF, confidence="open"), "Not the factory's; nothing proves yet where it comes from."),
        (raised(ROOF, "minor"), "F1: judged minor, and still open; it is proven not to be the factory's."),
    ],
)  # fmt: skip
def test_the_reason_is_written_out(finding, why):
    (line,) = look_first([finding])
    assert line.why == why


def test_a_shops_own_safety_place_has_a_reason_in_every_zone():
    for zone in ("engine", "front", "identity", "transmission", "cooling"):
        (line,) = look_first([replace(TOW_BAR, zone=zone)])
        assert line.rank == 2
        assert line.why.startswith("People's safety depends on it")


def test_danger_without_a_place_is_named_too():
    lost = Finding(
        "No place named", "", -1, what="Smell of fuel", raised=(Raised("F9", "dangerous", "Smell"),)
    )
    (line,) = look_first([lost])
    assert line.why == "F9: judged dangerous, and still open."


def test_what_would_settle_a_question():
    assert settles(PAD).startswith("An answer to the question")
    assert "casting mark read off it" in settles(replace(TOW_BAR, provenance="unknown"))
    assert settles(replace(TOW_BAR, confidence="open")).startswith("Any evidence")
    assert settles(replace(TOW_BAR, confidence="open"), "judgement").startswith("Stronger evidence")
