"""What the report says of planned looks: beforehand, and in the methods."""

from __future__ import annotations

from weldtrial.analysis.findings import Findings
from weldtrial.analysis.look_words import after
from weldtrial.cli.report_blocks import Block, Text
from weldtrial.shared.rounding import p_value
from weldtrial.shared.trial import Trial


def looks_beforehand(trial: Trial) -> str:
    """Return the planned looks as the sealed file fixes them; empty without any."""
    looks = trial.looks
    if looks is None:
        return ""
    most = trial.design.rounds or looks.after[-1]
    if looks.scatter_only:
        return (
            f"the scatter alone {after(looks.after)}, codes closed: as many rounds as give "
            f"{100 * looks.chance:.0f} times in 100, at least {looks.least}, at most {most}"
        )
    return f"{after((*looks.after, most))}, {looks.name} bounds; no others"


def looks_method(trial: Trial, findings: Findings) -> list[Block]:
    """Return how the looks were read, for a statistician."""
    looks = trial.looks
    if looks is None:
        return []
    if looks.scatter_only:
        words = (
            "Set-up means within rounds, levels lumped, gave the scatter with the codes closed; "
            "the rounds follow from it by the rule of planning (Wittes & Brittain 1990, Stat. "
            "Med. 9, 65; Gould & Shih 1992; Kieser & Friede 2003). The analysis is the ordinary "
            "one at that many rounds, but one-sided limits are read at "
            f"{p_value(findings.levels.one_sided)}: at 0.05 trials that are lucky early would end "
            "early, and false claims of no worse rise to as much as 9 in 100 (simulated)."
        )
        return [Text(words, "Re-sizing: ")]
    words = (
        f"{looks.name} bounds for looks {after(findings.look.ends)}, by recursive numerical "
        "integration (Armitage, McPherson & Rowe 1969), mapped to Student's t at the degrees of "
        "freedom of this look: nominal level "
        f"{p_value(findings.levels.two_sided)} for the interval, "
        f"{p_value(findings.levels.one_sided)} for a one-sided limit. Intervals are repeated ones "
        "(Jennison & Turnbull 1989, J. R. Stat. Soc. B 51, 305) and hold at all looks at once; "
        "those of effects and means too. Each p is for this look alone."
    )
    return [Text(words, "Looks: ")]
