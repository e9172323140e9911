from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import FTestAnovaPower

from weldtrial.analysis.kenward_roger import solve
from weldtrial.analysis.lenth import chance_to_stand_out, chance_within, shift_to_stand_out
from weldtrial.analysis.power import Spread, detectable, power_difference, power_f
from weldtrial.analysis.setup_layout import lay_out
from weldtrial.analysis.term_power import AskedTerm, TermPower, term_powers
from weldtrial.cli.plan_figures import plan_figures
from weldtrial.doe.assess import assess
from weldtrial.doe.matrix import planned_matrix
from weldtrial.shared.coding import unit_effects
from weldtrial.shared.factors import Factor
from weldtrial.shared.responses import Margin, Response, Typical
from weldtrial.shared.terms import Term
from weldtrial.shared.trial import Budget, Design, Trial

SPREAD = Spread(4.0, 2.0)


def number(name: str, unit: str, *at: float, hard: bool = False) -> Factor:
    levels = tuple(f"{value:g}" for value in at)
    return Factor(name, "numeric", levels, unit=unit, settings={"": at}, hard_to_change=hard)


GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True, control="mix")
THREE = replace(GAS, levels=("mix", "co2", "m20"))
EASY_GAS = replace(THREE, hard_to_change=False)
PREHEAT = number("preheat", "°C", 20.0, 100.0, hard=True)
FEED = number("wire_feed", "m/min", 7.5, 9.5)
VOLTS = number("voltage", "V", 24.3, 27.4)
TRAVEL = number("travel", "cm/min", 30.0, 50.0)
STICK = number("stick_out", "mm", 12.0, 18.0)
PUSH = Factor("torch", "category", ("push", "drag"))
BEND = number("angle", "deg", 0.0, 10.0, 20.0)


def trial_of(*factors: Factor, coupons: int | None = None, **design: object) -> Trial:
    typical = Typical(80.0, 4.0, 2.0, "pilot")
    return Trial(
        "A trial",
        factors,
        (Response("break_load", "kN", margin=Margin(5.0), typical=typical),),
        design=Design(**design),  # type: ignore[arg-type]
        budget=Budget(coupons),
    )


TRIALS = {
    "two gases in rounds": trial_of(GAS, FEED, rounds=5, replicates=2),
    "three gases in rounds": trial_of(THREE, FEED, PUSH, rounds=4, model="two-factor"),
    "two hard factors": trial_of(GAS, PREHEAT, FEED, rounds=3, model="two-factor"),
    "a complete shuffle in blocks": trial_of(FEED, VOLTS, PUSH, rounds=2, replicates=2),
    "mixed levels": trial_of(EASY_GAS, FEED, BEND, replicates=2, model="two-factor"),
    "a fraction": trial_of(FEED, VOLTS, TRAVEL, STICK, kind="fraction", runs=8, replicates=2),
    "centre points": trial_of(FEED, VOLTS, centre_points=4, replicates=2),
    "halves by round": trial_of(GAS, FEED, VOLTS, rounds=4, coupons=16),
    "squares": trial_of(BEND, model="quadratic", replicates=4),
    "nothing twice": trial_of(FEED, VOLTS, TRAVEL, STICK, kind="fraction", runs=8),
}


def powers(
    trial: Trial, spread: Spread = SPREAD, margin: float | None = 5.0
) -> dict[str, TermPower]:
    planned = planned_matrix(trial, assess(trial).layout)
    terms = [
        AskedTerm(term.name, columns, unit_effects(trial.varied, term))
        for term, columns in zip(planned.terms, planned.columns, strict=True)
    ]
    found = term_powers(planned.matrix, planned.setup, spread, terms, margin=margin)
    return {one.term: one for one in found}


@pytest.mark.parametrize("name", TRIALS)
def test_terms_are_judged_as_the_plan_says(name: str) -> None:
    """By what, and on how many degrees of freedom: worked out from ranks in `doe.strata`."""
    trial = TRIALS[name]
    found = powers(trial)
    told = assess(trial).told
    assert {one.term for one in told} <= set(found)
    for one in told:
        own = found[one.term]
        assert own.judged_by == one.judged_by
        if one.judged_by != "effects":
            assert own.df == pytest.approx(one.error_df, rel=1e-9)


