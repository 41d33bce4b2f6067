"""The rules of the house that a machine can hold."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted([*(ROOT / "autobench").rglob("*.py"), *(ROOT / "simulated_instruments").rglob("*.py")])
NAMES = [str(path.relative_to(ROOT)) for path in MODULES]


@pytest.mark.parametrize("path", MODULES, ids=NAMES)
def test_modules_are_short_and_say_what_they_are(path: Path) -> None:
    """Under 350 lines, opening with a docstring, or empty if it is a package's __init__."""
    text = path.read_text(encoding="utf-8")
    if path.name == "__init__.py" and path.parent.name != "autobench":
        assert text == ""
        return
    assert len(text.splitlines()) < 350
    assert ast.get_docstring(ast.parse(text))


@pytest.mark.parametrize("path", MODULES, ids=NAMES)
def test_functions_are_short_and_public_ones_documented(path: Path) -> None:
    """Functions under 50 lines; every public module-level function and class says what it is for."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert (node.end_lineno or 0) - node.lineno + 1 < 50, f"{node.name} at line {node.lineno}"
    for item in tree.body:
        if isinstance(item, ast.FunctionDef | ast.ClassDef) and not item.name.startswith("_"):
            assert ast.get_docstring(item), f"{item.name} at line {item.lineno}"


def test_no_drawers_by_name() -> None:
    """No utils, common, helpers, base, manager, and no underscored modules."""
    wrong = [name for name in NAMES if re.search(r"(^|/)(utils|common|helpers|misc|base|manager)(/|\.py$)", name)]
    wrong += [name for name in NAMES if re.search(r"/_(?!_)", name)]
    assert wrong == []


def test_the_top_level_holds_what_it_may() -> None:
    """Exactly the folders and files of the design, and hidden ones."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    tops = {line.split("/")[0] for line in listed.splitlines() if not line.startswith(".")}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "autobench", "drivers", "sequences", "tests"}
    assert tops == allowed | {"simulated_instruments"}


def test_only_power_sends_output_commands() -> None:
    """Methods of a supply that set or switch are called from `run/power.py`, its parts and the plain way off only."""
    switching = {"on", "off", "set_volts", "set_amps", "set_trip", "clear_trip"}
    allowed = {"autobench/run/power.py", "autobench/run/all_off.py", "autobench/instruments/supply.py"}
    parts_of_power = {
        "autobench/run/switching_off.py": {"off"},
        "autobench/run/setting.py": {"set_volts", "set_amps", "set_trip"},
    }
    for path, name in zip(MODULES, NAMES, strict=True):
        if not name.startswith("autobench/") or name in allowed:
            continue
        forbidden = switching - parts_of_power.get(name, set())
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in forbidden:
                owner = ast.unparse(node.func.value)
                assert "suppl" not in owner, f"{name}:{node.lineno} {owner}.{node.func.attr}"


def test_the_simulator_reads_no_file_of_the_program() -> None:
    """No module of the simulator names the folders of drivers, sequences, boards or benches of the program."""
    for path, name in zip(MODULES, NAMES, strict=True):
        if name.startswith("simulated_instruments/"):
            text = path.read_text(encoding="utf-8")
            assert not re.search(r"[\"'/](drivers|sequences)[\"'/]", text), name


def test_nothing_lists_network_resources() -> None:
    """Listing VISA resources broadcasts on the network; nobody calls it."""
    for path, name in zip(MODULES, NAMES, strict=True):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                assert node.func.attr not in ("list_resources", "list_resources_info"), f"{name}:{node.lineno}"


def test_importing_the_package_imports_nothing() -> None:
    """`import autobench` loads none of its own modules and no library."""
    code = "import sys; before = set(sys.modules); import autobench; print(sorted(set(sys.modules) - before))"
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "['autobench']"


def test_the_layer_picture_equals_the_contract() -> None:
    """DEVELOPERS.md shows the layers that the import contract enforces."""
    import tomllib

    contract = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ][0]
    wanted = " > ".join(contract["layers"])
    shown = " ".join((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split())
    assert wanted in shown


def test_the_interlock_in_the_documents_equals_the_table() -> None:
    """DEVELOPERS.md shows the table the code keeps, row by row; a command of one line makes it anew."""
    from autobench.run.interlock import ALLOWED
    from autobench.run.interlock_table import block

    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert block(text) == text
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("|") and " → `" in line
    ]
    shown = {
        (row[0].strip("`"), way.split(" → ")[0]): way.split(" → ")[1].strip("`")
        for row in rows
        for way in row[2].split(", ")
    }
    assert shown == ALLOWED
