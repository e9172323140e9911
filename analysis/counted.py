"""One level against its reference where coupons are counted or graded, judged like a number.

`respond_passes` and `respond_grades` work out the numbers (`Numbers` of a `Counted`); here they
become a verdict by the same rules as any other (`weldtrial.analysis.judge`).  Several comparisons
of one factor share the error by Bonferroni, which needs no normal scatter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from weldtrial.analysis.claims import weigh_claims
from weldtrial.analysis.compare import asked_of, compared_factors
from weldtrial.analysis.comparison import count_words, said_level
from weldtrial.analysis.context import Context
from weldtrial.analysis.count_records import HowCounted
from weldtrial.analysis.counted_words import cannot_count, write_counted, write_shuffled
from weldtrial.analysis.dealt import rounds_of, unit_of
from weldtrial.analysis.findings import Alternative, Comparison, Strength, Verdict, VerdictCode
from weldtrial.analysis.judge import Bounds, Evidence, judge, strength
from weldtrial.analysis.levels import Levels
from weldtrial.analysis.looks import levels_at
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.points import in_points
from weldtrial.analysis.question import Question
from weldtrial.analysis.ranks import rank_test
from weldtrial.analysis.settle_counted import settle_coupons, settle_setups
from weldtrial.analysis.units_compared import units_compared
from weldtrial.analysis.verdict_words import PILOT, Setting, depends_on, head
from weldtrial.analysis.views import WITHOUT_CORRECTIONS, WITHOUT_DOUBTFUL
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import Reading
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response

MOST_DEALT = 200
"""Coupons beyond which the sums of their ranks are too many to list."""


@dataclass(frozen=True, slots=True)
class Pair:
    """What is compared, and at which confidence.

    Attributes
    ----------
    response
        In points: see `points.in_points`.
    share
        How many comparisons of this factor share the error.
    at
        The reading of fair, where a trial welds both.
    """

    response: Response
    factor: Factor
    level: str
    reference: str
    read: Levels
    share: int
    at: Reading | None = None

    @property
    def interval(self) -> float:
        """Confidence of the interval called the 95 % interval."""
        return 1 - self.read.two_sided / self.share

    @property
    def limits(self) -> float:
        """Confidence of the interval whose ends are the one-sided limits."""
        return 1 - 2 * self.read.one_sided / self.share

    def of(self, observations: Sequence[Observation]) -> list[Observation]:
        """Return the coupons of the two levels, welded as the reading of fair asks.

        A control welded alike under both roles counts in each.
        """
        both, at, gas = (self.level, self.reference), self.at, self.factor.name
        mine = [o for o in observations if o.levels[gas] in both]
        if at is None:
            return mine
        return [o for o in mine if at.speaks_for(o.levels[gas], o.levels[at.slider.name])]

    @property
    def may_be_dealt(self) -> bool:
        """Whether whole set-ups could have been dealt either way.

        Not at one reading of fair: set-ups of the control hold more coupons that count.
        """
        return self.at is None and len(self.factor.levels) == 2

    def new(self, observations: Sequence[Observation]) -> list[bool]:
        """Return which coupons had the level that is compared with the reference."""
        return [o.levels[self.factor.name] == self.level for o in observations]


@dataclass(frozen=True, slots=True)
class Counted:
    """The numbers of one comparison, in points, raw sign (level minus reference).

    Attributes
    ----------
    difference
        Difference of shares; of grades, how far the chance to grade better lies above 50 in 100.
    ends
        95 % interval and 90 % interval, None where there is none.
    why
        Why there is no interval, in words; empty where there is one.
    seen
        What was seen, such as ``passes 10 of 18 against 13 of 18``.
    p
        Of no change, two-sided, of the method that made the interval (of the shuffle alone where
        there is none).
    p_exact
        Of dealing the coupons again within rounds or set-ups, or of dealing whole set-ups.
    p_alone
        True where only `p`, of the shuffle, may be read.
    se_least
        Least standard error of set-ups' shares (`setup_proportions.least_variance`), else None.
    """

    difference: float | None = None
    ends: Bounds | None = None
    why: str = ""
    seen: str = ""
    se: float | None = None
    df: float | None = None
    p: float | None = None
    p_exact: float | None = None
    orders: int | None = None
    p_alone: bool = False
    ratio: tuple[float, float, float] | None = None
    odds: tuple[float, float, float] | None = None
    method: str = ""
    se_least: float | None = None


Answer = Callable[[Pair, Sequence[Observation]], Counted]
"""From a pair and the coupons used to the numbers."""


def pairs(context: Context, response: Response) -> tuple[Pair, ...]:
    """Return every comparison of a response, the hard to change first."""
    found = []
    for factor in compared_factors(context.trial):
        read = levels_at(context.trial, context.look, factor)
        asked = [one for one in asked_of(context.trial) if one.factor == factor]
        found += [
            Pair(in_points(response), factor, one.level, one.reference, read, len(asked), one.at)
            for one in asked
        ]
    return tuple(found)


def code_of(pair: Pair, found: Counted) -> VerdictCode:
    """Return the code that the numbers lead to."""
    if found.p_alone and found.p is not None:
        shown = found.p * pair.share < pair.read.two_sided
        return "difference_shown" if shown else "not_settled"
    if found.ends is None:
        return "cannot_tell"
    return judge(_evidence(pair, found.ends), pair.response.ask)


def _evidence(pair: Pair, ends: Bounds) -> Evidence:
    signed = ends if pair.response.sign > 0 else ends.flipped()
    return Evidence.of(signed, pair.response.margin.value if pair.response.margin else None)


def judged(
    context: Context,
    pair: Pair,
    found: Counted,
    observations: Sequence[Observation],
    ways: Sequence[Alternative],
) -> Comparison:
    """Return the comparison with its verdict and claims."""
    pilot = context.trial.purpose == "pilot"
    verdict = _verdict(context, pair, found, observations)
    if pilot:
        verdict = Verdict(None, None, PILOT, verdict.lines[:1])
    else:
        verdict = _turns_on(context, pair, verdict, observations, ways)
    ends, margin, none = found.ends, pair.response.margin, (None, None, None)
    adjusted = None if pair.share == 1 or found.p is None else min(1.0, pair.share * found.p)
    comparison = Comparison(
        factor=pair.factor.name,
        level=pair.level,
        reference=pair.reference,
        difference=found.difference,
        percent=None,
        se=found.se,
        df=found.df,
        ci_low=ends.low95 if ends else None,
        ci_high=ends.high95 if ends else None,
        ci90_low=ends.low90 if ends else None,
        ci90_high=ends.high90 if ends else None,
        p=found.p,
        p_adjusted=adjusted,
        margin=margin.value if margin else None,
        margin_percent=None,
        ratio=(found.ratio or none)[0],
        ratio_low=(found.ratio or none)[1],
        ratio_high=(found.ratio or none)[2],
        verdict=verdict,
        counted=HowCounted(
            found.method,
            found.seen,
            found.p_exact,
            (found.odds or none)[0],
            (found.odds or none)[1],
            (found.odds or none)[2],
            found.why,
            found.se_least,
        ),
        reading="" if pair.at is None else pair.at.role,
        at="" if pair.at is None else pair.at.words,
    )
    if pilot or pair.response.kind == "graded":
        return comparison
    return replace(comparison, claims=weigh_claims(context.trial.claims, pair.response, comparison))


def _verdict(
    context: Context, pair: Pair, found: Counted, observations: Sequence[Observation]
) -> Verdict:
    code = code_of(pair, found)
    setting = _setting(context, pair, observations)
    if code == "not_settled" and not setting.early:
        setting = replace(setting, settle=_settle(pair, found, observations))
    firm = _firm(context, code, _units(pair, observations))
    if found.p_alone:
        return write_shuffled(code, firm, setting, found.seen, found.why, found.difference or 0.0)
    if found.ends is None or found.difference is None:
        return cannot_count(setting, found.seen, found.why)
    ends = found.ends
    return write_counted(
        code, firm, setting, _evidence(pair, ends), found.seen,
        (found.difference, ends.low95, ends.high95), found.odds,
    )  # fmt: skip


def _setting(context: Context, pair: Pair, observations: Sequence[Observation]) -> Setting:
    return Setting(
        response=pair.response,
        level=said_level(context, pair.factor, pair.level, pair.at),
        reference=said_level(context, pair.factor, pair.reference, pair.at),
        counts=count_words(
            pair.response,
            observations if pair.at is None else pair.of(observations),
            setups=any(o.setup is not None for o in observations),
        ),
        looks=context.looks,
        factors=len(compared_factors(context.trial)),
        interval="95 % interval for all looks" if context.look.ends[1:] else "95 % interval",
        early=context.look.state in ("planned", "unplanned"),
    )


def _settle(pair: Pair, found: Counted, observations: Sequence[Observation]) -> str:
    """Say what would settle a question of passes; of grades no margin says what matters."""
    mine = pair.of(observations)
    if pair.response.kind == "graded" or pair.share > 1:
        return ""
    unit = unit_of(pair.factor, mine)
    sides = [[o for o, new in zip(mine, pair.new(mine), strict=True) if new is side]
             for side in (True, False)]  # fmt: skip
    if unit == "coupons":
        return settle_coupons(
            pair.response, int(sum(o.value for o in mine)), len(mine), min(map(len, sides))
        )
    if found.se is None or found.df is None:
        return ""
    units = min(len({o.setup for o in side}) for side in sides)
    return settle_setups(pair.response, mine, found.se, found.df, units)


def _units(pair: Pair, observations: Sequence[Observation]) -> int:
    question = Question((), (), pair.response, pair.factor, pair.level, pair.reference)
    return units_compared(question, observations if pair.at is None else pair.of(observations))


def _firm(context: Context, code: VerdictCode, units: int) -> Strength | None:
    if context.look.state == "unplanned":
        return None
    shuffled = context.shuffled and context.look.state != "unfinished"
    return strength(code, shuffled=shuffled, units_per_level=units)


def _turns_on(
    context: Context,
    pair: Pair,
    verdict: Verdict,
    observations: Sequence[Observation],
    ways: Sequence[Alternative],
) -> Verdict:
    """Return a `depends_on` verdict where corrections made with open codes change the answer."""
    if not any(correction.codes_open for correction in context.record.corrections):
        return verdict
    setting = _setting(context, pair, observations)
    for other in ways:
        code = other.code
        if other.name != WITHOUT_CORRECTIONS or code is None or code == verdict.code:
            continue
        firm = _firm(context, code, _units(pair, observations))
        worse = pair.response.sign * other.difference < 0
        second = Verdict(code, firm, head(code, firm, setting, worse=worse))
        what = "corrections made after the codes were open"
        return depends_on(what, verdict, second, "As first typed in")
    return verdict


def dealt_again(
    pair: Pair, mine: Sequence[Observation], strata: Sequence[object] | None
) -> float | None:
    """Return the exact p of dealing the coupons again within rounds or set-ups (`rank_test`).

    None where nothing differs, or with more coupons than their sums can be listed for.
    """
    if len(mine) > MOST_DEALT:
        return None
    try:
        return rank_test([o.value for o in mine], pair.new(mine), strata).p
    except NotEstimable:
        return None


# ---------------------------------------------------------------------- in other ways


def other_ways(
    pair: Pair,
    answer: Answer,
    observations: Sequence[Observation],
    uncorrected: Sequence[Observation],
    record: Record,
) -> tuple[Alternative, ...]:
    """Return the comparison as typed, without doubtful coupons, and without each round."""
    found = []
    if [o.value for o in uncorrected] != [o.value for o in observations]:
        found.append(way(pair, answer, uncorrected, WITHOUT_CORRECTIONS, "as first typed in"))
    doubtful = {coupon.stamp for coupon in record.coupons if coupon.went_wrong}
    rest = [o for o in observations if o.stamp not in doubtful]
    if count := len(observations) - len(rest):
        plural = "coupon" if count == 1 else "coupons"
        words = f"without the {count} {plural} that something went wrong with"
        found.append(way(pair, answer, rest, WITHOUT_DOUBTFUL, words))
    labels = sorted(set(rounds_of(observations) or ()))
    for label in labels if len(labels) > 2 else ():
        name = f"without round {label}"
        kept = [o for o in observations if (o.round or 0) != label]
        found.append(way(pair, answer, kept, name, name))
    return tuple(one for one in found if one is not None)


def way(
    pair: Pair, answer: Answer, observations: Sequence[Observation], name: str, words: str
) -> Alternative | None:
    """Return the comparison another way, None where that way has no interval."""
    if len(set(pair.new(pair.of(observations)))) < 2:
        return None
    found = answer(pair, observations)
    if found.ends is None or found.difference is None:
        return None
    df = float("inf") if found.df is None else found.df
    p = float("nan") if found.p is None else found.p
    return Alternative(
        name, words, found.difference, found.ends.low95, found.ends.high95, df, p,
        code_of(pair, found), len(observations),
    )  # fmt: skip
