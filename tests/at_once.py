"""Several people at the same moment, each on a connection of their own: what one does not see, a lock or the database
keeps. Needs real transactions (`pytest.mark.django_db(transaction=True)`).
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from django.db import connections

PATIENCE = 60  # seconds: a busy machine is no failure


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """Let all go together; what each answered, or what it raised: nobody else sees a thread's exception."""
    together, out = threading.Barrier(len(acts)), [None] * len(acts)

    def run(place: int, act: Callable[[], Any]) -> None:
        try:
            together.wait(timeout=PATIENCE)
            out[place] = act()
        except Exception as error:
            out[place] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=PATIENCE)
    assert not any(thread.is_alive() for thread in threads), "one of them waits for ever"
    return out
