"""How much processor time the effect report takes: `python -m tests.benchmarks.effect_report`.

A car with 40 dimensioned parts, all invented: every effect has work. Pint's start (its registry and units, once in
a process) is measured apart. The times are of the processor, the least of several rounds, so that a busy machine does
not count.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from decimal import Decimal

from workshop.engineering.catalogue import effects
from workshop.engineering.effect import CarFigures, Figure, Part, effects_of
from workshop.engineering.plot_drawing import drawn
from workshop.engineering.result import Origin
from workshop.engineering.units import Amount

ROUNDS = 7
TARGET_MS = 50.0
CORNERS = ("front_left", "front_right", "rear_left", "rear_right")

FACTORY = {
    "mass_running": "1200 kg", "mass_limit": "1600 kg", "wheelbase": "2500 mm", "cg_height": "520 mm",
    "front.axle_mass_running": "720 kg", "rear.axle_mass_running": "480 kg", "front.axle_mass_limit": "850 kg",
    "rear.axle_mass_limit": "800 kg", "front.track": "1420 mm", "rear.track": "1415 mm", "front.brake_kind": "disc",
    "rear.brake_kind": "disc", "front.piston_diameter": "54 mm", "front.pistons": "1 1",
    "front.disc_diameter": "260 mm", "front.disc_thickness": "20 mm", "front.pad_height": "40 mm",
    "front.pad_length": "100 mm", "rear.piston_diameter": "30 mm", "rear.pistons": "1 1",
    "rear.disc_diameter": "250 mm", "rear.disc_thickness": "10 mm", "rear.pad_height": "40 mm",
    "rear.pad_length": "60 mm", "master_bore": "22.2 mm", "pedal_ratio": "4 1", "servo_gain": "4 1",
    "front.tyre_size": "185/60 R14", "rear.tyre_size": "185/60 R14", "front.load_index": "82 1",
    "rear.load_index": "82 1", "front.speed_symbol": "H", "rear.speed_symbol": "H", "front.rim_offset": "38 mm",
    "rear.rim_offset": "38 mm", "front.rim_width": "5.5 in", "rear.rim_width": "5.5 in",
    "front.rim_diameter": "14 in", "rear.rim_diameter": "14 in", "final_drive_ratio": "3.94 1",
    "gear_ratio_1": "3.3 1", "gear_ratio_2": "1.9 1", "gear_ratio_3": "1.3 1", "gear_ratio_4": "1.0 1",
    "gear_ratio_5": "0.8 1", "limiter": "6500 rpm", "driven_top_speed": "190 km/h", "crank_pulley": "150 mm",
    "blower_pulley": "65 mm", "blower_internal_ratio": "1 1", "blower_limit": "14000 rpm", "boost": "0.5 bar",
    "compressor_efficiency": "60 %", "cooler_effectiveness": "60 %", "cooler_pressure_loss": "0.05 bar",
    "engine_power": "90 kW", "displacement": "1598 cm3", "coolant_flow": "90 l/min", "front.toe_total": "10 arcmin",
    "rear.toe_total": "20 arcmin", "front.camber": "-0.5 deg", "rear.camber": "-1 deg", "caster": "2 deg",
    "front.steering_arm": "120 mm", "rear.steering_arm": "150 mm", "front.scrub_radius": "10 mm",
    "rear.scrub_radius": "20 mm", "front.toe_link_stiffness": "5 kN/mm", "rear.toe_link_stiffness": "4 kN/mm",
    "front.caster_trail": "20 mm", "rear.caster_trail": "10 mm", "battery_capacity": "55 Ah",
    "alternator_current": "70 A", "quiescent_current": "30 mA",
}  # fmt: skip

AT_EACH_WHEEL = {
    "brake-calipers": {"piston_diameter": "36 mm", "pistons": "2 1"},
    "brake-discs": {"disc_diameter": "280 mm", "disc_thickness": "22 mm"},
    "brake-pads": {"pad_height": "42 mm", "pad_length": "80 mm", "pad_friction": "0.42 1"},
    "tyres": {"tyre_size": "195/50 R15", "load_index": "82 1", "speed_symbol": "V"},
    "wheels": {"rim_offset": "25 mm", "rim_width": "7 in", "rim_diameter": "15 in"},
    "wheel-fasteners": {"spacer": "5 mm"},
}
ELSEWHERE = (
    ("brake-master", "", {"master_bore": "25.4 mm", "servo_gain": "4 1"}),
    ("brake-control", "", {"valve_knee": "30 bar", "valve_slope": "37 %"}),
    ("final-drive", "", {"final_drive_ratio": "4.4 1"}),
    ("gearbox", "", {f"gear_ratio_{n}": f"{r} 1" for n, r in enumerate((2.9, 1.9, 1.4, 1.1, 0.9), 1)}),
    ("engine-control-unit", "", {"limiter": "7000 rpm"}),
    ("supercharger", "", {"blower_pulley": "60 mm", "boost": "0.7 bar", "compressor_efficiency": "65 %"}),
    ("charge-cooler", "", {"cooler_effectiveness": "75 %", "cooler_pressure_loss": "0.08 bar"}),
    ("cooling-fan", "", {"coolant_flow": "110 l/min"}),
    ("front-arms", "left", {"steering_arm": "125 mm", "toe_link_stiffness": "12 kN/mm"}),
    ("rear-arms", "left", {"steering_arm": "150 mm", "toe_link_stiffness": "9 kN/mm"}),
    ("starter-battery", "", {"battery_capacity": "70 Ah"}),
    ("alternator", "", {"alternator_current": "90 A"}),
)
CIRCUIT = {"load_current": "8 A", "fuse_rating": "20 A", "cable_section": "2.5 mm2", "cable_length": "4 m"}
PARTS = 40


def figure(text: str, origin: Origin) -> Figure:
    number, _, unit = text.partition(" ")
    try:
        return Figure(Amount(Decimal(number), unit), origin, "measured")
    except ArithmeticError:
        return Figure(text, origin, "read")


def car() -> CarFigures:
    parts: list[Part] = []

    def add(place: str, position: str, figures: dict[str, str]) -> None:
        known = {code: figure(text, Origin.PART) for code, text in figures.items()}
        parts.append(
            Part(str(len(parts)), f"Part {len(parts)}", f"{place} {position}", place, position, known)
        )

    for place, figures in AT_EACH_WHEEL.items():
        for corner in CORNERS:
            add(place, corner, figures)
    for place, position, figures in ELSEWHERE:
        add(place, position, figures)
    while len(parts) < PARTS:
        add("added-circuits", "", CIRCUIT)
    known = {key: figure(text, Origin.DATA_SHEET) for key, text in FACTORY.items()}
    return CarFigures(known, tuple(parts))


def least(work: Callable[[], object]) -> float:
    """The least processor time of several rounds, in milliseconds."""
    times = []
    for _ in range(ROUNDS):
        begun = time.process_time()
        work()
        times.append((time.process_time() - begun) * 1000)
    return min(times)


def main() -> None:
    of = car()
    begun = time.process_time()
    topics = effects_of(of)
    first = (time.process_time() - begun) * 1000
    whole = least(lambda: effects_of(of))
    rows, plots = sum(len(topic.rows) for topic in topics), [plot for topic in topics for plot in topic.plots]
    print(f"{len(of.parts)} parts, {len(topics)} topics, {rows} rows, {len(plots)} plots")
    for topic in topics:
        for note in topic.notes:
            if "give no answer" in note:
                print(f"  {topic.slug}: {note}")
    for effect in effects():
        print(f"{least(lambda effect=effect: effect.work(of)):8.2f} ms  {effect.slug}")
    print(f"{whole:8.2f} ms  all effects (target: under {TARGET_MS:.0f} ms)")
    print(f"{first - whole:8.2f} ms  more the first time in a process (Pint, imports)")
    print(
        f"{least(lambda: [drawn(plot) for plot in plots]):8.2f} ms  drawing the plots (only where they are shown)"
    )


if __name__ == "__main__":
    main()
