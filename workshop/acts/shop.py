"""Acts on the shop's own settings."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from workshop.acting import By, act, note, save_changes
from workshop.models import EventDetail, Shop
from workshop.permissions import May


def check_currency(currency: str) -> None:
    if not (len(currency) == 3 and currency.isascii() and currency.isalpha()):
        raise ValidationError("Give the three letters of the currency, such as EUR.")


@act(May.EDIT_SHOP)
def change_shop(*, by: By, seen_version: int, **fields) -> Shop:
    """Change the shop's name, units, tolerance, rule of decision and limits. Earlier records keep theirs."""
    shop = Shop.current()
    currency = fields.get("currency", shop.currency)
    try:
        check_currency(currency)
    except ValidationError as refusal:
        raise ValidationError({"currency": refusal.messages}) from refusal
    fields["currency"] = currency.upper()
    changes = save_changes(shop, seen_version=seen_version, **fields)
    told = {name: changes.pop(name) for name in ("name", "address", "phone", "email") if name in changes}
    note(shop, facts={"changes": changes}, words=told)
    return shop


@act(May.ERASE)
def erase_words(*, by: By, detail: EventDetail, reason: str) -> EventDetail:
    """Erase the personal words of one event. The chain keeps their salted hash and stays whole."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why these words are erased."})
    if detail.erased_at is None:
        detail.words, detail.salt, detail.erased_at = "", "", by.made_at
        detail.save(update_fields=["words", "salt", "erased_at"])
    note(detail, facts={"event": detail.event_id}, words={"reason": reason})
    return detail
