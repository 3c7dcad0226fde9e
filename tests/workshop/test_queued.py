"""What a tablet kept is sent later: it counts once, for whoever made it, at the time when it was made."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from urllib.parse import unquote
from uuid import uuid4

import pytest
from django.core import signing
from django.core.exceptions import ValidationError
from django.test import Client, RequestFactory
from django.urls import get_resolver, reverse
from django.utils import timezone

from jobs.acts import torque as torque_acts
from jobs.models import CheckIn, Job, JobMove, Measurement, Run, TorqueReading, WorkLine
from tests.factories.run import OpenLineFactory, RunFactory, click_all, stage_of, step_of
from tests.factories.tool import ToolFactory
from tests.once import once
from tests.people import by
from vehicles.acts import survey as survey_acts
from vehicles.models import OutstandingItem
from workshop import queued
from workshop.acts import devices as device_acts
from workshop.models import Device, Event, Submission

FLOOR = "/floor/"
WORDS = {"what": "Brake disc, thickness", "phase": "before", "reading_value": "21.4", "reading_unit": "mm"}


@once
def tablet():
    return Device.objects.create(name="Tablet, bay two")


@once
def line(lead, car):
    return OpenLineFactory(person=lead, vehicle=car)


@pytest.fixture
def measure(line):
    return reverse("jobs:measure", args=[line.pk])


def on(device, client=None) -> Client:
    """A browser that the server knows as this device."""
    client = client or Client()
    client.cookies["device"] = signing.get_cookie_signer(salt="devicedevice").sign(str(device.pk))
    return client


def grant(person, device) -> str:
    client = on(device)
    client.force_login(person)
    return str(client.get(FLOOR).context["grant"])


def send(client, url, data, *, person=None, ours="", words="1", ago=timedelta(), off=timedelta(), **headers):
    """As the tablet does: made `ago`, by a clock that is `off`."""
    shown = timezone.now() + off
    sent = {"X-Outbox": words, "X-Sent-At": str(int(shown.timestamp() * 1000)), **headers}
    if ours:
        sent["X-Grant"] = ours
    if person:
        sent["X-Person"] = str(person.pk)
    data = {"key": str(uuid4()), "device_time": (shown - ago).isoformat(), **data}
    return client.post(url, data, headers=sent)


def waits(answer) -> bool:
    """Neither saved nor refused: the tablet keeps it."""
    return "X-Saved-Key" not in answer.headers and "X-Refused" not in answer.headers


# ------------------------------------------------------------------------------------------------ saved and refused


def test_saved_says_so_with_its_key_and_where_to_go_on(client, technician, measure, line):
    client.force_login(technician)
    key = str(uuid4())
    answer = send(client, measure, {**WORDS, "key": key}, words="1 first")
    assert (answer.status_code, answer.headers["X-Saved-Key"]) == (200, key)
    assert answer.headers["X-Location"] == line.get_absolute_url()
    assert "X-Refused" not in answer.headers
    page = client.get(answer.headers["X-Location"]).text
    assert "Measurement recorded." in page
    assert f'content="{key}"' in page


def test_the_verdict_comes_along_in_a_word_also_with_the_answer_that_was_lost(
    client, technician, lead, car, measure
):
    client.force_login(technician)

    def said(url, data, **more):
        answer = send(client, url, data, **more)
        assert answer.status_code == 200, answer.text
        return unquote(answer.headers.get("X-Verdict", ""))

    limits = {"low": "22", "limit_source": "plate on the disc", "key": str(uuid4())}
    assert said(measure, WORDS, words="1 first") == "No limit given"
    for words in ("1 first", "1 later", "1 first"):  # its answer got lost, and it is sent again
        assert said(measure, {**WORDS, **limits}, words=words) == "Below the limit"
    assert Measurement.objects.count() == 2
    run = RunFactory(person=lead, vehicle=car)
    good, old = ToolFactory(person=lead), ToolFactory(person=lead, calibrated=False)
    url = reverse("jobs:reading-add", args=[run.pk])
    data = {"step": step_of(run).pk, "stage": stage_of(run).pk, "kind": "clicked", "reading_unit": "N.m"}
    for fastener, value, tool, words in (
        (1, "60", good, "Within"),
        (3, "45", good, "Below"),
        (5, "60", old, "Does not count"),
    ):
        reading = {"fastener": fastener, "reading_value": value, "tool": str(tool.pk), "redo_reason": "x"}
        assert said(url, {**data, **reading}) == words
    # What has no verdict says none.
    assert said(reverse("jobs:clock-start", args=[run.line_id]), {}) == ""


def test_what_nobody_waits_for_leaves_no_message_behind(technician, tablet, measure, line):
    client = on(tablet)
    client.force_login(technician)
    answer = send(client, measure, WORDS, ours=grant(technician, tablet), words="1 later")
    assert answer.status_code == 200
    page = client.get(line.get_absolute_url()).text
    assert "Measurement recorded." not in page
    assert "saved-key" not in page


def test_refused_is_the_usual_page_and_says_that_it_is_for_good(client, technician, measure):
    client.force_login(technician)
    answer = send(client, measure, {**WORDS, "reading_unit": ""})
    assert (answer.status_code, answer.headers["X-Refused"]) == (422, "1")
    assert "Choose a unit" in answer.text
    assert "X-Saved-Key" not in answer.headers
    assert not Measurement.objects.exists()


def test_what_leads_on_to_a_question_is_not_saved(client, technician, car):
    client.force_login(technician)
    survey = survey_acts.start_survey(by=by(technician), vehicle=car)
    answer = send(
        client,
        reverse("vehicles:survey-entry", args=[survey.pk, "starter-battery"]),
        {"finding": "not_factory"},
    )
    assert (answer.status_code, answer.headers["X-Refused"]) == (409, "1")
    assert "starter-battery/part/" in answer.headers["X-Location"]
    assert not survey.entries.exists()


# ------------------------------------------------------------------------------------------------ whose it is


def test_a_grant_acts_as_whoever_made_it_on_anybodys_session(technician, other_technician, tablet, measure):
    ours = grant(technician, tablet)
    client = on(tablet)
    client.force_login(other_technician)
    before = dict(client.session)
    answer = send(client, measure, WORDS, person=technician, ours=ours)
    assert answer.status_code == 200
    row = Measurement.objects.get()
    assert (row.made_by, row.device) == (technician, tablet)
    assert dict(client.session) == before
    page = client.get(FLOOR)
    assert page.context["user"] == other_technician
    assert "Measurement recorded." not in page.text


def test_a_grant_acts_without_a_session_and_on_a_locked_one(technician, tablet, measure):
    ours = grant(technician, tablet)
    assert send(on(tablet), measure, WORDS, ours=ours).status_code == 200
    client = on(tablet)
    client.force_login(technician)
    session = client.session
    session["locked"] = True
    session.save()
    assert send(client, measure, WORDS, ours=ours).status_code == 200
    assert client.session["locked"] is True
    assert Measurement.objects.filter(made_by=technician, device=tablet).count() == 2


def _revoked(person, device, lead):
    device_acts.revoke_device(by=by(lead), device=device, reason="lost")
    return device, "This tablet was revoked: ask the lead to let it in again."


def _left(person, device, lead):
    person.is_active = False
    person.save()
    return device, "Tamsin Orrell may no longer sign in"


def _elsewhere(person, device, lead):
    return Device.objects.create(name="Tablet, bay three"), "This was made on another tablet"


def _new_password(person, device, lead):
    person.set_password("quite another pass phrase")
    person.save()
    return device, "Tamsin Orrell has another password since"


@pytest.mark.parametrize("change", [_revoked, _left, _elsewhere, _new_password])
def test_a_grant_that_no_longer_holds_keeps_the_thing_on_the_tablet(
    change, technician, lead, tablet, measure
):
    ours = grant(technician, tablet)
    device, words = change(technician, tablet, lead)
    answer = send(on(device), measure, WORDS, ours=ours)
    assert (answer.status_code, answer.headers["X-Outbox-Wait"]) == (403, "1")
    assert answer.text.startswith(words)
    assert waits(answer)
    assert not Measurement.objects.exists()


def test_an_old_grant_waits_for_its_author(technician, tablet, measure, settings):
    ours = grant(technician, tablet)
    settings.SESSION_COOKIE_AGE = -1
    answer = send(on(tablet), measure, WORDS, ours=ours)
    assert (answer.status_code, waits(answer)) == (403, True)
    assert "sign in as whoever made it" in answer.text


@pytest.mark.parametrize(
    ("signed", "salt"),
    [
        ("x", None), ("a:b:c", None), ("\u00e9:1:2", None), ("nobody", queued.SALT), ([1, 2], queued.SALT),
        (["x", "y", "z"], queued.SALT), (["x", "y", "z"], "another salt"),
    ],
    ids=str,
)  # fmt: skip
def test_what_is_no_grant_is_answered_in_words(signed, salt, tablet, measure):
    # Signed here, not in the list: the time in it would give the test another name in each process.
    text = signing.dumps(signed, salt=salt) if salt else signed
    answer = send(on(tablet), measure, WORDS, ours=text)
    assert answer.status_code in (400, 403)
    assert "sign in" in answer.text
    assert waits(answer)


def test_signed_out_or_somebody_else_it_waits(client, technician, other_technician, measure):
    answer = send(client, measure, WORDS, person=technician)
    assert (answer.status_code, waits(answer)) == (401, True)
    client.force_login(other_technician)
    answer = send(client, measure, WORDS, person=technician)
    assert (answer.status_code, waits(answer)) == (403, True)
    assert not Measurement.objects.exists()


def test_a_page_that_names_nobody_gives_no_grant(client, technician, tablet):
    assert 'data-grant="' not in client.get(reverse("workshop:login")).text
    assert grant(technician, tablet)
    client.force_login(technician)
    assert 'data-grant="' not in client.get(FLOOR).text  # this browser is no device that the shop knows


QUEUEABLE = {
    "jobs:reading-add", "jobs:reading-correct", "jobs:round-add", "jobs:new-fitted", "jobs:measure",
    "jobs:line-write", "jobs:labour-add", "jobs:clock-start", "jobs:clock-stop", "jobs:thing-out", "jobs:thing-back",
    "jobs:job-pass", "jobs:angle-not-possible", "jobs:damage-add",
    "vehicles:photo-add", "vehicles:fault-step", "vehicles:odometer-add", "vehicles:survey-entry",
    "vehicles:survey-zone", "vehicles:survey-look", "vehicles:survey-part",
}  # fmt: skip


def test_these_may_be_sent_from_the_queue_and_nothing_that_signs():
    found = set()

    def look(patterns, room=""):
        for one in patterns:
            if hasattr(one, "url_patterns"):
                look(one.url_patterns, f"{one.app_name}:" if one.app_name else room)
            elif getattr(one.callback, "queued", False):
                found.add(f"{room}{one.name}")

    look(get_resolver().url_patterns)
    assert found == QUEUEABLE


def test_a_grant_opens_nothing_else(technician, tablet, line):
    ours = grant(technician, tablet)
    for name in ("jobs:line-finish", "jobs:part-use"):
        answer = send(on(tablet), reverse(name, args=[line.pk]), {}, ours=ours)
        assert (answer.status_code, waits(answer)) == (403, True)
        assert "needs the person and the network" in answer.text
    assert on(tablet).get(line.get_absolute_url(), headers={"X-Grant": ours}).status_code == 302


# ------------------------------------------------------------------------------------------------ sent again


def test_an_answer_that_was_lost_is_given_again_whatever_happened_since(client, technician, measure, line):
    client.force_login(technician)
    key = str(uuid4())
    assert send(client, measure, {**WORDS, "key": key}, words="1 first").status_code == 200
    WorkLine.objects.filter(pk=line.pk).update(dropped_because="not wanted")
    Job.objects.filter(pk=line.job_id).update(state="handed_over")
    assert send(client, measure, WORDS).status_code == 422
    again = send(client, measure, {"key": key})  # not even what was typed is looked at
    assert (again.status_code, again.headers["X-Saved-Key"]) == (200, key)
    assert Measurement.objects.count() == 1


def test_a_reading_is_answered_again_after_its_run_is_complete(client, lead, technician, car):
    client.force_login(technician)
    run = RunFactory(person=lead, vehicle=car)
    tool = ToolFactory(person=lead)
    click_all(technician, run, tool)
    key = TorqueReading.objects.order_by("-made_at").first().key
    torque_acts.complete_run(by=by(lead), run=run)
    answer = send(client, reverse("jobs:reading-add", args=[run.pk]), {"key": str(key)})
    assert (answer.status_code, answer.headers["X-Saved-Key"]) == (200, str(key))
    assert TorqueReading.objects.count() == 10


def test_somebody_elses_key_is_refused_and_says_nothing_of_it(client, technician, other_technician, measure):
    client.force_login(technician)
    key = str(uuid4())
    send(client, measure, {**WORDS, "key": key})
    client.force_login(other_technician)
    answer = send(client, measure, {**WORDS, "key": key})
    assert (answer.status_code, answer.headers["X-Refused"]) == (409, "1")
    assert "X-Saved-Key" not in answer.headers
    for told in ("Tamsin", "Brake disc", "easure"):
        assert told not in answer.text
    assert Measurement.objects.count() == 1


def test_a_key_of_another_act_is_no_answer(client, technician, line, measure):
    client.force_login(technician)
    key = str(uuid4())
    send(client, reverse("jobs:clock-start", args=[line.pk]), {"key": key})
    assert Submission.objects.get(key=key).act.endswith("start_clock")
    assert send(client, measure, {**WORDS, "key": key}).status_code == 409


def test_what_was_never_sent_before_is_compared_with_what_its_key_saved(client, technician, measure):
    """Back, other words, the old key: the queue must not take the first record for this one."""
    client.force_login(technician)
    key = str(uuid4())
    send(client, measure, {**WORDS, "key": key}, words="1 first")
    answer = send(client, measure, {**WORDS, "reading_value": "19.9", "key": key}, words="1 first")
    assert (answer.status_code, answer.headers["X-Refused"]) == (422, "1")
    assert "sent already, with other content" in answer.text


def test_without_the_cookie_it_waits_and_the_cookie_can_be_had(technician, tablet, measure):
    ours = grant(technician, tablet)
    client = on(tablet, Client(enforce_csrf_checks=True))
    answer = send(client, measure, WORDS, ours=ours)
    assert (answer.status_code, waits(answer)) == (403, True)
    assert client.get(reverse("workshop:token")).status_code == 204
    token = client.cookies["csrftoken"].value
    assert send(client, measure, WORDS, ours=ours, **{"X-CSRFToken": token}).status_code == 200


# ------------------------------------------------------------------------------------------------ when it was


def two_hours_ago(rows) -> None:
    """Nothing is done on a car before it came."""
    rows.update(made_at=timezone.now() - timedelta(hours=2))


def body_of(record) -> dict:
    return json.loads(Event.objects.get(key=record.key).body)


@pytest.mark.parametrize("off", [timedelta(), timedelta(minutes=61), -timedelta(days=400)])
def test_a_wrong_clock_is_put_right_and_both_times_are_kept(off, technician, tablet, measure, line):
    """Made half an hour ago, whatever the tablet's clock shows; what it showed stands in the log."""
    two_hours_ago(CheckIn.objects.filter(job=line.job_id))
    ago = timedelta(minutes=30)
    answer = send(on(tablet), measure, WORDS, ours=grant(technician, tablet), ago=ago, off=off)
    assert answer.status_code == 200, answer.text
    row = Measurement.objects.get()
    assert abs(row.received_at - timezone.now()) < timedelta(seconds=20)
    assert abs(row.received_at - row.made_at - ago) < timedelta(seconds=2)
    raw = datetime.fromisoformat(body_of(row)["device_time"])
    assert abs(raw - off - row.made_at) < timedelta(seconds=2)


