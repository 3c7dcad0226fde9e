"""What is typed into a form outlives an error, a reload, an expired session and a dead battery; for its author only."""

from __future__ import annotations

import pytest
from django.contrib.sessions.models import Session
from django.urls import reverse
from playwright.sync_api import expect

from jobs.acts import procedure as procedure_acts
from jobs.models import WorkLine
from tests.browser.devices import TABLET, Watch, new_page, sign_in
from tests.browser.test_twice import TYPED, asked, open_form, send, typed_lines
from tests.factories.job import job_in
from tests.factories.run import OpenLineFactory
from tests.factories.work import authorised_line, owner_of
from tests.people import PASSWORD, by
from workshop.acting import By
from workshop.acts import shop as shop_acts
from workshop.models import Submission, TorqueTool

# The draft is written a quarter of a second after the last key.
PAUSE = 400


@pytest.fixture
def new_line(lead, car):
    """The address of the form of another line."""
    return reverse("jobs:line-add", args=[OpenLineFactory(person=lead, vehicle=car).job_id])


def bar(page):
    return page.get_by_role("region", name="Not sent")


def kept(page) -> list[str]:
    return page.evaluate("Object.keys(localStorage).filter(name => name.startsWith('draft '))")


def put_back(page):
    bar(page).get_by_role("button", name="Put it back").tap()


