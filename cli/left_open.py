"""The chance averaged over what a pilot leaves open of the scatter, in words and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from weldtrial.shared.responses import Ask, Response
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.assumed import Assumed
    from weldtrial.analysis.assurance import Averaged
    from weldtrial.analysis.shape import Shape
    from weldtrial.cli.console import Console

ASKS: tuple[Ask, ...] = ("difference", "no-worse", "equal-enough")


def averaged_of(
    response: Response,
    known: Assumed | None,
    shape: Shape,
    chance: float | None = None,
    ask: Ask | None = None,
) -> Averaged | None:
    """Return the averaged chance of a plan, None where nothing is left open or asked."""
    from weldtrial.analysis.assumed import left_open
    from weldtrial.analysis.assurance import look_at
    from weldtrial.analysis.power import CHANCE

    open_still = None if known is None else left_open(response)
    if known is None or open_still is None:
        return None
    return look_at(shape, open_still, known.aim(response), chance or CHANCE, ask)


def as_plain(found: Averaged | None) -> dict[str, Any] | None:
    """Return an averaged chance as plain values, None without one."""
    return None if found is None else asdict(found)


def all_asks(
    response: Response, known: Assumed | None, shape: Shape, chance: float
) -> dict[str, Averaged]:
    """Return the averaged chance of every question that may be asked, by its name in JSON."""
    found = {ask: averaged_of(response, known, shape, chance, ask) for ask in ASKS}
    return {ask.replace("-", "_"): one for ask, one in found.items() if one is not None}


def range_words(response: Response, found: Averaged, unit: str) -> list[str]:
    """Return how far the scatter may lie from its figure, and what that came from."""
    words, typical = [], response.typical
    if found.prior:
        assert found.coupon is not None
        assert found.setup is not None
        return [
            f"No figures of yours: coupons of one set-up usually scatter {_span(found.coupon)} %, "
            f"set-ups {_span(found.setup)} % of the mean"
        ]
    assert typical is not None
    if found.coupon is not None:
        words.append(
            f"{typical.pilot_coupons} coupons leave the scatter between coupons anywhere from "
            f"{_span(found.coupon)} {unit}".rstrip()
        )
    if found.setup is not None:
        words.append(
            f"{typical.pilot_setups} set-ups leave that between set-ups anywhere from "
            f"{_span(found.setup)} {unit}".rstrip()
        )
    if found.coupon is None:
        words.append("the scatter between coupons is taken as known")
    elif found.setup is None and typical.sd_setup > 0:
        words.append("that between set-ups is taken as known")
    return words


def _span(span: tuple[float, float]) -> str:
    low, high = (brief(one, 2) for one in span)
    return f"{low} to {high}"


def why_words(found: Averaged) -> str:
    """Return why the averaged chance is not the plug-in one."""
    if abs(found.chance - found.plug_in) < 0.005:
        return "here that changes little"
    if found.chance < found.plug_in:
        return (
            "if it is really larger the chance falls further than it rises where it is really "
            "smaller"
        )
    return (
        "where it is really smaller the chance rises further than it falls if it is really larger"
    )


def needed_words(found: Averaged, shape: Shape) -> str:
    """Return what it takes for the averaged chance to reach the target."""
    target = f"{100 * found.wanted:g} %"
    if found.coupons is None:
        return f"No number of coupons makes it {target} on average."
    if found.chance >= found.wanted:
        return f"It is {target} on average with this plan."
    units = (
        f"{found.setups_per_level} set-ups of each, {found.coupons} coupons"
        if found.setups_per_level is not None
        else f"{found.coupons} coupons"
    )
    kept = f" with {shape.per_setup} in each" if found.setups_per_level is not None else ""
    return f"To make it {target} on average takes {units}{kept}."


def open_words(response: Response, found: Averaged, shape: Shape, unit: str) -> list[str]:
    """Return the lines below a plan's table: averaged beside plug-in, why, and what to do."""
    ranges = "; ".join(range_words(response, found, unit))
    plug, average = _percent(found.plug_in), _percent(found.chance)
    told = f"is {average}, not {plug}" if plug != average else f"is still {average}"
    return [
        f"{ranges}. Averaged over that, the chance {told}: {why_words(found)}.",
        f"{needed_words(found, shape)} Cautious, with the scatter at its 80 % upper limit "
        f"({_cautious(found, unit)}): {_percent(found.cautious)}."
        if not found.prior
        else needed_words(found, shape),
    ]


