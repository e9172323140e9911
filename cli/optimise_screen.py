"""The screen of ``weldtrial optimise``: the chance first, then what each further step costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli import optimise_confirmed as confirmed
from weldtrial.cli import optimise_words as words
from weldtrial.shared.goal import is_cost
from weldtrial.shared.rounding import by_uncertainty
from weldtrial.shared.said_settings import said_setting, typed_settings
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.optimum_asked import Confirming, Optimum, Pick, Shown
    from weldtrial.analysis.window import Choice
    from weldtrial.cli.console import Align, Console

AVERAGES = "averages only"
CONFIRM = 8
"""Coupons to confirm with, where the budget does not say."""


def show_optimum(console: Console, trial: Trial, found: Optimum, seal: str = "") -> None:
    """Print everything that is said of the settings; `seal` is the code of this folder's."""
    _head(console, trial, found)
    _counts(console, found)
    _best(console, trial, found)
    _recommended(console, trial, found, seal)
    _steps(console, trial, found)
    _front(console, trial, found)
    _duels(console, trial, found)
    _cost(console, trial, found)
    _left_out(console, trial, found)


def _right(many: int) -> list[Align]:
    return ["right"] * many


def _head(console: Console, trial: Trial, found: Optimum) -> None:
    console.line(trial.title, style="bold")
    by_setups = any(one.df_setup is not None for one in found.fitted.surfaces)
    console.line(f"  {words.CHANCE_MEANS if by_setups else words.NO_SETUPS}", hang=2)
    console.line(f"  limits  {words.limits_line(trial, found)}", hang=8)
    console.line(f"  goal    {words.goal_words(trial, found)}", hang=8)
    if found.aimless:
        console.line(
            "          (the file has no [goal], so the response that decides is pushed)", hang=10
        )
    for name, value in found.asked.fixed.items():
        console.line(f"  held    {said_setting(trial.factor(name), value)}", hang=8)
    for line in words.held_lines(trial, found.asked, found.window.held):
        console.line(f"  welded  {line}", hang=8)
    if found.confirming is not None:
        many = len({one.stamp for seen in found.fitted.measured for one in seen})
        line = confirmed.fitted_line(trial, found.confirming, many)
        console.line(f"  fitted  {line}", hang=8)
    if found.asked.beyond:
        console.line(
            f"  ! --beyond: settings {words.BEYOND} are spoken of too. Nothing there was seen; the "
            "map is only carried on, and it may be wrong there by any amount.",
            hang=4,
        )


def _counts(console: Console, found: Optimum) -> None:
    console.heading("Settings on a grid of what the machine can be set to")
    laid = {words.levels_words(one.levels): one for one in found.region.lost}
    kept = {words.levels_words(one.levels): one for one in found.counts}
    rows: list[tuple[str, ...]] = [("laid out", *(str(one.laid) for one in laid.values()))]
    if any(one.ruled_out for one in laid.values()):
        rows.append(("ruled out by the trial", *(str(one.ruled_out) for one in laid.values())))
    if any(one.unseen for one in laid.values()):
        rows.append(
            ("outside what was welded: not spoken of", *(str(one.unseen) for one in laid.values()))
        )
    average = [str(kept[name].on_average) if name in kept else "0" for name in laid]
    enough = [str(kept[name].enough) if name in kept else "0" for name in laid]
    rows.append(("meet all limits on average", *average))
    asked = words.share_words(found.window.keep)
    rows.append((f"meet all limits for at least {asked}", *enough))
    console.table(("settings", *laid), rows, ["left", *_right(len(laid))])


def _best(console: Console, trial: Trial, found: Optimum) -> None:
    aim = found.window.aim
    top = "Highest" if aim.toward == "higher" else "Lowest"
    console.heading(f"{top} {words.title_of(trial, aim.best).lower()}")
    numeric = words.numeric_of(trial)
    own = not any(one.name == aim.best for one in numeric)
    heads = ["", "", *(words.factor_head(one) for one in numeric)]
    heads += [words.title_of(trial, aim.best)] if own else []
    heads += ["chance", *(["weak link"] if _several(found) else []), ""]
    rows = []
    recommended = None if found.recommended is None else found.recommended.choice.point
    asked = words.share_words(found.window.keep)
    for label, shown in (
        *((AVERAGES, (one, one.on_average)) for one in found.picks),
        *((f"{asked} pass", (one, one.best)) for one in found.picks),
    ):
        pick, place = shown
        rows.append(_best_row(trial, found, label, pick, place, own, recommended))
    last = ""
    for row in rows:
        row[0], last = ("" if row[0] == last else row[0]), row[0]
    ends: list[Align] = ["left", "left"] if _several(found) else ["left"]
    align: list[Align] = ["left", "left", *_right(len(heads) - 2 - len(ends)), *ends]
    console.table(heads, rows, align)
    for pick in found.picks:
        if pick.best is None:
            like = words.likeliest_words(trial, pick.likeliest.choice, several=_several(found))
            name = f"{words.levels_words(pick.levels)}: no" if pick.levels else "No"
            console.line(f"  {name} setting reaches {asked}. {like}", hang=4)