def test_sent_as_it_was_made_it_is_made_now(client, technician, measure):
    client.force_login(technician)
    send(client, measure, WORDS, off=timedelta(hours=5))
    row = Measurement.objects.get()
    assert row.made_at == row.received_at


def request(device_time: str, sent: str = ""):
    headers = {"X-Sent-At": sent} if sent else {}
    return RequestFactory().post("/", {"device_time": device_time}, headers=headers)


@pytest.mark.outside("RFC 3339 (2002), 5.8, examples, with erratum none; those since 1970")
def test_the_devices_time_is_read_as_the_standard_writes_it(published):
    for text, same in (
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
    ):
        published.same(queued.clock_of(request(text))[0], same)


NO_TIMES = ["x", "2026", "2026-11-28T10:00:00", "1990-12-31T23:59:60Z", "9999-12-31T23:59:59-14:00",
            "0001-01-01T00:00:00+14:00", "1969-12-31T23:59:59Z", "\x00", "١٩٩٦-12-19T16:39:57-08:00", "9" * 4000]  # fmt: skip


@pytest.mark.parametrize("text", NO_TIMES)
def test_what_is_no_time_is_refused_in_words(text, client, technician, measure):
    client.force_login(technician)
    answer = send(client, measure, {**WORDS, "device_time": text})
    assert answer.status_code in (400, 422)
    assert "read" in answer.text
    assert not Measurement.objects.exists()


