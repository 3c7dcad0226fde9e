"""What another pulley or cooler changes: the rows that can be worked out, and what is asked for."""

from decimal import Decimal

import pytest

from workshop.engineering.calculate import calculate
from workshop.engineering.catalogue import calculators
from workshop.engineering.effect import CarFigures, Figure, Part, Standing, Topic
from workshop.engineering.effect_figures import FACTORYS, compared, plain, said
from workshop.engineering.effects.induction import EFFECT
from workshop.engineering.result import Origin
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
    blower_internal_ratio="1",
    limiter="6500 rpm",
    blower_limit="16000 rpm",
    boost="0.5 bar",
)
# All that the factory's blower is known by, for another one that says it of itself.
ALL_OF_A_BLOWER = {
    "blower_pulley": "65 mm",
    "blower_internal_ratio": "1",
    "blower_limit": "18000 rpm",
    "boost": "0.5 bar",
}


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
    assert speed.standing == Standing.OUTSIDE
    # The same finding seen from the engine is not counted twice.
    assert engine.standing == Standing.CHANGED
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
    known = {**FACTORY, **sheet(compressor_efficiency="60 %")}
    found = topic(part("supercharger", **ALL_OF_A_BLOWER, compressor_efficiency="72 %"), factory=known)
    rows = {row.what: row for row in found.rows}
    assert found.assumptions == ()
    assert found.missing == ()
    assert found.rows[0].standing == Standing.AS_FACTORY
    assert rows["Temperature behind the compressor"].change.startswith("−")
    assert rows["Temperature behind the compressor"].standing == Standing.CHANGED
    assert rows["Pressure ratio"].standing == Standing.AS_FACTORY
    assert [line.style for line in found.plots[0].lines] == ["this", "limit"]
    assert found.rows[1].standing == Standing.INSIDE
    assert "would reach its maximum" in found.rows[1].verdict


@pytest.mark.parametrize(
    ("factory", "now", "where", "asked"),
    [
        ("", "72 %", "in the factory's car (usual", ["compressor_efficiency"]),
        ("60 %", "", "in this car (usual", ["compressor_efficiency@p1"]),
        (
            "",
            "",
            "in the factory's car and this car (usual",
            ["compressor_efficiency@p1", "compressor_efficiency"],
        ),
    ],
)
def test_an_efficiency_assumed_on_either_side_is_said(factory, now, where, asked):
    known = {**FACTORY, **(sheet(compressor_efficiency=factory) if factory else {})}
    told = {"compressor_efficiency": now} if now else {}
    found = topic(part("supercharger", **ALL_OF_A_BLOWER, **told), factory=known)
    (sentence,) = found.assumptions
    assert where in sentence
    assert [one.key for one in found.missing] == asked
    # What an assumption makes of it is no change of this car, and no sameness either.
    for row in found.rows[-2:]:
        assert row.standing == Standing.NOT_KNOWN
        assert "give the compressor's efficiency" in row.verdict
    assert found.rows[-3].standing == Standing.AS_FACTORY


def test_another_blower_inherits_nothing_of_the_factorys():
    known = {**FACTORY, **sheet(compressor_efficiency="60 %", blower_internal_ratio="1.2")}
    found = topic(part("supercharger", compressor_efficiency="65 %"), factory=known)
    assert [one.key for one in found.missing] == [
        "blower_pulley@p1",
        "blower_limit@p1",
        "blower_internal_ratio@p1",
        "boost@p1",
    ]
    assert all(row.now == "–" and row.standing == Standing.NOT_KNOWN for row in found.rows)
    assert "taken as another blower" in found.notes[0]
    # Its pulley is known, its greatest speed is not: no verdict by the factory's 16000.
    told = topic(
        part(
            "supercharger", blower_pulley="60 mm", blower_internal_ratio="1.5", compressor_efficiency="65 %"
        ),
        factory=known,
    )
    speed = told.rows[1]
    assert (speed.what, speed.standing, speed.limit) == (
        "Blower speed at the limiter",
        Standing.NOT_KNOWN,
        "–",
    )
    assert "give the blower's greatest speed" in speed.verdict
    assert "blower_limit@p1" in [one.key for one in told.missing]
    assert [line.style for line in told.plots[0].lines] == ["this", "factory"]
    # What was measured on the car itself is this car's.
    own = topic(part("supercharger", compressor_efficiency="65 %"), factory=known, own=sheet(boost="0.6 bar"))
    assert "boost@p1" not in [one.key for one in own.missing]
    assert own.rows[0].now == "1.592"


