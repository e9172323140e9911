"""The prediction that coupons which confirm must meet: worked out, written, shown."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from math import isclose
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weldtrial.cli.next_folder import EARLIER, Added
from weldtrial.cli.opening import Opened, open_trial
from weldtrial.cli.options import Common
from weldtrial.shared.folder import TRIAL_FILE
from weldtrial.shared.follows import Follows, Predicted
from weldtrial.shared.problems import NotEnough, NotEstimable, Problem, WrongUsage
from weldtrial.shared.record import without_confirming
from weldtrial.shared.rounding import give_or_take
from weldtrial.shared.sealfile import SealFile
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.predicted import Prediction
    from weldtrial.cli.console import Console


@dataclass(frozen=True, slots=True)
class Foreseen:
    """A prediction with what is needed to say it."""

    trial: Trial
    follows: Follows
    sizes: tuple[int, ...]
    edges: tuple[str, ...] = ()
    enclosed: bool = True
    left_out: tuple[str, ...] = ()
    on_edge: bool = False

    def show(self, console: Console) -> None:
        """Show it."""
        console.line()
        for number, words in enumerate(foreseen_lines(self.trial, self.follows, self.sizes)):
            console.line(f"  {words}" if number else words, hang=4)
        for words in _remarks(self):
            console.line(f"  ! {words}", hang=4)
        console.line()

    @property
    def json(self) -> dict[str, Any]:
        """The same as plain values."""
        return {
            **prediction_json(self.trial, self.follows, self.sizes),
            "edges": self.edges,
            "enclosed": self.enclosed,
            "left_out": self.left_out,
            "on_edge": self.on_edge,
        }


def with_prediction(common: Common, sealed: SealFile, added: Added) -> tuple[Added, Foreseen]:
    """Return what is added with its prediction, worked out from the results there are.

    Raises
    ------
    NotEnough
        While the codes are closed, or when the results do not allow a prediction.
    WrongUsage
        When the setting lies beyond what was welded and that was not asked for.
    """
    from weldtrial.doe.by_adding import sizes_to_confirm

    opened = open_trial(common)
    trial = opened.trial
    if not opened.record.codes_open:
        raise NotEnough(
            "The codes are closed, so what the coupons should read cannot be worked out yet, and "
            "without a prediction nothing is confirmed.",
            hint="weldtrial analyse --open  opens them, once every reading is in.",
        )
    told = tomllib.loads("".join(f"{key} = {value}\n" for key, value in added.follows.items()))
    follows = Follows(EARLIER, sealed.seal, "confirm", at=told["at"], beyond=bool(
        told.get("beyond", False)))  # fmt: skip
    units = added.design.get("set_ups")
    sizes = sizes_to_confirm(trial, added.coupons or 0, None if units is None else int(units))
    found = _foreseen(opened, follows, sizes)
    if found.beyond and not follows.beyond:
        raise WrongUsage(_beyond_words(trial, found, follows))
    follows = _with(replace(follows, beyond=bool(found.beyond)), found)
    said = {key: text for key, text in added.follows.items() if key != "beyond"}
    lines = said | dict(follows_lines(follows))
    return replace(added, follows=lines), Foreseen(
        trial, follows, sizes, found.edges, found.enclosed, found.left_out, found.on_edge
    )


def _foreseen(opened: Opened, follows: Follows, sizes: tuple[int, ...]) -> Prediction:
    from weldtrial.analysis.predicted import predict
    from weldtrial.doe.by_adding import cell_to_confirm
    from weldtrial.shared.coding import coded_point

    trial = opened.trial
    point = coded_point(trial.varied, cell_to_confirm(trial, follows).levels)
    try:
        return predict(trial, without_confirming(opened.record), point, sizes)
    except NotEstimable as error:
        raise NotEnough(
            f"What the coupons should read cannot be predicted: {error.words}.", hint=error.hint
        ) from None


def altered(common: Common, folder: Path, trial: Trial) -> tuple[Problem, ...]:
    """Find a prediction that the earlier results do not give, before it is sealed.

    A prediction that was changed by hand, or made for another setting, number of coupons or limit,
    would be no prediction.
    """
    follows = trial.follows
    if follows is None or follows.adds != "confirm":
        return ()
    again = "Make the folder anew in the earlier trial:  weldtrial next NAME --confirm N --at ..."
    line = trial.lines.get("follows")
    if not follows.predicted:
        words = f"the coupons that confirm have no prediction to meet. {again}"
        return (Problem(words, TRIAL_FILE, line, column="follows"),)
    opened = open_trial(replace(common, folder=folder / follows.folder))
    # Limits and tolerances are those of this file: a prediction made for others would not hold.
    opened = replace(
        opened,
        trial=replace(opened.trial, responses=trial.responses, factors=trial.factors),
    )
    found = _with(follows, _foreseen(opened, follows, sizes_planned(trial)))
    return tuple(
        Problem(
            f"{key} is {here if here is not None else 'missing'}, and the earlier results give "
            f"{given if given is not None else 'none'} for this setting, these coupons, these "
            f"limits and tolerances. {again}",
            TRIAL_FILE,
            trial.lines.get(f"follows.{key}", line),
            column=f"follows.{key}",
        )
        for key, here, given in _pairs(follows, found)
        if not _alike(here, given)
    )


def _pairs(one: Follows, other: Follows) -> Iterator[tuple[str, float | None, float | None]]:
    for key in ("at_least", "of", "share", "together"):
        yield key, getattr(one, key), getattr(other, key)
    for name in dict.fromkeys((*one.predicted, *other.predicted)):
        here = one.predicted.get(name, Predicted())
        given = other.predicted.get(name, Predicted())
        for key in asdict(given):
            yield f"predicted.{name}.{key}", getattr(here, key), getattr(given, key)


def _alike(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return isclose(one, other, rel_tol=1e-3, abs_tol=1e-9)


def _beyond_words(trial: Trial, found: Prediction, follows: Follows) -> str:
    parts = []
    for name in found.beyond:
        factor, value = trial.factor(name), follows.at[name]
        said = value if isinstance(value, str) else f"{name} {value:g} {factor.unit}"
        parts.append(str(said))
    lies = "lies" if len(parts) == 1 else "lie"
    return (
        f"weldtrial next: {', '.join(parts)} {lies} beyond what was welded, and the results say "
        "nothing there. Choose a setting inside, or add  --beyond  to weld it all the same: it is "
        "then marked so everywhere."
    )


def _with(follows: Follows, found: Prediction) -> Follows:
    rule = found.rule
    return replace(
        follows,
        predicted={name: _shortened(one) for name, one in found.responses.items()},
        at_least=None if rule is None else rule.at_least,
        of=None if rule is None else rule.of,
        share=None if rule is None else rule.share,
        together=None if found.together is None else _short(found.together),
        alike=_short(found.alike),
    )


def _shortened(one: Predicted) -> Predicted:
    return Predicted(**{
        name: None if value is None else _short(value) for name, value in asdict(one).items()
    })  # fmt: skip


def _short(value: float) -> float:
    """Return what a file can hold and a person read: five significant figures."""
    return float(f"{value:.5g}")


def follows_lines(follows: Follows) -> Iterator[tuple[str, str]]:
    """Give the lines of ``[follows]`` that hold the prediction, key and value as written."""
    if follows.beyond:
        yield "beyond", "true"
    if follows.at_least is not None:
        yield "at_least", str(follows.at_least)
        yield "of", str(follows.of)
        yield "share", _number(follows.share or 0.0)
    if follows.together is not None:
        yield "together", _number(follows.together)
        yield "alike", _number(follows.alike)
    for name, one in follows.predicted.items():
        parts = [f"{key} = {_number(value)}" for key, value in asdict(one).items()
                 if value is not None]  # fmt: skip
        key = name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name)
        yield f"predicted.{key}", f"{{ {', '.join(parts)} }}"


def _number(value: float) -> str:
    return repr(float(value))


def foreseen_lines(trial: Trial, follows: Follows, sizes: tuple[int, ...]) -> Iterator[str]:
    """Give the prediction in words: the setting, what is expected, the rule, what it can show."""
    from weldtrial.analysis.confirmed import weak_link
    from weldtrial.analysis.confirmed_words import (
        in_ten,
        mean_words,
        predicted_words,
        rule_lines,
        rule_words,
        setting_words,
    )
    from weldtrial.analysis.pass_rule import pass_rule

    of = sum(sizes)
    over = f" over {len(sizes)} fresh set-ups" if len(sizes) > 1 else ""
    over = " in one fresh set-up" if len(sizes) == 1 and trial.hard else over
    beyond = ", beyond what was welded" if follows.beyond else ""
    yield f"{of} coupons at {setting_words(trial, follows)}{over}{beyond}. Predicted, one coupon:"
    weakest = weak_link(follows)
    several = sum(one.chance is not None for one in follows.predicted.values()) > 1
    for name, one in follows.predicted.items():
        weak = several and name == weakest
        yield f"  {predicted_words(trial.response(name), one, weakest=weak)}"
    held = [
        f"{one.title.lower()}{give_or_take(one.tolerance, one.unit)}"
        for one in trial.varied
        if one.tolerance is not None
    ]
    if held:
        yield f"  welded within {', '.join(held)} in 95 coupons of 100, as trial.toml states"
    if follows.at_least is None or follows.share is None:
        means = [mean_words(trial.response(name), one) for name, one in follows.predicted.items()]
        yield (
            f"No response has a limit, so the mean of the {of} is what is held against: "
            f"{'; '.join(one for one in means if one)}. If the map is right, "
            f"{'it lies' if len(means) == 1 else 'all lie'} there at least 95 times in 100."
        )
        return
    rule = pass_rule(sizes, follows.share, follows.alike, at_least=follows.at_least)
    if follows.together is not None:
        yield (
            f"Chance that one coupon passes every limit: {100 * follows.together:.0f} in 100; "
            f"claimed is {in_ten(follows.share)}."
        )
    yield f"The rule, sealed before welding: {rule_words(rule)}."
    yield from rule_lines(rule, len(sizes) if trial.hard else 0)
    yield (
        f"If {follows.at_least - 1} or fewer pass, the map is wrong somewhere, and the report will "
        "say so on page 1."
    )


def _remarks(found: Foreseen) -> Iterator[str]:
    if found.follows.beyond:
        yield "The setting lies beyond what was welded: the prediction is drawn out, not measured."
    for name in found.edges:
        factor = found.trial.factor(name)
        yield (
            f"{factor.title} is at the end of what was tried. The best may lie beyond; the results "
            "cannot see there."
        )
    if found.on_edge and found.enclosed and not found.edges and not found.follows.beyond:
        yield (
            "These settings together lie on the edge of what was welded. The best may lie beyond; "
            "the results cannot see there."
        )
    if not found.enclosed and not found.follows.beyond:
        yield (
            "Each setting was within what was welded, but not all of them together: no coupons "
            "enclose this corner."
        )
    for words in found.left_out:
        yield f"Not predicted: {words}."
    yield (
        "What has drifted since (another spool, a colder shop) is in no interval. It may miss the "
        "prediction by itself."
    )


def sizes_planned(trial: Trial) -> tuple[int, ...]:
    """Return the coupons of each fresh set-up of a trial that confirms, as planned."""
    from weldtrial.doe.by_adding import sizes_to_confirm
    from weldtrial.doe.by_search import coupons_of

    return sizes_to_confirm(trial, coupons_of(trial), trial.design.set_ups)


def prediction_json(trial: Trial, follows: Follows, sizes: tuple[int, ...]) -> dict[str, Any]:
    """Return a prediction as plain values."""
    from weldtrial.analysis.confirmed import weak_link
    from weldtrial.analysis.pass_rule import LOWER, pass_rule

    rule = None
    if follows.at_least is not None and follows.share is not None:
        found = pass_rule(sizes, follows.share, follows.alike, at_least=follows.at_least)
        rule = {**asdict(found), "noticed": {str(one): found.noticed(one) for one in LOWER}}
    return {
        "at": dict(follows.at),
        "beyond": follows.beyond,
        "set_ups": list(sizes),
        "responses": {name: asdict(one) for name, one in follows.predicted.items()},
        "together": follows.together,
        "alike": follows.alike,
        "weakest": weak_link(follows) or None,
        "rule": rule,
    }
