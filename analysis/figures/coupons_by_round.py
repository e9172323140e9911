"""Every coupon by round: the dots, each set-up's mean, and the pair that each round makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import (
    GREY,
    HALF_IN,
    FigureText,
    Look,
    arrows,
    counted,
    heading,
    house_style,
    is_past,
    level_of,
    levels_of,
    looks_for,
    new_figure,
    past_words,
)
from weldtrial.analysis.findings import CouponValue, ResponseFindings
from weldtrial.shared.rounding import brief, decimals_for, fixed


@dataclass(frozen=True, slots=True)
class Group:
    """Coupons drawn over each other: one set-up, or one level of a round without set-ups."""

    round: int | None
    setup: int | None
    level: str
    coupons: tuple[CouponValue, ...]

    @property
    def mean(self) -> float:
        """Mean of the coupons in the response's unit."""
        return fmean(coupon.value for coupon in self.coupons)


def groups_of(response: ResponseFindings) -> tuple[Group, ...]:
    """Return the groups in welding order (by round, then set-up, then level)."""
    order = {level: place for place, level in enumerate(levels_of(response))}
    found: dict[tuple[int, int, str], list[CouponValue]] = {}
    for coupon in response.coupons:
        key = (coupon.round or 0, coupon.setup or 0, level_of(coupon, response))
        found.setdefault(key, []).append(coupon)
    keys = sorted(found, key=lambda key: (key[0], key[1], order.get(key[2], len(order))))
    return tuple(
        Group(key[0] or None, key[1] or None, key[2], tuple(_in_order(found[key]))) for key in keys
    )


def draw(response: ResponseFindings) -> Figure:
    """Draw every coupon of a response by round."""
    groups = groups_of(response)
    looks = looks_for(levels_of(response))
    places = _places(groups)
    with house_style():
        figure = new_figure(1.5, HALF_IN)
        axes = figure.subplots()
        _pairs(axes, groups, places)
        for group, x in zip(groups, places, strict=True):
            _group(axes, group, x, looks.get(group.level, looks_for([""])[""]))
        _label_levels(axes, groups, places, looks)
        _frame(axes, groups, places)
        heading(figure, f"{response.title}, {response.unit}")
    return figure


def describe(response: ResponseFindings, changed: Sequence[str] = ()) -> FigureText:
    """Return alt text, caption and the group means.

    Parameters
    ----------
    changed
        Names of the factors changed within a set-up, which widen the scatter on purpose.
    """
    groups = groups_of(response)
    seen = {group.level for group in groups}
    values = [coupon.value for coupon in response.coupons]
    rounds = {group.round for group in groups if group.round is not None}
    within = f" in {len(rounds)} rounds" if rounds else ""
    means = "; ".join(
        f"{level or 'all'} averages {brief(_level_mean(response, level))}"
        for level in levels_of(response)
        if level in seen
    )
    on_purpose = (
        f" Part of the scatter within a set-up is {' and '.join(changed)}, changed on purpose."
        if changed
        else ""
    )
    return FigureText(
        alt=(
            f"Dot plot of {len(values)} coupons{within}, {response.title} in {response.unit}, from "
            f"{brief(min(values))} to {brief(max(values))}; {means}.{_past_words(response)}"
        ),
        caption=(
            "One dot a coupon, one bar the mean of its set-up; a grey line joins the set-ups of "
            f"a round. {counted(response)}.{on_purpose}{_past_words(response)}"
        ),
        table_headers=("round", "set-up", "level", "coupons", f"mean, {response.unit}", "values"),
        table_rows=tuple(_row(group, _places_of_means(response)) for group in groups),
    )


def values(response: ResponseFindings) -> dict[str, str]:
    """Return the value of each stamp (the mean of its readings), as written in the table."""
    return {coupon.stamp: _written(coupon) for coupon in response.coupons}


def _past_words(response: ResponseFindings) -> str:
    return past_words(response, "drawn and averaged here at the limit")


def _written(coupon: CouponValue) -> str:
    mark = {"above": ">", "below": "<", "between": "about "}.get(coupon.beyond, "")
    return f"{mark}{_as_read(coupon.value)}"


def _in_order(coupons: list[CouponValue]) -> list[CouponValue]:
    return sorted(coupons, key=lambda coupon: (coupon.run is None, coupon.run or 0, coupon.stamp))


def _level_mean(response: ResponseFindings, level: str) -> float:
    return fmean(one.value for one in response.coupons if level_of(one, response) == level)


