"""``weldtrial plan --json``: every figure that the screen shows, and a few that it rounds away."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from weldtrial.cli.confirm_plan import predicted_json
from weldtrial.cli.fair_screen import fair_json
from weldtrial.cli.left_open import as_plain
from weldtrial.cli.look_tables import looks_json
from weldtrial.cli.plan_figures import PlanFigures


def as_json(figures: PlanFigures, *, sealed: bool) -> dict[str, Any]:
    """Return a plan as plain values; the keys are documented in ``weldtrial help json``."""
    from weldtrial.analysis.working import SOURCES

    assessment = figures.assessment
    return {
        "trial": figures.trial.title,
        "sealed": sealed,
        "purpose": figures.trial.purpose,
        "changes": [asdict(change) for change in figures.changes],
        **_question(figures),
        "rows": [asdict(row) for row in figures.rows],
        "if_setups_scatter_more": None if figures.doubt is None else asdict(figures.doubt),
        "working": None
        if figures.working is None
        else {**asdict(figures.working), "sources": SOURCES},
        "averaged": as_plain(figures.averaged),
        "others": {name: asdict(one) for name, one in figures.others.items()},
        **_design(figures),
        "looks": looks_json(figures),
        "prediction": predicted_json(figures.trial),
        "told": [{**asdict(one), "gap": figures.gaps.get(one.term)} for one in assessment.told],
        "not_told": assessment.not_told,
        "aliases": assessment.aliases,
        "confounded": assessment.confounded,
        "left_out": assessment.left_out,
        "never_welded": assessment.never_welded or None,
        "blocks": assessment.blocks,
        "windows": assessment.windows,
        "fair": fair_json(assessment),
        "bench": asdict(assessment.bench),
        "gauge": [asdict(note) for note in figures.gauge],
        "nuisances": [asdict(one) for one in assessment.nuisances],
        "flagged": [one.name for one in assessment.flagged],
    }


def _question(figures: PlanFigures) -> dict[str, Any]:
    from weldtrial.cli.plan_tables import asks, unit_asked

    layout, budget = figures.assessment.layout, figures.trial.budget
    deciding, known, aim = figures.trial.deciding, figures.assumed, figures.aim
    total = layout.total if budget.coupons is None else budget.coupons
    return {
        "compares": {
            "factor": figures.compared.name,
            "levels": figures.compared.levels,
            "reference": figures.compared.reference,
        },
        "decides": {
            "response": deciding.name,
            "unit": unit_asked(deciding),
            "ask": deciding.ask,
            "margin": aim.margin if known or aim.fraction is None else None,
            "margin_percent": None if aim.fraction is None else 100 * aim.fraction,
            "words": asks(figures),
        },
        "budget": {
            "coupons": total,
            "spare": budget.spare,
            "warm_up": budget.warm_up,
            "counting": layout.coupons,
            "left_over": total - layout.total,
        },
        "assumed": _counted(figures)
        if known is None
        else {
            "mean": known.mean,
            "sd_coupon": known.spread.coupon,
            "sd_setup": known.spread.setup,
            "sd_reading": known.spread.reading,
            "readings": known.spread.readings,
            "unit": known.unit,
            "source": known.source,
            "prior": known.prior,
        },
        "missing": figures.missing or None,
    }


def _counted(figures: PlanFigures) -> dict[str, Any] | None:
    counted = figures.counted
    if counted is None:
        return None
    from weldtrial.analysis.counted_power import how_worked_out
    from weldtrial.cli.counted_plan import foreseen_json

    return {
        **foreseen_json(counted.response, counted.foreseen),
        "loss": counted.loss,
        "worked_out_by": how_worked_out(counted, figures.shape),
    }


def _design(figures: PlanFigures) -> dict[str, Any]:
    layout = figures.assessment.layout
    return {
        "design": {
            "kind": figures.trial.design.kind,
            "name": layout.name or None,
            "notes": layout.notes,
            "holdings": [
                {
                    "round": one.round + 1,
                    "set_up_of": one.kind or None,
                    "coupons": [dict(cell.settings) for cell in one.cells],
                }
                for one in layout.listed
            ],
            "hard_to_change": layout.hard,
            "rounds": layout.rounds,
            "set_ups": layout.set_ups,
            "coupons_a_set_up": layout.per_setup,
            "combinations": layout.combos,
            "replicates": layout.replicates,
            "centre_points": layout.centre_points,
            "parts": max(1, len(layout.parts)),
            "fraction": None
            if layout.easy.fraction is None
            else {
                "runs": layout.easy.fraction.runs,
                "resolution": layout.easy.fraction.resolution,
                "word_lengths": layout.easy.fraction.word_lengths,
                "generators": [one.text for one in layout.easy.fraction.generators],
            },
            "error_df": layout.error_df,
            "error_df_within": layout.error_df_within,
        },
        "order": {
            "restriction": figures.restriction or None,
            "first_at_most": layout.first_at_most,
            "orders": figures.orders,
            "smallest_p": figures.current.smallest_p,
        },
    }
