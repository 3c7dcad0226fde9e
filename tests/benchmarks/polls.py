"""What it costs that twenty tablets look at the floor all day: `python -m tests.benchmarks.polls [FOLDER]`.

The played demo, served by `manage.py demo`; twenty signed-in tablets ask for the floor's rows with the mark of what they
show, as fast as they are answered. The processor time of the server's processes
is read from the system (/proc), so that a busy machine and the asking side do not count. Then one act is written, and
each tablet asks once more and is answered in full.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlencode

from tests.benchmarks import serving

TABLETS, SECONDS, EVERY = 20, 10, 5


class Tablet:
    def __init__(self, url: str, name: str, password: str):
        self.url, self.jar = url, CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar))
        door = self._text("/sign-in/")
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', door)[1]
        fields = {"csrfmiddlewaretoken": token, "username": name, "password": password}
        request = urllib.request.Request(
            f"{url}/sign-in/", urlencode(fields).encode(), {"Referer": f"{url}/sign-in/"}
        )
        self.opener.open(request).read()
        self.load()

    def _text(self, path: str) -> str:
        return self.opener.open(self.url + path).read().decode()

    def load(self) -> None:
        page = self._text("/floor/")
        self.rows = re.search(r'data-live="([^"]+)"', page)[1].replace("&amp;", "&")
        self.mark = re.search(r'data-mark-of-page="([^"]+)"', page)[1].replace("&quot;", '"')

    def poll(self) -> int:
        headers = {"If-None-Match": self.mark, "HX-Request": "true", "Accept-Encoding": "gzip"}
        try:
            with self.opener.open(urllib.request.Request(self.url + self.rows, headers=headers)) as answer:
                answer.read()
                self.mark = answer.headers["ETag"]
                return answer.status
        except urllib.error.HTTPError as answer:
            return answer.code


def processor_seconds(parent: int) -> float:
    """Of a process and its children that live, in seconds."""
    ticks = 0
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
            if int(folder.name) == parent or int(fields[1]) == parent:
                ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def main(folder: Path) -> None:
    with serving.demo(folder) as (url, server):
        serving.set_up_django(folder)
        from jobs.demo import PASSWORD

        tablets = [Tablet(url, "tamsin", PASSWORD) for _ in range(TABLETS)]
        answered: list[int] = []
        until = time.monotonic() + SECONDS

        def ask(tablet: Tablet) -> None:
            while time.monotonic() < until:
                answered.append(tablet.poll())

        before = processor_seconds(server)
        threads = [threading.Thread(target=ask, args=(tablet,)) for tablet in tablets]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        spent = processor_seconds(server) - before
        assert set(answered) == {304}, set(answered)
        per_core = len(answered) / spent
        print(
            f"unchanged: {len(answered)} polls of {TABLETS} tablets, all 304: {per_core:.0f} polls a second and core, "
            f"{1000 / per_core:.2f} ms each; every {EVERY} s they take {TABLETS / EVERY / per_core:.2%} of one core"
        )
        write_something()
        before = processor_seconds(server)
        fresh = [tablet.poll() for tablet in tablets]
        spent = processor_seconds(server) - before
        assert set(fresh) == {200}, set(fresh)
        print(f"after an act: {TABLETS} full answers, {1000 * spent / TABLETS:.0f} ms of processor time each")


def write_something() -> None:
    from jobs.acts import job as acts
    from jobs.models import Job
    from workshop.acting import By
    from workshop.models import Person

    job = Job.objects.in_the_building().first()
    by = By(Person.objects.get(sign_in_name="lida"))
    acts.plan(by=by, job=job, seen_version=job.version, standing_at=f"lift {time.time_ns() % 7}")


if __name__ == "__main__":
    if sys.argv[1:]:
        main(Path(sys.argv[1]).resolve())
    else:
        with tempfile.TemporaryDirectory(prefix="polls-") as made:
            main(Path(made))
