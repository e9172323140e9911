"""``weldtrial check``: where the trial stands, and everything that is wrong."""

from __future__ import annotations

import contextlib
import io
import shutil
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

LOADS = "readings/break_load.csv"
DEPTHS = "readings/penetration.csv"


def fill_in(bench: Any, name: str, cells: dict[str, list[str]], place: int = 1) -> None:
    """Put texts into the column at `place`, row by row of each stamp."""
    lines = []
    left = {stamp: list(texts) for stamp, texts in cells.items()}
    stamp_at = 1 if name == "weld_log.csv" else 0
    for line in bench.file(name).read_text().splitlines():
        record = line.split(",")
        if left.get(record[stamp_at]):
            record[place] = left[record[stamp_at]].pop(0)
        lines.append(",".join(record))
    bench.file(name).write_text("\n".join(lines) + "\n")


def full(bench: Any) -> None:
    fill_in(bench, LOADS, {one: [f"8{n % 10}.5"] for n, one in enumerate(bench.stamps)})
    depths = {one: [f"1.{n % 8}", f"1.{n % 7}"] for n, one in enumerate(bench.stamps)}
    fill_in(bench, DEPTHS, depths)
    fill_in(bench, DEPTHS, {one: ["reader 1"] * 2 for one in bench.stamps}, 3)
    fill_in(bench, "weld_log.csv", {one: [f"{8 + n // 2}:{n % 2}5"]
                                    for n, one in enumerate(bench.stamps)}, 3)  # fmt: skip
    fill_in(bench, "weld_log.csv", {one: ["15"] for one in bench.stamps}, 6)


def test_a_fresh_trial_says_what_is_next(weldtrial: Any, bench: Any) -> None:
    done = weldtrial("check", cwd=bench.path)
    assert done.code == 0
    assert "matches the folder ✓" in done.out
    assert "Welded    0 of 16    set-ups 0 of 8" in done.out
    assert "break load 0/16   penetration 0/32" in done.out
    assert "closed. The reader's sheets carry no gas." in done.out
    warm_up = bench.of_role("warm-up")[0]
    left = f"weld 16 coupons (next: warm-up {warm_up}, then run 2, stamp {bench.stamps[0]})"
    assert left in " ".join(done.out.split())


def test_a_finished_trial_goes_on_to_analyse(weldtrial: Any, bench: Any) -> None:
    full(bench)
    done = weldtrial("check", cwd=bench.path)
    assert done.code == 0
    assert "Welded    16 of 16    set-ups 8 of 8" in done.out
    assert "break load 16/16   penetration 32/32" in done.out
    assert "gas flow in tolerance 16/16" in done.out
    assert "Order     as planned" in done.out
    assert "Next:  weldtrial analyse" in done.out


def test_what_is_odd_is_shown_on_the_screen_and_by_row(weldtrial: Any, bench: Any) -> None:
    full(bench)
    one, two = bench.stamps[4:6]
    fill_in(bench, "weld_log.csv", {one: ["13"]}, 6)
    fill_in(bench, "weld_log.csv", {one: ["10:20"], two: ["10:10"]}, 3)
    fill_in(bench, DEPTHS, {two: ["1.2", ""]})
    done = weldtrial("check", cwd=bench.path)
    run = bench.plan.by_stamp()[one].run
    said = " ".join(done.out.split())
    assert done.code == 0
    assert f"low on run {run} (13 L/min, limit 14) – will be shown, not dropped" in said
    assert "welded in swapped order (noted) – harmless" in said
    assert f"penetration 31/32 ({two} second cut missing)" in said
    assert f"{two} of penetration: further cuts, or write lost" in said
    assert "column gas_flow_seen_L_per_min: gas flow low" in done.err
    assert weldtrial("check", "--strict", cwd=bench.path).code == 3


def test_losses_and_spares_are_counted_and_named(weldtrial: Any, bench: Any) -> None:
    lost, spare = bench.stamps[0], bench.of_role("spare")[0]
    fill_in(bench, "weld_log.csv", {lost: ["lost: cracked"]}, 15)
    fill_in(bench, "weld_log.csv", {spare: [lost]}, 14)
    done = weldtrial("check", cwd=bench.path)
    assert f"lost: {lost}    1 spare in use" in done.out
    assert "if you can, weld spare" not in done.out
    assert "break load 0/16" in done.out


def test_a_lost_coupon_may_still_be_replaced(weldtrial: Any, bench: Any) -> None:
    lost, spare = bench.stamps[0], bench.of_role("spare")[0]
    weldtrial("record", "--lost", lost, "dropped", cwd=bench.path)
    said = " ".join(weldtrial("check", cwd=bench.path).out.split())
    assert (
        f"weld spare {spare} for {lost} on set-up 1 and write {lost} in its column replaces" in said
    )


def test_every_problem_is_listed_at_once_and_ends_with_3(weldtrial: Any, bench: Any) -> None:
    one, two, three = bench.stamps[:3]
    fill_in(bench, LOADS, {one: ["25 May"], two: ["didnt break"], three: ["93"]})
    fill_in(bench, "weld_log.csv", {one: ["lots"]}, 8)
    with bench.file(DEPTHS).open("a") as file:
        file.write("ZZZ,1.2,,,,\n")
    before = bench.bytes()
    done = weldtrial("check", cwd=bench.path)
    assert (done.code, bench.bytes()) == (3, before)
    for words in (
        "25.5 into a date",
        "'didnt break' is not",
        "93 is above",
        "column amps",
        "'ZZZ'",
    ):
        assert words in done.err
    assert "mend 5 problems" in done.out
    assert "Next:  weldtrial check   once that is mended" in done.out