def _several(found: Optimum) -> bool:
    """Tell whether there are limits enough for one of them to be the weak link."""
    return len(found.window.chances.limits) > 1


def _best_row(
    trial: Trial,
    found: Optimum,
    label: str,
    pick: Pick,
    shown: Shown | None,
    own: bool,
    recommended: object,
) -> list[str]:
    name = words.levels_words(pick.levels) if pick.levels else ""
    width = len(words.numeric_of(trial)) + (1 if own else 0)
    if shown is None:
        return [label, name, *["none"] * width, "", *([""] if _several(found) else []), ""]
    choice = shown.choice
    value = [words.goal_value(trial, found, choice)] if own else []
    mark = "✗" if choice.chance < found.window.keep - 1e-12 else ""
    if choice.point == recommended and label != AVERAGES:
        mark = "▶"
    mark += _again(found, choice)
    mark += " BEYOND" if shown.beyond else ""
    return [
        label,
        name,
        *words.setting_cells(trial, choice),
        *value,
        words.reached(choice.chance),
        *([words.title_of(trial, choice.weakest)] if _several(found) else []),
        mark.strip(),
    ]


def _again(found: Optimum, choice: Choice) -> str:
    """Mark the setting that was welded again."""
    one = found.confirming
    if one is None or dict(choice.settings) != dict(one.shown.choice.settings if one.shown else {}):
        return ""
    return " confirmed" if one.confirmed else " missed" if one.found.state == "missed" else ""


def _recommended(console: Console, trial: Trial, found: Optimum, seal: str) -> None:
    one, shown = found.confirming, found.recommended
    asked = words.share_words(found.window.keep)
    if one is not None and not one.is_best:
        _welded_again(console, trial, one, seal)
    if shown is None:
        console.line()
        console.line(f"  No setting reaches {asked}. {words.instead_words(found)}", hang=4)
        return
    console.heading(confirmed.best_tag(one).upper())
    if one is not None and one.is_best:
        for line in confirmed.said_of(trial, one, seal):
            console.line(f"  {line}", hang=2)
    show_place(console, trial, shown, "▶")
    if found.held_chance is not None:
        console.line(f"    {words.held_words(shown, found.held_chance)}", hang=4)
    if found.tolerances:
        console.line(f"    Still {asked} with one setting moved and the others held:", hang=4)
        for move in found.tolerances:
            console.line(f"      {words.tolerance_words(trial, move)}", hang=4)


def _welded_again(console: Console, trial: Trial, one: Confirming, seal: str) -> None:
    """Print the setting that was welded again to confirm it, where it is not the best."""
    console.heading(confirmed.other_tag(one).upper())
    for line in confirmed.said_of(trial, one, seal):
        console.line(f"  {line}", hang=2)
    if one.shown is not None:
        show_place(console, trial, one.shown, "●")
        return
    console.line(
        f"  {words.setting_words(trial, one.found.at)}: the map says nothing there.", hang=4
    )


def show_place(console: Console, trial: Trial, shown: Shown, mark: str) -> None:
    """Print one setting: chance, what the next coupon should read, edges."""
    choice = shown.choice
    beyond = f"  ! {words.BEYOND}" if shown.beyond else ""
    console.line(
        f"  {mark} {words.setting_words(trial, choice.settings)}: "
        f"{words.reached(choice.chance)} of new coupons meet every limit{beyond}",
        hang=4,
    )
    console.line("    Next coupon expected (95 % of such intervals hold it):", hang=4)
    for one in shown.expected:
        console.line(f"      {words.expected_words(trial, one, words.weak_link(choice))}", hang=4)
    for line in words.passing_words(trial, shown):
        console.line(f"      {line}", hang=4)
    for line in words.edge_lines(trial, shown):
        console.line(f"  {line}", hang=4)
    if shown.set_ups is not None:
        console.line(
            f"    Behind it: {shown.coupons} coupons in {shown.set_ups} set-ups"
            + _of(trial, shown)
            + ".",
            hang=4,
        )


def _of(trial: Trial, shown: Shown) -> str:
    groups = [one.name for one in trial.varied if one.kind == "category"]
    levels = [str(shown.choice.settings[name]) for name in groups]
    return f" of {' '.join(levels)}" if levels else ""


def _steps(console: Console, trial: Trial, found: Optimum) -> None:
    shares = [one.chance for one in found.steps]
    if not shares:
        return
    aim = found.window.aim
    top = "highest" if aim.toward == "higher" else "lowest"
    title = words.title_of(trial, aim.best).lower()
    console.heading(f"What each further step costs ({top} {title})")
    heads = ["must pass", *(words.levels_words(one.levels) for one in found.picks)]
    rows = []
    for place, share in enumerate(shares):
        cells = []
        for pick in found.picks:
            choice = pick.steps[place].choice
            cells.append(
                "none"
                if choice is None
                else words.goal_value(trial, found, choice) + _mark(found, choice)
            )
        rows.append([words.share_words(share), *cells])
    console.table(heads, rows, ["left", *_right(len(found.picks))])


