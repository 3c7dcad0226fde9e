"""Signing in the tests: drawings as the field on the screen sends them, and both steps of handing over by form."""

from __future__ import annotations

import html
import json
import math
import re
from uuid import uuid4


def drawing(seed: int = 0, points: int = 60) -> str:
    """A wave with a stroke across: what a hand could have drawn, as text."""
    wave = []
    for number in range(points):
        wave += [300 + number * 20, round(350 + 200 * math.sin(number / 4 + seed))]
    return json.dumps([wave, [300, 200, 600, 180, 900, 160]])


def leaving_form(keeper, **fields) -> dict:
    """What somebody types on the handover page."""
    return {
        "key": str(uuid4()),
        "odometer_value": "148223",
        "odometer_unit": "km",
        "collected_by": str(keeper.pk),
        "identified_by": "known by sight",
        "left_how": "driven",
        "keys_returned": "2",
        "told": "Pads run in gently <b>for</b> 200 km.",
        **fields,
    }


def hand_over(client, url: str, typed: dict, **signing):
    """Send both steps, as a browser does; answers the last response. Without `signing` both sign on paper later."""
    page = client.post(url, typed)
    assert page.status_code == 200, page.context["form"].errors
    return sign(client, url, typed, page, **signing)


def sign(client, url: str, typed: dict, page, **signing):
    """Send the second step from the page that shows the sheet."""
    sent = {
        "step": "sign",
        "shown": shown_on(page),
        "lead_signs": "paper",
        "collector_signs": "paper",
        **signing,
    }
    return client.post(url, {**typed, **sent})


def shown_on(page) -> str:
    """What the page says was shown. Read from its text: a test client's contexts are those of all threads."""
    return html.unescape(re.search(r'<textarea name="shown">([^<]*)</textarea>', page.content.decode())[1])
