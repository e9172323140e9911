"""Somebody's trial folder, or the bundle of one, opened by a reviewer who trusts nothing in it.

Nothing here stops at the first thing that does not fit: everything is found, named, and handed on,
and where ``plan.csv`` is not the plan that was sealed, the plan drawn again from the seal is used.
"""

from __future__ import annotations

import stat
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path, PurePosixPath

from weldtrial.shared.bench import join, read_bench
from weldtrial.shared.earlier import with_earlier
from weldtrial.shared.folder import TRIAL_FILE, Folder
from weldtrial.shared.plan import Plan
from weldtrial.shared.plancsv import plan_to_csv, read_plan
from weldtrial.shared.problems import (
    NotEnough,
    Problem,
    ProblemsFound,
    SealBroken,
    WeldtrialError,
    WrongUsage,
)
from weldtrial.shared.record import Record
from weldtrial.shared.seal import Check, Redraw, inspect, seal_taken_away, sha256_of
from weldtrial.shared.sealfile import SealFile, read_seal
from weldtrial.shared.trial import Trial

MOST_FILES = 500
MOST_BYTES = 50_000_000
"""What a bundle may hold, unpacked: far more than any trial, far less than a disk."""


@dataclass(frozen=True, slots=True)
class Claimed:
    """A verdict as ``report.html`` prints it: what it is of, its sentence, and the lines below."""

    tag: str
    head: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TheirReport:
    """What a report page claims: its verdicts, its grade in words, and its seal in words."""

    verdicts: tuple[Claimed, ...]
    grade: str = ""
    seal: str = ""


@dataclass(frozen=True, slots=True)
class TheirFolder:
    """A folder as a reviewer found it.

    Attributes
    ----------
    checks
        Every file that was compared with the seal; empty without one.
    plan
        The plan drawn again from the seal where that can be done (`redrawn`), else as on file.
    before_opening
        The record without corrections made after the codes were opened; the record itself where
        there are none.
    departures
        How the order of welding differs from the plan, in words.
    report
        What ``report.html`` says, None where there is none.
    problems
        What is wrong besides with the files, warnings among them.
    """

    path: Path
    trial: Trial
    sealed: SealFile | None
    checks: tuple[Check, ...]
    plan: Plan
    redrawn: bool
    record: Record
    before_opening: Record
    departures: tuple[str, ...] = ()
    report: TheirReport | None = None
    problems: tuple[Problem, ...] = ()


def read_their_folder(folder: Path, redraw: Redraw) -> TheirFolder:
    """Read everything in somebody's trial folder and check it against its seal.

    Parameters
    ----------
    folder
        A folder with a ``trial.toml``; nothing in it is written.
    redraw
        ``doe.make_plan.make_plan``, handed in.

    Raises
    ------
    ProblemsFound
        When the question cannot be read at all.
    NotEnough
        When there is neither a plan nor a seal to draw one from.
    WrongUsage
        When the folder was adopted from data: those are reviewed as data.
    """
    from weldtrial.shared.trialfile import read_trial

    trial, problems = read_trial(Folder(folder).trial_file)
    if trial is None:
        raise ProblemsFound(problems)
    if trial.adopted is not None:
        raise WrongUsage(
            "This folder was adopted from data that were not planned here: it has no seal and no "
            "journal to check.",
            hint=f"Review the data themselves:  weldtrial review {trial.adopted.file}",
        )
    found = list(problems)
    sealed = None
    try:
        sealed = read_seal(folder)
    except SealBroken as error:
        found.append(Problem(error.words, file="seal.json"))
    found += seal_taken_away(folder) if sealed is None else ()
    checks = inspect(folder, trial, sealed, redraw) if sealed is not None else ()
    plan, redrawn = _plan(folder, trial, sealed, redraw)
    bench = read_bench(folder, trial, plan)
    record = join(folder, trial, plan, bench)
    before = record
    if any(line.codes_open for line in record.corrections):
        early = read_bench(folder, trial, plan, late_corrections=False)
        before = with_earlier(folder, trial, join(folder, trial, plan, early), redraw)
    return TheirFolder(
        path=folder,
        trial=trial,
        sealed=sealed,
        checks=checks,
        plan=plan,
        redrawn=redrawn,
        record=with_earlier(folder, trial, record, redraw),
        before_opening=before,
        departures=tuple(bench.log.notes),
        report=read_report(Folder(folder).report),
        problems=tuple(found),
    )


def _plan(folder: Path, trial: Trial, sealed: SealFile | None, redraw: Redraw) -> tuple[Plan, bool]:
    """Return the plan that was sealed, and whether it was drawn again."""
    if sealed is not None:
        try:
            drawn = redraw(trial, sealed.seal, sealed.dice)
            if sha256_of(plan_to_csv(drawn, trial)) == sealed.plan_sha256:
                return drawn, True
        except (WeldtrialError, ValueError, KeyError):
            pass  # the question was changed: the plan on file is all there is
    if not Folder(folder).plan.exists():
        raise NotEnough("This folder holds no plan.csv, so there is nothing to review yet.")
    return read_plan(Folder(folder).plan, trial), False