@pytest.mark.parametrize("text", ["x", "nan", "1e999", "9" * 30, "-" + "9" * 30, "9" * 5000, "1.5"])
def test_what_is_no_moment_of_sending_is_refused_in_words(text, client, technician, measure):
    client.force_login(technician)
    answer = send(client, measure, WORDS, **{"X-Sent-At": text})
    assert (answer.status_code, answer.headers["X-Refused"]) == (422, "1")
    assert "The time that this tablet sent along can" in answer.text


def test_what_lay_here_for_months_is_looked_at_by_somebody():
    now = timezone.now()
    with pytest.raises(ValidationError, match=r"kept it for 6\d days"):
        queued.clock_of(request((now - timedelta(days=61)).isoformat(), str(int(now.timestamp() * 1000))))


def test_an_hour_typed_without_a_day_is_of_the_day_on_which_it_was_typed(rf):
    now = timezone.localtime()
    ago = timedelta(days=1)
    data = {"device_time": (now - ago).isoformat(), "made_at_time": "00:01", "made_at_day": ""}
    asked = rf.post("/", data, headers={"X-Sent-At": str(int(now.timestamp() * 1000)), "X-Outbox": "1"})
    queued._settle_days(asked)
    assert asked.POST["made_at_day"] == (now - ago).date().isoformat()
    asked = rf.post("/", {**data, "device_time": now.isoformat()}, headers={"X-Outbox": "1"})
    queued._settle_days(asked)
    assert asked.POST["made_at_day"] == ""


