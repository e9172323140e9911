"""``weldtrial review``: both screens of the conversation, bad inputs, letter, page, honest test."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from tests.structure.test_docs import BANNED_WORDS
from weldtrial.cli.console import Console
from weldtrial.cli.review_talk import ask_questions

# One worker builds what these tests share.
pytestmark = pytest.mark.xdist_group("review")

Weldtrial = Callable[..., Any]
STORY = ("--counts", "new 3/4, before 0/12", "--what", "porous", "--thing", "spool")
SAID = (
    "controls=remembered", "sessions=earlier", "settings=differed", "setups=one", "reader=yes",
    "decided=no",
)  # fmt: skip
TOLD = tuple(word for said in SAID for word in ("--say", said))
LEAFLET = ("--summary", "new 68.2 4.4 4, old 70.3 3.8 4", "--claim", "ratio 0.97", "--margin",
           "5%", "--unit", "kN", "--step", "0.1")  # fmt: skip
THEIRS = """stamp,gas,kN,day
A1,mix,80.1,Mon
A1,mix,80.3,Mon
A1,mix,80.2,Mon
A1,mix,80.4,Mon
A1,mix,80.5,Mon
A1,mix,80.2,Mon
A2,mix,83.1,Tue
A3,mix,78.4,Mon
A4,mix,81.9,Tue
B1,co2,76.3,Tue
B2,co2,77.9,Mon
B3,co2,75.0,Tue
B4,co2,78.8,Mon
"""


def flat(text: str) -> str:
    return " ".join(text.split())


def in_order(text: str, *parts: str) -> None:
    places = [text.index(part) for part in parts]
    assert places == sorted(places), dict(zip(parts, places, strict=True))


# ------------------------------------------------------------------ the two screens


def test_the_spool(weldtrial: Weldtrial) -> None:
    done = weldtrial("review", *STORY, *TOLD)
    assert (done.code, done.err) == (0, "")
    assert max(map(len, done.out.splitlines())) <= 100
    in_order(done.out, "VERDICT", "WHAT THE NUMBERS SAY", "WHAT IT TAKES TO UNDO IT",
             "HOW FAR TO TRUST IT:  ANECDOTE", "CHEAPEST HONEST TEST", "Next:")  # fmt: skip
    said = flat(done.out)
    for words in (
        "VERDICT Cannot tell whether the spool caused it. Worth testing; not worth repeating as a "
        "finding.",
        "new 3 of 4 porous: true rate could be 19 % to 99 %; before 0 of 12: could be 0 % to 26 %.",
        "comes up 1 time in 140 (Fisher exact p = 0.007",
        "among the 12 0.03 two 0.06 the number no longer stands out",
        "three 0.12",
        "really only 4 earlier coupons 0.14",
        "the 12 are 3 set-ups of 4, new is 1 0.25 you said new is one set-up",
        "Numbers striking, evidence: anecdote.",
        "Control from memory; the two sides welded at different times; one set-up of each side.",
        "judged by someone who knew the side; question chosen after the event",
        "4 fresh set-ups of each spool, 1 coupon each, shuffled, read blind. If all 4 new are "
        "porous and none of before: p = 0.03. (3 + 3 could never do it: p = 0.10.)",
        "weldtrial new NAME --from-review --counts 'new 3/4, before 0/12'",
    ):
        assert words in said, words


def test_the_leaflet(weldtrial: Weldtrial) -> None:
    done = weldtrial("review", *LEAFLET)
    assert (done.code, done.err) == (0, "")
    assert max(map(len, done.out.splitlines())) <= 100
    in_order(done.out, "THE CLAIM", "VERDICT", "WHAT THE NUMBERS SAY", "NUMBERS CHECK",
             "HOW FAR TO TRUST IT:  CANNOT BE JUDGED YET", "CHEAPEST HONEST TEST")  # fmt: skip
    said = flat(done.out)
    for words in (
        "THE CLAIM “ratio 0.97” margin 5 %",
        "This is not evidence that they are alike.",
        "new/old = 0.970, could be 0.875 to 1.076 (95 %). p for ‘any difference’ = 0.50 – which "
        "here only means the test could not see anything smaller than about 10 kN.",
        "from 13 % lower to 8 % higher. Compatible with it; also compatible with 0.90 and 1.05. "
        "Not shown equal within 5 %.",
        "About 24 coupons of each",
        '18 for "no more than 5 % worse"',
        "Means possible from a 0.1 kN gauge with n = 4; spreads possible.",
        "(18 questions; the first 14 to send: --letter)",
    ):
        assert words in said, words


# ------------------------------------------------------------------ bad inputs 25 to 27


def test_averages_as_coupons(weldtrial: Weldtrial, tmp_path: Path) -> None:
    (tmp_path / "their.csv").write_text(THEIRS, encoding="utf-8")
    done = weldtrial("review", "their.csv", "--value", "kN", "--group", "gas", "--old", "mix")
    assert done.code == 0
    assert done.out.startswith(
        "review: rows 1–6 share one stamp. Treated as 6 readings of 1 coupon. You have n = 8 "
        "coupons, not 13."
    )
    said = flat(done.out)
    assert "As given (13 rows as coupons): co2 − mix =" in said
    assert "Folded (8 coupons): co2 − mix =" in said


def test_equal_asked_of_one_coupon(weldtrial: Weldtrial) -> None:
    done = weldtrial("review", "--summary", "new 84.2 0 1, old 80 2 3", "--claim", "alike")
    assert done.code == 0
    assert done.err.strip() == (
        "review --summary: n = 1 for 'new'. One coupon has no spread; no interval is possible. I "
        "can check it against the old range only."
    )
    assert "inside the range in which the next coupon of old is expected" in flat(done.out)


def test_an_average_that_cannot_be(weldtrial: Weldtrial) -> None:
    done = weldtrial("review", "--summary", "new 84.25 1 3, old 80.00 2 3", "--step", "0.5",
                     "--unit", "kN")  # fmt: skip
    said = flat(done.out)
    assert (
        "A mean of 84.25 cannot come from 3 readings on a gauge with 0.5 kN steps (nearest 84.17 "
        "or 84.33). Check n, the step or the figure."
    ) in said
    assert "numbers that cannot come from the stated n" in said


# ------------------------------------------------------------------ misuse


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((), 2, "Nothing to review."),
        (("--counts", "a 1/2, b 1/2", "--summary", "a 1 1 2, b 1 1 2"), 2, "one kind of evidence"),
        (("nothing.csv",), 3, "no such file"),
        (("--counts", "new 5/4, before 0/12"), 3, "new"),
        (("--study", "shop -2 se 1"), 3, "one study is nothing to pool"),
        ((*LEAFLET, "--step", "1e300"), 3, "--step is 1e+300: no gauge has that"),
        ((*LEAFLET, "--sd-setup", "inf"), 3, "--sd-setup is inf: no gauge has that"),
        ((*LEAFLET, "--least", "90", "--most", "10"), 3, "--least 90 is not below --most 10"),
        (("--counts", "a 1/2, b 1/2", "--step", "0"), 3, "goes with --summary"),
        (("--counts", "a 1/2, b 1/2", "--letter", "their.csv"), 2, "written as .txt or .html"),
        (("--counts", "a 1/2, b 1/2", "--out", "page.pdf"), 2, "page.html"),
    ],
)
def test_misuse(weldtrial: Weldtrial, words: tuple[str, ...], code: int, said: str) -> None:
    done = weldtrial("review", *words)
    assert (done.code, done.out) == (code, "")
    assert said in done.err
    assert "Traceback" not in done.err


def test_a_saved_review_and_a_file_that_is_no_table(weldtrial: Weldtrial, tmp_path: Path) -> None:
    saved = weldtrial("review", *STORY, "--json").out
    (tmp_path / "r.json").write_text(saved, encoding="utf-8")
    refused = weldtrial("review", "r.json")
    assert refused.code == 3
    assert refused.err.strip() == (
        "r.json: a saved review is not reviewed again. Its trial:  weldtrial new NAME "
        "--from-review r.json"
    )
    (tmp_path / "r.csv").write_text(saved, encoding="utf-8")
    refused = weldtrial("review", "r.csv")
    assert refused.code == 3
    assert len(refused.err.splitlines()) <= 21


@pytest.mark.parametrize(
    ("claim", "value"),
    [("breaks at 0.97 of the load", 0.97), ("97 % of the mix's load", 0.97), ("0.9 of old", 0.9)],
)
def test_a_share_of_the_load_is_a_ratio(weldtrial: Weldtrial, claim: str, value: float) -> None:
    found = weldtrial("review", *LEAFLET[:2], "--claim", claim, "--json").json
    assert (found["claim"]["kind"], found["claim"]["text"]) == ("ratio", claim)
    assert found["claim"]["value"] == pytest.approx(value)


def test_all_that_is_wrong_at_once(weldtrial: Weldtrial) -> None:
    done = weldtrial("review", "--counts", "new 3/4", "--claim", "wrose", "--margin", "-5", "--say",
                     "contrls=remembered", "--value", "kN")  # fmt: skip
    assert done.code == 3
    for words in ("one side only", "wrose", "-5", "Did you mean 'controls'?", "no CSV file"):
        assert words in done.err, words


def test_a_letter_never_goes_over_their_file(weldtrial: Weldtrial, tmp_path: Path) -> None:
    (tmp_path / "their.csv").write_text(THEIRS, encoding="utf-8")
    refused = weldtrial("review", "--letter", "their.csv", "--value", "kN")
    assert refused.code == 2
    assert (tmp_path / "their.csv").read_text(encoding="utf-8") == THEIRS


# ------------------------------------------------------------------ answers


def test_answers_from_a_file_give_the_same_grade(weldtrial: Weldtrial, tmp_path: Path) -> None:
    lines = [f'{key} = "{value}"' for key, value in (one.split("=") for one in SAID)]
    (tmp_path / "answers.toml").write_text("\n".join(lines), encoding="utf-8")
    file = weldtrial("review", *STORY, "--answers", "answers.toml", "--json").json
    flags = weldtrial("review", *STORY, *TOLD, "--json").json
    assert file["grade"] == flags["grade"]
    assert file["grade"]["code"] == "anecdote"
    nothing = weldtrial("review", *STORY, "--json").json
    assert nothing["grade"]["code"] == "cannot-be-judged"


def test_the_pick_of_six(weldtrial: Weldtrial) -> None:
    words = ("--summary", "new 68.2 4.4 4, old 76.3 3.8 4", "--unit", "kN")
    assert weldtrial("review", *words, "--json").json["verdict"]["code"] == "cannot-tell"
    picked = weldtrial("review", *words, "--picked-from", "6")
    assert "VERDICT  Not settled: as the pick of 6 that were looked at it no longer" in picked.out


def test_a_fair_trial_that_contradicts_its_claim(weldtrial: Weldtrial) -> None:
    fair = ("order=drawn", "sessions=yes", "setups=5", "controls=recorded", "units=welds",
            "same=yes", "settings=same", "bead=alike", "reader=blind", "rule=yes",
            "left-out=none", "outcomes=only-one", "decided=before")  # fmt: skip
    said = [word for one in fair for word in ("--say", one)]
    found = weldtrial("review", "--counts", "mix 2/20, old 9/20", "--claim", "alike", "--margin",
                      "10%", *said, "--json").json  # fmt: skip
    assert found["grade"]["code"] == "strong"
    assert found["verdict"]["words"] == "Contradicts the claim “alike”."
    assert found["test"] is None


def test_sides_that_were_never_apart_are_not_compared(weldtrial: Weldtrial, tmp_path: Path) -> None:
    text = THEIRS.replace("mix,83.1,Tue", "mix,83.1,Mon").replace("mix,81.9,Tue", "mix,81.9,Mon")
    text = text.replace("co2,77.9,Mon", "co2,77.9,Tue").replace("co2,78.8,Mon", "co2,78.8,Tue")
    (tmp_path / "their.csv").write_text(text, encoding="utf-8")
    done = weldtrial("review", "their.csv", "--value", "kN", "--group", "gas", "--out", "page.html")
    said = flat(done.out)
    assert "VERDICT Cannot tell: co2 was never welded apart from day." in said
    assert "They are listed; no comparison is made." in said
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert not re.search(r"\bp (=|&lt;) ?0", page)
    assert not re.search(r"\bp (=|<) ?0", done.out)


# ------------------------------------------------------------------ letter, page, JSON


def test_the_letter(weldtrial: Weldtrial, tmp_path: Path) -> None:
    done = weldtrial("review", *STORY, *TOLD, "--letter")
    assert done.code == 0
    assert done.out.startswith("Subject: A few questions about your coupons")
    assert "Thank you" in done.out
    assert "12. " in done.out
    assert "13. " not in done.out
    assert not BANNED_WORDS.search(done.out)
    assert weldtrial("review", *STORY, *TOLD, "--letter", "letter.html").code == 0
    page = (tmp_path / "letter.html").read_text(encoding="utf-8")
    assert page.count("<li>") == 12
    assert "<script" not in page


@pytest.mark.parametrize("words", [(*STORY, *TOLD), LEAFLET])
def test_the_page_stands_alone(
    weldtrial: Weldtrial, tmp_path: Path, words: tuple[str, ...]
) -> None:
    assert weldtrial("review", *words, "--out", "page.html").code == 0
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert not re.search(r"""(?:src|href)=["'](?!#)""", page)
    assert page.count("<svg") == page.count('role="img" aria-label="') >= 1
    assert page.count("The numbers drawn") == page.count("<svg")
    visible = re.sub(r"<style.*?</style>|<[^>]*>", " ", page, flags=re.DOTALL)
    assert not BANNED_WORDS.search(visible)


