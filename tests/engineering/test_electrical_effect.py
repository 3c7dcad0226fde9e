"""What added circuits and another battery change, worked beside the factory's car."""

import time
from decimal import Decimal as D

import pytest

from workshop.engineering.effect import CarFigures, Figure, Part, Standing
from workshop.engineering.effects.electrical import EFFECT
from workshop.engineering.result import Origin
from workshop.engineering.units import Amount


def figure(text, origin=Origin.PART):
    number, code = text.split()
    return Figure(Amount(D(number), code), origin)


def circuit(ident="p1", place="added-circuits", what="fridge", **figures):
    return Part(
        ident, what, "Added circuits", place, "", {code: figure(text) for code, text in figures.items()}
    )


def car(*parts, **factory):
    return CarFigures({code: figure(text, Origin.DATA_SHEET) for code, text in factory.items()}, parts)


FRIDGE = {"load_current": "6 A", "fuse_rating": "30 A", "cable_section": "1.5 mm2", "cable_length": "4 m"}


def rows_of(of):
    return {row.what: row for row in EFFECT.work(of).rows}


def test_a_car_without_added_electrics_has_no_such_topic():
    tyre = Part("t", "tyre", "Tyres", "tyres", "rear_left", {})
    assert EFFECT.work(car(tyre, battery_capacity="60 Ah")) is None


def test_the_fuse_that_does_not_protect_its_cable():
    """1.5 mm² carries 24 A at 30 °C and √(30/40) of it at 40 °C, 20.8 A: a 30 A fuse lets it burn."""
    rows = rows_of(car(circuit(**FRIDGE), alternator_current="90 A"))
    row = rows["fridge: fuse on its cable"]
    assert row.standing is Standing.OUTSIDE
    assert row.limit == "up to 20.8 A"
    assert row.verdict == "The cable carries less than its fuse: the fuse does not protect it."
    assert row.parts == ("p1",)
    assert rows["fridge: load on its fuse"].now == "6 A on 30 A, 20 %"
    assert rows["fridge: load on its fuse"].standing is Standing.INSIDE
    # 6 A over 8 m of 1.5 mm²: 6 · 8 / (58 · 1.5) = 0.552 V at 20 °C, and 1 + 0.00393 · 50 = 1.1965 times that at 70 °C.
    assert rows["fridge: voltage lost in its cable"].now == (
        "0.66 V, 5.5 % of 12 V (assumed; 11.0 % of 6 V and 2.8 % of 24 V)"
    )
    assert rows["All added loads on the alternator"].now == "6 A of 90 A, 7 %"
    assert EFFECT.work(car(circuit(**FRIDGE))).outside


def test_load_too_much_for_fuse_cable_and_way():
    big = circuit(load_current="40 A", fuse_rating="20 A", cable_section="2.5 mm2", cable_length="5 m")
    bare = circuit("p2", what="pump", load_current="40 A", cable_section="2.5 mm2")
    rows = rows_of(car(big, bare, alternator_current="70 A"))
    assert rows["fridge: load on its fuse"].standing is Standing.OUTSIDE
    assert rows["fridge: fuse on its cable"].standing is Standing.INSIDE
    assert rows["fridge: voltage lost in its cable"].standing is Standing.OUTSIDE
    assert rows["pump: load on its cable"].verdict == "The cable gets too hot."
    alternator = rows["All added loads on the alternator"]
    assert (alternator.standing, alternator.parts) == (Standing.OUTSIDE, ("p1", "p2"))
    light = rows_of(car(circuit(load_current="1 A", cable_section="2.5 mm2")))
    assert light["fridge: load on its cable"].standing is Standing.INSIDE


def test_a_cable_that_carries_its_fuse_only_while_it_is_cool():
    """24 A · √((70 − T)/40) = 15 A at T = 54.4 °C; 5 A only at 68 °C, which no body reaches."""
    rows = rows_of(car(circuit(fuse_rating="15 A", cable_section="1.5 mm2")))
    assert rows["fridge: fuse on its cable"].verdict == "The cable carries its fuse up to 54 °C around it."
    rows = rows_of(car(circuit(fuse_rating="5 A", cable_section="1.5 mm2")))
    assert rows["fridge: fuse on its cable"].verdict == "The cable carries its fuse."


def test_what_is_missing_is_asked_part_by_part():
    topic = EFFECT.work(car(circuit(load_current="6 A")))
    assert [each.key for each in topic.missing] == [
        "fuse_rating@p1", "cable_section@p1", "cable_length@p1", "alternator_current",
    ]  # fmt: skip
    assert topic.rows == ()
    assert all(each.label and each.why for each in topic.missing)
    unknown = EFFECT.work(car(circuit()))
    assert len(unknown.missing) == 4
    assert unknown.assumptions == ()
    # What is fitted elsewhere and says nothing of itself has, for all one knows, no circuit.
    assert EFFECT.work(car(circuit(place="living-fittings"))) is None
    assert EFFECT.work(car(circuit(place="living-fittings", load_current="2 A"))) is not None


def test_a_text_where_a_number_belongs_is_missing():
    part = Part("p1", "fridge", "", "added-circuits", "", {"load_current": Figure("six", Origin.PART)})
    assert "load_current@p1" in [each.key for each in EFFECT.work(CarFigures({}, (part,))).missing]


