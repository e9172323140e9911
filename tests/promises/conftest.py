"""The bench in memory of the analysis tests, for the promises too."""

from __future__ import annotations

import importlib.util
from pathlib import Path

_spec = importlib.util.spec_from_file_location(
    "weldtrial_tests_bench", Path(__file__).parents[1] / "analysis" / "conftest.py"
)
assert _spec is not None
assert _spec.loader is not None
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)

trial = _module.trial
bench = _module.bench
