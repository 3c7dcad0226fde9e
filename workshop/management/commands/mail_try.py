from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from workshop import mail


class Command(BaseCommand):
    help = "Send a test message to an address, and say in plain words what failed."

    def add_arguments(self, parser):
        parser.add_argument("address", help="where the message goes, such as you@example.org")

    def handle(self, *, address, **options):
        where = mail.server()
        if refusal := where.wrong or mail.sender_problem():
            raise CommandError(refusal)
        how = "encrypted" if where.tls or where.starttls else "not encrypted"
        self.stdout.write(
            f"Sending from {settings.MAIL_FROM} through {where.host}, port {where.port}, {how} …"
        )
        refusal = mail.send(
            to=address,
            subject="A test from the workshop",
            text="This is the test message of Witness Mark. The workshop's e-mail works.\n",
        )
        if refusal:
            raise CommandError(f"Not sent. {refusal}")
        self.stdout.write(
            self.style.SUCCESS(
                "The mail server took the message. If it does not arrive, look among the junk, and ask whoever runs the "
                "mail server whether it may send for this address."
            )
        )
