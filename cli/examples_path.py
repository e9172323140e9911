"""Where the worked examples are: in the installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path

_CLI = Path(__file__).resolve().parent


def example_folders() -> dict[str, Path]:
    """Return the folder of every worked example, by name."""
    folders: dict[str, Path] = {}
    for home in (_CLI / "examples", _CLI.parent / "examples"):
        if home.is_dir():
            for folder in sorted(home.iterdir()):
                if (folder / "trial.toml").is_file():
                    folders.setdefault(folder.name, folder)
    return folders
