"""Whole trials: every number against dense matrices, and how often the words are wrong.

The reference is written here from the papers and shares no code with the analysis: design columns
by hand, restricted likelihood maximised by scipy over n x n matrices, Kenward & Roger (1997) term
by term, Fieller's limits by root finding (Fieller 1954).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from scipy import optimize, stats

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import Findings
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.trial import Design, Trial

Bench = Callable[..., Record]
LOST = {"break_load": (Reading("lost", text="lost", note="scrapped"),)}


class Dense:
    """Kenward-Roger with n x n matrices, and the limits on its degrees of freedom."""

    def __init__(self, x: np.ndarray, setup: list[int], y: np.ndarray) -> None:
        self.x, self.y, self.n = x, y, len(y)
        self.z = (np.array(setup)[:, None] == np.unique(setup)).astype(float)
        largest = self.z.sum(axis=0).max()
        contrasts = np.linalg.qr(x, mode="complete")[0][:, x.shape[1] :]
        values, turn = np.linalg.eigh(contrasts.T @ self.z @ self.z.T @ contrasts)
        squares = (turn.T @ contrasts.T @ y) ** 2

        def height(u: float) -> float:
            f = 1 + np.expm1(u) / largest * values
            return float(np.log(f).sum() + len(values) * np.log((squares / f).sum()))

        grid = np.linspace(np.log(1e-6), 12, 2000)
        best = grid[np.argmin([height(u) for u in grid])]
        found = optimize.minimize_scalar(
            height, bounds=(best - 0.02, best + 0.02), method="bounded", options={"xatol": 1e-12}
        )
        self.ratio = np.expm1(found.x) / largest
        self.coupon = (squares / (1 + self.ratio * values)).sum() / len(values)
        self._covariances()

    def _covariances(self) -> None:
        x, parts = self.x, [np.eye(self.n), self.z @ self.z.T]
        v = np.linalg.inv(self.coupon * (parts[0] + self.ratio * parts[1]))
        phi = np.linalg.inv(x.T @ v @ x)
        residual = v - v @ x @ phi @ x.T @ v
        pairs = [(i, j) for i in range(2) for j in range(2)]
        traces = [[np.trace(residual @ a @ residual @ b) / 2 for b in parts] for a in parts]
        self.w = np.linalg.inv(np.array(traces))
        self.p = [-x.T @ v @ a @ v @ x for a in parts]
        centre = sum(
            self.w[i, j] * (x.T @ v @ parts[i] @ v @ parts[j] @ v @ x - self.p[i] @ phi @ self.p[j])
            for i, j in pairs
        )
        self.phi, self.adjusted = phi, phi + 2 * phi @ centre @ phi
        self.coefficients = phi @ x.T @ v @ self.y

    def __call__(self, contrast: np.ndarray) -> tuple[float, float, float]:
        """Estimate, standard error, degrees of freedom."""
        theta = np.outer(contrast, contrast) / (contrast @ self.phi @ contrast)
        pull = [np.trace(theta @ self.phi @ one @ self.phi) for one in self.p]
        df = 2 / sum(self.w[i, j] * pull[i] * pull[j] for i in range(2) for j in range(2))
        se = float(np.sqrt(contrast @ self.adjusted @ contrast))
        return float(contrast @ self.coefficients), se, min(max(df, 1.0), self.most(contrast))

    def most(self, contrast: np.ndarray) -> float:
        """Satterthwaite (1946) on the parts between and within set-ups."""
        both = np.linalg.matrix_rank(np.hstack([self.x, self.z]))
        between, within = both - self.x.shape[1], self.n - both
        mean = self.z / self.z.sum(axis=0) @ self.z.T
        v = np.linalg.inv(np.eye(self.n) + max(0.0, self.ratio) * self.z @ self.z.T)
        a = np.linalg.inv(self.x.T @ v @ self.x) @ contrast
        parts = [a @ self.x.T @ v @ mean @ self.x @ a]
        parts.append(a @ self.x.T @ (np.eye(self.n) - mean) @ self.x @ a)
        shares = np.array(parts) / sum(parts)
        return float(1 / (shares[0] ** 2 / between + shares[1] ** 2 / within))


def columns(trial: Trial, record: Record) -> tuple[list[str], np.ndarray, list[int], np.ndarray]:
    """Term names, model columns, set-ups and mean readings, without the project's coding."""
    used = [c for c in record.coupons if c.readings["break_load"][0].kind == "number"]
    y = np.array([np.mean([r.value for r in c.readings["break_load"]]) for c in used])
    found = {"Intercept": np.ones(len(used))}
    for factor in trial.varied:
        # First level of a category +1, low of a number -1.
        first = 1.0 if factor.kind == "category" else -1.0
        signs = [first if c.levels[factor.name] == factor.levels[0] else -first for c in used]
        found[factor.name] = np.array(signs)
    for one, two in combinations(trial.varied, 2):
        found[f"{one.name}:{two.name}"] = found[one.name] * found[two.name]
    rounds = [c.round for c in used]
    last = max(rounds)
    blocks = [[float(r == k) - float(r == last) for k in sorted(set(rounds) - {last})]
              for r in rounds]  # fmt: skip
    return list(found), np.column_stack([*found.values(), blocks]), [c.setup for c in used], y


