"""What a plan cannot tell, sentence by sentence."""

from __future__ import annotations

from collections.abc import Iterator

from weldtrial.doe.aliases import AliasSet, alias_sets, alias_words
from weldtrial.doe.generators import Generator
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.refusals import levels_word
from weldtrial.doe.strata import LeftOut
from weldtrial.doe.unanswerable import term_words, tied_words, units
from weldtrial.doe.words import Word
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import readings_of, shared_control
from weldtrial.shared.terms import Term
from weldtrial.shared.trial import Trial

FEW_DF = 4
"""Fewer degrees of freedom than this leave little to judge the spread from."""

MANY = 3
"""More terms left out than this are named in one sentence; the aliases say what they run with."""
ROMAN = ("", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI")


def aliases(trial: Trial, layout: Layout) -> tuple[str, ...]:
    """Return a sentence for each set of effects of one or two factors that travel together."""
    fraction = layout.easy.fraction
    if fraction is None:
        return ()
    found = alias_sets(fraction, 2)
    return alias_words(
        AliasSet(tuple(_called(trial, word) for word in one.effects)) for one in found
    )


def _called(trial: Trial, word: Word) -> Word:
    """Return a product with its factors called as the file calls them for eyes."""
    return Word(tuple(_title(trial.factor(name)) for name in word.factors), word.sign)


def confounded(trial: Trial, layout: Layout) -> tuple[str, ...]:
    """Return a sentence for each effect that parts of the combinations hide or move."""
    if layout.cut is None:
        return ()
    between = {term.factors for term in layout.strata.between}
    by_centre = {term.factors for term in layout.strata.within}
    unit = units(trial) if layout.parts_by == "round" else "set-up"
    found = []
    for word in _named(layout):
        factors, title = frozenset(word.factors), _called(trial, word).title
        if factors in by_centre:
            found.append(
                f"{title} is told from the difference between {unit}s by the centre points alone, "
                "and so less well than the others"
            )
        elif layout.parts_by == "round":
            found.append(f"{title} cannot be told from the difference between {unit}s")
        elif factors in between:
            found.append(
                f"{title} changes only from set-up to set-up: it is judged by set-ups, "
                f"{max(0, layout.error_df)} to judge from"
            )
        else:
            found.append(
                f"{title} changes only from set-up to set-up, and is left in the scatter that "
                "set-ups are judged by"
            )
    return tuple(found)


def _named(layout: Layout) -> tuple[Word, ...]:
    """Return the effects that the cut hides: all pairs, and the shortest of each difference."""
    assert layout.cut is not None
    long = [one.effects[0] for one in layout.cut.confounded if len(one.effects[0].factors) > 2]
    return (*layout.cut.up_to(2), *(Word(word.factors) for word in long))


def left_out(trial: Trial, layout: Layout) -> tuple[str, ...]:
    """Return a sentence for each term of the model that cannot be told, and why."""
    several = [one for one in layout.strata.left_out if not _in_both(trial, one)]
    if len(several) > MANY and all(left.runs_with for left in several):
        names = ", ".join(term_words(trial, left.term) for left in several)
        return (f"left out of the model, as each runs with an effect that is in it: {names}",)
    return tuple(
        f"{term_words(trial, left.term)} is left out of the model: it runs with "
        f"{tied_words(trial, layout, left)}"
        for left in several
    )


def slider_words(trial: Trial, term: Term) -> str:
    """Return what the factor of both readings of fair tells, empty of any other term.

    Where the control is welded alike at both roles it is an effect under the other gas alone.
    """
    found = readings_of(trial)
    if not found or term.powers != ((found[0].slider.name, 1),):
        return ""
    slider = found[0].slider
    gas = trial.factor(slider.slides_with or "")
    if not shared_control(slider, gas):
        return ""
    others = " and ".join(level for level in gas.levels if level != gas.reference)
    return f"what the own {_title(slider)} of {others} changes against the same one"


def _in_both(trial: Trial, left: LeftOut) -> bool:
    """Tell whether a term says the same as its factor, the control welded alike at both roles."""
    found = readings_of(trial)
    if not found:
        return False
    slider = found[0].slider
    gas = trial.factor(slider.slides_with or "")
    return shared_control(slider, gas) and left.term.factors == {gas.name, slider.name}


def never_welded(trial: Trial, layout: Layout) -> str:
    """Return how many combinations of a fraction are never welded; empty when all are."""
    fraction = layout.easy.fraction
    if fraction is None:
        return ""
    every = 2 ** len(fraction.factors)
    if fraction.runs >= every:
        return ""
    made = "; ".join(_generator(trial, one) for one in fraction.generators)
    return (
        f"{every - fraction.runs} of the {every} combinations of {_listed(layout)} are never "
        f"welded: a fraction of resolution {ROMAN[fraction.resolution]}, made by {made}"
    )


def _generator(trial: Trial, made: Generator) -> str:
    factor = _title(trial.factor(made.factor))
    return f"{factor} = {'−' if made.sign < 0 else ''}{_called(trial, Word(made.product)).title}"


def _listed(layout: Layout) -> str:
    names = [_title(factor) for factor in layout.easy.factors]
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _title(factor: Factor) -> str:
    return f"{factor.title[:1].lower()}{factor.title[1:]}"


def _sides(factor: Factor) -> str:
    first, *others = factor.levels
    return f"{', '.join([first, *others[:-1]])} and {others[-1]}"


def not_told(trial: Trial, layout: Layout) -> Iterator[str]:
    """Yield what no term of the model speaks of."""
    if layout.hard_factors and 0 < layout.error_df < FEW_DF:
        names = " and ".join(_title(factor) for factor in trial.hard)
        yield (
            f"much about {names} by {'itself' if len(trial.hard) == 1 else 'themselves'}: "
            f"{layout.set_ups} set-ups leave {layout.error_df} to judge the spread from"
        )
    within = layout.error_df_within
    if within is not None and 0 < within < FEW_DF:
        yield (
            f"much about what changes within set-ups: the coupons leave {within} to judge the "
            "spread from, so the figures above are rough, and rather too hopeful: weldtrial plan "
            "--rehearse  plays the trial out"
        )
    yield from _own_settings(trial)
    if layout.hard_factors and layout.rounds > 1 and layout.per_round == 1:
        if len(trial.hard) == 1:
            what = f"the gap between {_sides(trial.hard[0])} changes"
        else:
            what = f"the gaps between {' and '.join(levels_word(one) for one in trial.hard)} change"
        yield f"whether {what} from round to round: that is what chance is judged by"
    yield from _together(trial, layout)
    yield from _bends(trial, layout)
    yield "anything beyond this joint, these settings, this welder and this machine"


def _own_settings(trial: Trial) -> Iterator[str]:
    both = readings_of(trial)
    for factor in trial.factors:
        if not factor.slides_with or any(factor == one.slider for one in both):
            continue
        owner = trial.factor(factor.slides_with)
        if not factor.varied:
            yield (
                f"{_sides(owner)} at one and the same {_title(factor)}: each has its own, so the "
                f"gap is of {_title(owner)} and setting together"
            )
        else:
            yield (
                f"{_title(factor)} in numbers shared by all {levels_word(owner)}: its effect is "
                f"around each {_title(owner)}'s own centre"
            )


def _together(trial: Trial, layout: Layout) -> Iterator[str]:
    varied, told = trial.varied, layout.strata.told
    names = ", ".join(_title(factor) for factor in varied)
    if readings_of(trial) and len(varied) == 2:
        return
    if len(varied) > 1 and not any(len(term.factors) > 1 for term in told):
        yield "whether factors work together: the model holds main effects only"
    elif len(varied) > 2:
        more = [term_words(trial, term) for term in told if len(term.factors) > 2]
        beyond = f", but for {' and '.join(more)}" if more else ""
        yield f"how three or more of {names} work together: left out of the model{beyond}"


def _bends(trial: Trial, layout: Layout) -> Iterator[str]:
    told = {name for term in layout.strata.told for name, power in term.powers if power > 1}
    roles = [one.slider for one in readings_of(trial)]
    numbers = [one for one in trial.varied if one.kind == "numeric" and one not in roles]
    centred = [factor for factor in numbers if layout.centre and not factor.hard_to_change]
    if centred:
        names = [_title(factor) for factor in centred]
        which = f", and not in which of {', '.join(names)}" if len(names) > 1 else ""
        yield (
            f"where a bend comes from: the centre points show whether there is one{which}"
            if which
            else f"how {names[0]} bends: the centre points show only whether it does"
        )
    for factor in numbers:
        if factor.name in told or factor in centred:
            continue
        settings = _settings(layout, factor) if layout.listed else len(factor.levels)
        if settings > 2:
            yield (
                f"a bend in {_title(factor)}: its {settings} levels could show it, but "
                f"the model holds no square of it"
            )
        else:
            yield f"a bend in {_title(factor)}: two levels draw a straight line"


def _settings(layout: Layout, factor: Factor) -> int:
    """Return at how many settings a number is welded, under the level that has most."""
    owner = factor.slides_with or ""
    found: dict[str, set[float | str]] = {}
    for cells in layout.cells.values():
        for cell in cells:
            found.setdefault(cell.levels.get(owner, ""), set()).add(cell.settings[factor.name])
    return max(len(one) for one in found.values())
