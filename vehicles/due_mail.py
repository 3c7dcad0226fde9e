"""The due list by e-mail, once a day to whoever asked for it. Called as often as one likes: a day's mail goes once.

Who is written to is claimed in the database first (one row per person and day), so that two that run at the same
moment send one mail. Nothing is sent inside a transaction. What failed is tried again at the next call of that day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from vehicles.due import Due, Period, by_period, day_words, due_list, for_person
from vehicles.models import DueMail, DueReader
from vehicles.models.due import MailState
from workshop import mail
from workshop.models import Person, Shop

TOLD = (Period.OVERDUE, Period.WEEK, Period.MONTH)
# A call that broke off while sending: nobody knows whether it went out, so the day's list is sent again.
BROKEN_OFF = timedelta(hours=1)


@dataclass(frozen=True)
class Letter:
    subject: str
    text: str
    keys: list[str]


@dataclass
class Sent:
    sent: int = 0
    nothing: int = 0
    already: int = 0
    failed: int = 0


def send_all(now: datetime, tell: Callable[[str], None] = lambda sentence: None) -> Sent:
    """Write to everybody who wants it and was not written to today. `tell` is given a sentence for each failure."""
    today = timezone.localdate(now)
    found = Sent()
    shop: list[Due] | None = None
    readers = DueReader.objects.filter(wants_mail=True, person__is_active=True).select_related("person")
    written = set(DueMail.objects.filter(day=today, state=MailState.SENT).values_list("person", flat=True))
    for reader in readers.order_by("person__name"):
        if reader.person_id in written:
            found.already += 1
            continue
        if reader.person.is_staff_member and shop is None:
            shop = due_list()
        letter = letter_for(reader.person, today, for_person(reader.person, shop))
        if not letter.keys and not reader.also_when_nothing:
            found.nothing += 1
            continue
        row = _claim(reader.person, today, now)
        if row is None:
            found.already += 1
            continue
        trouble = _send(reader.person, letter)
        row.state = MailState.FAILED if trouble else MailState.SENT
        row.trouble, row.said, row.changed_at = trouble[:300], letter.keys, timezone.now()
        row.save(update_fields=["state", "trouble", "said", "changed_at"])
        if trouble:
            found.failed += 1
            tell(f"{reader.person}: {trouble}")
        else:
            found.sent += 1
    return found


def _send(person: Person, letter: Letter) -> str:
    if not person.email:
        return "No e-mail address is on record. Write it down under Shop, People."
    return mail.send(to=person.email, subject=letter.subject, text=letter.text)


def _claim(person: Person, day: date, now: datetime) -> DueMail | None:
    """The day's row of a person, now ours to send; None where another call has it, or has sent it."""
    try:
        with transaction.atomic():
            return DueMail.objects.create(person=person, day=day, state=MailState.SENDING, changed_at=now)
    except IntegrityError:
        row = DueMail.objects.get(person=person, day=day)
    if row.state == MailState.SENT or (row.state == MailState.SENDING and row.changed_at > now - BROKEN_OFF):
        return None
    same = DueMail.objects.filter(pk=row.pk, state=row.state, tries=row.tries, changed_at=row.changed_at)
    if not same.update(state=MailState.SENDING, tries=row.tries + 1, changed_at=now):
        return None
    row.refresh_from_db()
    return row


def letter_for(person: Person, today: date, rows: list[Due]) -> Letter:
    """What is overdue and what comes in the next month, what of it is new since the last e-mail; the rest counted."""
    groups = dict(by_period(rows, today))
    last = DueMail.objects.filter(person=person, state=MailState.SENT, day__lt=today).order_by("-day").first()
    before = set(last.said) if last else None
    told = [(period, groups[period]) for period in TOLD if period in groups]
    keys = [due.key for _, dues in told for due in dues]
    new = set() if before is None else set(keys) - before
    lines = [f"{Shop.current().name or 'The workshop'}: what is due on {day_words(today)}", ""]
    if last is not None and keys:
        count = f"{len(new)} new" if new else "Nothing new"
        lines += [f"{count} since the list of {day_words(last.day)}.", ""]
    if not keys:
        lines += ["Nothing is overdue, and nothing comes due in the next 31 days.", ""]
    for period, dues in told:
        lines.append(f"{period.label} ({len(dues)})")
        for due in dues:
            mark = "NEW: " if due.key in new else ""
            how = f" ({due.severity})" if due.severity else ""
            lines.append(f"- {mark}{due.whose}: {due.title}{how}")
            lines += [f"  {text}" for text in (due.words, due.why) if text]
        lines.append("")
    for period, say in ((Period.LATER, "come due later"), (Period.UNKNOWN, "are due nobody knows when")):
        if period in groups:
            lines.append(f"{len(groups[period])} more {say}.")
    whole = reverse("vehicles:due") if person.is_staff_member else reverse("vehicles:my-cars")
    if settings.SITE_URL:
        lines += [
            "",
            f"The whole list: {settings.SITE_URL}{whole}",
            f"No more of these e-mails: {settings.SITE_URL}{reverse('vehicles:due-mine')}",
        ]
    overdue = len(groups.get(Period.OVERDUE, ()))
    subject = f"Due: {overdue} overdue, {len(keys) - overdue} in the next 31 days" if keys else "Due: nothing"
    return Letter(subject, "\n".join(lines) + "\n", keys)
