"""What is known of a car in numbers: the closed list of items that data sheets, cars and fitted parts hold.

One item is one meaning with one dimension, wherever it is written and whatever uses it. `per` says how many a car
has: "car" (one, key "wheelbase"), "axle" (key "front.piston_diameter"), "part" (each part its own, such as the
cable of one circuit). `places` are the places (by slug) at which a fitted part carries the item.
The plausible ranges are the application's own, wide enough for a small motorcycle's wheel and a heavy van
(common practice, no source); what lies outside is refused as a slip of the pen.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from workshop.engineering.errors import EngineeringError

AXLES = ("front", "rear")
D = Decimal
ZERO = D(0)

# For the positions of a part: which axle it is on. A part without one (or "left") takes it from its place.
_AXLE_OF_POSITION = {
    "front": "front", "front_left": "front", "front_right": "front",
    "rear": "rear", "rear_left": "rear", "rear_right": "rear", "inner_left": "rear", "inner_right": "rear",
}  # fmt: skip
_AXLE_OF_PLACE = {
    "front-struts": "front", "front-springs": "front", "front-arms": "front", "track-rods": "front",
    "steering-gear": "front", "rear-dampers": "rear", "rear-springs": "rear", "rear-arms": "rear",
}  # fmt: skip


class UnknownItem(EngineeringError):
    """A key that is no item of the list."""


@dataclass(frozen=True)
class Item:
    """`unit` is the usual one; `low` and `high` are in it. `dimension` "text": `low`, `high`, `unit` mean nothing.

    `choices` are (code, label) of an item of dimension "choice". `of_car` marks what is measured on the one car
    (a weighed axle), not on its type.
    """

    code: str
    name: str
    group: str
    dimension: str
    unit: str = ""
    low: Decimal = ZERO
    high: Decimal = ZERO
    help: str = ""
    per: str = "car"
    places: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    whole: bool = False
    of_car: bool = False
    example: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys under which a car holds it."""
        return tuple(f"{axle}.{self.code}" for axle in AXLES) if self.per == "axle" else (self.code,)


def _number(
    code: str,
    name: str,
    group: str,
    dimension: str,
    unit: str,
    low: str,
    high: str,
    help: str = "",
    *,
    per: str = "car",
    places: tuple[str, ...] = (),
    whole: bool = False,
    of_car: bool = False,
) -> Item:
    return Item(code, name, group, dimension, unit, D(low), D(high), help, per, places, (), whole, of_car)  # fmt: skip


_MASS, _BODY, _BRAKES, _TYRES, _GEARS = (
    "Masses",
    "Wheelbase and track",
    "Brakes",
    "Wheels and tyres",
    "Gearing",
)
_INDUCTION, _STEERING, _ELECTRIC, _ENGINE = (
    "Forced induction",
    "Alignment and steering",
    "Electrical",
    "Engine and cooling",
)
_TORQUES, _WEAR = "Torque values", "Wear limits"
GROUPS = (_MASS, _BODY, _BRAKES, _TYRES, _GEARS, _INDUCTION, _ENGINE, _STEERING, _ELECTRIC, _TORQUES, _WEAR)
_CALIPER, _DISC, _PAD, _TYRE, _WHEEL = (
    ("brake-calipers",),
    ("brake-discs",),
    ("brake-pads",),
    ("tyres",),
    ("wheels",),
)
_CIRCUIT = (
    "added-circuits",
    "fuses-wiring",
    "second-battery",
    "tow-socket",
    "front-lamps",
    "living-fittings",
)

