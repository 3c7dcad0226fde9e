"""What the template of a sheet reads: the data that is hashed, and what only the print has."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.conf import settings
from django.urls import reverse

from jobs.sheets.revisions import SECTIONS
from workshop.sheets import Printed, in_groups, lay_out, qr_svg

TEMPLATE = "sheets/handover.html"


def confirm_address(token: str) -> str:
    return f"{settings.SITE_URL}{reverse('vehicles:confirm', args=[token])}"


def sheet_context(
    technical: dict[str, Any],
    personal: dict[str, Any],
    *,
    hashes: tuple[str, str] | None = None,
    token: str = "",
    signed: dict[str, dict[str, Any]] | None = None,
) -> dict[str, Any]:
    """The context of `TEMPLATE`: both parts of the data, and hashes, address, QR code and signatures.

    Without hashes it is a draft; without a token it is not issued yet, and has no code. `signed` is what `jobs.signing.printed` answers: what was signed is the data, so
    the signatures stand beside it.
    """
    head = technical["sheet"]
    address = confirm_address(token) if token else ""
    return {
        "sheet": {
            "title": head["title"],
            "number": head["number"],
            "revision": head["revision"] if hashes else None,
            "paper": head["paper"],
            "shop": head["shop"]["name"],
            "created": datetime.fromisoformat(head["issued_at"]),
            "draft": not hashes,
        },
        "head": head,
        "body": technical["body"],
        "personal": personal,
        "sections": SECTIONS,
        "technical_hash": in_groups(hashes[0]) if hashes else [],
        "personal_hash": in_groups(hashes[1]) if hashes else [],
        "signed": signed or {},
        "address": address,
        "qr": qr_svg(address, f"QR code of the page that confirms this sheet: {address}") if address else "",
    }


def print_sheet(
    technical: dict[str, Any],
    personal: dict[str, Any],
    *,
    hashes: tuple[str, str],
    token: str,
    signed: dict[str, dict[str, Any]] | None = None,
) -> Printed:
    """The PDF of an issued sheet. A small visit goes on one page, with a line to cut where its parts come apart.

    Set once more where both parts have a page each, to see whether one page holds them.
    """
    context = sheet_context(technical, personal, hashes=hashes, token=token, signed=signed)
    paper = technical["sheet"]["paper"]
    whole = lay_out(TEMPLATE, context, paper)
    if whole.pages == 2 and not personal.get("erased"):
        short = lay_out(TEMPLATE, {**context, "one_page": True}, paper)
        if short.pages == 1:
            return short.printed()
    return whole.printed()
