"""The job page asks again with the mark of what it shows: 304 while nothing was written, the parts anew after an act."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.acts import thing as thing_acts
from jobs.acts import work as work_acts
from jobs.templatetags.jobs import mark_of
from tests.factories.job import JobFactory, ThingOutFactory, job_in
from tests.factories.work import authorised_line, owner_of
from tests.people import by


@pytest.fixture
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
    with CaptureQueriesContext(connection) as caught:
        answer = poll(client, page)
    assert (answer.status_code, answer.content) == (304, b"")
    asked = [query["sql"] for query in caught]
    # Who asks (session, person, roles), and the head of the log.
    assert len(asked) == 4
    assert not [sql for sql in asked if '"jobs_' in sql]
    assert "workshop_loghead" in asked[-1]


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
