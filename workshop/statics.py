"""The files that every browser loads, as `collectstatic` lays them out: our scripts without their comments.

The comments are for those who read the source; on the way to a tablet they would be a seventh of all script bytes.
"""

from __future__ import annotations

import re

from django.core.files.base import ContentFile, File
from whitenoise.storage import CompressedManifestStaticFilesStorage

# Whole lines only: what stands behind code might be part of a text. No text of ours spans lines (tested).
COMMENT_LINES = re.compile(rb"(?m)^[ \t]*//.*\n")


def as_served(name: str, data: bytes) -> bytes:
    """A file of `static/` as browsers get it, before it is compressed."""
    return COMMENT_LINES.sub(b"", data) if name.startswith("js/") and name.endswith(".js") else data


class Statics(CompressedManifestStaticFilesStorage):
    def _save(self, name: str, content: File) -> str:
        if name.startswith("js/"):
            content.seek(0)  # its hash was taken of it: it has been read to its end
            content = ContentFile(as_served(name, content.read()))
        return super()._save(name, content)
