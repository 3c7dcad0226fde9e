"""The engineering can be read, tested and used alone: no Django, nothing of the rest of the house."""

import ast
import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted((ROOT / "workshop" / "engineering").rglob("*.py"))
MODULES = [".".join(f.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for f in FILES]


def test_a_fresh_interpreter_loads_only_the_engineering():
    code = (
        "import importlib, json, sys\n"
        f"for name in {MODULES!r}: importlib.import_module(name)\n"
        "print(json.dumps(sorted(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert run.returncode == 0, run.stderr
    loaded = json.loads(run.stdout)
    assert "pint" in loaded
    assert [
        name for name in loaded if name.partition(".")[0] in {"django", "vehicles", "jobs", "tests"}
    ] == []
    assert {name for name in loaded if name.partition(".")[0] == "workshop"} == {"workshop", *MODULES}


def test_the_source_imports_only_the_standard_library_pint_and_itself():
    imported = set()
    for file in FILES:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{file.name}: import by full name"
                imported.add(node.module)
    outside = {
        name
        for name in imported
        if not name.startswith("workshop.engineering.")
        and name.partition(".")[0] not in sys.stdlib_module_names | {"pint"}
    }
    assert "pint" in imported
    assert outside == set()
