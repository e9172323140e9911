"""Gauge studies through the commands: a whole invented study, and misuse."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from weldtrial.shared.problems import ExitCode

HEAD = 'format = 1\n[trial]\ntitle = "T"\npurpose = "gauge"\n'


def study(place: Path, gauge: str, response: str = 'name = "y"\nunit = "mm"') -> Path:
    place.mkdir(exist_ok=True)
    text = f"{HEAD}[gauge]\n{gauge}\n[[response]]\n{response}\n"
    (place / "trial.toml").write_text(text, encoding="utf-8")
    return place


def write(path: Path, header: str, rows) -> Path:
    with path.open("w", newline="") as out:
        lines = csv.writer(out)
        lines.writerow(header.split(","))
        lines.writerows(rows)
    return path


def fill(folder: Path, *, skip: int = 0, seed: int = 4) -> None:
    path = folder / "readings" / "penetration.csv"
    rows = list(csv.DictReader(path.read_text().splitlines()))
    rng = np.random.default_rng(seed)
    depth = {s: 1.2 + 0.3 * rng.normal() for s in sorted({row["stamp"] for row in rows})}
    for row in rows[skip:]:
        row["reading"] = f"{depth[row['stamp']] + 0.05 * rng.normal():.2f}"
    write(path, ",".join(rows[0]), [row.values() for row in rows])


def test_a_whole_invented_study(weldtrial, tmp_path: Path) -> None:
    assert weldtrial("new", "g", "--for", "gauge").code == ExitCode.FINE
    folder = tmp_path / "g"
    ahead = weldtrial("plan", "--json", cwd=folder).json
    assert ahead["readings"] == 40
    assert [one["df"] for one in ahead["known"]] == [20, 1, 9]
    assert "31.91 times itself" in weldtrial("plan", cwd=folder).out  # sqrt(1 / chi2(.025, 1))
    made = weldtrial("sheets", "--json", cwd=folder).json["files"]
    assert made[0] == "readings/penetration.csv"
    assert len(made) == 5
    page = (folder / made[1]).read_text(encoding="utf-8")
    rows = list(csv.DictReader((folder / made[0]).read_text().splitlines()))
    own = [row["stamp"] for row in rows if (row["reader"], row["repeat"]) == ("reader 1", "1")]
    assert len(own) == 10
    at = [page.index(f'class="stamp">{stamp}') for stamp in own]
    assert at == sorted(at)
    other = [row["stamp"] for row in rows if (row["reader"], row["repeat"]) == ("reader 1", "2")]
    assert other != own
    assert sorted(other) == sorted(own)
    fill(folder, skip=2)
    missing = weldtrial("check", cwd=folder)
    assert missing.code == ExitCode.FINE
    assert f"lacks reader 1, reading 1: {own[0]}, {own[1]}." in missing.out
    early = weldtrial("analyse", cwd=folder)
    assert early.code == ExitCode.NOT_ENOUGH
    assert f"{own[0]}, {own[1]}" in early.err
    kept = (folder / made[0]).read_bytes()
    weldtrial("sheets", cwd=folder)
    assert (folder / made[0]).read_bytes() == kept
    fill(folder)
    found = weldtrial("analyse", "--json", cwd=folder).json["responses"]["penetration"]
    assert found["sees_margin"] is True
    assert found["typical"].startswith("typical = { mean = 1.2, sd_coupon = 0.22, sd_reading = 0.0")
    assert found["costs"][0]["coupons"] == pytest.approx(1 + found["sd_reading"] ** 2 / 0.22**2)
    assert weldtrial("report", cwd=folder).code == ExitCode.FINE
    report = (folder / "report.html").read_text(encoding="utf-8")
    assert "INVENTED DATA" in report
    assert "AIAG" in report
    assert own[0] in report


def test_another_reader_keeps_what_was_typed(weldtrial, tmp_path: Path) -> None:
    weldtrial("new", "g", "--for", "gauge")
    folder = tmp_path / "g"
    weldtrial("sheets", cwd=folder)
    fill(folder)
    path, trial = folder / "readings" / "penetration.csv", folder / "trial.toml"
    before = path.read_text().splitlines()
    text = trial.read_text()
    trial.write_text(text.replace('["reader 1", "reader 2"]', '["reader 1", "reader 2", "Ann"]'))
    assert weldtrial("check", "--json", cwd=folder).json["read"]["penetration"]["read"] == 40
    weldtrial("sheets", cwd=folder)
    after = path.read_text().splitlines()
    assert len(after) == 61
    kept = {tuple(row[k] for k in ("reader", "repeat", "stamp", "reading"))
            for row in csv.DictReader(after) if row["reading"]}  # fmt: skip
    assert kept == {tuple(row[k] for k in ("reader", "repeat", "stamp", "reading"))
                    for row in csv.DictReader(before)}  # fmt: skip
    assert "Ann, reading 1: " in weldtrial("check", cwd=folder).out


def test_notes_and_columns_of_ones_own_are_kept(weldtrial, tmp_path: Path) -> None:
    folder = study(tmp_path / "x", 'coupons = ["p1", "p2"]\nreaders = ["ann"]\nrepeats = 2')
    weldtrial("sheets", cwd=folder)
    path = folder / "readings" / "y.csv"
    rows = list(csv.DictReader(path.read_text().splitlines()))
    rows[0]["note"] = "smudged"
    write(path, ",".join(rows[0]), [row.values() for row in rows])
    whole = [("ann", row["repeat"], row["stamp"], 1 + place) for place, row in enumerate(rows)]
    data = write(tmp_path / "d.csv", "reader,repeat,stamp,reading", whole)
    assert weldtrial("record", "--from", data, "--json", cwd=folder).json["entered"] == 4
    assert "1,,smudged" in path.read_text()
    for row in rows:
        row["lamp"] = "left"
    write(path, ",".join(rows[0]), [row.values() for row in rows])
    kept = path.read_bytes()
    done = weldtrial("record", "--from", data, cwd=folder)
    assert done.code == ExitCode.FIX_FILE
    assert "columns of its own (lamp)" in done.err
    weldtrial("sheets", cwd=folder)
    assert path.read_bytes() == kept


def test_decimal_commas_are_understood(weldtrial, tmp_path: Path) -> None:
    folder = study(tmp_path / "x", 'coupons = ["p1", "p2"]\nreaders = ["ann"]\nrepeats = 2')
    data = tmp_path / "d.csv"
    data.write_text("reader;repeat;stamp;reading\nann;1;p1;1,25\nann;2;p1;1,5\nann;1;p2;2,0\n")
    assert weldtrial("record", "--from", data, "--json", cwd=folder).json["missing"] == 1
    assert ",p1,1.25," in (folder / "readings" / "y.csv").read_text()


def test_the_pasted_line_is_read_by_a_trial(weldtrial, tmp_path: Path) -> None:
    weldtrial("new", "g", "--for", "gauge")
    weldtrial("sheets", cwd=tmp_path / "g")
    fill(tmp_path / "g")
    found = weldtrial("analyse", "--json", cwd=tmp_path / "g").json["responses"]["penetration"]
    weldtrial("new", "t", "--for", "compare")
    path = tmp_path / "t" / "trial.toml"
    text = path.read_text(encoding="utf-8")
    old = next(line for line in text.splitlines() if "sd_coupon = 0.22" in line)
    path.write_text(text.replace(old, found["typical"]), encoding="utf-8")
    assert weldtrial("plan", cwd=tmp_path / "t").code == ExitCode.FINE


def test_one_reader_says_nothing_of_another(weldtrial, tmp_path: Path) -> None:
    folder = study(tmp_path / "one", 'coupons = 5\nreaders = ["me"]\nrepeats = 2')
    weldtrial("sheets", cwd=folder)
    path = folder / "readings" / "y.csv"
    rows = list(csv.DictReader(path.read_text().splitlines()))
    for place, row in enumerate(rows):
        row["reading"] = f"{sum(map(ord, row['stamp'])) + place % 3}"
    write(path, ",".join(rows[0]), [row.values() for row in rows])
    found = weldtrial("analyse", "--json", cwd=folder).json["responses"]["y"]
    assert found["components"]["reproducibility"] is None
    assert found["cost_several_readers"] is None
    assert "One reader: nothing" in weldtrial("plan", cwd=folder).out


@pytest.mark.parametrize(
    ("gauge", "says"),
    [
        ('coupons = 1\nreaders = ["a"]\nrepeats = 2', "from 2 to 200"),
        ('coupons = true\nreaders = ["a"]\nrepeats = 2', "it says true"),
        ('coupons = ["1", "1"]\nreaders = ["a"]\nrepeats = 2', "named twice"),
        ('coupons = 5\nreaders = ["a", "A"]\nrepeats = 2', "named twice"),
        ('coupons = 5\nreaders = ["a"]\nrepeats = 1', "repeats"),
        ('coupons = 5\nreaders = ["a", "b"]\nrepeats = 2\ndesign = "nested"', "coupons = 6"),
        ('coupons = 5\nreaders = []\nrepeats = 2', "readers"),
        ("", "needs coupons"),
    ],
)  # fmt: skip
def test_what_cannot_be_laid_out_is_refused(weldtrial, tmp_path: Path, gauge, says) -> None:
    done = weldtrial("plan", cwd=study(tmp_path / "x", gauge))
    assert done.code == ExitCode.FIX_FILE
    assert says in done.err


def test_what_does_not_belong_is_refused(weldtrial, tmp_path: Path) -> None:
    folder = study(tmp_path / "x", 'coupons = 5\nreaders = ["a"]\nrepeats = 2')
    for command in (("seal",), ("power",), ("plan", "--why"), ("analyse", "--open"),
                    ("report", "--bundle"), ("record", "y"), ("sheets", "--only", "weld"),
                    ("record", "--from", "none.csv"), ("record", "z", "--from", "x")):  # fmt: skip
        done = weldtrial(*command, cwd=folder)
        assert done.code == ExitCode.WRONG_USAGE, command
        assert "Traceback" not in done.err
    path = folder / "trial.toml"
    text = path.read_text()
    path.write_text(text + "[design]\nrounds = 3\n")
    assert "it has no [design]" in weldtrial("plan", cwd=folder).err
    path.write_text(text.replace('purpose = "gauge"', 'purpose = "compare"'))
    assert '[gauge] is for a gauge study, and purpose is "compare"' in (
        weldtrial("plan", cwd=folder).err
    )
    path.write_text(HEAD + '[[response]]\nname = "y"\nunit = "mm"\n')
    assert "a gauge study needs [gauge]" in weldtrial("plan", cwd=folder).err


def test_slips_in_a_readings_file_are_named(weldtrial, tmp_path: Path) -> None:
    folder = study(
        tmp_path / "x",
        'coupons = ["p1", "p2", "p3", "p4"]\nreaders = ["ann", "bob"]\nrepeats = 2\n'
        'design = "nested"',
    )
    data = write(
        tmp_path / "slips.csv",
        "reader,repeat,stamp,reading",
        [("anne", 1, "p1", 1), ("ann", 3, "p1", 1), ("ann", 1, "p3", 1), ("ann", 1, "p9", 1),
         ("bob", 1, "p3", ">5"), ("bob", 1, "p4", 1), ("bob", 1, "p4", 2)],
    )  # fmt: skip
    done = weldtrial("record", "--from", data, cwd=folder)
    assert done.code == ExitCode.FIX_FILE
    for words in ("Did you mean 'ann'?", "'3' is not a repeat", "p3 is not a coupon of ann's",
                  "'p9' is not a coupon of this study", "'>5' is no number",
                  "stands in row 7 already", "Nothing was entered."):  # fmt: skip
        assert words in done.err, words
    assert not (folder / "readings").exists()
    good = write(tmp_path / "a.csv", "reader,repeat,stamp,reading", [("bob", 1, "p4", 1)])
    assert weldtrial("record", "--from", good, cwd=folder).code == ExitCode.FINE
    other = write(tmp_path / "b.csv", "reader,repeat,stamp,reading", [("bob", 1, "p4", 2)])
    clash = weldtrial("record", "--from", other, cwd=folder)
    assert clash.code == ExitCode.FIX_FILE
    assert "2 here, 1 in readings/y.csv" in clash.err
