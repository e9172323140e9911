"""Findings as the JSON of ``weldtrial analyse --json``: stable keys, full precision."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from weldtrial.cli.look_json import look_json

if TYPE_CHECKING:
    from weldtrial.analysis.findings import (
        Comparison,
        EstimateRow,
        Findings,
        ResponseFindings,
        TermTestRow,
    )


def findings_json(findings: Findings) -> dict[str, Any]:
    """Return the findings as plain values in the documented form."""
    return {
        "trial": findings.trial,
        "sealed": findings.seal_state != "none",
        "seal": findings.seal or None,
        "seal_state": findings.seal_state,
        "adopted": findings.adopted,
        "codes_open": findings.codes_open,
        "grade": findings.grade.code,
        "grading": {
            "start": findings.grade.start,
            "why": findings.grade.why,
            "pluses": list(findings.grade.pluses),
            "steps_down": list(findings.grade.steps_down),
            "unanswered": list(findings.grade.unanswered),
        },
        "coupons": findings.coupons,
        "used": findings.used,
        "set_aside": [
            {"stamp": entry.stamp, "why": entry.why, "response": entry.response or None}
            for entry in findings.set_aside
        ],
        "scope": findings.scope,
        "compared_at": findings.at,
        "spreads": {name: list(words) for name, words in findings.spreads.items()},
        "notes": [{"code": note.code, "words": note.words} for note in findings.notes],
        "look": _look(findings),
        "confirmation": findings.confirmation,
        "responses": {found.name: _response(found) for found in findings.responses},
    }


def _look(findings: Findings) -> dict[str, Any]:
    return {
        **look_json(findings.look),
        "may_stop": findings.may_stop,
        "alpha": findings.levels.two_sided,
        "alpha_one_sided": findings.levels.one_sided,
        "words": list(findings.look_lines),
    }


def _response(found: ResponseFindings) -> dict[str, Any]:
    naive = found.least_squares
    return {
        "unit": found.unit,
        "kind": found.kind,
        "method": found.method,
        "source": found.source,
        "n": found.n,
        "setups_total": found.setups_total,
        "tests": [_test(row) for row in found.tests],
        "effects": [_estimate(row) for row in found.effects],
        "coefficients": [_estimate(row) for row in found.coefficients],
        "means": [
            {
                "factor": row.factor,
                "level": row.level,
                "mean": row.mean,
                "ci_low": row.ci_low,
                "ci_high": row.ci_high,
            }
            for row in found.means
        ],
        "variance": {
            "setup": found.variance.setup,
            "coupon": found.variance.coupon,
            "reading": found.variance.reading,
        },
        "scatter": list(found.scatter),
        "would_buy": found.would_buy,
        "guesses": found.guesses,
        "comparisons": [_comparison(one) for one in found.comparisons],
        "survives_both": found.survives,
        "lack_of_fit": {
            "df_num": found.lack_of_fit.df_num,
            "df_den": found.lack_of_fit.df_den,
            "statistic": found.lack_of_fit.statistic,
            "p": found.lack_of_fit.p,
        },
        "curvature": None if found.curvature is None else _test(found.curvature),
        "r_squared": found.r_squared,
        "least_squares": None
        if naive is None
        else {
            "tests": [_test(row) for row in naive.tests],
            "comparisons": list(naive.comparisons),
        },
        "shuffle_test": None
        if found.shuffle_p is None
        else {"p": found.shuffle_p, "orders": found.shuffle_orders},
        "checks": list(found.checks),
        "alternatives": list(found.alternatives),
        "undo": found.undo,
        "passes": list(found.counts.passes),
        "grades": list(found.counts.grades),
        "scale": list(found.counts.scale),
        "odds": list(found.counts.odds),
        "places": found.places,
        "round_gaps": {str(number): gap for number, gap in found.round_gaps.items()},
        "warnings": [{"code": note.code, "words": note.words} for note in found.warnings],
    }


def _test(row: TermTestRow) -> dict[str, Any]:
    return {
        "term": row.term,
        "df_num": row.df_num,
        "df_den": row.df_den,
        "statistic": row.statistic,
        "p": row.p,
    }


def _estimate(row: EstimateRow) -> dict[str, Any]:
    return {
        "term": row.term,
        "estimate": row.estimate,
        "se": row.se,
        "df": row.df,
        "ci_low": row.ci_low,
        "ci_high": row.ci_high,
        "p": row.p,
    }


def _comparison(one: Comparison) -> dict[str, Any]:
    verdict = one.verdict
    numbers = (
        "factor", "level", "reference", "difference", "percent", "se", "df",
        "ci_low", "ci_high", "ci90_low", "ci90_high", "p", "p_adjusted", "margin",
        "margin_percent", "ratio", "ratio_low", "ratio_high",
    )  # fmt: skip
    return {
        **{name: getattr(one, name) for name in numbers},
        "verdict": None
        if verdict.code is None
        else {
            "code": verdict.code,
            "strength": verdict.strength,
            "words": verdict.words,
            "lines": list(verdict.lines),
        },
        "claims": list(one.claims),
        "counted": one.counted,
        "reading": one.reading or None,
    }
