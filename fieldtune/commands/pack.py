"""Commands that carry shots between laptops and from spreadsheets: pack, merge, import."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.commands import aim, arguments
from fieldtune.commands.printing import give, record
from fieldtune.files import write_whole
from fieldtune.plain_text import counted, printable

if TYPE_CHECKING:
    from fieldtune.share.merge import Merged


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    pack = arguments.declare(commands, "pack", _pack, "profile and shot log as one file, for another laptop")
    arguments.add_robot(pack)
    pack.add_argument("file", metavar="FILE", type=Path, help="file to write to")
    pack.add_argument("--force", action="store_true", help="write over a file that is there")
    merge = arguments.declare(commands, "merge", _merge, "merges a pack: no shot is lost, none counts twice")
    merge.add_argument("file", metavar="FILE", type=Path, help='a file that "fieldtune pack" wrote')
    merge.add_argument("--sound-only", action="store_true", help="of a damaged pack, merge what is still whole")
    merge.add_argument("--robot", metavar="ROBOT", help="refuse a pack of any other robot")
    imported = arguments.declare(commands, "import", _import, "adds shots from a spreadsheet saved as CSV")
    arguments.add_robot(imported)
    imported.add_argument("file", metavar="FILE.csv", type=Path, help="the sheet: headings, then one shot a row")
    imported.add_argument(
        "--columns", metavar="NAME=HEADING,…",
        help='which column is what, such as "distance=Dist (m),result=Outcome"; names are distance, setpoint, result, '
        "miss, side, speed, battery, target, time, epoch",
    )  # fmt: skip
    imported.add_argument("--skip-bad", action="store_true", help="leave out rows that can't be read")
    aim.add_target(imported)


def _pack(args: argparse.Namespace) -> None:
    from fieldtune.share.pack import pack

    with arguments.open_session(args) as session:
        text, shots, name = pack(session), len(session.log.shots()), session.robot.name
    write_whole(args.file, text, force=args.force)
    words = [
        f"{args.file}: {name} packed, {counted(shots, 'shot')}; on the other laptop: fieldtune merge {args.file.name}"
    ]
    give(args, {"robot": name, "file": str(args.file), "shots": shots}, words)


def _merge(args: argparse.Namespace) -> None:
    from fieldtune.share.merge import merge, merge_home
    from fieldtune.share.pack import read_pack

    found = read_pack(args.file, args.sound_only)
    if args.robot is None:
        merged = merge_home(found, args.profiles)
    else:
        with arguments.open_session(args) as session:
            merged = merge(session, found)
    words = _merge_words(merged)
    if found.left_out:
        words.append(f"  {counted(found.left_out, 'damaged record')} left out")
    give(args, {**record(merged), "left_out": found.left_out}, words)


def _merge_words(merged: Merged) -> list[str]:
    head = f"{merged.robot}: {counted(merged.shots, 'new shot')} from {printable(merged.by)}"
    more = [counted(n, what) for n, what in ((merged.marks, "new mark"), (merged.batteries, "battery reading")) if n]
    lines = [", ".join([head, *more])]
    if merged.profile == "written":
        lines.append(f"  its profile is new here: {merged.path}")
    if merged.profile == "differs":
        lines.append(f"  the profiles differ; {merged.path} was left as it is. Take over by hand what you want:")
        lines += [f"    {printable(line)}" for line in merged.difference]
    return lines


def _import(args: argparse.Namespace) -> None:
    from fieldtune.share.spreadsheet import import_file

    with arguments.open_session(args) as session:
        done = import_file(session, args.file, args.columns, args.skip_bad, args.target)
    known = f", {done.known} there already (other shots with the same figures need a time column)" if done.known else ""
    lines = [f"{done.robot}: {counted(done.new, 'new shot')} from {args.file.name}{known}"]
    lines += [f"  line {line} left out: {printable(why)}" for line, why in done.skipped]
    skipped = [{"line": line, "reason": why} for line, why in done.skipped]
    give(args, {"robot": done.robot, "new": done.new, "known": done.known, "skipped": skipped}, lines)