# ------------------------------------------------------------------ what their report claims


class _Answer(HTMLParser):
    """Collects the answer box of one of our own reports, without running or fetching anything."""

    def __init__(self) -> None:
        super().__init__()
        self.verdicts: list[dict[str, list[str]]] = []
        self.grade = ""
        self.seal = ""
        self._depth = 0
        self._into: list[str] | None = None
        self._text: list[str] = []
        self._tag = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        kind = dict(attrs).get("class") or ""
        if tag == "div" and kind == "answer":
            self._depth = 1
        elif tag == "div" and self._depth:
            self._depth += 1
            if kind == "verdict":
                self.verdicts.append({"tag": [], "head": [], "lines": []})
        if self._depth > 1 and tag == "p" and self.verdicts:
            into = self.verdicts[-1]
            self._begin(tag, into[kind if kind in ("tag", "head") else "lines"])
        elif tag == "h2" or (tag == "span" and kind == "seal"):
            self._begin(tag, [])

    def _begin(self, tag: str, into: list[str]) -> None:
        self._tag, self._into, self._text = tag, into, []

    def handle_data(self, data: str) -> None:
        self._text.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "div" and self._depth:
            self._depth -= 1
        if self._into is None or tag != self._tag:
            return
        text = " ".join("".join(self._text).split())
        self._into.append(text)
        if tag == "span":
            self.seal = self.seal or text
        if tag == "h2" and "How far to trust it:" in text:
            self.grade = self.grade or text.partition("How far to trust it:")[2].strip()
        self._into = None


def read_report(path: Path) -> TheirReport | None:
    """Return what a report page claims; None where there is no page, or it is none of ours."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None
    page = _Answer()
    page.feed(text)
    verdicts = tuple(
        Claimed(" ".join(one["tag"]), " ".join(one["head"]), tuple(one["lines"]))
        for one in page.verdicts
    )
    return TheirReport(verdicts, page.grade, page.seal) if verdicts else None


# ------------------------------------------------------------------ bundles


def is_bundle(path: Path) -> bool:
    """Whether a file is a zip."""
    return path.is_file() and zipfile.is_zipfile(path)


def unpack(bundle: Path, into: Path) -> Path:
    """Unpack a bundle into an empty folder, and return where its trial is.

    Nothing is written outside `into`: a bundle that tries to is refused whole, before anything is
    written.

    Raises
    ------
    ProblemsFound
        With everything in it that no bundle of a trial holds.
    """
    try:
        with zipfile.ZipFile(bundle) as packed:
            entries = [entry for entry in packed.infolist() if not entry.is_dir()]
            problems = tuple(_wrong(entries, bundle.name))
            if problems:
                raise ProblemsFound(problems)
            for entry in entries:
                target = into.joinpath(*PurePosixPath(entry.filename).parts)
                target.parent.mkdir(parents=True, exist_ok=True)
                with packed.open(entry) as stream:
                    target.write_bytes(stream.read(MOST_BYTES))
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, OSError) as error:
        words = f"cannot be unpacked: {error}. Ask for it again."
        raise ProblemsFound([Problem(words, file=bundle.name)]) from None
    places = sorted(into.rglob(TRIAL_FILE), key=lambda path: len(path.parts))
    if not places:
        words = f"holds no {TRIAL_FILE}, so it is no bundle of a trial."
        raise ProblemsFound([Problem(words, file=bundle.name)])
    return places[0].parent


def _wrong(entries: list[zipfile.ZipInfo], name: str) -> Iterator[Problem]:
    """Name what must not be unpacked: ways out of the folder, links, too much of anything."""
    if len(entries) > MOST_FILES:
        yield Problem(f"holds {len(entries)} files; a trial holds far fewer.", file=name)
    if sum(entry.file_size for entry in entries) > MOST_BYTES:
        yield Problem("unpacks to far more than a trial holds.", file=name)
    seen: set[str] = set()
    for entry in entries:
        path = PurePosixPath(entry.filename)
        if (
            path.is_absolute()
            or ".." in path.parts
            or "\\" in entry.filename
            or ":" in path.parts[0]
        ):
            words = f"'{entry.filename}' would be written outside its folder. Nothing was unpacked."
            yield Problem(words, file=name)
        elif stat.S_ISLNK(entry.external_attr >> 16):
            yield Problem(f"'{entry.filename}' is a link, no file.", file=name)
        elif entry.filename.casefold() in seen:
            yield Problem(f"'{entry.filename}' is in it twice.", file=name)
        elif entry.flag_bits & 1:
            yield Problem(f"'{entry.filename}' is locked with a password.", file=name)
        seen.add(entry.filename.casefold())
