"""Opens every view of the console at every size, in every theme, and draws what stands there as PNG.

    cd tests/console && PYTHONPATH=.. python every_view.py FOLDER [--theme dark] [--size 80x24] [--view map]

The console is the real one; robots, lines and shots are simulated in simulated time, so that every run shows the same.
In FOLDER each view has a file of its own, and ``sheet-*.png`` lay one size of all views side by side, to be looked at.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from console_driver import screen_text
from rich.color import Color
from textual.pilot import Pilot
from textual.strip import Strip
from textual.worker import WorkerError

from fieldtune import Session, load_robot
from fieldtune.console import ConsoleApp, themes
from fieldtune.console.drawing import Drawing
from fieldtune.link.line import Line
from fieldtune.link.samples import Live, Sample
from fieldtune.link.sim.robot import Outcome, SimulatedRobot
from fieldtune.robot.model import Robot
from fieldtune.store import Store

KEYS = {"in": "i", "short": "s", "long": "l", "left": "left", "right": "right"}
SIZES = [(200, 60), (120, 40), (100, 30), (80, 24), (40, 12)]
_RATE_HZ = 50.0
_CHUNK_S = 0.1


class TimedLine:
    """A simulated robot on a line that moves on by ``run`` only."""

    def __init__(self, robot: Robot, simulated: bool = True) -> None:
        self.simulated = simulated
        self.fixed_baud: int | None = None
        self.robot = SimulatedRobot(robot, 7, _RATE_HZ)
        self._line = Line(robot)
        self.now_s = 0.0

    def run(self, seconds: float) -> None:
        """Moves on."""
        for _ in range(round(seconds / _CHUNK_S)):
            self.now_s += _CHUNK_S
            lines = b"".join(self.robot.line() for _ in range(round(_CHUNK_S * _RATE_HZ)))
            if lines:
                self._line.feed(lines, self.now_s)

    def start(self) -> None:
        """Nothing to open."""

    def stop(self) -> None:
        """Nothing to close."""

    def snapshot(self) -> Live:
        """What the line says now."""
        return self._line.live("live", "reading a simulated line", "sim", self.now_s)

    def drain(self) -> list[Sample]:
        """The samples since the last call."""
        samples = list(self._line.fresh)
        self._line.fresh.clear()
        return samples

    def recent_lines(self, count: int = 100) -> tuple[str, ...]:
        """The last raw lines."""
        return self._line.raw(count)

    def tell(self, command: str) -> None:
        """Tells the simulated robot."""
        self.robot.command(command)

    def seen_in_simulation(self) -> tuple[Outcome, ...]:
        """What a spectator would have seen."""
        return tuple(self.robot.outcomes)


@dataclass(frozen=True)
class Shown:
    """One view as it stood on the screen."""

    view: str
    theme: str
    size: tuple[int, int]
    text: str
    strips: list[Strip]


def session_of(robot: Robot) -> Session:
    """A session without shots whose log always has the same date."""
    session = Session(robot, Store(clock=lambda: datetime(2026, 11, 7, 10, 0, tzinfo=UTC)))
    session.log.remember("caution understood", "yes")
    return session


async def practise(app: ConsoleApp, pilot: Pilot[None], line: TimedLine, shots: int) -> None:
    """Shots from each spot in turn, each confirmed as a spectator saw it; the last ones wait for a result."""
    spots = len(app.controller.robot.spots)
    for number in range(shots):
        await pilot.press(str(number % spots + 1))
        await settled(app, pilot, 2)
        await pilot.press("g")
        await settled(app, pilot, 2)
        for doing, seconds in (("", 5.0), ("fire", 3.0)):
            if doing:
                line.tell(doing)
            for _ in range(round(seconds / 0.5)):
                line.run(0.5)
                app.look()
        await pilot.press(KEYS[line.robot.outcomes[-1].result])
        await settled(app, pilot, 2)


async def settled(app: ConsoleApp, pilot: Pilot[None], looks: int = 8) -> str:
    """Waits until nothing is being worked out and the screen stays as it is."""
    text, same = "", 0
    for _ in range(2000):
        with contextlib.suppress(WorkerError):  # one that a newer question superseded
            await asyncio.wait_for(app.workers.wait_for_complete(), 60)
        before = text
        app.look()
        await pilot.pause(0.01)
        text = screen_text(app)
        same = same + 1 if text == before else 0
        if same >= looks:
            return text
    raise AssertionError(f"never came to rest:\n{text}")


VIEWS: dict[str, tuple[str, ...]] = {
    "main": (),
    "map": ("j", "full_stop", "full_stop", "full_stop"),
    "next": ("n",),
    "learned": ("k",),
    "learned-2": ("k", "tab"),
    "wheel": ("w",),
    "battery": ("b",),
    "battery-2": ("b", "tab"),
    "sizes": ("z",),
    "sizes-2": ("z", "tab"),
    "side-by-side": ("z", "o", "enter"),
    "side-by-side-2": ("z", "o", "enter", "tab"),
    "what-if": ("z", "plus", "plus", "plus"),
    "shots": ("h",),
    "line": ("c",),
    "export": ("e",),
    "encoder": ("ctrl+e",),
    "help": ("question_mark",),
    "typing": ("d",),
    "waiting": (),
    "leaving": ("q",),
}


def views(
    robot: Robot,
    themes_: tuple[str, ...] = tuple(themes.PALETTES),
    sizes: list[tuple[int, int]] = SIZES,
    wanted: Callable[[str], bool] = lambda view: True,
    drawing: Drawing | None = None,
) -> Iterator[Shown]:
    """Each view at each size in each theme."""
    found: list[Shown] = []
    session, line = session_of(robot), TimedLine(robot)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        app.controller.clock = lambda: 100.0 + line.now_s
        await settled(app, pilot)
        await practise(app, pilot, line, 9)
        for view, keys in VIEWS.items():
            if not wanted(view):
                continue
            if view == "waiting":
                line.tell("fire")
                line.run(3.0)
            for size in sizes:
                await pilot.resize_terminal(*size)
                await pilot.press("escape")
                for key in keys:
                    await pilot.press(key)
                    if key == "enter":
                        await settled(app, pilot, 3)
                app.controller.news.say("")
                for theme in themes_:
                    app.theme = theme
                    text = await settled(app, pilot, 4)
                    found.append(Shown(view, theme, size, text, app.screen._compositor.render_strips()))
                await pilot.press("escape")

    async def main() -> None:
        app = ConsoleApp(robot, session, line, drawing=drawing or Drawing())  # type: ignore[arg-type]
        async with app.run_test(size=SIZES[1]) as pilot:
            await script(app, pilot)

    asyncio.run(main())
    yield from found


# Cells as pixels.


_WIDE, _HIGH = 8, 16
_SHEET = (2000, 1600)
_BLOCKS = {
    "█": (0, 0, 8, 8), "▀": (0, 0, 8, 4), "▄": (0, 4, 8, 8), "▌": (0, 0, 4, 8), "▐": (4, 0, 8, 8), "▉": (0, 0, 7, 8),
    "▊": (0, 0, 6, 8), "▋": (0, 0, 5, 8), "▍": (0, 0, 3, 8), "▎": (0, 0, 2, 8), "▏": (0, 0, 1, 8), "▁": (0, 7, 8, 8),
    "▔": (0, 0, 8, 1), "▂": (0, 6, 8, 8), "▃": (0, 5, 8, 8), "▅": (0, 3, 8, 8), "▆": (0, 2, 8, 8), "▇": (0, 1, 8, 8),
}  # fmt: skip
"""Block elements (Unicode) as left, top, right, bottom in eighths of a cell."""
_DOTS = ((0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (0, 3), (1, 3))
"""Column and row of each dot of a braille character, by its bit."""


def picture(shown: Shown):  # type: ignore[no-untyped-def]
    """The screen as an image of 8 x 16 pixels a cell."""
    from PIL import Image, ImageDraw, ImageFont

    columns, rows = shown.size
    paper = themes.PALETTES[shown.theme]["paper"]
    image = Image.new("RGB", (columns * _WIDE, rows * _HIGH), paper)
    draw = ImageDraw.Draw(image)
    fonts = [ImageFont.truetype(name, 13) for name in ("DejaVuSansMono.ttf", "DejaVuSansMono-Bold.ttf")]
    for row, strip in enumerate(shown.strips[:rows]):
        column = 0
        for segment in strip:
            style = segment.style
            ink, ground = _colours(style, shown.theme)
            bold = bool(style and style.bold)
            for character in segment.text:
                x, y = column * _WIDE, row * _HIGH
                draw.rectangle((x, y, x + _WIDE - 1, y + _HIGH - 1), fill=ground)
                _draw(draw, character, x, y, ink, fonts[bold])
                column += 1
    return image


def _draw(draw, character: str, x: int, y: int, ink: str, font) -> None:  # type: ignore[no-untyped-def]
    bits = ord(character) - 0x2800
    if 0 <= bits < 256:
        for bit, (column, row) in enumerate(_DOTS):
            if bits >> bit & 1:
                draw.rectangle((x + 4 * column + 1, y + 4 * row + 1, x + 4 * column + 2, y + 4 * row + 2), fill=ink)
    elif character in _BLOCKS:
        left, top, right, bottom = _BLOCKS[character]
        draw.rectangle((x + left, y + 2 * top, x + right - 1, y + 2 * bottom - 1), fill=ink)
    elif character != " ":
        draw.text((x, y), character, fill=ink, font=font)


def _colours(style, theme: str) -> tuple[str, str]:  # type: ignore[no-untyped-def]
    colours = themes.PALETTES[theme]

    def hexed(colour: Color | None, otherwise: str) -> str:
        return otherwise if colour is None or colour.is_default else colour.get_truecolor().hex

    if style is None:
        return colours["ink"], colours["paper"]
    ink, paper = hexed(style.color, colours["ink"]), hexed(style.bgcolor, colours["paper"])
    return (paper, ink) if style.reverse else (ink, paper)


def sheet(images: list[tuple[str, object]], across: int):  # type: ignore[no-untyped-def]
    """Images side by side, each below its name."""
    from PIL import Image, ImageDraw

    wide = max(image.width for _, image in images) + 10  # type: ignore[attr-defined]
    high = max(image.height for _, image in images) + 26  # type: ignore[attr-defined]
    down = -(-len(images) // across)
    whole = Image.new("RGB", (across * wide, down * high), "#406080")
    draw = ImageDraw.Draw(whole)
    for number, (name, image) in enumerate(images):
        x, y = number % across * wide, number // across * high
        draw.text((x + 4, y + 4), name, fill="#ffffff")
        whole.paste(image, (x + 4, y + 20))
    return whole


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--robot", default="heron")
    parser.add_argument("--theme", choices=["dark", "sunlight", "high contrast"], action="append")
    parser.add_argument("--size", action="append", help="columns x rows: 80x24")
    parser.add_argument("--view", choices=sorted(VIEWS), action="append")
    parser.add_argument("--drawing", default="braille/many", help="characters and colours: ascii/none, blocks/sixteen")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    chosen = tuple(name for name, word in themes.NAMES.items() if not options.theme or word in options.theme)
    sizes = [tuple(int(part) for part in size.split("x")) for size in options.size or ()] or SIZES
    glyphs, colours = options.drawing.split("/")
    found = views(
        load_robot(options.robot), chosen, sizes, lambda view: not options.view or view in options.view,
        Drawing(glyphs, colours),
    )  # fmt: skip
    sheets: dict[tuple[str, tuple[int, int]], list[tuple[str, object]]] = {}
    for shown in found:
        name = f"{options.robot}-{shown.view}-{shown.size[0]}x{shown.size[1]}-{themes.NAMES[shown.theme]}"
        image = picture(shown)
        image.save(options.folder / f"{name.replace(' ', '-')}.png")
        sheets.setdefault((themes.NAMES[shown.theme], shown.size), []).append((name, image))
    for (theme, size), images in sheets.items():
        across, down = max(1, _SHEET[0] // (size[0] * _WIDE)), max(1, _SHEET[1] // (size[1] * _HIGH))
        for number in range(0, len(images), across * down):
            name = (
                f"sheet-{options.robot}-{size[0]}x{size[1]}-{theme.replace(' ', '-')}-{number // (across * down)}.png"
            )
            sheet(images[number : number + across * down], across).save(options.folder / name)


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        main()
