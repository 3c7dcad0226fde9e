"""Calculators on the screen: the form made from the declaration, the result as a link, filled from a car's record."""

from __future__ import annotations

import html
import json
import re
from decimal import Decimal
from urllib.parse import urlencode

import pytest
from django.http import QueryDict
from django.urls import reverse

from tests.factories.fault import FaultFactory
from tests.factories.part import PartFactory
from tests.factories.vehicle import VehicleFactory
from vehicles import calculations as reads
from vehicles.forms import calculator as forms
from workshop.engineering import catalogue
from workshop.engineering.calculate import calculate
from workshop.engineering.command import read_inputs
from workshop.engineering.declare import (
    INFORMS,
    LOCAL_APPROVAL,
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
    Text,
)
from workshop.engineering.effect import CarFigures, Figure, Part
from workshop.engineering.plot import Axis, Line, Plot
from workshop.engineering.quantities import quantity
from workshop.engineering.result import Given, Origin
from workshop.engineering.units import Amount

D = Decimal
SLUGS = list(catalogue.calculators())
EXTENSION = {
    "torque_value": "80", "torque_unit": "N.m", "length_value": "400", "length_unit": "mm",
    "extension_value": "50", "extension_unit": "mm", "angle_value": "0", "angle_unit": "deg",
}  # fmt: skip


def _work(wheelbase, friction, readings, kind, size):
    return Outcome(
        {"sum": wheelbase * friction.magnitude, "kind": kind},
        verdict=f"{len(readings)} readings.",
        odd=len(readings) > 4,
        plots=[Plot("p", "Straight", Axis("x, mm", 0, 1), Axis("y, mm", 0, 1), "It rises.",
                    (Line("one", ((0.0, 0.0), (1.0, 1.0))),), head=("x", "y"), rows=(("0", "0"),))],
    )  # fmt: skip


# Every kind of input at once; of no engineering meaning.
EVERY_KIND = Calculator(
    slug="every-kind",
    name="Every kind of input",
    group="Wear",
    question="What does the form make of it?",
    inputs=(
        Number("wheelbase", "Wheelbase", "length", "mm", D(800), D(6000), item="wheelbase"),
        Number("friction", "Friction", "count", "1", D("0.1"), D("0.6"), item="front.pad_friction",
               assumed=Assumption(D("0.38"), D("0.3"), D("0.45"), "usual for a road pad")),
        Numbers("readings", "Compression", "pressure", "bar", D(0), D(40), each="Cylinder", at_least=2, at_most=12),
        Choice("kind", "Kind of joint", (("plain", "Plain"), ("gasket", "With a gasket")), usual="plain"),
        Text("size", "Tyre size", "185/60 R14", item="front.tyre_size", optional=True),
    ),
    outputs=(Output("sum", "Sum", "mm", main=True, follows="wheelbase"), Output("kind", "Kind")),
    formula="s = w · μ",
    sources=(Source("An invented table", kind=Kind.MECHANICS),),
    work=_work,
    cautions=("Chock the wheels.",),
    local_approval=True,
)  # fmt: skip
FILLED = {
    "wheelbase_value": "2500", "wheelbase_unit": "mm", "readings_1": "12.4", "readings_2": "12,1",
    "readings_unit": "bar", "kind": "gasket",
}  # fmt: skip


@pytest.fixture
def every_kind(monkeypatch):
    found = {**catalogue.calculators(), EVERY_KIND.slug: EVERY_KIND}
    monkeypatch.setattr("vehicles.views.calculator.find", found.get)
    monkeypatch.setattr("vehicles.acts.calculation.find", found.get)
    return EVERY_KIND


@pytest.fixture
def known(monkeypatch):
    """What is on record of the car, without a data sheet."""
    tyre = Part("p1", "Tyres, wider", "front axle", "tyres", "front", {
        "tyre_size": Figure("195/50 R15", Origin.PART, "read off the tyre", "confirmed"),
    })  # fmt: skip
    figures = CarFigures(
        {
            "wheelbase": Figure(
                Amount(D("2500.0000"), "mm"), Origin.DATA_SHEET, "workshop manual, p. 12", "likely"
            )
        },
        (tyre,),
    )
    monkeypatch.setattr("vehicles.calculations.figures_of", lambda vehicle: figures)
    return figures


