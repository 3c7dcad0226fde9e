"""What other tyres and wheels, gearbox and final drive change on a car, worked out by the same functions."""

import time
from dataclasses import replace

import pytest

from tests.worked import car, part
from workshop.engineering.axle_tyres import asked_for
from workshop.engineering.catalogue import effects
from workshop.engineering.effect import Figure, Standing
from workshop.engineering.result import Origin

FACTORY = {
    "front__tyre_size": "225/70 R15", "rear__tyre_size": "225/70 R15",
    "front__load_index": "112 1", "rear__load_index": "112 1", "front__speed_symbol": "R", "rear__speed_symbol": "R",
    "front__axle_mass_limit": "1750 kg", "rear__axle_mass_limit": "2120 kg", "driven_top_speed": "150 km/h",
    "front__track": "1720 mm", "front__rim_width": "6 in", "front__rim_offset": "68 mm", "front__rim_diameter": "15 in",
}  # fmt: skip


def tyres(index="104", symbol="Q", axles=("front", "rear"), size="235/75 R15"):
    return [
        part(
            f"{axle}-{side}", "tyres", f"{axle}_{side}", tyre_size=size, load_index=index, speed_symbol=symbol
        )
        for axle in axles
        for side in ("left", "right")
    ]


def choice(of, key, code):
    return replace(of, factory={**of.factory, key: Figure(code, Origin.DATA_SHEET)})


def on_axle(of, count):
    return choice(of, "rear.tyres_on_axle", count)


def driven(of, axle):
    return choice(of, "driven_axle", axle)


def topic(slug, of):
    [effect] = [each for each in effects() if each.slug == slug]
    return effect.work(of)


def rows(of, slug="tyres"):
    return {row.what: row for row in topic(slug, of).rows}


def asked(of, slug="tyres"):
    return {missing.key for missing in topic(slug, of).missing}


def test_nothing_to_say_of_a_car_as_the_factory_built_it():
    assert topic("tyres", car(FACTORY)) is None
    assert topic("gearing", car(FACTORY)) is None
    assert topic("tyres", car(FACTORY, part("p", "seats", ""))) is None


@pytest.mark.outside("UN R39 with sizes by ISO 4000-1: 225/70 R15 replaced by 235/75 R15, worked by hand")
def test_larger_tyres_with_too_low_an_index(published):
    found = rows(car(FACTORY, *tyres(), rear__axle_mass_weighed="1905 kg"))
    published.same(found["Rolling circumference, front"].now, "2304 mm")
    published.same(found["Rolling circumference, front"].change, "+5.4 %")
    dial = found["Speedometer at a true 100 km/h"]
    # From 94.9 to 100.6 km/h by what it showed before: it can't be said which.
    published.same((dial.now, dial.standing), ("97.7 km/h", Standing.NOT_KNOWN))
    published.same(dial.limit, "100 to 114 km/h")
    assert "may be showing up to 5.1 km/h less than the car does" in dial.verdict
    assert set(dial.parts) == {"front-left", "front-right", "rear-left", "rear-right"}
    odometer = found["Odometer over 1000 km driven"]
    published.same(odometer.now, "949 km")
    assert "5.1 % too little" in odometer.verdict
    weighed = found["What the rear tyres carry, against the weighed axle mass"]
    assert weighed.standing == Standing.OUTSIDE
    # Index 104 carries 900 kg, two of them 1800 kg; 1905 kg ask for 107 (975 kg), 106 has 950 kg.
    published.same(weighed.now, "1800 kg, index 104")
    assert "too low for the weighed load" in weighed.verdict
    assert "index 107 or more" in weighed.verdict
    permitted = found["What the rear tyres carry, against the permitted axle mass"]
    assert permitted.standing == Standing.OUTSIDE
    assert "320 kg less than the axle may weigh" in permitted.verdict
    assert found["Speed symbol, rear"].standing == Standing.INSIDE
    assert found["What the front tyres carry, against the permitted axle mass"].standing == Standing.INSIDE