@pytest.mark.parametrize("name", [name for name in TRIALS if name != "nothing twice"])
def test_single_factors_agree_with_the_gaps_of_plan(name: str) -> None:
    trial = TRIALS[name]
    gaps, found = plan_figures(trial).gaps, powers(trial)
    alike = [term for term in gaps if found[term].columns == 1]
    assert alike
    for term in alike:
        assert found[term].detectable == pytest.approx(gaps[term], rel=1e-9)


def test_the_compared_gas_agrees_with_the_plans_chance() -> None:
    trial = TRIALS["two gases in rounds"]
    figures, own = plan_figures(trial), powers(trial)["gas"]
    assert own.chance == pytest.approx(figures.current.chance, abs=1e-9)
    assert own.detectable == pytest.approx(figures.current.gap, rel=1e-9)


def test_three_gases_by_statsmodels() -> None:
    """One-way: Cohen's f of two gases 5 apart and the third half-way."""
    trial = trial_of(EASY_GAS, replicates=8)
    own = powers(trial)["gas"]
    f = np.sqrt((2.5**2 + 2.5**2) / 3) / SPREAD.alone
    expected = FTestAnovaPower().power(f, 24, 0.05, k_groups=3)
    assert own.chance == pytest.approx(expected, abs=1e-9)
    assert own.columns == 2
    again = powers(trial, margin=own.detectable)["gas"]
    assert again.chance == pytest.approx(0.8, abs=1e-9)


def test_unequal_numbers_cost_what_the_worst_pair_costs() -> None:
    gas = Factor("gas", "category", ("a", "b", "c"))
    level = np.repeat([0, 1, 2], [8, 4, 4])
    coded = np.array([[1, 0], [0, 1], [-1, -1]], dtype=float)[level]
    x = np.column_stack([np.ones(16), coded])
    term = AskedTerm("gas", (1, 2), unit_effects([gas], Term((("gas", 1),))))
    own = term_powers(x, None, Spread(4.0), [term], margin=5.0)[0]
    # The two with four coupons, 5 apart, and the third half-way.
    means = np.array([0.0, 2.5, -2.5])[level]
    ratio = np.sum((means - means.mean()) ** 2) / 16.0
    assert own.chance == pytest.approx(power_f(float(ratio), 2, 13), abs=1e-12)


def test_unit_effects_make_an_effect_of_one() -> None:
    cross = Term((("gas", 1), ("wire_feed", 1)))
    ways = unit_effects([EASY_GAS, FEED], cross)
    assert ways.shape == (3, 2)
    for way in ways:
        slopes = np.array([*way, -way.sum()])
        # Half the largest difference between the gases' effects, each twice its slope.
        assert (2 * slopes.max() - 2 * slopes.min()) / 2 == pytest.approx(1.0)
    assert unit_effects([FEED], Term((("wire_feed", 2),))).tolist() == [[1.0]]
    assert abs(unit_effects([GAS], Term((("gas", 1),)))).tolist() == [[0.5]]


def test_more_coupons_on_the_same_bottle_help_the_wire_feed_and_not_the_gas() -> None:
    few = powers(trial_of(GAS, FEED, rounds=4, replicates=1))
    many = powers(trial_of(GAS, FEED, rounds=4, replicates=50))
    least = detectable(2.0 * (2 / 4) ** 0.5, 3)
    assert least is not None
    assert least < many["gas"].detectable < few["gas"].detectable  # type: ignore[operator]
    assert many["wire_feed"].detectable < few["wire_feed"].detectable / 5  # type: ignore[operator]


def test_one_coupon_a_set_up_is_a_complete_shuffle() -> None:
    x = np.column_stack([np.ones(8), np.tile([1.0, -1.0], 4)])
    term = AskedTerm("gas", (1,), np.array([[0.5]]))
    apart = term_powers(x, np.arange(8), SPREAD, [term], margin=5.0)
    assert apart == term_powers(x, None, SPREAD, [term], margin=5.0)
    assert apart[0].chance == pytest.approx(
        power_difference(5.0, SPREAD.alone / 2**0.5, 6), abs=1e-12
    )