# ------------------------------------------------------------------------------------- the car has left meanwhile


def test_a_late_reading_stands_on_a_job_handed_over_and_a_bad_one_calls_the_car_back(
    lead, technician, tablet, car
):
    run = RunFactory(person=lead, vehicle=car)
    tool = ToolFactory(person=lead)
    job = run.job
    two_hours_ago(Run.objects.filter(pk=run.pk))
    for to_state in ("in_work", "final_checks", "ready", "handed_over"):
        JobMove.objects.create(
            **by(lead).stamp(), job=job, from_state=job.state, to_state=to_state, reason="as in a test"
        )
        Job.objects.filter(pk=job.pk).update(state=to_state)
        job.refresh_from_db()
    ours = grant(technician, tablet)
    url = reverse("jobs:reading-add", args=[run.pk])
    data = {"step": step_of(run).pk, "stage": stage_of(run).pk, "kind": "clicked", "tool": str(tool.pk),
            "reading_unit": "N.m"}  # fmt: skip
    ago = timedelta(hours=1)
    good = send(on(tablet), url, {**data, "fastener": 1, "reading_value": "60"}, ours=ours, ago=ago)
    assert good.status_code == 200, good.text
    row = TorqueReading.objects.get()
    assert body_of(row)["facts"]["after_the_end"] is True
    assert not OutstandingItem.objects.exists()
    bad = send(
        on(tablet),
        url,
        {**data, "fastener": 3, "reading_value": "45", "redo_reason": "x"},
        ours=ours,
        ago=ago,
    )
    assert bad.status_code == 200, bad.text
    assert OutstandingItem.objects.get().title.startswith("Arrived after the handover")
    # Work after the handover is no late reading, and a measurement never is one: refused in words, for good.
    after = send(on(tablet), url, {**data, "fastener": 5, "reading_value": "60"}, ours=ours)
    other = send(on(tablet), reverse("jobs:measure", args=[run.line_id]), WORDS, ours=ours, ago=ago)
    for answer in (after, other):
        assert (answer.status_code, answer.headers["X-Refused"]) == (422, "1")
        assert "is closed (handed over)" in answer.headers["X-Reasons"]


# ------------------------------------------------------------------------------------------------ the tablet's page


def test_the_list_is_a_shell_that_names_nobody(client, technician):
    client.force_login(technician)
    page = client.get(reverse("workshop:waiting"))
    assert page.status_code == 200
    assert "data-shell" in page.text
    for told in ("Tamsin", str(technician.pk), "data-grant", "csrfmiddlewaretoken"):
        assert told not in page.text
    assert Client().get(reverse("workshop:waiting")).text.count("<form") == page.text.count("<form")
