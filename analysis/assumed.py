"""What is assumed of a response before there are results: the file's figures, or the trade's."""

from __future__ import annotations

from dataclasses import dataclass, replace

from weldtrial.analysis.assurance import Uncertain, from_typical
from weldtrial.analysis.power import Aim, Spread, aim_of
from weldtrial.shared.responses import Response
from weldtrial.shared.trade import Scatter, trade

# Words in a response's name or label, and the quantity of the trade's table that they mean.
_QUANTITY = (
    (("penetration",), "penetration depth between beads"),
    (("moment", "torque"), "fillet break moment raw"),
    (("break", "load"), "fillet break load raw (tension/press)"),
    (("break", "force"), "fillet break load raw (tension/press)"),
    (("stress",), "fillet strength on measured throat, one lot"),
    (("strength",), "fillet strength on measured throat, one lot"),
    (("leg",), "leg/throat between beads"),
    (("throat",), "leg/throat between beads"),
)
_COUNTED = {
    "pass-fail": ("what share passes", 'passing = "90 %"'),
    "graded": ("how often each grade comes", "shares = [… one for each grade, worst first …]"),
}


@dataclass(frozen=True, slots=True)
class Assumed:
    """Figures to plan with.

    Attributes
    ----------
    mean, spread
        In `unit`.
    unit
        The response's unit; ``%`` (of the mean) where only the trade's scatter is known.
    source
        Where they come from, in words.
    prior
        True when they are the trade's and not the file's.
    """

    mean: float
    spread: Spread
    unit: str
    source: str
    prior: bool

    def aim(self, response: Response) -> Aim:
        """Return what the response asks, in these units."""
        return aim_of(response, self.mean)


def assumed(response: Response) -> Assumed | None:
    """Return the figures to plan a response with, or None where there are none.

    The file's ``typical`` comes first.  Without it the middle of the trade's range for a hand
    weld is taken, in percent of the mean, which serves only a margin in percent (or none).

    None for coupons that pass or fail, or are graded: those are foreseen by their shares.
    """
    if response.kind != "number":
        return None
    typical = response.typical
    if typical is not None:
        spread = Spread(typical.sd_coupon, typical.sd_setup, typical.sd_reading, response.sections)
        return Assumed(typical.mean, spread, response.unit, typical.source, False)
    prior = usual_scatter(response)
    if (
        prior is None
        or prior.manual_cv_pct is None
        or (response.margin is not None and not response.margin.percent)
    ):
        return None
    setup = trade().setup_scatter[0]
    spread = Spread(sum(prior.manual_cv_pct) / 2, (setup.low_pct + setup.high_pct) / 2)
    return Assumed(100.0, spread, "%", _prior_words(prior), True)


def left_open(response: Response) -> Uncertain | None:
    """Return how well the scatter of a response is known, None where nothing is known of it.

    From the file's pilot where it names one; the trade's whole ranges, every value in them as
    likely, where the figures of `assumed` are their middle.
    """
    known, prior = assumed(response), usual_scatter(response)
    if known is not None and response.typical is not None:
        return replace(from_typical(response.typical), spread=known.spread)
    if known is None or prior is None or prior.manual_cv_pct is None:
        return None
    setup = trade().setup_scatter[0]
    low, high = prior.manual_cv_pct
    return Uncertain(
        known.spread, coupon_range=(low, high), setup_range=(setup.low_pct, setup.high_pct)
    )


def usual_scatter(response: Response) -> Scatter | None:
    """Return the trade's scatter for what a response seems to measure, or None."""
    words = f"{response.name} {response.label}".casefold()
    for needed, quantity in _QUANTITY:
        if all(word in words for word in needed):
            return trade().scatter_of(quantity)
    return None


def _prior_words(prior: Scatter) -> str:
    assert prior.manual_cv_pct is not None
    low, high = prior.manual_cv_pct
    setup = trade().setup_scatter[0]
    return (
        f"the middle of the usual ranges for hand welds, not your figures: {prior.quantity} "
        f"{low:g}–{high:g} %, set-ups {setup.low_pct:g}–{setup.high_pct:g} % of the mean; "
        f"{prior.cited}"
    )


def why_not_assumed(response: Response) -> str:
    """Return what the file would have to say before anything can be worked out."""
    if response.kind != "number":
        what, example = _COUNTED[response.kind]
        return (
            f"Nothing is known of {what} of {response.title.lower()} today, so no chance can be "
            f"worked out. Add to the response:  typical = {{ {example}, alike = 0.2, "
            'from = "…" }  (alike: how alike coupons of one set-up are, 0 to 1)'
        )
    example = 'typical = { mean = …, sd_coupon = …, sd_setup = …, from = "…" }'
    words = (
        f"Nothing is known of how {response.title.lower()} scatters, so no chance can be worked "
        f"out. Add to the response:  {example}"
    )
    prior = usual_scatter(response)
    if prior is None or prior.manual_cv_pct is None:
        return words
    low, high = prior.manual_cv_pct
    return (
        f"{words}  For a guess: coupons of one set-up usually scatter {low:g}–{high:g} % of the "
        f"mean ({prior.cited}). A margin in percent could be worked out from that alone."
    )
