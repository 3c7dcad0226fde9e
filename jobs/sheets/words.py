"""How a sheet says days, moments, money and addresses."""

from __future__ import annotations

import re
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone
from django.utils.formats import date_format


def day_of(moment: datetime) -> date:
    return timezone.localtime(moment).date()


def in_days(moment: datetime) -> str:
    return date_format(day_of(moment), "j M Y")


def in_minutes(moment: datetime) -> str:
    return date_format(timezone.localtime(moment), "j M Y H:i")


def closed(text: str) -> str:
    """A sentence with its full stop, so that another may follow it."""
    text = text.strip()
    return text if not text or text[-1] in ".!?…" else f"{text}."


def first_sentence(text: str) -> str:
    """Of what somebody typed: up to the first full stop before a space, or the first line's end."""
    return re.split(r"(?<=[.!?])\s+(?=[A-Z])|\n", text.strip(), maxsplit=1)[0].strip()


def money(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:.2f}"


def on_one_line(address: str) -> str:
    return ", ".join(line.strip(" ,") for line in address.splitlines() if line.strip())


def lower_first(text: str) -> str:
    return f"{text[:1].lower()}{text[1:]}"
