"""How a calculator says what it is: its inputs, outputs, formula, sources and cautions, once.

A calculator is one file in `calculators/` that holds a pure function on Pint quantities and a `Calculator`.
The form, the view of the result, the print, the command and the kept record are made from that declaration.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from workshop.engineering.errors import EngineeringError
from workshop.engineering.plot import Plot
from workshop.engineering.quantities import Quantity
from workshop.engineering.units import UNITS, Amount, units_of

# Said once on the screen and once on a print.
INFORMS = (
    "A computed value informs. The maker's data, local rules and licensed practice decide, and they come first "
    "wherever they say something else."
)
LOCAL_APPROVAL = (
    "A change of brakes, steering or restraints may need local approval before the car goes on the road."
)

# Names that a calculator's page keeps for its own address: no input may have one.
RESERVED = frozenset(
    {"line", "fault", "part", "survey", "about", "key", "said", "seen", "again", "q", "next", "fill"}
)


class InputErrors(EngineeringError):
    """Inputs that were refused: `errors` maps an input's name to its sentence, "" to one about all of them."""

    def __init__(self, errors: Mapping[str, str]) -> None:
        self.errors = dict(errors)
        super().__init__(" ".join(self.errors.values()))


class Kind(StrEnum):
    """How far a source can be trusted; printed behind it."""

    PUBLISHED = "published"
    FROM_MEMORY = "from memory"
    COMMON_PRACTICE = "common practice"
    MECHANICS = "mechanics"

    @property
    def words(self) -> str:
        return {
            "published": "",
            "from memory": "quoted from memory, not yet compared with the text",
            "common practice": "common practice, no single published source",
            "mechanics": "textbook mechanics",
        }[self]


@dataclass(frozen=True)
class Source:
    """A document, its edition, and where in it. `kind` says whether it was seen."""

    title: str
    where: str = ""
    kind: Kind = Kind.PUBLISHED

    def __str__(self) -> str:
        text = f"{self.title}, {self.where}" if self.where else self.title
        return f"{text} ({self.kind.words})" if self.kind.words else text


@dataclass(frozen=True)
class Assumption:
    """What is taken where nobody knows better, in the input's unit, and the range that it may lie in."""

    value: Decimal
    low: Decimal
    high: Decimal
    because: str


@dataclass(frozen=True)
class Number:
    """A number with a unit. `low` and `high` are in `unit` and inclusive: outside them it is refused in words.

    `item` names what is known of a car (see `items`), such as "wheelbase" or "front.piston_diameter": the form
    is filled from the data sheet and the fitted parts. `factory_item` names one of which the data sheet alone is
    asked, for the side "before" of a comparison. `optional`: the function gets None. `assumed`: left empty, that
    is taken, said so, and the result is worked out at both ends of its range.
    """

    name: str
    label: str
    dimension: str
    unit: str
    low: Decimal
    high: Decimal
    help: str = ""
    units: tuple[str, ...] = ()
    item: str = ""
    optional: bool = False
    whole: bool = False
    assumed: Assumption | None = None
    factory_item: str = ""

    @property
    def unit_codes(self) -> tuple[str, ...]:
        """The units to choose from, the usual one first."""
        codes = self.units or tuple(each.code for each in units_of(self.dimension))
        return (self.unit, *(code for code in codes if code != self.unit))


@dataclass(frozen=True)
class Numbers:
    """Several numbers in one unit: one for each cylinder, a row of readings. The function gets a list of quantities.

    `each` names one of them: "Cylinder" gives "Cylinder 1", "Cylinder 2".
    """

    name: str
    label: str
    dimension: str
    unit: str
    low: Decimal
    high: Decimal
    each: str
    at_least: int = 1
    at_most: int = 60
    help: str = ""
    units: tuple[str, ...] = ()

    @property
    def unit_codes(self) -> tuple[str, ...]:
        codes = self.units or tuple(each.code for each in units_of(self.dimension))
        return (self.unit, *(code for code in codes if code != self.unit))