def test_json_lists_the_same_problems(weldtrial: Any, bench: Any) -> None:
    fill_in(bench, LOADS, {bench.stamps[0]: ["didnt break"]})
    done = weldtrial("check", "--json", cwd=bench.path)
    (problem,) = done.json["problems"]
    assert done.code == done.json["exit"] == 3
    assert (problem["file"], problem["column"], problem["value"]) == (
        LOADS, "reading", "didnt break",
    )  # fmt: skip
    assert done.json["seal_matches"] is True
    assert done.json["welded"]["planned"] == 16
    assert done.json["read"]["penetration"]["wanted"] == 32


def test_a_changed_margin_ends_with_4_and_names_it(weldtrial: Any, bench: Any) -> None:
    text = bench.file("trial.toml").read_text().replace("margin = 5", "margin = 8")
    bench.file("trial.toml").write_text(text)
    done = weldtrial("check", cwd=bench.path)
    assert done.code == 4
    assert "margin 5 → 8" in done.err
    assert "does not match the folder ✗" in done.out
    assert "or log the change:  weldtrial seal --amend WHY" in done.out
    assert "Next:  weldtrial seal --verify" in done.out


def test_a_correction_taken_out_ends_with_4(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    fill_in(bench, LOADS, {one: ["84.2"]})
    for to in ("82", "83"):
        weldtrial("record", "--correct", one, "--to", to, "--why", "w", cwd=bench.path)
    lines = bench.file("corrections.csv").read_text().splitlines()
    bench.file("corrections.csv").write_text("\n".join([lines[0], lines[2]]) + "\n")
    done = weldtrial("check", cwd=bench.path)
    assert done.code == 4
    assert "does not follow from the header" in done.err
    assert "put the sealed files back" in done.out
    assert "--amend" not in done.out


def test_a_seal_taken_away_is_missed(weldtrial: Any, bench: Any) -> None:
    bench.file("seal.json").unlink()
    done = weldtrial("check", cwd=bench.path)
    assert done.code == 4
    assert "seal.json: is missing, though journal.csv tells of seal" in done.err
    assert "none yet" not in done.out
    verified = weldtrial("seal", "--verify", cwd=bench.path)
    assert verified.code == 4
    assert "Put back the copy that was sealed" in verified.err


def test_before_sealing_it_says_what_is_next(weldtrial: Any, bench: Any, tmp_path: Path) -> None:
    shutil.copy(bench.file("trial.toml"), tmp_path)
    done = weldtrial("check", cwd=tmp_path)
    assert done.code == 0
    assert "none yet" in done.out
    assert "1. weldtrial plan      2. weldtrial seal" in done.out


def test_a_broken_trial_file_ends_with_3(weldtrial: Any, bench: Any, tmp_path: Path) -> None:
    (tmp_path / "trial.toml").write_text("format = 1\n[trial\n")
    done = weldtrial("check", cwd=tmp_path)
    assert done.code == 3
    assert "trial.toml line 2" in done.err
    assert "mend trial.toml" in done.out


def test_outside_a_trial_it_ends_with_2(weldtrial: Any) -> None:
    done = weldtrial("check")
    assert done.code == 2
    assert "No trial.toml here" in done.err


GARBAGE = st.one_of(
    st.binary(max_size=200),
    st.text(alphabet=',;\t"\n\r <>.0189abPstampreading', max_size=200).map(str.encode),
)


HEADS = {
    LOADS: b"stamp,reading,failed_at,reader,read_on,note\n",
    DEPTHS: b"stamp;reading;note\r\n",
    "weld_log.csv": b"run,stamp,setup,started,voltage_seen_V,amps,replaces,went_wrong\n",
}


def checked(bench: Any, name: str, data: bytes) -> tuple[int, str]:
    """Run ``check`` with `data` as the file `name`; it must leave every file as it was."""
    from weldtrial.cli.main import main

    kept = bench.file(name).read_bytes()
    bench.file(name).write_bytes(data)
    before = bench.bytes()
    out, err = io.StringIO(), io.StringIO()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(["-C", str(bench.path), "check"])
        assert bench.bytes() == before
        assert "Traceback" not in err.getvalue()
        assert "defect" not in err.getvalue()
        return code, err.getvalue()
    finally:
        bench.file(name).write_bytes(kept)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None
)
@given(name=st.sampled_from(sorted(HEADS)), data=GARBAGE)
def test_garbage_gives_listed_problems_and_changes_nothing(
    bench: Any, name: str, data: bytes
) -> None:
    code, said = checked(bench, name, data)
    assert code == 3
    assert f"{name}" in said


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None
)
@given(name=st.sampled_from(sorted(HEADS)), data=GARBAGE)
def test_garbage_under_a_header_is_blank_or_named(bench: Any, name: str, data: bytes) -> None:
    code, said = checked(bench, name, HEADS[name] + data)
    assert code in (0, 3)
    assert (name in said) or code == 0
    if code == 0:
        # Nothing but blanks, separators and columns that are left alone can pass.
        assert not any(line.startswith(f"{name} row") for line in said.splitlines())
