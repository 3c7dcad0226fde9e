"""What a tablet loads: our scripts as they are, but for the lines that only say why."""

from __future__ import annotations

import re
from pathlib import Path

import brotli
import pytest
from django.conf import settings
from django.core.files.base import ContentFile

from workshop.statics import Statics

SCRIPTS = sorted(Path(settings.BASE_DIR, "static", "js").glob("*.js"))


@pytest.fixture
def laid_out(tmp_path):
    def lay_out(name: str, text: str) -> str:
        storage = Statics(location=tmp_path, base_url="/static/")
        return (tmp_path / storage.save(name, ContentFile(text.encode()))).read_text()

    return lay_out


def test_lines_that_are_comments_go_and_all_others_stay_as_they_are(laid_out):
    text = (
        '// Why.\n(() => {\n  // And why here.\n  const url = "https://"; // stays\n  a //\n    / b;\n})();\n'
    )
    assert laid_out("js/one.js", text) == (
        '(() => {\n  const url = "https://"; // stays\n  a //\n    / b;\n})();\n'
    )
    # Others' scripts, and whatever is no script, are not touched.
    assert laid_out("django_htmx/htmx.js", text) == text
    assert laid_out("css/one.css", text) == text


def test_the_file_that_pages_name_is_the_whole_script_under_its_hash(tmp_path, laid_out):
    storage = Statics(location=tmp_path, base_url="/static/")
    whole = {
        f"js/{path.name}": laid_out(f"js/{path.name}", path.read_text(encoding="utf-8")) for path in SCRIPTS
    }
    done = {
        name: hashed for name, hashed, _ in storage.post_process({name: (storage, name) for name in whole})
    }
    assert whole.keys() <= done.keys()
    for name, text in whole.items():
        hashed = tmp_path / storage.stored_name(name)
        assert hashed.name != name.removeprefix("js/")
        assert hashed.read_text(encoding="utf-8") == text
        assert len(text) > 100
        assert brotli.decompress((tmp_path / f"{storage.stored_name(name)}.br").read_bytes()).decode() == text


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_no_text_in_a_script_spans_lines_so_no_line_of_one_can_be_taken_for_a_comment(path):
    code = re.sub(r"(?m)^\s*//.*$|\s// .*$", "", path.read_text(encoding="utf-8"))
    odd = [line for line in code.splitlines() if line.replace("\\`", "").count("`") % 2]
    assert odd == []
