"""What another pulley or cooler changes: the rows that can be worked out, and what is asked for."""

from decimal import Decimal

import pytest

from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import calculators
from workshop.engineering.declare import Origin
from workshop.engineering.effect import CarFigures, Figure, Part, Standing, Topic
from workshop.engineering.effect_figures import compared, plain, said
from workshop.engineering.effects.induction import EFFECT
from workshop.engineering.units import Amount


def figure(text: str, origin: Origin = Origin.DATA_SHEET, words: str = "workshop manual") -> Figure:
    number, _, code = text.partition(" ")
    return Figure(Amount(Decimal(number), code or "1"), origin, words)


def sheet(**texts: str) -> dict[str, Figure]:
    return {key: figure(text) for key, text in texts.items()}


def part(place: str, id: str = "p1", **texts: str) -> Part:
    return Part(
        id,
        "a part",
        "engine",
        place,
        "",
        {code: figure(t, Origin.PART, "read off") for code, t in texts.items()},
    )


FACTORY = sheet(
    crank_pulley="150 mm",
    blower_pulley="65 mm",
    limiter="6500 rpm",
    blower_limit="16000 rpm",
    boost="0.5 bar",
)


def topic(*parts: Part, factory: dict[str, Figure] = FACTORY, own: dict[str, Figure] | None = None) -> Topic:
    found = EFFECT.work(CarFigures(factory, parts, own or {}))
    assert found is not None
    return found


def test_no_part_touches_it():
    assert EFFECT.work(CarFigures(FACTORY)) is None
    assert EFFECT.work(CarFigures(FACTORY, (part("tyres", tyre_size="1"),))) is None
    # Another crankshaft pulley on an engine without a blower.
    assert EFFECT.work(CarFigures({}, (part("auxiliary-drive", crank_pulley="140 mm"),))) is None


def test_a_smaller_pulley_drives_the_blower_past_its_maximum():
    found = topic(part("supercharger", blower_pulley="60 mm"))
    ratio, speed, engine = found.rows[:3]
    assert (ratio.factory, ratio.now, ratio.change, ratio.standing) == (
        "2.308",
        "2.500",
        "+8.3 %",
        Standing.CHANGED,
    )
    assert (speed.factory, speed.now, speed.limit) == ("15000 min⁻¹", "16250 min⁻¹", "up to 16000 min⁻¹")
    assert speed.standing == engine.standing == Standing.OUTSIDE
    assert "250 min⁻¹ above its maximum" in speed.verdict
    assert "factory's drive was above it too" not in speed.verdict
    low = {**FACTORY, **sheet(blower_limit="14000 rpm")}
    assert (
        "factory's drive was above it too"
        in topic(part("supercharger", blower_pulley="60 mm"), factory=low).rows[1].verdict
    )
    assert speed.limit_source == "workshop manual"
    assert engine.now == "6400 min⁻¹"
    assert all(row.parts == ("p1",) for row in found.rows[:3])
    assert found.outside
    (plot,) = found.plots
    assert [line.style for line in plot.lines] == ["this", "factory", "limit"]
    # The factory's boost is not this car's any more: nobody may take it for it.
    assert [missing.key for missing in found.missing] == ["boost@p1"]
    assert found.rows[3].factory != "–"
    assert found.rows[3].standing == Standing.NOT_KNOWN


def test_the_same_numbers_as_the_calculator():
    found = topic(part("supercharger", blower_pulley="60 mm"))
    calculator = calculators()["blower-drive"]
    given = {key: FACTORY[key].given for key in ("crank_pulley", "limiter", "blower_limit")}
    result = calculate(calculator, {**given, "blower_pulley": figure("60 mm").given})
    assert found.rows[1].now == result.record()["outputs"][0]["shown"]


def test_the_air_with_a_measured_boost():
    found = topic(part("supercharger", blower_pulley="60 mm", boost="0.6 bar"), own={})
    rows = {row.what: row for row in found.rows}
    hot = rows["Temperature behind the compressor"]
    # 15 °C, 0.6 bar over 101.325 kPa, 60 %: 83.3 °C.
    assert hot.now == "83.3 °C"
    assert hot.change == "+9.9 K"
    assert hot.standing == Standing.CHANGED
    assert rows["Pressure ratio"].now == "1.592"
    assert "assumed to be 60 %" in found.assumptions[0]
    assert "from 50 to 72 %" in found.assumptions[0]
    assert found.missing == ()
    own = topic(part("supercharger", blower_pulley="60 mm"), own=sheet(boost="0.6 bar"))
    assert [row.now for row in own.rows] == [row.now for row in found.rows]


