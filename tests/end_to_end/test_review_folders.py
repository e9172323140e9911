"""Somebody's folder on a reviewer's desk: planted faults are named, a clean one is let alone.

One invented trial is sealed, filled in, opened and reported once; copies of it are spoiled.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import zipfile
from pathlib import Path

import numpy as np
import pytest
from weldtrial_bad_folders import LOADS, LOG, Spoilt, opened

from weldtrial.analysis.evidence_grade import grade_evidence
from weldtrial.cli.main import main
from weldtrial.cli.review_folder import FolderReview, opened_folder, review_folder
from weldtrial.shared.answers import value_of
from weldtrial.shared.problems import ProblemsFound
from weldtrial.shared.review_folder import is_bundle, read_report, unpack

# One worker builds what these tests share.
pytestmark = pytest.mark.xdist_group("review_folders")

BLIND = '\n[blind]\nwho = ["break_load"]\nreader = "reader 1"\ncodes = true\n'


def run(folder: Path, *words: str) -> None:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["-C", str(folder), *words]) == 0, words


def fill(folder: Spoilt, seed: int = 5) -> None:
    """Weld and read everything, as invented."""
    rng = np.random.default_rng(seed)
    log = {row["stamp"]: row for row in folder.rows(LOG)}
    loads = {row["stamp"]: row for row in folder.rows(LOADS)}
    for n, stamp in enumerate(folder.stamps):
        log[stamp] |= {
            "started": f"2026-03-{2 + n // 6:02d} {8 + n % 6:02d}:{rng.integers(60):02d}",
            "throat_mm": f"{5.6 + rng.normal(0, 0.15):.1f}",
            "plate_temp_C": f"{20 + rng.integers(10)}",
        }
        loads[stamp] |= {"reading": f"{80 + rng.normal(0, 2.5):.1f}", "failed_at": "throat",
                         "reader": "reader 1", "read_on": "2026-03-06"}  # fmt: skip
    folder.save(LOG, list(log.values()))
    folder.save(LOADS, list(loads.values()))


@pytest.fixture(scope="module")
def closed(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished trial whose codes are still closed; copy it, do not write in it."""
    folder = tmp_path_factory.mktemp("closed") / "trial"
    folder.mkdir()
    text = (root / "tests/fixtures/bad_results/loads.toml").read_text(encoding="utf-8")
    text = text.replace("coupons = 18", "coupons = 26") + BLIND
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    run(folder, "seal", "--no-dice")
    fill(opened(folder))
    return folder


