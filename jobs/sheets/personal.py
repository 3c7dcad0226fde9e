"""The page that can be taken off: people, their words, what they answered and were told, and the money."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db.models import Prefetch
from django.utils import timezone

from jobs.models import Handover, Job, LabourEntry, LineAnswer, PartUsed, WorkLine
from jobs.models.work import LineKind, time_words
from jobs.sheets.words import day_of, in_days, lower_first, money, on_one_line
from vehicles.models import FaultEnd, KeeperPart, VehicleKeeper
from vehicles.models.fault import FaultKind
from workshop.models import Shop


def personal(job: Job, currency: str) -> dict[str, Any]:
    handover: Handover | None = getattr(job, "handover", None)
    check_in = getattr(job, "check_in", None)
    return {
        "people": _people(job, handover, check_in),
        "words": job.complaint,
        "faults": [
            {"title": fault.title, "words": fault.words}
            for fault in job.faults.filter(kind=FaultKind.COMPLAINT).order_by("order")
            if fault.words and fault.end != FaultEnd.ERROR
        ],
        "tellings": [
            {
                "item": telling.item.title,
                "to": telling.told_to.name,
                "how": telling.get_channel_display(),
                "when": in_days(telling.made_at),
                "told": telling.told,
                "answer": telling.get_answer_display(),
                "words": telling.answer_words,
                "witness": str(telling.witness or ""),
            }
            for telling in job.tellings.select_related("item", "told_to", "witness").order_by(
                "made_at", "item__order"
            )
        ],
        "collection": {
            "by": handover.collected_by.name,
            "known": handover.identified_by,
            "because": handover.collects_because,
            "told": handover.told,
        }
        if handover
        else None,
        "belongings": check_in.belongings if check_in else "",
        "prices": _prices(job, currency),
    }


def _people(job: Job, handover: Handover | None, check_in) -> list[dict[str, Any]]:
    day = day_of(handover.made_at) if handover else timezone.localdate()
    holders = (
        VehicleKeeper.objects.on(day)
        .filter(vehicle=job.vehicle_id, part__in=[KeeperPart.OWNER, KeeperPart.REGISTERED_KEEPER])
        .select_related("keeper")
        .order_by("part", "keeper__name", "pk")
    )
    # One person often plays several parts: named once, with all of them.
    played: dict[Any, tuple[Any, list[str], bool]] = {}
    for label, keeper, holds in (
        *((row.get_part_display(), row.keeper, True) for row in holders),
        ("Pays", job.payer, False),
        ("May authorise", job.authoriser, False),
        ("Brought the car", check_in.brought_by if check_in else None, False),
        ("Collected the car", handover.collected_by if handover else None, False),
    ):
        if keeper is not None:
            played.setdefault(keeper.pk, (keeper, [], holds))[1].append(label)
    return [
        {
            "part": ", ".join([labels[0], *(lower_first(label) for label in labels[1:])]),
            **(_person(keeper) if holds else {"name": keeper.name}),
        }
        for keeper, labels, holds in played.values()
    ]


def _person(keeper) -> dict[str, Any]:
    return {
        "name": keeper.name,
        "address": on_one_line(keeper.address),
        "phone": keeper.phone,
        "email": keeper.email,
    }


def _prices(job: Job, currency: str) -> dict[str, Any]:
    """What was answered to each line and what it costs.

    `answered` says by whom, how and when, once, where that is alike for all answers; else each answer says it.
    """
    lines = list(
        job.lines.order_by("order").prefetch_related(
            Prefetch("answers", LineAnswer.objects.select_related("by").order_by("answered_at", "made_at")),
            Prefetch("parts_used", PartUsed.objects.counting().order_by("made_at")),
            Prefetch("labour", LabourEntry.objects.counting()),
        )
    )
    said = [_given(row) for line in lines for row in line.answers.all()]
    answered = said[0] if len(said) > 1 and len(set(said)) == 1 else ""
    rows, total = [], Decimal(0)
    for line in lines:
        row, amount = _price(line, alike=bool(answered))
        if row is not None:
            rows.append(row)
            total += amount
    return {
        "currency": currency,
        "answered": answered,
        "lines": rows,
        "total": money(total),
        "tax": Shop.current().tax_note,
    }


def _price(line: WorkLine, *, alike: bool) -> tuple[dict[str, Any] | None, Decimal]:
    """One line of the table (None where there is nothing to say) and what it adds to the total."""
    minutes = sum(entry.minutes for entry in line.labour.all())
    parts, answers = list(line.parts_used.all()), list(line.answers.all())
    begun = bool(line.done_at or minutes or parts)
    if not begun and not answers:
        return None, Decimal(0)
    amount = Decimal(0)
    if begun and line.billable:
        # An estimate is no price: of what is not done only what it has cost so far counts.
        amount = (line.amount if line.done_at else line.cost) or Decimal(0)
    row = {
        "line": f"{line.order} {line.complaint}",
        "answers": [
            {
                "answer": answer.get_answer_display(),
                "given": "" if alike else _given(answer),
                "up_to": money(answer.amount),
                "words": answer.words,
            }
            for answer in answers
        ],
        "covered": {
            LineKind.DIAGNOSIS: "Within what was agreed without asking",
            LineKind.MAKE_SAFE: "Making safe needs no answer",
        }.get(line.kind, "")
        if not answers
        else "",
        "labour": time_words(minutes) if minutes else "",
        "amount": money(amount) if begun else "",
        # Of what was declined or put off: what it would have cost, outside the total.
        "estimate": money(line.estimate) if not begun else "",
        "note": "not finished" if begun and not line.done_at else "",
        "unbilled": begun and not line.billable,
        "parts": [
            {
                "what": str(used),
                "number": used.part_number,
                "price": "your own part" if used.own_part else money(used.total),
            }
            for used in parts
        ],
    }
    return row, amount


def _given(answer: LineAnswer) -> str:
    return (
        f"{answer.by.name}, {lower_first(answer.right)}, {lower_first(answer.get_channel_display())}, "
        f"{in_days(answer.answered_at)}"
    )
