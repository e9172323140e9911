"""An invented bench for windows: two gases, three settings, eight set-ups of five coupons."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import Observation
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term, model_terms

GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
VOLTAGE = Factor(
    "voltage",
    "numeric",
    ("low", "high"),
    unit="V",
    settings={"mix": (24.0, 27.0), "co2": (25.5, 28.5)},
    slides_with="gas",
)
WIRE = Factor("wire_feed", "numeric", ("7", "9"), unit="m/min", settings={"": (7.0, 9.0)})
TRAVEL = Factor("travel", "numeric", ("30", "50"), unit="cm/min", settings={"": (30.0, 50.0)})
FACTORS = (GAS, VOLTAGE, WIRE, TRAVEL)
TERMS = model_terms(FACTORS, "two-factor")


@dataclass(frozen=True)
class Fitted:
    """The least that a surface must offer."""

    response: str
    unit: str
    factors: tuple[Factor, ...]
    terms: tuple[Term, ...]
    coefficients: np.ndarray
    covariance: np.ndarray
    df: float
    df_setup: float | None
    sd_coupon: float
    sd_setup: float
    at_limit: bool = False

    def mean(self, points):
        return model_matrix(self.factors, self.terms, points).matrix @ self.coefficients

    def se_mean(self, points):
        rows = model_matrix(self.factors, self.terms, points).matrix
        return np.sqrt(np.einsum("ij,jk,ik->i", rows, self.covariance, rows))

    def new_coupon(self, points):
        scatter = self.sd_coupon**2 + self.sd_setup**2
        return self.mean(points), np.sqrt(self.se_mean(points) ** 2 + scatter)


def fitted(name: str, factors, terms, observations: Sequence[Observation], unit="mm") -> Fitted:
    fit = fit_model(factors, terms, observations)
    core, p = fit.core, fit.model.matrix.shape[1]
    if isinstance(core, SetupFit):
        spread = (
            float(core.df_within),
            float(core.df_setup),
            core.coupon_variance**0.5,
            max(0.0, core.setup_variance) ** 0.5,
        )
    else:
        assert isinstance(core, LeastSquaresFit)
        spread = (float(core.df_resid), None, core.residual_variance**0.5, 0.0)
    kept = tuple(one for one in terms if one.name in fit.model.columns)
    return Fitted(
        name,
        unit,
        tuple(factors),
        kept,
        core.coefficients[:p],
        core.covariance[:p, :p],
        *spread,
    )


def layout(rng, factors=FACTORS, setups=8, each=5, gas=GAS):
    """Points of coupons, set-ups in rounds of one each gas, random corners and a centre."""
    numeric = [one.name for one in factors if one.kind == "numeric"]
    points, codes, rounds = [], [], []
    for setup in range(setups):
        signs = np.array([[int(b) for b in f"{i:03b}"] for i in range(8)]) * 2 - 1
        half = signs[np.prod(signs, axis=1) == (1 if (setup // 2) % 2 else -1)]
        runs = [*half, np.zeros(3)][:each]
        for run in runs:
            point = {n: float(v) for n, v in zip(numeric, run[: len(numeric)], strict=True)}
            if gas is not None:
                point["gas"] = gas.levels[setup % 2]
            points.append(point)
            codes.append(setup)
            rounds.append(setup // 2)
    return points, np.array(codes), np.array(rounds)


def observations(points, setup, rounds, values) -> list[Observation]:
    return [
        Observation(
            f"C{i:02d}", i + 1, int(rounds[i]), int(setup[i]), {}, point, float(value), (value,)
        )
        for i, (point, value) in enumerate(zip(points, values, strict=True))
    ]