def test_the_plot_and_the_assumption_are_said():
    said = topic("tyres", car(FACTORY, *tyres()))
    [plot] = said.plots
    assert plot.slug == "speedometer-error"
    assert "below zero" in plot.summary
    [assumption] = said.assumptions
    assert "between 94.9 and 100.6 km/h" in assumption
    assert said.outside
    assert not said.local_approval


def test_a_tyre_does_not_inherit_what_it_replaced():
    bare = part("t", "tyres", "front_left", tyre_size="235/75 R15")
    of = car(FACTORY, bare)
    assert "What the front tyres carry, against the permitted axle mass" not in rows(of)
    assert asked(of) == {"load_index@t", "speed_symbol@t"}
    # The index and the symbol may stand behind the size.
    full = part("t", "tyres", "front_left", tyre_size="235/75 R15 104/101S")
    found = rows(car(FACTORY, full))
    assert found["What the front tyres carry, against the permitted axle mass"].now == "1800 kg, index 104"
    assert found["Speed symbol, front"].change == "R to S"


def test_sizes_that_are_missing_are_asked_for_where_they_belong():
    index_only = part("t", "tyres", "front_left", load_index="104", rolling_circumference="2200 mm")
    assert asked(car({}, index_only)) == {
        "front.tyre_size", "tyre_size@t", "front.axle_mass_weighed", "speed_symbol@t"
    }  # fmt: skip
    of = car({"front__tyre_size": "225/70 R15", "front__axle_mass_limit": "1500 kg"}, index_only)
    assert asked(of) == {"tyre_size@t", "speed_symbol@t"}
    [wanted] = asked_for(car({}), "front", "tyre_size", "why", factory=False, now=True)
    assert wanted.key == "front.tyre_size"
    assert asked_for(car({}), "front", "spacer", "why", factory=False, now=False) == []


def test_an_axle_is_to_be_weighed_where_its_tyres_would_not_carry_what_it_may_weigh():
    assert asked(car(FACTORY, *tyres())) == {"rear.axle_mass_weighed"}
    assert asked(car(FACTORY, *tyres(), rear__axle_mass_weighed="1500 kg")) == set()
    slow = {key: value for key, value in FACTORY.items() if key != "driven_top_speed"}
    assert asked(car(slow, *tyres(index="112"))) == {"driven_top_speed"}


def test_makers_circumferences_go_before_sizes():
    factory = {**FACTORY, "front__rolling_circumference": "2122 mm"}
    now = part("t", "tyres", "front_left", tyre_size="235/75 R15 104S", rolling_circumference="2240 mm")
    found = rows(car(factory, now))["Rolling circumference, front"]
    assert (found.factory, found.now) == ("2122 mm", "2240 mm")
    assert "makers state" in found.verdict


def test_the_same_size_changes_nothing():
    found = rows(car(FACTORY, *tyres(index="112", symbol="R", size="225/70 R15")))
    assert found["Rolling circumference, front"].standing == Standing.AS_FACTORY
    assert "Speedometer at a true 100 km/h" not in found
    assert found["What the front tyres carry, against the permitted axle mass"].change == "none"
    assert found["Speed symbol, front"].change == "none"


def test_axles_that_roll_differently_are_told_apart():
    of = car(FACTORY, *tyres(axles=("rear",), size="235/85 R15"), *tyres(axles=("front",), size="195/50 R15"))
    found = rows(of)
    front = found["Speedometer at a true 100 km/h, if driven from the front axle"]
    rear = found["Speedometer at a true 100 km/h, if driven from the rear axle"]
    # The smaller one shows too much and the larger one too little, whatever the speedometer showed before.
    assert "at least 6.8 km/h more than the band has" in front.verdict
    assert "at least" in rear.verdict
    assert "less than the car does" in rear.verdict
    assert front.standing == rear.standing == Standing.OUTSIDE
    said = topic("tyres", of)
    assert any("four driven wheels" in note for note in said.notes)
    assert len(said.assumptions) == 2
    inside = rows(
        car(FACTORY, *tyres(axles=("front",), size="225/65 R15"), *tyres(axles=("rear",), size="225/70 R15"))
    )
    assert inside["Speedometer at a true 100 km/h, if driven from the front axle"].standing == Standing.INSIDE
    assert "Speedometer at a true 100 km/h, if driven from the rear axle" not in inside


