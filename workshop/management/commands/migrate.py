from django.core.management.commands import migrate

from workshop import checks


class Command(migrate.Command):
    def check(self, *args, **kwargs):
        with checks.while_migrating():
            return super().check(*args, **kwargs)