@pytest.fixture
def signed_in(client, technician):
    client.force_login(technician)
    return client


def example_query(calculator: Calculator) -> dict[str, str]:
    given = read_inputs(calculator, calculator.example.items())
    return forms.query_of({name: one.value for name, one in given.items()})


def text_of(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html.unescape(answer.text)).split())


# ------------------------------------------------------------------------------------------------ every calculator


@pytest.mark.parametrize("slug", SLUGS)
def test_every_calculator_opens_and_works_its_example_out(signed_in, slug):
    calculator = catalogue.calculators()[slug]
    address = reverse("vehicles:calculator", args=[slug])
    empty = signed_in.get(address)
    assert empty.status_code == 200
    assert 'id="answer"' not in empty.text
    answer = signed_in.get(address, example_query(calculator))
    assert answer.status_code == 200, answer.context["form"].errors
    record = answer.context["record"]
    assert json.loads(json.dumps(record)) == record
    main = next(each for each in record["outputs"] if each["main"])
    assert html.escape(main["shown"]) in answer.text
    assert answer.text.count(html.escape(INFORMS)) == 1
    assert (LOCAL_APPROVAL in answer.text) == calculator.local_approval
    assert " style=" not in answer.text
    # The screen and the command read the same figures.
    again = calculate(calculator, read_inputs(calculator, calculator.example.items())).record()
    assert again["outputs"] == record["outputs"]


@pytest.mark.parametrize("slug", SLUGS)
def test_no_two_controls_of_a_form_share_a_name_of_the_address(slug):
    calculator = catalogue.calculators()[slug]
    names = {forms.name_in_address(each.name) for each in calculator.inputs}
    assert len(names) == len(calculator.inputs)
    assert not names & forms.RESERVED
    assert not any(one != other and other.startswith(f"{one}_") and other.removeprefix(f"{one}_") in
                   {"value", "unit", "more", *map(str, range(1, 61))} for one in names for other in names)  # fmt: skip


@pytest.mark.parametrize("slug", SLUGS)
def test_the_ends_of_every_range_give_an_answer_or_a_sentence(slug):
    """All at the lowest, all at the highest, and each end alone beside the example: never an exception."""
    calculator = catalogue.calculators()[slug]
    usual = read_inputs(calculator, calculator.example.items())
    low, high = dict(usual), dict(usual)
    trials = [usual]
    for each in calculator.inputs:
        if not isinstance(each, Number | Numbers):
            continue
        for end, whole in ((each.low, low), (each.high, high)):
            amount = Amount(end, each.unit)
            value = amount if isinstance(each, Number) else (amount,) * max(each.at_least, 2)
            whole[each.name] = Given(value)
            trials.append({**usual, each.name: Given(value)})
    for given in (*trials, low, high):
        said = answer_or_sentences(calculator, given)
        assert said
        assert not any(re.search(r"\b(nan|inf|complies|illegal)\b", sentence) for sentence in said)


def answer_or_sentences(calculator: Calculator, given: dict) -> list[str]:
    """What the calculator says: in its verdict and notes, or in what it refuses."""
    try:
        result = calculate(calculator, given)
    except InputErrors as refused:
        return list(refused.errors.values())
    json.dumps(result.record(), allow_nan=False)
    return [result.outcome.verdict or "no verdict", *result.outcome.notes]


# ------------------------------------------------------------------------------------------------------- bad input

