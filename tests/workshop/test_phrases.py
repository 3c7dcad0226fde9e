"""Phrases of this shop: what is taken from its texts, in what order, what is never offered, and the endpoint."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.models import WorkLine
from tests.factories.job import JobFactory
from tests.factories.work import WorkLineFactory
from workshop.phrases import HALF_LIFE, LONGEST, SHORTEST, phrases


def test_what_is_written_most_comes_first():
    texts = [
        "Guides cleaned and greased. Road-tested.",
        "Front pads renewed, guides cleaned and greased",
        "Hose renewed; system bled.",
        "guides cleaned and greased!",
    ]
    found = phrases(texts)
    assert found[0] == "Guides cleaned and greased"
    assert {"Front pads renewed, guides cleaned and greased", "Front pads renewed", "Hose renewed"} <= set(
        found
    )
    # One word is typed as fast as it is tapped; the same with another capital is the same.
    assert "Road-tested" not in found
    assert sum(each.casefold() == "guides cleaned and greased" for each in found) == 1


def test_what_is_said_today_comes_before_what_was_said_as_often_long_ago():
    old = ["Wheel bearing renewed"] * 3
    between = [
        f"{'abcdefghij'[n % 10]}{'klmnopqrst'[n // 10 % 10]} seen and noted" for n in range(3 * HALF_LIFE)
    ]
    assert phrases(["Hub bearing renewed", *between, *old]).index("Hub bearing renewed") < phrases(
        ["Hub bearing renewed", *between, *old]
    ).index("Wheel bearing renewed")
    # Written often enough it stays ahead all the same.
    assert phrases(["Hub bearing renewed", *old])[0] == "Wheel bearing renewed"


def test_a_measured_value_is_never_offered():
    """What one car had must not be put into another's record with a tap."""
    found = phrases(["Disc worn to 21.4 mm, below the limit. Both discs renewed."])
    assert found == ["below the limit", "Both discs renewed"]


@settings(deadline=None)
@given(st.lists(st.text(max_size=150), max_size=6))
def test_any_text_is_taken_apart(texts):
    found = phrases(texts)
    assert all(SHORTEST <= len(each) <= LONGEST for each in found)
    assert len({each.casefold() for each in found}) == len(found)
    flat = " ".join(" ".join(text.split()) for text in texts)
    assert all(each in flat for each in found)


@pytest.fixture
def client(technician):
    client = Client()
    client.force_login(technician)
    return client


def test_of_causes_and_corrections_never_of_complaints(client, lead, car):
    job = JobFactory(person=lead, vehicle=car)
    line = WorkLineFactory(person=lead, job=job, complaint="Mrs Penn hears a rattle")
    WorkLine.objects.filter(pk=line.pk).update(
        cause="Heat shield loose at the bracket.", correction="Bracket welded and shield refitted."
    )

    def offered(field):
        return client.get(reverse("jobs:phrases", args=[field])).json()["phrases"]

    assert offered("cause") == ["Heat shield loose at the bracket"]
    assert offered("correction") == ["Bracket welded and shield refitted"]
    assert client.get(reverse("jobs:phrases", args=["complaint"])).status_code == 404


def test_one_query_and_nothing_sent_again_while_nothing_is_new(client, lead, car):
    job = JobFactory(person=lead, vehicle=car)
    address = reverse("jobs:phrases", args=["correction"])

    def asked(tag=""):
        with CaptureQueriesContext(connection) as counted:
            answer = client.get(address, headers={"If-None-Match": tag})
        return answer, sum("jobs_workline" in each["sql"] for each in counted), len(counted)

    first, own, little = asked()
    for number in range(12):
        line = WorkLineFactory(person=lead, job=job)
        WorkLine.objects.filter(pk=line.pk).update(
            correction=f"Seal {'abcdefghijkl'[number]} renewed and seated"
        )
    again, own_again, much = asked(first.headers["ETag"])
    assert (own, own_again, much) == (1, 1, little)
    assert again.status_code == 200
    assert len(again.json()["phrases"]) == 12
    same, _, _ = asked(again.headers["ETag"])
    assert same.status_code == 304
    assert not same.content


def test_a_field_for_speaking_is_plain(client, lead, car):
    """Dictated, a text comes whole: no limit cuts it in silence, capitals and spelling are the keyboard's affair."""
    line = WorkLineFactory(person=lead, job=JobFactory(person=lead, vehicle=car))
    page = client.get(reverse("jobs:line-write", args=[line.pk])).content.decode()
    for name in ("cause", "correction", "complaint"):
        start = page.index(f'<textarea name="{name}"')
        tag = page[start : page.index(">", start)]
        assert "maxlength" not in tag
        assert 'spellcheck="true"' in tag
        assert 'autocapitalize="sentences"' in tag
    assert page.count("data-phrases=") == 2
    long = client.post(
        reverse("jobs:line-write", args=[line.pk]),
        {"complaint": "x" * 301, "seen_version": line.version, "key": "0190c1f0-3c57-7e1c-b9c3-0f2f3f5a1234"},
    )
    assert long.status_code == 422
    assert "300" in long.content.decode()