def test_a_little_larger_is_inside_only_if_the_speedometer_showed_too_much():
    dial = rows(car(FACTORY, *tyres(size="235/70 R15")))["Speedometer at a true 100 km/h"]
    assert dial.now == "101.0 km/h"
    assert dial.standing == Standing.NOT_KNOWN
    assert "check it against a true speed" in dial.verdict
    much = rows(car(FACTORY, *tyres(size="195/65 R15")))["Speedometer at a true 100 km/h"]
    assert much.standing == Standing.NOT_KNOWN
    assert "more than the band has" in much.verdict
    smaller = rows(car(FACTORY, *tyres(size="215/70 R15")))["Speedometer at a true 100 km/h"]
    assert smaller.verdict == "It shows 5.1 km/h more than the car does."


def test_the_load_table_is_named_with_how_well_it_is_known():
    known = rows(car(FACTORY, *tyres()))["What the rear tyres carry, against the permitted axle mass"]
    assert "from memory" not in known.limit_source
    memory = rows(car(FACTORY, *tyres(index="112")))[
        "What the rear tyres carry, against the permitted axle mass"
    ]
    assert "from memory" in memory.limit_source


def test_twinned_tyres_take_the_second_index():
    twins = [part(f"t{n}", "tyres", position, tyre_size="195/70 R15C 104/102R")
             for n, position in enumerate(("rear_left", "inner_left", "inner_right", "rear_right"))]  # fmt: skip
    found = rows(car({"rear__axle_mass_limit": "3300 kg"}, *twins))
    row = found["What the rear tyres carry, against the permitted axle mass"]
    # Two by their first index, or four by their second.
    assert row.now == "1800 to 3400 kg, index 104/102"
    assert row.factory == "–"
    assert row.standing == Standing.NOT_KNOWN
    assert "how many tyres the axle has" in row.verdict
    assert "rear.tyres_on_axle" in asked(car({"rear__axle_mass_limit": "3300 kg"}, *twins))
    # With no inner position on record the second index says that they may be twinned.
    outer = rows(car({"rear__axle_mass_limit": "3300 kg"}, twins[0], twins[3]))[row.what]
    assert outer.standing == Standing.NOT_KNOWN
    four = on_axle(car({"rear__axle_mass_limit": "3300 kg"}, *twins), "4")
    assert rows(four)[row.what].now == "3400 kg, index 102"
    assert rows(four)[row.what].standing == Standing.INSIDE
    assert "rear.tyres_on_axle" not in asked(four)
    two = on_axle(car({"rear__axle_mass_limit": "3300 kg"}, *twins), "2")
    assert rows(two)[row.what].standing == Standing.OUTSIDE
    # Light enough for two of them: four carry it too.
    assert rows(car({"rear__axle_mass_limit": "1700 kg"}, *twins))[row.what].standing == Standing.INSIDE


