"""The demo's drawn pictures: the same words are the same bytes, so that a demo cut short goes on where it stopped."""

from __future__ import annotations

import io
import tomllib
from datetime import date, datetime

import pytest
from django.core.files.base import ContentFile
from PIL import Image

from jobs import demo, demo_pictures
from vehicles.acts import vehicle as vehicle_acts
from vehicles.files.intake import take_in
from vehicles.models import Angle, Attachment, Occasion
from workshop.acting import By
from workshop.models import Device

AT = datetime(2026, 3, 4, 10, 11, 12)  # noqa: DTZ001 – as a camera writes it, without a zone


def words_of_the_scenes() -> set[str]:
    """Every picture that the scenes name."""
    found: set[str] = set()

    def walk(value, turn):
        if isinstance(value, str) and value.startswith("photo:"):
            found.add(value.removeprefix("photo:").format(**turn))
        for each in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            walk(each, turn)

    for scene in demo.SCENES:
        script = tomllib.loads((demo.SOURCE / f"{scene}.toml").read_text(encoding="utf-8"))
        for step in [*script.get("act", []), *script.get("visit", []), *script.get("then", [])]:
            ((name, values),) = step.get("each", {"": [""]}).items()
            for value in values:
                walk(step, {name: value})
    return found


def test_every_picture_of_the_scenes_is_drawn_alike_twice_and_taken_in():
    words = words_of_the_scenes()
    # All angles but one, which is said to be impossible, on both occasions.
    assert sum(each.startswith("van ") for each in words) == len(Occasion) * (len(Angle) - 1)
    for each in sorted(words):
        drawn = demo_pictures.draw(each, AT)
        assert drawn == demo_pictures.draw(each, AT)
        assert Image.open(io.BytesIO(drawn)).size == demo_pictures.SIZE
    stored = take_in(ContentFile(drawn, name="photo.jpg"))
    assert stored.taken_at.strftime("%Y-%m-%d %H:%M:%S") == "2026-03-04 10:11:12"
    assert stored == take_in(ContentFile(drawn, name="photo.jpg"))


def test_what_nobody_drew_is_an_error():
    with pytest.raises(KeyError):
        demo_pictures.draw("submarine", AT)


def test_played_twice_it_is_one_photo(db, lead):
    player = demo.Player(date(2026, 3, 10))
    car = vehicle_acts.add_vehicle(
        by=By(lead), number="FRAME0001", make="Halden", model="Drayman", year=1975, as_stamped=True
    )
    player.names = {"lida": lead, "car": car, "tablet": Device.objects.create(name="Tablet")}
    step = {
        "do": "vehicles.photo.add_files",
        "by": "lida",
        "at": "-1 09:00",
        "args": {"vehicle": "$car", "files": ["photo:bolt 8.8"]},
    }
    for _ in range(2):
        player._perform("scene", "scene/1/0", step, {"turn": 0})
    photo = Attachment.objects.get()
    assert photo.vehicle == car
    # Taken when the act was played, by the time in the picture's own data.
    assert photo.taken_at == photo.made_at
