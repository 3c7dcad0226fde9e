"""The emergency pages: off unless the server was told; then read-only, for shop owners, under the same strict policy.

They are an app that settings add, so the walk over them runs in a process of its own.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys

from django.conf import settings
from django.urls import NoReverseMatch, reverse

WALK = r"""
import json, os, re, sys
from pathlib import Path

folder = Path(sys.argv[1])
class EveryAppWithout:
    def __contains__(self, name): return True
    def __getitem__(self, name): return None
import workshop.settings as shop
shop.MIGRATION_MODULES = EveryAppWithout()
shop.STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
shop.ALLOWED_HOSTS = ["testserver"]
import django
django.setup()
from django.core.management import call_command
call_command("migrate", run_syncdb=True, verbosity=0)
from django.test import Client
from django.urls import reverse
from django.contrib.sessions.models import Session
from tests.people import make_person
from workshop import emergency, log
from workshop.models import Person, SignInTry
from workshop.permissions import Role
from vehicles.acts import vehicle
from workshop.acting import By
from workshop.acts import pins
from django.utils import timezone

owner, lead = make_person("Silvan Quarrie", Role.SHOP_OWNER), make_person("Lida Marchbank", Role.LEAD)
vehicle.add_vehicle(by=By(owner), number="WHD45RV0000123456", as_stamped=True, make="Halden", model="Drayman", year=2006)
pins.set_pin(by=By(owner), pin="395172")
SignInTry.objects.create(sign_in_name="lida", at=timezone.now())
found = {"pages": 0, "wrong": []}
client, other, nobody = Client(), Client(), Client()
client.force_login(owner)
other.force_login(lead)

def look(url, expected=200):
    answer = client.get(url)
    found["pages"] += 1
    text = answer.content.decode()
    if answer.status_code != expected:
        found["wrong"].append([url, answer.status_code])
    for inline in (r"<script(?![^>]*\bsrc=)[^>]*>\s*\S", r"<style", r"\sstyle=", r"\son[a-z]+="):
        for match in re.finditer(inline, text):
            if "application/json" not in match.group() and "text/javascript" not in answer.headers["Content-Type"]:
                found["wrong"].append([url, "inline", text[match.start():match.start() + 120]])
    if "argon2" in text or "pbkdf2" in text:
        found["wrong"].append([url, "shows a hash of a password or a PIN"])
    policy = answer.headers["Content-Security-Policy"]
    if "unsafe" in policy or "script-src 'self'" not in policy:
        found["wrong"].append([url, policy])
    return text

index = reverse("admin:index")
look(index)
for url, who, status in ((index, other, 403), (index, nobody, 302)):
    if (answer := who.get(url)).status_code != status:
        found["wrong"].append([url, "somebody else", answer.status_code])
registered = emergency.site._registry
for model in registered:
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    rows = reverse(f"{name}_changelist")
    look(rows)
    if other.get(rows).status_code != 403:
        found["wrong"].append([rows, "a lead may read"])
    if client.get(reverse(f"{name}_add")).status_code != 403:
        found["wrong"].append([name, "can be added to"])
    row = model._base_manager.first()
    if row is None:
        continue
    page = reverse(f"{name}_change", args=[row.pk])
    look(page)
    if client.post(page, {"name": "X"}).status_code != 403:
        found["wrong"].append([page, "can be changed"])
    clearable = model in (Session, SignInTry)
    status = client.get(reverse(f"{name}_delete", args=[row.pk])).status_code
    if status != (200 if clearable else 403):
        found["wrong"].append([page, "deletion", status])
    if not clearable:
        answer = client.post(rows, {"action": "delete_selected", "_selected_action": [str(row.pk)], "post": "yes"})
        if not model._base_manager.filter(pk=row.pk).exists():
            found["wrong"].append([rows, "deleted by a list"])
events = log.current_head().seq
tries = SignInTry.objects.get()
client.post(reverse("admin:workshop_signintry_delete", args=[tries.pk]), {"post": "yes"})
key = other.session.session_key
client.post(reverse("admin:sessions_session_changelist"), {"action": "delete_selected", "_selected_action": [key], "post": "yes"})
found["tries"] = SignInTry.objects.count()
found["lead_is_out"] = other.get(reverse("jobs:floor")).status_code == 302
found["events"] = log.current_head().seq - events
found["broken"] = log.first_broken_link()
found["models"] = len(registered)
print(json.dumps(found))
"""


def test_it_is_off_unless_the_server_was_told(client, shop_owner):
    assert settings.EMERGENCY_ADMIN is False
    assert "django.contrib.admin" not in " ".join(settings.INSTALLED_APPS)
    try:
        reverse("admin:index")
    except NoReverseMatch:
        pass
    else:
        raise AssertionError("the emergency pages are on")
    client.force_login(shop_owner)
    assert client.get("/emergency/").status_code == 404


def test_every_table_can_be_read_and_none_changed(tmp_path):
    environment = {
        **{
            name: value
            for name, value in os.environ.items()
            if name in ("PATH", "HOME", "LANG", "LD_LIBRARY_PATH")
        },
        "WORKSHOP_DATA": str(tmp_path),
        "SECRET_KEY": "only-for-tests-" * 5,
        "EMERGENCY_ADMIN": "1",
        "DJANGO_SETTINGS_MODULE": "workshop.settings",
        "PYTHONPATH": str(settings.BASE_DIR),
    }
    out = subprocess.run(
        [sys.executable, "-c", WALK, str(tmp_path)],
        cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert out.returncode == 0, out.stderr[-3000:]
    found = json.loads(out.stdout.strip().splitlines()[-1])
    assert found["wrong"] == []
    assert found["models"] > 50
    assert found["pages"] > found["models"]
    assert found["tries"] == 0
    assert found["lead_is_out"]
    assert found["events"] == 2, "what is cleared there stands in the event log"
    assert found["broken"] is None
