from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from weldtrial.shared.folder import LOCK_FILE, Folder, atomic_write, find_folder, locked
from weldtrial.shared.problems import WeldtrialError, WrongUsage


def test_the_folder_is_found_from_below(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "trial.toml").write_text("format = 1\n")
    below = tmp_path / "photos" / "day 1"
    below.mkdir(parents=True)
    assert find_folder(below) == tmp_path.resolve()
    assert find_folder(tmp_path / "trial.toml") == tmp_path.resolve()
    monkeypatch.chdir(below)
    assert find_folder() == tmp_path.resolve()


def test_outside_a_trial_the_two_ways_in_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(WrongUsage) as raised:
        find_folder()
    assert raised.value.words == (
        "No trial.toml here or in the folders above. Start one:  weldtrial new NAME   "
        "or point at one:  weldtrial -C FOLDER …"
    )
    with pytest.raises(WrongUsage, match=r"No trial\.toml in '.*' or in the folders above"):
        find_folder(tmp_path)
    with pytest.raises(WrongUsage, match="There is no folder 'nowhere'"):
        find_folder(Path("nowhere"))


def test_files_have_their_names(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    paths = (folder.readings("break_load"), folder.weld_log, folder.seal, folder.report)
    assert [folder.name_of(path) for path in paths] == [
        "readings/break_load.csv",
        "weld_log.csv",
        "seal.json",
        "report.html",
    ]


def test_a_write_keeps_line_ends_and_makes_the_folder(tmp_path: Path) -> None:
    path = tmp_path / "readings" / "x.csv"
    atomic_write(path, "stamp,reading\nA2H,84.2\r\n")
    assert path.read_bytes() == b"stamp,reading\nA2H,84.2\r\n"
    assert [one.name for one in path.parent.iterdir()] == ["x.csv"]


@pytest.mark.skipif(os.name == "nt", reason="permissions of another kind")
def test_a_write_keeps_permissions_and_follows_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_text("before")
    real.chmod(0o640)
    link.symlink_to(real)
    atomic_write(link, "after")
    assert link.is_symlink()
    assert real.read_text() == "after"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_a_write_that_fails_leaves_the_old_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "x.csv"
    path.write_text("before")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "held by a spreadsheet")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(WeldtrialError, match=r"x\.csv could not be written \(held by"):
        atomic_write(path, "after")
    assert path.read_text() == "before"
    assert [one.name for one in tmp_path.iterdir()] == ["x.csv"]


def test_one_process_may_nest_the_lock(tmp_path: Path) -> None:
    with locked(tmp_path), locked(tmp_path):
        assert (tmp_path / LOCK_FILE).exists()


def test_another_process_is_waited_for_and_then_named(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from weldtrial.shared.folder import locked\n"
        "with locked(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    with (
        pytest.raises(WeldtrialError, match="Another weldtrial is writing in"),
        locked(tmp_path, patience_s=0.1),
    ):
        pass
    other.communicate("")
    with locked(tmp_path, patience_s=0.1):
        pass
