"""The car photographed all round: resumable by anybody, counted, and laid side by side."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from jobs import angles
from jobs.acts import angle as acts
from jobs.models import AngleNotPossible
from tests.factories.job import job_in
from tests.factories.photo import PDF, PhotoFactory, picture
from tests.once import once
from tests.people import by
from vehicles.acts import photo as photo_acts
from vehicles.models import Angle, Occasion

pytestmark = pytest.mark.django_db


@once
def job(car, lead):
    return job_in("in_work", person=lead, vehicle=car)


def page(job, occasion="check_in") -> str:
    return reverse("jobs:angles", args=[job.pk, occasion])


def shoot(job, angle, person, occasion="check_in", **fields):
    return PhotoFactory(person=person, vehicle=job.vehicle, job=job, occasion=occasion, angle=angle, **fields)


def test_one_begins_and_another_goes_on(client, job, technician, other_technician):
    client.force_login(technician)
    text = client.get(page(job)).content.decode()
    assert f">0</span> of {len(Angle)}" in text
    query = urlencode(
        {"job": job.pk, "occasion": "check_in", "angle": "front", "kind": "photo", "next": page(job)}
    )
    url = f"{reverse('vehicles:photo-add', args=[job.vehicle_id])}?{query}"
    assert query.replace("&", "&amp;").split("&amp;next")[0].split("job=")[1][:36] in text
    answer = client.post(url, {"key": uuid4(), "files": [SimpleUploadedFile("a.jpg", picture())]})
    assert (answer.status_code, answer.url) == (302, page(job))
    client.force_login(other_technician)
    text = client.get(page(job)).content.decode()
    assert f">1</span> of {len(Angle)}" in text
    assert technician.name in text
    answer = client.post(
        reverse("jobs:angle-not-possible", args=[job.pk, "check_in", "roof"]),
        {"key": uuid4(), "because": "too high"},
    )
    assert (answer.status_code, answer.url) == (302, f"{page(job)}#roof")
    text = client.get(page(job)).content.decode()
    assert f">2</span> of {len(Angle)}" in text
    assert "Not possible: too high" in text


def test_a_picture_taken_later_counts_instead_of_the_reason(job, technician):
    acts.angle_not_possible(by=by(technician), job=job, occasion="check_in", angle="roof", because="too high")
    shot = next(each for each in angles.rounds(job)["check_in"].shots if each.angle == "roof")
    assert shot.state == "not_possible"
    photo = shoot(job, "roof", technician)
    shot = next(each for each in angles.rounds(job)["check_in"].shots if each.angle == "roof")
    assert (shot.state, shot.photo) == ("photo", photo)


def test_the_latest_counts_and_a_set_aside_one_does_not(job, technician, lead):
    first, second = shoot(job, "front", technician), shoot(job, "front", technician)
    front = angles.rounds(job)["check_in"].shots[0]
    assert (front.photo, len(front.photos)) == (second, 2)
    photo_acts.set_aside(by=by(lead), attachment=second, because="blurred")
    assert angles.rounds(job)["check_in"].shots[0].photo == first


def test_both_sets_side_by_side_with_their_dates(client, job, technician):
    yesterday = timezone.localtime() - timedelta(days=1)
    taken = yesterday.strftime("%Y:%m:%d %H:%M:%S")
    first = shoot(job, "left", technician, data=picture(colour="#101010", taken=taken))
    second = shoot(job, "left", technician, occasion="before_handover", data=picture(colour="#f0f0f0"))
    client.force_login(technician)
    text = client.get(reverse("jobs:angles-compare", args=[job.pk])).content.decode()
    assert text.index(first.file_url()) < text.index(second.file_url())
    assert yesterday.strftime("%H:%M") in text
    assert text.count("Not taken") == 2 * (len(Angle) - 1)


def test_check_in_pictures_that_come_late_say_so(job, technician):
    photo = shoot(job, "front", technician)
    assert angles.late_words(photo, job) == ""
    photo.made_at = job.check_in.made_at + timedelta(hours=5)
    assert angles.late_words(photo, job) == "added 5 hours after check-in"
    photo.made_at = job.check_in.made_at + timedelta(days=3, hours=1)
    assert angles.late_words(photo, job) == "added 3 days after check-in"
    photo.occasion = Occasion.BEFORE_HANDOVER
    assert angles.late_words(photo, job) == ""


def test_once_the_car_has_left_nothing_is_added(client, job, technician, lead, car):
    from jobs.models import Job
    from workshop import triggers

    with triggers.lifted():
        Job.objects.filter(pk=job.pk).update(state="handed_over")
    job.refresh_from_db()
    with pytest.raises(ValidationError, match="stay as they are"):
        shoot(job, "front", technician)
    with pytest.raises(ValidationError, match="is over"):
        acts.angle_not_possible(by=by(technician), job=job, occasion="check_in", angle="roof", because="high")
    client.force_login(technician)
    text = client.get(page(job)).content.decode()
    assert "this set stays as it is" in text
    assert "data-photo-input" not in text


def test_an_angle_without_its_job_or_occasion_is_refused(client, car, job, technician):
    client.force_login(technician)
    add = reverse("vehicles:photo-add", args=[car.pk])
    assert client.get(f"{add}?job={job.pk}&angle=front").status_code == 404
    assert client.get(f"{add}?job={job.pk}&angle=front&occasion=never").status_code == 404
    assert client.get(page(job, "never")).status_code == 404
    with pytest.raises(ValidationError, match="are of a job"):
        PhotoFactory(person=technician, vehicle=car, occasion="check_in", angle="front")
    answer = client.post(
        f"{add}?job={job.pk}&angle=front&occasion=check_in",
        {"key": uuid4(), "files": [SimpleUploadedFile("a.pdf", PDF)]},
    )
    assert answer.status_code == 422
    assert "This is a PDF, not a photo" in answer.content.decode()


def test_a_reason_is_needed_and_never_altered(job, technician):
    with pytest.raises(ValidationError, match="Say why"):
        acts.angle_not_possible(by=by(technician), job=job, occasion="check_in", angle="roof", because="  ")
    row = acts.angle_not_possible(
        by=by(technician), job=job, occasion="check_in", angle="roof", because="high"
    )
    with pytest.raises(IntegrityError, match="never altered"), transaction.atomic():
        AngleNotPossible.objects.filter(pk=row.pk).update(because="locked")
    with pytest.raises(IntegrityError), transaction.atomic():
        AngleNotPossible.objects.filter(pk=row.pk).delete()


def test_the_job_page_says_how_far_both_sets_are(client, job, technician, lead):
    for angle in ("front", "left", "rear"):
        shoot(job, angle, technician)
    client.force_login(technician)
    text = client.get(reverse("jobs:job", args=[job.pk])).content.decode()
    assert f"3 of {len(Angle)} angles" in text
    assert page(job) in text
    assert page(job, "before_handover") in text


def test_queries_do_not_grow(client, job, technician):
    def count(url) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        return len(queries)

    client.force_login(technician)
    urls = [page(job), reverse("jobs:angles-compare", args=[job.pk]), reverse("jobs:job", args=[job.pk])]
    shoot(job, "front", technician)
    little = [count(url) for url in urls]
    for angle in Angle:
        shoot(job, angle, technician)
        shoot(job, angle, technician, occasion="before_handover")
    assert [count(url) for url in urls] == little
