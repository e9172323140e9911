"""Raw figures as given and folded: the same numbers as the published tests at each level."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.two_ways import analyse_two_ways
from weldtrial.shared.review_data import Theirs, read_theirs


def invented(setups: int, coupons: int, seed: int = 8) -> tuple[Theirs, dict[str, list[float]]]:
    """Loads of two gases, set-ups that scatter by 4 kN and coupons by 2 kN (invented)."""
    rng = np.random.default_rng(seed)
    lines, loads = ["gas,bottle,load_kN"], {"mix": [], "co2": []}  # type: ignore[var-annotated]
    for setup in range(2 * setups):
        gas, shift = ("mix", "co2")[setup % 2], rng.normal(0, 4)
        for _ in range(coupons):
            load = round(80 + shift + rng.normal(0, 2), 1)
            loads[gas].append(load)
            lines.append(f"{gas},B{setup},{load}")
    return read_theirs("\n".join(lines).encode(), "their.csv", {}), loads


def test_folding_is_the_t_test_of_set_up_averages() -> None:
    """In a balanced table the folded answer is that of the set-up averages (scipy)."""
    theirs, loads = invented(5, 3)
    both = analyse_two_ways(theirs, "co2", "mix")
    given, folded = both.says
    assert (given.code, folded.code) == ("as-given", "folded")
    rows = stats.ttest_ind(loads["co2"], loads["mix"])
    means = {gas: np.reshape(found, (5, 3)).mean(axis=1) for gas, found in loads.items()}
    setups = stats.ttest_ind(means["co2"], means["mix"])
    assert given.values["p"] == pytest.approx(rows.pvalue, rel=1e-6)
    assert folded.values["p"] == pytest.approx(setups.pvalue, rel=1e-6)
    low, high = setups.confidence_interval()
    assert (folded.values["low"], folded.values["high"]) == pytest.approx((low, high), rel=1e-6)
    assert both.differs
    assert given.words.startswith("As given (30 rows as coupons): co2 \u2212 mix = ")
    assert folded.words.startswith("Folded (10 set-ups, 30 coupons): co2 \u2212 mix = ")
    assert " kN, 95 % interval " in folded.words


def test_one_set_up_each_folds_to_cannot_tell() -> None:
    theirs, _ = invented(1, 6)
    both = analyse_two_ways(theirs, "co2", "mix")
    assert both.folded is not None
    assert both.folded.comparisons[0].verdict.code == "cannot_tell"
    assert "Cannot tell" in both.says[-1].words
    assert "p" not in both.says[-1].values


def test_nothing_to_fold_is_said_once() -> None:
    text = "gas,load_kN\n" + "\n".join(f"{g},{v}" for g, v in zip("ab" * 4, range(8), strict=True))
    both = analyse_two_ways(read_theirs(text.encode(), "their.csv", {}), "b", "a")
    assert not both.differs
    assert [one.code for one in both.says] == ["as-given"]


def test_too_little_to_analyse_is_said() -> None:
    theirs = read_theirs(b"gas,load_kN\na,80\nb,81\n", "their.csv", {})
    both = analyse_two_ways(theirs, "b", "a")
    assert both.says
    assert "low" not in both.says[0].values
