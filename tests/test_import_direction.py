"""Doors between the rooms open one way.

The engineering knows nothing of Django or of the app, so that its formulas can be read, tested and used
alone. `workshop` is the house and knows neither cars nor jobs; `vehicles` knows the workshop; `jobs` knows
both. What goes the other way goes by name: settings and URL includes are strings, foreign keys too.
"""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("workshop", "vehicles", "jobs")
CLOSED = {"workshop": {"vehicles", "jobs", "tests"}, "vehicles": {"jobs", "tests"}, "jobs": {"tests"}}
ENGINEERING_MAY = sys.stdlib_module_names | {"pint"}


def imported_modules(source: str, package: tuple[str, ...]) -> list[tuple[int, str]]:
    """Line and full dotted name of every import in `source`, a module that lies in `package`.

    Counts imports inside functions, under TYPE_CHECKING, by `import_module("…")` and `import_string("…")` too:
    each of them makes one room depend on the other. `from a import b` counts as a.b, which may be a module.
    """
    found = []
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Import(names=names):
                found += [(node.lineno, alias.name) for alias in names]
            case ast.ImportFrom(module=module, names=names, level=level):
                base = package[: len(package) - level + 1] if level else ()
                if level and not base:
                    raise ValueError(f"line {node.lineno} imports from above the top level")
                base += (module,) if module else ()
                found += [(node.lineno, ".".join((*base, alias.name))) for alias in names]
            case ast.Call(
                func=ast.Name(id="import_module" | "import_string" | "__import__")
                | ast.Attribute(attr="import_module" | "import_string"),
                args=[ast.Constant(value=str(name)), *_],
            ):
                found.append((node.lineno, name))
    return found


def wrong_doors(root: Path) -> list[str]:
    """One line for every import under `root` that goes through a closed door."""
    complaints = []
    for room in ROOMS:
        for file in sorted((root / room).rglob("*.py")):
            place = file.relative_to(root)
            engineering = place.parts[:2] == ("workshop", "engineering")
            for line, name in imported_modules(file.read_text(encoding="utf-8"), place.parent.parts):
                top = name.partition(".")[0]
                if engineering:
                    # The dot at the end: workshop.engineering_room would not be the engineering.
                    fine = top in ENGINEERING_MAY or f"{name}.".startswith("workshop.engineering.")
                else:
                    fine = top not in CLOSED[room]
                if not fine:
                    complaints.append(f"{place.as_posix()}:{line} imports {name}")
    return complaints


def test_no_import_goes_through_a_closed_door():
    for room in ROOMS:
        assert list((ROOT / room).rglob("*.py")), f"{room} has no modules: this test would see nothing"
    assert wrong_doors(ROOT) == []


@pytest.mark.parametrize(
    ("file", "source", "name"),
    [
        ("vehicles/history.py", "from jobs.models import Job", "jobs.models.Job"),
        ("vehicles/history.py", "import jobs.gate as gate", "jobs.gate"),
        ("vehicles/acts/fault.py", "def end():\n    from jobs.acts import work", "jobs.acts.work"),
        ("vehicles/models/fault.py", "if TYPE_CHECKING:\n    from jobs import models", "jobs.models"),
        ("vehicles/history.py", "importlib.import_module('jobs.history')", "jobs.history"),
        ("vehicles/history.py", "import_string('jobs.history.rows')", "jobs.history.rows"),
        ("vehicles/history.py", "module_loading.import_string('jobs.history.rows')", "jobs.history.rows"),
        ("workshop/views/health.py", "import vehicles", "vehicles"),
        ("workshop/acts/events.py", "from jobs import gate", "jobs.gate"),
        ("workshop/forms.py", "from tests import people", "tests.people"),
        ("workshop/engineering/units.py", "from django.utils import timezone", "django.utils.timezone"),
        ("workshop/engineering/units.py", "import numpy", "numpy"),
        ("workshop/engineering/units.py", "from workshop.models import Person", "workshop.models.Person"),
        ("workshop/engineering/units.py", "from ..models import Person", "workshop.models.Person"),
        ("workshop/engineering/units.py", "from .. import permissions", "workshop.permissions"),
        ("workshop/engineering/__init__.py", "from ..htmx import answer", "workshop.htmx.answer"),
        ("workshop/engineering/units.py", "import workshop", "workshop"),
    ],
)
def test_a_planted_import_is_caught(tmp_path, file, source, name):
    planted = tmp_path / file
    planted.parent.mkdir(parents=True)
    planted.write_text(source, encoding="utf-8")
    [complaint] = wrong_doors(tmp_path)
    assert complaint.startswith(f"{file}:")
    assert complaint.endswith(f" imports {name}")


@pytest.mark.parametrize(
    ("file", "source"),
    [
        ("jobs/gate.py", "from vehicles.models import Fault\nfrom workshop import permissions"),
        ("vehicles/history.py", "from workshop.acts import events\nfrom workshop.engineering import trends"),
        ("workshop/urls.py", "urlpatterns = [path('', include('jobs.urls'))]"),
        ("workshop/views/health.py", "from .. import permissions\nfrom . import styles"),
        ("workshop/engineering/brakes.py", "import math\nfrom pint import Quantity\nfrom . import units"),
        (
            "workshop/engineering/brakes.py",
            "from .units import ureg\nfrom workshop.engineering.result import Result",
        ),
        ("workshop/engineering/sub/brakes.py", "from ..units import ureg"),
        ("workshop/engineering/brakes.py", "from workshop.engineering import units"),
    ],
)
def test_an_open_door_is_left_alone(tmp_path, file, source):
    planted = tmp_path / file
    planted.parent.mkdir(parents=True)
    planted.write_text(source, encoding="utf-8")
    assert wrong_doors(tmp_path) == []


def test_the_engineering_loads_without_django():
    """In a fresh interpreter: also through `workshop/__init__.py`, and through what a library drags in."""
    modules = [
        ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for file in sorted((ROOT / "workshop" / "engineering").rglob("*.py"))
    ]
    assert modules
    code = (
        "import importlib, sys\n"
        f"for name in {modules!r}: importlib.import_module(name)\n"
        "print(sorted({name.partition('.')[0] for name in sys.modules} & {'django', 'vehicles', 'jobs'}))"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip() == "[]"
