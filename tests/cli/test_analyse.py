"""``weldtrial analyse`` on the worked example: closed codes, opening, JSON, refusals."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import cycle
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]

RESPONSE_KEYS = {
    "unit", "kind", "method", "source", "n", "setups_total", "tests", "effects", "coefficients",
    "means", "variance", "comparisons", "lack_of_fit", "r_squared", "least_squares", "warnings",
}  # fmt: skip
COMPARISON_KEYS = {
    "factor", "level", "reference", "difference", "percent", "se", "df", "ci_low", "ci_high",
    "ci90_low", "ci90_high", "p", "p_adjusted", "margin", "verdict",
}  # fmt: skip
ESTIMATE_KEYS = {"term", "estimate", "se", "df", "ci_low", "ci_high", "p"}
TEST_KEYS = {"term", "df_num", "df_den", "statistic", "p"}


@pytest.fixture
def example(weldtrial: Weldtrial, tmp_path: Path) -> Path:
    assert weldtrial("new", "drawbar", "--example", "drawbar-gas").code == 0
    return tmp_path / "drawbar"


def journal(folder: Path) -> str:
    return (folder / "journal.csv").read_text(encoding="utf-8")


def test_closed_codes_show_checks_and_no_gas(weldtrial: Weldtrial, example: Path) -> None:
    shown = weldtrial("-C", example, "analyse")
    assert shown.code == 0
    assert "the gases are called P and Q" in shown.out
    assert "scatter (standard deviation)" in shown.out
    for word in ("co2", "mix", "M21", "Shown", "interval"):
        assert word not in shown.out
    assert "agreed" not in journal(example)


def test_closed_codes_have_no_responses_in_json(weldtrial: Weldtrial, example: Path) -> None:
    found = weldtrial("-C", example, "analyse", "--json").json
    assert found["responses"] == {}
    assert found["codes_open"] is False
    assert found["sealed"] is True
    text = json.dumps(found)
    assert "worse" not in text
    assert "better" not in text


def test_agreeing_and_opening_are_journalled_once(weldtrial: Weldtrial, example: Path) -> None:
    assert "Written down." in weldtrial("-C", example, "analyse", "--agree").out
    weldtrial("-C", example, "analyse", "--agree")
    assert journal(example).count(",agreed,") == 1
    opened = weldtrial("-C", example, "analyse", "--open")
    assert "Codes opened. P = " in opened.out
    again = weldtrial("-C", example, "analyse", "--open")
    assert again.code == 0
    assert "Codes opened" not in again.out
    assert journal(example).count(",opened,") == 1
    assert "choices agreed before" in journal(example)
    assert weldtrial("-C", example, "analyse", "--agree").code == 2


def test_json_has_every_documented_key(weldtrial: Weldtrial, example: Path) -> None:
    found = weldtrial("-C", example, "analyse", "--open", "--json").json
    assert {"trial", "sealed", "adopted", "grade", "coupons", "used", "set_aside",
            "responses"} <= set(found)  # fmt: skip
    assert (found["coupons"], found["used"], found["adopted"]) == (48, 48, False)
    assert {"stamp", "why"} <= set(found["set_aside"][0])
    assert set(found["responses"]) == {"break_load", "penetration", "bend_angle"}
    for name, response in found["responses"].items():
        assert set(response) >= RESPONSE_KEYS
        limited = name in ("break_load", "bend_angle")
        assert response["method"] == ("censored-normal by set-ups" if limited else "kenward-roger")
        assert (response["n"], response["setups_total"]) == (48, 12)
        assert set(response["tests"][0]) == TEST_KEYS
        for row in (*response["effects"], *response["coefficients"]):
            assert set(row) == ESTIMATE_KEYS
        terms = [row["term"] for row in response["tests"]]
        assert terms == ["gas", "wire_feed", "travel", "gas:wire_feed", "gas:travel",
                         "wire_feed:travel"]  # fmt: skip
        (comparison,) = response["comparisons"]
        assert set(comparison) >= COMPARISON_KEYS
        assert set(comparison["verdict"]) >= {"code", "strength", "words"}
        assert comparison["p_adjusted"] is None
        assert {"setup", "coupon", "reading"} == set(response["variance"])
        assert [row["term"] for row in response["least_squares"]["tests"]] == terms
    assert found["responses"]["penetration"]["variance"]["reading"] > 0
    assert found["responses"]["break_load"]["variance"]["reading"] is None


def test_terminal_shows_no_p_and_names_the_point_and_the_scope(
    weldtrial: Weldtrial, example: Path
) -> None:
    out = weldtrial("analyse", "--open", cwd=example).out
    assert " p = " not in out
    assert "Compared at the middle of what was welded: Arc voltage 25.5 V (mix) / 27 V (co2)" in out
    assert "not a\n  procedure or welder qualification" in out or "not a procedure" in out
    assert max(map(len, out.splitlines())) <= 100
    assert "Next:  weldtrial report" in out


def test_opening_early_needs_an_answer_and_is_marked(weldtrial: Weldtrial, example: Path) -> None:
    path = example / "readings" / "bend_angle.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    kept = [row if k < 20 else row.split(",")[0] + ",,,,," for k, row in enumerate(rows)]
    path.write_text("\n".join([head, *kept]) + "\n", encoding="utf-8")
    refused = weldtrial("-C", example, "analyse", "--open")
    assert refused.code == 2
    assert "would let the reader know the gas for the rest" in refused.err
    assert "--yes" in refused.err
    assert ",opened" not in journal(example)
    assert weldtrial("-C", example, "analyse", "--open", "--yes").code == 0
    assert ",opened-early," in journal(example)
    found = weldtrial("-C", example, "analyse", "--json").json
    assert "codes opened before all readings were in" in found["grading"]["steps_down"]


def test_changed_margin_breaks_the_seal(weldtrial: Weldtrial, example: Path) -> None:
    trial = example / "trial.toml"
    text = trial.read_text(encoding="utf-8")
    trial.write_text(text.replace("margin     = 5\n", "margin     = 5.1\n"), encoding="utf-8")
    refused = weldtrial("-C", example, "analyse")
    assert refused.code == 4
    assert "margin 5 → 5.1" in refused.err


def test_nothing_read_is_exit_5(weldtrial: Weldtrial, tmp_path: Path) -> None:
    weldtrial("new", "bare", "--example", "drawbar-gas", "--unsealed")
    folder = tmp_path / "bare"
    unplanned = weldtrial("-C", folder, "analyse")
    assert unplanned.code == 5
    assert "no plan.csv" in unplanned.err
    assert weldtrial("-C", folder, "seal", "--dice", "4,2,6,1,5").code == 0
    empty = weldtrial("-C", folder, "analyse")
    assert empty.code == 5
    assert "Nothing to analyse: 0 of 48 coupons read. weldtrial check  shows what" in empty.err


def test_a_load_past_the_gauge_counts_as_at_least_that(weldtrial: Weldtrial, example: Path) -> None:
    closed = weldtrial("-C", example, "analyse").out
    assert "48 of 49 coupons read, 1 lost, 4 past the gauge limit" in closed
    assert closed.count("scatter (standard deviation) between coupons of one set-up") == 3
    read = weldtrial("-C", example, "check", "--json").json["read"]
    assert sorted(read["break_load"]["past_limit"]) == ["A7T", "E4N", "F6X", "J3P"]
    assert len(read["bend_angle"]["past_limit"]) == 13
    assert read["penetration"]["past_limit"] == []
    found = weldtrial("-C", example, "analyse", "--open", "--json").json
    response = found["responses"]["break_load"]
    assert response["method"] == "censored-normal by set-ups"
    assert response["source"].startswith("censored normal likelihood")
    assert [one["coupons"] for one in response["undo"]["unbroken"]] == [3, 1]
    assert any(way["name"] == "limit taken as the value" for way in response["alternatives"])
    shown = weldtrial("-C", example, "analyse")
    words = " ".join(shown.out.split())
    assert "12 set-ups, 48 coupons, 4 of them past the gauge limit)" in words
    assert (
        "The coupons past the gauge limit would change the answer had they all gone to 102 kN "
        "(the 3 of mix) or 203 kN (the 1 of co2), with those of the other failing just at the "
        "limit." in words
    )
    assert "no interval with coupons at a limit" in words
    assert weldtrial("-C", example, "report").code == 0
    page = (example / "report.html").read_text(encoding="utf-8")
    # Coupons by round, in the order welded, and what is left over: each in alt text and caption.
    assert page.count("4 of 48 coupons went past the gauge limit: open arrows") == 3 * 2
    assert page.count("13 of 48 coupons went past the gauge limit: open arrows") == 3 * 2
    assert ">88" in page.replace("&gt;", ">")


def test_also_and_as_if(weldtrial: Weldtrial, example: Path) -> None:
    weldtrial("-C", example, "analyse", "--open")
    out = weldtrial(
        "-C", example, "analyse", "--also", "throat_mm", "--as-if", "all-coupons-apart"
    ).out
    assert "Looked at afterwards (not in the sealed question)" in out
    assert "throat_mm" in out or "Not settled. co2" in out
    assert "Side by side" in out
    unknown = weldtrial("-C", example, "analyse", "--also", "throat")
    assert unknown.code == 2
    assert "throat_mm" in unknown.err


def rewrite(path: Path, change: Callable[[list[str]], list[str]]) -> None:
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    changed = [",".join(change(row.split(","))) for row in rows]
    path.write_text("\n".join([head, *changed]) + "\n", encoding="utf-8")


def test_a_response_nobody_has_read_yet_is_said(weldtrial: Weldtrial, example: Path) -> None:
    path = example / "readings" / "bend_angle.csv"
    rewrite(path, lambda cells: [cells[0]] + [""] * (len(cells) - 1))
    closed = weldtrial("-C", example, "analyse")
    assert closed.code == 0
    assert "not enough yet to show scatter: nothing has been read yet" in closed.out
    opened = weldtrial("-C", example, "analyse", "--open", "--yes")
    assert opened.code == 0
    assert "has not been read yet" in opened.out


def test_scatter_that_cannot_be_seen_is_not_called_zero(
    weldtrial: Weldtrial, example: Path
) -> None:
    cuts = cycle(["1.0", "1.6", "1.0", "1.6", "1.1", "1.6"])
    rewrite(
        example / "readings" / "penetration.csv",
        lambda cells: [cells[0], next(cuts) if cells[1][:1].isdigit() else cells[1], *cells[2:]],
    )
    closed = " ".join(weldtrial("-C", example, "analyse").out.split())
    assert "between coupons of one set-up nothing beyond readings, between set-ups" in closed
    assert " 0 mm" not in closed


def test_also_says_where_every_coupon_has_the_same(weldtrial: Weldtrial, example: Path) -> None:
    path = example / "weld_log.csv"
    at = path.read_text(encoding="utf-8").splitlines()[0].split(",").index("throat_mm")
    rewrite(path, lambda cells: [*cells[:at], "5.6" if cells[at] else "", *cells[at + 1 :]])
    weldtrial("-C", example, "analyse", "--open")
    refused = weldtrial("-C", example, "analyse", "--also", "throat_mm")
    assert refused.code == 5
    assert "coupons have the same throat_mm written down" in refused.err


def test_two_deciding_responses_are_refused(weldtrial: Weldtrial, tmp_path: Path) -> None:
    weldtrial("new", "two")
    path = tmp_path / "two" / "trial.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("rank       = 2", ""), "utf-8")
    refused = weldtrial("-C", tmp_path / "two", "plan")
    assert refused.code == 3
    assert "Give penetration  rank = 2" in refused.err


def test_a_report_overwrites_reports_only(weldtrial: Weldtrial, example: Path) -> None:
    weldtrial("-C", example, "analyse", "--open", "--yes")
    for name in ("trial.toml", "weld_log.csv"):
        path = example / name
        before = path.read_bytes()
        for extra in ((), ("--bundle",)):
            refused = weldtrial("-C", example, "report", "--out", path, *extra)
            assert refused.code == 2
            assert "is there already and is no report" in refused.err
        assert path.read_bytes() == before
    for _ in range(2):
        assert weldtrial("-C", example, "report", "--out", example / "mine.html").code == 0
    bundled = weldtrial("-C", example, "report", "--bundle")
    assert "open it in a browser" not in bundled.out


def test_doubtful_coupons_and_settings_as_run_stand_beside_the_answer(
    weldtrial: Any, tmp_path: Path
) -> None:
    weldtrial("new", "ex", "--example", "drawbar-gas", cwd=tmp_path)
    log = tmp_path / "ex" / "weld_log.csv"
    lines = log.read_text(encoding="utf-8").splitlines()
    odd = next(place for place, line in enumerate(lines) if line.startswith("2,"))
    lines[odd] += "tip changed"
    log.write_text("\n".join(lines) + "\n", encoding="utf-8")
    weldtrial("analyse", "--agree", cwd=tmp_path / "ex")
    done = weldtrial("analyse", "--open", "--yes", cwd=tmp_path / "ex")
    words = " ".join(done.out.split())
    assert "Without the 1 coupon that something went wrong with: " in words
    assert "With settings as run instead of as planned: +0.6 kN (−3.7 to +4.9)" in words
