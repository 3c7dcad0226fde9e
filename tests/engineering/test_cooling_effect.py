"""What more power or another coolant pump changes for the cooling system, and what is asked for."""

from decimal import Decimal

import pytest

from workshop.engineering.effect import CarFigures, Figure, Part, Standing, Topic
from workshop.engineering.effects.cooling import EFFECT
from workshop.engineering.items import items_at
from workshop.engineering.result import Origin
from workshop.engineering.units import Amount


def figure(text: str, origin: Origin = Origin.DATA_SHEET) -> Figure:
    number, _, code = text.partition(" ")
    return Figure(Amount(Decimal(number), code or "1"), origin, "workshop manual")


def sheet(**texts: str) -> dict[str, Figure]:
    return {key: figure(text) for key, text in texts.items()}


def part(place: str, id: str = "p1", **texts: str) -> Part:
    return Part(
        id, "a part", "engine", place, "", {code: figure(t, Origin.PART) for code, t in texts.items()}
    )


FACTORY = sheet(engine_power="100 kW", coolant_flow="160 l/min", boost="0.5 bar", blower_pulley="65 mm")


def topic(*parts: Part, factory: dict[str, Figure] = FACTORY, own: dict[str, Figure] | None = None) -> Topic:
    found = EFFECT.work(CarFigures(factory, parts, own or {}))
    assert found is not None
    return found


def test_no_part_touches_it():
    assert EFFECT.work(CarFigures(FACTORY)) is None
    # A lighter crankshaft pulley on an engine without a blower.
    assert EFFECT.work(CarFigures({}, (part("auxiliary-drive", crank_pulley="140 mm"),))) is None


def test_measured_power():
    found = topic(part("supercharger", blower_pulley="60 mm"), own=sheet(engine_power="163.1545 PS"))
    heat, flow, rise = found.rows
    # 120 kW · 0.8 = 96 kW; both by a fifth.
    assert (heat.factory, heat.now, heat.change) == ("80 kW", "96 kW", "+20.0 %")
    assert (flow.factory, flow.now) == ("164 l/min", "197 l/min")
    assert (rise.factory, rise.now) == ("8.2 K", "9.9 K")
    assert "warmer than in the factory's car" in rise.verdict
    assert heat.parts == ("p1",)
    assert found.missing == ()
    assert "between 60 kW and 132 kW" in found.assumptions[0]


def test_a_part_that_changes_the_power_without_saying_how_far():
    found = topic(part("supercharger", blower_pulley="60 mm"))
    assert [row.standing for row in found.rows] == [Standing.NOT_KNOWN] * 3
    assert [row.factory for row in found.rows] == ["80 kW", "164 l/min", "8.2 K"]
    assert "Measure this car's power" in found.notes[0]
    assert "between 50 kW and 110 kW" in found.assumptions[0]


@pytest.mark.parametrize("place", ["engine", "supercharger"])
def test_another_engine_or_blower_that_states_no_power_is_asked_for_it(place):
    known = {"engine": {}, "supercharger": {"blower_limit": "16000 rpm"}}[place]
    found = topic(part(place, **known), factory=sheet(engine_power="60 kW", coolant_flow="160 l/min"))
    heat = found.rows[0]
    assert (heat.factory, heat.now, heat.standing, heat.parts) == (
        "48 kW",
        "–",
        Standing.NOT_KNOWN,
        ("p1",),
    )
    assert [missing.key for missing in found.missing] == ["engine_power@p1"]
    assert "engine_power" in {item.code for item in items_at(place)}
    # Told, by the part or measured on the car, it is known.
    for told in (
        topic(part(place, engine_power="90 kW")),
        topic(part(place), own=sheet(engine_power="90 kW")),
    ):
        assert told.rows[0].now == "72 kW"
        assert told.missing == ()


def test_another_pump():
    found = topic(part("cooling-fan", coolant_flow="200 l/min"))
    heat, _, rise = found.rows
    assert heat.standing == Standing.AS_FACTORY
    assert (rise.factory, rise.now, rise.verdict) == ("8.2 K", "6.6 K", "")
    assert rise.parts == ("p1",)


def test_what_is_missing_is_asked_for():
    nothing = topic(part("radiator"), factory={})
    assert nothing.rows == ()
    assert [missing.key for missing in nothing.missing] == ["engine_power"]
    assert nothing.assumptions == ()
    no_flow = topic(part("radiator"), factory=sheet(engine_power="100 kW"))
    assert [row.what for row in no_flow.rows] == [
        "Heat to the coolant at full power",
        "Coolant flow for a rise of 8 K",
    ]
    assert [missing.key for missing in no_flow.missing] == ["coolant_flow"]
    own = topic(factory={}, own=sheet(engine_power="100 kW", coolant_flow="160 l/min"))
    assert own.rows[0].factory == "–"
    assert own.rows[2].now == "8.2 K"
    # Without the factory's figures nobody can say what has changed.
    assert {row.standing for row in own.rows} == {Standing.NOT_KNOWN}
    assert [missing.key for missing in own.missing] == ["engine_power", "coolant_flow"]
