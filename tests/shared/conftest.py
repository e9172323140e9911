"""What the tests of this room share."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def kit() -> ModuleType:
    """The helpers of ``sealed_folders.py``: a small trial and a folder sealed with it."""
    name = "weldtrial_tests_sealed_folders"
    path = Path(__file__).with_name("sealed_folders.py")
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module
