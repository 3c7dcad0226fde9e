"""Slips in a drain test: a limit and its source, the minutes asleep, a fuse twice, a base that changed, a reading mended."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from tests.factories.datasheet import SheetFactory
from tests.people import by
from tests.vehicles.test_drain import asleep, begun, fault, mA, pull, read, refusal  # noqa: F401
from tests.vehicles_forms import form_of
from vehicles.acts import datasheet as sheets
from vehicles.acts import drain as acts
from vehicles.acts.drain_again import put_asleep_right
from vehicles.drain import picture_of, put_right_from
from vehicles.models import DrainTest


@pytest.fixture
def of_sheet(lead, car):
    """The car, whose data sheet says 30 mA."""
    sheet = SheetFactory(person=lead, figures={"quiescent_current": "30 mA"})
    sheets.choose_sheet(by=by(lead), vehicle=car, sheet=sheet, because="type plate")
    return car


def begin_page(client, car) -> tuple[str, dict]:
    url = reverse("vehicles:drain-begin", args=[car.pk])
    return url, form_of(client, url)


# --- the limit and where it comes from


def test_a_changed_limit_drops_the_sheet_as_its_source(client, lead, of_sheet):
    client.force_login(lead)
    url, sent = begin_page(client, of_sheet)
    assert (sent["limit_value"], sent["limit_source"]) == ("30", "sheet")
    assert sent["limit_words"]
    answer = client.post(url, {**sent, "limit_value": "500"})
    assert answer.status_code == 422
    form = answer.context["form"]
    assert "The data sheet says 30 mA, 500 mA was typed" in form.errors["limit_source"][0]
    assert (form["limit_source"].value(), form["limit_words"].value()) == ("", "")
    assert form["limit"].value() == ["500", "mA"]
    assert not DrainTest.objects.exists()
    # As the sheet says it, in another unit, it is the sheet's.
    assert client.post(url, {**sent, "limit_value": "0.03", "limit_unit": "A"}).status_code == 302
    assert DrainTest.objects.get().limit_source == "sheet"


def test_the_sheets_place_is_not_another_sources(client, lead, of_sheet):
    client.force_login(lead)
    url, sent = begin_page(client, of_sheet)
    answer = client.post(url, {**sent, "limit_value": "40", "limit_source": "maker"})
    assert "the data sheet's 30 mA stand" in answer.context["form"].errors["limit_words"][0]
    assert answer.context["form"]["limit_words"].value() == ""


def test_far_above_the_sheet_is_asked_about_once(client, lead, of_sheet):
    client.force_login(lead)
    url, sent = begin_page(client, of_sheet)
    far = {**sent, "limit_value": "500", "limit_source": "maker", "limit_words": "Bulletin 12"}
    answer = client.post(url, far)
    assert answer.status_code == 422
    assert "far above the 30 mA of the data sheet" in answer.content.decode()
    assert 'type="checkbox" name="above_sheet"' in answer.content.decode()
    assert client.post(url, {**far, "above_sheet": "on"}).status_code == 302
    assert DrainTest.objects.get().limit_words == "Bulletin 12"


def test_common_practice_and_a_missing_sheet_give_no_other_number(lead, car):
    told = refusal(acts.begin_drain_test, by=by(lead), vehicle=car, limit=mA(500), limit_source="practice")
    assert "up to 50 mA" in told["limit_source"][0]
    told = refusal(acts.begin_drain_test, by=by(lead), vehicle=car, limit=mA(30), limit_source="sheet")
    assert "gives no quiescent current" in told["limit_source"][0]
    acts.begin_drain_test(by=by(lead), vehicle=car, limit=mA(500), limit_source="maker")


def test_the_limit_comes_before_what_to_do(client, lead, car):
    client.force_login(lead)
    page = client.get(reverse("vehicles:drain-begin", args=[car.pk])).content.decode()
    assert page.index('name="limit_value"') < page.index('name="limit_source"') < page.index("Clip a bridge")
    assert (
        page.index("Clip a bridge") < page.index('name="capacity_value"') < page.index("It is locked: begin")
    )


# --- how long it was locked


def test_more_minutes_than_since_it_was_begun_are_asked_about(client, lead, begun):  # noqa: F811
    client.force_login(lead)
    url = reverse("vehicles:drain-asleep", args=[begun.pk])
    sent = {
        **form_of(client, begun.get_absolute_url()),
        "reading_value": "184",
        "reading_unit": "mA",
        "asleep_after": "40",
    }
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert "You began 0 min ago, 40 min were typed." in answer.content.decode()
    assert answer.context["form"]["asleep_after"].value() == "40"
    earlier = timezone.localtime(timezone.now() - timedelta(minutes=41)).strftime("%Y-%m-%dT%H:%M")
    assert client.post(url, {**sent, "locked_at": earlier}).status_code == 302
    begun.refresh_from_db()
    assert begun.asleep_after == 40


@pytest.mark.parametrize(
    ("minutes_ago", "typed", "field", "words"),
    [
        (10, 40, "asleep_after", "40 min were typed"),
        (-30, 0, "locked_at", "later than now"),
        (3000, 40, "locked_at", "last 24 hours"),
    ],
)
def test_the_time_it_was_locked_is_refused_in_words(lead, begun, minutes_ago, typed, field, words):  # noqa: F811
    locked_at = timezone.now() - timedelta(minutes=minutes_ago)
    told = refusal(
        acts.read_asleep, by=by(lead), test=begun, reading=mA(184), asleep_after=typed, locked_at=locked_at
    )
    assert words in told[field][0]


def test_minutes_left_as_they_stood_are_worked_out_from_the_time(lead, begun):  # noqa: F811
    locked_at = timezone.now() - timedelta(minutes=35)
    acts.read_asleep(by=by(lead), test=begun, reading=mA(184), asleep_after=0, locked_at=locked_at)
    begun.refresh_from_db()
    assert begun.asleep_after == 35


# --- a base that changed


@pytest.fixture
def changed(lead, begun):  # noqa: F811
    """184 mA asleep; F7 takes 166 of it; then, with F9 out, the rest falls asleep to 150 mA."""
    test = read(lead, begun, mA(184))
    pull(lead, test, "F7", 18)
    pull(lead, test, "F9", 150, "stayed_low", after=mA(150))
    return test


def test_a_fuse_from_before_the_base_changed_proves_nothing(client, lead, changed):
    picture = picture_of(changed)
    assert picture.measure_again
    assert not picture.found
    assert (picture.days_after, picture.now, picture.baseline) == ("", "150 mA", "184 mA")
    client.force_login(lead)
    page = client.get(changed.get_absolute_url()).content.decode()
    assert "Measure “F7” again" in page
    assert "It is the circuit" not in page
    assert '<p class="big huge">150 mA</p>' in page
    assert "at first 184 mA" in page
    # Measured again as it was asked for: nothing to tick.
    pull(lead, changed, "F7", 18)
    assert picture_of(changed).findings.sentence.endswith(
        "It is the circuit “F7” (132 mA): without it 18 mA is left."
    )


def test_what_is_left_on_the_fault_is_what_flows_where_nothing_is_proved(lead, fault, changed):  # noqa: F811
    acts.end_drain_test(by=by(lead), test=changed, conclusion="Collected early.")
    assert fault.steps.get().value == 150


# --- the same fuse, and what was put right


def test_the_same_fuse_twice_is_asked_about(client, lead, begun):  # noqa: F811
    test = read(lead, begun, mA(350))
    pull(lead, test, "F7 pump", 340)
    client.force_login(lead)
    url = reverse("vehicles:drain-pull", args=[test.pk])
    sent = form_of(client, test.get_absolute_url())
    again = {**sent, "circuit": "f7  Pump", "reading_value": "20", "reading_unit": "mA"}
    answer = client.post(url, again)
    assert answer.status_code == 422
    assert "“F7 pump” is on record with 340 mA" in answer.content.decode()
    assert 'type="checkbox" name="measured_again"' in answer.content.decode()
    assert client.post(url, {**again, "measured_again": "on"}).status_code == 302
    assert [each.drop for each in picture_of(test).findings.circuits] == [330]


def test_a_row_put_right_says_what_it_was(client, lead, begun):  # noqa: F811
    test = read(lead, begun, mA(350))
    slip = pull(lead, test, "F7", 34)
    pull(lead, test, "F7", 340, instead_of=slip)
    client.force_login(lead)
    assert "put right, it was 34 mA" in client.get(test.get_absolute_url()).content.decode()


@pytest.mark.every_database
def test_the_current_asleep_is_put_right(client, lead, fault, begun):  # noqa: F811
    test = read(lead, begun, mA(1840))
    slip = pull(lead, test, "F3", 1)
    pull(lead, test, "F3", 180, instead_of=slip, remark="twice")
    pull(lead, test, "F7", 18, "left_out")
    client.force_login(lead)
    url = reverse("vehicles:drain-asleep-put-right", args=[test.pk])
    assert url in client.get(test.get_absolute_url()).content.decode()
    sent = form_of(client, url)
    assert (sent["reading_value"], sent["asleep_after"]) == ("1840", 40)
    assert "on record already" in client.post(url, sent).content.decode()
    answer = client.post(url, {**sent, "reading_value": "184"})
    again = DrainTest.objects.get(ended_at=None)
    assert answer.url == f"{again.get_absolute_url()}#next"
    assert (again.amount, again.asleep_after, again.fault, again.limit_amount) == (mA(184), 40, fault, mA(50))
    assert again.capacity_ah == 60
    assert [(each.circuit, each.amount, each.came, each.remark) for each in again.steps.all()] == [
        ("F3", mA(180), "back", "twice"),
        ("F7", mA(18), "left_out", ""),
    ]
    test.refresh_from_db()
    assert "1840 mA had been typed for 184 mA" in test.conclusion
    assert put_right_from(again) == test
    assert put_right_from(test) is None
    page = client.get(again.get_absolute_url()).content.decode()
    assert f'put right, it was <a href="{test.get_absolute_url()}">1840 mA</a>' in page
    assert not fault.steps.exists()
    assert client.get(url).url == test.get_absolute_url()


def test_nothing_is_put_right_before_it_was_read_or_after_the_end(lead, begun):  # noqa: F811
    good = {"reading": mA(184), "asleep_after": 40}
    told = refusal(put_asleep_right, by=by(lead), test=begun, **good)
    assert "not read yet" in told[""][0]
    read(lead, begun, mA(1840))
    acts.end_drain_test(by=by(lead), test=begun, conclusion="Broken off.")
    assert "ended on" in refusal(put_asleep_right, by=by(lead), test=begun, **good)[""][0]