def test_a_tablet_that_went_dead_offers_the_words_again(browser, tablet, live_server, new_line, lead):
    watch = Watch(tablet, live_server.url)
    open_form(tablet, new_line, lead, live_server)
    tablet.wait_for_timeout(PAUSE)
    other = tablet.context.new_page()
    tablet.close(run_before_unload=False)
    other.goto(new_line)
    expect(asked(other)).to_have_value("")
    expect(bar(other)).to_contain_text("You typed this here at ")
    expect(bar(other)).to_contain_text("did not send it")
    expect(bar(other)).to_contain_text("Clunk from the rear left")
    put_back(other)
    expect(asked(other)).to_have_value(TYPED)
    expect(bar(other)).to_have_count(0)
    send(other).tap()
    expect(other.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 1
    assert kept(other) == []
    other.goto(new_line)
    expect(asked(other)).to_have_value("")
    expect(bar(other)).to_have_count(0)
    assert not watch.complaints


def test_it_can_be_thrown_away(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    tablet.goto(reverse("jobs:floor"))
    tablet.goto(new_line)
    bar(tablet).get_by_role("button", name="Throw it away").tap()
    expect(bar(tablet)).to_have_count(0)
    tablet.goto(new_line)
    expect(bar(tablet)).to_have_count(0)
    assert kept(tablet) == []


def test_a_reload_by_mistake_loses_nothing(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    tablet.reload()
    if asked(tablet).input_value() != TYPED:  # some browsers fill it in themselves
        put_back(tablet)
    expect(asked(tablet)).to_have_value(TYPED)


def test_what_was_refused_is_kept_until_it_is_saved(tablet, live_server, lead):
    sign_in(tablet, lead, live_server.url)
    url = reverse("workshop:tool-add")
    tablet.goto(url)
    tablet.get_by_label("Number on the tool").fill("TW-77")
    tablet.get_by_label("Name").fill("click wrench, bench two")
    tablet.get_by_label("Kind").select_option("setting")
    send_it = tablet.get_by_role("button", name="Take it on")
    send_it.tap()
    summary = tablet.locator("#form-errors")
    expect(summary).to_be_focused()
    expect(bar(tablet)).to_have_count(0)  # it stands in the form
    # The battery dies here: the text was refused, not saved.
    tablet.goto(reverse("jobs:floor"))
    tablet.goto(url)
    expect(bar(tablet)).to_contain_text("and it was not saved")
    expect(bar(tablet)).to_contain_text("click wrench, bench two")
    put_back(tablet)
    expect(tablet.get_by_label("Number on the tool")).to_have_value("TW-77")
    expect(tablet.get_by_label("Kind")).to_have_value("setting")
    tablet.get_by_label("Lowest marked value").fill("20")
    tablet.get_by_label("Highest marked value").fill("200")
    send_it.tap()
    expect(tablet.get_by_text("The tool is on record.")).to_be_visible()
    assert TorqueTool.objects.get().name == "click wrench, bench two"
    assert kept(tablet) == []


def test_an_error_s_line_leads_to_its_field(tablet, live_server, lead):
    sign_in(tablet, lead, live_server.url)
    tablet.goto(reverse("workshop:tool-add"))
    tablet.get_by_role("button", name="Take it on").tap()
    tablet.locator("#form-errors").get_by_role("link", name="Name").tap()
    expect(tablet.get_by_label("Name")).to_be_focused()


def test_the_session_expired_in_the_middle_of_it(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    Session.objects.all().delete()
    send(tablet).tap()
    expect(tablet.get_by_text("You had been signed out, so nothing was saved.")).to_be_visible()
    tablet.get_by_label("Name").fill(lead.sign_in_name)
    tablet.get_by_label("Password").fill(PASSWORD)
    tablet.get_by_role("button", name="Sign in").tap()
    tablet.wait_for_url(f"**{new_line}")
    expect(bar(tablet)).to_contain_text("no word came that it was saved")
    put_back(tablet)
    send(tablet).tap()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 1
    assert kept(tablet) == []


def test_a_form_that_reached_the_server_without_an_answer_stays_one_record(
    tablet,
    live_server,
    new_line,
    lead,
):
    """The server saved, the network died before the answer, the tablet was restarted: the same key goes again."""
    open_form(tablet, new_line, lead, live_server)

    died = []

    def save_and_die(route):
        if route.request.method == "POST":
            route.fetch(max_redirects=0)
            route.abort()
            died.append(route)
        else:
            route.continue_()

    tablet.route("**/lines/add/", save_and_die)
    send(tablet).tap()
    for _ in range(200):  # a busy machine takes its time over the answer that is then thrown away
        if died:
            break
        tablet.wait_for_timeout(PAUSE)
    assert typed_lines() == 1
    tablet.unroute_all()
    sign_in(tablet, lead, live_server.url)  # another session: the word that it was saved is not in it
    tablet.goto(new_line)
    put_back(tablet)
    send(tablet).tap()
    expect(tablet.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 1
    assert kept(tablet) == []


def test_somebody_else_on_the_same_tablet_never_sees_it(
    tablet,
    live_server,
    new_line,
    lead,
    technician,
):
    open_form(tablet, new_line, lead, live_server)
    tablet.wait_for_timeout(PAUSE)
    tablet.get_by_role("button", name="Sign out").tap()
    expect(tablet.get_by_role("heading", name="Sign in")).to_be_visible()
    sign_in(tablet, technician, live_server.url)
    tablet.goto(new_line)
    expect(bar(tablet)).to_have_count(0)
    assert "Clunk" not in tablet.content()
    asked(tablet).fill("Squeak at the front")
    tablet.wait_for_timeout(PAUSE)
    sign_in(tablet, lead, live_server.url)
    tablet.goto(new_line)
    expect(bar(tablet)).to_contain_text("Clunk")
    expect(bar(tablet)).not_to_contain_text("Squeak")


def test_what_stands_in_the_form_is_not_lost_by_putting_back(tablet, live_server, new_line, lead):
    open_form(tablet, new_line, lead, live_server)
    tablet.goto(reverse("jobs:floor"))
    tablet.goto(new_line)
    asked(tablet).fill("Something else altogether")
    put_back(tablet)
    expect(asked(tablet)).to_have_value(TYPED)
    expect(bar(tablet)).to_contain_text("Something else altogether")


def test_a_version_that_somebody_changed_is_refused_with_both_texts(tablet, live_server, shop_owner):
    """Put back on a newer record, a draft of the older one must not overwrite it in silence."""
    sign_in(tablet, shop_owner, live_server.url)
    url = reverse("workshop:shop-change")
    tablet.goto(url)
    tablet.get_by_label("Address").fill("Yard 4, behind the mill")
    tablet.goto(reverse("jobs:floor"))
    shop_acts.change_shop(by=By(shop_owner), seen_version=1, address="3 Quarry Lane")
    tablet.goto(url)
    put_back(tablet)
    tablet.get_by_role("button", name="Save").tap()
    expect(tablet.locator("#form-errors")).to_contain_text("You changed this yourself at ")
    expect(tablet.locator("#id_address_field .theirs")).to_contain_text("3 Quarry Lane")
    expect(tablet.get_by_label("Address")).to_have_value("Yard 4, behind the mill")


def test_choices_ticks_and_units_come_back_and_a_password_does_not(tablet, live_server, shop_owner):
    sign_in(tablet, shop_owner, live_server.url)
    url = reverse("workshop:person-add")
    tablet.goto(url)
    tablet.get_by_label("Name", exact=False).first.fill("Nell Arden")
    tablet.get_by_label("First password").fill("five bolts in a row")
    tablet.get_by_label("Lead technician").check()
    tablet.get_by_label("Front desk").check()
    tablet.wait_for_timeout(PAUSE)
    stored = tablet.evaluate("JSON.stringify({...localStorage})")
    assert "Nell Arden" in stored
    assert "five bolts" not in stored
    assert "csrf" not in stored
    tablet.goto(reverse("jobs:floor"))
    tablet.goto(url)
    put_back(tablet)
    expect(tablet.get_by_label("Lead technician")).to_be_checked()
    expect(tablet.get_by_label("Front desk")).to_be_checked()
    expect(tablet.get_by_label("Technician", exact=True)).not_to_be_checked()
    expect(tablet.get_by_label("First password")).to_have_value("")


def test_a_number_and_its_unit_come_back(tablet, live_server, lead, car):
    sign_in(tablet, lead, live_server.url)
    url = reverse("vehicles:odometer-add", args=[car.pk])
    tablet.goto(url)
    number, unit = (
        tablet.get_by_label("Number", exact=True).first,
        tablet.get_by_label("Unit", exact=True).first,
    )
    number.fill("148210")
    unit.select_option("mi")
    tablet.goto(reverse("jobs:floor"))
    tablet.goto(url)
    put_back(tablet)
    expect(number).to_have_value("148210")
    expect(unit).to_have_value("mi")


BLOCKED = """for (const name of ["getItem", "setItem", "removeItem", "key"])
  Storage.prototype[name] = () => { throw new DOMException("blocked", "SecurityError"); };"""
FULL = """Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };"""


@pytest.mark.parametrize("script", [BLOCKED, FULL], ids=["blocked", "full"])
def test_where_nothing_can_be_kept_the_page_works(browser, live_server, new_line, lead, script):
    page = new_page(browser, live_server.url, **TABLET)
    watch = Watch(page, live_server.url)
    page.add_init_script(script)
    open_form(page, new_line, lead, live_server)
    page.wait_for_timeout(PAUSE)
    page.goto(new_line)
    expect(bar(page)).to_have_count(0)
    asked(page).fill(TYPED)
    send(page).tap()
    expect(page.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 1
    assert not watch.complaints
    page.context.close()


def test_without_javascript_the_same_again_is_asked_about_once(browser, live_server, new_line, lead):
    """Back gives a fresh key while the browser fills the text in again: only the content tells."""
    page = new_page(browser, live_server.url, java_script_enabled=False, **TABLET)
    open_form(page, new_line, lead, live_server)
    send(page).tap()
    expect(page.get_by_text("Line added.")).to_be_visible()
    page.goto(new_line)
    asked(page).fill(TYPED)
    send(page).tap()
    expect(page.locator("#form-errors")).to_contain_text("The very same was sent at ")
    expect(asked(page)).to_have_value(TYPED)
    assert typed_lines() == 1
    send(page).tap()
    expect(page.get_by_text("Line added.")).to_be_visible()
    assert typed_lines() == 2
    assert Submission.objects.count() >= WorkLine.objects.count()
    page.context.close()


def test_a_form_that_a_button_made_longer_is_no_lost_text(tablet, live_server, lead):
    """The editor of a step comes back with a stage more: what was typed stands in it, and nothing is offered."""
    procedure = procedure_acts.add_procedure(by=by(lead), title="Hub", area="wheels")
    draft = procedure_acts.start_version(by=by(lead), procedure=procedure, source="Halden sheet 40-2")
    sign_in(tablet, lead, live_server.url)
    url = reverse("jobs:step-add", args=[draft.pk])
    tablet.goto(url)
    tablet.get_by_label("Title").fill("Wheel nuts")
    for count in (2, 3):
        tablet.get_by_role("button", name="Add a stage").tap()
        expect(tablet.locator(".stage-row")).to_have_count(count)
        expect(tablet.get_by_label("Title")).to_have_value("Wheel nuts")
        expect(bar(tablet)).to_have_count(0)
    assert len(kept(tablet)) == 1
    # The battery dies here: what the last answer held was never saved.
    tablet.goto(reverse("jobs:floor"))
    tablet.goto(url)
    expect(bar(tablet)).to_have_count(1)
    expect(bar(tablet)).to_contain_text("did not send it")
    expect(bar(tablet)).not_to_contain_text("is not on this page")
    put_back(tablet)
    expect(tablet.get_by_label("Title")).to_have_value("Wheel nuts")


def test_a_question_that_came_with_the_answer_is_no_lost_text(tablet, live_server, lead):
    """The number is questioned, and the form comes back with a tick box more."""
    sign_in(tablet, lead, live_server.url)
    tablet.goto(reverse("vehicles:vehicle-add"))
    tablet.get_by_label("VIN or chassis number").fill("HLDN0000O0001")
    tablet.get_by_label("Make").fill("Halden")
    tablet.locator("#id_model").fill("Corvane")
    tablet.get_by_label("Model year").fill("1998")
    tablet.get_by_role("button", name="Take it on").tap()
    expect(tablet.get_by_label("The car bears the number exactly so")).to_be_visible()
    expect(bar(tablet)).to_have_count(0)


@pytest.fixture
def job_line(lead, car):
    job = job_in("in_work", person=lead, vehicle=car)
    return authorised_line(job=job, person=lead, owner=owner_of(car, lead), complaint="Squeals")


def write_inline(page, row, words: str) -> None:
    row.get_by_role("link", name="Write", exact=True).tap()
    row.get_by_label("Cause").fill(words)
    page.wait_for_timeout(PAUSE)


def test_a_form_under_a_line_is_opened_again_with_its_words(tablet, live_server, lead, job_line):
    watch = Watch(tablet, live_server.url)
    sign_in(tablet, lead, live_server.url)
    tablet.goto(job_line.job.get_absolute_url())
    row = tablet.locator(f"#line-{job_line.pk}")
    write_inline(tablet, row, "Pads glazed")
    tablet.reload()
    expect(row.get_by_role("region", name="Not sent")).to_contain_text("Pads glazed")
    expect(bar(tablet)).to_have_count(1)
    expect(bar(tablet)).to_be_in_viewport()
    put_back(tablet)
    expect(row.get_by_label("Cause")).to_have_value("Pads glazed")
    expect(bar(tablet)).to_have_count(0)
    row.get_by_role("button", name="Save").tap()
    tablet.wait_for_url(f"**#line-{job_line.pk}")
    expect(row).to_contain_text("Pads glazed")
    expect(bar(tablet)).to_have_count(0)
    assert kept(tablet) == []
    assert not watch.complaints


def test_the_same_words_typed_anew_and_saved_are_not_offered(tablet, live_server, lead, job_line):
    sign_in(tablet, lead, live_server.url)
    tablet.goto(job_line.job.get_absolute_url())
    row = tablet.locator(f"#line-{job_line.pk}")
    write_inline(tablet, row, "Pads glazed")
    tablet.reload()
    write_inline(tablet, row, "Pads glazed")
    row.get_by_role("button", name="Save").tap()
    tablet.wait_for_url(f"**#line-{job_line.pk}")
    expect(row).to_contain_text("Pads glazed")
    expect(bar(tablet)).to_have_count(0)
    assert kept(tablet) == []


def test_an_offer_out_of_sight_is_brought_into_view(tablet, live_server, shop_owner):
    sign_in(tablet, shop_owner, live_server.url)
    tablet.goto(reverse("workshop:shop-change"))
    tablet.get_by_label("Wheel nuts checked again after").fill("77")
    tablet.wait_for_timeout(PAUSE)
    tablet.reload()
    expect(bar(tablet)).to_be_in_viewport()
