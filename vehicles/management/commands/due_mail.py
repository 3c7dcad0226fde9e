from __future__ import annotations

from datetime import time

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from vehicles import due_mail
from vehicles.models import DueReader
from workshop import mail


def _clock(text: str) -> time:
    try:
        return time.fromisoformat(text)
    except ValueError as error:
        raise CommandError(f"“{text}” is no time. Give it like 05:30.") from error


class Command(BaseCommand):
    help = (
        "Send the due list by e-mail to whoever asked for it, once a person and day. Safe to run every hour: "
        "what failed is tried again, what was sent is not."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--from",
            dest="earliest",
            default="05:00",
            help="not before this time in the shop (default 05:00)",
        )

    def handle(self, *, earliest, **options):
        now = timezone.now()
        if timezone.localtime(now).time() < _clock(earliest):
            self.stdout.write(f"Nothing is sent before {earliest}.")
            return
        if not DueReader.objects.filter(wants_mail=True, person__is_active=True).exists():
            self.stdout.write("Nobody asked for the due list by e-mail.")
            return
        if refusal := mail.server().wrong or mail.sender_problem():
            raise CommandError(refusal)
        done = due_mail.send_all(now, self.stderr.write)
        self.stdout.write(
            f"Sent: {done.sent}. Sent before: {done.already}. Nothing due: {done.nothing}. Failed: {done.failed}."
        )
        if done.failed:
            raise CommandError("Not all could be sent. The next run of today tries again.")
