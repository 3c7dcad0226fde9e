"""Template filters of the shop; loaded in every template."""

from __future__ import annotations

import re
from decimal import Decimal

from django import template
from django.conf import settings

from workshop.engineering.units import Amount, show
from workshop.permissions import May

register = template.Library()


@register.filter
def may(person, what: str) -> bool:
    """`{% if user|may:"CHECK_IN" %}`: reads the same table as the acts."""
    return bool(getattr(person, "is_authenticated", False)) and person.may(May[what])


@register.simple_tag
def site_address() -> str:
    """The shop's own address, which stands on its labels; empty where it is not set."""
    return settings.SITE_URL


@register.filter
def amount(value, unit: str) -> str:
    """`{{ reading.value|amount:"N.m" }}`: a number with its unit, rounded for reading."""
    return "" if value is None else show(Amount(Decimal(value), unit))


@register.filter
def plain(value):
    """A decimal without the zeros that the database adds."""
    if isinstance(value, Decimal):
        text = format(value, "f")
        return text.rstrip("0").rstrip(".") if "." in text else text
    return "" if value is None else value


@register.filter
def phone_link(number: str) -> str:
    """`tel:{{ shop.phone|phone_link }}`: only what can be dialled."""
    return re.sub(r"[^\d+]", "", str(number or ""))


@register.filter
def money(value, currency: str = "") -> str:
    return "" if value is None else f"{Decimal(value):.2f} {currency}".strip()