BAD = [
    ("torque_unit", "mm", 422, "Choose one of these units: N·m, lbf·ft"),
    ("torque_unit", "", 422, "Choose a unit: a number without one can't be kept."),
    ("torque_unit", "newton * meter ** 99", 422, "Choose one of these units"),
    ("torque_value", "0", 422, "0 N·m is not plausible here: give 0.1 N·m to 5000 N·m."),
    ("torque_value", "-80", 422, "-80 N·m is not plausible here"),
    ("torque_value", "999999999999999999", 422, "is not plausible here"),
    ("torque_value", "1e400", 422, "is not a number"),
    ("torque_value", "nan", 422, "is not a number"),
    ("torque_value", "Infinity", 422, "Infinity” is not a number"),
    ("torque_value", "1 234", 422, "Type it without the space: 1234."),
    ("torque_value", "8" * 10_000, 422, "Give at most 24 characters"),
    ("torque_value", "<script>alert(1)</script>"[:24], 422, "is not a number"),
    ("torque_value", "", 422, "Give this, with its unit: from 0.1 N·m to 5000 N·m."),
    ("torque_value", "٨٠", 422, "is not a number"),
    ("angle_value", "180.0001", 422, "is not plausible here"),
]


@pytest.mark.parametrize(("name", "value", "status", "said"), BAD)
def test_bad_input_is_said_beside_its_field_and_the_form_stays_filled(signed_in, name, value, status, said):
    answer = signed_in.get(
        reverse("vehicles:calculator", args=["torque-with-extension"]), {**EXTENSION, name: value}
    )
    assert answer.status_code == status
    field = name.rsplit("_", 1)[0]
    assert list(answer.context["form"].errors) == [field]
    assert said in " ".join(answer.context["form"].errors[field])
    assert answer.text.lstrip().startswith("<!doctype html>")
    assert "Not worked out yet. Nothing you typed is lost." in answer.text
    if field != "length":
        assert 'value="400"' in answer.text
    assert "<script>alert" not in answer.text


def test_all_that_is_wrong_is_said_at_once(signed_in):
    query = {**EXTENSION, "torque_value": "abc", "length_value": "1", "extension_value": ""}
    answer = signed_in.get(reverse("vehicles:calculator", args=["torque-with-extension"]), query)
    assert set(answer.context["form"].errors) == {"torque", "length", "extension"}


def test_of_a_key_given_twice_the_last_counts(signed_in):
    address = reverse("vehicles:calculator", args=["torque-with-extension"])
    answer = signed_in.get(f"{address}?{urlencode({**EXTENSION})}&torque_value=160&torque_value=90")
    assert answer.status_code == 200
    assert answer.context["record"]["inputs"][0]["shown"] == "90 N·m"


def test_what_together_gives_no_answer_is_said(signed_in):
    """Folded back over the grip: the calculator itself refuses, beside the input that it names."""
    query = {**EXTENSION, "extension_value": "399", "angle_value": "180"}
    answer = signed_in.get(reverse("vehicles:calculator", args=["torque-with-extension"]), query)
    assert answer.status_code == 422
    assert any("extension" in name for name in answer.context["form"].errors)


@pytest.mark.parametrize("slug", ["no-such-thing", "torque_with_extension", "a" * 300])
def test_a_calculator_that_is_not_there_is_404(signed_in, slug):
    assert signed_in.get(f"/calculators/{slug}/").status_code == 404


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"kind": "welded"}, "kind", "Choose one of: Plain, With a gasket."),
        ({"kind": ""}, "kind", "Choose one."),
        ({"readings_2": ""}, "readings", "Give 2 to 12 readings: 1 were given."),
        ({"readings_1": "", "readings_2": ""}, "readings", "Give 2 or more readings, each from 0 bar to 40 bar."),
        ({"readings_4": "12"}, "readings", "Cylinder 3 is empty: give it, or move up those after it."),
        ({"readings_2": "x" * 10_000}, "readings", "Cylinder 2: Give at most 24 characters"),
        ({"readings_2": "99"}, "readings", "Cylinder 2: 99 bar is not plausible here"),
        ({"readings_unit": "mm"}, "readings", "Choose one of these units: bar"),
        ({"size": "x" * 10_000}, "size", "That is too long: at most 40 characters."),
        ({"friction_value": "0.9"}, "friction", "0.9 is not plausible here"),
    ],
)  # fmt: skip
def test_bad_input_of_every_kind(signed_in, every_kind, changes, field, said):
    answer = signed_in.get(reverse("vehicles:calculator", args=[every_kind.slug]), {**FILLED, **changes})
    assert answer.status_code == 422
    assert said in " ".join(answer.context["form"].errors[field])
    assert said in html.unescape(answer.text)


