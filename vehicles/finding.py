"""Finding something by what a person types: each subject adds its finder, so that this room need not know those above.

A finder asks a fixed number of queries and answers at most `most` rows; texts are folded here and not by the database
(see `vehicles.folding`), so that both databases find the same. Wildcards of SQL are letters like any other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from vehicles.folding import MOST_ASKED, folded, squeezed, too_long_to_search
from workshop.engineering.identity import is_full_vin, normalise_number

LEAST_ASKED = 2
MOST_WHILE_TYPING = 5
MOST_ON_THE_PAGE = 25
# What is shorter is a plate, what is longer a chassis number: the form it is carried to lets one move it.
_LONGEST_PLATE = 8


@dataclass(frozen=True)
class Found:
    """One thing found. `plain` stands before the title and is read character by character: a plate, a job number."""

    title: str
    url: str
    detail: str = ""
    plain: str = ""
    warning: str = ""
    past: bool = False


@dataclass(frozen=True)
class Finder:
    order: int
    label: str
    find: Callable[[str, int], list[Found]]
    all_url: str = ""


@dataclass
class Group:
    """What one finder found. `more`: there is more than is shown."""

    label: str
    rows: list[Found]
    more: bool = False


@dataclass
class Answer:
    """`sentence` says why nothing was looked for; `new_car` is the query string for the form of a new car."""

    asked: str
    groups: list[Group] = field(default_factory=list)
    sentence: str = ""
    new_car: dict[str, str] = field(default_factory=dict)

    @property
    def count(self) -> int:
        return sum(len(group.rows) for group in self.groups)

    @property
    def words(self) -> str:
        """How much was found, for who does not see the list."""
        if self.sentence:
            return self.sentence
        more = " or more" if any(group.more for group in self.groups) else ""
        return f"{self.count}{more} found" if self.count else "Nothing found"


_finders: dict[str, Finder] = {}


def add_finder(order: int, label: str, find: Callable[[str, int], list[Found]]) -> None:
    """`find(text, most)` answers what is found, best first; called beside the views of the subject."""
    _finders[label] = Finder(order, label, find)


def find(text: str, most: int = MOST_WHILE_TYPING) -> Answer:
    """What is found, by subject. Too short or too long a text is answered with a sentence and looked for nowhere."""
    answer = Answer(text.strip())
    if too_long_to_search(answer.asked):
        answer.sentence = (
            f"That is too long to search for: give at most {MOST_ASKED} characters, such as a name or a part of "
            "the plate."
        )
        return answer
    if len(folded(answer.asked)) < LEAST_ASKED:
        answer.sentence = (
            f"Type at least {LEAST_ASKED} characters of a plate, a number, a name or a job."
            if answer.asked
            else ""
        )
        return answer
    for finder in sorted(_finders.values(), key=lambda each: each.order):
        rows = finder.find(answer.asked, most + 1)
        if rows:
            answer.groups.append(Group(finder.label, rows[:most], len(rows) > most))
    answer.new_car = as_a_new_car(answer.asked)
    return answer


def as_a_new_car(text: str) -> dict[str, str]:
    """Where on the form of a new car this text belongs: the number, the plate, or nowhere (a name, some words)."""
    key = squeezed(text)
    if not any(char.isdigit() for char in key):
        return {}
    if is_full_vin(normalise_number(text)) or len(key) > _LONGEST_PLATE:
        return {"number": text} if len(text) <= 60 else {}
    return {"plate": text.upper()}
