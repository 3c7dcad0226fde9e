"""Pages that stay up to date by themselves ask again with the mark of what they show.

The event log's head says whether anything was written at all, so an unchanged page costs one small query and 304.
"""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from workshop import log


def mark(request: HttpRequest, *args: Any, **kwargs: Any) -> str:
    """The ETag of a page: one person's, as what they may do is part of what it shows. The quarter of an hour is in it
    because a promise may be overdue by now.
    """
    quarter = int(timezone.now().timestamp() // 900)
    return f'"{log.current_head().hash[:20]}-{request.user.pk.hex[:8]}-{quarter}"'
