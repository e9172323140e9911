"""The verdict of a review: what the numbers say, held back to what the design can bear.

The code at face value comes from `weldtrial.analysis.judge`; a comparison that is graded below Fair
cannot carry it, and one whose sides were never apart from something else carries none at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from weldtrial.analysis.evidence import Evidence, Judgement, Said
from weldtrial.analysis.evidence_grade import Graded, Numbers, side_by_side
from weldtrial.analysis.review_numbers import Weighing
from weldtrial.shared.rounding import decimals_for, fixed, spaced

ReviewCode = Literal["cannot-tell", "not-settled", "supports", "contradicts", "suggests", "shown"]

NO_INTERVAL = "Not settled: no interval is possible from these figures."
TOO_FEW = "Not settled: these figures are too few to say. This is not evidence that they are alike."
NOT_APART = (
    "Not settled: these figures do not tell the sides apart. This is not evidence that they are "
    "alike: only a margin, said before, could show that."
)
NEVER_APART = (
    "Cannot tell: {new} was never welded apart from {tied}. Any difference could be either. More "
    "coupons of the same kind would not help; a trial that breaks the tie would."
)
CAUSE = "Cannot tell whether {thing} caused it. Worth testing; not worth repeating as a finding."
NOT_BORNE = (
    "Cannot tell: taken at face value the figures {say}, but how they came about cannot bear that."
)
NOT_TOLD = (
    "Cannot tell: taken at face value the figures {say}, but too little is told of how they came "
    "about to bear that."
)
FOLDER_NOT_BORNE = (
    "Cannot tell: its files give \N{LEFT DOUBLE QUOTATION MARK}{head}"
    "\N{RIGHT DOUBLE QUOTATION MARK}, but how they came about cannot bear that."
)
UNSIZED_MARGIN = "Say what loss would not matter, a margin, and the smallest fair trial is sized."
UNSIZED_STUDIES = (
    "Studies of a difference do not tell how single coupons scatter, so no trial can be sized from "
    "them. Ask for mean, standard deviation and n of each side, or weld a pilot."
)
UNSIZED_FIGURES = (
    "These figures hold no scatter of single coupons, so no trial can be sized from them. A pilot "
    "of a few coupons of each side would tell it."
)
UNSIZED_SMALL = (
    "No trial of a workable size would settle so small a margin with so much scatter. Name a wider "
    "margin, or find what makes the coupons scatter."
)
PICKED = "Not settled: as the pick of {many} that were looked at it no longer stands out."
_SAYS: dict[str, str] = {
    "difference_shown": "{new} and {old} differ",
    "worse_beyond_margin": "{new} is worse than {old} by more than {margin}",
    "worse_within_margin": "{new} is worse than {old}, but by less than {margin}",
    "worse_margin_unsettled": "{new} is worse than {old}; whether by more than {margin} is open",
    "better_beyond_margin": "{new} is better than {old} by more than {margin}",
    "better_within_margin": "{new} is better than {old}, but by less than {margin}",
    "better_margin_unsettled": "{new} is better than {old}; whether by more than {margin} is open",
    "not_worse": "{new} is no worse than {old} by more than {margin}; not that they are equal",
    "equivalent": "{new} and {old} are equal within {margin}",
}
_ALIKE = ("not_worse", "equivalent")
_BEARS = ("strong", "fair")


def judged(
    weighing: Weighing,
    graded: Graded,
    evidence: Evidence,
    *,
    tied: Sequence[str] = (),
    thing: str = "",
    margin: str = "",
    head: str = "",
) -> Judgement:
    """Return numbers and design together, each still to be seen.

    Parameters
    ----------
    tied
        What the sides cannot be told from, in words.
    thing
        What the sides are (``spool``), empty where nobody says.
    margin
        As it is printed, empty without one.
    head
        The verdict sentence of a trial folder, worked out again by its own rules; it stands as it
        is, since the design was judged there.
    """
    code, words = verdict(weighing, graded, evidence, tied=tied, thing=thing, margin=margin)
    if head and not tied:
        code, words = _of_folder(head, graded)
    says, undo = weighing.says, weighing.undo
    if tied:
        # A gap of two sides that were never apart is no number about either of them.
        says, undo = listed(evidence), ()
    elif head:
        # Judged in full by the rules of its own plan: a rougher look adds no second figure.
        says, undo = tuple(one for one in says if one.code.startswith("claim")), ()
    test = weighing.test
    if head or code in ("shown", "supports", "contradicts"):
        test = None
    unsized = _unsized(weighing, evidence, margin) if test is None and not head else ""
    if code in ("shown", "supports", "contradicts"):
        unsized = ""
    return Judgement(code, words, graded.code, graded.reasons, says, undo, test, unsized)


def _unsized(weighing: Weighing, evidence: Evidence, margin: str) -> str:
    """Return why no test can be sized from such figures, and what would be needed."""
    if evidence.kind == "studies":
        return UNSIZED_STUDIES
    if weighing.code is None:
        return UNSIZED_FIGURES
    return UNSIZED_SMALL if margin else UNSIZED_MARGIN


def _of_folder(head: str, graded: Graded) -> tuple[ReviewCode, str]:
    """Return the verdict of a folder, held back where the grade cannot carry it."""
    first = head.partition(" ")[0].rstrip(":").casefold()
    known: dict[str, ReviewCode] = {
        "shown": "shown", "suggests": "suggests", "cannot": "cannot-tell",
        "answer": "cannot-tell", "contradicts": "contradicts",
    }  # fmt: skip
    code = known.get(first, "not-settled")
    if code in ("shown", "suggests") and graded.code not in _BEARS:
        return "cannot-tell", FOLDER_NOT_BORNE.format(head=head)
    if code == "shown" and graded.code != "strong":
        return "suggests", f"Suggests, no more: {head.partition(' ')[2]}"
    return code, head


def listed(evidence: Evidence) -> tuple[Said, ...]:
    """Return the averages of the sides, listed and not compared."""
    parts = [
        f"{side.name} {fixed(side.mean, 1 if side.sd is None else decimals_for(side.sd))}"
        f"{spaced(evidence.unit)} (n = {side.n})"
        for side in (evidence.new, evidence.old)
        if side.mean is not None
    ]
    if not parts:
        return ()
    words = f"Averages: {'; '.join(parts)}. They are listed; no comparison is made."
    return (
        Said("averages", words, {"new": evidence.new.mean or 0.0, "old": evidence.old.mean or 0.0}),
    )


def verdict(
    weighing: Weighing,
    graded: Graded,
    evidence: Evidence,
    *,
    tied: Sequence[str] = (),
    thing: str = "",
    margin: str = "",
) -> tuple[ReviewCode, str]:
    """Return the code and the sentence of a review; see `judged`."""
    new, old = evidence.new.name, evidence.old.name
    if tied:
        return "cannot-tell", NEVER_APART.format(new=new, tied=" and ".join(tied))
    claim = weighing.claim
    bears = graded.code in _BEARS
    not_borne = NOT_TOLD if graded.code == "cannot-be-judged" else NOT_BORNE
    if claim is not None and claim.verdict != "not-settled":
        quoted = f"\N{LEFT DOUBLE QUOTATION MARK}{claim.claim.text}\N{RIGHT DOUBLE QUOTATION MARK}"
        against = claim.verdict == "contradicted"
        if not bears:
            say = f"{'contradict' if against else 'support'} {quoted}"
            return "cannot-tell", not_borne.format(say=say)
        if against:
            return "contradicts", f"Contradicts the claim {quoted}."
        lead = "Supports" if graded.code == "strong" else "Suggests, no more, that it holds:"
        return (
            "supports",
            f"{lead} the claim {quoted}." if lead == "Supports" else f"{lead} {quoted}.",
        )
    if weighing.code is None:
        return "not-settled", NO_INTERVAL
    if weighing.code not in _SAYS:
        return "not-settled", TOO_FEW if margin or evidence.kind == "counts" else NOT_APART
    if (many := picked_away(weighing)) is not None:
        return "not-settled", PICKED.format(many=many)
    say = _SAYS[weighing.code].format(new=new, old=old, margin=margin or "the margin")
    if not bears:
        if weighing.code in _ALIKE:
            return "cannot-tell", not_borne.format(say=f"say that {say}")
        return "cannot-tell", CAUSE.format(thing=f"the {thing}" if thing else new)
    if graded.code == "strong":
        return "shown", f"Shown: {say}."
    return "suggests", f"Suggests that {say}."


def numbers_in_a_word(weighing: Weighing) -> Numbers:
    """Return what the numbers say at face value, for the line that sets it beside the grade."""
    if weighing.claim is not None and weighing.claim.verdict == "contradicted":
        return "contradict"
    if weighing.code in _SAYS and picked_away(weighing) is None:
        return "clear" if weighing.code in _ALIKE else "striking"
    p = smallest_said(weighing)
    return "suggestive" if p is not None and p <= 0.1 else "quiet"


def picked_away(weighing: Weighing) -> int | None:
    """Return of how many it was picked where, so counted, it stands out no longer; else None."""
    for said in weighing.says:
        if said.code == "picked" and said.values["p"] <= 0.05 < said.values["p_smallest"]:
            return int(said.values["looked_at"])
    return None


def smallest_said(weighing: Weighing) -> float | None:
    """Return the p of the comparison that is printed, None where none is."""
    wanted = ("chance-split", "ratio", "difference", "pooled")
    found = [
        said.values["p"] for said in weighing.says if said.code in wanted and "p" in said.values
    ]
    return found[0] if found else None


def apart(weighing: Weighing, graded: Graded) -> str:
    """Return numbers and design in one line: "Numbers striking, evidence: anecdote."."""
    return side_by_side(numbers_in_a_word(weighing), graded)