def test_a_part_that_gives_only_pulleys_is_a_pulley():
    found = topic(part("supercharger", blower_pulley="60 mm", boost="0.6 bar", engine_power="120 kW"))
    assert "A part: taken as another pulley on the factory's blower" in found.notes[0]
    assert found.outside
    # Beside another blower it says nothing of the factory's.
    both = topic(
        part("supercharger", blower_pulley="60 mm"), part("supercharger", "p2", blower_limit="20000 rpm")
    )
    assert not any("another pulley" in note for note in both.notes)
    assert "blower_internal_ratio@p2" in [one.key for one in both.missing]


@pytest.mark.parametrize(
    ("limit", "standing", "words"),
    [
        # 150/60 · 6500 = 16250 with an internal ratio of 1, and up to 81250 with one of 5.
        ("16000 rpm", Standing.OUTSIDE, "250 min⁻¹ above its maximum"),
        ("32500 rpm", Standing.NOT_KNOWN, "With an internal ratio above 2 it may be above its maximum: give"),
        ("82000 rpm", Standing.INSIDE, "would reach its maximum"),
    ],
)
def test_an_internal_ratio_that_nobody_knows_is_said_and_decides_nothing(limit, standing, words):
    known = {**FACTORY, **sheet(blower_limit=limit)}
    del known["blower_internal_ratio"]
    found = topic(part("supercharger", blower_pulley="60 mm"), factory=known)
    assert found.rows[1].standing == standing
    assert words in found.rows[1].verdict
    assert "factory's blower and this car's blower is taken as 1" in found.assumptions[0]
    assert [one.key for one in found.missing][:1] == ["blower_internal_ratio"]
    # The same blower before and after: its pulley changes what it changes, whatever the gear.
    assert (found.rows[0].standing, found.rows[0].change) == (Standing.CHANGED, "+8.3 %")


def test_an_internal_ratio_known_of_one_blower_compares_nothing():
    found = topic(part("supercharger", blower_pulley="65 mm", blower_limit="16000 rpm"))
    assert found.rows[0].standing == Standing.NOT_KNOWN
    assert "give the internal ratio" in found.rows[0].verdict
    assert found.assumptions[0].startswith("The internal ratio of this car's blower is taken as 1")
    known = {key: one for key, one in FACTORY.items() if key != "blower_internal_ratio"}
    told = topic(part("supercharger", **ALL_OF_A_BLOWER), factory=known)
    assert told.rows[0].standing == Standing.NOT_KNOWN
    assert told.assumptions[0].startswith("The internal ratio of the factory's blower is taken as 1")
    assert told.missing[0].key == "blower_internal_ratio"


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
    # By hand: 0.1 bar less of 1.4935 bar behind the compressor is 6.6 % less air.
    assert (
        "No pressure loss in the charge cooler is known of the factory's car and this car"
        in both.assumptions[-1]
    )
    assert [one.key for one in both.missing] == ["cooler_pressure_loss@p1", "cooler_pressure_loss"]
    assert f"{float(both.rows[-1].now) * (1 - 10 / 151.325):.3f} in this car" in both.assumptions[-1]
    # The factory's is asked for, as nobody can compare without it.
    assert [one.key for one in found.missing] == ["cooler_effectiveness"]
    assert cooled.standing == Standing.NOT_KNOWN


def test_another_cooler_inherits_nothing_of_the_factorys():
    known = {**FACTORY, **sheet(cooler_effectiveness="60 %", cooler_pressure_loss="0.03 bar")}
    silent = topic(part("charge-cooler"), factory=known)
    assert [missing.key for missing in silent.missing] == ["cooler_effectiveness@p1"]
    assert (silent.rows[-1].now, silent.rows[-1].standing) == ("–", Standing.NOT_KNOWN)
    lossy = topic(part("charge-cooler", cooler_effectiveness="70 %"), factory=known)
    assert [missing.key for missing in lossy.missing] == ["cooler_pressure_loss@p1"]
    assert "is known of this car: taken as none" in lossy.assumptions[-1]
    told = topic(
        part("charge-cooler", cooler_effectiveness="70 %", cooler_pressure_loss="0.05 bar"),
        factory={**FACTORY, **sheet(cooler_effectiveness="60 %")},
    )
    assert [missing.key for missing in told.missing] == ["cooler_pressure_loss"]
    pulley = topic(
        part("supercharger", blower_pulley="60 mm", boost="0.6 bar"),
        factory={**FACTORY, **sheet(cooler_effectiveness="60 %")},
    )
    assert [missing.key for missing in pulley.missing] == ["cooler_pressure_loss"]