@dataclass(frozen=True)
class Choice:
    """One of several words. `options` are (code, label); the function gets the code. `usual` is chosen at first."""

    name: str
    label: str
    options: tuple[tuple[str, str], ...]
    help: str = ""
    item: str = ""
    usual: str = ""
    optional: bool = False
    factory_item: str = ""


@dataclass(frozen=True)
class Text:
    """A code or a size as it is written on the thing. The function gets the text, stripped, and refuses it itself."""

    name: str
    label: str
    example: str
    help: str = ""
    item: str = ""
    max_length: int = 40
    optional: bool = False
    factory_item: str = ""


Input = Number | Numbers | Choice | Text


@dataclass(frozen=True)
class Output:
    """A value of the result, shown in `unit`, or in the unit of the input that it `follows`. Without a unit a text."""

    name: str
    label: str
    unit: str | None = None
    main: bool = False
    follows: str = ""


@dataclass(frozen=True)
class Table:
    """Rows of a result that has several: one per cylinder, per deceleration. Cells are texts, ready to show."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass
class Outcome:
    """What a calculator's function answers: quantities or texts by the outputs' names, and what it says of them.

    An output that does not apply is left out. `verdict` is a sentence in words, never "complies" or "illegal".
    `odd` marks a result that needs a hand: it is drawn with a border and a word, not by colour alone.
    """

    values: Mapping[str, Quantity | Amount | str]
    verdict: str = ""
    odd: bool = False
    notes: list[str] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    plots: list[Plot] = field(default_factory=list)


@dataclass(frozen=True)
class Calculator:
    """One calculator. `version` goes up whenever a formula or a table in it changes: a kept result names it.

    `words` are what else people call it: the search finds it by them, they are shown nowhere.
    """

    slug: str
    name: str
    group: str
    question: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    formula: str
    sources: tuple[Source, ...]
    work: Callable[..., Outcome]
    version: int = 1
    cautions: tuple[str, ...] = ()
    local_approval: bool = False
    example: Mapping[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()

    def input(self, name: str) -> Input:
        return next(each for each in self.inputs if each.name == name)


def declared_rightly(calculator: Calculator) -> list[str]:
    """What is wrong with a declaration, in sentences; empty when it is sound. A test asks every calculator."""
    wrong = []
    names = [each.name for each in calculator.inputs] + [each.name for each in calculator.outputs]
    if len(set(names)) != len(names):
        wrong.append("a name is used twice")
    wrong += [
        f"{each.name}: the page needs that name itself" for each in calculator.inputs if each.name in RESERVED
    ]
    for each in calculator.inputs:
        if isinstance(each, Number | Numbers):
            if each.unit not in UNITS or UNITS[each.unit].dimension != each.dimension:
                wrong.append(f"{each.name}: {each.unit} is no unit of {each.dimension}")
            if not each.low < each.high:
                wrong.append(f"{each.name}: its range is empty")
            wrong += [f"{each.name}: {code} is no unit of {each.dimension}" for code in each.unit_codes
                      if code not in UNITS or UNITS[code].dimension != each.dimension]  # fmt: skip
        if not isinstance(each, Numbers) and each.item and each.factory_item:
            wrong.append(
                f"{each.name}: it is filled from the car as it is now or from the factory's, not from both"
            )
        if isinstance(each, Choice) and each.usual and each.usual not in dict(each.options):
            wrong.append(f"{each.name}: what is usual is not among its options")
    wrong += [
        f"{each.name}: unknown unit {each.unit}"
        for each in calculator.outputs
        if each.unit and each.unit not in UNITS
    ]
    if sum(each.main for each in calculator.outputs) != 1:
        wrong.append("exactly one output is the main one")
    if not calculator.sources:
        wrong.append("it names no source")
    return wrong
