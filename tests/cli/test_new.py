"""``weldtrial new``: drafts that read and plan, copies, and nothing overwritten."""

from __future__ import annotations

from pathlib import Path

import pytest

from weldtrial.cli import examples_path
from weldtrial.cli.console import Console
from weldtrial.cli.new_folder import PURPOSES, Answers, draft, filled_in
from weldtrial.doe.layout import make_layout
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.problems import ExitCode, ProblemsFound
from weldtrial.shared.trialfile import load_trial, read_trial
from weldtrial.shared.trialfile.reader import parse_trial


@pytest.fixture
def an_example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """One worked example, in a folder of our own."""
    home = tmp_path / "kept" / "examples" / "small-gas"
    (home / "readings").mkdir(parents=True)
    (home / "trial.toml").write_text(draft("compare"), encoding="utf-8")
    (home / "readings" / "break_load.csv").write_text("stamp,reading\nP2R,80\n")
    (home / ".hidden").write_text("x")
    (home.parent / "not-a-trial").mkdir()
    monkeypatch.setattr(examples_path, "_CLI", home.parents[1])
    return home


# ------------------------------------------------------------------ drafts


@pytest.mark.parametrize("purpose", PURPOSES)
def test_draft_reads_without_a_word_and_plans(purpose: str, weldtrial, tmp_path: Path) -> None:
    done = weldtrial("new", "drawbar", "--for", purpose)
    assert done.code == ExitCode.FINE
    assert done.err == ""
    assert done.out.rstrip().endswith("Next:  weldtrial -C drawbar plan")
    assert "invented example" in done.out
    trial, problems = read_trial(tmp_path / "drawbar" / "trial.toml")
    assert problems == ()
    assert trial is not None
    assert trial.purpose == purpose
    plan = make_plan(trial, "0" * 64)
    assert len(plan.runs) == trial.budget.coupons
    assert make_layout(trial).as_plain()


@pytest.mark.parametrize("purpose", PURPOSES)
def test_draft_says_that_it_is_invented_and_where_to_read_more(purpose: str) -> None:
    head = draft(purpose).partition("format = 1")[0]
    assert "INVENTED EXAMPLE" in head
    assert "weldtrial help trial-file" in head
    assert "qualifies no procedure" in head
    assert max(len(line) for line in draft(purpose).splitlines()) <= 96


def test_without_a_purpose_and_nobody_to_ask_it_compares_and_says_so(weldtrial, tmp_path) -> None:
    done = weldtrial("new", "drawbar")
    assert done.code == 0
    assert "Drafted for  --for compare" in done.out
    assert load_trial(tmp_path / "drawbar" / "trial.toml").purpose == "compare"


def test_json_names_what_was_made(weldtrial) -> None:
    assert weldtrial("new", "a b", "--for", "pilot", "--json").json == {
        "folder": "a b",
        "trial": str(Path("a b") / "trial.toml"),
        "from": "draft pilot",
        "next": "weldtrial -C 'a b' plan",
    }


def test_quiet_says_where_and_no_more(weldtrial) -> None:
    assert weldtrial("-q", "new", "drawbar").out == "Made drawbar/\n"


def test_name_may_be_a_path_and_the_shared_folder_option_counts(weldtrial, tmp_path) -> None:
    assert weldtrial("new", "a/b/c").code == 0
    assert weldtrial("-C", "elsewhere", "new", "d").code == 0
    assert weldtrial("new", tmp_path / "e").code == 0
    for folder in ("a/b/c", "elsewhere/d", "e"):
        assert (tmp_path / folder / "trial.toml").is_file()


# ------------------------------------------------------------------ the interview


@pytest.fixture
def at_a_terminal(monkeypatch: pytest.MonkeyPatch):
    def answer(*answers: str) -> list[str]:
        waiting = list(answers)
        monkeypatch.setattr(Console, "may_ask", property(lambda self: True))
        monkeypatch.setattr("builtins.input", lambda prompt: waiting.pop(0))
        return waiting

    return answer


def test_interview_fills_the_draft(at_a_terminal, weldtrial, tmp_path: Path) -> None:
    waiting = at_a_terminal("9", "compare", 'Our "new" gas', "May it?", "6 %")
    assert weldtrial("new", "drawbar").code == 0
    assert waiting == []
    trial = load_trial(tmp_path / "drawbar" / "trial.toml")
    assert (trial.title, trial.question) == ('Our "new" gas', "May it?")
    assert trial.responses[0].margin is not None
    assert trial.responses[0].margin.percent
    text = (tmp_path / "drawbar" / "trial.toml").read_text(encoding="utf-8")
    assert 'margin     = "6 %"                     # the smallest loss that matters' in text


def test_interview_keeps_the_example_on_enter(at_a_terminal, weldtrial, tmp_path: Path) -> None:
    at_a_terminal("", "", "", "")
    assert weldtrial("new", "drawbar").code == 0
    text = (tmp_path / "drawbar" / "trial.toml").read_text(encoding="utf-8")
    assert text == draft("compare")


