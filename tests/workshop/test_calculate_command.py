"""`manage.py calculate`: typed texts in, a text or a record out, without a database and without Pint's parser."""

from __future__ import annotations

import io
import json
import math
import os
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import call_command

from workshop.engineering import command
from workshop.engineering.catalogue import calculators
from workshop.engineering.declare import (
    INFORMS,
    LOCAL_APPROVAL,
    Calculator,
    Choice,
    InputErrors,
    Number,
    Numbers,
    Outcome,
    Output,
    Source,
    Table,
    Text,
)
from workshop.engineering.errors import EngineeringError
from workshop.engineering.plot import Axis, Plot
from workshop.engineering.units import UNITS, Amount

D = Decimal
SLUGS = list(calculators())
EXTENSION = ["torque=80 N.m", "length=400 mm", "extension=50 mm", "angle=0 deg"]


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("calculate", *arguments, stdout=out, stderr=out)
    return out.getvalue()


def refused(*arguments: str) -> str:
    out = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("calculate", *arguments, stdout=out, stderr=out)
    assert stopped.value.code == 1
    return out.getvalue()


# ---------------------------------------------------------------------------------------------------- the command


def test_without_arguments_it_lists_every_calculator_by_group():
    text = run()
    assert [slug for slug in SLUGS if f"  {slug}\n" not in text] == []
    assert text.index("Fasteners") < text.index("Brakes")
    listed = json.loads(run("--json"))
    assert [each["slug"] for each in listed] == SLUGS


def test_it_answers_in_words_and_as_a_record():
    """A 400 mm wrench with a 50 mm adapter in line: the setting is 400/450 of the torque."""
    text = run("torque-with-extension", *EXTENSION)
    assert text.splitlines()[2] == "Set the wrench to: 71.1 N·m"
    for part in (
        "Torque wanted at the fastener: 80 N·m (typed in)",
        "Formula",
        "US Army TM 9-254",
        "With care",
    ):
        assert part in text
    assert " ".join(text.split()).count(INFORMS) == 1
    record = json.loads(run("torque-with-extension", *EXTENSION, "--json"))
    setting = next(each for each in record["outputs"] if each["main"])
    assert float(setting["value"]) == pytest.approx(80 * 400 / 450, rel=1e-8)
    assert setting["unit"] == "N.m"


@pytest.mark.parametrize("slug", SLUGS)
def test_every_example_can_be_typed(slug):
    calculator = calculators()[slug]
    pairs = [f"{name}={text}" for name, text in calculator.example.items()]
    record = json.loads(run(slug, *pairs, "--json"))
    assert record["calculator"] == slug
    assert record["formula"]
    text = run(slug, *pairs)
    main = next(each for each in record["outputs"] if each["main"])
    assert f"{main['label']}: {main['shown']}" in text
    assert (LOCAL_APPROVAL in " ".join(text.split())) == calculator.local_approval
    told = run(slug, "--inputs")
    for each in calculator.inputs:
        assert f"  {each.name}" in told
    assert json.loads(run(slug, "--inputs", "--json"))["slug"] == slug


def test_each_wrong_input_is_said_in_a_sentence():
    text = refused(
        "torque-with-extension", "torque=80 mm", "length=400", "extension=nan mm", "angle=1e400 deg"
    )
    assert "torque: mm is a unit of length; here it is N·m" in text
    assert "length: Give the unit too: a number without one can't be used. Units here: mm, m, in." in text
    assert "extension: “nan mm” does not begin with a number." in text
    assert "angle: “e400 deg” is no unit that is known here." in text
    data = json.loads(refused("torque-with-extension", "torque=0 N.m", "--json"))
    assert list(data["errors"]) == ["torque", "length", "extension", "angle"]
    assert data["errors"]["torque"] == "0 N·m is not plausible here: give 0.1 N·m to 5000 N·m."


def test_what_is_no_input_or_no_calculator_is_said():
    assert "no such input" in refused("torque-with-extension", *EXTENSION, "force=3 N")
    assert "given twice" in refused("torque-with-extension", *EXTENSION, "angle=3 deg")
    assert "Write NAME=VALUE" in refused("torque-with-extension", "80 N.m")
    assert "Is it torque-with-extension?" in refused("torque-with-extensio")
    assert "Is it" not in refused("q")
    assert "" in json.loads(refused("q", "--json"))["errors"]