# ------------------------------------------------------------------------------------------------------- the form


def test_the_form_is_made_from_the_declaration(signed_in, every_kind):
    answer = signed_in.get(reverse("vehicles:calculator", args=[every_kind.slug]))
    text = text_of(answer)
    assert "Left empty, 0.38 is assumed: usual for a road pad. It may lie anywhere from 0.3 to 0.45" in text
    assert "(assumed where left empty)" in text
    assert re.findall(r"Cylinder \d+", text) == [f"Cylinder {n}" for n in (1, 2, 3, 4)]
    assert 'name="readings_unit"' in answer.text
    assert re.search(r'type="radio"[^>]*value="plain"[^>]*checked', answer.text), "what is usual is chosen"
    assert "Chock the wheels." in text


def test_more_cells_keep_what_was_typed_and_work_nothing_out(signed_in, every_kind):
    address = reverse("vehicles:calculator", args=[every_kind.slug])
    answer = signed_in.get(address, {**FILLED, "readings_more": "1"})
    assert answer.status_code == 200
    assert answer.context["record"] is None
    assert not answer.context["form"].errors
    assert "Cylinder 8" in answer.text
    assert "Cylinder 9" not in answer.text
    for value in ("2500", "12.4", "12,1"):
        assert f'value="{value}"' in answer.text
    # Enter presses the first button of a form: that must not be the one that asks for cells.
    assert answer.text.index("Work it out") < answer.text.index("readings_more")
    most = signed_in.get(address, {**FILLED, "readings_12": "1", "readings_more": "1"})
    assert "readings_more" not in most.text
    assert "Cylinder 12" in most.text


def test_the_result_of_every_kind(signed_in, every_kind):
    answer = signed_in.get(reverse("vehicles:calculator", args=[every_kind.slug]), FILLED)
    assert answer.status_code == 200
    text = text_of(answer)
    assert "950 mm" in text  # 2500 · 0.38
    assert "Friction is assumed to be 0.38 (usual for a road pad). Anywhere from 0.3 to 0.45, sum lies between 750 mm and 1125 mm." in text  # fmt: skip
    assert "With a gasket" in text
    assert "12.4 bar 12.1 bar" in text
    assert "2 readings." in text
    assert "Look at this." not in text
    assert LOCAL_APPROVAL in text
    assert "An invented table (textbook mechanics)" in text
    assert "<svg" in answer.text
    assert 'class="big main-value"' in answer.text
    many = {**FILLED, **{f"readings_{n}": "12" for n in range(1, 6)}}
    assert "Look at this." in text_of(
        signed_in.get(reverse("vehicles:calculator", args=[every_kind.slug]), many)
    )


def test_inputs_go_to_an_address_and_back(every_kind):
    query = QueryDict(
        urlencode({**FILLED, "friction_value": "0.42", "friction_unit": "1", "size": "185/60 R14"})
    )
    form = forms.CalculatorForm(every_kind, query)
    assert form.is_valid(), form.errors
    again = forms.CalculatorForm(every_kind, QueryDict(urlencode(forms.query_of(form.inputs))))
    assert again.is_valid(), again.errors
    assert again.inputs == form.inputs
    assert forms.inputs_in(form.result.record()) == form.inputs


def test_what_was_assumed_is_assumed_again(every_kind):
    form = forms.CalculatorForm(every_kind, QueryDict(urlencode(FILLED)))
    assert form.is_valid()
    assert "friction" not in forms.inputs_in(form.result.record())


# ---------------------------------------------------------------------------------------------------------- a car