def averaged_lines(response: Response, found: Averaged) -> list[str]:
    """Return how an averaged chance is worked out, with its sources."""
    typical = response.typical
    if found.prior or typical is None:
        return [
            f"Averaged = {_percent(found.chance)}: the mean of the chance over both ranges of the "
            "trade, every value in them as likely (16 × 16 Gauss-Legendre points)."
        ]
    parts = []
    if found.coupon is not None:
        parts.append(f"the coupon variance s²·f/x for {typical.pilot_coupons} pilot coupons")
    if found.setup is not None:
        parts.append(
            f"the mean square of the set-ups likewise for {typical.pilot_setups} pilot set-ups"
        )
    return [
        f"Averaged = {_percent(found.chance)}: {' and '.join(parts)}, x a chi-square on f degrees "
        "of freedom, at 64 points of its quantile (Spiegelhalter & Freedman 1986, Stat. Med. 5:1; "
        "from memory).",
        f"Cautious = {_percent(found.cautious)}: one-sided 80 % upper limits of the scatter "
        "(Browne 1995, Stat. Med. 14:1933; from memory).",
    ]


def _cautious(found: Averaged, unit: str) -> str:
    parts = [] if found.coupon is None else [f"coupons {brief(found.coupon_upper, 2)} {unit}"]
    if found.setup is not None:
        parts.append(f"set-ups {brief(found.setup_upper, 2)} {unit}")
    return ", ".join(one.rstrip() for one in parts)


def _percent(chance: float) -> str:
    if chance < 1 and f"{100 * chance:.0f}" == "100":
        return "over 99 %"
    return f"{100 * chance:.0f} %"


def show_open(
    console: Console, response: Response, known: Assumed, shape: Shape, chance: float
) -> None:
    """Show, for ``weldtrial power``, every chance averaged beside the plug-in one."""
    found = all_asks(response, known, shape, chance)
    if not found:
        return
    first = next(iter(found.values()))
    ranges = "; ".join(range_words(response, first, known.unit))
    console.line(f"  {ranges}. Averaged over that:", hang=2)
    names = {
        "difference": "a true loss",
        "no_worse": "no worse, if equal",
        "equal_enough": "equal within, if equal",
    }
    rows = []
    for ask, one in found.items():
        sized = "out of reach" if one.coupons is None else str(one.coupons)
        setups = "out of reach" if one.setups_per_level is None else str(one.setups_per_level)
        rows.append(
            [
                names[ask],
                _percent(one.plug_in),
                _percent(one.chance),
                _percent(one.cautious),
                *([setups] * shape.by_setups),
                sized,
            ]
        )
    console.table(
        [
            "to show",
            "if the figures\nare right",
            "averaged",
            "cautious",
            *(["set-ups of\neach needed"] * shape.by_setups),
            "coupons\nneeded in all",
        ],
        rows,
        None,
    )
    reason = max(found.values(), key=lambda one: abs(one.chance - one.plug_in))
    cautious = "four fifths up the ranges" if first.prior else "the scatter at its 80 % upper limit"
    limits = "" if first.prior else f" ({_cautious(first, known.unit)})"
    console.line(
        f"  Why they differ: {why_words(reason)}. Cautious: {cautious}{limits}. Needed: for "
        f"{100 * chance:g} % on average.",
        hang=2,
    )