def _places(groups: Sequence[Group]) -> list[float]:
    """Return where each group stands: rounds at 1, 2 ..., the groups of one side by side."""
    if all(group.round is None for group in groups):
        return [float(place + 1) for place in range(len(groups))]
    beside: dict[int | None, list[int]] = {}
    for index, group in enumerate(groups):
        beside.setdefault(group.round, []).append(index)
    places = [0.0] * len(groups)
    for number, indices in beside.items():
        step = 0.44 if len(indices) <= 2 else 0.8 / len(indices)
        for place, index in enumerate(indices):
            places[index] = (number or 0) + step * (place - (len(indices) - 1) / 2)
    return places


def _pairs(axes: Axes, groups: Sequence[Group], places: Sequence[float]) -> None:
    rounds = dict.fromkeys(group.round for group in groups if group.round is not None)
    for number in rounds:
        ends = [
            (x, group.mean)
            for group, x in zip(groups, places, strict=True)
            if group.round == number
        ]
        axes.plot(*zip(*ends, strict=True), color=GREY, linewidth=0.9, zorder=1)


def _group(axes: Axes, group: Group, x: float, look: Look) -> None:
    count = len(group.coupons)
    spread = 0.0 if count == 1 else 0.2
    xs = [x + spread * (place / (count - 1) - 0.5) if spread else x for place in range(count)]
    drawn = list(zip(xs, group.coupons, strict=True))
    read = [one for one in drawn if not is_past(one[1])]
    axes.plot(
        [place for place, _ in read],
        [coupon.value for _, coupon in read],
        linestyle="none",
        marker=look.marker,
        markersize=3.8,
        markerfacecolor=look.face,
        markeredgecolor=look.colour,
        markeredgewidth=0.9,
        zorder=3,
    )
    past = [(place, coupon.value, coupon) for place, coupon in drawn if is_past(coupon)]
    arrows(axes, past, look.colour)
    axes.plot(
        [x - 0.15, x + 0.15],
        [group.mean, group.mean],
        color=look.colour,
        linewidth=2.2,
        solid_capstyle="butt",
        zorder=2,
    )


def _label_levels(
    axes: Axes, groups: Sequence[Group], places: Sequence[float], looks: dict[str, Look]
) -> None:
    """Name each level beside its first group, above the dots; two neighbours keep apart."""
    named: dict[str, tuple[Group, float]] = {}
    for group, x in zip(groups, places, strict=True):
        if group.level:
            named.setdefault(group.level, (group, x))
    pair = len(named) == 2 and len({group.round for group, _ in named.values()}) == 1
    for number, (group, x) in enumerate(named.values()):
        top = max(group.coupons, key=lambda one: (one.value, is_past(one)))
        axes.annotate(
            group.level,
            (x, top.value),
            ((6, -6)[number] if pair else 0, 11 if is_past(top) else 7),
            textcoords="offset points",
            ha=("right", "left")[number] if pair else "center",
            weight="bold",
            color=looks[group.level].colour if group.level in looks else GREY,
        )


def _frame(axes: Axes, groups: Sequence[Group], places: Sequence[float]) -> None:
    numbers = [group.round for group in groups if group.round is not None]
    if numbers:
        ticks = sorted(set(numbers))
        axes.set_xticks(ticks, [str(tick) for tick in ticks])
        axes.set_xlabel("round")
    else:
        names = [group.level if group.setup is None else str(group.setup) for group in groups]
        axes.set_xticks(list(places), names)
        axes.set_xlabel("set-up" if groups and groups[0].setup is not None else "level")
    axes.set_xlim(min(places) - 0.5, max(places) + 0.5)
    axes.margins(y=0.12)


def _places_of_means(response: ResponseFindings) -> int:
    """Return the decimals for means: two figures of half the scatter of the coupons."""
    values = [coupon.value for coupon in response.coupons]
    return decimals_for(stdev(values) / 2) if len(values) > 1 else 1


def _as_read(value: float) -> str:
    """Return a reading whole, and a mean of readings with four figures at least."""
    return brief(value, 5 if abs(value) >= 1000 else 4)


def _row(group: Group, places: int) -> tuple[str, ...]:
    return (
        "" if group.round is None else str(group.round),
        "" if group.setup is None else str(group.setup),
        group.level,
        str(len(group.coupons)),
        fixed(group.mean, places),
        ", ".join(_written(coupon) for coupon in group.coupons),
    )
