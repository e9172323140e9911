"""``kind = "auto"``: the plainest design that tells the model with these coupons, and why."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from weldtrial.doe.laid_out import Layout
from weldtrial.shared.problems import PlanRefused, ProblemsFound
from weldtrial.shared.trial import Design, DesignKind, Trial

FRACTIONS = (64, 32, 16, 8)
CALLED = {
    "factorial": "all combinations",
    "fraction": "a two-level fraction",
    "plackett-burman": "a Plackett-Burman design",
    "central-composite": "a central composite design",
    "box-behnken": "a Box-Behnken design",
    "optimal": "coupons chosen one by one",
}


@dataclass(frozen=True, slots=True)
class Passed:
    """A design that was passed over, and why."""

    kind: str
    why: str


def recommended(trial: Trial, lay_out: Callable[[Trial], Layout]) -> Layout:
    """Return the design that fits a trial, with what speaks for it in three lines of `notes`.

    Tried in this order, the first that tells every term of the model and leaves something to judge
    by: all combinations, two-level fractions from the largest, Plackett-Burman (main effects),
    central composite and Box-Behnken (curves), and last coupons chosen one by one, which goes round
    limits and any number of coupons.

    Parameters
    ----------
    lay_out
        Lays out a trial of a named kind, or refuses.

    Raises
    ------
    PlanRefused
        When none fits; with what each was passed over for.
    """
    passed: list[Passed] = []
    for design in _candidates(trial):
        one = replace(trial, design=design)
        try:
            layout = lay_out(one)
        except (PlanRefused, ProblemsFound) as refused:
            passed.append(Passed(design.kind, _first_sentence(refused.words)))
            continue
        if layout.strata.left_out:
            passed.append(Passed(design.kind, "It cannot tell every term of the model apart."))
            continue
        notes = (*_why(one, layout, passed), *layout.notes)
        return replace(layout, name=layout.name or _name(design, layout), notes=notes)
    reasons = "\n".join(f"  {CALLED[one.kind]}: {one.why}" for one in _once(passed))
    raise PlanRefused(
        f"No design fits these factors, coupons and limits.\n{reasons}",
        hint="Give  budget.coupons , ask for less (design.model), or widen the limits.",
    )


def _candidates(trial: Trial) -> Iterator[Design]:
    """Yield the designs to try, the plainest first."""
    design, many = trial.design, len(trial.easy)
    two_level = all(len(factor.levels) == 2 for factor in trial.easy)
    numbers = sum(factor.kind == "numeric" for factor in trial.easy)

    def kind(name: DesignKind, runs: int | None = None) -> Design:
        return replace(design, kind=name, runs=runs)

    curves = design.model == "quadratic"
    if not curves or all(len(one.levels) > 2 for one in trial.easy if one.kind == "numeric"):
        yield kind("factorial")
    if not curves and two_level and many >= 3:
        yield from (kind("fraction", runs) for runs in FRACTIONS if runs < 2**many)
    if design.model == "main" and two_level and many >= 4:
        yield kind("plackett-burman")
    if curves and numbers >= 2:
        yield kind("central-composite")
    if curves and numbers >= 3:
        yield kind("box-behnken")
    yield kind("optimal")


def _first_sentence(words: str) -> str:
    head = words.splitlines()[0]
    for stop in (". ", ".  ", ": "):
        place = head.find(stop)
        if place > 40:
            return f"{head[:place].rstrip('.')}."
    return head


def _once(passed: list[Passed]) -> list[Passed]:
    """Return each kind once, with the reason that came last."""
    return list({one.kind: one for one in passed}.values())


def _name(design: Design, layout: Layout) -> str:
    if design.kind == "fraction":
        return f"a fraction: {len(layout.easy.combos)} combinations"
    return "all combinations" + (" in every set-up" if layout.hard_factors else "")


def _why(trial: Trial, layout: Layout, passed: list[Passed]) -> tuple[str, str, str]:
    asked = {
        "main": "main effects",
        "two-factor": "main effects and pairs",
        "quadratic": "main effects, pairs and curves",
    }[trial.design.model]
    left = layout.strata.within_df
    first = (
        f"Recommended: {CALLED[trial.design.kind]}. It tells {asked}, each of them apart from the "
        f"others, and leaves {left} to judge coupons by."
    )
    if layout.hard_factors:
        first = first[:-1] + f", {layout.error_df} to judge set-ups by."
    # A larger fraction that was too many coupons is no other kind than the one taken.
    reasons = [one for one in _once(passed) if one.kind != trial.design.kind]
    second = "Nothing plainer was passed over."
    if reasons:
        told = f"{CALLED[reasons[-1].kind]}, because: {reasons[-1].why}"
        more = len(reasons) - 1
        others = f" (and {more} other kind{'s' * (more > 1)})" if more else ""
        second = f"Passed over{others}: {told}"
    third = f'To have it as it is, write  design.kind = "{trial.design.kind}"' + (
        f"  and  design.runs = {trial.design.runs}." if trial.design.runs else "."
    )
    return first, second, third
