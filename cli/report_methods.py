"""Sections 11 to 14: all readings, methods for a statistician, corrections, how to re-run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version

from weldtrial.analysis.findings import EstimateRow, Findings, ResponseFindings, TermTestRow
from weldtrial.cli.found_scatter import buy_words, scatter_words
from weldtrial.cli.report_blocks import Block, Heading, Section, Table, Terms, Text, table
from weldtrial.cli.report_counted import counted_methods, places_method
from weldtrial.cli.report_figures import column_words, with_left_over
from weldtrial.cli.report_found import estimate_words
from weldtrial.shared.orders import FEW_ENOUGH_TO_LIST
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import MINUS, brief, by_uncertainty, interval, p_value, plain
from weldtrial.shared.trial import Trial

SOFTWARE = ("weldtrial", "numpy", "scipy", "statsmodels", "pandas", "pyDOE3", "matplotlib")
WITH_SETUPS = (
    "Readings are averaged into coupons. Linear mixed model, one coupon a row: rounds and other "
    "blocks fixed, set-ups (whole plots, the experimental units of what is hard to change) "
    "random, fitted by REML. Tests and intervals after Kenward and Roger; in the test the set-up "
    "variance is free to go negative. Coding: numeric factors −1 to +1 over their planned range "
    "(around each gas's own centre where they shift), categories sum to zero; each term given all "
    "the others. Intervals are 95 %; the one-sided 95 % limits are the ends of the 90 % interval."
)
WITHOUT_SETUPS = (
    "Readings are averaged into coupons. Least squares, one coupon a row (completely shuffled, so "
    "the coupon is the experimental unit); blocks fixed. Coding: numeric factors −1 to +1 over "
    "their planned range, categories sum to zero; each term given all the others. Intervals are "
    "95 %; the one-sided 95 % limits are the ends of the 90 % interval."
)
NAIVE = (
    "The last columns of each table of tests: least squares as if every coupon had its own set-up. "
    "They stand here to be compared, and are wrong for what was changed by set-up."
)


def readings(trial: Trial, record: Record, findings: Findings) -> Section:
    """Return section 11: every coupon in the order welded, with what the figures drew of it."""
    headers = ["run", "stamp", "round", "set-up"]
    headers += [factor.name.replace("_", " ") for factor in trial.varied]
    drawn = {one.name: _drawn(one) for one in findings.responses}
    for one in trial.responses:
        headers += _headers(one)
    headers += ["notes"]
    rows = [_coupon(trial, coupon, drawn) for coupon in record.coupons]
    words = (
        "Several readings of one coupon are cuts or repeats, still one coupon: their mean stands "
        "after them. *: corrected. Left over: what remains of the coupon when round, gas and "
        "settings are taken out; empty where the coupon was not used."
    )
    return Section(11, "All readings", (Text(words), table(headers, rows, wide=True)))


@dataclass(frozen=True, slots=True)
class _Drawn:
    """What the figures show of each stamp, as text."""

    value: Mapping[str, str] = field(default_factory=dict)
    left_over: Mapping[str, str] = field(default_factory=dict)


def _drawn(one: ResponseFindings) -> _Drawn:
    from weldtrial.analysis.figures import counted_by_round, coupons_by_round, weld_order

    if not one.coupons:
        return _Drawn()
    if one.kind != "number":
        return _Drawn(counted_by_round.values(one), {})
    known = with_left_over(one)
    enough = sum(not coupon.beyond for coupon in known.coupons) > 2
    left = weld_order.left_over(known) if enough else {}
    return _Drawn(coupons_by_round.values(one), left)


def _headers(one: Response) -> list[str]:
    words = column_words(one.name, one.unit)
    if one.kind != "number":
        return [one.name.replace("_", " "), "counts as"]
    return [words.value, "mean", words.left_over]


def methods(findings: Findings, looks: Sequence[Block] = ()) -> Section:
    """Return section 12: the only place where p stands."""
    blocks: list[Block] = []
    for kind, words in (("kenward-roger", WITH_SETUPS), ("least-squares", WITHOUT_SETUPS)):
        if any(one.method == kind for one in findings.responses):
            blocks.append(Text(words))
    blocks += looks
    if any(one.least_squares and one.least_squares.tests for one in findings.responses):
        blocks.append(Text(NAIVE, "Least squares beside it. "))
    for one in sorted(findings.responses, key=lambda response: response.rank):
        blocks += _response(one)
    software = ", ".join(f"{name} {_version(name)}" for name in SOFTWARE)
    blocks.append(Text(f"{software}.", "Software: "))
    return Section(12, "Methods, for a statistician", tuple(blocks))


def corrections(record: Record) -> Section:
    """Return section 13, every correction with the value it replaced."""
    if not record.corrections:
        return Section(13, "Corrections", (Text("None."),))
    rows = [
        (
            line.when,
            line.who,
            line.file,
            line.stamp,
            line.column,
            line.was,
            line.now,
            line.why,
            "open" if line.codes_open else "closed",
        )
        for line in record.corrections
    ]
    headers = ("when", "who", "file", "stamp", "column", "was", "now", "why", "codes")
    return Section(13, "Corrections", (table(headers, rows, wide=True),))


def rerun(findings: Findings) -> Section:
    """Return section 14."""
    code = findings.seal or "none"
    blocks = (
        Text("In the folder that holds trial.toml, seal.json, plan.csv and the readings:"),
        Terms(
            (
                ("weldtrial seal --verify", f"draws order and stamps again (seal {code})"),
                ("weldtrial check", "says whether the files hold together"),
                ("weldtrial analyse", "gives these answers again"),
                ("weldtrial report", "writes this page again"),
            )
        ),
        Text(
            "The seal shows what was planned. It does not show when (the witness does), nor that "
            "the coupons were really welded."
        ),
    )
    return Section(14, "How to run this again", blocks)


def _coupon(trial: Trial, coupon: Coupon, drawn: Mapping[str, _Drawn]) -> tuple[str, ...]:
    settings = []
    for factor in trial.varied:
        value = coupon.settings.get(factor.name, "")
        settings.append(value if isinstance(value, str) else plain(value))
    cells: list[str] = []
    for one in trial.responses:
        found = _cells(coupon, one.name, drawn.get(one.name, _Drawn()))
        cells += found if one.kind == "number" else found[:2]
    return (
        "spare" if coupon.run is None else str(coupon.run),
        coupon.stamp,
        "" if coupon.round is None else str(coupon.round),
        "" if coupon.setup is None else str(coupon.setup),
        *settings,
        *cells,
        "; ".join(dict.fromkeys(_notes(coupon))),
    )


def _cells(coupon: Coupon, name: str, drawn: _Drawn) -> list[str]:
    """Return readings, their mean where it is not the reading itself, and what is left over."""
    words = _reading_words(coupon, name)
    value = drawn.value.get(coupon.stamp, "")
    mean = "" if len(words) == 1 and _same(words[0].rstrip("*"), value) else value
    return [", ".join(words), mean, drawn.left_over.get(coupon.stamp, "")]


def _same(one: str, other: str) -> bool:
    try:
        return float(one) == float(other.replace(MINUS, "-"))
    except ValueError:
        return one == other


def _reading_words(coupon: Coupon, name: str) -> list[str]:
    return [
        f"{reading.text or brief(reading.value)}{'*' if reading.corrected else ''}"
        for reading in coupon.readings.get(name, ())
    ]


def _notes(coupon: Coupon) -> list[str]:
    said = [f"replaces {coupon.replaces}"] if coupon.replaces else []
    if coupon.lost:
        said.append("lost, see section 4")
    elif coupon.went_wrong:
        said.append(coupon.went_wrong)
    for found in coupon.readings.values():
        said += [reading.note for reading in found if reading.note]
    return said


def _response(one: ResponseFindings) -> list[Block]:
    counted = f"{one.n} coupons"
    counted += f", {one.setups_total} set-ups" if one.setups_total is not None else ""
    blocks: list[Block] = [
        Heading(f"{one.title}, {one.unit}"),
        Text(f"{one.method} ({one.source}); {counted}. {_fit_words(one)}"),
        *_scatter(one),
    ]
    if one.kind != "number":
        blocks += counted_methods(one)
    else:
        blocks += [
            _tests(one),
            _estimates("effect", one.effects),
            _coefficients(one),
        ]
    if one.shuffle_p is not None and one.shuffle_orders:
        blocks.append(Text(_shuffle_words(one.shuffle_p, one.shuffle_orders), "Shuffle test: "))
    blocks += [_gaps(one)] if one.comparisons else []
    blocks += places_method(one)
    return blocks


def _coefficients(one: ResponseFindings) -> Block:
    """Return the coefficients, in a sentence where the effects say all but the intercept."""
    if not one.coefficients or any(row.estimate is None for row in one.effects):
        return _estimates("coefficient", one.coefficients)
    first = one.coefficients[0]
    if first.estimate is None or first.ci_low is None or first.ci_high is None:
        return _estimates("coefficient", one.coefficients)
    half = (first.ci_high - first.ci_low) / 2
    whole = " (of a square: the whole)" if any("^" in row.term for row in one.effects) else ""
    return Text(
        f"Coefficients per coded unit are half these effects{whole}, their errors likewise; "
        f"intercept {by_uncertainty(first.estimate, half)} {one.unit} "
        f"({interval(first.ci_low, first.ci_high)})."
    )


def _scatter(one: ResponseFindings) -> list[Block]:
    """Return what scatters how much, and what more would buy."""
    if not one.scatter:
        return []
    return [Text(f"{scatter_words(one)} {buy_words(one)}".rstrip())]


def _shuffle_words(p: float, orders: int) -> str:
    """Say how often the draw itself gives such a gap: counted, or from a sample of orders."""
    from weldtrial.analysis.shuffle import SAMPLED

    if orders <= FEW_ENOUGH_TO_LIST:
        return (
            f"{round(p * orders)} of {orders} orders that the sealed restriction allows give a gap "
            f"at least as large (p = {p_value(p)})."
        )
    drawn = SAMPLED + 1
    return (
        f"The sealed restriction allows {orders} orders, too many to list. Of {drawn} (the one "
        f"welded, the others drawn anew) {round(p * drawn)} give a gap at least as large "
        f"(p = {p_value(p)})."
    )


def _fit_words(one: ResponseFindings) -> str:
    parts = [
        f"{name} {brief(value, 3)}"
        for name, value in (
            ("set-up", one.variance.setup),
            ("coupon", one.variance.coupon),
            ("reading", one.variance.reading),
        )
        if value is not None
    ]
    words = f"Variances, {one.unit}²: {', '.join(parts)}." if parts else ""
    lack = one.lack_of_fit
    if lack.p is not None and lack.statistic is not None:
        words += (
            f" Lack of fit F({brief(lack.df_num)}, {brief(lack.df_den)}) = "
            f"{brief(lack.statistic, 3)}, p = {p_value(lack.p)}."
        )
    return words + (f" R² {one.r_squared:.2f}." if one.r_squared is not None else "")


def _tests(one: ResponseFindings) -> Table:
    """Return the tests of every term, least squares beside them on the same line."""
    naive = {row.term: row for row in one.least_squares.tests} if one.least_squares else {}
    headers = ["term", "df", "error df", "F", "p"]
    headers += ["least squares: error df", "F", "p"] if one.least_squares is not None else []
    rows = []
    for row in one.tests:
        beside = naive.pop(row.term, None)
        cells = (_term(row.term), brief(row.df_num), *_test_cells(row))
        rows.append((*cells, *(_test_cells(beside) if one.least_squares is not None else ())))
    rows += [
        (_term(row.term), brief(row.df_num), "", "", "", *_test_cells(row))
        for row in naive.values()
    ]
    return table(headers, rows)


def _term(term: str) -> str:
    """Return a term that may take a second line after its colon, not within a name."""
    return term.replace(":", ":\N{ZERO WIDTH SPACE}")


def _test_cells(row: TermTestRow | None) -> tuple[str, str, str]:
    if row is None:
        return "", "", ""
    return brief(row.df_den), brief(row.statistic, 3), p_value(row.p)


def _estimates(name: str, rows: tuple[EstimateRow, ...]) -> Table:
    return table(
        ("term", name, "95 % interval", "standard error", "df", "p"),
        [
            (
                _term(r.term),
                *estimate_words(r),
                brief(r.se, 2),
                brief(r.df, 3),
                "" if r.p is None else p_value(r.p),
            )
            for r in rows
        ],
    )


def _gaps(one: ResponseFindings) -> Table:
    rows = [
        (
            f"{c.level} − {c.reference}",
            brief(c.se, 2),
            brief(c.df, 3),
            "" if c.p is None else p_value(c.p),
            "" if c.p_adjusted is None else p_value(c.p_adjusted),
        )
        for c in one.comparisons
    ]
    return table(("comparison", "standard error", "df", "p", "p, adjusted"), rows)


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "(version unknown)"
