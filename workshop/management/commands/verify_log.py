from django.core.management.base import BaseCommand

from workshop import log


class Command(BaseCommand):
    help = "Check the chain of events from its first link, and name the first that is broken."

    def add_arguments(self, parser):
        parser.add_argument("--all", action="store_true", help="name every problem, not only the first")

    def handle(self, *, all, **options):
        found = list(log.problems()) if all else [log.first_broken_link()]
        found = [problem for problem in found if problem]
        if found:
            for problem in found:
                self.stderr.write(self.style.ERROR(problem))
            raise SystemExit(1)
        head = log.current_head()
        self.stdout.write(self.style.SUCCESS(f"The log is whole: {head.seq} events, head {head.hash[:16]}…"))
