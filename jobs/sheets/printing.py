"""What the template of a sheet reads: the data that is hashed, and what only the print has."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.conf import settings
from django.urls import reverse

from jobs.sheets.revisions import SECTIONS
from workshop.sheets import in_groups, qr_svg

TEMPLATE = "sheets/handover.html"


def confirm_address(token: str) -> str:
    return f"{settings.SITE_URL}{reverse('jobs:confirm', args=[token])}"


def sheet_context(
    technical: dict[str, Any],
    personal: dict[str, Any],
    *,
    hashes: tuple[str, str] | None = None,
    token: str = "",
) -> dict[str, Any]:
    """The context of `TEMPLATE`: both parts of the data, and hashes, address and QR code.

    Without a token it is a draft.
    """
    head = technical["sheet"]
    address = confirm_address(token) if token else ""
    return {
        "sheet": {
            "title": head["title"],
            "number": head["number"],
            "revision": head["revision"] if token else None,
            "paper": head["paper"],
            "shop": head["shop"]["name"],
            "created": datetime.fromisoformat(head["issued_at"]),
            "draft": not token,
        },
        "head": head,
        "body": technical["body"],
        "personal": personal,
        "sections": SECTIONS,
        "technical_hash": in_groups(hashes[0]) if hashes else [],
        "personal_hash": in_groups(hashes[1]) if hashes else [],
        "address": address,
        "qr": qr_svg(address, f"QR code of the page that confirms this sheet: {address}") if address else "",
    }
