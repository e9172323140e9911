"""Analysis from a notebook: a plain data frame in, findings out, findings as frames."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import ResponseFindings
from weldtrial.shared.columns import (
    constant_within,
    factor_of,
    level_name,
    number_blocks,
    number_setups,
)
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Ask, Better, Margin, Response
from weldtrial.shared.trial import Design, Model, Trial


def analyse_frame(
    frame: pd.DataFrame,
    response: str,
    factors: Sequence[str],
    *,
    categories: Sequence[str] = (),
    setup: str | None = None,
    block: str | None = None,
    coupon: str | None = None,
    reference: Mapping[str, str] | None = None,
    unit: str = "1",
    margin: float | str | None = None,
    ask: Ask = "difference",
    better: Better = "higher",
    model: Model = "two-factor",
    terms: Sequence[str] = (),
    coded: bool = False,
) -> ResponseFindings:
    """Analyse one response of a data frame at the right level of error.

    Parameters
    ----------
    frame
        One row a reading, in the order welded if that is known.
    response
        Column of readings, in `unit`; a missing one is set aside.
    factors
        Columns that were set on purpose.
    categories
        Those of them whose numbers are labels; text columns are categories anyway.
    setup, block
        Columns that name the set-up (bottle fitted, furnace run) and the round or block.  A
        set-up label that recurs in several blocks means a set-up in each.
    coupon
        Column that names the coupon, where several rows are readings of one; rows are coupons
        without it.
    reference
        For a category, the level that the others are compared with; all pairs without.
    margin
        The smallest change that matters, in `unit` or as ``"5 %"``.
    ask, better, model, terms
        As in a trial file.
    coded
        True when numeric factors are coded already and are used unchanged.

    Returns
    -------
    ResponseFindings
        Verdicts never stronger than "Suggests", since nobody knows how the order came about.

    Raises
    ------
    ValueError
        When a column is missing, or a reference or a term names something that is not there.
    NotEnough
        When the rows cannot support any estimate.

    Examples
    --------
    See ``weldtrial help notebook``.
    """
    groups = list(categories)
    extra = [name for name in (setup, block, coupon) if name is not None]
    _all_there(frame, [response, *factors, *groups, *extra])
    stamps = [str(v) for v in frame[coupon]] if coupon else [f"R{k + 1}" for k in range(len(frame))]
    first = frame[~pd.Series(stamps, index=frame.index).duplicated()]
    columns = {name: [_plain(value) for value in first[name]] for name in factors}
    levels = {name: [level_name(value) for value in values] for name, values in columns.items()}
    blocks = list(first[block]) if block else None
    setups = number_setups(list(first[setup]) if setup else None, blocks, len(first))
    hard = constant_within(levels, setups)
    made = tuple(
        factor_of(
            name,
            columns[name],
            category=name in groups,
            as_is=coded,
            hard=name in hard,
            control=(reference or {}).get(name),
        )
        for name in factors
    )
    readings = _readings(stamps, frame[response])
    coupons = tuple(
        Coupon(
            stamp,
            "count",
            run,
            round_number,
            setup_number,
            {name: levels[name][run - 1] for name in factors},
            {},
            welded=True,
            readings={response: tuple(found)},
        )
        for run, ((stamp, found), round_number, setup_number) in enumerate(
            zip(readings.items(), number_blocks(blocks, len(first)), setups, strict=True), 1
        )
    )
    asked = Response(response, unit, margin=_margin(margin), ask=ask, better=better)
    trial = _trial(made, asked, model, terms)
    record = Record(coupons, len(coupons), adopted=True)
    return analyse(trial, record).responses[0]


def _all_there(frame: pd.DataFrame, names: Sequence[str]) -> None:
    missing = [name for name in dict.fromkeys(names) if name not in frame.columns]
    if missing:
        raise ValueError(f"no column {', '.join(map(repr, missing))} in the frame")


def _readings(stamps: Sequence[str], values: pd.Series) -> dict[str, list[Reading]]:
    readings: dict[str, list[Reading]] = {}
    for stamp, value in zip(stamps, values, strict=True):
        one = (
            Reading("lost", note="no reading in the frame")
            if pd.isna(value)
            else Reading("number", value=float(value))
        )
        readings.setdefault(stamp, []).append(one)
    return readings


def _trial(
    factors: tuple[Factor, ...], response: Response, model: Model, terms: Sequence[str]
) -> Trial:
    return Trial(
        title="a data frame",
        factors=factors,
        responses=(response,),
        design=Design(model=model, terms=tuple(terms)),
    )


def _plain(value: object) -> str | float:
    if isinstance(value, str):
        return value
    return float(value)  # type: ignore[arg-type]


def _margin(margin: float | str | None) -> Margin | None:
    if margin is None:
        return None
    if isinstance(margin, str):
        return Margin(float(margin.replace("%", "").strip()) / 100, percent=True)
    return Margin(float(margin))


def effects_frame(found: ResponseFindings) -> pd.DataFrame:
    """Return the effects as a frame: term, estimate, se, df, ci_low, ci_high, p."""
    return pd.DataFrame(
        [(r.term, r.estimate, r.se, r.df, r.ci_low, r.ci_high, r.p) for r in found.effects],
        columns=["term", "estimate", "se", "df", "ci_low", "ci_high", "p"],
    )


def comparisons_frame(found: ResponseFindings) -> pd.DataFrame:
    """Return the comparisons as a frame, one row a pair of levels, verdict code included."""
    columns = ["factor", "level", "reference", "difference", "ci_low", "ci_high", "p", "p_adjusted"]
    rows = [
        (*(getattr(one, name) for name in columns), one.verdict.code, one.verdict.words)
        for one in found.comparisons
    ]
    return pd.DataFrame(rows, columns=[*columns, "verdict", "words"])


def coupons_frame(found: ResponseFindings) -> pd.DataFrame:
    """Return the coupons as the analysis saw them: stamp, round, setup, levels, value, residual."""
    rows = [
        {
            "stamp": one.stamp,
            "run": one.run,
            "round": one.round,
            "setup": one.setup,
            **one.levels,
            "value": one.value,
            "fitted": one.fitted,
            "residual": one.residual,
        }
        for one in found.coupons
    ]
    return pd.DataFrame(rows)
