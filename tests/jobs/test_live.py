"""The job page asks again with the mark of what it shows: 304 while nothing was written, the parts anew after an act."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.acts import thing as thing_acts
from jobs.acts import work as work_acts
from jobs.templatetags.jobs import mark_of
from tests.factories.job import JobFactory, ThingOutFactory, job_in
from tests.factories.work import authorised_line, owner_of
from tests.once import once
from tests.people import PASSWORD, by
from workshop import log
from workshop.acts import devices
from workshop.models import Device


@pytest.fixture
def client_with_device():
    """A browser of its own, signed in through the door: it has a device's cookie."""

    def make(person) -> Client:
        client = Client()
        answer = client.post(
            reverse("workshop:login"), {"username": person.sign_in_name, "password": PASSWORD}
        )
        assert answer.status_code == 302
        assert "device" in client.cookies
        return client

    return make


@once
def job(car, lead):
    return job_in("in_work", person=lead, vehicle=car)


def parts(page) -> dict[str, str]:
    """Name of each part → the mark of what it shows."""
    found = re.findall(r'data-part="([^"]+)" data-mark="([^"]+)"', page.content.decode())
    assert len(found) > 3
    return dict(found)


def poll(client, page, mark=None):
    mark = mark or page.context["live_mark"]
    return client.get(page.context["live_url"], headers={"If-None-Match": mark, "HX-Request": "true"})


def test_nothing_written_is_one_small_query_and_304(client, job, lead):
    client.force_login(lead)
    page = client.get(job.get_absolute_url())
    for compressed in ("", "W/"):
        with CaptureQueriesContext(connection) as caught:
            answer = poll(client, page, compressed + page.context["live_mark"])
        assert (answer.status_code, answer.content) == (304, b"")
        # The head of the log alone: neither session nor person is read.
        assert [query["sql"].count('FROM "workshop_loghead"') for query in caught] == [1]


def test_after_an_act_only_what_changed_has_another_mark(client, job, lead, technician, car):
    thing = ThingOutFactory(person=lead, job=job)
    line = authorised_line(job=job, person=lead, owner=owner_of(car, lead), complaint="Squeals")
    client.force_login(lead)
    page = client.get(job.get_absolute_url())
    thing_acts.bring_back(by=by(technician), thing=thing)
    fresh = poll(client, page)
    assert fresh.status_code == 200
    assert "<html" not in fresh.content.decode()
    before, after = parts(page), parts(fresh)
    changed = {name for name in after if before.get(name) != after[name]}
    assert changed == {"next", "blockers", "things"}
    assert fresh.headers["ETag"] == fresh.context["live_mark"] != page.context["live_mark"]
    assert poll(client, fresh).status_code == 304

    work_acts.write_line(by=by(lead), line=line, seen_version=line.version, cause="Pads glazed")
    again = poll(client, fresh)
    assert "Pads glazed" in again.content.decode()


def test_the_page_says_how_many_things_block_in_the_words_of_the_gate(client, job, lead):
    client.force_login(lead)
    page = client.get(job.get_absolute_url())
    gate = page.context["gate"]
    assert [found.code for found in gate.to_clear] == ["road_test", "final_check"]
    # Read at handover itself: it is said, and not counted.
    assert [found.code for found in gate.at_handover] == ["odometer_out"]
    text = page.content.decode()
    assert text.count("2 things still block handover") == 3  # the panel, the way to it, what is read out
    assert 'data-say="2 things still block handover"' in text
    assert "Left for the handover itself" in text


def test_the_handover_page_counts_the_same_things(client, job, lead):
    client.force_login(lead)
    page = client.get(f"/jobs/{job.pk}/handover/")
    shown = client.get(job.get_absolute_url()).context["gate"]
    assert [row["what"] for row in page.context["blocks"]] == [found.what for found in shown.to_clear]
    assert page.context["words"] == shown.words == "2 things still block handover"
    assert shown.words in page.content.decode()


def test_a_closed_job_is_a_calm_record(client, job, lead, technician):
    type(job).objects.filter(pk=job.pk).update(state="collected_unfinished")
    client.force_login(technician)
    text = client.get(job.get_absolute_url()).content.decode()
    for gone in (
        "block handover",
        "Start work",
        "Road test</a>",
        "Add a line",
        "data-inline",
        'class="btn hand',
    ):
        assert gone not in text


def test_signed_out_the_poll_is_told_so(client, job, lead):
    client.force_login(lead)
    page = client.get(job.get_absolute_url())
    client.logout()
    assert poll(client, page).status_code == 401


def test_a_booked_job_is_live_too(client, car, lead):
    job = JobFactory(person=lead, vehicle=car)
    client.force_login(lead)
    page = client.get(job.get_absolute_url())
    assert page.context["gate"] is None
    assert poll(client, page).status_code == 304


def test_a_part_with_a_form_has_the_same_mark_each_time():
    form = '<form><input type="hidden" name="{}" value="{}"><button>Go</button></form>'
    for name in ("csrfmiddlewaretoken", "key"):
        assert mark_of(form.format(name, "one")) == mark_of(form.format(name, "two"))
    assert mark_of(form.format("to_state", "ready")) != mark_of(form.format("to_state", "in_work"))


def test_a_mark_is_one_sessions_on_one_device_for_one_page(
    client, client_with_device, job, car, lead, technician
):
    """What stands in for session and person can't be taken elsewhere: all the rest is answered by the rules."""
    client.force_login(lead)
    page = client.get(job.get_absolute_url())
    mark, url = page.context["live_mark"], page.context["live_url"]
    assert re.fullmatch(r'"live-[0-9a-f]{40}"', mark)
    # Nothing that is told to anybody is in it: the head's hash is printed on sheets and shown in the log.
    assert log.current_head().hash[:12] not in mark

    def answer(url=url, mark=mark, client=client):
        return client.get(url, headers={"If-None-Match": mark, "HX-Request": "true"}).status_code

    assert answer() == 304
    other = JobFactory(person=lead, vehicle=car)
    mark = client.get(job.get_absolute_url()).context["live_mark"]
    assert answer(mark=mark) == 304
    assert answer(url=f"/jobs/{other.pk}/live/", mark=mark) == 200  # another page
    assert answer(mark=mark[:-2] + ('0"' if mark[-2] != "0" else '1"')) == 200  # made up
    assert Client().get(url, headers={"If-None-Match": mark}).status_code == 302  # nobody
    assert answer(client=client_with_device(technician), mark=mark) == 200  # somebody else
    assert answer(client=client_with_device(lead), mark=mark) == 200  # the same person elsewhere
    client.cookies["device"] = "another"
    assert answer(mark=mark) == 200


def test_a_device_that_is_shut_out_is_told_at_its_next_poll(client_with_device, job, lead):
    client = client_with_device(lead)
    page = client.get(job.get_absolute_url())
    device = page.wsgi_request.device
    assert poll(client, page).status_code == 304
    devices.revoke_device(by=by(lead), device=Device.objects.get(pk=device.pk), reason="lost on the road")
    assert poll(client, page).status_code == 401
    assert poll(client, page).status_code == 401


def test_after_a_quarter_of_an_hour_all_is_looked_at_again(client, job, lead, monkeypatch):
    """A promise is late by the clock alone, and a session that simply ended is found out."""
    client.force_login(lead)
    page = client.get(job.get_absolute_url())
    assert poll(client, page).status_code == 304
    later = timezone.now() + timedelta(minutes=15)
    monkeypatch.setattr("workshop.live.timezone.now", lambda: later)
    assert poll(client, page).status_code == 200