def test_four_tyres_of_which_the_second_index_is_not_known():
    one = part("t", "tyres", "rear_left", tyre_size="195/70 R15C", load_index="104", speed_symbol="R")
    of = on_axle(car({"rear__axle_mass_limit": "3300 kg"}, one), "4")
    row = rows(of)["What the rear tyres carry, against the permitted axle mass"]
    assert (row.now, row.standing) == ("at most 3600 kg, index 104", Standing.NOT_KNOWN)
    assert "it may be less. Give the tyre size with both load indices" in row.verdict
    assert "tyre_size@t" in asked(of)
    heavy = on_axle(car({"rear__axle_mass_limit": "3700 kg"}, one), "4")
    assert rows(heavy)[row.what].standing == Standing.OUTSIDE
    # Another index was given than stands behind the size, so that its second one is not this tyre's.
    other = part("t", "tyres", "rear_left", tyre_size="195/70 R15C 104/102R", load_index="107")
    assert rows(on_axle(car({"rear__axle_mass_limit": "3300 kg"}, other), "4"))[row.what].now.startswith(
        "at most"
    )
    low = part("t", "tyres", "rear_left", tyre_size="195/70 R15C 104/40R")
    assert rows(on_axle(car({"rear__axle_mass_limit": "3300 kg"}, low), "4"))[row.what].now.startswith(
        "at most"
    )


def test_a_missing_symbol_or_speed_is_no_better_than_a_known_one():
    what = "What the front tyres carry, against the permitted axle mass"

    def row(limit, symbol, speed="240 km/h"):
        known = {"front__axle_mass_limit": limit} | ({"driven_top_speed": speed} if speed else {})
        return car(known, part("t", "tyres", "front_left", tyre_size=f"205/55 R16 91{symbol}"))

    # 1119 kg with V at 240 km/h.
    assert rows(row("1150 kg", "V"))[what].standing == Standing.OUTSIDE
    bare = row("1150 kg", "")
    assert rows(bare)[what].standing == Standing.NOT_KNOWN
    assert "as little as 1119 kg. Give the speed symbol." in rows(bare)[what].verdict
    assert "speed_symbol@t" in asked(bare)
    no_speed = row("1150 kg", "V", "")
    assert rows(no_speed)[what].standing == Standing.NOT_KNOWN
    assert "Give the car's greatest speed" in rows(no_speed)[what].verdict
    assert "driven_top_speed" in asked(no_speed)
    neither = row("1150 kg", "", "")
    assert "the speed symbol and the car's greatest speed" in rows(neither)[what].verdict
    # Where both ends say the same, that is said, with what was assumed.
    light, heavy = rows(row("1000 kg", "V", ""))[what], rows(row("1300 kg", "V", ""))[what]
    assert (light.standing, heavy.standing) == (Standing.INSIDE, Standing.OUTSIDE)
    for one in (light, heavy):
        assert "100 % of their load was assumed; at 91 %" in one.verdict
    assert rows(row("1150 kg", "", "200 km/h"))[what].standing == Standing.INSIDE


def test_old_sizes_ask_for_the_circumferences_of_both_tyres():
    old = {"front__tyre_size": "5.60 S 13"}
    fitted = part("t", "tyres", "front_left", tyre_size="165 R13 80S")
    of = car(old, fitted)
    assert {"front.rolling_circumference", "rolling_circumference@t"} <= asked(of)
    [why] = {one.why for one in topic("tyres", of).missing if "rolling" in one.key}
    assert why.startswith("“5.60 S 13” says no diameter")
    rolls = part("t", "tyres", "front_left", tyre_size="165 R13 80S", rolling_circumference="1820 mm")
    known = car({**old, "front__rolling_circumference": "1830 mm"}, rolls)
    assert rows(known)["Rolling circumference, front"].change == "−0.5 %"
    ply = car(old, part("t", "tyres", "front_left", tyre_size="5.90 - 13 4PR"))
    assert any("ply rating" in note for note in topic("tyres", ply).notes)


def test_speed_lowers_what_is_carried_and_a_slow_symbol_is_said():
    fast = {
        "front__axle_mass_limit": "1150 kg",
        "driven_top_speed": "240 km/h",
        "front__tyre_size": "205/55 R16 91V",
    }
    slow = part("t", "tyres", "front_left", tyre_size="205/55 R16 91H")
    found = rows(car(fast, slow))
    assert found["Speed symbol, front"].standing == Standing.OUTSIDE
    assert "Drive no faster" in found["Speed symbol, front"].verdict
    row = found["What the front tyres carry, against the permitted axle mass"]
    assert row.factory == "1119 kg, index 91"
    assert row.now == "1230 kg, index 91"


