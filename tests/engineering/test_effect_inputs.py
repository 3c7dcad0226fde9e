"""What a calculator declares, takes and refuses, and what its result keeps: tried on one made up for it."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.engineering.calculate import calculate, refusal
from workshop.engineering.declare import (
    Assumption,
    Calculator,
    Choice,
    InputErrors,
    Kind,
    Number,
    Numbers,
    Outcome,
    Output,
    Source,
    Table,
    Text,
    declared_rightly,
)
from workshop.engineering.errors import EngineeringError
from workshop.engineering.plot import Axis, Plot
from workshop.engineering.quantities import amount, has_dimension, magnitude, number, quantity, registry
from workshop.engineering.result import Given, Origin
from workshop.engineering.units import Amount, UnitError

D = Decimal
FORCE = Number("force", "Force", "force", "N", D(1), D(10000))
SHARE = Number("share", "Share", "count", "1", D(0), D(1),
               assumed=Assumption(D("0.4"), D("0.3"), D("0.5"), "as such pads mostly have"))  # fmt: skip
ARMS = Numbers("arms", "Arms", "length", "mm", D(10), D(500), "Arm", at_least=2, at_most=4, units=("m",))
KIND = Choice("kind", "Kind", (("disc", "disc brake"), ("drum", "drum brake")), usual="disc")
NAME = Text("name", "Name", "A12", max_length=5, optional=True)
TEETH = Number("teeth", "Teeth", "count", "1", D(1), D(99), whole=True, optional=True)


def work(force, share, arms, kind, name, teeth):
    if kind == "drum":
        raise InputErrors({"kind": "Not for a drum."})
    if name == "odd":
        raise EngineeringError("That can't be.")
    if name == "zero":
        _ = 1 / 0
    values = {
        "torque": force * share * sum(arms[1:], arms[0]),
        "words": f"{kind} {name} {teeth}",
        "same_force": force,
    }
    if name == "none":
        del values["torque"]
    if name == "edge" and magnitude(share, "1") > 0.45:
        raise InputErrors({"share": "Too much."})
    return Outcome(values, verdict="So much.", odd=True, notes=["Mind."],
                   tables=[Table("T", ("a",), (("1",),))],
                   plots=[Plot("p", "P", Axis("x", 0, 1), Axis("y", 0, 1), "S")])  # fmt: skip


TRIED = Calculator(
    slug="tried", name="Tried", group="Brakes", question="How much?", inputs=(FORCE, SHARE, ARMS, KIND, NAME, TEETH),
    outputs=(Output("torque", "Torque", "N.m", main=True), Output("same_force", "Force", "N", follows="force"),
             Output("words", "Words"), Output("never", "Never", "mm")),
    formula="M = F · µ · Σr", sources=(Source("A book", "p. 1", Kind.FROM_MEMORY),), work=work, cautions=("Mind.",),
    local_approval=True, example={"force": "100 N", "arms": "100 200 mm", "kind": "disc"},
)  # fmt: skip


def typed(number: str, unit: str) -> Given:
    return Given(Amount(D(number), unit))


def inputs(**changed) -> dict[str, Given]:
    usual = {
        "force": typed("100", "N"),
        "arms": Given((Amount(D(100), "mm"), Amount(D("0.2"), "m"))),
        "kind": Given("disc"),
    }
    return {name: one for name, one in {**usual, **changed}.items() if one is not None}


def refused(**changed) -> dict[str, str]:
    with pytest.raises(InputErrors) as caught:
        calculate(TRIED, inputs(**changed))
    return caught.value.errors


# --- calculating ----------------------------------------------------------------------------------------------


def test_a_result_has_its_values_its_assumptions_at_both_ends_and_what_it_came_from():
    result = calculate(TRIED, inputs(name=Given(" A1 "), teeth=typed("12", "1"), force=typed("0.1", "kN")))
    # By hand: 100 N · 0.4 · (0.1 m + 0.2 m) = 12 N·m; at 0.3 and 0.5: 9 and 15.
    assert result.values["torque"] == Amount(D(12), "N.m")
    assert result.values["same_force"] == Amount(D("0.1"), "kN")
    assert str(result.values["words"]).startswith("disc A1 12")
    assert "never" not in result.values
    assert result.given["share"].origin == Origin.ASSUMED
    (spread,) = result.spreads
    assert spread.sentence == (
        "Share is assumed to be 0.4 (as such pads mostly have). Anywhere from 0.3 to 0.5, torque lies between "
        "9 N·m and 15 N·m."
    )
    assert calculate(TRIED, inputs(share=typed("0.4", "1"))).spreads == ()


def test_where_an_end_of_an_assumption_has_no_answer_it_says_so():
    (spread,) = calculate(TRIED, inputs(name=Given("edge"))).spreads
    assert (spread.at_low, spread.at_high) == ("9 N·m", "no answer")
    assert spread.sentence == (
        "Share is assumed to be 0.4 (as such pads mostly have). Torque at 0.3: 9 N·m; at 0.5: no answer."
    )
    # Without the torque nothing depends on it: it was not used.
    assert calculate(TRIED, inputs(name=Given("none"))).spreads == ()


def test_an_assumption_that_changes_nothing_is_left_out_and_its_ends_stand_in_order():
    def torque(of, notes=()):
        def answer(force, share, **_):
            return Outcome(
                {"torque": of(force, magnitude(share, "1")) * quantity(1, "m")}, notes=list(notes(share))
            )

        return replace(TRIED, work=answer)

    def sentence(calculator) -> str:
        (spread,) = calculate(calculator, inputs()).spreads
        return spread.sentence.partition("). ")[2]

    assert calculate(torque(lambda force, share: force, lambda share: ()), inputs()).spreads == ()
    falling = torque(lambda force, share: force * (1 - share), lambda share: ())
    assert sentence(falling) == "Anywhere from 0.3 to 0.5, torque lies between 50 N·m and 70 N·m."
    # Greatest at what is assumed, 0.4: 100 − 1000·(share − 0.4)².
    bent = torque(lambda force, share: force * (1 - 10 * (share - 0.4) ** 2), lambda share: ())
    assert sentence(bent) == "Anywhere from 0.3 to 0.5, torque lies between 90 N·m and 100 N·m."
    noted = torque(lambda force, share: force, lambda share: (f"{magnitude(share, '1'):.1f} was taken.",))
    assert sentence(noted) == "Anywhere from 0.3 to 0.5, torque stays 100 N·m."


@pytest.mark.parametrize(
    ("changed", "name", "words"),
    [
        ({"force": None}, "force", "Give this, with its unit: from 1 N to 10000 N."),
        ({"force": Given("")}, "force", "Give this, with its unit"),
        ({"arms": None}, "arms", "Give 2 or more readings, each from 10 mm to 500 mm."),
        ({"arms": Given(())}, "arms", "Give 2 or more readings"),
        ({"kind": None}, "kind", "Choose one."),
        ({"kind": Given("none")}, "kind", "Choose one of: disc brake, drum brake."),
        ({"kind": Given("drum")}, "kind", "Not for a drum."),
        ({"name": Given("far too long")}, "name", "at most 5 characters"),
        ({"name": typed("1", "mm")}, "name", "Write it as it stands there, such as A12."),
        ({"force": Given("100 N")}, "force", "Give a number with its unit."),
        ({"force": typed("0", "N")}, "force", "0 N is not plausible here: give 1 N to 10000 N."),
        ({"force": typed("-5", "N")}, "force", "not plausible"),
        ({"force": typed("1e400", "N")}, "force", "not plausible"),
        ({"force": typed("20", "kN")}, "force", "give 1 N to 10000 N (0.001 kN to 10 kN)"),
        ({"force": typed("5", "mm")}, "force", "mm is a unit of length; here it is N, kN, lbf."),
        ({"force": typed("5", "1")}, "force", "A plain number is a unit of count"),
        ({"share": typed("5", "mm")}, "share", "here it is a plain number"),
        ({"teeth": typed("1.5", "1")}, "teeth", "Give a whole number."),
        ({"arms": typed("5", "mm")}, "arms", "Give a row of numbers with their unit."),
        ({"arms": Given((Amount(D(50), "mm"),))}, "arms", "Give 2 to 4 readings: 1 were given."),
        ({"arms": Given((Amount(D(50), "mm"), Amount(D(5), "mm")))}, "arms", "Arm 2: 5 mm is not plausible"),
        ({"name": Given("odd")}, "", "That can't be."),
        ({"name": Given("zero")}, "", "These figures together give no answer."),
    ],
)
def test_what_is_refused_is_refused_beside_its_input_with_what_is_plausible(changed, name, words):
    errors = refused(**changed)
    assert list(errors) == [name]
    assert words in errors[name]


def test_all_that_is_wrong_is_said_at_once_and_a_wrong_name_is_a_programming_error():
    assert set(refused(force=None, kind=None)) == {"force", "kind"}
    assert str(InputErrors({"a": "One.", "b": "Two."})) == "One. Two."
    with pytest.raises(TypeError, match="has no input colour"):
        calculate(TRIED, inputs(colour=Given("red")))
    assert "such as A12" in refusal(replace(NAME, optional=False), None)


@given(st.decimals("1", "10000", places=3), st.sampled_from(("N", "kN", "lbf")))
def test_the_same_force_in_another_unit_gives_the_same_torque(newtons, unit):
    there = Amount(newtons, "N").to(unit)
    if not FORCE.low <= there.to("N").value <= FORCE.high:
        return
    one = calculate(TRIED, inputs()).values["torque"]
    other = calculate(TRIED, inputs(force=Given(there))).values["torque"]
    assert isinstance(one, Amount)
    assert isinstance(other, Amount)
    assert float(other.value) == pytest.approx(float(one.value) * float(newtons) / 100, rel=1e-7)


# --- declaring ------------------------------------------------------------------------------------------------


def test_a_record_is_plain_data_with_all_that_the_result_came_from():
    record = calculate(TRIED, inputs(force=Given(Amount(D(100), "N"), Origin.PART, "read off"))).record()
    assert json.loads(json.dumps(record)) == record
    by_name = {one["name"]: one for one in record["inputs"]}
    assert (by_name["force"]["shown"], by_name["force"]["origin"]) == ("100 N", "fitted part")
    assert by_name["arms"]["shown"] == "100 mm  0.2 m"
    assert by_name["arms"]["value"] == ["100", "0.2"]
    assert (by_name["kind"]["shown"], by_name["kind"]["value"]) == ("disc brake", "disc")
    assert "name" not in by_name
    assert record["outputs"][0]["shown"] == "12 N·m"
    assert record["tables"] == [{"title": "T", "head": ["a"], "rows": [["1"]]}]
    assert record["plots"][0]["title"] == "P"
    assert record["sources"] == ["A book, p. 1 (quoted from memory, not yet compared with the text)"]
    assert record["assumptions"][0].startswith("Share is assumed to be 0.4")
    assert (record["calculator"], record["version"], record["odd"], record["local_approval"]) == (
        "tried", 1, True, True
    )  # fmt: skip


def test_a_source_says_how_far_it_can_be_trusted():
    assert str(Source("A standard", "table 2")) == "A standard, table 2"
    assert str(Source("A standard")) == "A standard"
    assert (
        str(Source("Practice", kind=Kind.COMMON_PRACTICE))
        == "Practice (common practice, no single published source)"
    )
    assert Kind.MECHANICS.words == "textbook mechanics"
    assert len({one.label for one in Origin}) == len(Origin)


def test_an_input_offers_its_usual_unit_first():
    assert FORCE.unit_codes[0] == "N"
    assert set(FORCE.unit_codes) == {"N", "kN", "lbf"}
    assert ARMS.unit_codes == ("mm", "m")
    assert TRIED.input("arms") is ARMS


@pytest.mark.parametrize(
    ("changed", "wrong"),
    [
        ({}, []),
        ({"inputs": (FORCE, FORCE)}, ["a name is used twice"]),
        ({"inputs": (replace(FORCE, name="part"),)}, ["part: the page needs that name itself"]),
        (
            {"inputs": (replace(FORCE, item="wheelbase", factory_item="wheelbase"),)},
            ["force: it is filled from the car as it is now or from the factory's, not from both"],
        ),
        ({"inputs": (replace(FORCE, unit="mm"),)}, ["force: mm is no unit of force"]),
        ({"inputs": (replace(FORCE, unit="parsec"),)}, ["force: parsec is no unit of force"]),
        ({"inputs": (replace(FORCE, low=D(20000)),)}, ["force: its range is empty"]),
        ({"inputs": (replace(ARMS, units=("kg",)),)}, ["arms: kg is no unit of length"]),
        ({"inputs": (replace(KIND, usual="band"),)}, ["kind: what is usual is not among its options"]),
        ({"outputs": (Output("torque", "T", "parsec", main=True),)}, ["torque: unknown unit parsec"]),
        ({"outputs": (Output("torque", "T"),)}, ["exactly one output is the main one"]),
        ({"sources": ()}, ["it names no source"]),
    ],
)
def test_a_wrong_declaration_is_found(changed, wrong):
    assert list(dict.fromkeys(declared_rightly(replace(TRIED, **changed)))) == wrong


# --- quantities -----------------------------------------------------------------------------------------------


@pytest.mark.outside("NIST SP 811 (2008), Appendix B.8, factors for units listed alphabetically")
@pytest.mark.parametrize(
    ("code", "si", "factor"),
    [
        ("psi", "kPa", 6.894757),
        ("lbf.ft", "N.m", 1.355818),
        ("hp", "W", 745.6999),
        ("PS", "W", 735.4988),
        ("lbf", "N", 4.448222),
        ("mph", "km/h", 1.609344),
    ],
)
def test_quantities_convert_as_published(published, code, si, factor):
    published.close(magnitude(quantity(1, code), si), factor, rel=5e-7, unit=si, what=code)


def test_a_quantity_keeps_nine_figures_and_comes_back_in_plain_digits():
    assert amount(quantity(Amount(D("12.5"), "mm")), "m") == Amount(D("0.0125"), "m")
    assert number(6000.0, "rpm") == Amount(D(6000), "rpm")
    assert str(number(6e3, "rpm").value) == "6000"
    assert number(1 / 3, "1").value == D("0.333333333")
    assert number(1e-320, "1").value == 0 or number(1e-320, "1").value > 0
    assert number(-0.0, "1").value == 0
    assert magnitude(quantity(0, "degC"), "degC") == 0


def test_what_is_no_ordinary_number_is_never_an_amount():
    for bad in (float("inf"), float("-inf"), float("nan")):
        with pytest.raises(EngineeringError, match="no answer"):
            number(bad, "mm")
        with pytest.raises(EngineeringError, match="no answer"):
            amount(quantity(bad, "mm"), "mm")


def test_dimensions_are_proved():
    with pytest.raises(pint.DimensionalityError):
        magnitude(quantity(1, "kg"), "mm")
    with pytest.raises(pint.DimensionalityError):
        quantity(1, "kg") + quantity(1, "mm")
    with pytest.raises(UnitError):
        quantity(1, "parsec")
    assert has_dimension(quantity(1, "kN"), "force")
    assert not has_dimension(quantity(1, "kN"), "mass")
    # A torque is an energy to Pint: they are kept apart by name.
    assert has_dimension(quantity(1, "N.m"), "torque")
    assert registry() is registry()
