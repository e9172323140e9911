"""What coupons that confirm should read, against statsmodels and the exact t where they apply."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from weldtrial.analysis.joint import DRAWS
from weldtrial.analysis.observations import observe
from weldtrial.analysis.predicted import predict
from weldtrial.shared.bench import read_record
from weldtrial.shared.coding import coded_point, model_matrix
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial

Bench = tuple[Trial, Record]


def bench_of(folder: Path, bench: ModuleType, *, hard: bool) -> Bench:
    import contextlib
    import io

    from weldtrial.cli.main import main

    text = bench.text_of()
    if not hard:
        text = text.replace("hard_to_change = true", "hard_to_change = false").replace(
            "rounds = 4", "replicates = 4"
        )
    folder.mkdir()
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["-C", str(folder), "seal", "--no-dice"]) == 0
    bench.fill(folder)
    trial = load_trial(folder / "trial.toml")
    return trial, read_record(folder, trial, read_plan(folder / "plan.csv", trial))


@pytest.fixture(scope="module")
def shuffled(tmp_path_factory: pytest.TempPathFactory, confirm_bench: ModuleType) -> Bench:
    return bench_of(tmp_path_factory.mktemp("one") / "trial", confirm_bench, hard=False)


@pytest.fixture(scope="module")
def by_setups(tmp_path_factory: pytest.TempPathFactory, confirm_bench: ModuleType) -> Bench:
    return bench_of(tmp_path_factory.mktemp("two") / "trial", confirm_bench, hard=True)


def point_of(trial: Trial) -> dict[str, Any]:
    levels = {"gas": "co2", "voltage": "28", "wire_feed": "9", "travel": "35"}
    return coded_point(trial.varied, levels)


def test_without_set_ups_the_intervals_are_those_of_least_squares(shuffled: Bench) -> None:
    trial, record = shuffled
    at, coupons = point_of(trial), 8
    found = predict(trial, record, at, (coupons,))
    terms = trial_terms(trial.varied, trial.design.model, trial.design.terms)
    for name in ("break_load", "penetration"):
        response = trial.response(name)
        seen = observe(trial, record, response).observations
        x = model_matrix(trial.varied, terms, [one.point for one in seen]).matrix
        fit = sm.OLS([one.value for one in seen], x).fit()
        row = model_matrix(trial.varied, terms, [at]).matrix
        theirs = fit.get_prediction(row).summary_frame(alpha=0.05).iloc[0]
        said = found.responses[name]
        scatter = float(fit.scale) ** 0.5
        # 20 000 draws: a 2.5 % quantile is known to 0.02 standard deviations; four of those.
        close = 0.08 * scatter
        assert said.mean == pytest.approx(theirs["mean"], abs=1e-9)
        assert said.low == pytest.approx(theirs["obs_ci_lower"], abs=close)
        assert said.high == pytest.approx(theirs["obs_ci_upper"], abs=close)
        se = float(np.hypot(theirs["mean_se"], scatter / coupons**0.5))
        # Two responses: 97.5 % each; a 1.25 % quantile is known to 0.03 standard errors.
        half = float(stats.t.ppf(1 - 0.05 / 4, fit.df_resid)) * se
        assert said.mean_low == pytest.approx(theirs["mean"] - half, abs=0.12 * se)
        assert said.mean_high == pytest.approx(theirs["mean"] + half, abs=0.12 * se)
        sd = float(np.hypot(theirs["mean_se"], scatter))
        least = float(response.at_least or 0.0)
        chance = float(stats.t.sf((least - theirs["mean"]) / sd, fit.df_resid))
        # Four Monte-Carlo errors of the draws behind the map, which the chance shares.
        close = 4 * (chance * (1 - chance) / DRAWS) ** 0.5
        assert said.chance == pytest.approx(chance, abs=close)
    assert found.alike == 0.0
    assert found.rule is not None
    assert found.rule.reached == pytest.approx(found.rule.reached_alike, abs=1e-12)


def test_set_ups_make_intervals_wider_and_coupons_alike(by_setups: Bench) -> None:
    trial, record = by_setups
    at = point_of(trial)
    two, eight = (predict(trial, record, at, sizes) for sizes in ((4, 4), (1,) * 8))
    assert 0 < two.alike < 0.6
    assert two.together == eight.together
    wide = [
        (one.responses["break_load"].mean_high or 0) - (one.responses["break_load"].mean_low or 0)
        for one in (two, eight)
    ]
    assert wide[0] > wide[1]
    assert two.rule is not None
    assert two.rule.reached_alike < two.rule.reached


def test_the_same_seed_gives_the_same_prediction(by_setups: Bench) -> None:
    trial, record = by_setups
    at = point_of(trial)
    one, again = (predict(trial, record, at, (4, 4)) for _ in range(2))
    assert one == again
    other = predict(trial, record, at, (4, 4), seed=2)
    assert other.together != one.together
    # The difference of two runs: four Monte-Carlo errors at 8 in 10.
    assert other.together == pytest.approx(one.together, abs=4 * (2 * 0.8 * 0.2 / DRAWS) ** 0.5)


def test_what_is_claimed_is_no_more_than_the_results_expect(by_setups: Bench) -> None:
    trial, record = by_setups
    poor = coded_point(
        trial.varied, {"gas": "co2", "voltage": "25.5", "wire_feed": "7.5", "travel": "50"}
    )
    found = predict(trial, record, poor, (6, 6))
    assert found.together is not None
    assert found.rule is not None
    assert found.together - 0.05 < found.rule.share <= found.together
    with pytest.raises(NotEstimable, match="2 coupons cannot speak against"):
        predict(trial, record, poor, (1, 1))
    strict = predict(trial, record, point_of(trial), (4, 4), asked=0.5)
    assert strict.rule is not None
    assert (strict.rule.share, strict.rule.at_least) == (0.5, 2)


def test_where_a_setting_lies_is_seen(by_setups: Bench) -> None:
    trial, record = by_setups
    inside, corner, out = (
        predict(
            trial,
            record,
            {"gas": "mix", "voltage": v, "wire_feed": 0.0, "travel": 0.0},
            (4, 4),
        )
        for v in (0.5, 1.0, 1.4)
    )
    assert (inside.beyond, inside.edges, inside.enclosed) == ((), (), True)
    assert (corner.beyond, corner.edges) == ((), ("voltage",))
    assert (out.beyond, out.enclosed) == (("voltage",), False)
