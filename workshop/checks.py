"""System checks that speak to whoever runs the shop's server."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from django.conf import settings
from django.core.checks import Error, Info, Tags, Warning, register

PDF_HINT = (
    "On Debian or Ubuntu: apt-get install --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 "
    "libharfbuzz-subset0 fontconfig"
)

_migrating: ContextVar[bool] = ContextVar("migrating", default=False)


@contextmanager
def while_migrating() -> Iterator[None]:
    """Missing triggers must not stop the very command that puts them in place."""
    token = _migrating.set(True)
    try:
        yield
    finally:
        _migrating.reset(token)


def pdf_problem() -> str:
    """Why no PDF can be made on this machine; empty when it can."""
    try:
        import weasyprint  # noqa: F401
    except (OSError, ImportError) as error:
        return str(error).splitlines()[0]
    return ""


@register()
def pdf_library(app_configs, **kwargs):
    if problem := pdf_problem():
        return [
            Warning(
                f"Sheets can't be issued: the PDF library lacks a system library ({problem}). "
                "The browser's print of a sheet is a draft until then.",
                hint=PDF_HINT,
                id="workshop.W001",
            )
        ]
    return []


@register()
def site_address(app_configs, **kwargs):
    if not settings.SITE_URL:
        return [
            Warning(
                "SITE_URL is not set: no sheet is issued, as its QR code would lead nowhere.",
                hint="Set SITE_URL to the address under which the shop is reached, such as https://shop.example",
                id="workshop.W002",
            )
        ]
    return []


@register()
def mail_server(app_configs, **kwargs):
    """Nothing where the shop wants no e-mail; what is wrong, and how it is written, where it wants some."""
    from workshop import mail

    if not settings.MAIL_URL and not settings.MAIL_FROM:
        return []
    return [
        Warning(
            f"No e-mail can be sent: {problem}",
            hint=f"Such as MAIL_URL={mail.EXAMPLE} and MAIL_FROM=shop@example.org; then try: manage.py mail_try ADDRESS",
            id="workshop.W004",
        )
        for problem in (mail.server().wrong, mail.sender_problem())
        if problem
    ]


@register()
def own_certificate(app_configs, **kwargs):
    """When the certificate of `serve --tls` ends, and what is wrong with it; nothing where there never was one."""
    from workshop import trust

    state = trust.look()
    if state is None:
        return []
    if state.problem:
        return [Warning(state.problem, id="workshop.W003")]
    return [Info(state.in_words(), id="workshop.I003")]


@register(Tags.database)
def append_only_triggers(app_configs, databases=None, **kwargs):
    from django.db import connections

    from workshop import triggers

    problems = []
    if _migrating.get():
        return problems
    for alias in databases or []:
        connection = connections[alias]
        with connection.cursor() as cursor:
            if "workshop_event" not in connection.introspection.table_names(cursor):
                continue  # not migrated yet
        if missing := triggers.expected() - triggers.installed(connection):
            problems.append(
                Error(
                    f"Triggers that keep the log append-only are missing: {', '.join(sorted(missing))}.",
                    hint="Run: python manage.py migrate",
                    id="workshop.E010",
                )
            )
    return problems
