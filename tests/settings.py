"""Settings for the tests: the shop's own, in a data folder that lasts as long as the process.

pytest-django reads this before any conftest.py, so what workshop.settings takes from the environment is
set here first. Only DATABASE_URL is taken over from outside: with it the suite runs on PostgreSQL.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

_folder = tempfile.mkdtemp(prefix="witness-mark-test-")
atexit.register(shutil.rmtree, _folder, ignore_errors=True)

# What a developer's shell holds for a real shop must not reach a test, nor a test that shop's data.
for _name in (
    "SECRET_KEY",
    "SITE_URL",
    "DEBUG",
    "ALLOWED_HOSTS",
    "SHOP_TIME_ZONE",
    "HSTS_SECONDS",
    "BEHIND_PROXY",
    "LOCAL_TLS",
    "EMERGENCY_ADMIN",
    "MAIL_URL",
    "MAIL_FROM",
):
    os.environ.pop(_name, None)
    os.environ.pop(f"{_name}_FILE", None)
os.environ["WORKSHOP_DATA"] = _folder
os.environ["SECRET_KEY"] = "only-for-tests-" * 5
# http, or every test client would be redirected; a host of its own, so that a link made from the request's
# host instead of the site's address shows.
os.environ["SITE_URL"] = "http://shop.example"

from workshop.settings import *  # noqa: E402

# In a file, not in memory: SQLite's shared memory database answers a second thread with "table is locked"
# at once, whatever the time-out, so two people at one record could not be tested. On PostgreSQL Django
# names the test database itself.
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["TEST"] = {"NAME": str(Path(_folder) / "test.sqlite3")}

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # quick; of no worth outside tests

# The hashed names need a collectstatic that tests do not run; and each test client would make WhiteNoise
# scan the collected files anew (measured: 300 client tests 8.9 s with the scan, 1.3 s without).
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