def spoil(record: Record, runs: set[int], setups: set[int], cuts: bool) -> Record:
    """Lose some coupons and whole set-ups; give some coupons a second and third cut."""
    rng = np.random.default_rng(1)
    coupons = []
    for c in record.coupons:
        value = c.readings["break_load"][0].value or 0.0
        count = int(rng.integers(1, 4)) if cuts else 1
        many = tuple(Reading("number", value=value + e) for e in rng.normal(0, 1, count))
        gone = c.run in runs or c.setup in setups
        coupons.append(replace(c, readings=LOST if gone else {"break_load": many}))
    return replace(record, coupons=tuple(coupons))


WIRE = Factor("wire", "category", ("A", "B"))


@pytest.mark.parametrize(
    ("runs", "setups", "cuts", "wire", "seed"),
    [
        ({3, 4, 5, 17, 30, 41}, set(), False, False, 1),
        ({3, 17, 30}, {5}, True, False, 2),
        ({4, 9}, set(), False, True, 13),
    ],
)
def test_every_number_of_an_unbalanced_trial_agrees_with_dense_matrices(
    trial: Trial, bench: Bench, runs: set[int], setups: set[int], cuts: bool, wire: bool, seed: int
) -> None:
    asked = replace(trial, factors=(*trial.factors, WIRE)) if wire else trial
    replicates = 1 if wire else 2
    record = spoil(bench(asked, seed=seed, gap=-3.0, replicates=replicates), runs, setups, cuts)
    (found,) = analyse(asked, record).responses
    names, x, where, y = columns(asked, record)
    dense = Dense(x, where, y)
    unit = np.eye(x.shape[1])

    def near(ours: float | None, theirs: float) -> None:
        assert ours == pytest.approx(theirs, rel=2e-5, abs=1e-7)

    for k, row in enumerate(found.effects, start=1):
        value, se, df = dense(2 * unit[k])
        assert row.term == names[k]
        for ours, theirs in ((row.estimate, value), (row.se, se), (row.df, df)):
            near(ours, theirs)
        near(row.ci_low, value - stats.t.ppf(0.975, df) * se)
        near(found.tests[k - 1].statistic, (value / se) ** 2)
        near(found.tests[k - 1].p, float(stats.f.sf((value / se) ** 2, 1, df)))
    for mean in found.means:
        factor = asked.factor(mean.factor)
        sign = 1 if (mean.level == factor.levels[0]) == (factor.kind == "category") else -1
        value, se, df = dense(unit[0] + sign * unit[names.index(mean.factor)])
        near(mean.mean, value)
        near(mean.ci_high, value + stats.t.ppf(0.975, df) * se)
    for one in found.comparisons:
        mine = unit[names.index(one.factor)]
        level, reference = unit[0] - mine, unit[0] + mine
        value, se, df = dense(level - reference)
        near(one.difference, value)
        near(one.ci90_low, value - stats.t.ppf(0.95, df) * se)
        t = stats.t.ppf(0.975, df)

        def excess(r: float, level=level, reference=reference, t=t) -> float:
            value, se, _ = dense(level - r * reference)
            return abs(value) - t * se

        near(one.ratio_low, optimize.brentq(excess, one.ratio - 0.5, one.ratio))
        near(one.ratio_high, optimize.brentq(excess, one.ratio, one.ratio + 0.5))
    near(found.variance.setup, dense.ratio * dense.coupon)
    counts = [len(c.readings["break_load"]) for c in record.coupons
              if c.readings["break_load"] != LOST["break_load"]]  # fmt: skip
    share = (found.variance.reading or 0.0) * float(np.mean([1 / k for k in counts]))
    near(found.variance.coupon, dense.coupon - share)


@pytest.mark.parametrize(
    ("truth", "wrong"),
    [
        (0.0, ("worse", "better")),
        (-5.0, ("not_worse", "equivalent", "worse_within_margin", "better")),
    ],
)
def test_whole_trials_seldom_say_something_wrong(
    trial: Trial, bench: Bench, truth: float, wrong: tuple[str, ...]
) -> None:
    """Four rounds, three coupons lost: 5 in 100 plus three Monte-Carlo errors of 200 trials."""
    short = replace(trial, design=Design(rounds=4, set_ups=8))
    count = 0
    for seed in range(200):
        record = bench(short, seed=seed, rounds=4, gap=truth)
        lost = {int(run) for run in 1 + np.random.default_rng(seed).permutation(32)[:3]}
        findings: Findings = analyse(short, spoil(record, lost, set(), cuts=False))
        verdict = findings.responses[0].comparisons[0].verdict
        count += verdict.strength == "shown" and (verdict.code or "").startswith(wrong)
    assert count / 200 <= 0.05 + 3 * (0.05 * 0.95 / 200) ** 0.5