@pytest.fixture(scope="module")
def done(closed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, opened and reported."""
    folder = tmp_path_factory.mktemp("done") / "trial"
    shutil.copytree(closed, folder)
    finish(folder)
    return folder


def finish(folder: Path) -> None:
    for words in (("analyse", "--agree"), ("analyse", "--open", "--yes"), ("report",)):
        run(folder, *words)


@pytest.fixture
def theirs(done: Path, tmp_path: Path) -> Spoilt:
    shutil.copytree(done, tmp_path / "their-folder")
    return opened(tmp_path / "their-folder")


def said(review: FolderReview, code: str) -> str:
    return "\n".join(fact.words for fact in review.facts if fact.code == code)


def serious(review: FolderReview) -> set[str]:
    return {fact.code for fact in review.facts if fact.serious}


def asked(review: FolderReview) -> set[str]:
    return {one.code for one in review.suspicions if one.asks}


def grade(review: FolderReview) -> str:
    return grade_evidence(review.answers, review.faults).code


def test_a_clean_folder_is_let_alone(theirs: Spoilt) -> None:
    before = theirs.bytes()
    review = review_folder(theirs.path)
    assert serious(review) == set()
    assert asked(review) == set()
    assert review.faults == ()
    assert said(review, "report-agrees").startswith("All 1 verdicts of report.html come out again")
    assert "drawn again from the seal: 26 coupons, every cell the same" in said(review, "holds")
    assert grade(review) == "fair"
    assert [key for key, one in review.answers.items() if not one.known] == []
    assert theirs.bytes() == before


@pytest.mark.parametrize("seed", range(6))
def test_other_clean_readings_are_let_alone_too(closed: Path, tmp_path: Path, seed: int) -> None:
    shutil.copytree(closed, tmp_path / "trial")
    fill(opened(tmp_path / "trial"), 100 + seed)
    run(tmp_path / "trial", "analyse", "--open", "--yes")
    review = review_folder(tmp_path / "trial")
    assert review.folder.record.codes_open
    assert serious(review) == set()
    assert asked(review) == set()


def test_a_review_keeps_closed_codes_closed(closed: Path) -> None:
    review = review_folder(closed)
    assert "The codes are still closed" in said(review, "codes-closed")
    assert review.suspicions == ()
    assert review.again.findings is not None
    assert review.again.findings.responses == ()
    words = " ".join(fact.words for fact in review.facts)
    assert "co2" not in words


def test_an_edited_plan_is_named_and_the_plan_as_sealed_is_analysed(theirs: Spoilt) -> None:
    clean = review_folder(theirs.path)
    rows = theirs.rows("plan.csv")
    first = next(row for row in rows if row["gas"] == "mix")
    other = next(row for row in rows if row["gas"] == "co2")
    first["gas"], other["gas"] = other["gas"], first["gas"]
    theirs.save("plan.csv", rows)
    review = review_folder(theirs.path)
    assert "seal-broken" in serious(review)
    assert "gas mix → co2" in said(review, "seal-broken")
    assert "gas co2 → mix" in said(review, "seal-broken")
    assert review.folder.redrawn
    assert review.again.findings == clean.again.findings
    assert grade(review) == "weak"  # fair, one step down
    assert "seal-broken" in {fault.code for fault in review.faults}


def test_swapped_rows_of_the_plan_are_named(theirs: Spoilt) -> None:
    lines = theirs.text("plan.csv").splitlines(keepends=True)
    lines[3], lines[9] = lines[9], lines[3]
    theirs.write("plan.csv", "".join(lines))
    review = review_folder(theirs.path)
    words = said(review, "seal-broken")
    assert "2 rows are not as drawn from the seal" in words
    assert "row 4" in words
    assert "row 10" in words


def test_a_margin_moved_afterwards_is_named_and_the_report_no_longer_fits(theirs: Spoilt) -> None:
    theirs.replace("trial.toml", "margin = 5\n", "margin = 1\n")
    review = review_folder(theirs.path)
    assert "margin 5 → 1" in said(review, "seal-broken")
    words = said(review, "report-differs")
    assert "no worse than mix by more than 5 kN" in words
    assert "worked out again from the raw files: “Not settled" in words


def test_dropped_coupons_are_missed(theirs: Spoilt) -> None:
    rows = theirs.rows(LOADS)
    gone = theirs.of("co2")[:3]
    theirs.save(LOADS, [row for row in rows if row["stamp"] not in gone])
    review = review_folder(theirs.path)
    words = said(review, "vanished")
    assert "all readings were in when the codes were opened" in words
    assert all(stamp in words for stamp in gone)
    assert value_of(review.answers, "left-out") == "unexplained"
    assert "report-differs" in serious(review)


def test_corrections_after_opening_are_counted_and_the_verdict_worked_out_without_them(
    theirs: Spoilt,
) -> None:
    for stamp in theirs.of("co2")[::2]:
        was = next(row["reading"] for row in theirs.rows(LOADS) if row["stamp"] == stamp)
        now = f"{float(was) - 20:.1f}"
        run(theirs.path, "record", "break_load", "--correct", stamp, "--to", now, "--why",
            "typed from the wrong line (invented)", "--yes")  # fmt: skip
    run(theirs.path, "report")
    review = review_folder(theirs.path)
    assert "6 of 6 corrections were made after the codes were opened" in said(
        review, "late-corrections"
    )
    words = said(review, "verdict-rests-on-corrections")
    assert "no worse than mix by more than 5 kN.” without them" in words
    assert "report-differs" not in serious(review)
    assert "verdict-rests-on-corrections" in {fault.code for fault in review.faults}


def test_a_small_correction_after_opening_leaves_the_verdict(theirs: Spoilt) -> None:
    stamp = theirs.of("co2")[0]
    was = next(row["reading"] for row in theirs.rows(LOADS) if row["stamp"] == stamp)
    run(theirs.path, "record", "break_load", "--correct", stamp, "--to",
        f"{float(was) + 0.3:.1f}", "--why", "misread (invented)", "--yes")  # fmt: skip
    review = review_folder(theirs.path)
    assert "1 of 1 corrections" in said(review, "late-corrections")
    assert said(review, "verdict-stands")
    assert "report.html says of Break load" in said(review, "report-differs")


def test_a_journal_line_that_was_taken_out_breaks_the_chain(theirs: Spoilt) -> None:
    lines = theirs.text("journal.csv").splitlines(keepends=True)
    theirs.write("journal.csv", "".join([*lines[:2], *lines[3:]]))
    assert "does not follow from" in said(review_folder(theirs.path), "seal-broken")


def test_sides_welded_on_days_of_their_own_are_tied(theirs: Spoilt) -> None:
    for n, stamp in enumerate(theirs.stamps):
        day = 2 if theirs.gas[stamp] == "mix" else 4
        theirs.put(LOG, stamp, started=f"2026-03-{day:02d} {7 + n // 2:02d}:{n % 2 * 25:02d}")
    review = review_folder(theirs.path)
    tied = [one for one in review.suspicions if one.strength == "tied"]
    assert {name for one in tied for name in one.columns} == {"day", "order"}
    assert grade(review) in ("weak", "anecdote")


def test_several_coupons_of_one_minute_are_asked_about(theirs: Spoilt) -> None:
    for n, stamp in enumerate(theirs.stamps):
        theirs.put(LOG, stamp, started=f"2026-03-{2 + n // 6:02d} {8 + n % 6 // 3:02d}:10")
    review = review_folder(theirs.path)
    assert "same-minute" in asked(review)
    assert "re-measures" in {fault.code for fault in review.faults}


def test_one_reading_copied_through_a_set_up_is_asked_about(theirs: Spoilt) -> None:
    readings = {row["stamp"]: row["reading"] for row in theirs.rows(LOADS)}
    for n, stamp in enumerate(theirs.stamps):
        theirs.put(LOADS, stamp, reading=readings[theirs.stamps[n - n % 3]])
    assert "equal-neighbours" in asked(review_folder(theirs.path))


def test_a_report_that_was_written_otherwise_is_named(theirs: Spoilt) -> None:
    page = theirs.text("report.html")
    assert "Shown: co2 is no worse than mix by more than 5 kN." in page
    theirs.write("report.html", page.replace("Shown: co2 is no worse than mix by more than 5 kN.",
                                             "Shown: co2 is better."))  # fmt: skip
    words = said(review_folder(theirs.path), "report-differs")
    assert "“Shown: co2 is better.”" in words
    assert "“Shown: co2 is no worse than mix by more than 5 kN.”" in words


def test_codes_opened_early_are_told(closed: Path, tmp_path: Path) -> None:
    shutil.copytree(closed, tmp_path / "trial")
    folder = opened(tmp_path / "trial")
    kept = {row["stamp"]: row["reading"] for row in folder.rows(LOADS)}
    for stamp in folder.stamps[-4:]:
        folder.put(LOADS, stamp, reading="")
    run(folder.path, "analyse", "--open", "--yes")
    for stamp in folder.stamps[-4:]:
        folder.put(LOADS, stamp, reading=kept[stamp])
    review = review_folder(folder.path)
    assert "not yet read: 4 break_load" in said(review, "opened-early")
    assert "opened-early" in {fault.code for fault in review.faults}


def test_a_second_seal_after_results_is_told(theirs: Spoilt) -> None:
    (theirs.path / "seal.json").unlink()
    theirs.replace("trial.toml", "margin = 5\n", "margin = 4\n")
    (theirs.path / "plan.csv").unlink()
    for name in (LOG, LOADS):
        (theirs.path / name).unlink()
    run(theirs.path, "seal", "--no-dice", "--yes")
    review = review_folder(theirs.path)
    assert "Sealed 2 times" in said(review, "sealed-again")
    assert "may choose between orders" in said(review, "sealed-again")


def test_an_unsealed_folder_is_no_evidence_of_a_plan(theirs: Spoilt) -> None:
    (theirs.path / "seal.json").unlink()
    review = review_folder(theirs.path)
    assert "not-sealed" in serious(review)
    assert "journal.csv tells of seal" in said(review, "seal-broken")
    assert value_of(review.answers, "order") == "don't know"


def test_a_bundle_is_reviewed_like_its_folder(theirs: Spoilt, tmp_path: Path) -> None:
    run(theirs.path, "report", "--bundle", "--out", str(tmp_path / "their.zip"))
    assert is_bundle(tmp_path / "their.zip")
    whole = review_folder(theirs.path)
    with opened_folder(tmp_path / "their.zip") as place:
        packed = review_folder(place)
    assert not place.exists()
    assert packed.facts == whole.facts
    assert packed.again.findings == whole.again.findings


@pytest.mark.parametrize(
    ("name", "words"),
    [("../trial.toml", "outside its folder"), ("/etc/trial.toml", "outside its folder"),
     ("a/../../trial.toml", "outside its folder"), ("c:\\trial.toml", "outside its folder"),
     ("other.txt", "is no bundle of a trial")],
)  # fmt: skip
def test_a_bundle_that_reaches_out_of_its_folder_is_refused_whole(
    tmp_path: Path, name: str, words: str
) -> None:
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as bundle:
        bundle.writestr("fine.csv", "stamp\n")
        bundle.writestr(name, "format = 1\n")
    inside = tmp_path / "deep" / "inside"
    inside.mkdir(parents=True)
    with pytest.raises(ProblemsFound, match=words):
        unpack(path, inside)
    assert not (tmp_path / "trial.toml").exists()
    assert not (tmp_path / "deep" / "trial.toml").exists()


def test_a_page_that_is_none_of_ours_claims_nothing(tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    page.write_text("<html><p class='head'>Shown: better.</p></html>", encoding="utf-8")
    assert read_report(page) is None
    assert read_report(tmp_path / "none.html") is None
