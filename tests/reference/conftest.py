"""Hands the loader of published cases to the tests beside it."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def reference() -> ModuleType:
    """The module `load.py`."""
    name = "weldtrial_reference_load"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("load.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module
