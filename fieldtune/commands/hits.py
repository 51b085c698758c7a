"""Command that counts hits of shots tried."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.printing import give, percent, record
from fieldtune.plain_text import columns

if TYPE_CHECKING:
    from fieldtune.learn.hits import HitGroup, Hits

_BY = ("spot", "target", "battery")


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    hits = arguments.declare(commands, "hits", _hits, "hits of shots tried, by spot, target or battery")
    arguments.add_robot(hits)
    hits.add_argument("--by", metavar="WHAT", choices=_BY, default="spot", help=f"one of {', '.join(_BY)}")


def _hits(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        found = session.hits(args.by)
    give(args, record(found), _words(found))


def _words(found: Hits) -> list[str]:
    if not found.all.tried:
        return [f"{found.robot}: no shots yet"]
    head = (found.by, "tried", "hits", "share", "95 % interval")
    text = [f"{found.robot}: hits of shots tried", *columns(head, map(_row, (*found.groups, found.all, found.last)))]
    if found.left_out:
        text.append(f"not counted: {found.left_out} left out of learning")
    if found.unsaid:
        text.append(f"not counted: {found.unsaid} without a result")
    return text


def _row(group: HitGroup) -> tuple[str, ...]:
    interval = "-" if group.low is None else f"{percent(group.low)} to {percent(group.high)}"
    return group.name, str(group.tried), str(group.hits), percent(group.share), interval
