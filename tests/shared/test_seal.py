from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.amend import fixed_by_seal
from weldtrial.shared.canonical import fingerprint
from weldtrial.shared.differences import differences
from weldtrial.shared.folder import Folder
from weldtrial.shared.journal import note
from weldtrial.shared.problems import ExitCode, SealBroken
from weldtrial.shared.seal import Check, broken, check_seal, inspect
from weldtrial.shared.sealfile import (
    Amendment,
    SealFile,
    Witness,
    amendment_fingerprint,
    read_seal,
    seal_code,
    seal_hex,
    write_seal,
)


@pytest.fixture
def sealed(kit: ModuleType, tmp_path: Path) -> SealFile:
    return kit.seal_folder(tmp_path)  # type: ignore[no-any-return]


@pytest.fixture
def look(kit: ModuleType, tmp_path: Path, sealed: SealFile) -> Callable[..., list[str]]:
    """Return what no longer matches the seal, as text."""

    def found(source: dict[str, Any] | None = None) -> list[str]:
        trial = kit.trial_of(source or kit.SOURCE)
        _, problems = check_seal(tmp_path, trial, kit.draw_plan)
        return [str(problem) for problem in problems]

    return found


def edit(path: Path, was: str, now: str) -> None:
    text = path.read_bytes().decode("utf-8")
    assert was in text
    path.write_bytes(text.replace(was, now, 1).encode("utf-8"))


def test_the_seal_is_the_documented_sha_256(kit: ModuleType) -> None:
    whole = {"question": kit.SOURCE, "design": kit.DESIGN, "canonical": 1}
    assert seal_hex(kit.SOURCE, kit.DESIGN) == fingerprint(whole)
    assert seal_code("cacc516c4384" + "0" * 52) == "CACC-516C-4384"


def test_the_record_reads_back_as_it_was_written(
    kit: ModuleType, tmp_path: Path, sealed: SealFile
) -> None:
    assert read_seal(tmp_path) == sealed
    assert (sealed.state, sealed.dice) == ("sealed", (4, 2, 6))
    full = replace(
        sealed,
        witness=(Witness("2026-06-11T19:00:00+02:00", "mailed to a friend"),),
        late=14,
        amendments=(amendment_of(kit, sealed),),
    )
    write_seal(tmp_path, full)
    assert read_seal(tmp_path) == full


def test_there_may_be_no_seal(kit: ModuleType, tmp_path: Path) -> None:
    assert read_seal(tmp_path) is None
    assert check_seal(tmp_path, kit.trial_of(), kit.draw_plan) == (None, ())


def test_a_folder_as_sealed_has_nothing_to_say(look: Callable[..., list[str]]) -> None:
    assert look() == []


def test_states(kit: ModuleType, sealed: SealFile) -> None:
    amended = replace(sealed, amendments=(amendment_of(kit, sealed),))
    assert amended.state == "amended"
    assert replace(amended, late=1).state == "late"
    assert replace(sealed, late_welded=1).state == "late"


# ------------------------------------------------------------------ what changed is named


def test_an_edited_margin_is_named_with_its_line(
    kit: ModuleType, sealed: SealFile, look: Callable[..., list[str]]
) -> None:
    (words,) = look(kit.changed("response.1.margin", 8))
    assert words == (
        f"trial.toml no longer matches seal {sealed.code}: break_load margin 5 → 8 (line 72). "
        'Put it back, or log it:  weldtrial seal --amend "why". The report will show both and '
        "mark the later one as decided after sealing, with the readings that were in by then."
    )


def test_a_change_of_the_plans_own_ground_is_named_and_the_plan_still_compared(
    kit: ModuleType, look: Callable[..., list[str]], tmp_path: Path
) -> None:
    source = kit.changed("design.rounds", 4)

    def cannot(*_: object) -> Any:
        raise ValueError("no such design")

    checks = inspect(tmp_path, kit.trial_of(source), read_seal(tmp_path), cannot)  # type: ignore[arg-type]
    by_file = {check.file: check for check in checks}
    assert "design rounds 2 → 4" in str(by_file["trial.toml"].problems[0])
    assert by_file["plan.csv"].holds
    assert "not drawn again" in by_file["plan.csv"].words
    edit(Folder(tmp_path).plan, "27", "28")
    checks = inspect(tmp_path, kit.trial_of(source), read_seal(tmp_path), cannot)  # type: ignore[arg-type]
    assert [check.file for check in checks if not check.holds] == ["trial.toml", "plan.csv"]


