"""Raw figures analysed two ways: as they were given, and at the level they bear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.evidence import Said
from weldtrial.analysis.findings import Comparison, ResponseFindings
from weldtrial.shared.problems import Problem, WeldtrialError
from weldtrial.shared.responses import Ask
from weldtrial.shared.review_data import Theirs, as_trial
from weldtrial.shared.rounding import by_uncertainty, interval, spaced


@dataclass(frozen=True, slots=True)
class TwoWays:
    """One response, analysed as ``adopt`` would.

    Attributes
    ----------
    as_given
        Every row a coupon of its own; None where nothing can be worked out.
    folded
        Readings of one coupon averaged, and set-ups judged by set-ups where they are named; the
        same as `as_given` where every row is a coupon and no set-up is named.
    says
        Both in words, with their numbers (``as-given``, ``folded``), or why there are none.
    problems
        What is wrong with the data as an analysis needs them.
    """

    as_given: ResponseFindings | None
    folded: ResponseFindings | None
    says: tuple[Said, ...]
    problems: tuple[Problem, ...] = ()

    @property
    def differs(self) -> bool:
        """Whether folding changed anything."""
        return self.folded is not self.as_given


def analyse_two_ways(
    theirs: Theirs,
    new: str,
    old: str,
    *,
    margin: str = "",
    ask: Ask | Literal[""] = "",
    lower_better: bool = False,
) -> TwoWays:
    """Analyse raw figures as given and folded.

    Parameters
    ----------
    new, old
        Which side is compared with which; others take part in the fit.
    margin, ask
        As ``adopt`` takes them: ``5``, ``5 %``; and what was asked, where it was said.
    """
    found: dict[bool, ResponseFindings | None] = {}
    says: list[Said] = []
    problems: tuple[Problem, ...] = ()
    folds = bool(theirs.folded) or all(row.setup for row in theirs.rows)
    for folded in (False, True) if folds else (False,):
        trial, record, wrong = as_trial(
            theirs, folded=folded, control=old, margin=margin, ask=ask, lower_better=lower_better
        )
        problems = (*problems, *(one for one in wrong if one not in problems))
        found[folded] = None
        if trial is None or record is None:
            continue
        code = "folded" if folded else "as-given"
        try:
            one = analyse(trial, record).responses[0]
        except WeldtrialError as error:
            says.append(Said(f"{code}-not", f"{_name(code)}: nothing to be had. {error.words}"))
            continue
        found[folded] = one
        says += [_said(code, one, c, theirs.unit) for c in one.comparisons if c.level == new]
    given = found.get(False)
    return TwoWays(given, found[True] if folds else given, tuple(says), problems)


def _name(code: str) -> str:
    return "Folded" if code == "folded" else "As given"


def _said(code: str, one: ResponseFindings, compared: Comparison, unit: str) -> Said:
    level = f"{one.setups_total} set-ups, " if one.setups_total else ""
    counted = f"{level}{one.n} {'coupons' if code == 'folded' else 'rows as coupons'}"
    shown = spaced(unit)
    difference, low, high = compared.difference, compared.ci_low, compared.ci_high
    if difference is None or low is None or high is None:
        words = f"{_name(code)} ({counted}): {compared.verdict.words}"
        return Said(code, words, {"n": float(one.n)})
    half = (high - low) / 2
    words = (
        f"{_name(code)} ({counted}): {compared.level} \u2212 {compared.reference} = "
        f"{by_uncertainty(difference, half, signed=True)}{shown}, 95 % interval "
        f"{interval(low, high, signed=True)}{shown}."
    )
    numbers = {"n": float(one.n), "difference": difference, "low": low, "high": high}
    if compared.df is not None:
        numbers["df"] = compared.df
    if compared.p is not None:
        numbers["p"] = compared.p
    return Said(code, words, numbers)
