"""Finding a car while typing: with the keyboard, with a finger, on the telephone, and without a script."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.devices import TABLET, Watch, new_page, sign_in
from tests.factories.vehicle import VehicleFactory
from vehicles.acts import vehicle as acts
from workshop.acting import By


@pytest.fixture
def cars(lead):
    found = []
    for number, plate in enumerate(("QL 06 AB", "QL 07 CD", "ZZ 1")):
        car = VehicleFactory.create(lead, make="Halden", model=f"Drayman {number}")
        acts.add_registration(by=By(lead), vehicle=car, plate=plate)
        found.append(car)
    return found


@pytest.fixture
def page(tablet, technician, live_server, cars):
    watch = Watch(tablet, live_server.url)
    sign_in(tablet, technician, live_server.url)
    tablet.goto(reverse("jobs:floor"))
    yield tablet
    assert watch.complaints == []


def box(page):
    return page.get_by_role("combobox")


def options(page):
    return page.get_by_role("option")


def type_in(page, text):
    """Types as a person does, and waits for what is found of the whole of it."""
    with page.expect_response(lambda response: response.url.endswith(f"q={text}")):
        box(page).press_sequentially(text, delay=20)
    expect(page.get_by_role("listbox")).to_be_visible()


def test_with_the_keyboard(page, cars):
    type_in(page, "ql0")
    expect(options(page)).to_have_count(4)  # two cars, the whole list, a new car
    expect(box(page)).to_have_attribute("aria-expanded", "true")
    expect(page.get_by_role("status").filter(has_text="2 found")).to_be_attached()
    box(page).press("ArrowDown")
    chosen = options(page).nth(0)
    expect(chosen).to_have_attribute("aria-selected", "true")
    assert box(page).get_attribute("aria-activedescendant") == chosen.get_attribute("id")
    box(page).press("ArrowDown")
    expect(options(page).nth(0)).to_have_attribute("aria-selected", "false")
    box(page).press("Escape")
    expect(page.get_by_role("listbox")).to_be_hidden()
    expect(box(page)).to_have_attribute("aria-expanded", "false")
    expect(box(page)).to_have_value("ql0")
    box(page).press("ArrowDown")
    box(page).press("Enter")
    page.wait_for_url(f"**{cars[0].get_absolute_url()}")


def test_enter_without_a_choice_leads_to_the_search_page(page):
    type_in(page, "ql0")
    box(page).press("Enter")
    page.wait_for_url("**/find/?q=ql0")
    expect(page.get_by_role("heading", level=1, name="Find")).to_be_visible()
    expect(page.get_by_role("link", name=re.compile("QL 07 CD"))).to_be_visible()


def test_with_a_finger(page, cars):
    box(page).tap()
    type_in(page, "07cd")
    options(page).nth(0).tap()
    page.wait_for_url(f"**{cars[1].get_absolute_url()}")


def test_a_tap_beside_it_and_an_empty_box_close_it(page):
    type_in(page, "ql0")
    page.locator(".foot").tap()
    expect(page.get_by_role("listbox")).to_be_hidden()
    box(page).tap()
    expect(page.get_by_role("listbox")).to_be_visible()
    box(page).fill("")
    expect(page.get_by_role("listbox")).to_be_hidden()


def test_nothing_found_carries_the_plate_to_the_form_of_a_new_car(page):
    type_in(page, "xx99zz")
    expect(page.get_by_text("Nothing found for “xx99zz”")).to_be_visible()
    options(page).nth(0).tap()
    page.wait_for_url("**/vehicles/add/?plate=XX99ZZ")
    expect(page.get_by_label("Registration plate", exact=False)).to_have_value("XX99ZZ")


def test_one_letter_is_too_little_and_is_told(page):
    box(page).press_sequentially("q")
    expect(page.locator(".find-none")).to_have_text(re.compile("Type at least 2 characters"))


def test_the_box_does_not_break_the_bar(page):
    """One line on the tablet: the list of pages, the box and who it is stand beside each other."""
    tops = [page.locator(each).bounding_box() for each in (".bar .mark", ".bar .find", ".bar .who")]
    middles = [top["y"] + top["height"] / 2 for top in tops]
    assert max(middles) - min(middles) < 8, middles
    box(page).click()
    type_in(page, "ql0")
    found = page.locator(".find-list").bounding_box()
    assert found["x"] >= 0
    assert found["x"] + found["width"] <= 1180
    for option in options(page).all():
        assert option.bounding_box()["height"] >= 48


def test_on_the_telephone_it_is_a_way_to_the_page(phone, technician, live_server, cars):
    watch = Watch(phone, live_server.url)
    sign_in(phone, technician, live_server.url)
    phone.goto(reverse("jobs:floor"))
    expect(phone.locator("form.find")).to_be_hidden()
    way = phone.get_by_role("link", name="Find", exact=True)
    box = way.bounding_box()
    assert min(box["width"], box["height"]) >= 48
    way.tap()
    phone.get_by_role("searchbox").fill("ql 07")
    phone.get_by_role("button", name="Find").tap()
    expect(phone.get_by_role("link", name=re.compile("QL 07 CD"))).to_be_visible()
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    assert watch.complaints == []


def test_without_a_script_it_is_a_form(browser, technician, live_server, cars):
    page = new_page(browser, live_server.url, **TABLET, java_script_enabled=False)
    try:
        sign_in(page, technician, live_server.url)
        page.goto(reverse("jobs:floor"))
        page.locator("#find").fill("ql 07")
        page.locator("#find").press("Enter")
        expect(page.get_by_role("link", name=re.compile("QL 07 CD"))).to_be_visible()
    finally:
        page.context.close()


def test_the_field_of_a_cars_page_narrows_its_rows(page, cars, lead):
    from tests.factories.fault import FaultFactory

    for title in ("Kühler leckt", "Horn silent"):
        FaultFactory(person=lead, vehicle=cars[0], title=title)
    page.goto(cars[0].get_absolute_url())
    field = page.locator("#within")
    field.fill("kuhler")
    panels = page.locator("#panels")
    expect(panels.get_by_text("Kühler leckt")).to_be_visible()
    expect(panels.get_by_text("Horn silent")).to_be_hidden()
    expect(page.locator("#within-said")).to_have_text("1 here")
    field.press("Enter")
    page.wait_for_url("**/history/?q=kuhler")
    expect(page.get_by_text("Kühler leckt")).to_be_visible()
