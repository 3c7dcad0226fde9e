"""What a trouble code says by its structure alone."""

from __future__ import annotations

from workshop.engineering.codes import CodeError, trouble_code
from workshop.engineering.declare import Calculator, InputErrors, Kind, Outcome, Output, Source, Text


def work(code: str) -> Outcome:
    try:
        found = trouble_code(code)
    except CodeError as error:
        raise InputErrors({"code": str(error)}) from error
    values = {
        "kept": found.code,
        "system": found.system,
        "whose": found.whose,
        "part": found.part,
        "failure": f"{found.failure_type}: {found.failure}" if found.failure else "",
    }
    return Outcome(
        {name: text for name, text in values.items() if text},
        found.sentence,
        notes=["A code says what the control unit noticed, not which part is broken."],
    )


CALCULATOR = Calculator(
    slug="trouble-code",
    words=("dtc", "fault code", "obd", "scanner", "check engine"),
    name="Trouble code",
    group="Codes",
    question="What does a trouble code say by its structure, and whose is it?",
    inputs=(
        Text(
            "code",
            "Trouble code",
            "P0133",
            "With its letter, or its two or three bytes: 01 33.",
            max_length=20,
        ),
    ),
    outputs=(
        Output("kept", "Code", main=True),
        Output("system", "System"),
        Output("whose", "Whose code"),
        Output("part", "Part of the system"),
        Output("failure", "Failure type"),
    ),
    formula="bits 15–14 letter P C B U, bits 13–12 first figure, three hexadecimal figures; third byte failure type",
    sources=(
        Source("SAE J2012, ISO 15031-6", "letter and bits; whose codes P0 and P1 are"),
        Source("SAE J2012, ISO 15031-6", "ranges beyond P0 and P1, systems of P0", Kind.FROM_MEMORY),
        Source("ISO 14229-1, SAE J2012-DA", "failure type, the third byte", Kind.FROM_MEMORY),
    ),
    work=work,
    example={"code": "P0133-13"},
)
