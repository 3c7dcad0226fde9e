"""Running the app for real: collected static files and gunicorn in this very process."""

from __future__ import annotations

import os
import sys
import traceback

from django.conf import settings
from django.core.management import CommandError, call_command
from django.core.management.base import BaseCommand

from workshop.gunicorn_child import end_with_parent


def prepare(stdout) -> None:
    """Migrate, collect the static files, and run the checks; a check that fails stops the start."""
    call_command("migrate", interactive=False, verbosity=0, stdout=stdout)
    call_command("collectstatic", interactive=False, verbosity=0, stdout=stdout)
    call_command("check", databases=["default"], stdout=stdout)


def prepare_apart(command: BaseCommand) -> None:
    """As `prepare`, in a process that ends and takes the memory with it: half of what watching over servers needs."""
    command.stdout.flush()
    child = os.fork()
    if child == 0:
        code = 1
        end_with_parent()
        try:
            prepare(command.stdout)
            code = 0
        except CommandError as error:
            command.stderr.write(str(error))
        except Exception:
            traceback.print_exc()
        finally:
            command.stdout.flush()
            os._exit(code)
    if code := os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]):
        sys.exit(abs(code))


def environment() -> dict[str, str]:
    """What the processes that serve are told: the shop's own settings and data folder, as this process has them."""
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": os.environ.get("DJANGO_SETTINGS_MODULE", "workshop.settings"),
        "WORKSHOP_DATA": str(settings.WORKSHOP_DATA),
    }


def gunicorn(application: str, bind: str, *, workers: int, threads: int) -> list[str]:
    """The command line that serves an application."""
    return [
        sys.executable,
        "-m",
        "gunicorn",
        application,
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


def serve(bind: str, *, workers: int, threads: int) -> None:
    """Replace this process by gunicorn: signals, exit code and log are its own."""
    from django.db import connections

    connections.close_all()
    sys.stdout.flush()
    command = gunicorn("workshop.wsgi:application", bind, workers=workers, threads=threads)
    os.execve(sys.executable, command, environment())
