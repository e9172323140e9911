"""``weldtrial seal``, from the command line."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from weldtrial.shared.chain import read_chain
from weldtrial.shared.folder import Folder

GOLDEN = Path(__file__).parents[1] / "golden" / "drawbar.toml"
SEAL = "2AD0-60B8-DA7E"
Weldtrial = Callable[..., Any]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "drawbar"
    folder.mkdir()
    (folder / "trial.toml").write_bytes(GOLDEN.read_bytes())
    return folder


@pytest.fixture
def sealed(folder: Path, weldtrial: Weldtrial) -> Path:
    assert weldtrial("seal", "--dice", "4,2,6,1,5", cwd=folder).code == 0
    return folder


def snapshot(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith(".")
    }


def edit(path: Path, was: str, now: str) -> None:
    text = path.read_bytes().decode("utf-8")
    assert was in text
    path.write_bytes(text.replace(was, now, 1).encode("utf-8"))


def flat(text: str) -> str:
    """A wrapped text as one line."""
    return " ".join(text.split())


def type_readings(folder: Path, count: int) -> None:
    path = Folder(folder).readings("break_load")
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        path.write_text("stamp,reading\n" + "A2H,84.2\n" * count, encoding="utf-8")
        return
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    for row in rows[:count]:
        row["reading"] = "84.2"
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8")


def events(folder: Path) -> list[str]:
    rows, problems = read_chain(Folder(folder).journal)
    assert problems == ()
    return [row["event"] for row in rows]


# ------------------------------------------------------------------ sealing


def test_sealing_writes_the_folder_and_says_what_it_shows(
    folder: Path, weldtrial: Weldtrial
) -> None:
    outcome = weldtrial("seal", "--dice", "4,2,6,1,5", cwd=folder)
    assert outcome.code == 0
    assert "36 coupons, 6 rounds, 12 set-ups, 2 warm-ups, 2 spares" in outcome.out
    assert f"Seal      {SEAL}" in outcome.out
    assert "Dice      4, 2, 6, 1, 5" in outcome.out
    assert "draw 1 accepted (no gas first in more than 4 of 6 rounds: mix first" in outcome.out
    assert (
        "What this shows: the plan you show later is this plan, letter for letter." in outcome.out
    )
    assert f"What it does not: when it was made. Put {SEAL} somewhere dated" in outcome.out
    assert "Next:  weldtrial sheets" in outcome.out
    files = snapshot(folder)
    assert {"plan.csv", "seal.json", "weld_log.csv", "journal.csv"} <= set(files)
    assert {"readings/break_load.csv", "readings/penetration.csv"} <= set(files)
    assert any(name.startswith("sheets/") for name in files)
    assert len(files["readings/penetration.csv"].splitlines()) == 1 + 2 * 38
    assert events(folder) == ["sealed"]


def test_the_seal_file_holds_what_its_page_says(sealed: Path) -> None:
    held = json.loads((sealed / "seal.json").read_text(encoding="utf-8"))
    assert held["code"] == SEAL
    assert held["dice"] == [4, 2, 6, 1, 5]
    assert held["late"] == {"readings": 0, "welded": 0}
    assert (held["format"], held["canonical"], held["draw"]) == (1, 1, 1)
    assert held["question"]["response"][0]["margin"] == 5


def test_as_json(folder: Path, weldtrial: Weldtrial) -> None:
    said = weldtrial("seal", "--no-dice", "--witness", "mailed to a friend", "--json", cwd=folder)
    shown = said.json
    assert (shown["code"], shown["state"], shown["dice"]) == (SEAL, "sealed", [])
    assert (shown["coupons"], shown["rounds"], shown["set_ups"]) == (36, 6, 12)
    assert [one["text"] for one in shown["witness"]] == ["mailed to a friend"]
    assert "plan.csv" in shown["written"]
    assert "wire spool" in shown["unhandled"]
    assert "Nothing is said of: wire spool" in said.err


def test_without_a_terminal_and_without_dice_it_goes_without(
    folder: Path, weldtrial: Weldtrial
) -> None:
    outcome = weldtrial("seal", cwd=folder)
    assert outcome.code == 0
    assert "Dice      none thrown" in outcome.out


def test_other_dice_give_another_order_under_the_same_seal(
    folder: Path, weldtrial: Weldtrial, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "trial.toml").write_bytes(GOLDEN.read_bytes())
    weldtrial("seal", "--dice", "1 2 3", cwd=folder)
    weldtrial("seal", "--dice", "1 2 4", cwd=other)
    one, two = snapshot(folder), snapshot(other)
    assert one["plan.csv"] != two["plan.csv"]
    assert json.loads(one["seal.json"])["seal"] == json.loads(two["seal.json"])["seal"]


def test_at_a_terminal_dice_are_asked_for_until_they_are_dice(
    folder: Path, weldtrial: Weldtrial, monkeypatch: pytest.MonkeyPatch
) -> None:
    from weldtrial.cli.console import Console

    answers = iter(["a few", "4 2 6 1 5"])
    monkeypatch.setattr(Console, "may_ask", property(lambda _: True))
    monkeypatch.setattr("builtins.input", lambda prompt: next(answers))
    outcome = weldtrial("seal", cwd=folder)
    assert outcome.code == 0
    assert "Throw some dice where someone can see them." in outcome.out
    assert "are not dice" in outcome.err
    assert "Dice      4, 2, 6, 1, 5" in outcome.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--dice"], "--dice 4,2,6"),
        (["--dice", "4,x"], "are not dice"),
        (["--dice", "4", "--no-dice"], "--dice and --no-dice do not go together"),
        (["--verify", "--amend", "why"], "--verify and --amend do not go together"),
        (["--amend", " "], "--amend needs words"),
        (["--verify"], "not sealed yet, so --verify has nothing to go by"),
        (["--amend", "why"], "not sealed yet, so --amend has nothing to go by"),
    ],
)
def test_wrong_usage_writes_nothing(
    folder: Path, weldtrial: Weldtrial, arguments: list[str], words: str
) -> None:
    outcome = weldtrial("seal", *arguments, cwd=folder)
    assert outcome.code == 2
    assert words in outcome.err
    assert list(snapshot(folder)) == ["trial.toml"]


def test_outside_a_trial_folder(tmp_path: Path, weldtrial: Weldtrial) -> None:
    outcome = weldtrial("seal", cwd=tmp_path)
    assert outcome.code == 2
    assert outcome.err.startswith(
        "No trial.toml here or in the folders above. Start one:  weldtrial"
    )


def test_a_trial_file_that_needs_fixing_is_not_sealed(folder: Path, weldtrial: Weldtrial) -> None:
    edit(folder / "trial.toml", 'unit = "V"\n', "")
    outcome = weldtrial("seal", cwd=folder)
    assert outcome.code == 3
    assert "voltage" in outcome.err
    assert list(snapshot(folder)) == ["trial.toml"]


def test_a_plan_that_cannot_answer_is_not_sealed(folder: Path, weldtrial: Weldtrial) -> None:
    edit(folder / "trial.toml", "rounds  = 6\nset_ups = 12", "rounds  = 1\nset_ups = 2")
    outcome = weldtrial("seal", cwd=folder)
    assert outcome.code == 3
    assert "Each gas is set up once" in outcome.err
    assert list(snapshot(folder)) == ["trial.toml"]


# ------------------------------------------------------------------ sealed already


def test_sealing_again_changes_nothing(sealed: Path, weldtrial: Weldtrial) -> None:
    before = snapshot(sealed)
    for arguments in ([], ["--dice", "4,2,6,1,5"], ["--no-input"]):
        outcome = weldtrial("seal", *arguments, cwd=sealed)
        assert outcome.code == 0
        assert (
            "Sealed already, and the folder matches its seal. Nothing was changed." in outcome.out
        )
        assert SEAL in outcome.out
    assert snapshot(sealed) == before


def test_dice_are_thrown_once(sealed: Path, weldtrial: Weldtrial) -> None:
    outcome = weldtrial("seal", "--dice", "6", cwd=sealed)
    assert outcome.code == 2
    assert f"sealed already ({SEAL}, 4,2,6,1,5); dice are thrown once" in outcome.err


def test_a_lost_plan_is_drawn_again_to_the_byte(sealed: Path, weldtrial: Weldtrial) -> None:
    before = snapshot(sealed)
    (sealed / "plan.csv").unlink()
    outcome = weldtrial("seal", cwd=sealed)
    assert outcome.code == 0
    assert "Wrote     plan.csv" in outcome.out
    assert snapshot(sealed) == before


def test_a_row_added_by_hand_survives_sealing_again(sealed: Path, weldtrial: Weldtrial) -> None:
    path = Folder(sealed).readings("break_load")
    path.write_text(path.read_text(encoding="utf-8") + "E6V,,,,,\n", encoding="utf-8")
    before = snapshot(sealed)
    assert weldtrial("seal", cwd=sealed).code == 0
    assert snapshot(sealed) == before


def test_a_seal_edited_by_hand_ends_every_use_of_it(sealed: Path, weldtrial: Weldtrial) -> None:
    edit(sealed / "seal.json", '"margin": 5', '"margin": 8')
    before = snapshot(sealed)
    for arguments in ([], ["--verify"], ["--amend", "why"], ["--witness", "a friend"]):
        outcome = weldtrial("seal", *arguments, cwd=sealed)
        assert outcome.code == 4
        assert "seal.json was edited by hand: its question or design no longer gives" in outcome.err
    assert snapshot(sealed) == before


def test_a_witness_may_be_added_later(sealed: Path, weldtrial: Weldtrial) -> None:
    outcome = weldtrial("seal", "--witness", "posted on the club's board, 12 June", cwd=sealed)
    assert outcome.code == 0
    assert events(sealed) == ["sealed", "witness"]
    verified = weldtrial("seal", "--verify", cwd=sealed)
    assert verified.code == 0
    assert "posted on the club's board, 12 June" in verified.out


# ------------------------------------------------------------------ changed after sealing


def test_a_changed_margin_is_named_and_nothing_is_written(
    sealed: Path, weldtrial: Weldtrial
) -> None:
    edit(sealed / "trial.toml", "margin     = 5", "margin     = 8")
    before = snapshot(sealed)
    line = 1 + (sealed / "trial.toml").read_text(encoding="utf-8").splitlines().index(
        "margin     = 8"
    )
    for arguments in ([], ["--verify"], ["--witness", "a friend"]):
        outcome = weldtrial("seal", *arguments, cwd=sealed)
        assert outcome.code == 4
        assert (
            f"trial.toml no longer matches seal {SEAL}: break_load margin 5 → 8 (line {line}). "
            'Put it back, or log it:  weldtrial seal --amend "why".'
        ) in outcome.err
    assert snapshot(sealed) == before


def test_a_change_that_could_not_even_be_planned_is_named_all_the_same(
    sealed: Path, weldtrial: Weldtrial
) -> None:
    edit(sealed / "trial.toml", "coupons = 40", "coupons = 20")
    outcome = weldtrial("seal", cwd=sealed)
    assert outcome.code == 4
    assert "budget coupons 40 → 20" in outcome.err


def test_verify_draws_everything_again(sealed: Path, weldtrial: Weldtrial) -> None:
    outcome = weldtrial("seal", "--verify", cwd=sealed)
    assert outcome.code == 0
    assert (
        "plan.csv         drawn again from the seal: 40 coupons, every cell the same" in outcome.out
    )
    assert "trial.toml       the question as sealed" in outcome.out
    assert weldtrial("seal", "--verify", "--json", cwd=sealed).json["matches"] is True


def test_verify_names_an_edited_row_of_the_plan(sealed: Path, weldtrial: Weldtrial) -> None:
    edit(sealed / "plan.csv", "co2,27", "co2,28")
    outcome = weldtrial("seal", "--verify", cwd=sealed)
    assert outcome.code == 4
    assert "column voltage_V: changed since sealing: voltage_V 27 → 28." in outcome.err
    shown = weldtrial("seal", "--verify", "--json", cwd=sealed)
    assert shown.code == 4
    (check,) = [one for one in shown.json["checks"] if not one["holds"]]
    assert check["file"] == "plan.csv"
    assert [one["column"] for one in check["problems"]] == [None, "voltage_V"]


def test_comments_and_wrapping_do_not_break_the_seal(sealed: Path, weldtrial: Weldtrial) -> None:
    edit(sealed / "trial.toml", "margin     = 5", "# a thought\nmargin = 5.0")
    assert weldtrial("seal", "--verify", cwd=sealed).code == 0


# ------------------------------------------------------------------ amending


def test_an_amendment_logs_old_and_new_and_then_matches(sealed: Path, weldtrial: Weldtrial) -> None:
    type_readings(sealed, 14)
    edit(sealed / "trial.toml", "margin     = 5", "margin     = 8")
    plan = (sealed / "plan.csv").read_bytes()
    outcome = weldtrial("seal", "--amend", "the customer asked", cwd=sealed)
    assert outcome.code == 0
    assert "break_load margin 5 → 8. Why: the customer asked" in flat(outcome.out)
    assert "decided after results" in flat(outcome.out)
    assert (sealed / "plan.csv").read_bytes() == plan
    assert events(sealed) == ["sealed", "amended"]
    shown = weldtrial("seal", "--verify", "--json", cwd=sealed).json
    assert (shown["matches"], shown["state"], shown["code"]) == (True, "amended", SEAL)
    (amendment,) = shown["amendments"]
    assert (amendment["readings"], amendment["why"]) == (14, "the customer asked")
    (change,) = amendment["changes"]
    assert (change["was"], change["now"]) == (5, 8)


def test_an_amendment_before_any_reading_says_so(sealed: Path, weldtrial: Weldtrial) -> None:
    edit(sealed / "trial.toml", "margin     = 5", "margin     = 4")
    outcome = weldtrial("seal", "--amend", "a slip", cwd=sealed)
    assert "decided after sealing, before any reading" in flat(outcome.out)
    edit(sealed / "trial.toml", "margin     = 4", "margin     = 3")
    assert weldtrial("seal", "--amend", "another slip", cwd=sealed).code == 0
    assert weldtrial("seal", "--verify", cwd=sealed).code == 0


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        ("co2 = { own = 27.0 }", "co2 = { own = 26.5 }", "what is changed on purpose"),
        ("rounds  = 6\nset_ups = 12", "rounds  = 3\nset_ups = 6", "the design"),
        ("coupons = 40\nspare   = 2", "coupons = 41\nspare   = 3", "the plan would be drawn other"),
        ("coupons = 40", "coupons = 20", "20 less 4 spare and warm-up"),
        ('name       = "break_load"', 'name       = "load"', "which responses there are"),
        ("[rules]", "[blind]\ncodes = true\n\n[rules]", "the blinding"),
    ],
)
def test_another_trial_is_no_amendment(
    sealed: Path, weldtrial: Weldtrial, was: str, now: str, words: str
) -> None:
    edit(sealed / "trial.toml", was, now)
    before = snapshot(sealed)
    outcome = weldtrial("seal", "--amend", "it suits better", cwd=sealed)
    assert outcome.code == 3
    assert words in outcome.err
    assert "weldtrial new NAME --from drawbar" in outcome.err
    assert snapshot(sealed) == before


def test_nothing_to_amend(sealed: Path, weldtrial: Weldtrial) -> None:
    outcome = weldtrial("seal", "--amend", "why not", cwd=sealed)
    assert outcome.code == 2
    assert "there is nothing to amend" in outcome.err


# ------------------------------------------------------------------ late seals


def test_a_late_seal_needs_a_yes_and_is_marked(folder: Path, weldtrial: Weldtrial) -> None:
    type_readings(folder, 14)
    before = snapshot(folder)
    outcome = weldtrial("seal", cwd=folder)
    assert outcome.code == 2
    assert (
        "readings/ already holds 14 readings. A seal now would not show the plan came first, so "
        'it will be marked "sealed late, 14 readings in". Go on?'
    ) in outcome.err
    assert "--yes" in outcome.err
    assert snapshot(folder) == before
    outcome = weldtrial("seal", "--yes", cwd=folder)
    assert outcome.code == 0
    assert "sealed late, 14 readings in" in outcome.out
    assert "Left      readings/break_load.csv (something is typed there already" in outcome.out
    assert events(folder) == ["sealed-late"]
    after = snapshot(folder)
    assert after["readings/break_load.csv"] == before["readings/break_load.csv"]
    assert weldtrial("seal", "--verify", "--json", cwd=folder).json["state"] == "late"


@pytest.mark.parametrize(("answer", "sealed_now"), [("n", False), ("", False), ("y", True)])
def test_a_late_seal_asks_at_a_terminal(
    folder: Path,
    weldtrial: Weldtrial,
    monkeypatch: pytest.MonkeyPatch,
    answer: str,
    sealed_now: bool,
) -> None:
    from weldtrial.cli.console import Console

    type_readings(folder, 1)
    answers = iter([answer])
    monkeypatch.setattr(Console, "may_ask", property(lambda _: True))
    monkeypatch.setattr("builtins.input", lambda prompt: next(answers))
    outcome = weldtrial("seal", "--no-dice", cwd=folder)
    assert outcome.code == 0
    assert (folder / "seal.json").exists() == sealed_now
    assert ("Nothing was sealed." in outcome.out) != sealed_now


def test_sealing_anew_after_throwing_the_seal_away_is_on_record(
    sealed: Path, weldtrial: Weldtrial
) -> None:
    (sealed / "seal.json").unlink()
    assert weldtrial("seal", "--dice", "6 6 6", cwd=sealed).code == 0
    outcome = weldtrial("seal", "--verify", cwd=sealed)
    assert outcome.code == 0
    assert f"this folder was sealed 2 times (before: {SEAL}" in outcome.err


# ------------------------------------------------------------------ the function behind it


def test_verify_from_python(sealed: Path) -> None:
    from weldtrial.doe.make_plan import make_plan
    from weldtrial.shared.problems import ProblemsFound
    from weldtrial.shared.seal import verify

    assert verify(sealed, make_plan) == ()
    edit(sealed / "trial.toml", "margin     = 5", "margin     = 5.1")
    (problem,) = verify(sealed, make_plan)
    assert "break_load margin 5 → 5.1" in problem.words
    (sealed / "trial.toml").write_text("format = ", encoding="utf-8")
    with pytest.raises(ProblemsFound):
        verify(sealed, make_plan)
    (sealed / "seal.json").unlink()
    (problem,) = verify(sealed, make_plan)
    assert "not sealed" in problem.words


def test_a_trial_with_nothing_hard_to_change_is_sealed_and_verified(
    folder: Path, weldtrial: Weldtrial
) -> None:
    (folder / "trial.toml").write_bytes(GOLDEN.with_name("travel.toml").read_bytes())
    outcome = weldtrial("seal", "--dice", "3", cwd=folder)
    assert outcome.code == 0
    assert "16 coupons, 1 spare" in outcome.out
    assert "coupons completely shuffled" in outcome.out
    assert weldtrial("seal", "--verify", cwd=folder).code == 0
