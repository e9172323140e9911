"""``weldtrial adopt``: a trial folder from data that were not planned here."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

import click

from weldtrial.cli.adopting import Wishes, adopt, no_two_of, pairs
from weldtrial.cli.new_folder import free_folder
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.problems import WrongUsage

_TABLES = ("unit", "margin", "better", "ask", "reference", "kind", "scale")


@click.command(short_help="Take in data that were welded before there was a plan.")
@click.argument("data", type=click.Path(path_type=Path))
@click.argument("name")
@click.option("--factor", "factors", multiple=True, metavar="COL", help="Set on purpose.")
@click.option(
    "--category",
    "categories",
    multiple=True,
    metavar="COL",
    help="A factor of labels, or numbers.",
)
@click.option("--response", "responses", multiple=True, metavar="COL", help="Measured.")
@click.option("--unit", multiple=True, metavar="COL=UNIT", help="Unit of a column (without: 1).")
@click.option("--kind", multiple=True, metavar="COL=pass-fail", help="Cells read pass or fail.")
@click.option(
    "--scale", multiple=True, metavar="COL=BAD,…", help="Grades of a column, worst first."
)
@click.option("--margin", multiple=True, metavar="COL=VALUE", help="Smallest change that matters.")
@click.option("--better", multiple=True, metavar="COL=lower", help="Which way is better.")
@click.option("--ask", multiple=True, metavar="COL=…", help="difference, no-worse, equal-enough.")
@click.option("--setup", default="", metavar="COL", help="Names the set-up of each row.")
@click.option("--block", default="", metavar="COL", help="Names the round, day or block.")
@click.option("--coupon", default="", metavar="COL", help="Rows of one name are one coupon.")
@click.option(
    "--reference", multiple=True, metavar="FACTOR=LEVEL", help="Compare with it (without: all)."
)
@click.option(
    "--model",
    type=click.Choice(["main", "two-factor", "quadratic"]),
    default="two-factor",
    show_default=True,
    help="What the analysis holds.",
)
@click.option("--term", "terms", multiple=True, metavar="A:B", help="A term beyond the model.")
@click.option("--coded", is_flag=True, help="Numbers are coded already; use them unchanged.")
@click.option("--decimal", type=click.Choice([".", ","]), default=".", help="Decimal sign.")
@common_options
def command(common: Common, data: Path, name: str, **said: Any) -> None:
    """Make the folder NAME from the file DATA, one row a coupon, and say what its columns are.

    There is no seal and nobody knows the order, so no verdict is stronger than "Suggests".  A
    set-up label that recurs in several blocks means a set-up in each.
    """
    wishes = Wishes(
        factors=said["factors"],
        categories=said["categories"],
        responses=said["responses"],
        setup=said["setup"],
        block=said["block"],
        coupon=said["coupon"],
        decimal=said["decimal"],
        model=said["model"],
        terms=said["terms"],
        coded=said["coded"],
        tables={table: pairs(table, said[table]) for table in _TABLES},
    )
    for problem in no_two_of(wishes):
        raise WrongUsage(str(problem))
    folder = free_folder(name, common.folder)
    trial = adopt(data, folder, wishes)
    hard = [factor.name for factor in trial.hard]
    if common.json:
        common.console.json(
            {"folder": str(folder), "rows": trial.adopted and trial.adopted.rows, "hard": hard}
        )
        return
    assert trial.adopted is not None
    console = common.console
    console.line(f"Made {folder}/ from {data.name}: {trial.adopted.rows} rows")
    for factor in trial.factors:
        kind = "category" if factor.kind == "category" else "numbers"
        note = (
            "; never changes within a set-up, so judged by set-ups" if factor.name in hard else ""
        )
        console.line(f"  {factor.name} ({kind}): {', '.join(factor.levels)}{note}", hang=2)
    console.line(
        "Not planned here: no seal, order unknown. No verdict will be stronger than Suggests."
    )
    console.next(f"weldtrial -C {shlex.quote(str(folder))} analyse")