def test_a_weighed_axle_alone_is_held_against_the_factory_tyres():
    found = rows(car(FACTORY, front__axle_mass_weighed="2300 kg"))
    [name] = found
    assert found[name].standing == Standing.OUTSIDE
    assert found[name].parts == ()
    assert asked(car({}, front__axle_mass_weighed="2300 kg")) == {"front.load_index"}
    unknown = car({"front__load_index": "45"}, front__axle_mass_weighed="1000 kg")
    assert asked(unknown) == {"front.load_index"}


def test_what_can_not_be_read_is_said():
    bad = part("t", "tyres", "front_left", tyre_size="round", speed_symbol="?")
    said = topic("tyres", car(FACTORY, bad))
    assert len(said.notes) == 2
    assert all(note.startswith("Front: ") for note in said.notes)
    assert "Speed symbol, front" not in {row.what for row in said.rows}
    old = topic(
        "tyres",
        car({"front__tyre_size": "165 R13"}, part("t", "tyres", "front_left", tyre_size="175 R13 80S")),
    )
    assert any("82 %" in note for note in old.notes)


def test_another_wheel_and_a_spacer():
    wheel = part("w", "wheels", "front_left", rim_width="7 in", rim_offset="48 mm", rim_diameter="16 in")
    spacer = part("s", "wheel-fasteners", "front_left", spacer="5 mm")
    of = car(FACTORY, wheel, spacer)
    found = rows(of)
    # 20 mm less offset and 5 mm of spacer: 25 mm outwards each; 1 in wider, 12.7 mm to each side.
    assert found["Track, front"].now == "1770 mm"
    assert found["Track, front"].change == "+50.0 mm, +2.9 %"
    assert found["Outer edge of the rim, front"].now == "37.7 mm outwards"
    assert found["Inner edge of the rim, front"].now == "12.3 mm outwards"
    assert found["Rim width, front"].change == "+1 in"
    # A spacer makes no rim wider, and a rim's width moves no track.
    assert found["Rim width, front"].parts == ("w",)
    assert found["Track, front"].parts == ("w", "s")
    # The factory's tyre is for 15 in.
    assert found["Rim diameter, front"].standing == Standing.OUTSIDE
    assert found["Rim diameter, front"].change == "+1 in"
    assert topic("tyres", of).local_approval


def test_a_wheel_without_its_offset_asks_for_it():
    of = car(FACTORY, part("w", "wheels", "front_left", rim_width="5 in"))
    assert asked(of) == {"rim_offset@w"}
    assert rows(of)["Rim width, front"].change == "−1 in"
    none = car({}, part("w", "wheels", "front_left", rim_width="5 in", rim_offset="40 mm"))
    assert asked(none) == {"front.rim_width", "front.rim_offset"}
    narrow = car(FACTORY, part("w", "wheels", "front_left", rim_width="6 in", rim_offset="78 mm"))
    assert rows(narrow)["Track, front"].change == "−20.0 mm, −1.2 %"
    assert rows(narrow)["Inner edge of the rim, front"].now.endswith("towards strut and brake")
    same = car({"front__rim_width": "6 in", "front__rim_offset": "68 mm"}, part("w", "wheels", "front_left", rim_width="6 in", rim_offset="68 mm"))  # fmt: skip
    assert rows(same)["Track, front"].standing == Standing.AS_FACTORY
    assert rows(same)["Outer edge of the rim, front"].now == "where it was"
    unknown = car({}, part("w", "wheels", "front_left", rim_diameter="16 in"), part("t", "tyres", "front_left", tyre_size="195/50 R15"))  # fmt: skip
    assert rows(unknown)["Rim diameter, front"].factory == "–"