def test_a_known_efficiency_is_not_assumed():
    found = topic(part("supercharger", blower_pulley="65 mm", compressor_efficiency="72 %"))
    rows = {row.what: row for row in found.rows}
    assert found.assumptions == ()
    assert found.rows[0].standing == Standing.AS_FACTORY
    assert rows["Temperature behind the compressor"].change.startswith("−")
    # The drive is the factory's, so its boost still holds.
    assert rows["Pressure ratio"].standing == Standing.AS_FACTORY
    assert [line.style for line in found.plots[0].lines] == ["this", "limit"]
    assert found.rows[1].standing == Standing.INSIDE
    assert "would reach its maximum" in found.rows[1].verdict


def test_the_range_of_an_assumption_stands_on_the_factory_where_this_car_is_not_known():
    found = topic(part("supercharger", blower_pulley="60 mm"))
    assert "lies between 63.6 °C and 85 °C" in found.assumptions[0]


def test_a_cooler():
    found = topic(part("charge-cooler", cooler_effectiveness="70 %", cooler_pressure_loss="0.05 bar"))
    cooled = found.rows[-1]
    assert cooled.what.startswith("Density behind the charge cooler")
    assert cooled.factory == "–"
    assert 1.2 < float(cooled.now) < 1.5
    both = topic(
        part("charge-cooler", cooler_effectiveness="70 %"),
        factory={**FACTORY, **sheet(cooler_effectiveness="60 %")},
    )
    assert float(both.rows[-1].now) > float(both.rows[-1].factory)
    silent = topic(part("charge-cooler"))
    assert [missing.key for missing in silent.missing] == ["cooler_effectiveness"]


def test_what_is_missing_is_asked_for_and_the_rest_worked_out():
    nothing = topic(part("supercharger"), factory={})
    assert nothing.rows == ()
    assert nothing.plots == ()
    assert [missing.key for missing in nothing.missing] == ["boost@p1"]
    pulley = topic(part("supercharger", blower_pulley="60 mm"), factory={})
    assert [m.key for m in pulley.missing] == ["crank_pulley", "limiter", "blower_limit", "boost@p1"]
    no_limiter = topic(
        part("supercharger", blower_pulley="60 mm"),
        factory=sheet(crank_pulley="150 mm", blower_pulley="65 mm"),
    )
    assert [row.what for row in no_limiter.rows] == ["Drive ratio of the blower"]
    no_limit = topic(
        part("supercharger", blower_pulley="60 mm"), factory=sheet(crank_pulley="150 mm", limiter="6500 rpm")
    )
    assert [row.what for row in no_limit.rows] == ["Drive ratio of the blower", "Blower speed at the limiter"]
    assert no_limit.rows[1].standing == Standing.CHANGED
    assert no_limit.rows[1].factory == "–"


def test_another_limiter_or_crankshaft_pulley_with_a_blower():
    assert topic(part("engine-control-unit", limiter="7200 rpm")).rows[1].standing == Standing.OUTSIDE
    assert topic(part("auxiliary-drive", crank_pulley="165 mm")).outside
    lower = topic(part("auxiliary-drive", crank_pulley="165 mm"))
    # The data sheet has the factory's boost; this car's is measured.
    assert lower.missing == ()
    assert lower.notes[0].startswith("Measure this car's boost")
    told = topic(part("auxiliary-drive", crank_pulley="165 mm"), own=sheet(boost="0.7 bar"))
    assert told.notes[0].startswith("More air")
    geared = topic(part("supercharger", blower_internal_ratio="1.2"))
    assert geared.rows[0].now == "2.769"
    cooler = topic(part("charge-cooler", cooler_effectiveness="70 %"), factory={})
    assert [missing.key for missing in cooler.missing] == ["boost"]
    assert "how hot" in cooler.missing[0].why


def test_figures_in_a_row():
    assert plain({}, "boost", "bar") is None
    assert plain({"tyre_size": Figure("185/60 R14", Origin.PART)}, "tyre_size", "mm") is None
    assert said(None, "mm") == "–"
    assert compared("x", 1.0, None, "mm", ()).standing == Standing.NOT_KNOWN
    assert compared("x", 2.0, 2.0, "mm", ()).change == "none"
    assert float(said(1e-5, "m").partition(" ")[0]) == pytest.approx(0)
