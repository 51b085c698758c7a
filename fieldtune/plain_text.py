"""Plain text on its way out: the one door to both streams, and tables and pairs that line up.

Much of what is printed comes from elsewhere: titles, file names, robots' lines, other laptops' packs. None of it may
steer a terminal (ECMA-48 control functions) or turn its order round (Unicode's bidirectional controls).
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import TextIO


def printable(text: str) -> str:
    """Text without a character that a terminal obeys or that can't be seen: such stand as escapes, ``\\x1b``."""
    return text if text.isprintable() else "".join(c if c.isprintable() else _escape(c) for c in text)


def _escape(character: str) -> str:
    return " " if character.isspace() and character not in _LINE_BREAKS else repr(character)[1:-1]


def counted(number: int, noun: str) -> str:
    """``1 shot``, ``3 shots``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


_LINE_BREAKS = "\n\v\f\r\x1c\x1d\x1e\x85\u2028\u2029"


_LONGEST_WORD, _LONGEST_LINE = 500, 4000
"""Longer than any path that a person has, and than any sentence."""


def say(text: str, end: str = "\n") -> None:
    """Prints lines of text on standard output."""
    _print(text, end, sys.stdout)


def say_aside(words: str) -> None:
    """One line on standard error, behind the program's name; what is absurdly long in it is cut."""
    line = " ".join(word if len(word) <= _LONGEST_WORD else f"{word[:60]}…" for word in words.split())
    _print(f"fieldtune: {line if len(line) <= _LONGEST_LINE else line[:_LONGEST_LINE] + '…'}", "\n", sys.stderr)


def say_json(found: object) -> None:
    """One line of JSON. What a terminal obeys is escaped; so is all but ASCII where the stream isn't UTF-8."""
    import json

    knows_all = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    text = json.dumps(found, allow_nan=False, ensure_ascii=not knows_all)
    if not text.isprintable():
        text = "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in text)
    _print(text, "\n", sys.stdout)


def agreed(question: str) -> bool:
    """Whether a person at the terminal says yes; without a terminal, nobody does."""
    if not (sys.stdin and sys.stdin.isatty() and sys.stderr.isatty()):
        return False
    _print(f"{question} [y/N]", " ", sys.stderr)
    return sys.stdin.readline().strip().casefold() in ("y", "yes")


def _print(text: str, end: str, stream: TextIO) -> None:
    print("\n".join(printable(line) for line in text.split("\n")), end=end, file=stream, flush=True)


def local_time(time: str) -> str:
    """A moment of the log, kept in UTC, as clocks show it here, to the second; as it stands where it is none."""
    try:
        return datetime.fromisoformat(time.rstrip("+")).astimezone().strftime("%Y-%m-%d %H:%M:%S")
    except (ValueError, OverflowError, OSError):
        return printable(time)


def pairs(rows: Iterable[Sequence[str | None]], indent: int = 2) -> list[str]:
    """Rows of a name, its value and perhaps a remark, aligned; those without a value are left out."""
    kept = [[printable(cell or "") for cell in row] for row in rows if row[1] is not None]
    widths = [max(len(row[k]) for row in kept) for k in range(len(kept[0]))] if kept else []
    return [
        f"{'':{indent}}{'  '.join(f'{cell:<{width}}' for cell, width in zip(row, widths, strict=True))}".rstrip()
        for row in kept
    ]


def columns(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table: numbers to the right, words to the left."""
    cells = [[printable(cell) for cell in head], *([printable(cell) for cell in row] for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    right = [all(_is_number(row[i]) for row in cells[1:]) for i in range(len(head))]
    return [
        "  ".join(
            cell.rjust(width) if is_number else cell.ljust(width)
            for cell, width, is_number in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in cells
    ]


def csv_lines(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Rows as RFC 4180 text; unknown is empty. Words that a spreadsheet would take for a formula get a blank before."""
    import csv
    import io

    page = io.StringIO()
    lines = csv.writer(page, lineterminator="\n")
    lines.writerow(head)
    lines.writerows([f" {c}" if isinstance(c, str) and c[:1] in "=+-@" and c else c for c in row] for row in rows)
    return page.getvalue()


def _is_number(cell: str) -> bool:
    return cell.strip(" -+%.0123456789") == "" or cell == "-"
