"""What is sent to the terminal: differences that leave on it what was painted, at a rate that the link carries."""

from __future__ import annotations

import asyncio
import random
from unicodedata import normalize

import pyte
from rich.color import ColorSystem
from rich.segment import Segment
from rich.style import Style
from textual._compositor import ChopsUpdate, LayoutUpdate
from textual.geometry import Region
from textual.strip import Strip

from fieldtune.console.drawing import Drawing
from fieldtune.console.output import Output
from fieldtune.console.painting import Painter
from fieldtune.console.themes import DARK, PALETTES
from fieldtune.console.widgets.tints import Palette

WIDE, HIGH = 40, 6
STYLES = [Style.parse(text) for text in ("white on #121212", "bold #ffaf00 on #121212", "strike red on #303030")]


class Emulator:
    """A terminal of another maker: what it shows is the test."""

    def __init__(self) -> None:
        self.screen = pyte.Screen(WIDE, HIGH)
        self._stream = pyte.Stream(self.screen)
        self.bytes = 0

    def feed(self, text: str) -> None:
        self.bytes += len(text.encode())
        self._stream.feed(text)

    def cells(self) -> list[list[tuple[str, object, object, bool]]]:
        """Character, colours and weight of every cell; a blank has no colour but its background."""
        buffer = self.screen.buffer
        rows = [[buffer[y][x] for x in range(WIDE)] for y in range(HIGH)]
        return [[(c.data, "" if c.data == " " else c.fg, c.bg, c.bold and c.data != " ") for c in row] for row in rows]


def random_strip(rng: random.Random, width: int) -> Strip:
    segments = []
    while width:
        text = rng.choice(["wheel", "1403 rpm", "⣿⡇⢸", "   ", "Größe", "日本", "━━╋━━", "e\u0301 "])
        cells = Segment(text).cell_length
        if cells > width:
            text, cells = " " * width, width
        segments.append(Segment(text, rng.choice(STYLES)))
        width -= cells
    return Strip(segments)


def test_the_terminal_shows_what_was_painted() -> None:
    rng, ours, theirs = random.Random(4), Emulator(), Emulator()
    painter, everything = Painter(ColorSystem.TRUECOLOR), Painter(ColorSystem.TRUECOLOR)
    painter.resize(WIDE, HIGH)
    rows = [random_strip(rng, WIDE) for _ in range(HIGH)]
    painter.take(LayoutUpdate([[row] for row in rows], Region(0, 0, WIDE, HIGH)))
    for number in range(300):
        y = rng.randrange(HIGH)
        rows[y] = random_strip(rng, WIDE)
        chops = [{0: row} if k == y else {0: None} for k, row in enumerate(rows)]
        painter.take(ChopsUpdate(chops, [(y, 0, WIDE)], [[WIDE]] * HIGH))
        ours.feed(painter.difference(rng.choice([20, 200, float("inf")]), words=rng.random() < 0.3))
        if number % 20:
            continue
        while painter.behind:
            ours.feed(painter.difference())
        everything.resize(WIDE, HIGH)
        everything.forget()
        everything.take(LayoutUpdate([[row] for row in rows], Region(0, 0, WIDE, HIGH)))
        theirs.feed("\x1b[m\x1b[2J" + everything.difference())
        assert ours.cells() == theirs.cells()
        assert [normalize("NFC", row.text) for row in rows] == [
            "".join(cell[0] for cell in line) for line in ours.cells()
        ]


def test_only_what_changed_is_sent_and_a_key_brings_whole_words() -> None:
    style = Style.parse("white on black")
    painter = Painter(ColorSystem.TRUECOLOR)
    painter.resize(WIDE, HIGH)

    def put(text: str) -> None:
        strips = [[Strip([Segment(text.ljust(WIDE), style)])]] + [[Strip([Segment(" " * WIDE, style)])]] * (HIGH - 1)
        painter.take(LayoutUpdate(strips, Region(0, 0, WIDE, HIGH)))

    put("From 2.00 m")
    assert "From 2.00 m" in painter.difference()
    put("From 2.05 m")
    sent = painter.difference()
    assert "5" in sent
    assert "2.0" not in sent
    assert len(sent) < 40
    put("From 2.00 m")
    assert "From 2.00 m" in painter.difference(words=True)
    put("From 2.00 m")
    assert painter.difference() == ""


def test_words_go_before_pictures() -> None:
    painter = Painter(ColorSystem.TRUECOLOR)
    painter.resize(WIDE, 2)
    palette = Palette(PALETTES[DARK], Drawing())
    band = Segment("▄▄▄▄ ▄▄▄▄▄", palette.style("band", "chance1"))
    rows = [[Strip([Segment("From 2.00 m ", STYLES[1]), band, Segment(" 79 %", STYLES[0])])], [Strip([band])]]
    painter.take(LayoutUpdate(rows, Region(0, 0, WIDE, 2)))
    first = painter.difference(words=True)
    assert "From 2.00 m" in first
    assert "79 %" in first
    assert "▄" not in first
    assert "▄▄▄▄ ▄▄▄▄▄" in painter.difference()


class Link:
    """A link of so many bytes a second with a terminal behind it, on a clock of the test's own."""

    def __init__(self, rate: float, answers: bool) -> None:
        self.now, self.rate, self.answers = 0.0, rate, answers
        self.free_at, self.sent = 0.0, 0
        self.asked: list[float] = []

    def write(self, text: str) -> None:
        size = len(text.encode())
        self.sent += size
        self.free_at = max(self.free_at, self.now) + size / self.rate
        if "\x1b[6n" in text and self.answers:
            self.asked.append(self.free_at + 0.01)


def waiting_times(rate: float, *, answers: bool, seconds: float = 30.0) -> tuple[list[float], float]:
    """How long the link was busy when keys came, with a screen full of changing dots; bytes a second."""

    async def played() -> tuple[list[float], float]:
        link, rng = Link(rate, answers), random.Random(1)
        painter = Painter(ColorSystem.TRUECOLOR)
        painter.resize(100, 30)
        output = Output(painter, link.write, lambda: link.now, asks=True)
        style, waits = Style.parse("white on black"), []
        for step in range(int(seconds / 0.05)):
            link.now = step * 0.05
            while link.asked and link.asked[0] <= link.now:
                link.asked.pop(0)
                output.answered()
            if step % 17 == 16 and link.now > 5:
                waits.append(max(0.0, link.free_at - link.now))
            rows = [[Strip([Segment("".join(rng.choice("⣿⡇⢸ ") for _ in range(100)), style)])] for _ in range(30)]
            painter.take(LayoutUpdate(rows, Region(0, 0, 100, 30)))
            output.flush()
        return waits, link.sent / seconds

    return asyncio.run(played())


def test_a_key_finds_the_link_free_whatever_it_carries() -> None:
    for rate in (5_000.0, 10_000.0, 40_000.0, 1e6):
        waits, sent = waiting_times(rate, answers=True)
        assert max(waits) < 0.25, rate
        assert sent <= min(0.7 * rate, 12_000), rate
        assert sent >= min(0.2 * rate, 6_000), rate  # it doesn't save more than it must


def test_a_terminal_that_does_not_answer_gets_what_a_slow_link_carries() -> None:
    waits, sent = waiting_times(10_000.0, answers=False)
    assert max(waits) < 0.25
    assert 2_000 < sent <= 5_000
