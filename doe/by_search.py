"""Laying out an optimal design: searched for the model, the limits and the set-ups there are.

The search rests on sums of floating-point numbers, which another machine may round otherwise.  So
it is made once: what it finds goes into the seal, and every later command takes it from there
(`weldtrial.doe.listed.as_sealed`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from hashlib import sha256

from weldtrial.doe.cells import centre_cells
from weldtrial.doe.draw import Draw, draw_key
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.listed import cell_maker, list_layout
from weldtrial.doe.optimal import Found, Search, UnitAsked, rank_of, search
from weldtrial.doe.refusals import kinds_word
from weldtrial.doe.region import allowed
from weldtrial.doe.set_up_sizes import Place, places_of
from weldtrial.doe.sharing import extra_coupons
from weldtrial.shared.coding import Point, coded_point, model_matrix
from weldtrial.shared.orders import usual_limit
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import Term, trial_terms
from weldtrial.shared.trial import BestFor, Model, Trial

START = sha256(b"weldtrial: where a search for a design starts").hexdigest()
"""The same for every trial, so that its words do not choose between equally good designs."""
STARTS = 64
FEWEST_STARTS = 12
STARTS_UP_TO = 4000
"""Coupons times unknowns up to which all starts are searched from; beyond it fewer, in proportion.

So large a plan takes many seconds, and its starts end alike: of 200 coupons and 54 unknowns the
best of 16 had 0.9997 of the information of the best of 64.
"""
SPARE_DF = 5
"""Coupons beyond the unknowns that leave something to judge by."""
PICTURES: Mapping[Model, str] = {
    "main": "straight-line",
    "two-factor": "pairs",
    "quadratic": "curves-and-pairs",
}
"""What the picture that a model draws is called."""
LESS: Mapping[Model, tuple[Model, str]] = {
    "quadratic": ("two-factor", "the curves"),
    "two-factor": ("main", "the pairs"),
}
"""The next simpler model, and what it goes without."""

MEASURED: Mapping[BestFor, str] = {
    "effects": "information on all effects together",
    "prediction": "precision of predictions, on average over the settings allowed",
}
"""What a search makes largest."""

_FOUND: dict[str, Found] = {}
"""What was found in this process: a command lays the same trial out more than once."""


def by_search(trial: Trial) -> Layout:
    """Lay out the best design that a search finds for the coupons of the budget.

    Raises
    ------
    PlanRefused
        When the budget does not say how many coupons, or these cannot tell the model apart.
    """
    places = places_of(trial, coupons_of(trial))
    _refuse_a_level_never_set_up(trial, len(places))
    asked = asked_of(trial, places)
    refuse_too_few(trial, asked)
    found, cell = found_for(trial, asked), cell_maker(trial)
    kept = [[point for unit, point in asked.kept if unit == at] for at in range(len(places))]
    return list_layout(
        trial,
        [
            (place.block, [cell(point) for point in (*points, *kept[at])])
            for at, (place, points) in enumerate(zip(places, found.units, strict=True))
        ],
        name=name_of(trial),
        notes=notes_of(trial, found),
        first_at_most=first_at_most(trial, 1 + max(place.block for place in places)),
    )


def _refuse_a_level_never_set_up(trial: Trial, set_ups: int) -> None:
    """Refuse fewer set-ups than a hard factor has levels: no other model could help."""
    for factor in trial.hard:
        if set_ups < len(factor.levels):
            raise PlanRefused(
                f"{set_ups} set-up{'s' * (set_ups > 1)} cannot hold all {len(factor.levels)} "
                f"levels of {factor.title}, one to a set-up, so nothing would compare them. Raise  "
                f"design.set_ups, best to {4 * len(factor.levels)} or more."
            )


def first_at_most(trial: Trial, rounds: int) -> int | None:
    """Return in how many rounds a kind of set-up may come first."""
    return trial.order.first_at_most or usual_limit(rounds)


def asked_of(trial: Trial, places: Sequence[Place]) -> Search:
    """Return the search for a trial's set-ups (blocks)."""
    kept = tuple(
        (at, point) for at, place in enumerate(places) for point in _centre(trial, place.hard)
    )
    many = [sum(unit == at for unit, _ in kept) for at in range(len(places))]
    return Search(
        factors=trial.varied,
        terms=_terms(trial),
        units=tuple(
            UnitAsked(place.coupons - centre, place.block, _hard(trial, place.hard))
            for place, centre in zip(places, many, strict=True)
        ),
        hard=tuple(factor.name for factor in trial.hard),
        kept=kept,
        allowed=allowed(trial) if trial.limits else None,
        criterion="I" if trial.design.best_for == "prediction" else "D",
        ratio=_ratio(trial),
        starts=starts_for(sum(place.coupons for place in places), _unknowns(trial)),
    )


