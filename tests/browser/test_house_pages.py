"""The house's own pages in a real browser: nothing on the console, nothing sideways, targets, contrast, paper."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from tests.browser.devices import PHONE, TABLET, Watch, new_page, sign_in
from tests.browser.sweep import BUTTON, LEAST, MEASURE, SIDEWAYS, in_both_themes
from tests.factories.handover import owner_of
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.people import by
from workshop.acts import devices, people
from workshop.models import Device


@pytest.fixture
def addresses(car, lead, technician, shop_owner):
    """Each page with something in every state on it."""
    today = timezone.localdate()
    for days, number in ((12, "HV-1"), (-3, "AB-2"), (None, "LE-3")):
        row = people.add_competence(
            by=by(shop_owner), person=technician, certificate=f"{number}, Tarn Training Hall",
            kind={"HV-1": "high_voltage", "AB-2": "airbags", "LE-3": "lifting"}[number],
            valid_from=today - timedelta(days=400),
            expires_on=today + timedelta(days=days) if days is not None else None,
        )  # fmt: skip
    people.withdraw_competence(
        by=by(shop_owner), competence=row, from_on=today, reason="Refresher not taken."
    )
    tool = ToolFactory(person=lead, calibrated=False)
    CalibrationFactory(
        person=lead, tool=tool, calibrated_on=today - timedelta(days=360), due_on=today + timedelta(days=5)
    )
    device = Device.objects.create(name="Tablet, bay two")
    lost = Device.objects.create(name="Old telephone")
    devices.revoke_device(by=by(lead), device=lost, reason="Lost on a road test.")
    keeper = owner_of(car, lead, name="Zephyrine Kanarell", phone="0177 4455 8899")
    return [
        reverse("workshop:shop"),
        reverse("workshop:shop-change"),
        reverse("workshop:people"),
        reverse("workshop:person", args=[technician.pk]),
        reverse("workshop:person-add"),
        reverse(
            "workshop:competence-withdraw", args=[technician.competences.get(certificate__startswith="HV").pk]
        ),
        reverse("workshop:devices"),
        reverse("workshop:device", args=[device.pk]),
        reverse("workshop:device", args=[lost.pk]),
        reverse("workshop:tools"),
        reverse("workshop:tool", args=[tool.pk]),
        reverse("workshop:calibrations"),
        reverse("workshop:log"),
        f"{reverse('workshop:log')}?act=revoke&day=nonsense",
        reverse("vehicles:keeper-erase", args=[keeper.pk]),
        reverse("workshop:styles"),
    ]


@pytest.mark.parametrize("device", [TABLET, PHONE], ids=["tablet", "phone"])
def test_the_pages_of_the_house(browser, live_server, shop_owner, addresses, device):
    page = new_page(
        browser, live_server.url, **{**device, "device_scale_factor": 1, "reduced_motion": "reduce"}
    )
    watch = Watch(page, live_server.url)
    sign_in(page, shop_owner, live_server.url)
    wrong = []
    for address in addresses:
        page.goto(address)
        said = page.evaluate(SIDEWAYS, device["viewport"]["width"]) + page.evaluate(MEASURE, [LEAST, BUTTON])
        said += in_both_themes(page, device)
        wrong += [f"{address}: {text}" for text in said]
    wrong += watch.complaints
    page.context.close()
    assert not wrong, "\n".join(["", *dict.fromkeys(wrong)])


def test_the_list_of_calibrations_goes_on_paper_whole(browser, live_server, shop_owner, addresses):
    """What is on the screen for hands is not on paper, and no column is cut off."""
    page = new_page(browser, live_server.url, viewport={"width": 680, "height": 960})  # A4 within its margins
    sign_in(page, shop_owner, live_server.url)
    page.goto(reverse("workshop:calibrations"))
    assert page.get_by_role("button", name="Print").is_visible()
    page.emulate_media(media="print")
    for gone in ("header.bar", ".foot", "[data-print]", ".skip"):
        assert not page.locator(gone).first.is_visible(), gone
    table = page.locator("table").bounding_box()
    assert table["x"] + table["width"] <= 681
    assert page.get_by_text("due in 5 days").is_visible()
    page.context.close()
