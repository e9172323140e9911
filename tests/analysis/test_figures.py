"""Figures: each says in words and numbers what it draws, and is the same every time."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations
from statistics import NormalDist, fmean
from types import ModuleType

import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from scipy import stats

from weldtrial.analysis import figures
from weldtrial.analysis.figures import FigureText
from weldtrial.analysis.figures.residual_checks import normal_quantiles
from weldtrial.analysis.figures.style import ARROWS
from weldtrial.analysis.findings import Findings, ResponseFindings, Verdict

PER_RESPONSE = ("coupons_by_round", "round_gaps", "weld_order", "effects", "residual_checks")


@pytest.fixture(scope="module")
def findings(invented: ModuleType) -> Findings:
    trial = invented.trial()
    return invented.findings(trial, invented.record(trial, invented.plan(trial)))


def every(findings: Findings) -> Iterator[tuple[str, Figure, FigureText]]:
    pairs = figures.answer_strip.pairs_of(findings.responses)
    yield "strip", figures.answer_strip.draw(pairs), figures.answer_strip.describe(pairs)
    for response in findings.responses:
        for name in PER_RESPONSE:
            module = getattr(figures, name)
            yield f"{name} {response.name}", module.draw(response), module.describe(response)


def words_on(figure: Figure) -> list[str]:
    found = []
    for axes in figure.axes:
        labels = [
            axes.get_title("left"),
            axes.get_title("right"),
            axes.get_xlabel(),
            axes.get_ylabel(),
        ]
        found += [label for label in labels if label]
        found += [text.get_text() for text in axes.texts]
    return found


def lines_at(figure: Figure, place: float, *, vertical: bool) -> int:
    """Count straight lines that stand at `place` over the axes."""
    count = 0
    for axes in figure.axes:
        for line in axes.lines:
            xy = line.get_xdata() if vertical else line.get_ydata()
            count += len(set(xy)) == 1 and xy[0] == pytest.approx(place) and len(xy) == 2
    return count


def test_every_figure_has_words_and_numbers(findings: Findings) -> None:
    for name, _, text in every(findings):
        assert len(text.alt) > 40, name
        assert "coupon" in text.caption, name
        assert text.table_rows, name
        assert {len(row) for row in text.table_rows} == {len(text.table_headers)}, name


def test_captions_count_set_ups_and_coupons(findings: Findings) -> None:
    for name, _, text in every(findings):
        assert re.search(r"12 set-ups, 4[78] coupons", text.caption), name


def test_no_pyplot_is_needed() -> None:
    import subprocess
    import sys

    code = "import sys, weldtrial.analysis.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_levels_differ_by_colour_and_by_shape() -> None:
    looks = list(figures.looks_for([f"gas {n}" for n in range(7)]).values())
    for one, other in combinations(looks, 2):
        assert one.colour != other.colour
        assert one.marker != other.marker


def test_first_two_levels_can_be_told_apart_in_grey() -> None:
    one, other = figures.looks_for(["mix", "co2"]).values()
    grey = [sum(0.333 * part for part in to_rgb(look.face)) for look in (one, other)]
    assert abs(grey[0] - grey[1]) > 0.4


def test_a_level_keeps_its_look_in_every_figure(findings: Findings) -> None:
    response = findings.responses[0]
    look = figures.looks_for(["mix", "co2"])["co2"]
    for name in ("coupons_by_round", "round_gaps", "weld_order"):
        figure = getattr(figures, name).draw(response)
        markers = [line for axes in figure.axes for line in axes.lines]
        found = [one for one in markers if one.get_marker() == look.marker]
        assert found, name
        assert all(one.get_markeredgecolor() == look.colour for one in found), name


def test_levels_are_named_on_the_figure_itself(findings: Findings) -> None:
    for name in ("coupons_by_round", "weld_order"):
        assert {"mix", "co2"} <= set(words_on(getattr(figures, name).draw(findings.responses[0])))


@pytest.mark.parametrize(
    ("name", "vertical"), [("round_gaps", False), ("effects", True), ("strip", True)]
)
def test_zero_and_margin_are_drawn_wherever_a_gap_is(
    findings: Findings, name: str, vertical: bool
) -> None:
    response = findings.responses[0]
    if name == "strip":
        figure = figures.answer_strip.draw([(response, response.comparisons[0])])
    else:
        figure = getattr(figures, name).draw(response)
    for place in (0, -5, 5):
        assert lines_at(figure, place, vertical=vertical) == 1


def test_the_strip_says_estimate_interval_limits_and_margin(findings: Findings) -> None:
    pairs = figures.answer_strip.pairs_of(findings.responses)
    text = figures.answer_strip.describe(pairs)
    assert "−1.2 kN, 95 % interval −4.1 to +1.7, crossing zero" in text.alt
    assert text.table_rows[0][2:] == ("−1.2", "−4.1 to +1.7", "−3.5 to +1.1", "5")
    assert text.table_rows[1][2:4] == ("+0.42", "+0.29 to +0.54")


def test_a_claimed_ratio_becomes_a_gap_at_the_reference_mean(findings: Findings) -> None:
    response = findings.responses[0]
    one = response.comparisons[0]
    mean = next(mean.mean for mean in response.means if mean.level == "mix")
    gap = figures.answer_strip.claimed_gap(response, one, one.claims[0])
    assert gap == pytest.approx((0.97 - 1) * mean)
    assert "claim 0.97" in words_on(figures.answer_strip.draw([(response, one)]))


def test_directions_follow_what_is_better(findings: Findings) -> None:
    pair = [(findings.responses[0], findings.responses[0].comparisons[0])]
    higher = words_on(figures.answer_strip.draw(pair, ["higher"]))
    lower = words_on(figures.answer_strip.draw(pair, ["lower"]))
    assert {"← co2 worse", "co2 better →", "margin ±5 kN"} <= set(higher)
    assert {"← co2 better", "co2 worse →", "margin ±5 kN"} <= set(lower)


def test_a_comparison_without_numbers_is_left_out_of_the_strip(findings: Findings) -> None:
    response = findings.responses[0]
    bare = replace(
        response.comparisons[0],
        difference=None,
        ci_low=None,
        verdict=Verdict("cannot_tell", None, "Cannot tell: gas was never welded apart from day."),
    )
    assert figures.answer_strip.pairs_of([replace(response, comparisons=(bare,))]) == ()


def test_dots_are_the_coupons_and_bars_their_means(findings: Findings) -> None:
    response = findings.responses[0]
    groups = figures.coupons_by_round.groups_of(response)
    assert len(groups) == 12
    assert sorted(c.stamp for g in groups for c in g.coupons) == sorted(
        c.stamp for c in response.coupons
    )
    assert groups[0].mean == pytest.approx(fmean(c.value for c in groups[0].coupons))
    figure = figures.coupons_by_round.draw(response)
    dots = [line for line in figure.axes[0].lines if line.get_linestyle() == "None"]
    drawn = sorted(y for line in dots for y in line.get_ydata())
    assert drawn == pytest.approx(sorted(c.value for c in response.coupons))


def without_setups(response: ResponseFindings) -> ResponseFindings:
    bare = tuple(replace(coupon, round=None, setup=None) for coupon in response.coupons)
    return replace(response, coupons=bare, setups_total=None, round_gaps={})


def test_a_shuffled_trial_is_drawn_by_level(findings: Findings) -> None:
    response = without_setups(findings.responses[0])
    groups = figures.coupons_by_round.groups_of(response)
    assert [group.level for group in groups] == ["mix", "co2"]
    figure = figures.coupons_by_round.draw(response)
    assert [label.get_text() for label in figure.axes[0].get_xticklabels()] == ["mix", "co2"]
    assert "each set up on its own" in figures.coupons_by_round.describe(response).caption
    assert not figures.round_gaps.drawable(response)


def test_nothing_compared_still_draws(findings: Findings) -> None:
    response = replace(findings.responses[0], comparisons=(), means=(), round_gaps={})
    for name in ("coupons_by_round", "weld_order", "effects", "residual_checks"):
        module = getattr(figures, name)
        assert module.draw(response).axes
        assert len(module.describe(response).alt) > 40


def test_coupons_past_the_gauge_are_open_arrows(findings: Findings) -> None:
    """One up and one down in every panel that has a place for them, none as a dot besides."""
    whole = findings.responses[0]
    up, down, *rest = whole.coupons
    coupons = (replace(up, beyond="above"), replace(down, beyond="below"), *rest)
    response = replace(whole, coupons=coupons)
    said = f"2 of {len(coupons)} coupons went past the gauge limit: open arrows"
    for name, panels in (("coupons_by_round", 1), ("weld_order", 1), ("residual_checks", 2)):
        module = getattr(figures, name)
        text = module.describe(response)
        assert said in text.alt
        assert said in text.caption
        assert "past the gauge" not in module.describe(whole).alt
        lines = [line for axes in module.draw(response).axes for line in axes.lines]
        for way in ("above", "below"):
            drawn = [line for line in lines if line.get_marker() is ARROWS[way]]
            assert len(drawn) == panels
            assert all(line.get_markerfacecolor() == "white" for line in drawn)
        dots = sum(len(line.get_xdata()) for line in lines if line.get_marker() in ("o", "s"))
        places = 3 if name == "residual_checks" else 1
        assert dots == places * (len(coupons) - 2)
    order = {row[1]: row[-1] for row in figures.weld_order.describe(response).table_rows}
    assert (order[up.stamp][0], order[down.stamp][0]) == (">", "<")
    assert not any(order[one.stamp].startswith((">", "<")) for one in rest)


def test_a_spare_stands_at_the_right_end(findings: Findings) -> None:
    response = findings.responses[0]
    first = replace(response.coupons[0], run=None)
    text = figures.weld_order.describe(replace(response, coupons=(first, *response.coupons[1:])))
    assert text.table_rows[-1][:2] == ("spare", first.stamp)
    assert "Spares (1)" in text.caption


def test_effects_are_drawn_only_where_the_strip_does_not_say_it_all(findings: Findings) -> None:
    response = findings.responses[0]
    assert figures.effects.drawable(response)
    assert not figures.effects.drawable(replace(response, effects=response.effects[:1]))
    assert figures.effects.drawable(replace(response, effects=response.effects[:1], comparisons=()))


def test_normal_quantiles_are_blom_s() -> None:
    # scipy's `probplot` uses Filliben's positions; the order and the symmetry must agree, and
    # Blom's positions (Blom 1958) are written out here.
    count = 9
    found = normal_quantiles(count)
    written = [NormalDist().inv_cdf((i - 0.375) / (count + 0.25)) for i in range(1, count + 1)]
    assert found == written
    other = stats.probplot(list(range(count)), fit=False)[0]
    assert max(abs(a - b) for a, b in zip(found, other, strict=True)) < 0.12
    assert sum(found) == pytest.approx(0)


def svg_of(draw: Callable[[], Figure], key: str) -> str:
    from weldtrial.cli.svg import to_svg

    return to_svg(draw(), key, 'Dots <of> "coupons" & more')


def test_svg_is_the_same_to_the_byte(findings: Findings) -> None:
    response = findings.responses[0]
    first, second = (
        svg_of(lambda: figures.residual_checks.draw(response), "checks") for _ in range(2)
    )
    assert first == second


def test_svg_needs_nothing_from_outside_and_repeats_no_identifier(findings: Findings) -> None:
    response = findings.responses[0]
    both = svg_of(lambda: figures.weld_order.draw(response), "one") + svg_of(
        lambda: figures.weld_order.draw(response), "two"
    )
    assert "http" not in both
    assert "<script" not in both
    identifiers = re.findall(r'\bid="([^"]+)"', both)
    assert identifiers
    assert len(set(identifiers)) == len(identifiers)
    used = re.findall(r'href="#([^"]+)"', both) + re.findall(r"url\(#([^)]+)\)", both)
    assert used
    assert set(used) <= set(identifiers)
    assert 'aria-label="Dots &lt;of&gt; &quot;coupons&quot; &amp; more"' in both


def test_a_user_s_own_style_does_not_leak_in(findings: Findings) -> None:
    import matplotlib

    response = findings.responses[0]
    usual = svg_of(lambda: figures.round_gaps.draw(response), "gaps")
    with matplotlib.rc_context({"font.size": 22, "lines.linewidth": 9}):
        assert svg_of(lambda: figures.round_gaps.draw(response), "gaps") == usual


def test_a_level_that_nothing_is_left_of_is_not_averaged(findings: Findings) -> None:
    response = findings.responses[0]
    pair = response.comparisons[0]
    kept = tuple(c for c in response.coupons if c.levels[pair.factor] == pair.reference)
    text = figures.coupons_by_round.describe(replace(response, coupons=kept))
    assert f"{pair.reference} averages" in text.alt
    assert f"{pair.level} averages" not in text.alt
