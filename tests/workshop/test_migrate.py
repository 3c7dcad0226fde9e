"""Migrating a shop's database: what is missing is put back by the command that its own check names."""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError

from workshop import triggers

pytestmark = pytest.mark.django_db


def test_missing_triggers_stop_a_check_but_not_the_migration_that_puts_them_back():
    triggers.remove()
    assert not triggers.installed() & triggers.expected()
    with pytest.raises(SystemCheckError, match=r"Triggers .* are missing"):
        call_command("check", databases=["default"])
    call_command("migrate", verbosity=0, skip_checks=False)
    assert triggers.expected() <= triggers.installed()
    call_command("check", databases=["default"])