def test_a_car_s_form_is_filled_from_its_record(signed_in, every_kind, known, car):
    address = reverse("vehicles:car-calculator", args=[car.pk, every_kind.slug])
    answer = signed_in.get(address)
    assert answer.status_code == 200
    assert 'value="2500"' in answer.text
    assert 'value="195/50 R15"' in answer.text
    text = text_of(answer)
    assert "From the record: 2500 mm, data sheet: workshop manual, p. 12 (likely)" in text
    assert "From the record: 195/50 R15, fitted part: read off the tyre (confirmed)" in text
    assert "2 figures come from the car's record" in text

    as_known = signed_in.get(address, {**FILLED, "size": "195/50 R15"})
    origins = {each["name"]: (each["origin"], each["words"]) for each in as_known.context["record"]["inputs"]}
    assert origins["wheelbase"] == ("data sheet", "workshop manual, p. 12")
    assert origins["size"] == ("fitted part", "read off the tyre")
    assert origins["readings"] == ("typed in", "")
    assert origins["friction"] == ("assumed", "usual for a road pad")

    typed = signed_in.get(address, {**FILLED, "wheelbase_value": "2501"})
    assert typed.context["record"]["inputs"][0]["origin"] == "typed in"
    assert "Typed in. The record says 2500 mm, data sheet" in text_of(typed)
    # The same length in another unit is the same figure.
    in_metres = signed_in.get(address, {**FILLED, "wheelbase_value": "2.5", "wheelbase_unit": "m"})
    assert in_metres.context["record"]["inputs"][0]["origin"] == "data sheet"


def test_figures_that_do_not_fit_an_input_are_left_out():
    figures = CarFigures(
        {
            "wheelbase": Figure("long", Origin.DATA_SHEET),
            "front.pad_friction": Figure(Amount(D(3), "mm"), Origin.DATA_SHEET),
            "front.tyre_size": Figure(Amount(D(3), "mm"), Origin.DATA_SHEET),
        }
    )
    assert reads.Known(figures).of(EVERY_KIND) == {}
    choice = Calculator(
        "c", "C", "Wear", "?", (Choice("k", "K", (("a", "A"),), item="wheelbase"),), (), "", (), _work
    )
    assert reads.Known(CarFigures({"wheelbase": Figure("b", Origin.CAR)})).of(choice) == {}
    assert set(reads.Known(CarFigures({"wheelbase": Figure("a", Origin.CAR)})).of(choice)) == {"k"}


def test_a_figure_in_a_unit_that_the_input_lacks_is_turned_into_its_own():
    only_mm = Number("w", "W", "length", "mm", D(1), D(9000), units=("mm",), item="wheelbase")
    calculator = Calculator("c", "C", "Wear", "?", (only_mm,), (), "", (), _work)
    known = reads.Known(CarFigures({"wheelbase": Figure(Amount(D(100), "in"), Origin.CAR)})).of(calculator)
    assert known["w"].value == Amount(D(2540), "mm")


def test_a_part_s_own_figures_fill_the_form_when_it_is_opened_from_there():
    """Each circuit has its own cable: only the part that was chosen says which."""
    cable = Number("area", "Cable", "area", "mm2", D("0.1"), D(200), item="cable_section")
    calculator = Calculator("c", "C", "Electrical", "?", (cable,), (), "", (), _work)
    parts = tuple(
        Part(
            key,
            f"Circuit {key}",
            "",
            "added-circuits",
            "",
            {"cable_section": Figure(Amount(D(n), "mm2"), Origin.PART)},
        )
        for key, n in (("one", 2), ("two", 4))
    )
    figures = CarFigures({}, parts)
    assert reads.Known(figures).of(calculator) == {}
    assert reads.Known(figures, "two").of(calculator)["area"].value == Amount(D(4), "mm2")
    assert reads.Known(figures).parts_for(calculator) == parts
    assert reads.Known(figures).parts_for(EVERY_KIND) == ()


BEFORE = [
    ("tyre-comparison", "factory", "fitted", "front.tyre_size", "185/65 R15", "195/50 R15"),
    ("gear-comparison", "final_from", "final_to", "final_drive_ratio", Amount(D("4.06"), "1"), Amount(D("4.43"), "1")),
    ("wheel-offset", "offset_from", "offset_to", "front.rim_offset", Amount(D(45), "mm"), Amount(D(35), "mm")),
]  # fmt: skip


