"""What the terminal can show: which characters, how many colours; and the filters that keep to it.

Braille dots and half-blocks are drawn wherever a terminal says nothing else. The Linux text console has half-blocks,
but no braille; a locale that isn't UTF-8 has ASCII alone. ``NO_COLOR`` (no-color.org) leaves shapes, words and reverse.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import lru_cache
from typing import Literal

from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.filter import LineFilter

from fieldtune.frozen import frozen

Glyphs = Literal["braille", "blocks", "ascii"]
Colours = Literal["many", "sixteen", "none"]


@frozen
class Drawing:
    """Characters and colours that pictures are drawn with; ``light``: the terminal says its background is light.

    ``asks``: it doesn't say, but may be asked: one that doesn't know the question is silent.
    """

    glyphs: Glyphs = "braille"
    colours: Colours = "many"
    light: bool = False
    asks: bool = False


def drawing_for(environment: Mapping[str, str] = os.environ) -> Drawing:
    """What this terminal can show, by what it says in the environment."""
    locale = next((environment[name] for name in ("LC_ALL", "LC_CTYPE", "LANG") if environment.get(name)), "UTF-8")
    term = environment.get("TERM", "")
    glyphs: Glyphs = "braille"
    if "UTF" not in locale.upper():
        glyphs = "ascii"
    elif term in ("linux", "linux-16color"):
        glyphs = "blocks"
    many = environment.get("COLORTERM", "").lower() in ("truecolor", "24bit") or term.endswith(("256color", "direct"))
    colours: Colours = "many" if many or term in ("", "xterm-kitty", "alacritty", "foot") else "sixteen"
    if "NO_COLOR" in environment or term in ("dumb", "vt100", "vt220"):
        colours = "none"
    # "foreground;background" as some terminals write it, common practice: 7 and 15 are light.
    said = environment.get("COLORFGBG", "").rpartition(";")[2]
    asks = not said and colours != "none" and glyphs != "blocks"  # older Linux consoles would write the question
    return Drawing(glyphs, colours, said in ("7", "15"), asks)


_ASCII = str.maketrans({
    "●": "*", "○": "o", "◆": "+", "◇": "+", "▲": "^", "▼": "v", "◀": "<", "▶": ">", "▸": ">", "◂": "<", "▣": "#",
    "─": "-", "━": "=", "│": "|", "┃": "|", "┤": "+", "├": "+", "┴": "+", "┬": "+", "└": "+", "┘": "+", "┌": "+",
    "┐": "+", "╋": "+", "┼": "+", "╌": "-", "┄": "-", "╵": "|", "╷": "|", "┊": ":", "✗": "x", "✓": "v", "✕": "x",
    "⚠": "!", "…": "~", "–": "-", "—": "-", "×": "x", "·": ".", "°": "'", "±": "~", "Ω": "O", "µ": "u", "→": ">",
    "←": "<", "↑": "^", "↓": "v", "≤": "<", "≥": ">", "█": "#", "▀": '"', "▄": "_", "▌": "|", "▐": "|", "░": ".",
    "▒": ":", "▓": "%", "▉": "#", "▊": "#", "▋": "#", "▍": "|", "▎": "|", "▏": "|", "’": "'", "“": '"', "”": '"',
    "Σ": "S", "²": "2", "³": "3", "½": "h", "Δ": "d", "ω": "w", "┏": "+", "┓": "+", "┗": "+", "┛": "+", "▔": "-",
    "▁": "_", "⎯": "-", "▆": "#",
})  # fmt: skip
_BLOCKS = str.maketrans({
    "●": "•", "◆": "♦", "◇": "○", "◀": "◄", "▶": "►", "▸": "►", "◂": "◄", "▣": "■", "━": "═", "┃": "│", "╋": "╬",
    "╌": "-", "┄": "-", "╵": "│", "╷": "│", "┊": ":", "✗": "x", "✓": "√", "✕": "x", "⚠": "!", "…": "~", "–": "-",
    "—": "-", "×": "x", "▉": "█", "▊": "▌", "▋": "▌", "▍": "▌", "▎": "▌", "▏": "│", "▔": "▀", "▁": "▄", "▆": "█",
})  # fmt: skip


def _as_ascii(character: str) -> str:
    """A braille character by where its dots are, anything else that has no name above as a question mark."""
    bits = ord(character) - 0x2800
    if not 0 <= bits < 256:
        return character if character.isascii() else "?"
    upper, lower = bits & 0b00011011, bits & 0b11100100  # dots 1 2 4 5 and 3 6 7 8
    return " " if not bits else "'" if not lower else "." if not upper else ":"


@lru_cache(maxsize=4096)
def _told(text: str, glyphs: Glyphs) -> str:
    if text.isascii():
        return text
    if glyphs == "blocks":
        return text.translate(_BLOCKS)
    return "".join(map(_as_ascii, text.translate(_ASCII)))


class PlainGlyphs(LineFilter):
    """Every character outside of what the terminal has becomes one that it has, of the same width."""

    def __init__(self, glyphs: Glyphs) -> None:
        super().__init__()
        self._glyphs = glyphs

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """A row of cells."""
        return [Segment(_told(text, self._glyphs), style, control) for text, style, control in segments]


@lru_cache(maxsize=1024)
def _without_colour(style: Style) -> Style:
    """Bold, underlined and reverse stay; what stood on a background of its own is reverse."""
    ink, paper = style.color, style.bgcolor
    turned = False
    if ink is not None and paper is not None:
        one, other = (Color.from_rich_color(c).brightness for c in (ink, paper))
        turned = one < other  # the themes that go with it are dark
    return Style(bold=style.bold, underline=style.underline, reverse=bool(style.reverse) != turned, strike=style.strike)


class NoColours(LineFilter):
    """No colour at all."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """A row of cells."""
        return [
            Segment(text, None if style is None else _without_colour(style), control)
            for text, style, control in segments
        ]