def test_an_edited_row_of_the_plan_is_named_with_its_cell(
    look: Callable[..., list[str]], tmp_path: Path
) -> None:
    plan = Folder(tmp_path).plan
    row = next(
        number
        for number, line in enumerate(plan.read_text(encoding="utf-8").splitlines(), 1)
        if line.endswith("co2,27")
    )
    edit(plan, "co2,27", "co2,28")
    assert look() == [
        "plan.csv: 1 row is not as drawn from the seal. plan.csv is never edited: delete it, "
        "and  weldtrial seal  draws it again.",
        f"plan.csv row {row}, column voltage_V: changed since sealing: voltage_V 27 → 28.",
    ]


def test_swapped_runs_are_named(look: Callable[..., list[str]], tmp_path: Path) -> None:
    plan = Folder(tmp_path).plan
    lines = plan.read_text(encoding="utf-8").splitlines(keepends=True)
    lines[2], lines[3] = lines[3], lines[2]
    plan.write_text("".join(lines), encoding="utf-8", newline="")
    assert [words.partition(":")[0] for words in look()] == [
        "plan.csv",
        "plan.csv row 3",
        "plan.csv row 4",
    ]


@pytest.mark.parametrize("change", ["lost", "added", "emptied", "deleted", "garbled"])
def test_rows_lost_or_added_are_named(
    look: Callable[..., list[str]], tmp_path: Path, change: str
) -> None:
    plan = Folder(tmp_path).plan
    lines = plan.read_text(encoding="utf-8").splitlines(keepends=True)
    if change == "deleted":
        plan.unlink()
        assert look() == [
            "plan.csv: is missing. If the trial is sealed,  weldtrial seal  draws it again."
        ]
        return
    text = {
        "lost": "".join(lines[:-1]),
        "added": "".join([*lines, "9,9,9,1,Z9Z,count,mix,25.5\n"]),
        "emptied": "",
        "garbled": '"' + "".join(lines),
    }[change]
    plan.write_text(text, encoding="utf-8", newline="")
    words = " ".join(look())
    expected = {
        "lost": "plan.csv row 6: is missing; drawn from the seal it reads  ,,,,",
        "added": "plan.csv row 7: is not in the plan:  9,9,9,1,Z9Z",
        "emptied": "plan.csv row 1: is missing",
        "garbled": "plan.csv row 1: cannot be read as a table",
    }[change]
    assert expected in words


def test_a_plan_saved_again_by_a_spreadsheet_is_a_warning(
    kit: ModuleType, tmp_path: Path, sealed: SealFile
) -> None:
    plan = Folder(tmp_path).plan
    plan.write_bytes(plan.read_bytes().replace(b"\n", b"\r\n"))
    _, (problem,) = check_seal(tmp_path, kit.trial_of(), kit.draw_plan)
    assert problem.warning
    assert "every cell as drawn" in problem.words


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        ('"margin": 5', '"margin": 8', "its question or design no longer gives seal"),
        ('"dice": [\n    4,', '"dice": [\n    3,', "its dice, dates, counts or witnesses"),
        ("2026-06-11T18", "2026-06-01T18", "its dice, dates, counts or witnesses"),
        ('"readings": 0', '"readings": "0"', "is not as weldtrial wrote it"),
        ('"format": 1', '"format": 2', "was written by a later weldtrial"),
        ('"witness"', '"witnes"', "is not as weldtrial wrote it"),
        ('"margin": 5', '"margin": NaN', "cannot be read"),
        ("{", "", "cannot be read"),
    ],
)
def test_a_seal_edited_by_hand_is_found_out(
    look: Callable[..., list[str]], tmp_path: Path, was: str, now: str, words: str
) -> None:
    edit(Folder(tmp_path).seal, was, now)
    (found,) = look()
    assert "seal.json" in found
    assert words in found
    with pytest.raises(SealBroken):
        read_seal(tmp_path)


def test_a_seal_file_with_new_dice_and_a_new_fingerprint_fails_the_draw(
    look: Callable[..., list[str]], tmp_path: Path, sealed: SealFile
) -> None:
    write_seal(tmp_path, replace(sealed, dice=(1, 1, 1)))
    (words,) = look()
    assert "does not give the plan that was sealed" in words
    assert "dice: 1,1,1" in words


def test_a_seal_the_journal_does_not_know_is_named(
    look: Callable[..., list[str]], tmp_path: Path, sealed: SealFile
) -> None:
    Folder(tmp_path).journal.unlink()
    assert look() == [f"journal.csv: no line records seal {sealed.code}. Put back a copy."]


def test_a_broken_chain_is_among_what_does_not_match(
    look: Callable[..., list[str]], tmp_path: Path
) -> None:
    edit(Folder(tmp_path).journal, "sealed,", "sealed-late,")
    assert any("journal.csv row 2, column link: does not follow" in words for words in look())