@pytest.mark.parametrize(("slug", "before", "now", "key", "factory", "fitted"), BEFORE)
def test_a_comparison_takes_its_before_from_the_data_sheet_and_its_now_from_the_car(
    slug, before, now, key, factory, fitted
):
    calculator = catalogue.calculators()[slug]
    sheet, car = {key: Figure(factory, Origin.DATA_SHEET)}, {key: Figure(fitted, Origin.CAR)}
    known = reads.Known(CarFigures(sheet, (), car))
    found = known.of(calculator)
    assert (found[before].value, found[before].origin) == (factory, Origin.DATA_SHEET)
    assert found[now].value == fitted
    # What was measured on the car is no answer to what the factory fitted.
    alone = reads.Known(CarFigures({}, (), car)).of(calculator)
    assert before not in alone
    assert alone[now].value == fitted


def test_from_the_record_again_is_offered_only_where_something_came_from_it(
    signed_in, every_kind, known, car
):
    address = reverse("vehicles:car-calculator", args=[car.pk, every_kind.slug])
    assert "From the record again" in signed_in.get(address).text
    other = signed_in.get(reverse("vehicles:car-calculator", args=[car.pk, "torque-conversion"]))
    assert "From the record again" not in other.text
    assert "Empty it" in other.text


@pytest.mark.parametrize("slug", SLUGS)
def test_every_item_that_an_input_names_is_one_that_is_kept_of_a_car(slug):
    from workshop.engineering.items import KEYS

    for each in catalogue.calculators()[slug].inputs:
        key = getattr(each, "item", "") or getattr(each, "factory_item", "")
        if not key:
            continue
        item = KEYS[key]
        if isinstance(each, Number):
            assert item.dimension == each.dimension, each.name
        elif isinstance(each, Text):
            assert item.dimension == "text", each.name
        else:
            assert {code for code, _ in item.choices} & {code for code, _ in each.options}, each.name


def test_quantities_of_the_record_are_the_typed_ones(every_kind):
    """The function gets what stands in the form, in its unit."""
    form = forms.CalculatorForm(
        every_kind, QueryDict(urlencode({**FILLED, "wheelbase_value": "100", "wheelbase_unit": "in"}))
    )
    assert form.is_valid()
    assert form.result.values["sum"] == Amount(D(38), "in")
    assert quantity(form.inputs["wheelbase"]).to("mm").magnitude == pytest.approx(2540)


# ------------------------------------------------------------------------------------------------------- the list


def test_the_list_by_group_and_by_words(signed_in):
    address = reverse("vehicles:calculators")
    every = signed_in.get(address)
    assert every.status_code == 200
    assert all(html.escape(each.name) in html.unescape(every.text) or each.name in html.unescape(every.text)
               for each in catalogue.calculators().values())  # fmt: skip
    one = signed_in.get(address, {"q": "Wrénch EXTENSION"})
    assert "Torque wrench with an extension" in one.text
    assert "Voltage drop" not in one.text
    none = signed_in.get(address, {"q": "zilpzalp"})
    assert "No calculator speaks of all of “zilpzalp”." in none.text
    long = signed_in.get(address, {"q": "w" * 10_000})
    assert "Give at most 200 characters" in long.text


@pytest.mark.parametrize(
    ("asked", "slug"),
    [
        ("crowfoot", "torque-with-extension"), ("crow-foot", "torque-with-extension"),
        ("Spanner", "torque-at-the-fastener"), ("DTC", "trouble-code"), ("trouble code", "trouble-code"),
        ("dot", "tyre-date-code"), ("toe", "toe-mm-and-degrees"), ("leakdown", "leak-down"),
        ("intercooler", "charge-cooler"),
    ],
)  # fmt: skip
def test_a_calculator_is_found_by_what_else_it_is_called(signed_in, asked, slug):
    """Common practice, no source: the words that a workshop says for these."""
    listed = signed_in.get(reverse("vehicles:calculators"), {"q": asked})
    assert f'/calculators/{slug}/"' in listed.text
    from vehicles.views.calculator import find_calculators

    assert f"/calculators/{slug}/" in [found.url for found in find_calculators(asked, 25)]