def test_json(weldtrial: Weldtrial) -> None:
    found = weldtrial("review", *STORY, *TOLD, "--json").json
    assert found["verdict"]["code"] == "cannot-tell"
    assert found["verdict"]["at_face_value"] == "difference_shown"
    split = next(one for one in found["says"] if one["code"] == "chance-split")
    assert split["values"]["p"] == pytest.approx(1 / 140)
    # By hand, dealing 4 new of 16 with 4, 5 and 6 porous: all deals at least as one-sided.
    left = [row["p"] for row in found["undo"]][:3]
    assert left == pytest.approx([(48 + 1) / 1820, (264 + 12) / 4368, (880 + 66) / 8008])
    assert found["test"]["setups"] == 4
    assert found["answers"]["controls"]["answer"] == "remembered"
    assert len(found["grade"]["unanswered"]) == 12


def test_several_studies(weldtrial: Weldtrial) -> None:
    done = weldtrial("review", "--study", "shop A -2.1 se 0.9", "--study", "shop B -1.0 se 0.7",
                     "--study", "shop C -3.0 se 1.2", "--unit", "kN")  # fmt: skip
    assert done.code == 0
    assert "3 studies together" in done.out
    assert "do not tell how single coupons scatter, so no trial can be sized" in flat(done.out)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (("new 70 4 4, old 71 5 4",), "Say what loss would not matter, a margin"),
        (("new n 4, old n 4, p 0.3", "--margin", "5%"), "hold no scatter of single coupons"),
        (("new 70 4 4, old 71 5 4", "--margin", "0.001"), "so small a margin"),
        (("new 70 4 4, old 71 5 4", "--margin", "5"), None),
    ],
)
def test_a_test_that_cannot_be_sized_says_why(
    weldtrial: Weldtrial, given: tuple[str, ...], why: str | None, tmp_path: Path
) -> None:
    """Screen, page and JSON alike."""
    told = ("review", "--summary", *given, "--out", "page.html")
    screen, found = weldtrial(*told), weldtrial(*told, "--json").json
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert (found["test"] is None) == (why is not None)
    if why is None:
        assert found["no_test_because"] is None
    else:
        for place in (flat(screen.out), page, found["no_test_because"]):
            assert why in place


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The worked example with its codes opened, reported and bundled."""
    from weldtrial.cli.main import main

    place = tmp_path_factory.mktemp("theirs") / "gas"
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["new", str(place), "--example", "drawbar-gas"]) == 0
        assert main(["-C", str(place), "analyse", "--open", "--yes"]) == 0
        assert main(["-C", str(place), "report", "--bundle"]) == 0
    return place


def test_a_folder_and_its_bundle(weldtrial: Weldtrial, folder: Path) -> None:
    ours = weldtrial("-C", folder, "analyse", "--json").json
    verdict = ours["responses"]["break_load"]["comparisons"][0]["verdict"]["words"]
    for place in (folder, folder / "report.zip"):
        found = weldtrial("review", place, "--json").json
        assert found["kind"] == "folder"
        assert found["verdict"]["words"] == verdict
        assert found["verdict"]["code"] == "shown"
        assert found["grade"]["code"] == "strong"
        assert not [fact for fact in found["facts"] if fact["serious"]]
        assert found["test"] is None


def test_a_margin_moved_afterwards_is_said(
    weldtrial: Weldtrial, folder: Path, tmp_path: Path
) -> None:
    mine = shutil.copytree(folder, tmp_path / "mine")
    text = (mine / "trial.toml").read_text(encoding="utf-8")
    moved = re.sub(r"(?m)^margin( *)= 5\b", r"margin\1= 8", text, count=1)
    assert moved != text
    (mine / "trial.toml").write_text(moved, encoding="utf-8")
    done = weldtrial("review", mine)
    assert done.code == 0
    assert "VERDICT  Suggests, no more: co2 is no worse than mix by more than 8 kN." in done.out
    assert "HOW FAR TO TRUST IT:  FAIR" in done.out
    assert "  ! trial.toml" in done.out


def test_closed_codes_stay_closed(weldtrial: Weldtrial) -> None:
    weldtrial("new", "gas", "--example", "drawbar-gas")
    done = weldtrial("review", "gas")
    assert done.code == 0
    assert "the codes are still closed" in done.out
    assert "−" not in done.out.split("THE FOLDER")[0]


# ------------------------------------------------------------------ the honest test


@pytest.mark.parametrize(
    ("words", "rows"),
    [((*STORY, *TOLD), "▸        8"), (LEAFLET, "▸      19       38         2")],
)
def test_a_review_becomes_a_trial_that_plan_accepts(
    weldtrial: Weldtrial, tmp_path: Path, words: tuple[str, ...], rows: str
) -> None:
    saved = weldtrial("review", *words, "--json")
    (tmp_path / "review.json").write_text(saved.out, encoding="utf-8")
    made = weldtrial("new", "retest", "--from-review", "review.json")
    assert (made.code, made.err) == (0, "")
    planned = weldtrial("-C", "retest", "plan")
    assert (planned.code, planned.err) == (0, "")
    assert rows in planned.out
    assert weldtrial("-C", "retest", "seal", "--no-dice").code == 0


def test_the_same_from_options(weldtrial: Weldtrial, tmp_path: Path) -> None:
    assert weldtrial("new", "retest", "--from-review", *LEAFLET).code == 0
    text = (tmp_path / "retest" / "trial.toml").read_text(encoding="utf-8")
    assert 'margin     = "5 %"' in text
    assert 'says     = "ratio 0.97"' in text
    assert "value    = 0.97" in text
    assert "rounds     = 19" in text


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("{", 3, "is no JSON"),
        ("[]", 3, "is not a saved review"),
        ('{"review": 1, "test": null}', 5, "names no honest test"),
        ('{"review": 1, "test": null, "kind": "folder"}', 5, "starts from the folder itself"),
        ('{"review": 1, "test": null, "no_test_because": "No scatter."}', 5, "test. No scatter."),
        ('{"review": 1, "test": {}}', 3, "not a whole review"),
    ],
)
def test_what_is_no_review(
    weldtrial: Weldtrial, tmp_path: Path, text: str, code: int, said: str
) -> None:
    (tmp_path / "r.json").write_text(text, encoding="utf-8")
    done = weldtrial("new", "retest", "--from-review", "r.json")
    assert done.code == code
    assert said in done.err
    assert not (tmp_path / "retest").exists()


def test_review_options_need_from_review(weldtrial: Weldtrial) -> None:
    done = weldtrial("new", "retest", "--counts", "a 1/2, b 1/2")
    assert done.code == 2
    assert "go with  --from-review" in done.err


# ------------------------------------------------------------------ asking


def test_questions_are_asked_again_until_answered(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = iter(["rememberd", "remembered", "earlier", "", "one", "stop"])
    asked: list[str] = []

    def answer(console: Console, prompt: str, default: str | None = None, *, flag: str) -> str:
        asked.append(flag)
        return next(typed)

    monkeypatch.setattr(Console, "may_ask", property(lambda console: True))
    monkeypatch.setattr(Console, "ask", answer)
    found = ask_questions(Console(), {}, story=True)
    assert {key: one.value for key, one in found.items()} == {
        "controls": "remembered",
        "sessions": "no",
        "settings": "don't know",
        "setups": "one",
    }
    assert asked[:2] == ["--say controls=…"] * 2
    said = capsys.readouterr().out
    assert said.startswith("Six questions change the answer a lot. Enter = don't know (counted")
    assert "Did you mean 'remembered'?" in said


def test_rows_in_handfuls_are_weighed_as_so_many_welds(
    weldtrial: Weldtrial, tmp_path: Path
) -> None:
    """Six welds read six times each: the p that they leave, by a t test on the six averages."""
    rng = np.random.default_rng(8)
    rows, welds = ["gas,kN"], {"mix": [], "co2": []}  # type: ignore[var-annotated]
    for weld, true in enumerate((80.2, 77.6, 80.9, 78.2, 79.3, 78.4)):
        gas = ("mix", "co2")[weld % 2]
        read = [round(true + rng.normal(0, 0.2), 1) for _ in range(6)]
        welds[gas].append(sum(read) / 6)
        rows += [f"{gas},{one}" for one in read]
    (tmp_path / "their.csv").write_text("\n".join(rows), encoding="utf-8")
    found = weldtrial("review", "their.csv", "--json").json
    row = next(one for one in found["undo"] if one["code"] == "handfuls")
    assert row["what"] == "3 and 3 welds, read about 6 times each"
    expected = stats.ttest_ind(welds["co2"], welds["mix"], equal_var=False).pvalue
    assert row["p"] == pytest.approx(expected)


def test_no_number_of_sides_that_were_never_apart_is_called_striking(
    weldtrial: Weldtrial, tmp_path: Path
) -> None:
    rows = ["gas,day,kN", *(f"mix,Mon,{80 + n % 3}" for n in range(6)),
            *(f"co2,Tue,{70 + n % 3}" for n in range(6))]  # fmt: skip
    (tmp_path / "their.csv").write_text("\n".join(rows), encoding="utf-8")
    assert weldtrial("review", "their.csv", "--json").json["apart"].startswith("Evidence: ")


def test_a_page_draws_no_second_figure_of_what_is_judged_elsewhere_or_not_at_all(
    weldtrial: Weldtrial, folder: Path, tmp_path: Path
) -> None:
    """The interval of a folder is that of its plan; sides that were never apart have none."""
    rows = ["gas,day,kN", *(f"mix,Mon,{80 + n % 3}" for n in range(6)),
            *(f"co2,Tue,{70 + n % 3}" for n in range(6))]  # fmt: skip
    (tmp_path / "their.csv").write_text("\n".join(rows), encoding="utf-8")
    for given, drawn in ((folder, False), ("their.csv", False), (LEAFLET, True)):
        told = given if isinstance(given, tuple) else (str(given),)
        assert weldtrial("review", *told, "--out", "page.html").code == 0
        page = (tmp_path / "page.html").read_text(encoding="utf-8")
        assert ("Dot: what was found." in page) == drawn