_LIST = (
    _number("mass_running", "Mass in running order", _MASS, "mass", "kg", "50", "7500", "With driver, fluids and a full tank, as the maker states it."),
    _number("mass_limit", "Greatest permitted mass", _MASS, "mass", "kg", "100", "12000"),
    _number("axle_mass_running", "Axle mass in running order", _MASS, "mass", "kg", "25", "6000", per="axle"),
    _number("axle_mass_limit", "Greatest permitted axle mass", _MASS, "mass", "kg", "50", "8000", per="axle"),
    _number("axle_mass_weighed", "Axle mass as weighed", _MASS, "mass", "kg", "25", "8000", "From a weighbridge ticket, as the car is used.", per="axle", of_car=True),
    _number("wheelbase", "Wheelbase", _BODY, "length", "mm", "800", "6000"),
    _number("track", "Track", _BODY, "length", "mm", "600", "2500", per="axle"),
    _number("cg_height", "Height of the centre of gravity", _BODY, "length", "mm", "150", "1800", "Above the road. Seldom published; an estimate is marked as one."),
    Item("brake_kind", "Kind of brake", _BRAKES, "choice", per="axle", choices=(("disc", "disc"), ("drum", "drum")), places=("brake-discs",)),
    _number("piston_diameter", "Caliper piston diameter", _BRAKES, "length", "mm", "15", "80", per="axle", places=_CALIPER),
    _number("pistons", "Pistons on one side of the disc", _BRAKES, "count", "1", "1", "8", "A sliding caliper with one piston: 1. A fixed one with two on each side: 2.", per="axle", places=_CALIPER, whole=True),
    _number("disc_diameter", "Disc diameter", _BRAKES, "length", "mm", "100", "500", per="axle", places=_DISC),
    _number("disc_thickness", "Disc thickness, new", _BRAKES, "length", "mm", "3", "60", per="axle", places=_DISC),
    _number("pad_height", "Pad height on the disc", _BRAKES, "length", "mm", "15", "120", "The friction material measured along the disc's radius.", per="axle", places=_PAD),
    _number("pad_length", "Pad length", _BRAKES, "length", "mm", "20", "300", "Measured across the radius, in the middle of the pad.", per="axle", places=_PAD),
    _number("pad_friction", "Friction of the pads", _BRAKES, "count", "1", "0.15", "0.80", "The coefficient from the pad's own data. Left empty it is assumed, and said so.", per="axle", places=_PAD),
    _number("drum_diameter", "Drum diameter", _BRAKES, "length", "mm", "100", "500", per="axle", places=_DISC),
    _number("wheel_cylinder_diameter", "Wheel cylinder diameter", _BRAKES, "length", "mm", "8", "60", per="axle", places=_CALIPER),
    _number("drum_factor", "Brake factor of the drum brake", _BRAKES, "count", "1", "1", "8", "Friction force at the drum over the force of the wheel cylinder.", per="axle", places=_PAD),
    _number("master_bore", "Master cylinder bore", _BRAKES, "length", "mm", "8", "60", places=("brake-master",)),
    _number("pedal_ratio", "Pedal ratio", _BRAKES, "count", "1", "1", "12"),
    _number("servo_gain", "Servo gain", _BRAKES, "count", "1", "1", "12", "1 without a servo.", places=("brake-master",)),
    _number("valve_knee", "Pressure at which the rear valve begins", _BRAKES, "pressure", "bar", "1", "150", places=("brake-control",)),
    _number("valve_slope", "Rear pressure above that, as a share", _BRAKES, "ratio", "%", "5", "100", places=("brake-control",)),
    Item("tyre_size", "Tyre size", _TYRES, "text", per="axle", places=_TYRE, example="205/55 R16"),
    _number("load_index", "Load index of the tyre", _TYRES, "count", "1", "50", "160", per="axle", places=_TYRE, whole=True),
    Item("speed_symbol", "Speed symbol of the tyre", _TYRES, "text", per="axle", places=_TYRE, example="V"),
    _number("rolling_circumference", "Rolling circumference, as the tyre's maker states it", _TYRES, "length", "mm", "700", "4000", per="axle", places=_TYRE),
    Item("tyre_date_code", "Date code of the tyre", _TYRES, "text", per="part", places=_TYRE, example="3519"),
    _number("rim_diameter", "Rim diameter", _TYRES, "length", "in", "4", "26", per="axle", places=_WHEEL),
    _number("rim_width", "Rim width", _TYRES, "length", "in", "2", "14", per="axle", places=_WHEEL),
    _number("rim_offset", "Wheel offset", _TYRES, "length", "mm", "-150", "150", "From the middle of the rim to the mounting face; positive when the face lies outward.", per="axle", places=_WHEEL),
    _number("spacer", "Thickness of the wheel spacer", _TYRES, "length", "mm", "0", "80", per="axle", places=("wheel-fasteners",)),
    Item("tyres_on_axle", "Tyres on the axle", _TYRES, "choice", help="Four where the rear wheels are twinned: then the second load index counts.", per="axle", choices=(("2", "two"), ("4", "four, twinned"))),
    Item("driven_axle", "Driven axle", _GEARS, "choice", help="Whose tyres turn with the engine.", choices=(("front", "front"), ("rear", "rear"), ("both", "both"))),
    _number("final_drive_ratio", "Final drive ratio", _GEARS, "count", "1", "1", "9", places=("final-drive",)),
    *(
        _number(f"gear_ratio_{n}", f"Ratio of gear {n}", _GEARS, "count", "1", "0.3", "8", places=("gearbox",))
        for n in range(1, 9)
    ),
    _number("limiter", "Engine speed limiter", _GEARS, "rotation", "rpm", "500", "20000", places=("engine-control-unit",)),
    _number("driven_top_speed", "Greatest speed", _GEARS, "speed", "km/h", "20", "450"),
    _number("crank_pulley", "Crankshaft pulley diameter", _INDUCTION, "length", "mm", "30", "400", places=("auxiliary-drive", "supercharger")),
    _number("blower_pulley", "Blower pulley diameter", _INDUCTION, "length", "mm", "20", "300", places=("supercharger",)),
    _number("blower_internal_ratio", "Internal ratio of the blower's drive", _INDUCTION, "count", "1", "0.2", "20", "1 where the pulley sits on the rotor itself.", places=("supercharger",)),
    _number("blower_limit", "Greatest speed of the blower", _INDUCTION, "rotation", "rpm", "1000", "300000", "From the blower's own data.", places=("supercharger",)),
    _number("boost", "Boost pressure above the air outside", _INDUCTION, "pressure", "bar", "0.01", "4", places=("supercharger",)),
    _number("compressor_efficiency", "Isentropic efficiency of the compressor", _INDUCTION, "ratio", "%", "20", "95", places=("supercharger",)),
    _number("cooler_effectiveness", "Effectiveness of the charge cooler", _INDUCTION, "ratio", "%", "0", "100", places=("charge-cooler",)),
    _number("cooler_pressure_loss", "Pressure loss in the charge cooler", _INDUCTION, "pressure", "bar", "0", "1", places=("charge-cooler",)),
    _number("engine_power", "Engine power", _ENGINE, "power", "kW", "1", "1500", places=("engine-control-unit", "engine", "supercharger")),
    _number("displacement", "Engine displacement", _ENGINE, "displacement", "cm3", "20", "20000"),
    _number("coolant_flow", "Coolant flow", _ENGINE, "flow", "l/min", "1", "1000", places=("cooling-fan",)),
    _number("compression_pressure_low", "Least compression pressure", _ENGINE, "pressure", "bar", "1", "80"),
    _number("toe_total", "Total toe", _STEERING, "angle", "arcmin", "-180", "180", "Toe-in is positive.", per="axle"),
    _number("camber", "Camber", _STEERING, "angle", "deg", "-10", "10", per="axle"),
    _number("caster", "Caster", _STEERING, "angle", "deg", "-5", "20"),
    _number("steering_arm", "Length of the steering arm or toe link arm", _STEERING, "length", "mm", "30", "400", per="axle", places=("front-struts", "front-arms", "rear-arms")),
    _number("scrub_radius", "Scrub radius", _STEERING, "length", "mm", "-100", "150", per="axle"),
    _number("toe_link_stiffness", "Stiffness of the toe link with its bushes", _STEERING, "stiffness", "kN/mm", "0.01", "100", "Force along the link for each millimetre that it gives.", per="axle", places=("front-arms", "rear-arms", "track-rods")),
    _number("caster_trail", "Caster trail with pneumatic trail", _STEERING, "length", "mm", "-50", "200", per="axle"),
    _number("battery_capacity", "Battery capacity", _ELECTRIC, "charge", "Ah", "1", "400", places=("starter-battery",)),
    _number("alternator_current", "Rated alternator current", _ELECTRIC, "current", "A", "5", "500", places=("alternator",)),
    _number("quiescent_current", "Greatest quiescent current", _ELECTRIC, "current", "mA", "1", "1000", "After all control units sleep."),
    _number("load_current", "Current of the load", _ELECTRIC, "current", "A", "0.01", "500", per="part", places=_CIRCUIT),
    _number("cable_section", "Cable cross-section", _ELECTRIC, "area", "mm2", "0.1", "150", per="part", places=_CIRCUIT),
    _number("cable_length", "Cable length, one way", _ELECTRIC, "length", "m", "0.05", "40", per="part", places=_CIRCUIT),
    _number("fuse_rating", "Fuse rating", _ELECTRIC, "current", "A", "0.1", "500", per="part", places=_CIRCUIT),
    _number("system_voltage", "Voltage of the car's network", _ELECTRIC, "voltage", "V", "5", "60", "12 V in most cars; 6 V in some old ones, 24 V in heavy ones."),
    _number("wheel_fastener_torque", "Wheel nuts or bolts", _TORQUES, "torque", "N.m", "5", "1000"),
    _number("caliper_bolt_torque", "Caliper carrier bolts", _TORQUES, "torque", "N.m", "5", "500", per="axle"),
    _number("hub_nut_torque", "Hub or drive shaft nut", _TORQUES, "torque", "N.m", "5", "1000", per="axle"),
    _number("sump_plug_torque", "Sump plug", _TORQUES, "torque", "N.m", "2", "200"),
    _number("spark_plug_torque", "Spark plugs", _TORQUES, "torque", "N.m", "2", "100"),
    _number("disc_thickness_limit", "Least disc thickness", _WEAR, "length", "mm", "2", "60", per="axle"),
    _number("pad_thickness_limit", "Least pad thickness", _WEAR, "length", "mm", "0.5", "20", per="axle"),
    _number("tread_limit", "Least tread depth", _WEAR, "length", "mm", "0", "10"),
)  # fmt: skip

