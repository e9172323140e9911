"""A headless browser that is already on the machine; nothing is downloaded."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A running Chromium; skips where there is none (set CHROMIUM to name one)."""
    path = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        pytest.skip("no Chromium on this machine: pages are not looked at")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()