def test_what_is_missing_is_asked_for_and_the_rest_worked_out():
    nothing = topic(part("supercharger"), factory={})
    assert nothing.rows == ()
    assert nothing.plots == ()
    assert [missing.key for missing in nothing.missing] == ["boost@p1"]
    pulley = topic(part("supercharger", blower_pulley="60 mm"), factory={})
    assert [m.key for m in pulley.missing] == [
        "crank_pulley",
        "limiter",
        "blower_limit",
        "blower_internal_ratio",
        "boost@p1",
    ]
    no_limiter = topic(
        part("supercharger", blower_pulley="60 mm"),
        factory=sheet(crank_pulley="150 mm", blower_pulley="65 mm"),
    )
    assert [row.what for row in no_limiter.rows] == ["Drive ratio of the blower"]
    no_limit = topic(
        part("supercharger", blower_pulley="60 mm"), factory=sheet(crank_pulley="150 mm", limiter="6500 rpm")
    )
    assert [row.what for row in no_limit.rows] == ["Drive ratio of the blower", "Blower speed at the limiter"]
    assert no_limit.rows[1].standing == Standing.NOT_KNOWN
    assert no_limit.rows[1].factory == "–"
    # The factory's pulley is asked for: without it nobody can say what has changed.
    assert no_limit.rows[0].standing == Standing.NOT_KNOWN
    assert ("blower_pulley", FACTORYS) in [(one.key, one.why) for one in no_limit.missing]
    gearless = {key: one for key, one in FACTORY.items() if key != "blower_limit"}
    cooler = topic(part("charge-cooler", cooler_effectiveness="70 %"), factory=gearless)
    assert cooler.rows[1].standing == Standing.AS_FACTORY
    assert cooler.rows[1].verdict.endswith("turns 15000 min⁻¹.")
    told = topic(part("supercharger", blower_pulley="60 mm", boost="0.6 bar"), factory={})
    assert told.rows[-3].standing == Standing.NOT_KNOWN
    assert ("boost", FACTORYS) in [(one.key, one.why) for one in told.missing]


def test_another_limiter_or_crankshaft_pulley_with_a_blower():
    assert topic(part("engine-control-unit", limiter="7200 rpm")).rows[1].standing == Standing.OUTSIDE
    assert topic(part("auxiliary-drive", crank_pulley="165 mm")).outside
    lower = topic(part("auxiliary-drive", crank_pulley="165 mm"))
    # The data sheet has the factory's boost; this car's is measured.
    assert lower.missing == ()
    assert lower.notes[0].startswith("Measure this car's boost")
    told = topic(part("auxiliary-drive", crank_pulley="165 mm"), own=sheet(boost="0.7 bar"))
    assert told.notes[0].startswith("More air")
    geared = topic(part("supercharger", blower_pulley="65 mm", blower_internal_ratio="1.2"))
    assert geared.rows[0].now == "2.769"
    cooler = topic(part("charge-cooler", cooler_effectiveness="70 %"), factory={})
    assert [missing.key for missing in cooler.missing] == ["boost"]
    assert "how hot" in cooler.missing[0].why


def test_a_pulley_measured_on_the_car_is_another_drive_too():
    # The part's leaflet says 65 mm, as the factory's; measured are 60 mm: the factory's boost is not this car's.
    found = topic(part("supercharger", blower_pulley="65 mm"), own=sheet(blower_pulley="60 mm"))
    assert found.rows[0].now == "2.500"
    assert found.outside
    assert [one.key for one in found.missing] == ["boost@p1"]
    alone = topic(part("charge-cooler", cooler_effectiveness="70 %"), own=sheet(blower_pulley="60 mm"))
    assert alone.rows[0].change == "+8.3 %"
    assert alone.rows[3].standing == Standing.NOT_KNOWN


def test_figures_in_a_row():
    assert plain({}, "boost", "bar") is None
    assert plain({"tyre_size": Figure("185/60 R14", Origin.PART)}, "tyre_size", "mm") is None
    assert said(None, "mm") == "–"
    assert compared("x", 1.0, None, "mm", ()).standing == Standing.NOT_KNOWN
    assert compared("x", None, 1.0, "mm", ()).standing == Standing.NOT_KNOWN
    assert compared("x", 1.0, 2.0, "mm", ()).standing == Standing.CHANGED
    assert said(-2.5, "mm") == "−2.5 mm"
    assert compared("x", 2.0, 2.0, "mm", ()).change == "none"
