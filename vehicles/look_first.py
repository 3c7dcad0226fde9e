"""What should be looked into first, and why: one rule, computed from what a survey says. Pure; reads nothing.

The order is this shop's way of working, common practice, no source:

1. what an open fault or outstanding item calls dangerous;
2. what brakes, steers, carries the wheels or restrains people, where it is not the factory's or nobody knows;
3. the rest of what is not the factory's or not known.

Within each: the more severe fault first (what nobody has judged yet stands between minor and advice), then a defective
part, then what is less sure, then the order of the walk.
The reason is written out with each, so that nobody has to know the rule to follow it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from vehicles.models import Confidence, Provenance, Severity, Zone
from vehicles.models.part import Condition
from vehicles.models.survey import SurveyFinding

# Zones of which every place brakes, steers, springs or rolls; elsewhere the place itself says so.
SAFETY_ZONES = {
    Zone.BRAKES: "it brakes the car",
    Zone.FRONT_AXLE: "it steers and carries the front of the car",
    Zone.REAR_AXLE: "it carries the rear of the car",
    Zone.WHEELS: "the car rolls on it",
    Zone.CABIN: "people are held by it",
    Zone.INDUCTION: "it holds or carries fuel",
    Zone.ELECTRICAL: "it can be under high voltage",
    Zone.REAR: "what is towed or carried behind hangs on it",
    Zone.CONVERSION: "load, gas or people depend on it",
    Zone.UNDERSIDE: "brake and fuel lines, lifting and strength depend on it",
    Zone.BODY: "the strength of the car depends on it",
}
_WHOLE = (Zone.BRAKES, Zone.FRONT_AXLE, Zone.REAR_AXLE, Zone.WHEELS)
_ASKS = (SurveyFinding.NOT_FACTORY, SurveyFinding.OPEN)


@dataclass(frozen=True)
class Raised:
    """An open fault or outstanding item: its number (F3, O2), how severe, what it says, where it is read."""

    number: str
    severity: str
    title: str
    url: str = ""


@dataclass(frozen=True)
class Finding:
    """What a survey says of one place (or several positions of it), as far as the rule looks at it.

    `finding` is "" where the survey said nothing; `order` is its place in the walk.
    """

    where: str
    zone: str
    order: int
    safety: bool = False
    finding: str = ""
    what: str = ""
    question: str = ""
    provenance: str = ""
    confidence: str = ""
    condition: str = ""
    condition_note: str = ""
    follows: str = ""
    raised: tuple[Raised, ...] = ()
    url: str = ""


@dataclass(frozen=True)
class First:
    """One line of the answer: `rank` 1 to 3 is the group of the rule, `why` is written for a reader."""

    rank: int
    finding: Finding
    why: str
    raised: tuple[Raised, ...] = field(default=())


def look_first(findings: Iterable[Finding]) -> list[First]:
    """What should be looked into, in order, each with its reason. What is as the factory made it, could not be seen
    or is not there is only named where something dangerous stands open on it."""
    ranked = [(rank, one) for one in findings if (rank := _rank(one))]
    ranked.sort(key=lambda pair: (pair[0], *_within(pair[1])))
    return [First(rank, one, _why(rank, one), one.raised) for rank, one in ranked]


def _rank(one: Finding) -> int:
    if any(row.severity == Severity.DANGEROUS for row in one.raised):
        return 1
    if one.finding not in _ASKS:
        return 0
    return 2 if _is_safety(one) else 3


def _is_safety(one: Finding) -> bool:
    return one.safety or one.zone in _WHOLE


def _worst(one: Finding) -> float:
    """Not judged yet may turn out to be anything: before what was looked at and found to be advice."""
    not_judged = Severity.ADVICE.rank - 0.5
    return min((Severity(row.severity).rank for row in one.raised), default=not_judged)


def _within(one: Finding) -> tuple:
    sureness = [Confidence.OPEN, Confidence.LIKELY, Confidence.CONFIRMED]
    unsure = one.finding == SurveyFinding.OPEN or not one.confidence
    return (
        _worst(one),
        one.condition != Condition.DEFECTIVE,
        0 if unsure else sureness.index(Confidence(one.confidence)),
        one.order,
    )


def _why(rank: int, one: Finding) -> str:
    said = []
    if rank == 1:
        worst = [row for row in one.raised if row.severity == Severity.DANGEROUS]
        said.append(f"{' and '.join(row.number for row in worst)}: judged dangerous, and still open")
    elif one.raised:
        worst = min(one.raised, key=lambda row: Severity(row.severity).rank)
        said.append(f"{worst.number}: judged {worst.severity}, and still open")
    if rank == 2 or (rank == 1 and _is_safety(one)):
        said.append(SAFETY_ZONES.get(one.zone, "people's safety depends on it"))
    if one.finding in _ASKS:
        said.append(_what_is_known(one))
    if one.condition == Condition.DEFECTIVE:
        said.append("the part is defective" + (f" ({one.condition_note})" if one.condition_note else ""))
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith("?") else ".")


def _ended(question: str) -> str:
    return question.strip().rstrip(".")


def _what_is_known(one: Finding) -> str:
    if one.question and not one.what:
        return f"open question: {_ended(one.question)}"
    if one.provenance == Provenance.UNKNOWN:
        return "nobody knows where the part comes from"
    if one.finding == SurveyFinding.OPEN:
        return "it is an open question" + (f": {_ended(one.question)}" if one.question else "")
    return {
        Confidence.CONFIRMED: "it is proven not to be the factory's",
        Confidence.LIKELY: "not the factory's; where it comes from is likely, not proven",
    }.get(one.confidence, "not the factory's; nothing proves yet where it comes from")


def settles(one: Finding, best_evidence: str = "") -> str:
    """What would settle an open question, in words."""
    if not one.what:
        return "An answer to the question, then the place is spoken of again."
    if one.provenance == Provenance.UNKNOWN:
        return (
            "Where the part comes from: a number or casting mark read off it, an invoice, or the maker's or "
            "supplier's word."
        )
    if not best_evidence:
        return (
            "Any evidence: a number or mark read off the part, a build record, an invoice, a known original."
        )
    return (
        "Stronger evidence: a number read off the part, a build record, the maker's word, a known original."
    )
