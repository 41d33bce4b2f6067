"""The pytest fixture: the example of `sequences/README.md` passes, and an installed plugin costs no start-up."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

pytest_plugins = ("pytester",)
README = Path(__file__).parents[2] / "sequences" / "README.md"
PLUGIN = "autobench.rehearsal.pytest_plugin"


def test_the_documented_example_passes(pytester: pytest.Pytester) -> None:
    """What a sequence author copies works as it stands."""
    example = re.search(r"<!-- rehearsal example -->\n```python\n(.*?)```", README.read_text(encoding="utf-8"), re.S)
    assert example is not None
    pytester.makepyfile(example[1])
    result = pytester.runpytest_inprocess("-p", PLUGIN, "-p", "no:xdist", "-p", "no:cacheprovider")
    result.assert_outcomes(passed=example[1].count("def test_"))


def test_the_plugin_loads_nothing_heavy() -> None:
    """It comes with every pytest of whoever installed autobench: nothing but itself until the fixture is used."""
    heavy = "numpy pydantic yaml pyvisa sqlalchemy matplotlib autobench.app simulated_instruments"
    code = f"import {PLUGIN}, sys; print([name for name in '{heavy}'.split() if name in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
