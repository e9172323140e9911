"""``weldtrial plan --rehearse``: the plan played with pretend readings first."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from weldtrial.cli.pretending import Wanted, losses_of, losses_words, order_of
from weldtrial.cli.rehearsal_words import Rehearsal, per_100, sentences, worse_words
from weldtrial.cli.simulated import gauge_words
from weldtrial.shared.folder import Folder
from weldtrial.shared.rounding import brief, spaced
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.counted_pretend import CountedBench
    from weldtrial.analysis.pretend_bench import PretendBench
    from weldtrial.analysis.rehearse import TrueLoss
    from weldtrial.cli.console import Align
    from weldtrial.cli.options import Common

PILOT = (
    "A pilot gives no verdict, so there is no verdict to rehearse; it measures scatter. What can "
    "be rehearsed is the trial that follows:  weldtrial plan --if trial.purpose=compare --rehearse"
)


def rehearse_plan(common: Common, trial: Trial, wanted: Wanted, *, changed: bool) -> None:
    """Play the plan and show which verdicts it would give.

    Raises
    ------
    NotYet, PlanRefused, CannotShareOut
        As `weldtrial.doe.layout.make_layout`.
    NotEnough
        When nothing is known of the deciding response's scatter.
    WrongUsage
        When a loss cannot be.
    """
    folder = Folder(_path(common))
    if trial.purpose == "pilot":
        if common.json:
            common.console.json({"pretend": True, "trial": trial.title, "words": [PILOT]})
        common.console.line(f"PRETEND – {PILOT}")
        return
    rehearsal = _rehearse(common, folder, trial, wanted, changed=changed)
    if common.json:
        common.console.json(as_json(rehearsal))
    else:
        _show(common, rehearsal)


def _path(common: Common) -> Any:
    from weldtrial.shared.folder import find_folder

    return find_folder(common.folder)


def _rehearse(
    common: Common, folder: Folder, trial: Trial, wanted: Wanted, *, changed: bool
) -> Rehearsal:
    from weldtrial.analysis.compare import asked_of
    from weldtrial.analysis.counted_pretend import CountedBench
    from weldtrial.analysis.counted_verdict import counted_verdict
    from weldtrial.analysis.pretend import coupons_of
    from weldtrial.analysis.pretend_bench import pretend_bench
    from weldtrial.analysis.rehearse import true_losses, verdict_of
    from weldtrial.analysis.rehearse_all import rehearse
    from weldtrial.analysis.rehearse_looks import AtLooks
    from weldtrial.cli.plan_figures import plan_figures

    plan, order = order_of(folder, trial, wanted.seed, changed=changed)
    bench = pretend_bench(trial, coupons_of(plan))
    losses = losses_of("plan", wanted, bench, len(plan.of_role("spare")))
    margin = bench.margin
    figures = plan_figures(trial)
    truths = true_losses(bench, margin or figures.current.gap)
    trials = wanted.trials or 1
    ends = verdict_of if trial.looks is None else AtLooks(trial.looks, figures.shape)
    if isinstance(bench, CountedBench):
        ends = counted_verdict
    with common.console.progress("Rehearsing (PRETEND)", trials * len(truths)) as done:
        found = rehearse(
            trial,
            bench,
            truths,
            trials=trials,
            seed=wanted.seed,
            losses=losses,
            verdict_of=ends,
            done=done,
        )
    pairs = len(asked_of(trial))
    return Rehearsal(trial, bench, losses, order, margin is not None, pairs, found)


def as_json(rehearsal: Rehearsal) -> dict[str, Any]:
    """Return a rehearsal as plain values."""
    found, bench = rehearsal.found, rehearsal.bench
    question = bench.question
    return {
        "pretend": True,
        "trial": rehearsal.trial.title,
        "response": question.response.name,
        "unit": bench.unit,
        "level": question.level,
        "reference": question.reference,
        "comparisons": rehearsal.pairs,
        "assumed": _assumed(bench),
        "order": rehearsal.order,
        "losses": asdict(rehearsal.losses),
        "coupons": len(bench.blanks),
        "trials": found.trials,
        "seed": found.seed,
        "margin_of_error": found.margin_of_error,
        "truths": [
            {"share": truth.share, "loss": truth.loss, "change": truth.change}
            for truth in found.truths
        ],
        "loss_counted_in": "margin" if rehearsal.by_margin else "gap",
        "verdicts": [
            {
                "code": row.code,
                "strength": row.strength,
                "words": row.words,
                "times": list(row.counts),
                "per_100": [100 * count / found.trials for count in row.counts],
            }
            for row in found.sentences
        ],
        "shows_asked": _shows(rehearsal),
        "wrongly_no_worse": [
            {"share": truth.share, "loss": truth.loss, **_chance(chance)}
            for truth, chance in found.wrongly_no_worse
        ],
        "wrongly_different": _chance(found.wrongly_different),
        "depends_on": [_chance(chance) for chance in found.depending],
        "depends_on_what": [{"what": what, "times": times} for what, times in found.turned],
        "rounds": [dict(ended) for ended in found.rounds],
        "settles_nothing": found.settles_nothing,
        "cannot_tell": found.never_told,
        "words": sentences(rehearsal),
    }


def _shows(rehearsal: Rehearsal) -> dict[str, float] | None:
    chance = rehearsal.found.shows(rehearsal.bench.question.response.ask)
    return _chance(chance) if rehearsal.by_margin and chance is not None else None


def _assumed(bench: PretendBench | CountedBench) -> dict[str, Any]:
    from weldtrial.analysis.counted_pretend import CountedBench
    from weldtrial.cli.counted_plan import foreseen_json

    if isinstance(bench, CountedBench):
        return foreseen_json(bench.question.response, bench.foreseen)
    scatter = bench.scatter
    return {
        "mean": bench.mean,
        "source": bench.source,
        "sd_coupon": scatter.coupon,
        "sd_setup": scatter.setup,
        "sd_reading": scatter.reading,
        "readings": scatter.readings,
        "reads_to": scatter.step,
        "stops": scatter.stops,
    }


def _chance(chance: Any) -> dict[str, float]:
    return {"chance": chance.chance, "low": chance.low, "high": chance.high}


def _show(common: Common, rehearsal: Rehearsal) -> None:
    console, found, bench = common.console, rehearsal.found, rehearsal.bench
    console.line(
        f"PRETEND – {found.trials} made-up trials of this plan for each column; nothing here was "
        "welded.",
        style="bold",
    )
    for name, words in _facts(rehearsal):
        console.line(f"  {name:<9} {words}", hang=10)
    question = bench.question
    console.heading(
        f"PRETEND: of 100 trials, how many would end with each verdict if {question.level} were "
        "truly …"
    )
    truths = [_column(rehearsal, truth) for truth in found.truths]
    rows = [
        [row.words, *(per_100(count, found.trials) for count in row.counts)]
        for row in found.sentences
    ]
    right: Align = "right"
    sides: list[Align] = ["left", *(right for _ in truths)]
    console.table(["PRETEND verdict", *truths], rows, sides)
    console.heading("PRETEND: what this says of the plan")
    for words in sentences(rehearsal):
        console.line(f"  {words}", hang=2)
    console.line()
    console.next("plan", "for the plan itself; a rehearsal writes nothing")


def _facts(rehearsal: Rehearsal) -> list[tuple[str, str]]:
    bench = rehearsal.bench
    compared = f"{bench.question.level} with {bench.question.reference}"
    words = f"{bench.question.response.title}, {compared}"
    if rehearsal.pairs > 1:
        words += f" (the first of {rehearsal.pairs} comparisons)"
    return [
        ("compares", words),
        *_pretends(bench),
        ("coupons", f"{len(bench.blanks)} that count; order: {rehearsal.order}"),
        ("losses", losses_words(rehearsal.losses) or "none: every coupon is welded and read"),
        ("seed", f"{rehearsal.found.seed} (the same seed gives the same table)"),
    ]


def _pretends(bench: PretendBench | CountedBench) -> list[tuple[str, str]]:
    from weldtrial.analysis.counted_pretend import CountedBench
    from weldtrial.cli.counted_plan import foreseen_words, shares_words

    if isinstance(bench, CountedBench):
        response, foreseen = bench.question.response, bench.foreseen
        found = [("pretends", foreseen_words(response, foreseen, apart=bench.apart))]
        if bench.graded and bench.margin is not None:
            after = bench.shares(bench.loss(bench.margin))
            moved = shares_words(response, foreseen.shares, after)
            found.append(("a loss", f"odds ÷ {brief(foreseen.worse_odds, 3)}: {moved}"))
        return found
    scatter, unit = bench.scatter, spaced(bench.unit)
    source = f" ({bench.source})" if bench.source else ""
    readings = ""
    if scatter.reading:
        readings = f", {brief(scatter.reading, 3)}{unit} reading to reading"
    if scatter.readings > 1:
        readings += f", {scatter.readings} readings a coupon"
    if scatter.stops:
        readings += f", seen between stops {brief(scatter.stops)}{unit} apart"
    elif scatter.step:
        readings += f", read to {brief(scatter.step)}{unit}"
    past = gauge_words(bench)
    counts = "as at least that" if scatter.least is None else "as past it"
    gauge = [] if not past else [("gauge", f"{past}, and count {counts}")]
    pretends = (
        f"mean {brief(bench.mean)}{unit}, {brief(scatter.coupon, 3)}{unit} coupon to coupon, "
        f"{brief(scatter.setup, 3)}{unit} set-up to set-up{readings}{source}"
    )
    return [("pretends", pretends), *gauge]


def _column(rehearsal: Rehearsal, truth: TrueLoss) -> str:
    if truth.share == 0:
        return "equal"
    return worse_words(rehearsal, truth)
