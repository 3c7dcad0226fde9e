"""The event log as people read it: filters, pages, and a fixed number of questions to the database."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from tests.factories.run import OpenLineFactory
from tests.once import once
from tests.people import by
from vehicles.acts import fault
from workshop.acts import shop
from workshop.models import Event

URL = "/shop/log/"


@once
def story(lead, technician, shop_owner, car):
    """A car with a job and a fault, and a change of the settings."""
    line = OpenLineFactory(person=lead, vehicle=car)
    fault.report_fault(
        by=by(technician), vehicle=car, title="Clunk at the rear", kind="complaint", severity="minor"
    )
    shop.change_shop(by=by(shop_owner), seen_version=1, name="Quarry Lane Motor Works")
    return line


def acts(client, **filters) -> set[str]:
    return {event.act for event in client.get(URL, filters).context["page"]}


def test_each_filter_finds_its_own(client, story, lead, technician, car):
    client.force_login(lead)
    everything = acts(client)
    assert "workshop.shop.change_shop" in everything
    assert acts(client, person=technician.pk) == {"vehicles.fault.report_fault"}
    assert "workshop.shop.change_shop" not in acts(client, vehicle="Halden Drayman")
    assert "vehicles.fault.report_fault" in acts(client, vehicle="Halden Drayman")
    of_job = acts(client, job=story.job.number)
    assert of_job
    assert "vehicles.fault.report_fault" not in of_job
    assert acts(client, act="report fault") == {"vehicles.fault.report_fault"}
    assert acts(client, day=timezone.localdate().isoformat()) == everything
    assert acts(client, day=(timezone.localdate() - timedelta(days=1)).isoformat()) == set()
    assert acts(client, vehicle="no such car") == set()
    assert acts(client, job="9999-1") == set()


def test_a_wrong_day_is_said_beside_its_field(client, story, lead):
    client.force_login(lead)
    assert "errors" in client.get(URL, {"day": "the other day"}).text


def test_it_names_the_car_and_the_job(client, story, lead, car):
    client.force_login(lead)
    page = client.get(URL, {"job": story.job.number}).text
    assert car.name in page
    assert f"job {story.job.number}" in page


def test_questions_do_not_grow_with_the_log(client, story, lead, technician, car, django_assert_num_queries):
    client.force_login(lead)
    client.get(URL)
    with django_assert_num_queries(10):
        client.get(URL)
    for number in range(60):
        fault.report_fault(
            by=by(technician), vehicle=car, title=f"Rattle {number}", kind="complaint", severity="minor"
        )
    assert Event.objects.count() > 60
    with django_assert_num_queries(9):  # no job is named on this page
        page = client.get(URL)
    assert page.context["page"].paginator.num_pages == 3
    assert client.get(URL, {"page": 2, "person": technician.pk}).context["page"].number == 2
