from __future__ import annotations

import csv
import io
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from weldtrial.shared.blank_files import FilledIn, filled_in, lay_out, weld_log_columns
from weldtrial.shared.folder import Folder


@pytest.fixture
def laid(kit: ModuleType, tmp_path: Path) -> Folder:
    trial = kit.trial_of()
    lay_out(tmp_path, trial, kit.draw_plan(trial, "0" * 64))
    return Folder(tmp_path)


def lay_again(kit: ModuleType, folder: Folder, seal: str = "0" * 64) -> list[str]:
    trial = kit.trial_of()
    written = lay_out(folder.path, trial, kit.draw_plan(trial, seal))
    return [folder.name_of(path) for path in written]


def test_the_weld_log_has_run_stamp_and_setup_and_a_column_for_each_setting(
    kit: ModuleType, laid: Folder
) -> None:
    header, *rows = laid.weld_log.read_text(encoding="utf-8").splitlines()
    assert header == (
        "run,stamp,setup,started,voltage_seen_V,wire_feed_seen_m_per_min,amps,arc_s,bead_mm,"
        "throat_mm,plate_temp_C,welder,replaces,went_wrong"
    )
    assert tuple(header.split(",")) == weld_log_columns(kit.trial_of())
    assert [row.rstrip(",") for row in rows] == ["1,A2H,1", "2,M3M,1", "3,P2R,2", "4,D6L,3", ",F4K"]


def test_a_readings_file_is_sorted_by_stamp_and_tells_nothing_of_the_gas(laid: Folder) -> None:
    text = laid.readings("penetration").read_text(encoding="utf-8")
    header, *rows = text.splitlines()
    assert header == "stamp,reading,failed_at,reader,read_on,note"
    # Two sections each; the warm-up A2H is never read, the spare F4K may be.
    assert [row.rstrip(",") for row in rows] == [
        stamp for stamp in ("D6L", "F4K", "M3M", "P2R") for _ in range(2)
    ]
    assert "mix" not in text
    assert "co2" not in text


def test_nothing_is_filled_in_yet_and_laying_out_again_changes_nothing(
    kit: ModuleType, laid: Folder
) -> None:
    assert filled_in(laid.path) == FilledIn(0, 0)
    assert not filled_in(laid.path).anything
    assert lay_again(kit, laid) == []


def test_blank_files_follow_a_new_plan_but_one_typed_cell_keeps_its_file(
    kit: ModuleType, laid: Folder
) -> None:
    path = laid.readings("break_load")
    typed = path.read_text(encoding="utf-8").replace("M3M,,", "M3M,84.2,")
    path.write_text(typed, encoding="utf-8")
    # Another seal turns the warm-up into another stamp, so blank files have to follow.
    assert lay_again(kit, laid, "1" * 64) == ["weld_log.csv", "readings/penetration.csv"]
    assert path.read_text(encoding="utf-8") == typed
    assert filled_in(laid.path) == FilledIn(readings=1, welded=0)


@pytest.mark.parametrize(
    "content",
    [
        b"stamp;reading;note\r\nA2H;84,2;\r\n",
        b"\xef\xbb\xbfstamp,break_load_kN\nA2H,84.2\n",
        "stamp\treading\nA2H\t84.2\n".encode("utf-16"),
        b"stamp,note\nA2H,dropped\n",
        b"stamp,reading\nA2H,,,,84.2\n",
        b"stamp,reading,reading\nA2H,84.2,\n",
        b'stamp,reading\nA2H,"84.2\n',
        b"PK\x03\x04\x00\x00spreadsheet",
        b"84.2\n83.1\n",
        b"\x00\xff\xfe",
        "stamp,reading\nA2H,trois\u00e9\n".encode("latin-1"),
    ],
)
def test_whatever_someone_typed_is_left_alone(
    kit: ModuleType, laid: Folder, content: bytes
) -> None:
    path = laid.readings("break_load")
    path.write_bytes(content)
    assert lay_again(kit, laid, "1" * 64) == ["weld_log.csv", "readings/penetration.csv"]
    assert path.read_bytes() == content
    assert filled_in(laid.path).readings == 1


@given(st.integers(1, 5), st.text(st.characters(codec="utf-8"), min_size=1, max_size=6))
def test_one_typed_cell_is_never_written_over(
    kit: ModuleType, tmp_path_factory: pytest.TempPathFactory, column: int, typed: str
) -> None:
    assume(typed.strip())
    folder = Folder(tmp_path_factory.mktemp("trial"))
    lay_again(kit, folder)
    path = folder.readings("break_load")
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
    rows[2][column] = typed
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    path.write_bytes(out.getvalue().encode("utf-8"))
    assert lay_again(kit, folder, "1" * 64) == ["weld_log.csv", "readings/penetration.csv"]
    assert path.read_bytes() == out.getvalue().encode("utf-8")


def test_a_started_weld_counts_and_its_log_is_kept(kit: ModuleType, laid: Folder) -> None:
    text = laid.weld_log.read_text(encoding="utf-8").replace("2,M3M,1,,", "2,M3M,1,09:40,")
    laid.weld_log.write_text(text, encoding="utf-8")
    assert filled_in(laid.path) == FilledIn(0, 1)
    lay_again(kit, laid, "1" * 64)
    assert laid.weld_log.read_text(encoding="utf-8") == text
