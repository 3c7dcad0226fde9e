"""What another tyre size does to circumference, speedometer and odometer."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import (
    Assumption,
    Calculator,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
    Table,
    Text,
)
from workshop.engineering.quantities import Quantity, magnitude, quantity
from workshop.engineering.tyre_size import TyreError, TyreSize, parse_size
from workshop.engineering.tyres import (
    PLY_WORDS,
    R39,
    SIZE,
    r39_off,
    shown_at,
    shown_speed,
    size_circumference,
    speedometer_plot,
)

D = Decimal
SPEEDS = (40, 80, 120)


def work(
    factory: str | None,
    fitted: str | None,
    overread: Quantity,
    factory_circumference: Quantity | None,
    fitted_circumference: Quantity | None,
) -> Outcome:
    by_makers = factory_circumference is not None and fitted_circumference is not None
    sizes, unread = _sizes({"factory": factory, "fitted": fitted}, by_makers)
    if (factory_circumference is None) != (fitted_circumference is None):
        which = "factory_circumference" if factory_circumference is None else "fitted_circumference"
        raise InputErrors(
            {
                which: "Give the tyre makers' circumference for both tyres, or leave both empty: two kinds don't compare."
            }
        )
    if factory_circumference is not None and fitted_circumference is not None:
        before, after = magnitude(factory_circumference, "mm"), magnitude(fitted_circumference, "mm")
        kind = "as the tyres' makers state it"
    else:
        before, after = size_circumference(sizes["factory"]), size_circumference(sizes["fitted"])
        kind = "by the sizes"
    size = sizes.get("factory"), sizes.get("fitted")
    change = after / before
    share = magnitude(overread, "%") / 100
    shown = shown_speed(quantity(100, "km/h"), overread, change)
    off = {v: r39_off(shown_at(v, share, change), v) for v in (*SPEEDS, 100)}
    low, high = any(x < 0 for x in off.values()), any(x > 0 for x in off.values())
    values = {
        "shown": shown,
        "change": quantity((change - 1) * 100, "%"),
        "odometer": quantity((1 / change - 1) * 100, "%"),
        "from": quantity(before, "mm"),
        "to": quantity(after, "mm"),
    }
    notes = [f"Both circumferences are {kind}.", *unread]
    if size[0] is not None and size[1] is not None:
        if size[0].has_diameter and size[1].has_diameter:
            values["higher"] = quantity((size[1].diameter - size[0].diameter) / 2, "mm")
        values["wider"] = quantity(size[1].width - size[0].width, "mm")
        notes += _notes(size[0], size[1])
    return Outcome(
        values,
        verdict_words(change, share, magnitude(shown, "km/h"), low, high),
        odd=low or high,
        notes=notes,
        tables=[_table(share, change)],
        plots=[speedometer_plot(change, share, share)],
    )


def _sizes(texts: dict[str, str | None], by_makers: bool) -> tuple[dict[str, TyreSize], list[str]]:
    """The sizes that can be read, and sentences on those that can't. Without the makers' circumferences these are
    refused, and so is a size that says no diameter."""
    errors, sizes = {}, {}
    for name, text in texts.items():
        try:
            if text:
                sizes[name] = parse_size(text)
                if not by_makers:
                    _ = sizes[name].diameter
            elif not by_makers:
                errors[name] = "Give the tyre size, or the circumference of both tyres below."
        except TyreError as error:
            errors[name] = str(error)
    if errors and not by_makers:
        raise InputErrors(errors)
    return sizes, list(errors.values())


def verdict_words(change: float, overread: float, shown: float, low: bool, high: bool) -> str:
    """What it does to the circumference, what the speedometer shows at 100, where UN R39 has it.

    `overread` as a fraction: how much too much it showed before, for all of it rests on that.
    """
    percent = (change - 1) * 100
    rolls = (
        "as far" if abs(percent) < 0.05 else f"{abs(percent):.1f} % {'further' if percent > 0 else 'less'}"
    )
    where = "less than the true speed, which UN R39 never has" if low else "within the band of UN R39"
    if high and not low:
        where = "more than the band of UN R39 has"
    before = (
        "was exact"
        if abs(overread) < 5e-5
        else f"showed {abs(overread) * 100:.3g} % too {'much' if overread > 0 else 'little'}"
    )
    return (
        f"One turn rolls {rolls}. At a true 100 km/h a speedometer that {before} with the factory's tyre shows "
        f"{shown:.1f} km/h: {where}."
    )


def _notes(factory: TyreSize, fitted: TyreSize) -> list[str]:
    notes = [PLY_WORDS] if factory.ply or fitted.ply else []
    if factory.height_assumed or fitted.height_assumed:
        notes.append("A size without a height is taken at 82 % of its width; some makers have 80 %.")
    if abs(factory.rim - fitted.rim) > 1:
        notes.append("The rim diameters differ: other wheels are needed.")
    if factory.load_index and fitted.load_index and fitted.load_index < factory.load_index:
        notes.append(
            f"The load index falls from {factory.load_index} to {fitted.load_index}: hold it against the axle load."
        )
    return notes


def _table(share: float, change: float) -> Table:
    return Table(
        "Speedometer over the true speed",
        ("True, km/h", "Shown before", "Shown now", "Band of UN R39"),
        tuple(
            (
                str(v),
                f"{shown_at(v, share, 1):.1f}",
                f"{shown_at(v, share, change):.1f}",
                f"{v} to {v + v / 10 + 4:.0f}",
            )
            for v in SPEEDS
        ),
    )


CALCULATOR = Calculator(
    slug="tyre-comparison",
    words=("tire", "speedo", "upsize", "wheels"),
    name="Another tyre size",
    group="Wheels and tyres",
    question="What does another tyre size do to the circumference, the speedometer and the odometer?",
    inputs=(
        Text(
            "factory",
            "Factory's tyre size",
            "205/55 R16",
            "May be left empty where both circumferences are given.",
            optional=True,
            factory_item="front.tyre_size",
        ),
        Text("fitted", "Tyre size now", "225/45 R17", item="front.tyre_size", optional=True),
        Number(
            "overread",
            "Speedometer shows too much with the factory's tyre",
            "ratio",
            "%",
            D(-5),
            D(15),
            "Measured against a satellite speed: 103 shown at a true 100 is 3 %.",
            assumed=Assumption(D(3), D(0), D(6), "speedometers are set to show a little too much"),
        ),
        Number(
            "factory_circumference",
            "Rolling circumference of the factory's tyre, by its maker",
            "length",
            "mm",
            D(700),
            D(4000),
            "Leave empty to take both from the sizes.",
            optional=True,
        ),
        Number(
            "fitted_circumference",
            "Rolling circumference of the tyre now, by its maker",
            "length",
            "mm",
            D(700),
            D(4000),
            optional=True,
        ),
    ),
    outputs=(
        Output("shown", "Speedometer at a true 100 km/h", "km/h", main=True),
        Output("change", "Change of the circumference", "%"),
        Output("odometer", "Distance shown, change", "%"),
        Output("from", "Circumference before", "mm"),
        Output("to", "Circumference now", "mm"),
        Output("higher", "Car stands higher by", "mm"),
        Output("wider", "Section wider by", "mm"),
    ),
    formula="V1 = V2 · (1 + e) · C factory / C now;  UN R39: 0 ≤ V1 − V2 ≤ V2/10 + 4 km/h",
    sources=(
        R39,
        SIZE,
        Source(
            "Speedometer with the factory's tyre shows 0 to 6 % too much",
            "",
            Kind.COMMON_PRACTICE,
        ),
    ),
    work=work,
    cautions=(
        "A distance shown under such tyres is not the true one: mark the odometer reading.",
        "Whether the tyre clears body, brake and steering stands in no formula: look at full lock and full bump.",
    ),
    example={"factory": "225/70 R15", "fitted": "235/75 R15", "overread": "3 %"},
)