def test_assumptions_say_their_range():
    said = EFFECT.work(car(circuit(**FRIDGE))).assumptions
    # 24 A · √(10/40) and · √(45/40).
    assert "between 12.0 A and 25.5 A" in said[0]
    assert "conductor at 70 °C" in said[1]
    assert "half as much" in said[1]
    assert said[2].startswith("12 V is assumed")
    # 1.1965 at 70 °C, 1.01965 at 25 °C.
    assert "one at 25 °C loses 15 % less" in said[1]
    assert len(EFFECT.work(car(circuit(**FRIDGE), system_voltage="12 V")).assumptions) == 2
    assert len(EFFECT.work(car(circuit(cable_section="1.5 mm2"))).assumptions) == 1


def test_another_battery():
    battery = circuit("b", "starter-battery", "battery 44 Ah", battery_capacity="44 Ah")
    rows = rows_of(car(battery, battery_capacity="60 Ah", quiescent_current="50 mA"))
    assert rows["Battery capacity"].change == "−26.7 %"
    days = rows["Days until 50 % is taken, at 50 mA"]
    # 22 Ah and 30 Ah at 50 mA: 440 h and 600 h.
    assert (days.factory, days.now) == ("25 days", "18 days")
    assert days.standing is Standing.CHANGED
    same = rows_of(
        car(
            circuit("b", "starter-battery", battery_capacity="60 Ah"),
            battery_capacity="60 Ah",
            quiescent_current="50 mA",
        )
    )
    assert {row.standing for row in same.values()} == {Standing.AS_FACTORY}


def test_another_battery_with_little_known():
    battery = circuit("b", "starter-battery", battery_capacity="44 Ah")
    topic = EFFECT.work(car(battery))
    assert [each.key for each in topic.missing] == ["battery_capacity", "quiescent_current"]
    assert topic.notes == ()
    assert [row.factory for row in topic.rows] == ["–"]
    assert [row.standing for row in topic.rows] == [Standing.NOT_KNOWN]
    half = rows_of(car(battery, quiescent_current="50 mA"))
    days = half["Days until 50 % is taken, at 50 mA"]
    assert (days.factory, days.standing) == ("–", Standing.NOT_KNOWN)


@pytest.mark.parametrize(("factory", "change"), [({}, "–"), ({"alternator_current": "90 A"}, "+66.7 %")])
def test_another_alternator(factory, change):
    rows = rows_of(car(circuit("a", "alternator", alternator_current="150 A"), **factory))
    row = rows["Rated alternator current"]
    assert row.change == change
    assert row.standing is (Standing.CHANGED if factory else Standing.NOT_KNOWN)
    assert ("give the factory's figure" in row.verdict) is not bool(factory)
    asked = EFFECT.work(car(circuit("a", "alternator", alternator_current="150 A"), **factory)).missing
    assert [each.key for each in asked] == ([] if factory else ["alternator_current"])


def test_ten_circuits_take_few_milliseconds():
    many = car(*(circuit(f"p{n}", what=f"load {n}", **FRIDGE) for n in range(10)), alternator_current="90 A")
    EFFECT.work(many)
    start = time.process_time()
    for _ in range(10):
        EFFECT.work(many)
    assert (time.process_time() - start) / 10 < 0.02


# 6 A over 8 m of 1.5 mm²: 0.660 V with a conductor at 70 °C, 0.281 V at 25 °C and back through the body.
@pytest.mark.parametrize(
    ("load", "volts", "standing", "words"),
    [
        ("6 A", "24 V", Standing.INSIDE, ""),
        ("6 A", "12 V", Standing.NOT_KNOWN, "from 0.28 V, cool and back through the body, to 0.66 V"),
        # 4.7 % of 6 V at the least.
        ("6 A", "6 V", Standing.NOT_KNOWN, "Measure it under load"),
        ("7 A", "6 V", Standing.OUTSIDE, "thicker"),
        ("6 A", None, Standing.NOT_KNOWN, "Measure it under load"),
        # 5 A: 0.55 V, 4.6 % of 12 V, 9.2 % of 6 V: the voltage decides.
        ("5 A", None, Standing.NOT_KNOWN, "give the voltage of the car's network"),
        ("2 A", None, Standing.INSIDE, ""),
        # 1.4 V at the least, 5.9 % of 24 V.
        ("30 A", None, Standing.OUTSIDE, "thicker"),
    ],
)
def test_the_voltage_lost_is_judged_only_where_no_assumption_changes_it(load, volts, standing, words):
    factory = {} if volts is None else {"system_voltage": volts}
    of = car(circuit(**{**FRIDGE, "load_current": load}), alternator_current="90 A", **factory)
    row = rows_of(of)["fridge: voltage lost in its cable"]
    assert row.standing is standing
    assert words in row.verdict
    assert ("assumed" in row.now) is (volts is None)
    assert [each.key for each in EFFECT.work(of).missing] == ([] if volts else ["system_voltage"])


def test_a_battery_that_lasts_hours_is_not_said_to_last_no_days():
    """1 Ah, half of it, at 1 A: half an hour."""
    battery = circuit("b", "starter-battery", battery_capacity="1 Ah")
    days = rows_of(car(battery, battery_capacity="60 Ah", quiescent_current="1000 mA"))[
        "Days until 50 % is taken, at 1000 mA"
    ]
    assert (days.factory, days.now) == ("30 hours", "30 minutes")
