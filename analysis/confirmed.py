"""Whether coupons that confirm a setting met what was predicted of them, by the sealed rule."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np

from weldtrial.analysis.confirm_records import Confirmation, ConfirmedResponse, Met
from weldtrial.analysis.observations import Observation, observe
from weldtrial.analysis.pass_rule import pass_rule
from weldtrial.analysis.predicted import has_limit
from weldtrial.analysis.proportions import share_interval
from weldtrial.shared.follows import Follows
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

Passed = Literal["passed", "failed", "open"]


def confirmation_of(trial: Trial, record: Record, *, codes_open: bool) -> Confirmation | None:
    """Hold the coupons that confirm against the prediction; None where a trial has none."""
    follows = trial.follows
    if follows is None or follows.adds != "confirm":
        return None
    coupons = _own(record)
    own = Record(coupons, len(coupons))
    seen = {
        one.name: {o.stamp: o for o in observe(trial, own, one).observations}
        for one in trial.responses
    }
    limits = [one for one in trial.responses if has_limit(one)]
    states = {
        coupon.stamp: _whole([_passes(seen[one.name].get(coupon.stamp), one) for one in limits])
        for coupon in coupons
    }
    passed, failed = (sum(v == what for v in states.values()) for what in ("passed", "failed"))
    unread = [c for c in coupons if _unread(c, trial, seen)]
    waiting = [c for c in unread if states[c.stamp] == "open"] if limits else unread
    responses = tuple(
        _response(one, follows, seen[one.name], len(coupons), bool(unread))
        for one in trial.responses
    )
    by_passes = follows.at_least is not None
    lost = sum(bool(one.lost) for one in coupons)
    if by_passes:
        lost = len(coupons) - passed - failed - len(waiting)
    ends = share_interval(passed, passed + failed) if by_passes and passed + failed else None
    counts = [(one.failed or 0, one.name) for one in responses]
    most = max(counts, default=(0, ""), key=lambda pair: pair[0])
    return Confirmation(
        state=_state(follows, responses, (passed, failed, len(coupons)), len(waiting)),
        rule="passes" if by_passes else "means",
        at=dict(follows.at) if codes_open else {},
        coupons=len(coupons),
        passed=passed,
        failed=failed,
        unread=len(waiting),
        lost=lost,
        at_least=follows.at_least,
        share=follows.share,
        low=None if ends is None else ends[0],
        high=None if ends is None else ends[1],
        chance_if_true=_missed_though_true(follows, coupons),
        weakest=most[1] if most[0] else "",
        expected_weakest=weak_link(follows),
        setups=len({c.setup for c in coupons if c.setup is not None}),
        responses=responses,
        late=record.sealed == "late",
    )


def weak_link(follows: Follows) -> str:
    """Return the limit least likely to be met as sealed; empty without limits."""
    chances = [(one.chance, name) for name, one in follows.predicted.items()
               if one.chance is not None]  # fmt: skip
    return min(chances)[1] if chances else ""


def _missed_though_true(follows: Follows, coupons: Sequence[Coupon]) -> float | None:
    if follows.at_least is None or follows.share is None:
        return None
    sizes = list(Counter(one.setup for one in coupons).values())
    rule = pass_rule(sizes, follows.share, follows.alike, at_least=follows.at_least)
    return 1.0 - rule.reached_alike


def _own(record: Record) -> tuple[Coupon, ...]:
    """Return the coupons that confirm, a spare in place of each that it replaced."""
    confirming = [one for one in record.coupons if one.role == "confirm"]
    replaced = {one.replaces for one in confirming if one.replaces}
    return tuple(one for one in confirming if one.stamp not in replaced)


def _unread(coupon: Coupon, trial: Trial, seen: Mapping[str, Mapping[str, Observation]]) -> bool:
    """Tell whether something of a coupon is still to come."""
    if coupon.lost:
        return False
    return any(not coupon.readings.get(one.name) for one in trial.to_read) or any(
        coupon.stamp not in seen[one.name] for one in trial.responses if one.worked_out is not None
    )


def _passes(one: Observation | None, response: Response) -> Passed:
    if one is None:
        return "open"
    if response.kind == "pass-fail":
        return "passed" if one.value == 1 else "failed"
    least = -np.inf if response.at_least is None else response.at_least
    most = np.inf if response.at_most is None else response.at_most
    if one.low >= least and one.high <= most:
        return "passed"
    return "failed" if one.high < least or one.low > most else "open"


def _whole(parts: Sequence[Passed]) -> Passed:
    """Return what a coupon did: one limit failed is enough, every one must be passed."""
    if "failed" in parts:
        return "failed"
    return "passed" if parts and all(one == "passed" for one in parts) else "open"


def _response(
    response: Response,
    follows: Follows,
    seen: Mapping[str, Observation],
    coupons: int,
    unread: bool,
) -> ConfirmedResponse:
    said, read = follows.predicted.get(response.name), list(seen.values())
    failed = sum(_passes(one, response) == "failed" for one in read)
    values = [one.value for one in read] if response.kind == "number" else []
    mean = float(np.mean(values)) if values else None
    inside = mean_inside = None
    if said is not None and said.low is not None and said.high is not None:
        inside = sum(one.high >= said.low and one.low <= said.high for one in read)
    done = mean is not None and not unread
    if said is not None and said.mean_low is not None and said.mean_high is not None and done:
        mean_inside = said.mean_low <= float(np.mean(values)) <= said.mean_high
    return ConfirmedResponse(
        response.name,
        response.title,
        response.unit,
        len(read),
        mean,
        float(np.std(values, ddof=1)) if len(values) > 1 else None,
        said,
        inside,
        mean_inside,
        failed if has_limit(response) else None,
        sum(one.ends is not None for one in read),
    )


def _state(
    follows: Follows,
    responses: Sequence[ConfirmedResponse],
    counted: tuple[int, int, int],
    waiting: int,
) -> Met:
    passed, failed, coupons = counted
    if follows.at_least is not None:
        if passed >= follows.at_least:
            return "met"
        if coupons - failed < follows.at_least:
            return "missed"
        return "unfinished" if waiting else "cannot_tell"
    judged = [one for one in responses if one.predicted and one.predicted.mean_low is not None]
    if not judged:
        return "no_prediction"
    if waiting:
        return "unfinished"
    if any(one.mean_inside is None for one in judged):
        return "cannot_tell"
    return "met" if all(one.mean_inside for one in judged) else "missed"
