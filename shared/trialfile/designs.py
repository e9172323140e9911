"""What must fit together in ``[design]``: fractions, extra terms, squares and centre points."""

from __future__ import annotations

from weldtrial.shared.problems import nearest
from weldtrial.shared.terms import parse_term
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.faults import Faults, as_written, shortened


def check_design(trial: Trial, faults: Faults) -> None:
    """Report what in ``[design]`` does not fit the factors, or itself."""
    _fraction(trial, faults)
    _terms(trial, faults)
    _squares(trial, faults)
    _of_one_kind(trial, faults)
    if trial.design.centre_points and not any(one.kind == "numeric" for one in trial.easy):
        faults.wrong(
            "design.centre_points",
            "centre points lie at the middle of numeric factors, and no numeric factor is easy to "
            "change. Take them out.",
        )
    elif trial.design.centre_points:
        _middles(trial, faults)


def _middles(trial: Trial, faults: Faults) -> None:
    """Warn of a middle that the machine cannot be set to."""
    for factor in trial.easy:
        if factor.kind != "numeric" or not factor.step:
            continue
        for owner in factor.settings:
            middle = factor.centre(owner)
            if abs(middle / factor.step - round(middle / factor.step)) > 1e-6:
                under = f" under {owner}" if owner else ""
                faults.warn(
                    "design.centre_points",
                    f"the middle of {factor.name}{under} is {middle:g} {factor.unit}, and it is "
                    f"set in steps of {factor.step:g}. Choose levels whose middle can be set.",
                )


OF_ONE_KIND = (
    ("star", "central-composite", "star points belong to a central composite design"),
    ("best_for", "optimal", "best_for says what an optimal design is best for"),
)
"""Keys that one kind of design alone can use, and why."""


def _of_one_kind(trial: Trial, faults: Faults) -> None:
    design = trial.design
    for key, kind, why in OF_ONE_KIND:
        if key in trial.source.get("design", {}) and design.kind not in (kind, "auto"):
            faults.wrong(
                f"design.{key}",
                f'{why}, and kind is "{design.kind}". Write  kind = "{kind}", or take it out.',
            )
    if design.kind == "plackett-burman" and design.runs not in (None, 12, 20, 24):
        faults.wrong(
            "design.runs",
            f"a Plackett-Burman design has 12, 20 or 24 combinations, not {design.runs}. Write  "
            'runs = 12, or  kind = "fraction"  for 4, 8, 16, 32 or 64.',
        )
    if design.replicates and design.kind == "optimal":
        faults.wrong(
            "design.replicates",
            "an optimal design chooses which settings to repeat. Take replicates out, and give the "
            "coupons there are under  budget.coupons.",
        )


def _fraction(trial: Trial, faults: Faults) -> None:
    design = trial.design
    if design.kind != "fraction":
        by_name = design.kind == "plackett-burman"
        sized = by_name or design.kind == "definitive-screening"
        turned = design.fold_over
        for key, value in (
            ("runs", None if sized else design.runs),
            ("generators", design.generators),
            ("fold_over", None if by_name and turned == "all" else turned),
        ):
            if value:
                faults.wrong(
                    f"design.{key}",
                    f'{key} is about a fraction, and kind is "{design.kind}". Write  kind = '
                    f'"fraction", or take it out.'
                    + (' Here it may only be  fold_over = "all".' if by_name and turned else ""),
                )
        return
    runs = design.runs
    if runs is not None and runs & (runs - 1):
        below = 1 << runs.bit_length() - 1
        faults.wrong(
            "design.runs",
            f"a two-level fraction has 4, 8, 16, 32 or 64 combinations, not {runs}. Write  runs = "
            f"{below}  or {2 * below}.",
        )
    names = [factor.name for factor in trial.easy]
    turned = design.fold_over
    if turned is not None and turned != "all" and turned not in names:
        close = nearest(turned, [*names, "all"])
        hint = f'Did you mean "{close}"?' if close else 'Write "all", or one easy factor.'
        faults.wrong(
            "design.fold_over", f"{as_written(turned)} is not an easy factor. {hint}", turned
        )


def _terms(trial: Trial, faults: Faults) -> None:
    varied = trial.varied
    for place, text in enumerate(trial.design.terms):
        path = f"design.terms.{place}"
        try:
            term = parse_term(text, varied)
        except ValueError as error:
            names = ", ".join(factor.name for factor in varied)
            faults.wrong(path, f"{error}. Join names of factors by colons: {names}.", text)
            continue
        raised = [name for name, power in term.powers if power > 1]
        named = [name for name in raised if trial.factor(name).kind == "category"]
        if named:
            faults.wrong(
                path,
                f'"{shortened(text)}" raises {named[0]} to a power, and its levels are names. '
                "Take the power off.",
                text,
            )


def _squares(trial: Trial, faults: Faults) -> None:
    if trial.design.model != "quadratic":
        return
    free = trial.design.free
    numeric = [factor for factor in trial.varied if factor.kind == "numeric"]
    flat = [factor.name for factor in numeric if len(factor.levels) < 3 and not free]
    if not numeric:
        faults.wrong(
            "design.model",
            'model = "quadratic" is about numeric factors, and none is varied. Write  model = '
            '"two-factor".',
        )
    elif flat:
        centre = ""
        if trial.design.centre_points:
            centre = " Centre points show that there is a bend, and not in which factor."
        faults.wrong(
            "design.model",
            f'model = "quadratic" asks for a bend in {" and ".join(flat)}, and two levels draw a '
            f"straight line.{centre} Give {'it' if len(flat) == 1 else 'each'} three levels, or "
            'write  model = "two-factor".',
        )
