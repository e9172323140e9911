"""Section 6 of a report: the trade-offs and the settings, for a trial that looks for settings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from weldtrial.cli import optimise_confirmed as confirmed
from weldtrial.cli import optimise_words as words
from weldtrial.cli.optimise_pictures import (
    Drawn,
    curve_pictures,
    map_pictures,
    pair_pictures,
    trade_off_pictures,
)
from weldtrial.cli.report_blocks import Beside, Block, Box, FigureBlock, Section, Text, table
from weldtrial.cli.svg import to_svg
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.optimum_asked import Confirming, Optimum, Shown

NUMBER, TITLE = 6, "Trade-offs and settings"


@dataclass(frozen=True, slots=True)
class SettingsSaid:
    """What is known of the settings: the optimum, or why there is none."""

    optimum: Optimum | None
    why: str = ""


def settings_said(trial: Trial, record: Record) -> SettingsSaid | None:
    """Work out the settings of a trial that looks for them; None of any other.

    Parameters
    ----------
    record
        What was welded and read, with the codes open.
    """
    if trial.purpose != "settings" or not record.codes_open:
        return None
    from weldtrial.analysis.optimum import optimum

    try:
        return SettingsSaid(optimum(trial, record))
    except NotEstimable as error:
        return SettingsSaid(None, error.words)


def trade_offs(trial: Trial, said: SettingsSaid | None, seal: str = "") -> Section:
    """Return section 6, which only a settings trial fills."""
    if said is None:
        reason = (
            "Not part of this trial: it compares, it does not look for the best settings."
            if trial.purpose in ("compare", "pilot")
            else "The effects above say what each setting does. No map of settings was worked out."
        )
        return Section(NUMBER, TITLE, (Text(reason),))
    if said.optimum is None:
        return Section(
            NUMBER, TITLE, (Text(f"No settings are chosen here: {said.why}.".replace("..", ".")),)
        )
    return Section(NUMBER, TITLE, tuple(_blocks(trial, said.optimum, seal)))


def _blocks(trial: Trial, found: Optimum, seal: str) -> Iterator[Block]:
    if found.confirming is not None and not found.confirming.is_best:
        yield _welded_again(trial, found.confirming, seal)
    yield _head(trial, found, seal)
    if found.confirming is not None:
        many = len({one.stamp for seen in found.fitted.measured for one in seen})
        line = confirmed.fitted_line(trial, found.confirming, many)
        yield Text(f"{line[0].upper()}{line[1:]}.")
    by_setups = any(one.df_setup is not None for one in found.fitted.surfaces)
    means = words.CHANCE_MEANS if by_setups else words.NO_SETUPS
    yield Text(f"{means[0].upper()}{means[1:]}. Limits: {words.limits_line(trial, found)}.")
    decides = found.fitted.surfaces[0].response
    maps = [_figure(one, wide=True) for one in map_pictures(trial, found, responses=(decides,))]
    yield from maps[:1]
    yield _best(trial, found)
    yield _counts(found)
    yield from _two_by_two([_figure(one) for one in trade_off_pictures(trial, found)])
    yield from maps[1:]
    curves = [*curve_pictures(trial, found), *pair_pictures(trial, found)]
    yield from _two_by_two([_figure(one) for one in curves])
    for duel in found.duels:
        first, *rest = words.duel_words(trial, duel)
        yield Text(" ".join((first, *rest)))
    if found.duels:
        yield Text(
            "Each compared at its own best settings; these intervals pay for having chosen the "
            "settings on the same coupons."
        )
    costs = [one.best for one in found.picks if one.best is not None and one.best.cost is not None]
    for one in costs:
        assert one.cost is not None
        name = words.setting_words(trial, one.choice.settings)
        yield Text(" ".join(words.cost_words(one.cost)), strong=f"A metre of weld at {name}:")


def first_page(trial: Trial, said: SettingsSaid | None, seal: str) -> tuple[Box, ...]:
    """Return what page 1 says of the settings: the best, and one that was welded again.

    Parameters
    ----------
    seal
        Code of this folder's seal.
    """
    if said is None or said.optimum is None:
        return ()
    found = said.optimum
    boxes = [_head(trial, found, seal, short=True)]
    one = found.confirming
    if one is not None and not one.is_best:
        boxes.insert(0, _welded_again(trial, one, seal, short=True))
    return tuple(boxes)


def _welded_again(trial: Trial, one: Confirming, seal: str, *, short: bool = False) -> Box:
    """Return the setting that was welded again, where it is not the best of the map."""
    lines = confirmed.said_of(trial, one, seal)
    if short:
        # Page 1 begins with whether the prediction was met.
        lines = lines[1:]
    head = words.setting_words(trial, one.found.at)
    if one.shown is not None:
        head += (
            f": {words.reached(one.shown.choice.chance)} of coupons expected to meet every limit"
        )
    return Box(head, tuple(lines), confirmed.other_tag(one))


def _head(trial: Trial, found: Optimum, seal: str, *, short: bool = False) -> Box:
    shown, one = found.recommended, found.confirming
    asked = words.share_words(found.window.keep)
    if shown is None:
        likely = max(found.picks, key=lambda one: one.likeliest.choice.chance).likeliest
        return Box(
            f"No setting reaches {asked}.",
            (
                words.likeliest_words(
                    trial, likely.choice, several=len(found.window.chances.limits) > 1
                ),
            ),
            "Settings",
        )
    lines = confirmed.said_of(trial, one, seal) if one is not None and one.is_best else []
    if short:
        # Page 1 begins with whether the prediction was met, and what that does not qualify.
        lines = lines[1:]
    lines += _short(trial, found, shown) if short else _long(trial, found, shown)
    if not (short and found.confirmed):
        # There the box above names the setting that the coupons of this folder are for.
        named = short and one is not None and not one.is_best and one.found.state != "missed"
        lines.append(confirmed.NOTHING_WELDED if named else confirmed.close_line(trial, one))
    head = words.setting_words(trial, shown.choice.settings)
    return Box(head, tuple(lines), confirmed.best_tag(one))


def _short(trial: Trial, found: Optimum, shown: Shown) -> Iterator[str]:
    choice = shown.choice
    weak = words.weak_link(choice)
    own = ", ".join(
        f"{words.title_of(trial, name)} {words.percent(chance)}"
        + (" ← the weak link" if name == weak else "")
        for name, chance in choice.own.items()
    )
    yield (
        f"{words.reached(choice.chance)} of new coupons are expected to meet every limit"
        + (f": {own}." if len(choice.own) > 1 else ".")
    )
    yield from _held(trial, found, shown)
    yield " ".join((words.steps_words(trial, found), *_behind(shown)))
    yield from (line.removeprefix("! ") for line in words.edge_lines(trial, shown))


def _long(trial: Trial, found: Optimum, shown: Shown) -> Iterator[str]:
    choice, asked = shown.choice, words.share_words(found.window.keep)
    yield (
        f"{words.reached(choice.chance)} of new coupons are expected to meet every limit; asked "
        f"for: {asked}."
    )
    yield from (words.expected_words(trial, one, words.weak_link(choice)) for one in shown.expected)
    yield from words.passing_words(trial, shown)
    yield from _held(trial, found, shown)
    yield from (line.removeprefix("! ") for line in words.edge_lines(trial, shown))
    yield from _behind(shown)
    if found.tolerances:
        moves = "; ".join(words.tolerance_words(trial, one) for one in found.tolerances)
        yield f"Still {asked} with one setting moved and the others held: {moves}."


def _held(trial: Trial, found: Optimum, shown: Shown) -> Iterator[str]:
    lines = words.held_lines(trial, found.asked, found.window.held)
    if lines:
        costs = "" if found.held_chance is None else words.held_words(shown, found.held_chance)
        yield f"Welded: {'; '.join(lines)}. {costs}".strip()


def _behind(shown: Shown) -> Iterator[str]:
    if shown.set_ups is not None:
        yield f"Behind it: {shown.coupons} coupons in {shown.set_ups} set-ups."


def _best(trial: Trial, found: Optimum) -> Block:
    numeric = words.numeric_of(trial)
    several = len(found.window.chances.limits) > 1
    rows = []
    for label, pairs in (
        ("averages only", [(one, one.on_average) for one in found.picks]),
        (words.share_words(found.window.keep), [(one, one.best) for one in found.picks]),
    ):
        for pick, shown in pairs:
            if shown is None:
                rows.append(
                    (label, words.levels_words(pick.levels), *["none"] * len(numeric), "", "")
                )
                continue
            rows.append(
                (
                    label,
                    words.levels_words(pick.levels),
                    *words.setting_cells(trial, shown.choice),
                    words.reached(shown.choice.chance),
                    words.title_of(trial, shown.choice.weakest) if several else "",
                )
            )
    groups = [one.title for one in trial.varied if one.kind == "category"]
    heads = (
        "asked for",
        " and ".join(groups) or "settings",
        *(words.factor_head(one) for one in numeric),
        "chance",
        "weak link",
    )
    title = words.title_of(trial, found.window.aim.best).lower()
    return table(heads, rows, f"Best {title} by what is asked of the coupons.", wide=True)


def _counts(found: Optimum) -> Block:
    lost = {tuple(one.levels.items()): one for one in found.region.lost}
    rows = [
        (
            words.levels_words(one.levels),
            str(lost[tuple(one.levels.items())].laid),
            str(lost[tuple(one.levels.items())].ruled_out),
            str(lost[tuple(one.levels.items())].unseen),
            str(one.on_average),
            str(one.enough),
        )
        for one in found.counts
    ]
    asked = words.share_words(found.window.keep)
    heads = ("gas", "on the grid", "ruled out", "not welded around", "good on average", asked)
    return table(heads, rows, "Settings that meet every limit.", wide=True)


def _two_by_two(figures: list[FigureBlock]) -> Iterator[Block]:
    for place in range(0, len(figures), 2):
        yield Beside((figures[place],), tuple(figures[place + 1 : place + 2]))


def _figure(drawn: Drawn, *, wide: bool = False) -> FigureBlock:
    key, figure, text = drawn
    numbers = table(text.table_headers, text.table_rows)
    svg = to_svg(figure, f"fig-{key.replace('_', '-')}", text.alt)
    return FigureBlock(svg, text.caption, numbers, wide=wide)
