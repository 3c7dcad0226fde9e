"""That no text column is forgotten, and that what is told can be reckoned."""

from __future__ import annotations

from django.db import models

from vehicles import words
from vehicles.models import Fault


def test_every_text_column_is_told_or_left_out_for_a_reason():
    assert sorted(words.forgotten()) == []


def test_a_column_that_is_neither_is_named(monkeypatch):
    monkeypatch.setattr(words, "_told", {Fault: words._told[Fault][:1]})
    assert "vehicles.Fault.check_made" in set(words.forgotten())


def test_every_reason_says_something():
    assert all(len(reason) > 5 for reason in words._left_out.values())


def test_every_field_and_path_that_is_told_exists():
    for model in words.told_models():
        for told in words._told[model]:
            for name in told.fields:
                assert words.is_text(model._meta.get_field(name)), (model, name)
            for path in told.paths:
                here: type[models.Model] | None = model
                for name in path.split("."):
                    here = here._meta.get_field(name).related_model


def test_every_kind_has_a_label_and_every_label_a_kind():
    used = {told.kind for model in words.told_models() for told in words._told[model]}
    assert used == dict(words.kinds()).keys()
