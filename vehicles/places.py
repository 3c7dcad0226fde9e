"""The standard places on a car, in the order in which one walks round it and lifts it. Common practice, no source.

A shop adds places of its own (`acts.part.add_place`); those are never touched here.
"""

from __future__ import annotations

from vehicles.models.part import Place, Positions, Zone

# Room between zones for what a shop adds: a zone begins at a multiple of this, its own places at the middle.
ZONE_STEP = 1000
SHOP_STEP = 500

_ONE, _AXLE, _SIDE = Positions.ONE, Positions.AXLE, Positions.SIDE
_CORNER, _WHEEL = Positions.CORNER, Positions.WHEEL
# What is there: a wearing part thrown away unless the owner wants it back, a part that brakes, steers or restrains.
_PLAIN, _WEARS, _SAFETY, _BOTH = (False, False), (True, False), (False, True), (True, True)

# zone: (slug, name, positions, (consumable, safety))
STANDARD: dict[Zone, list[tuple[str, str, Positions, tuple[bool, bool]]]] = {
    Zone.IDENTITY: [
        ("makers-plate", "Maker's plate and stamped number", _ONE, _PLAIN),
        ("papers-approvals", "Papers and approvals carried", _ONE, _PLAIN),
    ],
    Zone.FRONT: [
        ("front-bumper", "Front bumper and crash bar", _ONE, _PLAIN),
        ("bonnet", "Bonnet, catch and grille", _ONE, _PLAIN),
        ("headlamps", "Headlamp", _SIDE, _PLAIN),
        ("front-lamps", "Fog, driving and turn lamps", _SIDE, _PLAIN),
    ],
    Zone.ENGINE: [
        ("engine", "Engine, long block", _ONE, _PLAIN),
        ("engine-mounts", "Engine and gearbox mounts", _ONE, _PLAIN),
        ("timing-drive", "Timing drive", _ONE, _WEARS),
        ("auxiliary-drive", "Auxiliary belt and tensioner", _ONE, _WEARS),
        ("oil-filter", "Oil filter and sump plug", _ONE, _WEARS),
        ("engine-control-unit", "Engine control unit and its data", _ONE, _PLAIN),
    ],
    Zone.INDUCTION: [
        ("air-filter", "Air filter and intake", _ONE, _WEARS),
        ("supercharger", "Turbocharger or blower, with its drive", _ONE, _PLAIN),
        ("charge-cooler", "Charge cooler and pipes", _ONE, _PLAIN),
        ("fuel-system", "Injection or carburettors", _ONE, _PLAIN),
        ("fuel-tank", "Fuel tank, pump and lines", _ONE, _SAFETY),
        ("exhaust", "Exhaust and after-treatment", _ONE, _PLAIN),
    ],
    Zone.COOLING: [
        ("radiator", "Radiator and hoses", _ONE, _PLAIN),
        ("cooling-fan", "Fan and coolant pump", _ONE, _PLAIN),
        ("air-conditioning", "Air conditioning", _ONE, _PLAIN),
        ("cabin-heater", "Heater, auxiliary heater", _ONE, _PLAIN),
    ],
    Zone.ELECTRICAL: [
        ("starter-battery", "Starter battery and isolator", _ONE, _WEARS),
        ("alternator", "Alternator and starter", _ONE, _PLAIN),
        ("fuses-wiring", "Fuses, relays and main wiring", _ONE, _PLAIN),
        ("added-circuits", "Circuits added later", _ONE, _PLAIN),
        ("traction-battery", "Traction battery and high-voltage parts", _ONE, _SAFETY),
    ],
    Zone.TRANSMISSION: [
        ("clutch", "Clutch or converter", _ONE, _WEARS),
        ("gearbox", "Gearbox and linkage", _ONE, _PLAIN),
        ("propeller-shaft", "Propeller shaft and transfer box", _ONE, _PLAIN),
        ("final-drive", "Final drive and differential", _AXLE, _PLAIN),
        ("drive-shafts", "Drive shaft", _CORNER, _PLAIN),
    ],
    Zone.FRONT_AXLE: [
        ("front-struts", "Front damper or strut", _SIDE, _SAFETY),
        ("front-springs", "Front spring", _SIDE, _SAFETY),
        ("front-arms", "Front arm, joint and bushes", _SIDE, _SAFETY),
        ("front-anti-roll-bar", "Front anti-roll bar and links", _ONE, _PLAIN),
        ("steering-gear", "Steering gear and power steering", _ONE, _SAFETY),
        ("track-rods", "Track rod and end", _SIDE, _SAFETY),
        ("wheel-bearings", "Wheel bearing and hub", _CORNER, _SAFETY),
    ],
    Zone.REAR_AXLE: [
        ("rear-dampers", "Rear damper", _SIDE, _SAFETY),
        ("rear-springs", "Rear spring", _SIDE, _SAFETY),
        ("helper-springs", "Helper spring or air bellows", _SIDE, _SAFETY),
        ("rear-arms", "Rear arm, link and bushes", _SIDE, _SAFETY),
        ("rear-anti-roll-bar", "Rear anti-roll bar and links", _ONE, _PLAIN),
    ],
    Zone.BRAKES: [
        ("brake-discs", "Brake disc or drum", _CORNER, _BOTH),
        ("brake-pads", "Brake pads or shoes", _CORNER, _BOTH),
        ("brake-calipers", "Brake caliper or wheel cylinder", _CORNER, _SAFETY),
        ("brake-hoses", "Brake hose", _CORNER, _SAFETY),
        ("brake-master", "Master cylinder, servo and fluid", _ONE, _SAFETY),
        ("brake-control", "Anti-lock unit or brake force valve", _ONE, _SAFETY),
        ("parking-brake", "Parking brake", _ONE, _SAFETY),
    ],
    Zone.WHEELS: [
        ("tyres", "Tyre", _WHEEL, _BOTH),
        ("wheels", "Wheel", _WHEEL, _SAFETY),
        ("wheel-fasteners", "Wheel bolts or nuts, spacers", _CORNER, _SAFETY),
        ("spare-wheel", "Spare wheel and its carrier", _ONE, _PLAIN),
    ],
    Zone.BODY: [
        ("body-shell", "Body shell or frame", _ONE, _SAFETY),
        ("doors", "Front and rear doors", _SIDE, _PLAIN),
        ("glass", "Windscreen and glass", _ONE, _PLAIN),
        ("roof", "Roof, roof bars and roof load", _ONE, _PLAIN),
        ("wipers", "Wipers and washers", _AXLE, _WEARS),
    ],
    Zone.CABIN: [
        ("front-seats", "Front seat and its base", _SIDE, _SAFETY),
        ("rear-seats", "Further seats", _ONE, _SAFETY),
        ("seat-belts", "Seat belts and anchors", _ONE, _SAFETY),
        ("airbags", "Airbags and pretensioners", _ONE, _SAFETY),
        ("steering-wheel", "Steering wheel and column", _ONE, _SAFETY),
        ("instruments", "Instruments", _ONE, _PLAIN),
    ],
    Zone.UNDERSIDE: [
        ("underbody", "Floor, sills and jacking points", _ONE, _SAFETY),
        ("guards", "Guards and undertrays", _ONE, _PLAIN),
        ("brake-fuel-lines", "Brake and fuel lines underneath", _ONE, _SAFETY),
    ],
    Zone.REAR: [
        ("rear-bumper", "Rear bumper and underrun bar", _ONE, _PLAIN),
        ("rear-lamps", "Rear lamps", _SIDE, _PLAIN),
        ("tow-bar", "Tow bar and its fastening", _ONE, _SAFETY),
        ("tow-socket", "Towing socket and its wiring", _ONE, _PLAIN),
    ],
    Zone.CONVERSION: [
        ("load-securing", "Load floor, partition and lashing", _ONE, _SAFETY),
        ("living-fittings", "Furniture, water and gas", _ONE, _SAFETY),
        ("second-battery", "Second battery and charging", _ONE, _PLAIN),
        ("special-body", "Lift, crane or other body", _ONE, _PLAIN),
    ],
}


