"""The machinery for outside values: what it records, prints and refuses, also with two workers."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

SOURCE = """
import pytest

@pytest.mark.outside("Table one")
@pytest.mark.parametrize("n", [1, 2, 3])
def test_close(published, n):
    published.close(100 + n, 100, rel=0.05, unit="N")

@pytest.mark.outside("Table two")
def test_same(published):
    published.same("X", "X")
    published.close(0.001, 0, within=0.01)

def test_plain(): pass
"""


@pytest.fixture
def run(tmp_path):
    """Runs pytest on one file, apart from this run and from the project's settings."""

    def _run(source: str, *options: str) -> tuple[int, str]:
        (tmp_path / "test_it.py").write_text(source, encoding="utf-8")
        (tmp_path / "pytest.ini").write_text(f"[pytest]\npythonpath = {ROOT}\n", encoding="utf-8")
        environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "tests.outside", "-p", "no:django", "-p",
             "no:cacheprovider", "-rA", "--strict-markers", *options],
            cwd=tmp_path,
            env=environment | {"PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            timeout=120,
        )  # fmt: skip
        return done.returncode, done.stdout + done.stderr

    return _run


@pytest.mark.parametrize("options", [[], ["-n", "2"]], ids=["one process", "two workers"])
def test_the_table_counts_values_and_names_the_largest_deviation(run, options):
    code, out = run(SOURCE, *options)
    assert code == 0, out
    lines = [line.split(maxsplit=2) for line in out.splitlines()]
    assert ["3", "3.00e-02", "Table one"] in lines
    assert ["2", "exact", "Table two"] in lines
    assert "5 outside values from 2 sources; largest deviation 3.000% (Table one)" in out


def test_only_the_outside_values_can_be_asked_for(run):
    code, out = run(SOURCE, "-m", "outside")
    assert code == 0, out
    assert "4 passed, 1 deselected" in out
    assert "5 outside values from 2 sources" in out


def test_without_outside_values_there_is_no_table(run):
    code, out = run("def test_plain(): pass")
    assert code == 0, out
    assert "outside values" not in out


PROVES_NOTHING = """
import pytest

@pytest.mark.outside("T")
def test_asks_but_compares_nothing(published): pass

@pytest.mark.outside("T")
def test_does_not_even_ask(): pass

def test_has_no_mark(published): published.same(1, 1)

@pytest.mark.outside
def test_has_a_mark_without_source(published): published.same(1, 1)

@pytest.mark.outside("T")
def test_is_too_far_off(published): published.close(1, 2, rel=0.1)

@pytest.mark.outside("T")
def test_is_another_answer(published): published.same("a", "b")

@pytest.mark.outside("T")
def test_is_no_number(published): published.close(float("nan"), 2, rel=0.1)

@pytest.mark.outside("T")
def test_divides_by_zero(published): published.close(1, 0, rel=0.1)

@pytest.mark.outside("T")
def test_has_no_tolerance(published): published.close(1, 1)
"""


def test_an_outside_test_that_proves_nothing_fails(run):
    code, out = run(PROVES_NOTHING)
    assert code == 1, out
    assert "9 failed" in out
    assert "passed" not in out
    for test, message in (
        ("asks_but_compares_nothing", "compared nothing"),
        ("does_not_even_ask", "compared nothing"),
        ("has_no_mark", "names its source"),
        ("has_a_mark_without_source", "names no source"),
        ("is_too_far_off", "off by 50.000%"),
        ("is_another_answer", "published 'b'"),
        ("is_no_number", "is not a number"),
        ("divides_by_zero", "published zero"),
        ("has_no_tolerance", "one tolerance"),
    ):
        report = out.partition(f"_ test_{test} _")[2].partition("\n____")[0]
        assert message in report, (test, report)


def test_a_skipped_outside_test_counts_nothing(run):
    code, out = run(
        'import pytest\n@pytest.mark.outside("T")\ndef test_it(published): pytest.skip("no data")\n'
    )
    assert code == 0, out
    assert "outside values from" not in out
