"""The owner makes a link on the telephone, a stranger opens it, the owner sees that and ends it, the stranger is told."""

from __future__ import annotations

from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.devices import PHONE, Watch, new_page, sign_in
from tests.factories.handover import owner_of
from tests.factories.outstanding import ItemFactory
from tests.people import PASSWORD, by
from vehicles.acts import keeper as keepers


def fits(page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_from_the_owners_hand_to_a_strangers_and_back(browser, phone, live_server, car, lead, front_desk):
    keeper = owner_of(car, front_desk)
    owner = keepers.open_account(by=by(front_desk), keeper=keeper, sign_in_name="ashby", password=PASSWORD)
    ItemFactory(person=lead, vehicle=car, title="Hose weeps")
    sign_in(phone, owner, live_server.url)
    phone.goto(reverse("vehicles:my-car", args=[car.pk]))
    phone.get_by_role("link", name="Make a share link").tap()
    phone.get_by_label("Who is the link for").fill("for the buyer")
    faults = phone.get_by_role("checkbox", name="Faults and complaints")
    expect(faults).to_be_checked()
    expect(phone.get_by_role("checkbox", name="What it cost")).not_to_be_checked()
    faults.uncheck()
    assert fits(phone)
    phone.get_by_role("button", name="Preview").tap()
    expect(phone.get_by_role("heading", name="This is what the reader will see")).to_be_visible()
    expect(phone.get_by_text("Hose weeps").first).to_be_visible()
    assert fits(phone)
    phone.get_by_role("button", name="Make the link").tap()
    expect(phone.get_by_role("heading", name="The link is made")).to_be_visible()
    assert fits(phone)
    for name in ("Copy the address", "All links to this car"):
        assert phone.get_by_text(name, exact=True).bounding_box()["height"] >= 48, name
    address = phone.get_by_label("Address", exact=True).input_value()
    assert address.startswith(f"{live_server.url}/shared/")

    stranger = new_page(browser, live_server.url, **PHONE)
    watch = Watch(stranger, live_server.url, expected=410)
    stranger.goto(address)
    expect(stranger.get_by_role("heading", name=car.name)).to_be_visible()
    expect(stranger.get_by_text("Hose weeps").first).to_be_visible()
    expect(stranger.locator("main")).not_to_contain_text("Corin")
    assert fits(stranger)
    assert stranger.evaluate("document.querySelectorAll('main form').length") == 0

    phone.get_by_role("link", name="All links to this car").tap()
    expect(phone.get_by_text("Opened once on 1 device")).to_be_visible()
    phone.get_by_role("link", name="End it").tap()
    phone.get_by_role("button", name="End it now").tap()
    expect(phone.get_by_text("It opens nothing any more.")).to_be_visible()

    stranger.reload()
    expect(stranger.get_by_role("heading", name="This link was ended")).to_be_visible()
    expect(stranger.get_by_text("Ask whoever gave it to you for another one.")).to_be_visible()
    expect(stranger.locator("main")).not_to_contain_text(car.make)
    assert fits(stranger)
    assert watch.complaints == []
    stranger.context.close()
