from django.core.management.base import BaseCommand

from workshop import serving


class Command(BaseCommand):
    help = "Run the shop's server: migrate, check, then serve with gunicorn until stopped."

    def add_arguments(self, parser):
        parser.add_argument("--bind", default="127.0.0.1:8000", help="address:port (default 127.0.0.1:8000)")
        parser.add_argument("--workers", type=int, default=2)
        parser.add_argument("--threads", type=int, default=4)

    def handle(self, *, bind, workers, threads, **options):
        serving.prepare(self.stdout)
        self.stdout.write(f"Serving on http://{bind} (stop with Ctrl+C)")
        serving.serve(bind, workers=workers, threads=threads)
