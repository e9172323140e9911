"""The notebook page is run as it stands, block after block."""

from __future__ import annotations

import re
from pathlib import Path

import pytest


def test_every_block_of_the_page_runs(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (root / "cli" / "help" / "notebook.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```python\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 6
    names: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, "notebook.md", "exec"), names)
    assert "co2" in capsys.readouterr().out
