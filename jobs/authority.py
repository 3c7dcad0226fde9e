"""Work needs authority: may anything be done on this line, and if not, why not. Reads only."""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db.models import F, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format

from jobs.models import Job, WorkLine
from jobs.models.work import LineAnswerKind, LineKind
from workshop.acting import By
from workshop.models import Competence, CompetenceKind, Shop
from workshop.templatetags.shop import money

ZERO = Decimal("0.00")


def in_money(amount: Decimal | None) -> str:
    """An amount with the shop's currency, for a sentence: one query."""
    return money(amount or ZERO, Shop.current().currency)


def diagnosis_total(job: Job) -> Decimal:
    """What the job's diagnosis costs as far as nobody said yes to it by itself: it must fit within the limit.

    Lines that were dropped, or declined or deferred before they were done, cost nothing. One query.
    """
    return (
        WorkLine.objects.filter(job=job, kind=LineKind.DIAGNOSIS, dropped_because="")
        .exclude(answer=LineAnswerKind.YES)
        .exclude(answer__in=[LineAnswerKind.NO, LineAnswerKind.LATER], done_at=None)
        .aggregate(total=Sum(Coalesce(F("cost"), F("estimate"), ZERO)))["total"]
        or ZERO
    )


def why_no_authority(line: WorkLine) -> str:
    """Why nothing may be done on this line yet, in words with what to do; empty when it may.

    Making safe always may: it is limited to immobilising, securing and preventing harm. Diagnosis may while the
    diagnosis of the whole job stays within "up to this much without asking".
    """
    if line.answer == LineAnswerKind.YES or line.kind == LineKind.MAKE_SAFE:
        return ""
    if line.answer == LineAnswerKind.NO:
        return "The owner declined this line. Nothing is done on it before their yes is recorded."
    if line.answer == LineAnswerKind.LATER:
        return "The owner put this line off. Nothing is done on it before their yes is recorded."
    if line.kind == LineKind.DIAGNOSIS:
        return _why_not_within_the_limit(line)
    if line.estimate is None:
        return "This line is not authorised. Estimate it, ask the owner, and record the answer first."
    return (
        f"This line is not authorised: it was estimated at {in_money(line.estimate)} and the owner has not "
        "answered. Record the answer first."
    )


def _why_not_within_the_limit(line: WorkLine) -> str:
    limit = line.job.limit
    if line.amount is None and limit == 0:
        return (
            "Nothing was agreed without asking on this job. Estimate this diagnosis (0 where it is free), "
            "and record the owner's answer."
        )
    total = diagnosis_total(line.job)
    if total > limit:
        return (
            f"The diagnosis on this job comes to {in_money(total)}; {in_money(limit)} was agreed without asking. "
            "Record the owner's answer to this line first."
        )
    return ""


def why_above_authority(line: WorkLine) -> str:
    """Why the owner must be asked again: both amounts. Empty when what it costs is within what was agreed."""
    if line.above_authority:
        return (
            f"This line now costs {in_money(line.amount)}; {in_money(line.authorised_amount)} was authorised. "
            "Ask again and record the answer."
        )
    return ""


def why_not_qualified(line: WorkLine, by: By) -> str:
    """Why the work needs somebody else, or a name: the competence, and who holds it on that day."""
    if not line.competence:
        return ""
    label = CompetenceKind(line.competence).label.lower()
    if line.qualified is None:
        return (
            f"This line needs a competence ({label}): name who holds it. {holders_words(line.competence, by)}"
        )
    return why_competence_refused(line.competence, line.qualified, by)


def why_competence_refused(kind: str, held: Competence, by: By) -> str:
    label = CompetenceKind(kind).label.lower()
    day = date_format(by.day)
    if held.kind != kind:
        why = f"{held.person} holds {held.get_kind_display().lower()} by this certificate, not {label}."
    elif held.valid_from > by.day:
        why = (
            f"The certificate of {held.person} for {label} is valid from {date_format(held.valid_from)} only."
        )
    elif held.expires_on and held.expires_on < by.day:
        why = f"The certificate of {held.person} for {label} expired on {date_format(held.expires_on)}."
    elif held.withdrawn_on and held.withdrawn_on <= by.day:
        why = (
            f"The certificate of {held.person} for {label} was withdrawn on {date_format(held.withdrawn_on)}."
        )
    else:
        return ""
    return f"{why} On {day} that is not enough. {holders_words(kind, by)}"


def holders_words(kind: str, by: By) -> str:
    """Who holds a competence on the day: one query."""
    held = (
        Competence.objects.filter(kind=kind, person__is_active=True).valid_on(by.day).select_related("person")
    )
    names = sorted({str(row.person) for row in held})
    if not names:
        return f"Nobody in the shop holds it on {date_format(by.day)}."
    return f"On {date_format(by.day)} it is held by {', '.join(names)}."


def require_authority(line: WorkLine, by: By) -> None:
    """Refuse in words when nothing may be done on this line: no yes, a cost above it, a competence without its holder.

    Call it inside an act, on the line as it stands on record (see `jobs.lines.lock_line`).
    """
    if line.dropped_because:
        raise ValidationError("This line was dropped. Reopen it with a reason first.", code="line_dropped")
    if why := why_no_authority(line):
        raise ValidationError(why, code="no_authority")
    # Diagnosis has the job's limit, making safe prevents harm: neither stops for an amount.
    if line.kind in (LineKind.REPAIR, LineKind.SERVICE) and (why := why_above_authority(line)):
        raise ValidationError(why, code="above_authority")
    if why := why_not_qualified(line, by):
        raise ValidationError(why, code="not_qualified")


def words(line: WorkLine, currency: str, limit_total: Decimal | None = None) -> str:
    """The state of a line's authority in one sentence, for the screens. No query.

    `limit_total` is `diagnosis_total` of the job where the caller has it.
    """
    amount = money(line.amount, currency)
    match line.answer:
        case LineAnswerKind.YES if line.above_authority:
            return (
                f"Costs {amount} now, authorised up to {money(line.authorised_amount, currency)}: ask again"
            )
        case LineAnswerKind.YES:
            return f"Authorised up to {money(line.authorised_amount, currency)}"
        case LineAnswerKind.NO:
            return "Declined"
        case LineAnswerKind.LATER:
            return "Deferred"
    if line.kind == LineKind.MAKE_SAFE:
        if line.told_owner_at is None:
            return "Needs no yes, not charged; the owner is to be told the same day"
        return f"Needs no yes, not charged; the owner was told on {_day(line.told_owner_at)}"
    if line.kind == LineKind.DIAGNOSIS:
        limit, total = money(line.job.limit, currency), limit_total or line.amount or ZERO
        if total > line.job.limit:
            return (
                f"Above the limit: diagnosis comes to {money(total, currency)}, agreed without asking {limit}"
            )
        if line.job.limit or line.amount is not None:
            return f"Covered by the limit of {limit}" if line.job.limit else "Free of charge"
        return "Not estimated yet, and nothing was agreed without asking"
    return f"Estimated at {amount}, waiting for the owner's answer" if amount else "Not estimated yet"


def _day(moment) -> str:
    return date_format(timezone.localtime(moment).date())
