"""What two reported averages bear: intervals, claim, what would show it, whether they can be."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import sqrt

from weldtrial.analysis.clustered import LIKENESS, by_setups
from weldtrial.analysis.evidence import Claim, Evidence, HonestTest, Said, Side, UndoRow
from weldtrial.analysis.exaggeration import exaggeration
from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.honest_test import measured_test, needed
from weldtrial.analysis.impossible import check_mean, check_spread
from weldtrial.analysis.leave_out import left_out, with_sides
from weldtrial.analysis.picked import picked
from weldtrial.analysis.power import CHANCE
from weldtrial.analysis.printed_p import recompute
from weldtrial.analysis.reported import (
    Gap,
    Moments,
    as_ratio,
    from_p,
    log_ratio,
    lone_coupon,
    moments,
    welch,
)
from weldtrial.analysis.review_numbers import (
    Weighing,
    ask_of,
    margin_text,
    weigh_counts,
    weigh_studies,
)
from weldtrial.analysis.review_sum_words import (
    bias_said,
    claim_said,
    clustered_said,
    difference_said,
    exaggeration_said,
    lone_said,
    mean_problem,
    needed_said,
    printed_p_said,
    ratio_said,
    spread_problem,
    standardised_said,
)
from weldtrial.analysis.review_words import figures, p_is, picked_said
from weldtrial.analysis.weigh_claim import Quantity, hidden_bias, numbers_code, weigh
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Ask, Margin
from weldtrial.shared.rounding import decimals_for, fixed, plain, spaced


@dataclass(frozen=True, slots=True)
class _Asked:
    """Two sides with all that follows from them."""

    evidence: Evidence
    new: Moments
    old: Moments
    claim: Claim | None
    margin: Margin | None

    @property
    def gap(self) -> Gap:
        return welch(self.new, self.old)

    @property
    def ratio(self) -> Quantity | None:
        found = log_ratio(self.new, self.old)
        return None if found is None else Quantity(*as_ratio(found))

    @property
    def difference(self) -> Quantity:
        return Quantity(self.gap.estimate, self.gap.bounds)

    @property
    def sd(self) -> float:
        """Scatter between coupons, both sides together."""
        df = self.new.n + self.old.n - 2
        squares = (self.new.n - 1) * self.new.sd**2 + (self.old.n - 1) * self.old.sd**2
        return sqrt(squares / df)

    @property
    def margin_units(self) -> float | None:
        """The margin in the unit, of the old mean where it is a percentage."""
        return None if self.margin is None else self.margin.in_units(self.old.mean)

    @property
    def aim(self) -> tuple[float, str] | None:
        """A gap to look for, in the unit, and what it is: the margin, else the claim."""
        unit = self.evidence.unit
        if self.margin_units:
            return self.margin_units, f"a gap of your margin, {_size(self.margin_units, unit)}"
        gap = self.claimed_gap
        return (gap, f"the gap that is claimed, {_size(gap, unit)}") if gap else None

    @property
    def claimed_gap(self) -> float | None:
        """The gap that a claim names, in the unit; None where it names none."""
        if self.claim is None or self.claim.kind == "no-difference" or self.claim.value is None:
            return None
        low, high = self.claim.span(self.evidence.better)
        place = high if low == -float("inf") else low
        gap = abs(place - 1) * abs(self.old.mean) if self.claim.is_ratio else abs(place)
        return gap or None


def _size(value: float, unit: str) -> str:
    return f"{figures(value)}{spaced(unit)}"


def weigh_numbers(
    evidence: Evidence,
    claim: Claim | None = None,
    margin: Margin | None = None,
    *,
    thing: str = "",
    remembered: bool | None = None,
    sd_setup: float | None = None,
) -> Weighing:
    """Return what the numbers of any kind of evidence bear, at face value.

    Parameters
    ----------
    claim, margin
        As they were said; either may be missing.
    thing
        What the sides are (``spool``), for the words of the test.
    remembered
        Whether the old side is known to be from memory.
    sd_setup
        Scatter between set-ups to plan the test with; half the coupon scatter where nobody knows.
    """
    if evidence.kind == "counts":
        return weigh_counts(evidence, claim, margin, thing=thing, remembered=remembered)
    if evidence.kind == "studies":
        return weigh_studies(evidence, claim, margin)
    return weigh_averages(with_sides(evidence), claim, margin, sd_setup=sd_setup)


def weigh_averages(
    evidence: Evidence,
    claim: Claim | None = None,
    margin: Margin | None = None,
    *,
    sd_setup: float | None = None,
) -> Weighing:
    """Return what two averages bear; see `weigh_numbers`."""
    new, old = moments(evidence.new), moments(evidence.old)
    checks = figure_checks(evidence)
    if new is None or old is None:
        return Weighing(None, _without_spread(evidence, new, old), checks=checks)
    asked = _Asked(evidence, new, old, claim, margin)
    try:
        gap = asked.gap
    except NotEstimable as error:
        return Weighing(
            None, (Said("no-scatter", error.words[:1].upper() + error.words[1:]),), checks=checks
        )
    ratio, names = asked.ratio, (evidence.new.name, evidence.old.name)
    says: list[Said] = []
    if ratio is not None:
        says.append(ratio_said(*names, ratio, gap, evidence.unit))
    says.append(difference_said(*names, gap, evidence.unit, with_p=ratio is None))
    ask = ask_of(claim, margin)
    code = numbers_code(asked.difference, ratio, margin, evidence.better, ask, old.mean)
    weighed = None
    if claim is not None:
        weighed = weigh(claim, evidence.better, asked.difference, ratio, margin, old.mean)
        says.append(claim_said(weighed, evidence.unit, margin_text(margin, evidence.unit)))
        checks = (*checks, *_own_means(asked, claim))
    says += _sizes(asked)
    says += _sensitivity(asked, code)
    return Weighing(code, tuple(says), weighed, _undo(asked), checks, _test(asked, ask, sd_setup))


def _without_spread(
    evidence: Evidence, new: Moments | None, old: Moments | None
) -> tuple[Said, ...]:
    """Say what is left where one side is a single coupon, or only a p is known."""
    if evidence.new.n == 1 and evidence.new.mean is not None and old is not None:
        found = lone_coupon(evidence.new.mean, old)
        return (lone_said(evidence.new.name, evidence.old.name, found, evidence.unit),)
    if evidence.old.n == 1 and evidence.old.mean is not None and new is not None:
        found = lone_coupon(evidence.old.mean, new)
        return (lone_said(evidence.old.name, evidence.new.name, found, evidence.unit),)
    p, sizes = evidence.stated.p, (evidence.new.n, evidence.old.n)
    if p is not None and min(sizes) >= 1 and sum(sizes) > 2:
        return (standardised_said(p, from_p(p, *sizes)),)
    if sizes == (1, 1):
        words = "One coupon of each side has no spread, so no interval is possible."
        return (Said("no-spread", words),)
    words = "No spread is told in any form, so no interval is possible. Ask for the single coupons."
    return (Said("no-spread", words),)


def _sizes(asked: _Asked) -> list[Said]:
    """Say what would show it, and what a result of this size exaggerates."""
    says, unit = [], asked.evidence.unit
    near = asked.margin_units
    if near and asked.sd > 0:
        margin = margin_text(asked.margin, unit)
        says.append(needed_said(needed(asked.sd, near), margin, asked.sd, unit))
    aim, gap = asked.aim, asked.gap
    if aim is not None and gap.df > 1:
        found = exaggeration(aim[0], gap.se, gap.df)
        if found.power < CHANCE:
            says.append(exaggeration_said(found, aim[1]))
    if (several := picked_said(picked(gap.p, asked.evidence.looked_at))) is not None:
        says.append(several)
    return says


def _sensitivity(asked: _Asked, code: VerdictCode) -> list[Said]:
    """Say how large a hidden bias would overturn it, and what set-ups make of it."""
    evidence, says = asked.evidence, []
    ratio, margin = asked.ratio, asked.margin
    on_ratio = margin is not None and margin.percent and ratio is not None
    found = ratio if on_ratio and ratio is not None else asked.difference
    near = margin.value if on_ratio and margin is not None else asked.margin_units
    if on_ratio:
        found = Quantity(found.estimate - 1, found.bounds.shifted(-1.0))
    bias = hidden_bias(found, code, near, evidence.better)
    if bias is not None:
        says.append(bias_said(bias, evidence.unit, ratio=on_ratio))
    told = (evidence.new.setups, evidence.old.setups)
    if told[0] is not None and told[1] is not None:
        one = by_setups(asked.new, asked.old, told[0], told[1], LIKENESS[0])
        says.append(clustered_said(one, told[0], told[1], told=True))
    out = left_out(evidence)
    turned = [one for one in out if one.turned]
    if out:
        worst = max(out, key=lambda one: abs(one.gap.estimate - asked.gap.estimate))
        many = f"{len(turned) or 'none'} of them"
        change = "changes" if len(turned) < 2 else "change"
        words = (
            f"Leaving out each of the {len(out)} coupons in turn: {many} {change} whether it "
            "stands out; the one that moves it most is "
            f"{plain(worst.value)}{spaced(evidence.unit)} of {worst.side} "
            f"({p_is(worst.gap.p)} without it)."
        )
        says.append(Said("left-out", words, {"turned": len(turned), "p": worst.gap.p}))
    return says


def _undo(asked: _Asked) -> tuple[UndoRow, ...]:
    """Return what becomes of a gap that stands out when coupons share set-ups."""
    if asked.gap.p > 0.05:
        return ()
    rows = []
    told = (asked.evidence.new.setups, asked.evidence.old.setups)
    sides = (asked.new.n, asked.old.n)
    many = tuple(one or max(1, n // 2) for one, n in zip(told, sides, strict=True))
    known = None not in told
    for likeness in LIKENESS if max(many) > 1 else ():
        found = by_setups(asked.new, asked.old, many[0], many[1], likeness)
        p = None if found.gap is None else found.gap.p
        what = f"{many[0]} and {many[1]} set-ups, coupons of one alike by {likeness:g}"
        rows.append(
            UndoRow(what, p, p is None or p > 0.05, known, "clusters", {"likeness": likeness})
        )
    rows.append(UndoRow("one set-up each", None, True, told == (1, 1), "one-set-up"))
    return tuple(rows)


def _test(asked: _Asked, ask: Ask, sd_setup: float | None) -> HonestTest | None:
    aim, claimed, near = asked.aim, asked.claimed_gap, asked.margin_units
    if aim is None or asked.sd <= 0:
        return None
    gap = aim[0]
    figure = asked.claim is not None and asked.claim.kind in ("ratio", "difference")
    if figure and near and claimed and claimed > near:
        # A gap beyond the margin is claimed: the trial has to show it, not that there is none.
        ask, gap = "difference", claimed
    ask = ask if asked.margin is not None else "difference"
    return measured_test(asked.sd, gap, ask, asked.evidence.unit, sd_setup=sd_setup)


# ------------------------------------------------------------------------------ checks


def figure_checks(evidence: Evidence) -> tuple[Said, ...]:
    """Return the figures that cannot be; where all can, one line that says what was looked at."""
    found: list[Said] = []
    for side in (evidence.new, evidence.old):
        found += _side_checks(evidence, side)
    p, decimals = evidence.stated.p, evidence.stated.p_decimals
    if p is not None and decimals is not None:
        again = recompute(evidence.new, evidence.old, p, decimals)
        if again is not None:
            found.append(printed_p_said(again, p, decimals))
    else:
        found += _if_errors(evidence)
    if evidence.step is not None and not any(one.code.startswith("impossible") for one in found):
        step = f"{plain(evidence.step)}{spaced(evidence.unit)}"
        sizes = " and ".join(str(n) for n in dict.fromkeys((evidence.new.n, evidence.old.n)))
        words = f"Means possible from a {step} gauge with n = {sizes}; spreads possible."
        found.insert(0, Said("figures-possible", words))
    return tuple(found)


def _if_errors(evidence: Evidence) -> list[Said]:
    """Say what becomes of it if the printed spreads are standard errors of the means."""
    new, old = moments(evidence.new), moments(evidence.old)
    if new is None or old is None or evidence.new.sd_decimals is None or new.sd + old.sd == 0:
        return []
    gap = welch(*(Moments(one.n, one.mean, one.sd * sqrt(one.n)) for one in (new, old)))
    low, high = gap.ends()
    places = decimals_for((high - low) / 2)
    words = (
        "Please check that the spreads are standard deviations: were they standard errors, the "
        f"difference could be {fixed(low, places, signed=True)} to "
        f"{fixed(high, places, signed=True)}{spaced(evidence.unit)}."
    )
    return [Said("if-errors", words, {"low": low, "high": high, "p": gap.p})]


def _side_checks(evidence: Evidence, side: Side) -> list[Said]:
    if side.mean is None or side.decimals is None:
        return []
    found = []
    if evidence.step is not None and side.n >= 1:
        mean = check_mean(side.mean, side.n, evidence.step, side.decimals)
        if not mean.possible:
            found.append(mean_problem(evidence, side.name, side.mean, side.n, mean, side.decimals))
    if side.sd is None or side.sd_decimals is None or side.n < 2:
        return found
    ends = (evidence.least, evidence.most)
    range_ = None if ends[0] is None or ends[1] is None else (ends[0], ends[1])
    spread = check_spread(
        side.mean, side.sd, side.n, step=evidence.step, decimals=side.decimals,
        sd_decimals=side.sd_decimals, range_=range_,
    )  # fmt: skip
    if not spread.possible:
        found.append(spread_problem(side.name, side.sd, side.n, spread, evidence.unit))
    return found


def _own_means(asked: _Asked, claim: Claim) -> list[Said]:
    """Say where a claimed ratio is not that of their own means."""
    number = re.search(r"[0-9]+[.,]([0-9]+)", claim.text)
    if claim.kind != "ratio" or claim.value is None or number is None or asked.old.mean == 0:
        return []
    decimals = len(number[1])
    own = asked.new.mean / asked.old.mean
    if abs(own - claim.value) <= 0.5 * 10.0**-decimals + 1e-9:
        return []
    words = (
        f"Their own means give a ratio of {fixed(own, decimals)}, not "
        f"{fixed(claim.value, decimals)}. Please check."
    )
    return [Said("own-means", words, {"ratio": own, "claimed": claim.value})]
