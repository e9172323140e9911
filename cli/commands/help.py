"""``weldtrial help``: the reference pages, read offline."""

from __future__ import annotations

import click

from weldtrial.cli import topics
from weldtrial.cli.lazy import LazyGroup
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.problems import WrongUsage, nearest


@click.command(short_help="Read about the trial file, the words, the arithmetic.")
@click.argument("topic", required=False)
@common_options
@click.pass_context
def command(context: click.Context, common: Common, topic: str | None) -> None:
    """Show a reference page, or a command's own help; without TOPIC, list them."""
    if topic is None:
        _list_topics(context, common)
    elif topic in topics.names():
        _show(common, topics.read(topic))
    else:
        _command_help(context, topic)


def _list_topics(context: click.Context, common: Common) -> None:
    pages = [topics.read(name) for name in topics.names()]
    if common.json:
        common.console.json(
            {"topics": [{"name": p.name, "title": p.title, "summary": p.summary} for p in pages]}
        )
        return
    if common.plain:
        common.console.table(["topic", "summary"], [[page.name, page.summary] for page in pages])
        return
    common.console.line("Pages to read offline:")
    common.console.line()
    width = max((len(page.name) for page in pages), default=0)
    for page in pages:
        common.console.line(
            f"  weldtrial help {page.name:<{width}}  {page.summary}", hang=17 + width
        )
    common.console.line()
    common.console.line("Help on a command:  weldtrial help plan   (or  weldtrial plan --help)")


def _show(common: Common, page: topics.Topic) -> None:
    if common.json:
        common.console.json(page)
    else:
        common.console.page(page.text)


def _command_help(context: click.Context, name: str) -> None:
    root = context.find_root()
    group = root.command
    assert isinstance(group, LazyGroup)
    found = group.get_command(root, name)
    if found is None:
        raise _no_topic(name, [*topics.names(), *group.entries])
    with click.Context(found, info_name=name, parent=root) as inner:
        click.echo(found.get_help(inner))


def _no_topic(name: str, known: list[str]) -> WrongUsage:
    close = nearest(name, known)
    did_you = f" Did you mean  weldtrial help {close} ?" if close else ""
    return WrongUsage(f"No page '{name}'.{did_you}", hint="All pages:  weldtrial help")
