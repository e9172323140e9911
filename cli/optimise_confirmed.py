"""How far a setting is confirmed, in words: for the screen of ``weldtrial optimise`` and a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from weldtrial.cli import optimise_words as words
from weldtrial.shared.sealfile import seal_code
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.confirm_records import Confirmation
    from weldtrial.analysis.optimum_asked import Confirming

NOTHING_WELDED = "Not yet a recommendation: nothing was welded there to confirm it."
NOT_YET = "Not yet confirmed"
STATES = {
    "met": "Recommended, confirmed",
    "missed": "Prediction missed",
    "unfinished": NOT_YET,
    "cannot_tell": "Not confirmed: cannot tell",
    "no_prediction": "Not confirmed: nothing was predicted",
}
OTHER_CLAIM = "Confirmed, but not for what is asked here"
LATE = "Not confirmed: sealed after welding"
ANOTHER = "Not confirmed"


def state_of(found: Confirmation) -> str:
    """Return how far the setting that was welded again is confirmed, in a few words."""
    return LATE if found.late and found.state == "met" else STATES[found.state]


def best_tag(one: Confirming | None) -> str:
    """Return what heads the best setting of the map."""
    if one is None:
        return f"Best setting, {NOT_YET.lower()}"
    if one.is_best and one.confirmed and not one.as_sealed:
        return OTHER_CLAIM
    return state_of(one.found) if one.is_best else f"Best setting, {ANOTHER.lower()}"


def plain_state(one: Confirming) -> str:
    """Return how far a setting is confirmed that nobody recommended: someone chose it."""
    if one.is_best and one.confirmed and not one.as_sealed:
        return OTHER_CLAIM
    return "Confirmed" if one.confirmed else state_of(one.found)


def other_tag(one: Confirming) -> str:
    """Return what heads the setting that was welded again, where the best is another."""
    return f"{plain_state(one)}; not the best of the map"


def said_of(trial: Trial, one: Confirming, seal: str) -> list[str]:
    """Say whether the prediction was met, of how many coupons, and under which seals."""
    assert trial.follows is not None
    where = f"{one.found.coupons} coupons"
    if one.found.setups:
        where += f" in {one.found.setups} fresh set-up{'s' * (one.found.setups > 1)}"
    here = f"of this folder (seal {seal})" if seal else "of this folder"
    earlier = f"predicted from the earlier trial ({seal_code(trial.follows.seal)})"
    lines = [one.found.head, f"{where} {here}; {earlier}."]
    if one.found.share is not None and (not one.as_sealed or not one.is_best):
        from weldtrial.analysis.confirmed_words import in_ten

        lines.append(
            f"The claim put to the test: {in_ten(one.found.share)} meet the sealed limits."
        )
    return lines


def fitted_line(trial: Trial, one: Confirming, coupons: int) -> str:
    """Say which coupons draw the map of a trial that confirms, and which only judge it."""
    assert trial.follows is not None
    return (
        f"the {coupons} coupons of the earlier trial ({seal_code(trial.follows.seal)}) draw the "
        f"map; the {one.found.coupons} that confirm judge it and draw no part of it"
    )


def close_line(trial: Trial, one: Confirming | None) -> str:
    """Say whether the best setting of the map is a recommendation, and if not why."""
    if one is None:
        return NOTHING_WELDED
    if not one.is_best:
        at = words.setting_words(trial, one.found.at)
        if one.found.state == "missed":
            return (
                f"{NOTHING_WELDED} The same map missed its prediction at {at}: find out where it "
                "is wrong first."
            )
        return f"{NOTHING_WELDED} The coupons of this folder are for {at}."
    if one.confirmed and not one.as_sealed:
        return "Not yet a recommendation: what was confirmed is another share, or other limits."
    if one.confirmed:
        from weldtrial.analysis.confirmed_words import ONE_SETTING

        return ONE_SETTING
    return {
        "missed": "No recommendation: the coupons that were to confirm it spoke against it.",
        "unfinished": "Not yet a recommendation: coupons that confirm it are still to be read.",
    }.get(one.found.state, "Not yet a recommendation: nothing confirms it.")


def confirming_json(one: Confirming | None, trial: Trial, seal: str) -> dict[str, Any] | None:
    """Return how far the setting that was welded again is confirmed, as plain values."""
    from weldtrial.cli.optimise_json import shown_json

    if one is None or trial.follows is None:
        return None
    found = one.found
    return {
        "state": found.state,
        "confirmed": one.confirmed,
        "at": dict(found.at),
        "is_recommended": one.is_best,
        "as_sealed": one.as_sealed,
        "rule": found.rule,
        "coupons": found.coupons,
        "set_ups": found.setups or None,
        "passed": found.passed,
        "failed": found.failed,
        "unread": found.unread,
        "lost": found.lost,
        "at_least": found.at_least,
        "sealed_late": found.late,
        "seal": seal or None,
        "earlier_seal": seal_code(trial.follows.seal),
        "there": None if one.shown is None else shown_json(one.shown),
        "words": [state_of(found), *said_of(trial, one, seal)],
    }
