"""The styles page draws every part of the templates: a new one that it does not show fails here."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.urls import reverse

# The frame of the pages that say that something failed: a page of its own, not a part of one.
NOT_A_PART = {"_bare.html"}


def test_every_part_is_shown(client, technician):
    client.force_login(technician)
    response = client.get(reverse("workshop:styles"))
    assert response.status_code == 200
    drawn = {
        template.name.removeprefix("components/")
        for template in response.templates
        if template.name and template.name.startswith("components/")
    }
    folder = Path(settings.BASE_DIR) / "templates" / "components"
    parts = {file.name for file in folder.glob("_*.html")}
    assert "_field.html" in drawn, "parts of parts are counted"
    assert parts - drawn - NOT_A_PART == set(), "add its states to workshop/specimens.py"


def test_the_page_is_whole(client, technician, django_assert_max_num_queries):
    client.force_login(technician)
    with django_assert_max_num_queries(5):
        page = client.get(reverse("workshop:styles")).text
    assert page.count("<h1") == 1
    assert "You typed this here at 10:42 and did not send it." in page
