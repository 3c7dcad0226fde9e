import os
import shutil
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connections

from jobs import demo
from jobs.models import SheetRevision
from workshop import log, serving
from workshop.checks import PDF_HINT, pdf_problem


class Command(BaseCommand):
    help = (
        "Play the invented scenario in a folder of its own (demo/ inside WORKSHOP_DATA), write the handover sheet "
        "as a PDF, and serve it. Run again, it goes on with what is there."
    )
    # The database is made by the command itself.
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("--no-serve", action="store_true", help="stop after the sheet is written")
        parser.add_argument("--bind", default="127.0.0.1:8000", help="address:port (default 127.0.0.1:8000)")
        parser.add_argument(
            "--afresh", action="store_true", help="throw the demo's folder away and begin again"
        )

    def handle(self, *, no_serve, bind, afresh, **options):
        folder = Path(settings.WORKSHOP_DATA)
        if os.environ.get("WITNESS_MARK_DEMO") != "1":
            raise CommandError("Start the demo from the command line: python manage.py demo")
        if problem := pdf_problem():
            raise CommandError(f"The handover sheet can't be made here: {problem}\n{PDF_HINT}")
        if afresh:
            self._clear(folder)
        serving.prepare(self.stdout)
        scenario = demo.Demo.open(folder)
        if scenario.is_whole():
            self.stdout.write(f"The demo of {scenario.today} is there already; --afresh would begin again.")
        else:
            try:
                played = demo.play(scenario, lambda text: self.stdout.write(f"  {text}"))
            except demo.SceneError as error:
                raise CommandError(str(error)) from error
            self.stdout.write(f"Played {played} acts; the log has {log.current_head().seq} events.")
        if problem := log.first_broken_link():
            raise CommandError(problem)
        for path in self._write_sheets(folder, scenario.main_job()):
            self.stdout.write(self.style.SUCCESS(f"Handover sheet: {path}"))
        self.stdout.write("")
        self.stdout.write(f"Sign in with the password “{demo.PASSWORD}” as:")
        for name, what in demo.sign_ins():
            self.stdout.write(f"  {name:10} {what}")
        self.stdout.write("")
        if no_serve:
            self.stdout.write("Serve it with: python manage.py demo")
            return
        self.stdout.write(f"Serving on http://{bind} (stop with Ctrl+C)")
        serving.serve(bind, workers=2, threads=4)

    def _clear(self, folder: Path) -> None:
        """Only what the demo made: its own folder, known by its mark or empty."""
        if folder.name != "demo" and not (folder / "demo.json").exists():
            raise CommandError(f"{folder} is no demo's folder: nothing was removed.")
        connections.close_all()
        key = folder / "secret_key"
        for entry in folder.iterdir():
            if entry == key:
                continue  # in use by this very process
            if entry.is_dir():
                shutil.rmtree(entry)
            else:
                entry.unlink()

    def _write_sheets(self, folder: Path, job: str) -> list[Path]:
        """The main story's sheet, as the file somebody would print, beside the database that keeps its bytes."""
        target = folder / "sheets"
        target.mkdir(exist_ok=True)
        paths = []
        for revision in SheetRevision.objects.filter(job=job).select_related("job", "text"):
            if revision.text.pdf is not None:
                path = target / f"handover-{revision.job.number}-revision-{revision.revision}.pdf"
                path.write_bytes(bytes(revision.text.pdf))
                paths.append(path)
        return paths