ITEMS: dict[str, Item] = {item.code: item for item in _LIST}
KEYS: dict[str, Item] = {key: item for item in _LIST for key in item.keys}


def item(key: str) -> Item:
    """The item of a key ("front.track", "wheelbase"), or `UnknownItem`."""
    try:
        return KEYS[key]
    except KeyError:
        raise UnknownItem(f"“{key}” is nothing that is kept of a car.") from None


def key_name(key: str) -> str:
    """A key in words: "Track, front"."""
    axle, dot, _ = key.partition(".")
    return f"{item(key).name}, {axle}" if dot else item(key).name


def axle_of(place: str, position: str) -> str:
    """The axle of a fitted part by its place's slug and its position; "" where it has none."""
    return _AXLE_OF_POSITION.get(position) or _AXLE_OF_PLACE.get(place, "")


def items_at(place: str) -> tuple[Item, ...]:
    """What a part fitted at this place may say of itself. Empty for a place that no calculator looks at."""
    return tuple(each for each in _LIST if place in each.places)


def key_at(code: str, place: str, position: str) -> str | None:
    """The car's key that a part's item stands for; None for an item of the part alone, or without an axle."""
    of = ITEMS[code]
    if of.per == "part":
        return None
    if of.per == "car":
        return code
    axle = axle_of(place, position)
    return f"{axle}.{code}" if axle else None
