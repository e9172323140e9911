"""``weldtrial plan --tells``: what the design can and cannot tell, in tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.plan_tables import show_changes
from weldtrial.cli.telling import Telling
from weldtrial.shared.rounding import brief, fixed

if TYPE_CHECKING:
    from weldtrial.cli.console import Align, Console
    from weldtrial.doe.expected_widths import Width
    from weldtrial.doe.prediction_error import Place

MOST_TIES = 12
"""Ties and leaks listed on the screen; all of them are in the JSON."""


def show_telling(console: Console, telling: Telling) -> None:
    """Show what a plan can tell, part by part."""
    figures, layout = telling.figures, telling.figures.assessment.layout
    console.line(figures.trial.title, style="bold")
    set_ups = f" in {layout.set_ups} set-ups" if layout.set_ups else ""
    console.line(f"  {layout.coupons} counting coupons{set_ups}; what the design itself can tell, "
                 "before anything is welded", hang=2)  # fmt: skip
    console.line(f"  {scatter_words(telling)}", hang=2)
    show_changes(console, figures)
    _effects(console, telling)
    _together(console, telling)
    _prediction(console, telling)
    _losses(console, telling)


def scatter_words(telling: Telling) -> str:
    """Return what scatter the figures are worked out from, in a sentence."""
    known, response = telling.figures.assumed, telling.figures.trial.deciding
    by_setups = telling.quality.setups is not None
    title = f"{response.title[:1].upper()}{response.title[1:]}"
    if known is None:
        more = "; set-ups are taken to scatter as coupons do" if by_setups else ""
        if response.kind != "number":
            return (
                f"{title} has no scatter in a unit, so errors are in coupon scatters, as of "
                f"something measured (1 is one coupon's standard deviation){more}."
            )
        return (
            f"Nothing is known of the scatter of {title[:1].lower()}{title[1:]}, so errors are in "
            f"coupon scatters (1 is one coupon's standard deviation){more}."
        )
    spread = known.spread
    if not by_setups:
        return (
            f"{title}: {brief(spread.alone, 3)} {known.unit} from coupon to coupon, as "
            "planned; the scatter you find will differ."
        )
    return (
        f"{title}: {brief(spread.seen, 3)} {known.unit} from coupon to coupon, "
        f"{brief(spread.setup, 3)} {known.unit} from set-up to set-up, as planned; the scatter you "
        "find will differ."
    )


# ---------------------------------------------------------------------- effects


def _effects(console: Console, telling: Telling) -> None:
    console.heading("How well each effect will be known")
    widths = telling.quality.widths
    if not widths:
        console.line("  The design tells no effect.")
        return
    known, margin = telling.figures.assumed, telling.figures.aim.margin
    judged = {one.term: one.judged_by for one in telling.figures.assessment.told}
    words = {one.term: one.words for one in telling.figures.assessment.told}
    heads = ["effect", "judged by", "on"]
    heads.append(f"± {telling.unit}" if known else "error")
    if known:
        heads.append("seen 8 in 10")
    if known and margin is not None:
        heads.append(f"chance for {brief(margin)} {telling.unit}")
    heads.append("inflated")
    rows = []
    for width, inflation in zip(widths, telling.quality.inflations, strict=True):
        row = [
            words.get(width.term, term_called(telling, width.term)),
            judged.get(width.term, "nothing"),
            brief(width.df, 3) if width.df > 0 else "–",
            width_cell(width, known=known is not None),
        ]
        power = telling.powers.get(width.term)
        if known:
            row.append("–" if power is None or power.detectable is None
                       else brief(power.detectable, 2))  # fmt: skip
        if known and margin is not None:
            none = power is None or (power.df < 1 and power.judged_by != "effects")
            row.append("–" if none or power is None or power.chance is None
                       else f"{100 * power.chance:.0f} %")  # fmt: skip
        rows.append([*row, f"× {fixed(inflation, 2)}"])
    sides: list[Align] = ["left", "left"]
    sides += ["right"] * (len(heads) - 2)
    console.table(heads, rows, sides)
    if known:
        console.line("  ± is half of the 95 % interval to expect of the effect, low to high or "
                     "between two levels, each by itself; seen 8 in 10: the effect that would "
                     "show that often.", hang=2)  # fmt: skip
        if telling.figures.shape.family != "single":
            console.line(
                f"  {telling.figures.compared.title[:1].upper()}"
                f"{telling.figures.compared.title[1:]} is read over several gaps at once, and what "
                "is seen and its chance allow for that; ± is of one gap by itself.",
                hang=2,
            )
        if any(one.half_width is None for one in widths):
            console.line(f"  {_why_none(telling)}", hang=2)
    else:
        console.line("  Error is the standard error of the effect in coupon scatters.", hang=2)
    if any(one > 1.005 for one in telling.quality.inflations):
        console.line("  Inflated: how many times the variance is what it would be were the effect "
                     "clear of the others.", hang=2)  # fmt: skip


def _why_none(telling: Telling) -> str:
    if any(one.judged_by == "effects" for one in telling.figures.assessment.told):
        return (
            "– as nothing is welded twice: effects are judged by each other (Lenth 1989), which "
            "gives no interval beforehand."
        )
    return "– where nothing is left over to judge by: there is no interval."


def term_called(telling: Telling, name: str) -> str:
    """Return a term for eyes."""
    from weldtrial.doe.quality_words import name_words

    return name_words(telling.figures.trial, name)


def width_cell(width: Width, *, known: bool) -> str:
    """Return the half-width to expect, or without a scatter the standard error."""
    if not known:
        return brief(float(width.relative**0.5), 2)
    return "–" if width.half_width is None else brief(width.half_width, 2)


# ---------------------------------------------------------------------- what travels together


def _together(console: Console, telling: Telling) -> None:
    from weldtrial.doe.quality_words import TIED, blurred_summary, leak_words

    trial, quality = telling.figures.trial, telling.quality
    console.heading("Which effects travel together")
    for words in blurred_summary(trial, quality):
        console.line(f"  {words[:1].upper()}{words[1:]}.", hang=2)
    ties = quality.blurred.tied(TIED)
    if ties:
        console.table(
            ["effect", "with", "how closely, −1 to 1"],
            [
                [term_called(telling, one.one), term_called(telling, one.other),
                 fixed(one.correlation, 2, signed=True)]
                for one in ties[:MOST_TIES]
            ],
        )  # fmt: skip
    if len(ties) > MOST_TIES:
        console.line(f"  {len(ties) - MOST_TIES} more with --json.")
    leaks = [one for one in quality.leaks if abs(one.share) >= TIED]
    unit = telling.unit or "unit"
    for leak in leaks[:3]:
        words = leak_words(trial, leak, unit)
        console.line(f"  {words[:1].upper()}{words[1:]}.", hang=2)
    if len(leaks) > 3:
        console.line(f"  {len(leaks) - 3} more such with --json.")


# ---------------------------------------------------------------------- prediction


def _prediction(console: Console, telling: Telling) -> None:
    from weldtrial.doe.quality_words import place_words
    from weldtrial.doe.struck_out import struck_out_words

    trial, found = telling.figures.trial, telling.quality.prediction
    console.heading("How well the average at a setting will be known")
    for words in struck_out_words(trial):
        console.line(f"  {words[:1].upper()}{words[1:]}.", hang=2)
    if found is None:
        console.line("  The limits on settings leave no setting to predict at.")
        return
    unit = f"± {telling.unit}" if telling.unit else "error, in coupon scatters"
    several = len(found.quantiles) > 0 and found.settings > 1
    rows = [["best", place_cell(found.best, telling), place_words(trial, found.best.point)]]
    if several:
        typical = found.typical_half_width
        cell = brief(float(found.typical**0.5), 2) if not telling.unit else (
            "–" if typical is None else brief(typical, 2))  # fmt: skip
        rows.append(["typical", cell, "half of the allowed region is known better"])
    rows.append(["worst", place_cell(found.worst, telling), place_words(trial, found.worst.point)])
    console.table(["", unit, "where"], rows, ["left", "right", "left"])
    if telling.unit and found.worst.half_width is None:
        console.line("  – as something in it has nothing left over to judge it by.", hang=2)
    if several and _apart(found.best, found.worst):
        console.line(f"  {share_words(telling)}", hang=2)
    if trial.limits:
        console.line(f"  The limits allow {100 * found.allowed:.0f} % of the settings between "
                     "lowest and highest.", hang=2)  # fmt: skip
    console.line("  Of the average of many coupons there, over the rounds welded; a single coupon "
                 "scatters more.", hang=2)  # fmt: skip


def _apart(best: Place, worst: Place) -> bool:
    """Tell whether best and worst differ enough to say how the region lies between them."""
    if best.half_width is None or worst.half_width is None:
        return worst.relative > best.relative * 1.02
    return worst.half_width > best.half_width * 1.01


def place_cell(place: Place, telling: Telling) -> str:
    """Return the half-width at a place, or without a scatter the standard error."""
    if not telling.unit:
        return brief(float(place.relative**0.5), 2)
    return "–" if place.half_width is None else brief(place.half_width, 2)


def share_words(telling: Telling) -> str:
    """Return how much of the region is predicted nearly as well as the best, and as the worst."""
    found = telling.quality.prediction
    assert found is not None
    near = found.share_within(1.25, found.best)
    far = 1 - found.share_within(1 / 1.25, found.worst)
    return (
        f"{100 * near:.0f} % of the region has an error less than a quarter above the best; "
        f"{100 * far:.0f} % comes within a quarter of the worst."
    )


# ---------------------------------------------------------------------- losses


def _losses(console: Console, telling: Telling) -> None:
    from weldtrial.doe.quality_words import cost_words, loss_words, losses_summary

    trial, quality = telling.figures.trial, telling.quality
    found = quality.losses
    if found is None:
        return
    console.heading("What is lost with coupons that go wrong (the most damaging of each kind)")
    kinds = (
        ("one set-up", found.setup),
        ("one coupon", found.coupon),
        ("two coupons", found.pair),
    )
    console.table(
        ["lost", "which", "what it costs"],
        [
            [name, loss_words(trial, quality, loss), cost_words(trial, loss)]
            for name, loss in kinds
            if loss is not None
        ],
    )
    for words in losses_summary(quality):
        console.line(f"  {words[:1].upper()}{words[1:]}.", hang=2)
    if found.pair is None:
        console.line("  There are too many pairs of coupons to look at each.")
