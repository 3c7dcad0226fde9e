from getpass import getpass

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from workshop.acts.people import add_first_owner


class Command(BaseCommand):
    help = "Add the first person of a new installation, with the shop owner's role. Others are added in the browser."

    def add_arguments(self, parser):
        parser.add_argument("--name", help="full name")
        parser.add_argument("--sign-in-name", help="name to sign in with")
        parser.add_argument(
            "--password-stdin", action="store_true", help="read the password from standard input"
        )

    def handle(self, *, name, sign_in_name, password_stdin, **options):
        name = name or input("Full name: ")
        sign_in_name = sign_in_name or input("Name to sign in with: ")
        password = self._password(from_stdin=password_stdin)
        try:
            person = add_first_owner(name=name, sign_in_name=sign_in_name, password=password)
        except ValidationError as refusal:
            raise CommandError(" ".join(refusal.messages)) from refusal
        self.stdout.write(self.style.SUCCESS(f"{person.name} signs in as “{person.sign_in_name}”."))

    def _password(self, *, from_stdin: bool) -> str:
        if from_stdin:
            return input()
        password = getpass("Password (at least 10 characters): ")
        if password != getpass("Once more: "):
            raise CommandError("The two passwords differ. Nothing was saved.")
        return password