def test_unequal_set_ups_fall_between_the_best_and_the_worst() -> None:
    """Set-ups of 2 and of 4 coupons: between all of 2 and all of 4, on the set-ups' degrees."""

    def gas_of(sizes: list[int]) -> TermPower:
        setup = np.repeat(np.arange(len(sizes)), sizes)
        gas = np.where(setup % 2, 1.0, -1.0)
        x = np.column_stack([np.ones(len(setup)), gas])
        return term_powers(x, setup, SPREAD, [AskedTerm("gas", (1,), np.array([[0.5]]))])[0]

    small, mixed, large = gas_of([2] * 8), gas_of([2, 2, 4, 4] * 2), gas_of([4] * 8)
    assert large.se < mixed.se < small.se  # type: ignore[operator]
    assert small.df == large.df == pytest.approx(6.0)
    # Two estimated scatters weigh the set-ups: never more than they number, and hardly less.
    assert 5.5 < mixed.df <= 6.0 + 1e-9
    assert mixed.judged_by == "set-ups"


def test_errors_are_those_of_kenward_and_roger_from_whole_matrices() -> None:
    """Φ + 2 Φ ΣΣ W (Q − P Φ P) Φ of their 1997 paper, set-ups of 1, 2, 3 and 5 coupons."""
    rng = np.random.default_rng(1)
    setup = np.repeat(np.arange(8), [1, 2, 3, 5, 5, 3, 2, 1])
    x = np.column_stack([np.ones(len(setup)), np.where(setup % 2, 1.0, -1.0),
                         rng.normal(size=len(setup))])  # fmt: skip
    spread = Spread(3.0, 2.0, 4.0, 2)
    parts = (np.eye(len(setup)), (setup[:, None] == setup[None, :]).astype(float))
    inverse = np.linalg.inv(spread.seen**2 * parts[0] + 4.0 * parts[1])
    phi = np.linalg.inv(x.T @ inverse @ x)
    left = inverse - inverse @ x @ phi @ x.T @ inverse
    information = [[np.trace(left @ one @ left @ two) / 2 for two in parts] for one in parts]
    w = np.linalg.inv(information)
    ps = [-x.T @ inverse @ one @ inverse @ x for one in parts]
    grown = sum(
        w[i, j] * (x.T @ inverse @ parts[i] @ inverse @ parts[j] @ inverse @ x
                   - ps[i] @ phi @ ps[j])
        for i in (0, 1) for j in (0, 1)
    )  # fmt: skip
    dense = phi + 2 * phi @ grown @ phi
    terms = [AskedTerm(name, (at,), np.array([[0.5]])) for at, name in ((1, "gas"), (2, "feed"))]
    for at, own in zip((1, 2), term_powers(x, setup, spread, terms), strict=True):
        assert own.se == pytest.approx(2 * dense[at, at] ** 0.5, rel=1e-8)
        assert own.se > 2 * phi[at, at] ** 0.5
        # Of one contrast: 2 / var of its variance (Kenward & Roger 1997, one column).
        row = phi[:, [at]]
        slopes = [-(row.T @ one @ row).item() / phi[at, at] for one in ps]
        df = 2.0 / sum(w[i, j] * slopes[i] * slopes[j] for i in (0, 1) for j in (0, 1))
        assert own.df <= df + 1e-6