GEARS = {
    "gear_ratio_1": "3.25", "gear_ratio_2": "1.95", "gear_ratio_3": "1.37", "gear_ratio_4": "1.03", "gear_ratio_5": "0.84",
    "final_drive_ratio": "4.06", "limiter": "6500 rpm", "front__tyre_size": "185/60 R14",
}  # fmt: skip


@pytest.mark.outside("Textbook mechanics, 60 · C/i: 185/60 R14 in 0.84 × 4.06 and × 4.43, worked by hand")
def test_another_final_drive(published):
    found = rows(car(GEARS, part("f", "final-drive", "", final_drive_ratio="4.43")), "gearing")
    published.same(found["Final drive ratio"].change, "+9.1 %")
    published.same(found["Overall ratio in gear 5"].now, "3.721")
    row = found["Speed for 1000 min⁻¹ in the highest gear"]
    published.same((row.factory, row.now, row.change), ("31.92 km/h", "29.26 km/h", "−8.4 %"))
    published.same(found["Speed at the limiter in gear 5"].now, "190 km/h")
    assert len([name for name in found if "limiter" in name]) == 5
    assert row.parts == ("f",)


def test_a_higher_limiter_and_another_box():
    limiter = car(GEARS, part("e", "engine-control-unit", "", limiter="7200 rpm"))
    assert rows(limiter, "gearing")["Speed at the limiter in gear 5"].change == "+10.8 %"
    fifth = car(GEARS, part("g", "gearbox", "", gear_ratio_5="0.75"))
    said = topic("gearing", fifth)
    assert any("taken as the factory's" in note for note in said.notes)
    four = {key: value for key, value in GEARS.items() if key != "gear_ratio_5"}
    six = car(four, part("g", "gearbox", "", gear_ratio_5="0.84"))
    assert "highest gear is gear 4" in rows(six, "gearing")["Overall ratio in gear 5"].verdict


def test_tyres_alone_change_the_gearing_where_it_is_known():
    other = part("t", "tyres", "front_left", tyre_size="195/60 R14")
    said = topic("gearing", car(GEARS, other))
    assert any("the tyres alone" in note for note in said.notes)
    assert said.rows[0].change == "+2.1 %"
    assert topic("gearing", car({"front__tyre_size": "185/60 R14"}, other)) is None


PER_1000 = "Speed for 1000 min⁻¹ in the highest gear"


def test_only_the_driven_tyres_change_the_gearing():
    rear = [part(f"r{side}", "tyres", f"rear_{side}", tyre_size="195/60 R14") for side in ("left", "right")]
    of = car({**GEARS, "rear__tyre_size": "185/60 R14"}, *rear)
    found = rows(of, "gearing")
    # Which axle is driven is not known: the one that changed, and never "as the factory had it".
    assert found[f"{PER_1000}, if driven from the rear"].change == "+2.1 %"
    assert PER_1000 not in found
    assert Standing.AS_FACTORY not in {row.standing for row in found.values()}
    assert "driven_axle" in asked(of, "gearing")
    assert rows(driven(of, "rear"), "gearing")[PER_1000].change == "+2.1 %"
    assert asked(driven(of, "rear"), "gearing") == set()
    assert topic("gearing", driven(of, "front")) is None
    assert rows(driven(of, "both"), "gearing")[f"{PER_1000}, rear"].change == "+2.1 %"
    assert asked(driven(of, "both"), "gearing") == set()
    # With another final drive too, both axles are worth a row.
    both = car(
        {**GEARS, "rear__tyre_size": "185/60 R14"},
        *rear,
        part("f", "final-drive", "", final_drive_ratio="4.43"),
    )
    found = rows(both, "gearing")
    assert found[f"{PER_1000}, if driven from the front"].change == "−8.4 %"
    assert found[f"{PER_1000}, if driven from the front"].parts == ("f",)
    assert found[f"{PER_1000}, if driven from the rear"].change == "−6.4 %"
    assert len(topic("gearing", both).plots) == 1
    # Tyres of the other axle whose size nobody wrote down.
    blank = car(GEARS, part("t", "tyres", "rear_left", load_index="91"))
    assert not rows(blank, "gearing").keys() & {PER_1000, f"{PER_1000}, if driven from the front"}
    assert {"tyre_size@t", "driven_axle"} <= asked(blank, "gearing")
    alike = car(
        {**GEARS, "rear__tyre_size": "185/60 R14"}, part("f", "final-drive", "", final_drive_ratio="4.43")
    )
    assert rows(alike, "gearing")[PER_1000].change == "−8.4 %"
    assert "driven_axle" not in asked(alike, "gearing")


