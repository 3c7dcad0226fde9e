"""The lock files hold what pyproject.toml asks for, exactly, and nothing of the machine they were made on."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
RUN = PROJECT["project"]["dependencies"]
TEST = PROJECT["dependency-groups"]["test"]
# One requirement with the hashes that follow it on continued lines.
PINNED = re.compile(r"^([a-z0-9][^\\\n]*?)((?: \\\n +--hash=sha256:[0-9a-f]{64})+)$", re.MULTILINE)


def locked(name: str) -> dict[str, tuple[str, str]]:
    """{requirement with its marker: (package, version)} of a lock file."""
    pins = {}
    for text, _hashes in PINNED.findall((ROOT / name).read_text(encoding="utf-8")):
        requirement = Requirement(text)
        [specifier] = requirement.specifier
        assert specifier.operator == "==", text
        pins[text] = (canonicalize_name(requirement.name), specifier.version)
    return pins


@pytest.mark.parametrize(
    ("file", "asked"), [("requirements.txt", RUN), ("requirements-test.txt", RUN + TEST)], ids=["run", "test"]
)
def test_what_is_asked_for_is_locked(file, asked):
    pins = list(locked(file).values())
    for text in asked:
        requirement = Requirement(text)
        versions = [version for name, version in pins if name == canonicalize_name(requirement.name)]
        assert versions, f"{text} is not in {file}: make it anew"
        for version in versions:
            assert requirement.specifier.contains(version), f"{file} has {version} for {text}: make it anew"


def test_the_tests_run_on_what_the_shop_runs():
    # A package may be wanted on more systems by the tests: what counts is that it is the same version.
    assert set(locked("requirements.txt").values()) <= set(locked("requirements-test.txt").values())


@pytest.mark.parametrize("file", ["requirements.txt", "requirements-test.txt"])
def test_every_line_is_a_pin_a_hash_or_a_comment(file):
    """No address of an index, no option, no path: only what is the same everywhere."""
    rest = PINNED.sub("", (ROOT / file).read_text(encoding="utf-8"))
    # What uv says about who asked: packages or the project file, on one line or one to a line.
    asked = r"[a-z0-9.-]+( \(pyproject\.toml(:test)?\))?|-c requirements\.txt"
    said = re.compile(rf" {{4}}#( via( ({asked}))?| {{3}}({asked}))")
    assert [line for line in rest.splitlines() if line and not said.fullmatch(line)] == []
