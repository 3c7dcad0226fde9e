"""Every test that is written is also run.

A file without its `test_` prefix, a class that pytest does not take for one of tests, a folder it does not
enter, a second test of the same name: each leaves a test that is never asked. So what is written in the files
is compared with what a full collection finds.
"""

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
Place = tuple[str, ...]  # file, classes, function: what pytest writes with :: between


def collected(root: Path) -> set[Place]:
    """Every test that `python -m pytest` in `root` would run, without any selection on the command line."""
    # Without what this run was given: a worker's number, options in PYTEST_ADDOPTS.
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider"],
        cwd=root,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert run.returncode in (0, 5), run.stdout + run.stderr  # 5: there are none
    ids = (line.partition("[")[0] for line in run.stdout.splitlines())  # without the parameters
    return {tuple(id.split("::")) for id in ids if "::" in id}


def written(root: Path) -> list[Place]:
    """Every function or method under `root`/tests that is named as a test, in whatever file or class."""

    def tests_in(node: ast.AST, place: Place) -> Iterator[Place]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
                if child.name.startswith("test"):
                    yield (*place, child.name)
            elif isinstance(child, ast.ClassDef):
                yield from tests_in(child, (*place, child.name))
            else:  # an if, a try, a with
                yield from tests_in(child, place)

    found = []
    for file in sorted((root / "tests").rglob("*.py")):
        place = (file.relative_to(root).as_posix(),)
        found += tests_in(ast.parse(file.read_text(encoding="utf-8")), place)
    return found


def never_run(root: Path) -> list[str]:
    """One line for each test, and each file meant to hold tests, that a full collection passes by."""
    runs = collected(root)
    tests = written(root)
    complaints = ["::".join(place) for place in tests if place not in runs]
    complaints += [f"{'::'.join(place)} written twice" for place in set(tests) if tests.count(place) > 1]

    files = {place[0] for place in runs}
    for file in sorted(root.rglob("*.py")):
        place = file.relative_to(root)
        # Not by "_test.py": a road test has files of that name.
        named_as_test = file.name.startswith("test_") or file.name == "tests.py"
        elsewhere = place.parts[0] in {"data", ".venv"} or any(
            (root / parent / "pyvenv.cfg").exists() for parent in place.parents
        )
        if named_as_test and not elsewhere and place.as_posix() not in files:
            complaints.append(f"{place.as_posix()} holds no test that is run")
    return sorted(complaints)


def test_every_test_is_collected():
    assert never_run(ROOT) == []


def test_this_very_test_is_seen():
    here = (Path(__file__).relative_to(ROOT).as_posix(), "test_this_very_test_is_seen")
    assert here in written(ROOT)


PLANTED = {
    # collected
    "tests/test_fine.py": "def test_one(): pass\nclass TestFault:\n    def test_two(self): pass",
    "tests/deep/er/test_fine.py": (
        "import pytest\n@pytest.mark.parametrize('a', ['[::]'])\ndef test_one(a): pass"
    ),
    "tests/test_unittest.py": (
        "import unittest\nclass Faults(unittest.TestCase):\n    def test_one(self): pass"
    ),
    # not meant to be
    "tests/people.py": "def technician(): pass",
    "jobs/views/road_test.py": "def test_drive(): pass",
    ".venv/lib/test_theirs.py": "def test_one(): pass",
    # meant to be, and not collected
    "tests/fault.py": "def test_one(): pass",
    "tests/test_class.py": "def test_one(): pass\nclass Faults:\n    def test_two(self): pass",
    "tests/test_condition.py": "if not __name__:\n    def test_one(): pass",
    "tests/build/test_folder.py": "def test_one(): pass",  # a folder name that pytest passes by
    "tests/test_twice.py": "def test_one(): pass\ndef test_one(): pass",
    "tests/test_empty.py": "def check(): pass",
    "vehicles/tests.py": "def test_one(): pass",
}
NAMED = [
    "tests/build/test_folder.py holds no test that is run",
    "tests/build/test_folder.py::test_one",
    "tests/fault.py::test_one",
    "tests/test_class.py::Faults::test_two",
    "tests/test_condition.py holds no test that is run",
    "tests/test_condition.py::test_one",
    "tests/test_empty.py holds no test that is run",
    "tests/test_twice.py::test_one written twice",
    "vehicles/tests.py holds no test that is run",
]


def test_a_test_that_would_not_run_is_named(tmp_path):
    (tmp_path / "pytest.ini").write_text(
        "[pytest]\ntestpaths = tests\naddopts = --import-mode=importlib -p no:django\n", encoding="utf-8"
    )
    for name, source in PLANTED.items():
        file = tmp_path / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(source, encoding="utf-8")
    assert never_run(tmp_path) == NAMED
