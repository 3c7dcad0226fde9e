"""Every model says what becomes of it in the archive of a car, and the published schema says the same."""

from __future__ import annotations

import json

import pytest
from django.core.management import call_command
from django.db import models
from jsonschema import Draft202012Validator

from vehicles.archive import declare, schema
from vehicles.archive.columns import columns_of


def test_no_model_is_forgotten():
    assert declare.undeclared() == []
    assert declare.pointing_out() == []


def test_a_model_that_says_nothing_is_named_with_the_place_where_to_say_it():
    class Forgotten(models.Model):
        class Meta:
            app_label = "vehicles"
            managed = False

        def __str__(self) -> str:
            return ""

    try:
        (sentence,) = declare.undeclared([Forgotten])
    finally:
        from django.apps import apps

        del apps.all_models["vehicles"]["forgotten"]
        apps.clear_cache()
    assert sentence.startswith("vehicles.Forgotten is not declared")
    assert "vehicles/archive/own.py" in sentence


def test_a_model_declared_twice_is_named(monkeypatch):
    monkeypatch.setitem(declare._left_out, "vehicles.vehicle", "for this test")
    assert "declared twice" in declare.undeclared()[0]


def test_a_column_that_names_what_is_left_out_is_named(monkeypatch):
    monkeypatch.delitem(declare._tables, "workshop.device")
    assert any(
        line.startswith("vehicles.Vehicle.device names a record of workshop.device")
        for line in declare.pointing_out()
    )


def test_what_a_declaration_names_is_there():
    """A misspelt column would leave a former keeper's words or money in."""
    for table in declare.tables():
        names = {field.name for field in table.model._meta.get_fields()}
        owners = table.owners
        named = {
            *table.only_fields,
            *table.without,
            *owners.money,
            *owners.hidden,
            *filter(None, [table.comes_with]),
        }
        named |= {each for by, said in owners.said.items() for each in (by, *said)}
        assert named <= names, table.label
        columns = {column.name for column in columns_of(table)}
        assert {*owners.money, *owners.hidden, *owners.said} <= columns, table.label


def test_the_published_schema_is_the_one_that_the_models_make():
    assert schema.PUBLISHED.read_text(encoding="utf-8") == schema.text(), (
        "The models changed: run `manage.py archive_schema`, and raise VERSION in vehicles/archive/__init__.py where a "
        "file written before can't be read any more."
    )


@pytest.mark.outside("JSON Schema, draft 2020-12, meta-schema")
def test_the_schema_is_one(published):
    wrong = list(
        Draft202012Validator(Draft202012Validator.META_SCHEMA).iter_errors(json.loads(schema.text()))
    )
    published.same(len(wrong), 0, "what the meta-schema finds wrong")


def test_the_command_writes_it(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(schema, "PUBLISHED", tmp_path / "schema.json")
    call_command("archive_schema")
    assert (tmp_path / "schema.json").read_text(encoding="utf-8") == schema.text()