def test_it_needs_no_database_and_says_its_exit_code(tmp_path):
    """Run as a shop's script would: another folder, a database that is not there."""
    root = Path(__file__).resolve().parents[2]
    # A sandbox has the interpreter; nothing of a shell is used.
    environment = {
        **{name: value for name, value in os.environ.items() if name in ("PATH", "VIRTUAL_ENV", "HOME")},
        "WORKSHOP_DATA": str(tmp_path),
        "SECRET_KEY": "k" * 60,
        "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none",
    }
    done = subprocess.run(
        [sys.executable, "manage.py", "calculate", "torque-with-extension", *EXTENSION, "--json"],
        cwd=root, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["calculator"] == "torque-with-extension"
    assert list(tmp_path.iterdir()) == [], "it writes nothing"


# ------------------------------------------------------------------------------------------------------ the reading

TORQUE = Number("torque", "Torque", "torque", "N.m", D(1), D(500))
PLAIN = Number("ratio", "Ratio", "count", "1", D(0), D(9), optional=True)
ROW = Numbers("row", "Toe", "angle", "deg", D(-5), D(5), each="Reading", at_least=2, at_most=4)


@pytest.mark.parametrize(
    ("of", "text", "value", "unit"),
    [
        (TORQUE, "80 N.m", "80", "N.m"),
        (TORQUE, "80 N·m", "80", "N.m"),
        (TORQUE, " 80Nm ", "80", "N.m"),
        (TORQUE, "80 nm", "80", "N.m"),
        (TORQUE, "59,5 lbf·ft", "59.5", "lbf.ft"),
        (TORQUE, "59.5 LBF FT", "59.5", "lbf.ft"),
        (TORQUE, "80 mm", "80", "mm"),
        (TORQUE, "\u221280 N.m", "-80", "N.m"),
        (PLAIN, "0.38", "0.38", "1"),
        (PLAIN, "0.38 1", "0.38", "1"),
    ],
)
def test_a_number_with_its_unit(of, text, value, unit):
    assert command.read(of, text) == Amount(D(value), unit)


def test_a_row_of_numbers_has_its_unit_once():
    assert command.read(ROW, "0.1 -0,2 0.3°") == tuple(Amount(D(n), "deg") for n in ("0.1", "-0.2", "0.3"))
    assert command.read(ROW, "-0.1 -0.2 deg") == (Amount(D("-0.1"), "deg"), Amount(D("-0.2"), "deg"))


@pytest.mark.parametrize(
    ("of", "text", "said"),
    [
        (TORQUE, "", "does not begin with a number. Write it like 12.5 N.m."),
        (PLAIN, "x", "Write it like 12.5."),
        (TORQUE, "80", "Give the unit too"),
        (TORQUE, "80 yarn", "“yarn” is no unit"),
        (TORQUE, "80 N.m.m", "is no unit"),
        (PLAIN, "3 mm wide", "Units here: none: a plain number."),
        (TORQUE, "1 234 N.m", "Type it without the space: 1234."),
        (TORQUE, "1.234,5 N.m", "two ways"),
        (TORQUE, "8" * 30 + " N.m", "too long"),
        (TORQUE, "8" * 10_000, "That is too long: give at most 4000 characters."),
        (ROW, "0.1 x deg", "is no unit"),
        (ROW, "0.1 -x deg", "is no unit"),
        (TORQUE, "9 " + "y" * 80, "…”"),
    ],
)
def test_what_can_t_be_read_is_refused_in_a_sentence(of, text, said):
    with pytest.raises(EngineeringError) as error:
        command.read(of, text)
    assert said in str(error.value)


def test_no_text_reaches_pint(monkeypatch):
    """A unit is one of the closed list: nothing of what was typed is ever parsed."""
    import pint

    def boom(*arguments, **kwargs):
        raise AssertionError("typed text reached Pint")

    monkeypatch.setattr(pint.UnitRegistry, "parse_expression", boom)
    monkeypatch.setattr(pint.UnitRegistry, "parse_units", boom)
    for text in ("80 N.m", "80 __import__", "80 meter**2", "80 newton * meter"):
        try:
            command.read(TORQUE, text)
        except EngineeringError as error:
            assert "is no unit" in str(error)  # noqa: PT017 – either answer is right, Pint's is not


@pytest.mark.parametrize("code", [code for code in UNITS if code != "1"])
def test_every_unit_is_known_by_its_code_and_its_label(code):
    unit = UNITS[code]
    codes = tuple(one for one, each in UNITS.items() if each.dimension == unit.dimension)
    assert command.unit_named(unit.code, codes) == code
    assert command.unit_named(unit.label, codes) == code


def _work(**inputs) -> Outcome:
    return Outcome(
        {"out": "as it is"},
        verdict="It is as it is.",
        notes=["One note."],
        tables=[Table("A table", ("Cylinder", "Value"), (("1", "12.4"), ("2", "12"))) ],
        plots=[
            Plot("p", "With rows", Axis("x", 0, 1), Axis("y", 0, 1), "It rises.", head=("x",), rows=(("0",),)),
            Plot("q", "Without", Axis("x", 0, 1), Axis("y", 0, 1), "It falls."),
        ],
    )  # fmt: skip


WHOLE = Calculator(
    slug="whole", name="The whole of it", group="Wear", question="What is told?",
    inputs=(
        TORQUE, PLAIN, ROW,
        Choice("kind", "Kind", (("a", "Apple"), ("b", "Pear")), optional=True),
        Text("size", "Size", "185/60 R14", optional=True),
    ),
    outputs=(Output("out", "Outcome", main=True),),
    formula="a = b\nc = d", sources=(Source("An invented table"),), work=_work, local_approval=True,
    example={"torque": "80 N.m", "row": "1 2 deg"},
)  # fmt: skip


def test_a_whole_answer_as_lines():
    from workshop.engineering.calculate import calculate

    record = calculate(WHOLE, command.read_inputs(WHOLE, [*WHOLE.example.items(), ("kind", "b")])).record()
    text = "\n".join(command.result_lines(record))
    for part in (
        "Outcome: as it is", "It is as it is.", "One note.", "  Cylinder  Value\n  1         12.4", "With rows",
        "  It rises.\n  x\n  0", "Without\n  It falls.", "Kind: Pear (typed in)", "  a = b\n  c = d", LOCAL_APPROVAL,
    ):  # fmt: skip
        assert part in text
    told = "\n".join(command.help_lines(WHOLE))
    for part in (
        "2 to 4 of them, each -5° to 5°; units: deg, arcmin.", "one of a (Apple), b (Pear).", "0 to 9, a plain number.",
        "as it is written on the thing, such as 185/60 R14.", "(may be left out)",
        'calculate whole torque="80 N.m" row="1 2 deg"',
    ):  # fmt: skip
        assert part in told
    assert [each["needed"] for each in command.listed([WHOLE])[0]["inputs"]] == [
        True,
        False,
        True,
        False,
        False,
    ]


def test_what_is_assumed_may_be_left_out_and_is_said():
    assumed = next(
        (one, each) for one in calculators().values() for each in one.inputs
        if isinstance(each, Number) and each.assumed is not None
    )  # fmt: skip
    calculator, number = assumed
    told = " ".join("\n".join(command.help_lines(calculator)).split())
    assert "is assumed" in told
    assert next(one for one in command.listed([calculator])[0]["inputs"] if one["name"] == number.name)[
        "assumed"
    ]
    with pytest.raises(InputErrors) as error:
        command.read_inputs(calculator, [("no such", "1")])
    assert number.name not in error.value.errors


def test_a_list_starts_each_group_once():
    every = list(calculators().values())
    lines = command.list_lines(every)
    groups = [line for line in lines if line and not line.startswith(" ")]
    assert len(groups) == len(set(groups))
    assert math.isclose(
        sum(line.startswith("  ") and not line.startswith("   ") for line in lines), len(every)
    )
