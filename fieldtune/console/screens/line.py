"""The serial line: its health in words, what was dropped and why, and what it says, made harmless."""

from __future__ import annotations

import re
from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Horizontal

from fieldtune.console import words
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.screens.essentials import asking
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.link.troubleshooting.line_health import cause_words, health_words, notice_words
from fieldtune.link.troubleshooting.remedies import remedies
from fieldtune.port_names import has_speed
from fieldtune.robot import is_demo

if TYPE_CHECKING:
    from fieldtune.console.output import OutputFigures
    from fieldtune.link.samples import Live
    from fieldtune.robot.model import Robot


_RAW = 60  # raw lines that are looked through for a remedy
_VALUE_WIDE = 29  # of the 44 columns of the health, less the names and the margin


class LineScreen(ConsoleScreen):
    """Health, dropped lines by cause, notices, raw lines."""

    TITLE_WORDS = "Line"
    fits_small = False  # it says in short what is to be done

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="line-body"):
            yield TextBlock(id="line-health")
            yield TextBlock(id="line-raw")

    def tick(self, live: Live) -> None:
        super().tick(live)
        output = self.controller.output
        shown = None if output is None else output.figures()
        self.query_one("#line-health", TextBlock).put(*health(live, shown))
        raw = self.query_one("#line-raw", TextBlock)
        rows, wide = max(1, raw.size.height - 1), max(20, raw.size.width - 1)
        line = self.controller.line
        robot = self.controller.robot
        lines = line.recent_lines(_RAW)
        told = remedies(live.health, lines, line.fixed_baud, robot, has_speed=has_speed(live.port))
        if any(re.search(r"\[link\.(fields|columns|scale)\]", said) for said in told):
            told.insert(0, _how_to_map(robot))
        why = live.words.partition("; ")[2] if live.state == "live" else ""
        if why and not any(why.lower() in said.lower() for said in told):
            told.insert(0, f"{why[:1].upper()}{why[1:]}")
        if self.small and (why or not asking(self.controller)):  # what the main screen says that this one says
            self._in_short(told or [health_words(live.health)], lines)
        todo = [piece for said in told for piece in wrap(words.printable(said), wide)]
        rows = max(1, rows - len(todo) - 2) if todo else rows
        text = "\n".join(whole_lines(line.recent_lines(rows), rows, wide))
        first: list[Part] = [("What to do\n", "bold $act"), ("\n".join(todo) + "\n\n", "$ink")] if todo else []
        raw.put(*first, ("What the line says, newest last\n", "bold $act"), (text or "nothing yet", "$ink"))

    def _in_short(self, told: list[str], lines: Sequence[str]) -> None:
        """What to do, or the line's health, and its newest lines, in a small window."""
        small = self.query_one("#small", TextBlock)
        wide, rows = max(10, small.content_size.width), max(1, small.content_size.height)
        pieces = [piece for said in told for piece in wrap(words.printable(said), wide)]
        if len(pieces) > rows:
            pieces[rows - 1] = words.shorten(pieces[rows - 1] + " …", wide)
        elif len(pieces) < rows:
            pieces += whole_lines(lines, rows - len(pieces), wide)
        small.put(("\n".join(pieces[:rows]), "$ink"))


def _how_to_map(robot: Robot) -> str:
    """Which keys lead to where the names of the line are mapped."""
    if is_demo(robot):
        return (
            f"{robot.name} is a demonstration robot, and stays as it is. Press ^o, n to set up one of your own, "
            "and c at the end: there you say which name is which."
        )
    return "Press ^o, c, Enter: there you say which name is which, in which unit, and the profile is written for you."


def whole_lines(lines: Sequence[str], rows: int, wide: int) -> list[str]:
    """The last of the lines in so many rows, none cut: what was wrong with a line stands at its end.

    Of one that alone is too long for them, its beginning: there its names stand.
    """
    shown: list[str] = []
    for line in reversed(lines):
        text = words.printable(line)
        pieces = [text[:wide], *(f"  {text[i : i + wide - 2]}" for i in range(wide, len(text), wide - 2))]
        if shown and len(shown) + len(pieces) > rows:
            break
        shown = pieces + shown
    return shown[:rows]


def health(live: Live, shown: OutputFigures | None = None) -> list[Part]:
    """The line's health, one figure a row; what goes to the terminal, where there is one."""
    said = live.health
    clock = {
        "robot": "the robot's own",
        "arrival": "time of arrival: the robot sends no t_ms that can be used, so intervals are rough",
        "unknown": "unknown",
    }[said.clock]
    rows = [
        ("State", words.printable(live.words)),
        ("Port", "none" if live.port is None else words.printable(live.port)),
        ("Last sample", "none yet" if live.age_s is None else f"{live.age_s:.1f} s ago"),
        ("Rate", "unknown" if said.rate_hz is None or live.state != "live" else f"{said.rate_hz:.0f} samples/s"),
        ("Clock", clock),
        ("Lines", f"{said.lines}, {said.good} good"),
        *(() if shown is None else (("Screen", screen_words(shown)),)),
    ]
    parts: list[Part] = [("Health\n", "bold $act")]
    for name, value in rows:
        first, *rest = wrap(value, _VALUE_WIDE) or [""]
        parts += [
            (f"{name:<13}", "$quiet"),
            ("".join(f"{piece}\n" for piece in [first, *(" " * 13 + r for r in rest)]), "$ink"),
        ]
    parts.append(("\nDropped, by cause\n", "bold $act"))
    parts += _counts({cause_words(cause): n for cause, n in said.dropped.items()}, "nothing dropped")
    parts.append(("\nNoticed\n", "bold $act"))
    parts += _counts({notice_words(name): n for name, n in said.notices.items()}, "nothing out of the ordinary")
    return parts


def screen_words(shown: OutputFigures) -> str:
    """What goes to the terminal, and how much the link to it carries."""
    sent = f"{shown.bytes_per_s / 1000:.1f} kB/s in {shown.frames_per_s:.0f} pictures/s"
    if shown.answer_s is None:
        return f"{sent}; the terminal doesn't say how fast it is"
    carried = "" if shown.link_bytes_per_s is None else f", link carries {shown.link_bytes_per_s / 1000:.0f} kB/s"
    return f"{sent}; there after {1000 * shown.answer_s:.0f} ms{carried}"


def _counts(counts: dict[str, int], none: str) -> list[Part]:
    if not counts:
        return [(f"{none}\n", "$quiet")]
    return [(f"{number:>6}  {words.printable(cause)}\n", "$ink") for cause, number in sorted(counts.items())]
