"""The bundle: a zip of everything a reviewer needs to run a trial again."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path

from weldtrial.shared.folder import Folder
from weldtrial.shared.problems import WeldtrialError
from weldtrial.shared.trial import Trial

EARLIEST = (1980, 1, 1, 0, 0, 0)
"""The one date of every file inside, so that the same trial gives the same bytes."""


def write_bundle(path: Path, files: Folder, trial: Trial, report: str) -> None:
    """Write question, seal, plan, log, readings, corrections, journal and report as a zip.

    Raises
    ------
    WeldtrialError
        When it cannot be written.
    """
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as bundle:
        for name, data in _contents(files, trial, report):
            bundle.writestr(_entry(name), data)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(stream.getvalue())
    except OSError as error:
        raise WeldtrialError(
            f"{path.name} could not be written ({error.strerror or error}).",
            hint="See whether the folder may be written to, or name another with  --out",
        ) from error


def _contents(files: Folder, trial: Trial, report: str) -> Iterator[tuple[str, bytes]]:
    kept = [files.trial_file, files.seal, files.plan, files.weld_log]
    kept += [files.readings(response.name) for response in trial.to_read]
    kept += [files.corrections, files.journal]
    if trial.adopted is not None:
        kept.append(files.path / trial.adopted.file)
    for path in kept:
        if path.exists():
            yield files.name_of(path), path.read_bytes()
    yield "report.html", report.encode("utf-8")


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, EARLIEST)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o644 << 16
    return entry