def test_another_gearbox_has_no_gears_of_the_factorys_above_its_own():
    four = part(
        "g", "gearbox", "", gear_ratio_1="3.5", gear_ratio_2="2.0", gear_ratio_3="1.4", gear_ratio_4="1.0"
    )
    said = topic("gearing", car(GEARS, four))
    found = {row.what: row for row in said.rows}
    assert "Overall ratio in gear 5" not in found
    assert found["Overall ratio in gear 4"].now == "4.060"
    assert "factory's highest gear is gear 5" in found["Overall ratio in gear 4"].verdict
    assert "Speed at the limiter in gear 5" not in found
    assert any("end with gear 4" in note for note in said.notes)
    assert not any("taken as the factory's" in note for note in said.notes)


def test_a_limiter_with_the_factorys_unknown_shows_this_car_and_asks():
    unknown = {key: value for key, value in GEARS.items() if key != "limiter"}
    of = car(unknown, part("e", "engine-control-unit", "", limiter="7200 rpm"))
    row = rows(of, "gearing")["Speed at the limiter in gear 5"]
    # 31.92 km/h at 1000 min⁻¹.
    assert (row.factory, row.now, row.change) == ("–", "230 km/h", "–")
    assert row.standing == Standing.NOT_KNOWN
    [why] = [one.why for one in topic("gearing", of).missing if one.key == "limiter"]
    assert "factory's" in why


def test_what_gearing_needs_is_asked_for():
    drive = part("f", "final-drive", "", final_drive_ratio="4.43")
    assert asked(car({}, drive), "gearing") == {
        "final_drive_ratio",
        "gear_ratio_1",
        "gear_ratio_5",
        "front.tyre_size",
    }
    no_limiter = {key: value for key, value in GEARS.items() if key != "limiter"}
    of = car(no_limiter, drive)
    # The rear tyres are not known, and neither is which of them drive.
    assert asked(of, "gearing") == {"limiter", "driven_axle"}
    assert asked(driven(of, "front"), "gearing") == {"limiter"}
    assert topic("gearing", of).plots == ()
    rear = {**no_limiter, "rear__tyre_size": "185/60 R14"}
    del rear["front__tyre_size"]
    assert any("rear tyres" in note for note in topic("gearing", car(rear, drive)).notes)
    same = car(GEARS, part("f", "final-drive", "", final_drive_ratio="4.06"))
    assert rows(same, "gearing")["Final drive ratio"].standing == Standing.AS_FACTORY
    box = {key: value for key, value in GEARS.items() if key != "final_drive_ratio"}
    assert "final_drive_ratio" in asked(
        car(box, part("e", "engine-control-unit", "", limiter="7000 rpm")), "gearing"
    )


def test_both_together_take_a_few_milliseconds_at_most():
    of = car({**FACTORY, **GEARS}, *tyres(), part("f", "final-drive", "", final_drive_ratio="4.43"))
    topic("tyres", of), topic("gearing", of)
    began = time.process_time()
    for _ in range(20):
        topic("tyres", of), topic("gearing", of)
    # 5 ms each is what they may cost; the bound leaves room for a busy machine.
    assert (time.process_time() - began) / 20 < 0.03