def test_interview_refuses_what_cannot_stand_there(at_a_terminal, weldtrial, tmp_path) -> None:
    at_a_terminal("1", "", "", "five")
    done = weldtrial("new", "drawbar")
    assert done.code == ExitCode.FIX_FILE
    assert 'a share such as "6 %"' in done.err
    assert not (tmp_path / "drawbar").exists()


@pytest.mark.parametrize("answer", ['"', "\\", "'''", "#", "\x00\n", "é", '"""', "{"])
def test_any_answer_stays_text(answer: str) -> None:
    trial, problems = parse_trial(filled_in(draft("compare"), Answers(title=answer)).encode())
    assert problems == ()
    assert trial is not None
    assert trial.title in (answer, draft("compare").split('"')[1])


def test_a_margin_that_is_no_margin_is_refused() -> None:
    with pytest.raises(ProblemsFound):
        filled_in(draft("compare"), Answers(margin="-3"))


# ------------------------------------------------------------------ copies


def test_example_is_copied_whole(an_example: Path, weldtrial, tmp_path: Path) -> None:
    done = weldtrial("new", "mine", "--example", "small-gas")
    assert done.code == 0
    copied = sorted(
        path.relative_to(tmp_path / "mine").as_posix()
        for path in (tmp_path / "mine").rglob("*")
        if path.is_file()
    )
    assert copied == ["readings/break_load.csv", "trial.toml"]
    assert "Next:  weldtrial -C mine plan" in done.out


def test_unknown_example_lists_those_there_are(an_example: Path, weldtrial, tmp_path) -> None:
    done = weldtrial("new", "mine", "--example", "smal-gas")
    assert done.code == ExitCode.WRONG_USAGE
    assert "Did you mean  --example small-gas ?" in done.err
    assert "Examples: small-gas" in done.err
    assert not (tmp_path / "mine").exists()


def test_another_trials_question_is_copied_without_its_results(
    an_example: Path, weldtrial, tmp_path: Path
) -> None:
    done = weldtrial("new", "again", "--from", an_example)
    assert done.code == 0
    assert [path.name for path in (tmp_path / "again").iterdir()] == ["trial.toml"]
    assert (tmp_path / "again" / "trial.toml").read_text() == draft("compare")
    assert "throw dice" in done.out


def test_a_question_with_problems_is_copied_and_they_are_named(weldtrial, tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "trial.toml").write_text(draft("compare").replace("rank       = 1", ""))
    text = draft("compare").replace("reads_to   = 0.1", "reads_to   = 0")
    (tmp_path / "old" / "trial.toml").write_text(text, encoding="utf-8")
    done = weldtrial("new", "again", "--from", "old")
    assert done.code == 0
    assert "reads_to of a response must be a number, more than 0" in done.err


def test_from_a_folder_without_a_trial(weldtrial) -> None:
    done = weldtrial("new", "again", "--from", "nowhere")
    assert done.code == ExitCode.WRONG_USAGE
    assert "There is no trial.toml in 'nowhere'" in done.err


def test_from_review_needs_a_review(weldtrial, tmp_path: Path) -> None:
    done = weldtrial("new", "mine", "--from-review")
    assert done.code == ExitCode.WRONG_USAGE
    assert "Nothing to review" in done.err
    assert not (tmp_path / "mine").exists()


def test_one_source_at_a_time(weldtrial) -> None:
    done = weldtrial("new", "mine", "--for", "pilot", "--from", "old")
    assert done.code == ExitCode.WRONG_USAGE
    assert "Choose one of" in done.err


# ------------------------------------------------------------------ nothing overwritten


def test_a_folder_with_something_in_it_is_not_touched(weldtrial, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "note.txt").write_text("mine")
    for said in ([], ["--for", "pilot"], ["--example", "drawbar-gas"], ["--from", "full"]):
        done = weldtrial("new", "full", *said)
        assert done.code == ExitCode.WRONG_USAGE
        assert "nothing in it was touched" in done.err
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["note.txt"]


def test_an_empty_folder_is_filled(weldtrial, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert weldtrial("new", "empty").code == 0


@pytest.mark.parametrize("name", ["", ".", "..", "con", "NUL.txt", "a:b", "what?", "a.", "a/"])
def test_names_that_cannot_be_folders(name: str, weldtrial, tmp_path: Path) -> None:
    done = weldtrial("new", name)
    if name == "a/":
        assert done.code == 0
        return
    assert done.code == ExitCode.WRONG_USAGE
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way(weldtrial, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("x")
    done = weldtrial("new", "taken")
    assert done.code == ExitCode.WRONG_USAGE
    assert "is a file" in done.err
    assert weldtrial("new", "taken/inside").code == ExitCode.WRONG_USAGE
