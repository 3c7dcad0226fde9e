"""Pages go compressed, what is compressed already goes as it is, and the mark of a live page works all the same."""

from __future__ import annotations

import gzip

from tests.factories.photo import PDF, PhotoFactory

ASKS = {"Accept-Encoding": "gzip, br"}


def test_a_page_is_compressed_and_its_length_tells_nothing(client, lead):
    client.force_login(lead)
    answers = [client.get("/shop/people/", headers=ASKS) for _ in range(6)]
    plain = client.get("/shop/people/")
    assert "Content-Encoding" not in plain.headers
    for answer in answers:
        assert answer.headers["Content-Encoding"] == "gzip"
        assert "Accept-Encoding" in answer.headers["Vary"]
        assert b"<!doctype html>" in gzip.decompress(answer.content)
        assert len(answer.content) < len(plain.content) / 2
    # The same page is of another length each time: what an attacker measures is hidden in it.
    assert len({len(answer.content) for answer in answers}) > 1


def test_photos_and_papers_go_as_they_are(client, technician, car):
    client.force_login(technician)
    paper = PhotoFactory(
        person=technician, vehicle=car, data=PDF, kind="document", caption="Weighbridge ticket"
    )
    photo = PhotoFactory(person=technician, vehicle=car)
    for url in (paper.file_url(), photo.file_url(), photo.small_url()):
        answer = client.get(url, headers=ASKS)
        assert answer.status_code == 200
        assert "Content-Encoding" not in answer.headers
        # Their mark stays a strong one: the bytes are the same each time.
        assert answer.headers["ETag"].startswith('"')


def test_a_compressed_poll_is_asked_again_with_its_weak_mark(client, lead):
    """RFC 9110, 8.8.1: a mark of what is recoded on the way is weak; If-None-Match compares weakly (13.1.2)."""
    client.force_login(lead)
    fresh = client.get("/floor/rows/?mine=0", headers=ASKS)
    assert fresh.headers["Content-Encoding"] == "gzip"
    mark = fresh.headers["ETag"]
    assert mark.startswith('W/"')
    again = client.get("/floor/rows/?mine=0", headers={**ASKS, "If-None-Match": mark})
    assert (again.status_code, again.content) == (304, b"")