def test_a_folder_sealed_twice_says_so(
    kit: ModuleType, look: Callable[..., list[str]], tmp_path: Path, sealed: SealFile
) -> None:
    kit.seal_folder(tmp_path, dice=(6,))
    (words,) = look()
    assert f"sealed 2 times (before: {sealed.code}" in words
    _, problems = check_seal(tmp_path, kit.trial_of(), kit.draw_plan)
    assert [problem.warning for problem in problems] == [True]


def test_broken_carries_every_problem_and_exit_4(
    kit: ModuleType, tmp_path: Path, sealed: SealFile
) -> None:
    edit(Folder(tmp_path).plan, "27", "28")
    trial = kit.trial_of(kit.changed("response.1.margin", 8))
    _, problems = check_seal(tmp_path, trial, kit.draw_plan)
    error = broken(problems)
    assert error.exit_code == ExitCode.SEAL_BROKEN
    assert "margin 5 → 8" in error.words
    assert "voltage_V 27 → 28" in error.words


# ------------------------------------------------------------------ amendments


def amendment_of(kit: ModuleType, sealed: SealFile) -> Amendment:
    change = {"path": "response.1.margin", "name": "break_load margin", "was": 5, "now": 8}
    one = Amendment(
        when="2026-06-14T20:00:00+02:00",
        why="the customer asked",
        changes=({**change, "line": 72},),
        question=kit.changed("response.1.margin", 8),
        readings=14,
    )
    return replace(one, fingerprint=amendment_fingerprint(sealed.seal, one))


@pytest.fixture
def amended(kit: ModuleType, tmp_path: Path, sealed: SealFile) -> SealFile:
    amendment = amendment_of(kit, sealed)
    note(tmp_path, "amended", f"seal {sealed.seal}; amendment {amendment.fingerprint}")
    after = replace(sealed, amendments=(amendment,))
    write_seal(tmp_path, after)
    return after


def test_an_amended_trial_matches_and_the_one_before_does_not(
    kit: ModuleType, amended: SealFile, look: Callable[..., list[str]]
) -> None:
    assert look(kit.changed("response.1.margin", 8)) == []
    (words,) = look(kit.SOURCE)
    assert f"no longer matches seal {amended.code} (as amended)" in words
    assert "margin 8 → 5" in words
    assert amended.amendments[0].words == (
        "amended 2026-06-14 (14 readings in): break_load margin 5 → 8. Why: the customer asked"
    )


def test_an_amendment_taken_out_again_is_named_from_the_journal(
    sealed: SealFile, amended: SealFile, look: Callable[..., list[str]], tmp_path: Path
) -> None:
    write_seal(tmp_path, sealed)
    (words,) = look()
    assert "it records 1 amendments" in words
    assert "seal.json only 0" in words


def test_an_amendment_made_to_look_earlier_is_found_out(
    kit: ModuleType, amended: SealFile, look: Callable[..., list[str]], tmp_path: Path
) -> None:
    earlier = replace(amended.amendments[0], readings=0)
    write_seal(tmp_path, replace(amended, amendments=(earlier,)))
    (words,) = look(kit.changed("response.1.margin", 8))
    assert words == "seal.json: the amendment of 2026-06-14 is not the one that was logged."


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("response.1.margin", 8, None),
        ("trial.title", "Dearer gas", None),
        ("response.0.sections", 3, None),
        ("response.1.unit", "lbf", "the unit of a response"),
        ("response.1.name", "load", "which responses there are"),
        ("trial.purpose", "pilot", "the purpose"),
        ("design.rounds", 4, "the design"),
        ("factor.0.levels", ["mix"], "what is changed on purpose"),
        ("order", {"first_at_most": 1}, "the order"),
        ("blind", {"codes": False}, "the blinding"),
    ],
)
def test_what_an_amendment_may_change(
    kit: ModuleType, path: str, value: Any, words: str | None
) -> None:
    changes = differences(kit.SOURCE, kit.changed(path, value))
    assert {fixed_by_seal(change) for change in changes} == {words}


def test_a_check_with_warnings_only_holds(kit: ModuleType) -> None:
    assert Check("plan.csv", "fine").holds


# ------------------------------------------------------------------ garbage


@given(
    st.binary(max_size=60)
    | st.recursive(
        st.none() | st.integers() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    ["seal", "dice", "late", "question", "amendments", "format", "witness"]
                ),
                inner,
                max_size=4,
            )
        ),
    ).map(lambda value: json.dumps(value).encode())
)
def test_garbage_for_a_seal_is_a_broken_seal(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    folder = tmp_path_factory.mktemp("seal")
    Folder(folder).seal.write_bytes(data)
    with pytest.raises(SealBroken):
        read_seal(folder)