def zone_order(zone: Zone) -> int:
    return (list(Zone).index(zone) + 1) * ZONE_STEP


def standard_places() -> list[Place]:
    """The standard places, not saved."""
    return [
        Place(
            slug=slug,
            zone=zone.value,
            name=name,
            order=zone_order(zone) + number,
            positions=positions.value,
            consumable=consumable,
            safety=safety,
        )
        for zone, rows in STANDARD.items()
        for number, (slug, name, positions, (consumable, safety)) in enumerate(rows)
    ]


_KEPT = ("zone", "name", "order", "positions", "consumable", "safety")


def ensure_standard_places(using: str) -> None:
    """After every migrate: add the missing, bring the standard ones up to date, leave the shop's own alone.

    One query when nothing is to be done. A standard place whose name the shop has taken in that zone is left out:
    the shop's own one stands for it.
    """
    there = {place.slug: place for place in Place.objects.using(using).all()}
    own = {(place.zone, place.name) for place in there.values() if place.added_by_shop}
    missing, changed = [], []
    for place in standard_places():
        known = there.get(place.slug)
        if known is None:
            if (place.zone, place.name) not in own:
                missing.append(place)
        elif not known.added_by_shop and any(getattr(known, name) != getattr(place, name) for name in _KEPT):
            changed.append(place)
    if missing:
        Place.objects.using(using).bulk_create(missing, ignore_conflicts=True)
    if changed:
        Place.objects.using(using).bulk_update(changed, _KEPT)
