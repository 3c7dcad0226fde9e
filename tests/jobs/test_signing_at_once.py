"""Two people sign the same sheet at the same moment: apart from the others, as it needs real transactions."""

from __future__ import annotations

import pytest
from django.test import Client

from jobs.models import Job, SheetRevision, SignatureInk, SignOff
from tests.at_once import at_once
from tests.factories.handover import ReadyJobFactory
from tests.factories.work import owner_of
from tests.people import CAST, by, make_person
from tests.signing import drawing, leaving_form, sign
from vehicles.acts import vehicle as vehicle_acts


def glass(**fields) -> dict:
    return {
        "lead_signs": "glass", "lead_ink": drawing(), "collector_signs": "glass", "collector_ink": drawing(1),
        **fields,
    }  # fmt: skip


@pytest.mark.django_db(transaction=True)
def test_two_leads_sign_at_once_and_one_sheet_is_issued():
    people = [make_person(*CAST["lead"]), make_person(*CAST["shop_owner"])]
    car = vehicle_acts.add_vehicle(
        by=by(people[0]), number="FRAME778", make="Ostra", model="1600 GT", year=1975
    )
    keeper = owner_of(car, people[0])
    job = ReadyJobFactory(person=people[0], vehicle=car, keeper=keeper)
    url = f"/jobs/{job.pk}/handover/"

    def give(person):
        client = Client()
        client.force_login(person)
        typed = leaving_form(keeper)
        page = client.post(url, typed)

        def signed():
            answer = sign(client, url, typed, page, **glass())
            return answer.status_code, "was handed over already" in answer.content.decode()

        return signed

    said = at_once(*map(give, people))
    assert sorted(said) == [(302, False), (422, True)]
    assert SheetRevision.objects.count() == 1
    assert SignOff.objects.count() == SignatureInk.objects.count() == 2
    assert Job.objects.get(pk=job.pk).state == "handed_over"