def starts_for(coupons: int, unknowns: int) -> int:
    """Return from how many random starts a plan is searched for."""
    return max(FEWEST_STARTS, min(STARTS, STARTS * STARTS_UP_TO // (coupons * unknowns)))


def _terms(trial: Trial) -> tuple[Term, ...]:
    return trial_terms(trial.factors, trial.design.model, trial.design.terms)


def _hard(trial: Trial, hard: Mapping[str, str] | None) -> Point | None:
    return coded_point(trial.hard, hard) if hard else None


def _centre(trial: Trial, hard: Mapping[str, str] | None) -> tuple[Point, ...]:
    """Return the centre points that a set-up (a block) holds in any case."""
    wanted = trial.design.centre_points
    if not wanted:
        return ()
    if hard is None:
        raise PlanRefused(
            "design.centre_points needs to know which set-up holds what, and the set-ups do not go "
            f"round evenly over the {kinds_word(trial.hard)}. Use a multiple, or leave  "
            "centre_points  out."
        )
    cells = centre_cells(trial, hard, trial.easy)
    if wanted % len(cells):
        raise PlanRefused(
            f"design.centre_points = {wanted} cannot be shared evenly over the {len(cells)} "
            f"combinations of the categories. Use  centre_points = "
            f"{-(-wanted // len(cells)) * len(cells)}."
        )
    points = tuple(coded_point(trial.varied, cell.levels) for cell in cells)
    may = allowed(trial)
    if not all(may(point) for point in points):
        raise PlanRefused(
            "The middle of the settings breaks a [[limit_on_settings]], so no centre point can be "
            "welded. Leave  design.centre_points  out."
        )
    return points * (wanted // len(cells))


def coupons_of(trial: Trial) -> int:
    """Return how many coupons are to be laid out."""
    if trial.budget.coupons is None:
        needed = _unknowns(trial) + SPARE_DF + extra_coupons(trial.budget)
        raise PlanRefused(
            f'design.kind = "{trial.design.kind}" finds the best plan for the coupons there are, '
            "and the file does not say how many. Add  budget.coupons  (this model needs some "
            f"{needed})."
        )
    return trial.budget.coupons - extra_coupons(trial.budget)


def _unknowns(trial: Trial) -> int:
    """Return the unknowns of the model, the average included and blocks not."""
    levels = {factor.name: factor.levels[0] for factor in trial.varied}
    point = coded_point(trial.varied, levels)
    return int(model_matrix(trial.varied, _terms(trial), [point]).matrix.shape[1])


def _ratio(trial: Trial) -> float:
    """Return the variance between set-ups over that between coupons, 1 where nothing is known.

    The design hardly depends on it: found at 1, it loses 1.4 % at most where 10 is true.
    """
    typical = trial.deciding.typical
    if typical is None or not typical.sd_coupon or not typical.sd_setup:
        return 1.0
    return float(typical.sd_setup / typical.sd_coupon) ** 2


def found_for(trial: Trial, asked: Search) -> Found:
    """Return what the search finds, searching only once in a process."""
    key = repr((replace(asked, allowed=None), trial.limits, trial.factors))
    if key not in _FOUND:
        _FOUND[key] = search(asked, Draw(draw_key(START, ())).child("design"))
    return _FOUND[key]


def refuse_too_few(trial: Trial, asked: Search) -> None:
    """Refuse a model with more unknowns than the coupons, kept ones among them, can tell.

    Raises
    ------
    PlanRefused
        Saying how many unknowns there are, how many can be told, and what to do.
    """
    coupons = sum(one.coupons for one in asked.units) + len(asked.kept)
    needed, told = rank_of(asked)
    if told >= needed:
        return
    limits = " after the limits" if trial.limits else ""
    ways = []
    if trial.design.model in LESS:
        less, what = LESS[trial.design.model]
        simpler = replace(trial, design=replace(trial.design, model=less))
        saved = _unknowns(trial) - _unknowns(simpler)
        ways.append(f'drop {what} (saves {saved}):  design.model = "{less}"')
    if coupons <= told:
        more = needed - told
        ways.append(f"add {more} coupon{'s' * (more > 1)} or more")
    advice = ", or ".join(ways) or "widen the limits, or take out  design.terms"
    blocks = len({one.block for one in asked.units}) - 1
    between = f", {blocks} of them differences between rounds or blocks" if blocks else ""
    raise PlanRefused(
        f"The {_picture(trial)} picture has {needed} unknowns{between};{limits} "
        f"{told} coupon{'s differ' if told != 1 else ' differs'} enough to tell. "
        f"{advice[:1].upper()}{advice[1:]}."
    )


def name_of(trial: Trial) -> str:
    """Return what a searched design is called."""
    what = "predicting" if trial.design.best_for == "prediction" else "telling effects"
    return f"chosen coupon by coupon, best for {what} ({_picture(trial)} picture)"


def _picture(trial: Trial) -> str:
    """Return what the picture that the model draws is called; a goal may ask for parts of one."""
    if trial.design.model == "main" and trial.design.terms:
        bends = any("^" in term for term in trial.design.terms)
        pairs = any(":" in term for term in trial.design.terms)
        return {(True, True): "curves-and-chosen-pairs", (True, False): "curves"}.get(
            (bends, pairs), "chosen-pairs"
        )
    return PICTURES[trial.design.model]


def notes_of(trial: Trial, found: Found) -> tuple[str, ...]:
    """Return what a search has to say of the plan it found."""
    as_good = f"{found.same} of them ended as well" if found.same > 1 else "no other ended as well"
    notes = [f"The best of {found.starts} searches; {as_good}."]
    if found.efficiency is not None:
        reached = f"{100 * found.efficiency:.1f} %"
        measured = MEASURED[trial.design.best_for]
        notes.append(
            f"It reaches at least {reached} of the {measured} that any plan of as many "
            "coupons could have (a bound that holds for every plan; none may reach it)."
        )
    return tuple(notes)
