"""Running the app for real: collected static files and gunicorn in this very process."""

from __future__ import annotations

import os
import sys

from django.conf import settings
from django.core.management import call_command


def prepare(stdout) -> None:
    """Migrate, collect the static files, and run the checks; a check that fails stops the start."""
    call_command("migrate", interactive=False, verbosity=0, stdout=stdout)
    call_command("collectstatic", interactive=False, verbosity=0, stdout=stdout)
    call_command("check", databases=["default"], stdout=stdout)


def serve(bind: str, *, workers: int, threads: int) -> None:
    """Replace this process by gunicorn: signals, exit code and log are its own."""
    from django.db import connections

    connections.close_all()
    os.environ.setdefault(
        "DJANGO_SETTINGS_MODULE", os.environ.get("DJANGO_SETTINGS_MODULE", "workshop.settings")
    )
    os.environ["WORKSHOP_DATA"] = str(settings.WORKSHOP_DATA)
    command = [
        sys.executable,
        "-m",
        "gunicorn",
        "workshop.wsgi:application",
        "--chdir",
        str(settings.BASE_DIR),
        "--bind",
        bind,
        "--workers",
        str(workers),
        "--threads",
        str(threads),
        "--timeout",
        "60",
        "--graceful-timeout",
        "20",
        # Each worker is renewed now and then: printing a sheet leaves memory behind.
        "--max-requests",
        "2000",
        "--max-requests-jitter",
        "200",
        "--no-control-socket",
    ]
    sys.stdout.flush()
    os.execv(sys.executable, command)
