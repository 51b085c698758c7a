"""Command that counts hits of shots tried."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.printing import give, percent, record
from fieldtune.plain_text import columns, csv_lines, say

if TYPE_CHECKING:
    from fieldtune.learn.hits import HitGroup, Hits

_BY = ("spot", "target", "battery", "batch", "match")


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    hits = arguments.declare(commands, "hits", _hits, "hits of shots tried, by spot, target, battery, batch or match")
    arguments.add_robot(hits)
    hits.add_argument("--by", metavar="WHAT", choices=_BY, default="spot", help=f"one of {', '.join(_BY)}")
    hits.add_argument("--format", choices=("text", "csv"), default="text", help="csv: for a spreadsheet")


def _hits(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        found = session.hits(args.by)
    if args.format == "csv":
        say(_csv(found), end="")
    else:
        give(args, record(found), _words(found))


def _csv(found: Hits) -> str:
    """One group a row, for a spreadsheet."""
    head = (found.by, "tried", "hits", "share", "low", "high")
    return csv_lines(head, [(g.name, g.tried, g.hits, g.share, g.low, g.high) for g in (*found.groups, found.all)])


def _words(found: Hits) -> list[str]:
    if not found.all.tried:
        return [f"{found.robot}: no shots yet"]
    head = (found.by, "tried", "hits", "share", "95 % interval")
    text = [f"{found.robot}: hits of shots tried", *columns(head, map(_row, (*found.groups, found.all, found.last)))]
    if found.trend is not None:
        text.append(found.trend.words)
    if found.left_out:
        text.append(f"not counted: {found.left_out} left out of learning")
    if found.unsaid:
        text.append(f"not counted: {found.unsaid} without a result")
    return text


def _row(group: HitGroup) -> tuple[str, ...]:
    interval = "-" if group.low is None else f"{percent(group.low)} to {percent(group.high)}"
    return group.name, str(group.tried), str(group.hits), percent(group.share), interval