def test_the_list_of_a_car_says_what_its_record_fills(signed_in, known, car):
    answer = signed_in.get(reverse("vehicles:car-calculators", args=[car.pk]))
    assert answer.status_code == 200
    assert "No result was kept yet." in answer.text


def test_links_carry_what_the_result_will_be_kept_with(signed_in, car, lead):
    fault = FaultFactory(person=lead, vehicle=car)
    page = signed_in.get(reverse("vehicles:car-calculators", args=[car.pk]), {"fault": str(fault.pk)})
    assert f"/vehicles/{car.pk}/calculators/torque-with-extension/?fault={fault.pk}" in page.text
    assert str(fault) in html.unescape(page.text)
    form = signed_in.get(
        reverse("vehicles:car-calculator", args=[car.pk, "torque-with-extension"]), {"fault": str(fault.pk)}
    )
    assert f'<input type="hidden" name="fault" value="{fault.pk}">' in form.text


def test_what_is_not_of_this_car_is_not_found(signed_in, car, lead):
    other = VehicleFactory.create(person=lead)
    fault, part = FaultFactory(person=lead, vehicle=other), PartFactory(person=lead, vehicle=other)
    address = reverse("vehicles:car-calculators", args=[car.pk])
    for query in (
        {"fault": str(fault.pk)},
        {"part": str(part.pk)},
        {"line": str(fault.pk)},
        {"survey": "not-a-uuid"},
        {"fault": "1" * 5000},
        {"fault": str(fault.pk), "part": str(part.pk)},
    ):
        assert signed_in.get(address, query).status_code == 404


def test_a_stranger_sees_no_car_here(client, car_owner, car):
    client.force_login(car_owner)
    for name, arguments in (
        ("calculators", []),
        ("calculator", ["torque-with-extension"]),
        ("car-calculators", [car.pk]),
        ("car-calculator", [car.pk, "torque-with-extension"]),
    ):
        assert client.get(reverse(f"vehicles:{name}", args=arguments)).status_code == 403


# -------------------------------------------------------------------------------------- what is not on record yet


def test_a_figure_that_is_missing_is_asked_for_and_what_was_typed_comes_back(
    signed_in, every_kind, known, car
):
    address = reverse("vehicles:car-calculator", args=[car.pk, every_kind.slug])
    page = signed_in.get(address, {**FILLED, "friction_value": ""})
    assert [one.key for one in page.context["missing"]] == ["front.pad_friction"]
    back = page.context["back"]
    again = signed_in.get(back)
    assert again.status_code == 200
    assert again.context["record"] is None
    assert not again.context["form"].errors
    for value in ("2500", "12.4", "12,1"):
        assert f'value="{value}"' in again.text
    assert re.search(r'value="gasket"[^>]*checked', again.text)


def test_the_figures_of_one_part_are_asked_for_with_it():
    cable = Number("area", "Cable", "area", "mm2", D("0.1"), D(200), item="cable_section")
    calculator = Calculator("c", "C", "Electrical", "?", (cable,), (), "", (), _work)
    form = forms.CalculatorForm(calculator, known=reads.Known(CarFigures({}), "some-part"))
    from vehicles.views import calculator as views

    assert [one.key for one in views._missing(form, reads.Known(CarFigures({}), "some-part"))] == [
        "cable_section@some-part"
    ]
    assert views._missing(form, reads.Known()) == []


def test_who_may_not_write_figures_is_not_asked(client, front_desk, every_kind, known, car):
    client.force_login(front_desk)
    page = client.get(reverse("vehicles:car-calculator", args=[car.pk, every_kind.slug]))
    assert page.status_code == 200
    assert "missing" not in page.context
