"""The trial folder: where its files are, and how they are written without losing anything."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from weldtrial.shared.problems import WeldtrialError, WrongUsage

TRIAL_FILE = "trial.toml"
LOCK_FILE = ".weldtrial.lock"
PATIENCE_S = 5.0
"""How long to wait for another weldtrial to finish with the folder, in seconds."""


@dataclass(frozen=True, slots=True)
class Folder:
    """The files of a trial, whether they exist yet or not."""

    path: Path

    @property
    def trial_file(self) -> Path:
        """The question: the only file edited by hand."""
        return self.path / TRIAL_FILE

    @property
    def plan(self) -> Path:
        """The drawn plan, never edited after sealing."""
        return self.path / "plan.csv"

    @property
    def seal(self) -> Path:
        """The seal."""
        return self.path / "seal.json"

    @property
    def weld_log(self) -> Path:
        """What the welder fills in."""
        return self.path / "weld_log.csv"

    @property
    def readings_folder(self) -> Path:
        """Where the readings files are."""
        return self.path / "readings"

    def readings(self, response: str) -> Path:
        """Return the readings file of one response."""
        return self.readings_folder / f"{response}.csv"

    @property
    def corrections(self) -> Path:
        """Corrections, append-only."""
        return self.path / "corrections.csv"

    @property
    def journal(self) -> Path:
        """Sealing, amendments, codes opened: append-only."""
        return self.path / "journal.csv"

    @property
    def report(self) -> Path:
        """The report page, output only."""
        return self.path / "report.html"

    @property
    def sheets(self) -> Path:
        """The folder of printable sheets, output only."""
        return self.path / "sheets"

    def name_of(self, path: Path) -> str:
        """Return a file's name as messages give it: ``readings/break_load.csv``."""
        try:
            return path.relative_to(self.path).as_posix()
        except ValueError:
            return path.as_posix()


def find_folder(start: Path | None = None) -> Path:
    """Return the trial folder at `start` (without it: here) or above it.

    Raises
    ------
    WrongUsage
        When `start` does not exist, or neither it nor a folder above holds a ``trial.toml``.
    """
    here = Path.cwd() if start is None else Path(start)
    if here.name == TRIAL_FILE and here.is_file():
        here = here.parent
    if not here.is_dir():
        raise WrongUsage(
            f"There is no folder {str(start)!r}. Start one:  weldtrial new NAME   "
            "or point at one:  weldtrial -C FOLDER …"
        )
    here = here.resolve()
    for folder in (here, *here.parents):
        if (folder / TRIAL_FILE).is_file():
            return folder
    place = "here" if start is None else f"in {str(start)!r}"
    raise WrongUsage(
        f"No {TRIAL_FILE} {place} or in the folders above. Start one:  weldtrial new NAME   "
        "or point at one:  weldtrial -C FOLDER …"
    )


def atomic_write(path: Path, text: str) -> None:
    """Write `text` to `path` as UTF-8, whole or not at all; line ends are kept as they are.

    The file's permissions are kept; its folder is made where it is missing.

    Raises
    ------
    WeldtrialError
        When it cannot be written, because it is open in a spreadsheet or the disk is full.
    """
    target = Path(os.path.realpath(path))
    temporary = target.with_name(f".{target.name}.{secrets.token_hex(4)}.tmp")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _write_through(temporary, text.encode("utf-8"))
        if target.exists():
            os.chmod(temporary, target.stat().st_mode & 0o7777)
        os.replace(temporary, target)
        _settle(target.parent)
    except OSError as error:
        raise WeldtrialError(
            f"{path.name} could not be written ({error.strerror or error}). Nothing was changed.",
            hint="Close it in other programs, or see whether the folder may be written to.",
        ) from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink()


def _write_through(path: Path, data: bytes) -> None:
    """Create `path` as the umask allows and see that its bytes have reached the disk."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _settle(folder: Path) -> None:
    """Make a rename last through a power cut, where the system lets a folder be synced."""
    if os.name == "nt":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def locked(folder: Path, patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Keep other weldtrials out of `folder` meanwhile; one process may nest it.

    Raises
    ------
    WeldtrialError
        When another weldtrial holds the folder for longer than `patience_s` seconds, or the
        folder may not be written to.
    """
    import filelock

    lock = filelock.FileLock(folder / LOCK_FILE, is_singleton=True)
    try:
        lock.acquire(timeout=patience_s)
    except filelock.Timeout:
        raise WeldtrialError(
            f"Another weldtrial is writing in {folder.name!r}. Nothing was changed.",
            hint="Let it finish (or answer its question), then try again.",
        ) from None
    except OSError as error:
        raise WeldtrialError(
            f"Folder {folder.name!r} may not be written to ({error.strerror or error}).",
            hint="See who owns it, or copy the trial to a folder of your own.",
        ) from error
    try:
        yield
    finally:
        # The hidden file stays: removing a lock that another process waits for would split them.
        lock.release()