@pytest.mark.parametrize(
    ("sizes", "factors"), [((3, 3, 3, 3, 2, 3, 3, 2), 5), ((4, 3, 4, 3, 4, 3, 4, 3), 5)]
)
def test_half_widths_are_those_that_fits_give(sizes: tuple[int, ...], factors: int) -> None:
    """Set-ups that hold unequal parts of easy factors: the median of 1500 simulated fits, to 12 %.

    Generalised least squares alone would promise far narrower intervals in so small a plan.
    """
    rng = np.random.default_rng(7)
    setup = np.repeat(np.arange(len(sizes)), sizes)
    gas = np.where(setup % 2, 1.0, -1.0)
    x = np.column_stack([np.ones(len(setup)), gas,
                         rng.choice([-1.0, 0.0, 1.0], (len(setup), factors))])  # fmt: skip
    spread = Spread(4.0, 2.0, 0.0, 1)
    y = 4.0 * rng.standard_normal((len(x), 1500))
    y += 2.0 * rng.standard_normal((len(sizes), 1500))[setup]
    fits = solve(lay_out(x, setup), y)
    terms = [AskedTerm(str(at), (at,), np.array([[1.0]])) for at in range(1, x.shape[1])]
    for at, own in enumerate(term_powers(x, setup, spread, terms), start=1):
        row = np.eye(x.shape[1])[[at]]
        line = (row @ np.linalg.inv(fits.layout.r))[0]
        se = np.sqrt(fits.coupon * np.einsum("i,mij,j->m", line, fits.adjusted, line))
        halves = -stats.t.ppf(0.025, fits.denominators(row)[0]) * se
        assert own.half_width == pytest.approx(float(np.median(halves)), rel=0.12)


def test_what_cannot_be_told_is_never_seen() -> None:
    x = np.column_stack([np.ones(4), [1.0, 1.0, -1.0, -1.0]])
    term = AskedTerm("gas", (1,), np.array([[0.5]]))
    once = term_powers(x, np.array([0, 0, 1, 1]), SPREAD, [term], margin=5.0)[0]
    assert (once.df, once.detectable, once.chance) == (0.0, None, 0.0)
    twice = np.column_stack([x, x[:, 1]])
    assert term_powers(twice, None, SPREAD, [term])[0].detectable is None


def test_without_scatter_everything_is_seen() -> None:
    for name in ("three gases in rounds", "mixed levels", "nothing twice"):
        for own in powers(TRIALS[name], Spread(0.0)).values():
            assert own.chance == pytest.approx(1.0)
            assert own.detectable == pytest.approx(0.0, abs=1e-9)


# ------------------------------------------------------------------ nothing welded twice


@pytest.mark.parametrize("m", [7, 15])
def test_lenths_chances_by_another_simulation(m: int) -> None:
    """Another seed and a plain loop over the rule of Lenth (1989); three errors of both."""
    rng = np.random.default_rng(m)
    trials, shift = 8_000, 4.0
    found = {"noise": 0, "stands out": 0, "no worse": 0, "equal": 0}
    ratios = []
    for _ in range(trials):
        draws = rng.normal(size=m)
        for name, first in (("noise", draws[0]), ("stands out", draws[0] + shift)):
            sizes = np.abs([first, *draws[1:]])
            s0 = 1.5 * np.median(sizes)
            pse = 1.5 * np.median(sizes[sizes < 2.5 * s0])
            # Individual 5 % values of the simulated null: 2.297 and 2.155.
            found[name] += abs(first) > {7: 2.297, 15: 2.155}[m] * pse
            if name == "noise":
                ratios.append((first, pse))
    first, pse = np.array(ratios).T
    cut90 = np.quantile(np.abs(first) / pse, 0.90)
    found["no worse"] = int(np.sum(first - cut90 * pse > -shift))
    found["equal"] = int(np.sum(np.abs(first) + cut90 * pse < shift))
    expected = {
        "noise": chance_to_stand_out(m, 0.0),
        "stands out": chance_to_stand_out(m, shift),
        "no worse": chance_within(m, shift, both=False),
        "equal": chance_within(m, shift, both=True),
    }
    for name, chance in expected.items():
        error = 3 * np.sqrt(chance * (1 - chance) * (1 / trials + 1 / 20_000))
        assert found[name] / trials == pytest.approx(chance, abs=error + 0.001), name


def test_the_shift_that_stands_out_gives_its_chance() -> None:
    for m in (7, 15):
        assert chance_to_stand_out(m, shift_to_stand_out(m, 0.8)) == pytest.approx(0.8, abs=0.003)
