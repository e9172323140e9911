"""What is to be reviewed, read from the command line: everything that is wrong said at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.cli.review_options import Wishes
from weldtrial.shared.answers import Answer, read_answers, read_said
from weldtrial.shared.claim_text import parse_claim
from weldtrial.shared.claimed import Claim, Evidence, fits
from weldtrial.shared.problems import Problem, ProblemsFound, WrongUsage
from weldtrial.shared.responses import Margin
from weldtrial.shared.review_texts import (
    parse_counts,
    parse_margin,
    parse_studies,
    parse_summary,
)

if TYPE_CHECKING:
    from weldtrial.shared.review_data import Theirs

HOW = (
    'Give one of:  --counts "new 3/4, before 0/12"   --summary "new 68.2 4.4 4, old 70.3 3.8 4"   '
    "--study … --study …   a CSV file   a trial folder or its bundle"
)
MOST_PROBLEMS = 20
"""Of one file: a file that is no table has one in every line."""
ONLY_SUMMARY = ("step", "least", "most")


@dataclass(frozen=True, slots=True)
class Asked:
    """What is reviewed.

    Attributes
    ----------
    evidence
        Of counts, averages, studies and files; None for a trial folder.
    theirs
        The rows of a file; None for anything else.
    folder
        A trial folder or a bundle; None for anything else.
    notes
        What was taken for granted, or folded, in reading a file.
    warnings
        What is to be known though all can be read.
    said
        Answers that were given.
    """

    wishes: Wishes
    evidence: Evidence | None
    claim: Claim | None
    margin: Margin | None
    said: Mapping[str, Answer]
    theirs: Theirs | None = None
    folder: Path | None = None
    notes: tuple[str, ...] = ()
    warnings: tuple[Problem, ...] = ()

    @property
    def kind(self) -> str:
        """``counts``, ``summary``, ``studies``, ``raw`` or ``folder``."""
        return "folder" if self.evidence is None else self.evidence.kind


def ask_of_line(wishes: Wishes) -> Asked:
    """Read the command line.

    Raises
    ------
    WrongUsage
        Where there is not exactly one kind of input.
    ProblemsFound
        With everything else that is wrong, in texts, files and answers.
    """
    kinds = wishes.kinds
    if not kinds:
        raise WrongUsage("Nothing to review.", hint=HOW)
    if len(kinds) > 1:
        raise WrongUsage(
            f"One review weighs one kind of evidence; here are {', '.join(kinds)}. "
            "Review them one after the other.",
            hint=HOW,
        )
    problems: list[Problem] = _misfits(wishes)
    claim, margin = None, None
    if wishes.claim:
        claim, found = parse_claim(wishes.claim)
        problems += found
    if wishes.margin:
        margin, found = parse_margin(wishes.margin)
        problems += found
    said, found = _answers(wishes)
    problems += found
    read = _read(wishes)
    problems += read.warnings[:MOST_PROBLEMS]
    if len(read.warnings) > MOST_PROBLEMS:
        words = f"and {len(read.warnings) - MOST_PROBLEMS} more; mend these first."
        problems.append(Problem(words, file=read.warnings[0].file))
    if any(not one.warning for one in problems):
        raise ProblemsFound(tuple(problems))
    return replace(read, claim=claim, margin=margin, said=said, warnings=tuple(problems))


def _misfits(wishes: Wishes) -> list[Problem]:
    """Return options that do not go with this kind of input."""
    file = wishes.place is not None and wishes.place.is_file()
    only_file = [f"--{role}" for role, _ in wishes.columns]
    only_file += [f"--{name}" for name in ("new", "old", "decimal") if getattr(wishes, name)]
    problems = []
    if only_file and not (file and not _is_zip(wishes.place)):
        words = f"{', '.join(only_file)}: a column or side of a file, and no CSV file is given."
        problems.append(Problem(words, "review"))
    stepped = [f"--{name}" for name in ONLY_SUMMARY if getattr(wishes, name) is not None]
    if stepped and not wishes.summary:
        words = f"{', '.join(stepped)}: of a gauge, and goes with --summary."
        problems.append(Problem(words, "review"))
    for name in ("step", "sd_setup"):
        value = getattr(wishes, name)
        if value is not None and not value > 0:
            words = f"--{name.replace('_', '-')} is {value:g}: it lies above 0."
            problems.append(Problem(words, "review"))
    for name in (*ONLY_SUMMARY, "sd_setup"):
        value = getattr(wishes, name)
        if value is not None and not fits(value) and (value > 0 or name in ("least", "most")):
            words = f"--{name.replace('_', '-')} is {value:g}: no gauge has that. Check it."
            problems.append(Problem(words, "review"))
    if wishes.least is not None and wishes.most is not None and wishes.least >= wishes.most:
        words = f"--least {wishes.least:g} is not below --most {wishes.most:g}. Turn them round."
        problems.append(Problem(words, "review"))
    return problems


def _is_zip(path: Path | None) -> bool:
    from weldtrial.shared.review_folder import is_bundle

    return path is not None and is_bundle(path)


def _answers(wishes: Wishes) -> tuple[dict[str, Answer], list[Problem]]:
    found: dict[str, Answer] = {}
    problems: list[Problem] = []
    if wishes.answers is not None:
        try:
            data = wishes.answers.read_bytes()
        except OSError as error:
            words = f"cannot be read: {error.strerror or error}. Name another  --answers"
            problems.append(Problem(words, file=str(wishes.answers)))
        else:
            found, wrong = read_answers(data, wishes.answers.name)
            problems += wrong
    said, wrong = read_said(wishes.say)
    # A flag is typed later than a file, and wins.
    return {**found, **said}, [*problems, *wrong]


def _read(wishes: Wishes) -> Asked:
    evidence: Evidence | None = None
    problems: list[Problem] = []
    if wishes.place is not None:
        return _read_place(wishes, wishes.place)
    if wishes.counts:
        evidence, problems = parse_counts(wishes.counts, what=wishes.what)
    elif wishes.summary:
        evidence, problems = parse_summary(wishes.summary, unit=wishes.unit)
    else:
        evidence, problems = parse_studies(list(wishes.study), unit=wishes.unit)
    if evidence is not None:
        evidence = _completed(evidence, wishes)
    return Asked(wishes, evidence, None, None, {}, warnings=tuple(problems))


def _completed(evidence: Evidence, wishes: Wishes) -> Evidence:
    return replace(
        evidence,
        what=wishes.what,
        better=wishes.better or evidence.better,  # type: ignore[arg-type]
        step=wishes.step,
        least=wishes.least,
        most=wishes.most,
        looked_at=wishes.picked_from,
    )


def _read_place(wishes: Wishes, place: Path) -> Asked:
    if place.suffix.lower() == ".json":
        words = (
            "a saved review is not reviewed again. Its trial:  weldtrial new NAME --from-review "
            f"{place}"
        )
        return Asked(wishes, None, None, None, {}, warnings=(Problem(words, file=place.name),))
    if place.is_dir() or _is_zip(place):
        return Asked(wishes, None, None, None, {}, folder=place)
    from weldtrial.shared.review_data import read_theirs
    from weldtrial.shared.review_evidence import evidence_of_rows, sides_to_compare

    try:
        data = place.read_bytes()
    except OSError as error:
        why = (error.strerror or "it cannot be opened").lower()
        problem = Problem(f"cannot be read: {why}. {HOW}", file=str(place))
        return Asked(wishes, None, None, None, {}, warnings=(problem,))
    columns = dict(wishes.columns)
    theirs = read_theirs(data, place.name, columns, wishes.decimal)  # type: ignore[arg-type]
    problems = list(theirs.problems)
    if not theirs.rows:
        return Asked(wishes, None, None, None, {}, warnings=tuple(problems))
    sides, taken, wrong = sides_to_compare(theirs, wishes.new, wishes.old)
    problems += wrong
    if sides is None:
        return Asked(wishes, None, None, None, {}, warnings=tuple(problems))
    folded = tuple(f"review: {words}" for words in theirs.folded)
    notes = (*folded, *(f"{one}." for one in (*theirs.columns.taken, *taken)))
    theirs = replace(theirs, rows=tuple(row for row in theirs.rows if row.group in sides))
    evidence = evidence_of_rows(
        theirs.rows, *sides, unit=wishes.unit or theirs.unit,
        what=wishes.what or theirs.columns.of("value"),
        better=wishes.better or "higher",  # type: ignore[arg-type]
    )  # fmt: skip
    evidence = replace(evidence, looked_at=wishes.picked_from)
    return Asked(
        wishes, evidence, None, None, {}, theirs=theirs, notes=notes, warnings=tuple(problems)
    )
