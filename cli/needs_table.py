"""What a plan shows of a loss, of no worse and of equality, and what would show it: one table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.power_words import percent

if TYPE_CHECKING:
    from weldtrial.analysis.needs import Needs
    from weldtrial.cli.console import Console

Row = tuple[str, float | None, int | None, int | None]


def loss_row(words: str, needs: Needs) -> Row:
    """Return the row of a true loss, as it is said."""
    return (words, needs.power, needs.setups_per_gas, needs.coupons)


def equal_rows(loss: str, needs: Needs) -> list[Row]:
    """Return the rows of what is shown where both are truly equal."""
    return [
        (
            f"no worse by {loss}, if equal",
            needs.no_worse,
            needs.no_worse_setups_per_gas,
            needs.no_worse_coupons,
        ),
        (
            f"equal within {loss}, if equal",
            needs.equal_enough,
            needs.equal_enough_setups_per_gas,
            needs.equal_enough_coupons,
        ),
    ]


def show_needs(console: Console, rows: list[Row], needs: Needs, *, by_setups: bool) -> None:
    """Print the rows, with set-ups where these are what is compared."""
    headers = ["to show", "chance with this plan", *(["set-ups of each needed"] * by_setups)]
    cells = [
        [what, percent(chance, needs.chance), *([_number(setups)] * by_setups), _number(coupons)]
        for what, chance, setups, coupons in rows
    ]
    console.table([*headers, "coupons needed in all"], cells, None)


def _number(value: int | None) -> str:
    return "out of reach" if value is None else str(value)
