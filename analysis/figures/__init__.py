"""Figures as matplotlib objects, each with its words and numbers.

Every module offers ``draw(...) -> Figure`` and ``describe(...) -> FigureText``; some say with
``drawable(...)`` whether there is anything to draw.
"""

from weldtrial.analysis.figures import (
    answer_strip,
    budget_frontier,
    certainty_price,
    counted_by_round,
    coupons_by_round,
    effects,
    interaction,
    pass_map,
    residual_checks,
    response_map,
    round_gaps,
    setting_curve,
    trade_off,
    weld_order,
)
from weldtrial.analysis.figures.style import FigureText, Look, house_style, looks_for

__all__ = [
    "FigureText",
    "Look",
    "answer_strip",
    "budget_frontier",
    "certainty_price",
    "counted_by_round",
    "coupons_by_round",
    "effects",
    "house_style",
    "interaction",
    "looks_for",
    "pass_map",
    "residual_checks",
    "response_map",
    "round_gaps",
    "setting_curve",
    "trade_off",
    "weld_order",
]
