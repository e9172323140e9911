"""What a gauge study says, in words and rows for screen and page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.shared.rounding import decimals_for, fixed, plain, spaced

if TYPE_CHECKING:
    from weldtrial.analysis.gauge_answer import GaugeFindings
    from weldtrial.analysis.gauge_study import GaugeCost
    from weldtrial.analysis.mean_squares import Component

RULE = (
    "Rule of AIAG MSA (4th ed., 2010), in % of total scatter: under 10 good, 10 to 30 may do, over "
    "30 not good; five classes or more. Standard deviations do not add up, variances do."
)
NOT_A_TRIAL = "A gauge study: it qualifies no procedure and no welder to any code."
KNOWN_WORDS = {
    "repeatability": "repeatability (one reader again)",
    "readers": "what readers add",
    "coupons": "scatter of coupons",
}


def sd_text(sd: float, unit: str = "") -> str:
    """Return a standard deviation to two significant figures, with its unit."""
    return f"{plain(float(f'{sd:.2g}'))}{spaced(unit)}"


def fitness_words(one: GaugeFindings) -> str:
    """Return the sentence on how much of the scatter is the gauge's."""
    study = one.study
    if one.fitness is None:
        return (
            "Coupons do not scatter beyond the gauge: it cannot tell these coupons apart. Read "
            "coupons that differ as those of the trial will."
        )
    judged = {
        "good": "good by AIAG's rule",
        "may do": "between 10 and 30 %, so by AIAG's rule it may do, depending on what hangs on it",
        "not good": "over 30 %, so by AIAG's rule it is not good enough",
    }[one.fitness]
    words = f"The gauge scatters {study.percent(study.gauge):.1f} % of the total: {judged}."
    if study.classes is None:
        return words
    noun = "class" if study.classes == 1 else "classes"
    few = "" if study.classes >= 5 else " (five or more are wanted)"
    return f"{words} It tells {study.classes} {noun} of coupons apart{few}."


def margin_words(one: GaugeFindings) -> str:
    """Return the sentence that holds the gauge against the margin; empty without one."""
    if one.margin is None:
        return ""
    unit = one.response.unit
    share = 100 * one.sd_reading / one.margin
    held = "good enough to see it" if one.sees_margin else "coarse beside it"
    return (
        "One reading, by one reader throughout, scatters a coupon's value by "
        f"{sd_text(one.sd_reading, unit)}, {share:.2g} % of the margin of "
        f"{sd_text(one.margin, unit)}: {held} (up to 30 % is)."
    )


def part_rows(one: GaugeFindings) -> list[list[str]]:
    """Return one row a component: name, sd, interval, share of total and of variance."""
    study = one.study
    named: list[tuple[str, Component | None]] = [
        ("coupons", study.coupon),
        ("repeatability", study.repeatability),
        ("reproducibility", study.reproducibility),
        ("  readers", study.reader if study.interaction is not None else None),
        ("  reader by coupon", study.interaction),
        ("gauge (both together)", study.gauge if study.reproducibility is not None else None),
        ("total", study.total),
    ]
    rows = []
    for name, part in named:
        if part is None:
            continue
        low, high = part.low**0.5, part.high**0.5
        places = min(decimals_for(part.sd), decimals_for((high - low) / 2)) if part.sd else 2
        # A low end that is not 0 is not shown as 0.
        while part.sd and 0 < low < 0.5 * 10**-places:
            places += 1
        shown = plain(float(f"{part.sd:.3g}")) if part.sd else "none seen"
        rows.append(
            [
                name,
                shown,
                f"{fixed(low, places)} to {fixed(high, places)}" if part.sd
                else f"at most {sd_text(high)}",
                f"{study.percent(part):.1f}",
                f"{study.percent_of_variance(part):.1f}",
            ]
        )  # fmt: skip
    return rows


def pooled_words(one: GaugeFindings) -> str:
    """Return what became of the reader-by-coupon interaction; empty where there is none."""
    p = one.study.interaction_p
    if p is None:
        return ""
    if one.study.pooled:
        return (
            f"Readers differ alike on all coupons as far as can be seen (p = {p:.2f}, above .25): "
            "reader by coupon is counted as repeatability (AIAG)."
        )
    shown = "below 0.0001" if p < 0.0001 else f"= {p:.2g}"
    return f"Readers differ from coupon to coupon (p {shown}): kept apart."


def cost_rows(one: GaugeFindings) -> list[list[str]]:
    """Return one row for each number of readings, and one for several readers."""
    rows = [
        [f"{number}{', one reader throughout' if number == 1 else ''}", *_cost(found)]
        for number, found in enumerate(one.costs, start=1)
    ]
    if one.cost_several_readers is not None:
        rows.append(["1, by whoever is there", *_cost(one.cost_several_readers)])
    return rows


def _cost(found: GaugeCost) -> list[str]:
    more = f"+{100 * (found.coupons - 1):.2g} %"
    if found.coupons >= 2:
        more = f"{found.coupons:.2g} times as many"
    return [sd_text(found.sd_reading), sd_text(found.sd_value), more]


def typical_line(one: GaugeFindings) -> str:
    """Return the line for the trial's response; empty where no coupon scatter is known."""
    if one.coupon_sd is None:
        return ""
    typical = one.response.typical
    mean = typical.mean if typical is not None else one.mean
    parts = [
        f"mean = {_toml(mean, 4)}",
        f"sd_coupon = {_toml(one.coupon_sd, 2)}",
        f"sd_reading = {_toml(one.sd_reading, 2)}",
        'from = "gauge study"',
    ]
    return f"typical = {{ {', '.join(parts)} }}"


def _toml(value: float, figures: int) -> str:
    text = plain(float(f"{value:.{figures}g}"))
    return text.replace("\N{MINUS SIGN}", "-")