def _mark(found: Optimum, choice: Choice) -> str:
    """Mark a setting outside what was welded."""
    return " BEYOND" if found.region.beyond[choice.place] else ""


def _front(console: Console, trial: Trial, found: Optimum) -> None:
    if len(found.front) < 2:
        return
    counted = [words.title_of(trial, found.window.aim.best).lower(), "chance"]
    dear = found.costs is not None and not is_cost(trial, found.window.aim.best)
    counted += ["cost"] if dear else []
    names = f"{', '.join(counted[:-1])} and {counted[-1]}"
    console.heading(f"Settings that no other beats in {names}")
    groups = [one for one in trial.varied if one.kind == "category"]
    surfaces = found.fitted.surfaces
    aim = found.window.aim.best
    own = not any(one.name == aim for one in words.numeric_of(trial))
    shown = [one for one in surfaces if not (own and one.response == aim)]
    heads = [one.title for one in groups]
    heads += [words.factor_head(one) for one in words.numeric_of(trial)]
    heads += [words.title_of(trial, aim)] if own else []
    heads += ["chance", *(f"{one.response.replace('_', ' ')}, {one.unit}" for one in shown)]
    heads += ["cost a metre"] if dear else []
    heads += [""] if found.asked.beyond else []
    rows = []
    for choice in found.front:
        row = [str(choice.settings[one.name]) for one in groups]
        row += words.setting_cells(trial, choice)
        row += [words.goal_value(trial, found, choice)] if own else []
        row.append(words.reached(choice.chance))
        for one in shown:
            mean = float(one.mean([choice.point])[0])
            se = float(one.se_mean([choice.point])[0])
            row.append(by_uncertainty(mean, 2 * se))
        if dear and found.costs is not None:
            row.append(f"{found.costs[choice.place]:.2f}")
        if found.asked.beyond:
            row.append(_mark(found, choice).strip())
        rows.append(row)
    left: list[Align] = ["left"] * len(groups)
    console.table(heads, rows, [*left, *_right(len(heads) - len(groups))])
    console.line("  Averages expected; to go farther in one, something else has to be given up.")


def _duels(console: Console, trial: Trial, found: Optimum) -> None:
    if not found.duels:
        return
    group = next(one for one in trial.varied if one.kind == "category")
    console.heading(f"Each {group.title.lower()} at its own best settings")
    for pick in found.picks:
        shown = pick.best or pick.likeliest
        if shown.choice.chance < words.HARDLY:
            continue
        short = (
            ""
            if pick.best is not None
            else f" – the likeliest, {words.reached(shown.choice.chance)}: none reaches "
            f"{words.share_words(found.window.keep)}"
        )
        console.line(f"  {words.setting_words(trial, shown.choice.settings)}{short}", hang=4)
    for duel in found.duels:
        for place, line in enumerate(words.duel_words(trial, duel)):
            console.line(f"  {'' if place == 0 else '  '}{line}", hang=4)
    console.line(
        "  These intervals pay for having chosen the settings on the same coupons.", hang=4
    )


def _cost(console: Console, trial: Trial, found: Optimum) -> None:
    places = [one.best for one in found.picks if one.best is not None]
    if not places or all(one.cost is None for one in places):
        return
    console.heading("What a metre of weld costs there, by your own prices")
    for one in places:
        if one.cost is None:
            continue
        for place, line in enumerate(words.cost_words(one.cost)):
            name = words.setting_words(trial, one.choice.settings)
            console.line(f"  {name}: {line}" if place == 0 else f"    {line}", hang=4)


def _left_out(console: Console, trial: Trial, found: Optimum) -> None:
    if not found.fitted.skipped:
        return
    console.heading("Takes no part")
    for name, why in found.fitted.skipped:
        console.line(f"  {trial.response(name).title}: {why}.", hang=4)


def close(console: Console, trial: Trial, found: Optimum) -> None:
    """Say whether the best is confirmed, and name the next command."""
    console.line()
    one = found.confirming
    if found.recommended is None:
        console.next("optimise --surface", "for where the surfaces climb")
        return
    if one is not None and one.is_best:
        close_confirmed(console, trial, one)
        return
    console.line(confirmed.close_line(trial, one))
    if one is not None and one.confirmed:
        console.line("The card of the setting that is confirmed:  weldtrial sheets --only card")
    many = trial.budget.confirm or CONFIRM
    at = typed_settings(trial.varied, found.recommended.choice.settings)
    console.next(f"next NAME --confirm {many} --at {at}")


def close_confirmed(console: Console, trial: Trial, one: Confirming) -> None:
    """Say what follows for a setting that was welded again."""
    console.line(confirmed.close_line(trial, one))
    if one.confirmed and not one.as_sealed:
        console.next("optimise", "for what the sealed question asks")
    elif one.confirmed:
        console.next("sheets --only card", "for the card at the machine")
    elif one.found.state == "unfinished":
        console.next("check", "for what to weld or read")
    else:
        console.next("analyse", "for what failed most, and by how much")
