"""The parts of a VIN, its check digit and the model years that it may stand for."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.codes import vin_parts
from workshop.engineering.declare import (
    Calculator,
    Choice,
    InputErrors,
    Kind,
    Number,
    Outcome,
    Output,
    Source,
    Text,
)
from workshop.engineering.identity import (
    CheckDigit,
    check_digit,
    check_digit_state,
    is_full_vin,
    model_years,
    normalise_number,
    questions,
)
from workshop.engineering.quantities import Quantity, magnitude

D = Decimal
STATES = {
    CheckDigit.PASSES: "passes",
    CheckDigit.FAILS: "fails",
    CheckDigit.DOES_NOT_APPLY: "does not apply",
}


def work(vin: str, kind: str, latest: Quantity | None) -> Outcome:
    tidy = normalise_number(vin)
    asked = questions(tidy)
    if not is_full_vin(tidy):
        raise InputErrors({"vin": " ".join(each.message for each in asked if each.code != "repeated")})
    parts, state = vin_parts(tidy), check_digit_state(tidy)
    years = model_years(
        tidy,
        light_vehicle=kind == "light",
        latest=round(magnitude(latest, "1")) if latest is not None else None,
    )
    values = {
        "check": STATES[state],
        "wmi": parts.wmi,
        "region": parts.region,
        "vds": parts.vds,
        "vis": parts.vis,
        "digit": check_digit(tidy),
        "years": " or ".join(map(str, (years.decided,) if years.decided else years.candidates)) or "none",
        "small": parts.small_maker,
    }
    notes = [years.sentence, *(each.message for each in asked)]
    if parts.small_maker:
        notes.append("A 9 in position 3: a small maker, known by positions 1 to 3 together with 12 to 14.")
    return Outcome(
        {name: text for name, text in values.items() if text},
        _verdict(state),
        odd=bool(asked),
        notes=notes,
    )


def _verdict(state: CheckDigit) -> str:
    if state is CheckDigit.PASSES:
        return "The check digit passes. That shows no slip of the pen; it proves no identity."
    if state is CheckDigit.FAILS:
        return "The check digit fails. Read the number again on the vehicle; outside North America it may still be right."
    return "Position 9 holds no check digit: it is a rule of North America only."


CALCULATOR = Calculator(
    slug="vin-structure",
    words=("chassis number", "frame number", "check digit"),
    name="Parts of a VIN",
    group="Codes",
    question="What does a VIN say by its structure, and was it written down without a slip?",
    inputs=(
        Text("vin", "VIN", "11111111111111111", "17 characters, as stamped in the metal.", max_length=30),
        Choice(
            "kind",
            "Kind of vehicle",
            (
                ("light", "car, multipurpose vehicle or truck up to 4 536 kg"),
                ("other", "motorcycle, trailer, heavier, or not known"),
            ),
            "Only for the first kind does position 7 say which thirty years are meant.",
            usual="other",
        ),
        Number(
            "latest",
            "No later model year than",
            "count",
            "1",
            D(1980),
            D(2039),
            "Leaves out years that can't be yet.",
            optional=True,
            whole=True,
        ),
    ),
    outputs=(
        Output("check", "Check digit", main=True),
        Output("digit", "Check digit that the others ask for"),
        Output("years", "Model year, where North America's rule is followed"),
        Output("wmi", "Maker's identifier, positions 1 to 3"),
        Output("region", "Region of the maker's identifier"),
        Output("small", "Small maker's part, positions 12 to 14"),
        Output("vds", "Descriptor, positions 4 to 9"),
        Output("vis", "Indicator, positions 10 to 17"),
    ),
    formula="check digit = Σ value · weight mod 11, 10 = X",
    sources=(
        Source("ISO 3779", "sections of the number"),
        Source("49 CFR 565.15", "(c) check digit, (d) model year, (a) small makers"),
        Source("ISO 3780", "regions by the first character", Kind.FROM_MEMORY),
    ),
    work=work,
    example={"vin": "1ZZZZZ1H43A000017", "kind": "light"},
)
