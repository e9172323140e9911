"""Pages and code say the same: verdicts, commands, links, figures; banned words stay out."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.naive import naive_false_alarm
from weldtrial.cli.main import COMMANDS
from weldtrial.shared.orders import count_orders, smallest_p, usual_limit

ROOT = Path(__file__).resolve().parents[2]
HELP = ROOT / "cli" / "help"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md", *HELP.glob("*.md")]
README = (ROOT / "README.md").read_text(encoding="utf-8")
STATISTICS = (HELP / "statistics.md").read_text(encoding="utf-8")

BANNED = (
    "proves",
    "no difference",
    "identical",
    "same strength",
    "significant",
    "trend towards",
    "as strong as",
    "safe",
    "approved",
    "guaranteed",
)
BANNED_WORDS = re.compile(r"\b(?:" + "|".join(BANNED) + r")\b", re.IGNORECASE)
TEMPLATES = sorted((ROOT / "cli" / "templates").rglob("*.html.j2"))
SPEAKING = sorted(
    path for room in ("doe", "analysis", "cli") for path in (ROOT / room).rglob("*.py")
)
FALSE_ALARMS = {(1, 18): 39, (2, 9): 24, (3, 6): 17, (6, 3): 10}


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def spoken(source: str) -> Iterator[str]:
    """Every text constant of a module that is not a docstring or a note below a name."""
    tree = ast.parse(source)
    nodes = list(ast.walk(tree))
    silent = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    for node in nodes:
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in silent
        ):
            yield node.value


def visible(template: str) -> str:
    """What a page template says itself, without styles, comments, expressions and tags."""
    hidden = r"<style.*?</style>|<script.*?</script>|\{[{%#].*?[}%#]\}|<!--.*?-->|<[^>]*>"
    return re.sub(r"\s+", " ", re.sub(hidden, " ", template, flags=re.DOTALL))


def banned_in(texts: Iterator[str] | list[str]) -> list[str]:
    return [text for text in texts if BANNED_WORDS.search(text)]


@pytest.mark.parametrize("path", SPEAKING, ids=name_of)
def test_no_sentence_of_a_result_claims_too_much(path: Path) -> None:
    assert banned_in(spoken(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("path", TEMPLATES, ids=name_of)
def test_no_page_template_claims_too_much(path: Path) -> None:
    assert banned_in([visible(path.read_text(encoding="utf-8"))]) == []


def test_the_search_for_claims_bites() -> None:
    assert banned_in(spoken('"""It proves."""\nX = f"{a} is Safe here"\ny = "safety"')) == [
        " is Safe here"
    ]
    assert banned_in([visible("<p class='safe'>{{ x | safe }} no\n difference</p>")]) != []
    assert banned_in([visible("<p class='safe'>{{ x | safe }} nothing</p>")]) == []


def test_banned_words_are_listed_on_the_statistics_page() -> None:
    told = " ".join(STATISTICS.split())
    assert ", ".join(BANNED) in told


@pytest.mark.parametrize("code", get_args(VerdictCode))
def test_every_verdict_is_explained(code: str) -> None:
    assert re.search(rf"\s{code}\s", STATISTICS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_named_in_the_readme(name: str) -> None:
    assert re.search(rf"weldtrial {name}\b", README)


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_page_sends_nobody_to_a_command_that_is_not_there(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    called = set(re.findall(r"weldtrial (?:-C \S+ )?([a-z]+)\b", "\n".join(commands(text))))
    assert called <= set(COMMANDS)


def commands(text: str) -> list[str]:
    """Commands as a page shows them: code spans and lines after a prompt."""
    return re.findall(r"(?<=`)weldtrial [^`]+(?=`)|(?<=^\$ )weldtrial .+$", text, re.MULTILINE)


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_to_files_lead_somewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    links = re.findall(r"\]\((?!https?:|#)([^)\s]+?)(?:#[^)]*)?\)", text)
    assert [link for link in links if not (page.parent / link).exists()] == []


def test_developers_page_names_files_that_exist() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = r"(?:shared|doe|analysis|cli|tests|examples)"
    named = set(re.findall(rf"`({rooms}/[\w./-]+?)/?`", text))
    assert len(named) > 20
    assert sorted(name for name in named if "NAME" not in name and not (ROOT / name).exists()) == []


def test_false_alarm_table_is_the_one_worked_out() -> None:
    for (setups, coupons), share in FALSE_ALARMS.items():
        exact = naive_false_alarm(setups, coupons, sd_coupon=4, sd_setup=2)
        assert round(100 * exact) == share
        assert f"| {setups} × {coupons} | **{share}** |" in README
        assert re.search(rf"{setups} x +{coupons} +{share}\n", STATISTICS)


def test_table_of_smallest_p_is_the_one_worked_out() -> None:
    rows = {
        name: re.search(rf"^ +{name} +([\d. ]+)$", STATISTICS, re.MULTILINE)
        for name in ("rounds", "orders", "smallest p")
    }
    cells = {name: found.group(1).split() for name, found in rows.items() if found}
    for rounds, orders, p in zip(*(cells[name] for name in rows), strict=True):
        limit = usual_limit(int(rounds))
        assert int(orders) == count_orders(int(rounds), 2, limit)
        assert abs(float(p) - float(smallest_p(int(rounds), 2, limit))) <= 0.000501
